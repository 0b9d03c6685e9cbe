# One case for run.sh: one.sh WORK FILE FUNCTION. What it says goes to a log in WORK; one line on stdout tells how
# it ended. That line is short enough for a pipe to keep it whole when several write at once.
set -u
file=$2 name=$3
work=$1/$(basename "$file" .sh)
code=0
begin=$(date +%s%N)
(mkdir "$work/$name" && cd "$work/$name" && sh "$ROOT/tests/cli/case.sh" "$ROOT/$file" "$name") >"$work/$name.log" 2>&1 || code=$?
[ -z "${TIMES:-}" ] || echo "$((($(date +%s%N) - begin) / 1000000)) $file $name" >>"$TIMES"
chmod -R u+w "$work/$name"
rm -rf "${work:?}/$name"
echo "$code $file $name"
