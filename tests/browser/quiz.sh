#!/bin/sh
# The quiz in a browser (browser.sh says what that needs): a trainee's whole path by keyboard, and what the files and the
# program's own results say of it.
#
#   RIMGLOW=build/release/rimglow sh tests/browser/quiz.sh
set -u
. tests/browser/browser.sh

# One picture and seven cases: the path is the same, and sooner at its end.
sed -e 's/^count = 3/count = 1/' -e 's/^cases = 28/cases = 7/' calib/quiz.ini >"$work/quiz.ini"

lessons() { teach --trainees "$work/kept" "$@"; }

lessons --quiz "$work/quiz.ini"
node tests/browser/quiz.cjs "$url" "$pictures" || exit 1
ended || exit 1
"$RIMGLOW" teach --results --json --trainees "$work/kept" --quiz "$work/quiz.ini" >"$work/results" || exit 1
jq -e '.trainees | length == 1 and .[0].trainee == "A. Bell" and .[0].practice.of == 2 and
    (.[0].exams | length) == 1 and .[0].exams[0].seed == "42" and .[0].exams[0].all.of == 7' "$work/results" >/dev/null ||
    { echo "the files say something else"; exit 1; }

# Photographs of an archive: one of its pads leaks by one fault, the other is undecided.
"$RIMGLOW" archive add -q -a "$work/archive" --technician "A. Bell" samples/PE-A-0147/08-G samples/PE-A-0147/05-B >/dev/null || exit 1
lessons --quiz "$work/quiz.ini" --archive "$work/archive"
RIMGLOW_ONLY=archive node tests/browser/quiz.cjs "$url" "$pictures" || exit 1
ended || exit 1
"$RIMGLOW" teach --results --json --trainees "$work/kept" --quiz "$work/quiz.ini" >"$work/results" || exit 1
jq -e '.trainees[0].archived.cases == 1 and .trainees[0].practice.of == 2' "$work/results" >/dev/null ||
    { echo "the files count photographs with drawn cases"; exit 1; }

# As it comes: three pictures, for the screenshots.
lessons
RIMGLOW_ONLY=look node tests/browser/quiz.cjs "$url" "$pictures" || exit 1
ended || exit 1
echo "check-browser (quiz): passed"
