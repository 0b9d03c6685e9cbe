# One command for pool.sh: pool_one.sh WORK NUMBER GROUP COMMAND ARGUMENT... What it says goes to a log in WORK; one
# line on stdout tells how it ended, short enough for a pipe to keep it whole when several write at once.
set -u
work=$1 number=$2 group=$3
shift 3
code=0
begin=$(date +%s%N)
"$@" >"$work/$number.log" 2>&1 </dev/null || code=$?
if [ -n "${TIMES:-}" ]; then
    wall=$((($(date +%s%N) - begin) / 1000000))
    times >"$work/$number.times" # of this shell and of all whose end it waited for
    sed 's/[ms]/ /g' "$work/$number.times" | awk -v rest="$wall $group $*" \
        '{ ms += ($1 + $3) * 60000 + ($2 + $4) * 1000 } END { printf "%d %s\n", ms, rest }' >>"$TIMES"
fi
echo "$code $number $group $*"
