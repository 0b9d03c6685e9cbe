#!/bin/sh
# ThreadSanitizer over all that runs threads: unit tests, then commands and pages.
#
#   RIMGLOW=build/tsan/rimglow TOOLS=build/tsan/tests/tools sh tests/threads/run.sh PROGRAM... [-- PATTERN]
#
# PROGRAM: unit tests of the same build; PATTERN (of grep): names of command line cases in place of those below.
# Every report fails the run, also one of a program whose exit code its case does not look at. From the repository root.
set -u
: "${RIMGLOW:?the path of the program}" "${TOOLS:?the folder of the helper programs}"
programs=
while [ $# -gt 0 ] && [ "$1" != -- ]; do programs="$programs $1"; shift; done
# What has threads: the pool (inspect, pictures, lens, render, lessons), the live engine with its workers, writer and
# measurer, the session's thread, the server's, the calibrations' and the teaching pages'.
cases='leaking_pad_exits_1\|all_pictures_are_drawn\|capture_gives_the_seal_map\|capture_that_is_interrupted\|pad_is_taken_from_a_camera'
cases="$cases"'\|bench_answers_many_at_once\|bench_from_the_first_pad\|bench_keeps_a_sweep_that_ctrl_c\|camera_that_is_pulled_out'
cases="$cases"'\|bench_previews_the_decision\|bench_calibrates_the_l\|photographs_give_the_lens_back\|check_of_a_good_sweep'
cases="$cases"'\|teach_answers_many_at_once\|examination_to_results\|page_makes_a_sheet\|page_tells_what_went_wrong\|pairs_page_lists'
cases="$cases"'\|six_writers_and_readers\|signed_bag_is_checked'
cases=${2:-$cases}
reports=$(mktemp -d) || exit 1
trap 'rm -rf "$reports"' EXIT
trap 'exit 1' INT TERM
TSAN_OPTIONS="halt_on_error=1 exitcode=66 second_deadlock_stack=1 history_size=4 log_path=$reports/report suppressions=$(pwd)/tests/threads/libraries.supp"
export TSAN_OPTIONS
# Where addresses are spread wider than ThreadSanitizer's map reaches (vm.mmap_rnd_bits over 28), it needs them in order.
calm="setarch $(uname -m) -R"
$calm true 2>/dev/null || calm=
code=0
# shellcheck disable=SC2086 # words on purpose
[ -z "$programs" ] || RIMGLOW=$RIMGLOW $calm sh tests/units.sh "${FILTER:-}" $programs || code=1
BRIEF= PATIENCE=2400 $calm sh tests/cli/run.sh "$cases" || code=1
for report in "$reports"/report.*; do
    [ -f "$report" ] || continue
    cat "$report"
    code=1
done
[ "$code" = 0 ] && echo "check-threads: no race"
exit $code
