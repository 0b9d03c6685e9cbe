#!/bin/sh
# The page Calibrate in Debian's chromium, as run.sh has it: lens and light by keyboard to the written station file,
# and what the commands make of the folders that were kept.
#
#   RIMGLOW=build/release/rimglow TOOLS=build/release/tests/tools sh tests/browser/calibrate.sh
set -u
root=$(pwd)
skip() { echo "check-browser (calibrate): SKIPPED: $1"; exit 0; }
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
mkdir "$work/photos" && "$TOOLS/boardphotos" "$work/photos" 10 >"$work/truth.json" || exit 1
# The board of the tool's photographs is larger than the demo bench's.
sed -e 's/^columns = 9/columns = 7/' -e 's/^rows = 7/rows = 5/' -e 's/^tag_mm = .*/tag_mm = 28/' \
    -e 's/^pitch_mm = .*/pitch_mm = 36/' calib/board.ini >"$work/board.ini"
cp calib/bench.ini "$work/mine.ini"
# lens or light: each on a station of its own, since the demo wedge was not seen by the photographs' lens.
status=0
for only in lens light; do
    cp calib/bench.ini "$work/mine.ini"
    : >"$work/log"
    "$RIMGLOW" bench --instrument calib/alto-loan.ini --station "$work/mine.ini" --board "$work/board.ini" \
        --serial PE-A-0147 --technician "A. Bell" --replay "$work/photos" samples/wedge --port 0 --rate 15 \
        -o "$work/sweeps" >"$work/log" 2>"$work/err" &
    bench=$!
    trap 'kill -INT $bench 2>/dev/null; wait $bench; rm -rf "$work"' EXIT
    for i in 1 2 3 4 5 6 7 8 9 10; do grep -q http "$work/log" && break; sleep 0.5; done
    url=$(sed -n 's/^= \(http.*\)/\1/p' "$work/log")
    [ -n "$url" ] || { cat "$work/err"; exit 1; }
    RIMGLOW_ONLY=$only NODE_PATH=$modules/node_modules node tests/browser/calibrate.cjs "$url" \
        "$root/build/browser/pictures" || status=1
    kill -INT $bench
    wait $bench || { echo "the bench does not end in order"; status=1; }
    cp calib/bench.ini "$work/again.ini"
    [ $only = lens ] &&
        "$RIMGLOW" calibrate lens -q --pictures none -o "$work/o" --board "$work/board.ini" --write "$work/again.ini" \
            "$work"/sweeps/calibration/lens-*/photo_*
    # The sweep names mine.ini as its station: as it was when the bench fitted.
    [ $only = light ] && cp "$work/mine.ini" "$work/written.ini" && cp calib/bench.ini "$work/mine.ini" &&
        "$RIMGLOW" calibrate light -q -o "$work/o" --write "$work/again.ini" "$work"/sweeps/calibration/PE-A-0147/light-* &&
        mv "$work/written.ini" "$work/mine.ini"
    cmp "$work/mine.ini" "$work/again.ini" || { echo "$only: the command writes other values"; status=1; }
    ! cmp -s "$work/mine.ini" calib/bench.ini || { echo "$only: nothing was written"; status=1; }
done
[ $status = 0 ] && echo "check-browser (calibrate): passed"
exit $status
