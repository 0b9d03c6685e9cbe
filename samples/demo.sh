#!/bin/sh
# make demo: inspects the sample instrument and shows what came of it.
#
#   sh samples/demo.sh build/release/rimglow
#
# From the repository root. Ends with 0 although pads leak (that is what the
# samples are for), and with the program's own code when it failed.
set -u
program=${1:?the path of the program}
out=inspection

echo "The loan alto PE-A-0147 (invented; samples/README.md), pad by pad:"
echo
"$program" inspect --out "$out" samples/PE-A-0147/*
code=$?
if [ "$code" -ge 64 ]; then
    echo "the demonstration failed with code $code" >&2
    exit "$code"
fi

echo
echo "How to read it: ( O ) closes all the way round, ( / ) leaks at the bearings named,"
echo "( ? ) could not be decided, and the lines below it say what to do. Bearing 0 is at the"
echo "key arm, clockwise seen from above; +- is the expanded uncertainty (k = 2)."
echo
echo "The seal maps as pictures (strip.png beside each unrolls the rim, frames/ shows what"
echo "was seen in every frame, seal-map.json holds the numbers):"
for picture in "$out"/PE-A-0147/*/ring.png; do
    echo "  $picture"
done

# ---- the archive: two visits of the same instrument
demo=build/demo
rm -rf "$demo"
mkdir -p "$demo"
keep() { "$program" archive "$@" || { code=$?; [ "$code" -lt 64 ] || { echo "the demonstration failed with code $code" >&2; exit "$code"; }; }; }
echo
echo "The same instrument goes into an archive (invented: $demo/archive), as it was received:"
keep add -a "$demo/archive" --results "$out" --technician "A. Bell" --occasion "as received" \
    --setup samples/setup.ini samples/PE-A-0147/*
# The repaired pad G: frames of a sealed pad of the same size stand in for a second sweep.
cp -r samples/PE-A-0147/04-C "$demo/08-G"
sed -e 's|^pad = C|pad = G|' -e 's|\.\./\.\./\.\./calib|../../../calib|' samples/PE-A-0147/04-C/sweep.ini >"$demo/08-G/sweep.ini"
echo "and once more after pad G was corrected (frames of a sealed pad stand in for it):"
keep add -a "$demo/archive" --results "$demo/results" --technician "A. Bell" --occasion release "$demo/08-G"
echo
keep list -a "$demo/archive"
keep verify -a "$demo/archive"
echo
keep compare -a "$demo/archive" -o "$demo/comparison" PE-A-0147/1 PE-A-0147/2
keep report -a "$demo/archive" -o "$demo/reports" PE-A-0147/1

echo
if [ -n "${DISPLAY:-}${WAYLAND_DISPLAY:-}" ] && command -v xdg-open >/dev/null 2>&1; then
    for picture in "$out"/PE-A-0147/*/ring.png; do
        xdg-open "$picture" >/dev/null 2>&1 &
    done
else
    echo "Open them with any picture viewer or browser."
fi
exit 0
