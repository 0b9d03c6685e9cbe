#!/bin/sh
# Includes go only downwards: base < pixels < geometry < measure < setup <
# edge < app; edge modules never include each other; synth stays clear of the
# measuring modules. A header belongs to the layer whose folder holds the
# source file of the same name.
set -eu
cd "$(dirname "$0")/.."
rank() { case $1 in base) echo 0;; pixels) echo 1;; geometry) echo 2;; measure) echo 3;; setup) echo 4;; edge) echo 5;; app) echo 6;; *) echo -1;; esac; }
# Header-only modules: their layer is named here.
layer_of() {
    case $1 in
    image) echo pixels; return;;
    esac
    for d in base pixels geometry measure setup edge app; do
        [ -e "src/$d/$1.c" ] && { echo $d; return; }
    done
    echo none
}
bad=0
for f in src/*/*.c src/*/*.h include/rimglow/*.h; do
    [ -e "$f" ] || continue
    case $f in
    include/*) m=$(basename "$f" .h); l=$(layer_of "$m");;
    *) l=$(basename "$(dirname "$f")"); m=$(basename "$f" | sed 's/\.[ch]$//');;
    esac
    if [ "$l" = none ]; then echo "$f: no source file of that name in any layer"; bad=1; continue; fi
    for h in $(sed -nE 's/^#include "rimglow\/([a-z0-9_]+)\.h".*/\1/p' "$f"); do
        hl=$(layer_of "$h")
        if [ "$hl" = none ]; then echo "$f includes rimglow/$h.h, which belongs to no layer"; bad=1; continue; fi
        if [ "$(rank "$hl")" -gt "$(rank "$l")" ]; then
            echo "$f ($l) includes rimglow/$h.h ($hl): includes go only downwards"; bad=1
        fi
        # A module may be split: draw.c, draw_map.c and draw_private.h are one.
        case "$l:$hl:$m" in edge:edge:"$h"|edge:edge:"$h"_*) ;; edge:edge:*)
            echo "$f (edge) includes rimglow/$h.h (edge): edge modules never include each other"; bad=1;; esac
        # The renderer proves the measurement: sharing its code would hide its errors.
        case "$m" in synth|synth_*) case "$hl:$h" in base:*|pixels:*|geometry:lens|edge:synth) ;; *)
            echo "$f: synth must not include rimglow/$h.h"; bad=1;; esac;; esac
    done
    # Of the lens, the renderer takes the forward projection only.
    case "$m" in synth|synth_*) if grep -nE '\brg_lens_(inverse|ray|check)\(' "$f"; then
        echo "$f: synth may use the lens's forward projection only"; bad=1; fi;; esac
    # Core code reads no clock, prints nothing, starts no thread, opens no file.
    case $l in pixels|geometry|measure|setup)
        if grep -nE '\b(printf|fprintf|puts|exit|abort|fopen|open|time|clock_gettime|pthread_create)\(' "$f" | grep -v 'snprintf' ; then
            echo "$f ($l): core code must not do that"; bad=1
        fi;; esac
done
[ $bad = 0 ] && echo "check-layers: includes go only downwards"
exit $bad
