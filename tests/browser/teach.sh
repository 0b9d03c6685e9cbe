#!/bin/sh
# The lessons of rimglow teach in a browser, by keyboard alone (browser.sh says what that needs).
#
#   RIMGLOW=build/release/rimglow sh tests/browser/teach.sh
set -u
. tests/browser/browser.sh

teach
node tests/browser/teach.cjs "$url" "$pictures" || exit 1
ended || exit 1
echo "check-browser (teach): passed"
