# One case, for pool.sh: one.sh WORK PROGRAM TOOLS FILE FUNCTION, in a folder of its own below WORK. Cases with the same WORK
# share what is made once (made, in case.sh). From the repository root.
set -u
absolute() { case $1 in /*) printf '%s' "$1" ;; *) printf '%s/%s' "$PWD" "$1" ;; esac; }
ROOT=$PWD RIMGLOW=$(absolute "$2") TOOLS=$(absolute "$3") MADE=$1/made
# fontconfig keeps its settings until the end of the process; cairo cannot free them.
LSAN_OPTIONS=suppressions=$ROOT/tests/cli/leaks.supp:print_suppressions=0
LC_ALL=C.UTF-8
export ROOT RIMGLOW TOOLS MADE LSAN_OPTIONS LC_ALL
# A case may do less where the program is slow.
case $2 in */asan/*) BRIEF=1 && export BRIEF ;; esac
work=$1/$(basename "$4" .sh)/$5
code=0
mkdir -p "$MADE" "$work"
(cd "$work" && sh "$ROOT/tests/cli/case.sh" "$ROOT/$4" "$5") || code=$?
chmod -R u+w "$work"
rm -rf "${work:?}"
exit "$code"
