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
if [ -n "${DISPLAY:-}${WAYLAND_DISPLAY:-}" ] && command -v xdg-open >/dev/null 2>&1; then
    for picture in "$out"/PE-A-0147/*/ring.png; do
        xdg-open "$picture" >/dev/null 2>&1 &
    done
else
    echo "Open them with any picture viewer or browser."
fi
exit 0
