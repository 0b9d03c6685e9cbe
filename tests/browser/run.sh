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
case $RIMGLOW in /*) ;; *) RIMGLOW=$root/$RIMGLOW ;; esac
pictures=$root/build/browser/pictures
export NODE_PATH="$modules/node_modules"

# ---- three pads of the samples: every control, both sizes, the archive's pages
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
node tests/browser/bench.cjs "$url" "$pictures" $expected
status=$?
[ $status = 0 ] && [ -z "$(find "$work/archive/bags" -name bagit.txt)" ] && { echo "no bag was stored"; status=1; }
[ $status = 0 ] && { "$RIMGLOW" archive verify -a "$work/archive" >/dev/null || { echo "the bag does not check"; status=1; }; }
[ $status = 0 ] || exit $status

# ---- a whole instrument of 16 pads, the program killed in the sixth
. tests/browser/instrument.sh
instrument "$work"
node tests/browser/instrument.cjs "$pictures" "$work/facts.json" "$RIMGLOW" bench --instrument "$work/instrument.ini" \
    --station calib/bench.ini --serial PE-A-0147 --replay "$work/recorded" --rate 20 \
    -o "$work/taken" -a "$work/kept" --reports "$work/papers" || exit 1
# What rimglow inspect says of the folders that were recorded is what the bench kept.
for sweep in "$work"/taken/PE-A-0147/[0-9]*; do
    name=$(basename "$sweep")
    case $name in *.cut-*) continue ;; esac
    "$RIMGLOW" inspect -q --pictures none -o "$work/again" "$sweep" >/dev/null
    cmp "$work/again/PE-A-0147/$name/seal-map.json" "$sweep/seal-map.json" || { echo "$name: inspect says something else"; exit 1; }
done
"$RIMGLOW" archive verify -a "$work/kept" >/dev/null || { echo "the bag of the instrument does not check"; exit 1; }
"$RIMGLOW" archive show -a "$work/kept" --json PE-A-0147 >"$work/shown"
jq -e --slurpfile f "$work/facts.json" '([.sweeps[] | select(.finger == "light") | .verdict] == $f[0].verdicts) and
    (.sweeps | length) == 17 and (.setup | length) == 2 and (.note | contains("one cork new"))' "$work/shown" >/dev/null ||
    { echo "the bag holds something else"; exit 1; }
[ -s "$work/papers/PE-A-0147-0001.pdf" ] || { echo "no certificate"; exit 1; }
echo "check-browser: passed"
