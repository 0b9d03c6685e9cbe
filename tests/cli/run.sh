#!/bin/sh
# End-to-end tests of the command line.
#
#   RIMGLOW=build/release/rimglow TOOLS=build/release/tests/tools sh tests/cli/run.sh [PATTERN]
#
# Every function test_... of every tests/cli/test_*.sh is a case. Each runs in
# a shell and a fresh folder of its own (case.sh), so cases cannot disturb each
# other. They run side by side (tests/pool.sh, which says what JOBS and TIMES do). A case that cannot be run here ends with
# exit code 77, and its last line says why. PATTERN (of grep) chooses cases by name. From the repository root.
# BRIEF=1, for the sanitized program: a case with a line "# release only: ..." just above it is left out; the
# line says what runs the same code under the sanitizers.
set -u
: "${RIMGLOW:?the path of the program}" "${TOOLS:?the folder of the helper programs}"
. tests/jobs.sh
for program in "$RIMGLOW" "$TOOLS/spoil"; do
    [ -x "$program" ] || { echo "$program is missing; run make check-cli"; exit 1; }
done
for tool in jq rsvg-convert pdftoppm qpdf curl; do
    command -v "$tool" >/dev/null || { echo "$tool is missing; run make deps-check"; exit 1; }
done
work=$(mktemp -d) || exit 1
trap 'chmod -R u+w "$work"; rm -rf "$work"' EXIT
trap 'exit 1' INT TERM
case_jobs command-line "$work/cases" "$RIMGLOW" "$TOOLS" "${1:-.}" | sh tests/pool.sh "$work"
