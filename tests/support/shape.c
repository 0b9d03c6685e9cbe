/*
 * shape.c - bearings of made maps.
 */
#include "support/shape.h"

#include <math.h>

rg_bin test_bin(int bearing_deg, double width_mm, double u_mm, double limit_mm)
{
    bool open = width_mm > 0;
    return (rg_bin){.bearing_deg = bearing_deg,
                    .width_mm = open ? width_mm : 0,
                    .u_mm = open ? u_mm : limit_mm / 3.29, /* Currie 1968, as sealmap.h */
                    .detection_limit_mm = limit_mm,
                    .frames = 10,
                    .lit = open ? 5 : 0,
                    .state = open ? RG_BIN_GAP : RG_BIN_SEALED};
}

rg_bin test_unseen_bin(int bearing_deg)
{
    return (rg_bin){.bearing_deg = bearing_deg,
                    .width_mm = NAN,
                    .u_mm = NAN,
                    .detection_limit_mm = INFINITY,
                    .state = RG_BIN_UNSEEN};
}
