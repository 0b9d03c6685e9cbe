#!/bin/sh
# The page Calibrate in a browser (browser.sh says what that needs): lens and light by keyboard to the written station
# file, and what the commands make of the folders that were kept.
#
#   RIMGLOW=build/release/rimglow TOOLS=build/release/tests/tools sh tests/browser/calibrate.sh
set -u
. tests/browser/browser.sh

mkdir "$work/photos" && "$TOOLS/boardphotos" "$work/photos" 10 >"$work/truth.json" || exit 1
# The board of the tool's photographs is larger than the demo bench's.
sed -e 's/^columns = 9/columns = 7/' -e 's/^rows = 7/rows = 5/' -e 's/^tag_mm = .*/tag_mm = 28/' \
    -e 's/^pitch_mm = .*/pitch_mm = 36/' calib/board.ini >"$work/board.ini"

# What the command writes of the folder that the bench kept.
lens_again() {
    "$RIMGLOW" calibrate lens -q --pictures none -o "$work/o" --board "$work/board.ini" --write "$work/again.ini" \
        "$work"/sweeps/calibration/lens-*/photo_*
}
# The sweep names mine.ini as its station: as it was when the bench fitted.
light_again() {
    cp "$work/mine.ini" "$work/written.ini" && cp calib/bench.ini "$work/mine.ini" &&
        "$RIMGLOW" calibrate light -q -o "$work/o" --write "$work/again.ini" "$work"/sweeps/calibration/PE-A-0147/light-* &&
        mv "$work/written.ini" "$work/mine.ini"
}

# lens or light: each on a station of its own, since the demo wedge was not seen by the photographs' lens.
status=0
for only in lens light; do
    cp calib/bench.ini "$work/mine.ini"
    cp calib/bench.ini "$work/again.ini"
    bench --station "$work/mine.ini" --board "$work/board.ini" --technician "A. Bell" \
        --replay "$work/photos" samples/wedge --rate 15 -o "$work/sweeps"
    RIMGLOW_ONLY=$only node tests/browser/calibrate.cjs "$url" "$pictures" || status=1
    ended || status=1
    ${only}_again || { echo "$only: the command fails"; status=1; }
    cmp "$work/mine.ini" "$work/again.ini" || { echo "$only: the command writes other values"; status=1; }
    ! cmp -s "$work/mine.ini" calib/bench.ini || { echo "$only: nothing was written"; status=1; }
done
[ $status = 0 ] && echo "check-browser (calibrate): passed"
exit $status
