#!/bin/sh
# End-to-end tests of the command line.
#
#   RIMGLOW=build/release/rimglow TOOLS=build/release/tests/tools sh tests/cli/run.sh [PATTERN]
#
# Every function test_... of every tests/cli/test_*.sh is a case. Each runs in
# a shell and a fresh folder of its own (case.sh), so cases cannot disturb each
# other. As many run at once as there are cores (JOBS=1: one after the other); each is printed whole as it
# ends. A case that cannot be run here ends with exit code 77, and its last line says why.
# PATTERN (of grep) chooses cases by name. From the repository root. TIMES=FILE: milliseconds by the wall of each
# case are added to it. BRIEF=1, for the sanitized program: a case with a line "# release only: ..." just above it is left out; the
# line says what runs the same code under the sanitizers.
set -u
root=$(pwd)
jobs=${JOBS:-$(nproc 2>/dev/null || echo 2)}
: "${RIMGLOW:?the path of the program}" "${TOOLS:?the folder of the helper programs}"
absolute() { case $1 in /*) printf '%s' "$1" ;; *) printf '%s/%s' "$root" "$1" ;; esac; }
RIMGLOW=$(absolute "$RIMGLOW"); TOOLS=$(absolute "$TOOLS"); ROOT=$root
# fontconfig keeps its settings until the end of the process; cairo cannot free them.
LSAN_OPTIONS=suppressions=$root/tests/cli/leaks.supp:print_suppressions=0
LC_ALL=C.UTF-8
export ROOT RIMGLOW TOOLS LSAN_OPTIONS LC_ALL
for program in "$RIMGLOW" "$TOOLS/spoil"; do
    [ -x "$program" ] || { echo "$program is missing; run make check-cli"; exit 1; }
done
for tool in jq rsvg-convert pdftoppm qpdf curl; do
    command -v "$tool" >/dev/null || { echo "$tool is missing; run make deps-check"; exit 1; }
done
work=$(mktemp -d) || exit 1
trap 'chmod -R u+w "$work"; rm -rf "$work"' EXIT
trap 'exit 1' INT TERM
MADE=$work/made # what cases share (made, in case.sh)
export MADE
mkdir "$MADE"

for file in tests/cli/test_*.sh; do
    mkdir "$work/$(basename "$file" .sh)"
    for name in $(awk -v brief="${BRIEF:-}" '/^# release only: / { only = 1; next }
        /^test_[a-z0-9_]*\(\) \{/ && !(brief && only) { sub(/\(.*/, ""); print } { only = 0 }' "$file" | grep -e "${1:-.}"); do
        echo "$file $name"
    done
done >"$work/cases"

# told CODE FILE NAME: prints what came of a case and counts it.
told() {
    title=$(echo "${3#test_}" | tr _ ' ')
    log=$work/$(basename "$2" .sh)/$3.log
    case $1 in
    0)
        passed=$((passed + 1))
        echo "ok      $title"
        sed -n 's/^note: /        | /p' "$log"
        ;;
    77)
        skipped=$((skipped + 1))
        echo "SKIPPED $title: $(tail -n 1 "$log")"
        ;;
    *)
        failed=$((failed + 1))
        echo "FAILED  $title ($2)"
        sed 's/^/        | /' "$log"
        ;;
    esac
}

xargs -r -P "$jobs" -L 1 sh tests/cli/one.sh "$work" <"$work/cases" | {
    passed=0 failed=0 skipped=0
    while read -r code file name; do told "$code" "$file" "$name"; done
    lost=$(($(wc -l <"$work/cases") - passed - failed - skipped))
    [ "$lost" = 0 ] || echo "FAILED  $lost cases did not come to an end"
    echo "$passed passed, $((failed + lost)) failed$([ "$skipped" = 0 ] || echo ", $skipped SKIPPED")"
    [ "$failed" = 0 ] && [ "$lost" = 0 ] && [ "$passed" -gt 0 ]
}
