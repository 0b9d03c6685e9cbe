#!/bin/sh
# The page Pairs in a browser (browser.sh says what that needs): without an archive, then with one of the samples of
# which one inspection was damaged, by keyboard alone.
#
#   RIMGLOW=build/release/rimglow sh tests/browser/pairs.sh
set -u
. tests/browser/browser.sh

for sweeps in "04-C 05-B" "06-A 07-G-sharp 08-G 09-F-sharp" 07-G-sharp; do
    set --
    for sweep in $sweeps; do set -- "$@" "samples/PE-A-0147/$sweep"; done
    "$RIMGLOW" archive add -q -a "$work/archive" --technician "A. Bell" "$@" >/dev/null || exit 1
done
frame=$(find "$work/archive/bags" -path '*/0003-*/view_02.jpg')
chmod u+w "$frame" && printf x >>"$frame"

teach
node tests/browser/pairs.cjs "$url" "$pictures" none || exit 1
ended || exit 1
teach --archive "$work/archive"
node tests/browser/pairs.cjs "$url" "$pictures" 6 || exit 1
ended || exit 1
echo "check-browser (pairs): passed"
