#!/bin/sh
# The lessons of rimglow teach in a browser, by keyboard alone (browser.sh says what that needs).
#
#   RIMGLOW=build/release/rimglow sh tests/browser/teach.sh
set -u
. tests/browser/browser.sh

: >"$work/log"
"$RIMGLOW" teach --port 0 >"$work/log" 2>"$work/err" &
bench=$! # ended: by Ctrl-C, and in order
for i in 1 2 3 4 5 6 7 8 9 10; do grep -q http "$work/log" && break; sleep 0.5; done
url=$(sed -n 's/^= \(http.*\)/\1/p' "$work/log")
[ -n "$url" ] || { cat "$work/err"; exit 1; }
node tests/browser/teach.cjs "$url" "$pictures" || exit 1
ended || exit 1
echo "check-browser (teach): passed"
