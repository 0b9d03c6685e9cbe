#!/bin/sh
# The bench page in a browser (browser.sh says what that needs): three pads, then a whole instrument.
#
#   RIMGLOW=build/release/rimglow sh tests/browser/run.sh
#
# Screenshots stay in build/browser/pictures.
set -u
. tests/browser/browser.sh

# ---- three pads of the samples: every control, both sizes, the archive's pages
bench --station calib/bench.ini --replay samples/PE-A-0147 --rate 12 -o "$work/sweeps" -a "$work/archive" \
    --reports "$work/reports"
expected=$(for sweep in samples/PE-A-0147/04-C samples/PE-A-0147/05-B samples/PE-A-0147/06-A; do
    "$RIMGLOW" inspect --json --pictures none -o "$work/inspection" "$sweep" | jq -r .verdict
done)
node tests/browser/bench.cjs "$url" "$pictures" $expected || exit 1
[ -n "$(find "$work/archive/bags" -name bagit.txt)" ] || { echo "no bag was stored"; exit 1; }
"$RIMGLOW" archive verify -a "$work/archive" >/dev/null || { echo "the bag does not check"; exit 1; }
ended || exit 1

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
echo "check-browser (run): passed"
