#!/bin/sh
# The bench page in Debian's chromium, by playwright-core and axe-core from npm. Skipped, and said so, where one
# of them is missing.
#
#   RIMGLOW=build/release/rimglow sh tests/browser/run.sh
#
# MODULES: a folder that holds node_modules with both (default build/browser; filled by npm from package.json).
# Screenshots stay in build/browser/pictures.
set -u
root=$(pwd)
skip() { echo "check-browser: SKIPPED: $1"; exit 0; }
command -v node >/dev/null || skip "no node"
CHROMIUM=${CHROMIUM:-$(command -v chromium)} || skip "no chromium (apt-get install chromium)"
export CHROMIUM
modules=${MODULES:-$root/build/browser}
mkdir -p "$root/build/browser/pictures"
if [ ! -d "$modules/node_modules/playwright-core" ] || [ ! -d "$modules/node_modules/axe-core" ]; then
    command -v npm >/dev/null || skip "no npm"
    cp tests/browser/package.json "$modules/" && (cd "$modules" && npm install --silent --no-audit --no-fund) \
        || skip "npm could not fetch playwright-core and axe-core"
fi
work=$(mktemp -d) || exit 1
: >"$work/log"
"$RIMGLOW" bench --instrument calib/alto-loan.ini --station calib/bench.ini --serial PE-A-0147 \
    --replay samples/PE-A-0147 --port 0 --rate 12 -o "$work/sweeps" -a "$work/archive" --reports "$work/reports" \
    >"$work/log" 2>"$work/err" &
bench=$!
trap 'kill -INT $bench 2>/dev/null; wait $bench; rm -rf "$work"' EXIT
for i in 1 2 3 4 5 6 7 8 9 10; do grep -q http "$work/log" && break; sleep 0.5; done
url=$(sed -n 's/^= \(http.*\)/\1/p' "$work/log")
[ -n "$url" ] || { cat "$work/err"; exit 1; }
expected=$(for sweep in samples/PE-A-0147/04-C samples/PE-A-0147/05-B samples/PE-A-0147/06-A; do
    "$RIMGLOW" inspect --json --pictures none -o "$work/inspection" "$sweep" | jq -r .verdict
done)
NODE_PATH=$modules/node_modules node tests/browser/bench.cjs "$url" "$root/build/browser/pictures" $expected
status=$?
[ $status = 0 ] && [ -z "$(find "$work/archive/bags" -name bagit.txt)" ] && { echo "no bag was stored"; status=1; }
[ $status = 0 ] && { "$RIMGLOW" archive verify -a "$work/archive" >/dev/null || { echo "the bag does not check"; status=1; }; }
[ $status = 0 ] && echo "check-browser: passed"
exit $status
