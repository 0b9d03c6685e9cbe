/*
 * corners.h - corners of a plane target in several views, as a CSV file: for
 * a lens calibration with corners found by another program.
 *
 *   # size 640x480
 *   view,x_mm,y_mm,u_px,v_px
 *   left01.jpg,0,0,244.405670,94.136681
 *   left01.jpg,25,0,274.394623,92.210602
 *
 * UTF-8, commas, a point as the decimal sign, LF or CR LF. The heading stands
 * before the first corner; lines that begin with '#' are comments, and one of them may
 * say the pictures' size; empty lines are allowed. Pixel centres are at
 * integers. Lines of a view need not stand together.
 */
#ifndef RIMGLOW_CORNERS_H
#define RIMGLOW_CORNERS_H

#include <stddef.h>

#include "rimglow/calibration.h"

enum { RG_CORNERS_MAX_BYTES = 32 * 1024 * 1024 };

typedef struct rg_corner_list {
    int width, height; /* px; 0 when the file does not say */
    int views;
    rg_view *view; /* owned, with their corners */
} rg_corner_list;

/* label names the file in messages; text is read up to size and need not end
 * with a 0. RG_BAD_DATA "LABEL, line N: ..." for anything else than the format
 * above, more than RG_CALIBRATION_VIEWS_MAX views or RG_CALIBRATION_POINTS_MAX
 * corners in one, or no corner at all. On failure the list owns nothing. */
rg_code rg_corners_parse(const char *label, const char *text, size_t size, rg_corner_list *list,
                         rg_error *err);
void rg_corner_list_free(rg_corner_list *list);

#endif
