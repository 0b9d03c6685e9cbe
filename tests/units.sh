#!/bin/sh
# Runs unit test programs, as many at once as there are cores (JOBS=1: one after the other); what each says is
# printed whole as it ends.
#
#   RIMGLOW=build/release/rimglow sh tests/units.sh "OPTIONS" PROGRAM...
#
# OPTIONS are Criterion's, of every program. From the repository root.
set -u
options=$1
shift
# fontconfig keeps its settings until the end of the process; cairo cannot free them.
LSAN_OPTIONS=suppressions=tests/cli/leaks.supp:print_suppressions=0
export LSAN_OPTIONS
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
trap 'exit 1' INT TERM
one='log=$1/$(echo "$3" | tr / _); code=0; "$3" --timeout 300 $2 >"$log" 2>&1 || code=$?; echo "$code $log"'
for program in "$@"; do echo "$program"; done |
    xargs -r -P "${JOBS:-$(nproc 2>/dev/null || echo 2)}" -I % sh -c "$one" sh "$work" "$options" % | {
    failed=0 ended=0
    while read -r code log; do
        cat "$log"
        ended=$((ended + 1))
        [ "$code" = 0 ] || failed=$((failed + 1))
    done
    [ "$failed" = 0 ] && [ "$ended" = $# ] || { echo "unit tests: $failed of $ended programs failed, of $# to run"; exit 1; }
}
