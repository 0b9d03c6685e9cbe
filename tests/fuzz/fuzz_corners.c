/*
 * fuzz_corners.c - any bytes as a list of corners, and what is read from them
 * through the calibration.
 */
#include <math.h>

#include "fuzz.h"
#include "rimglow/corners.h"

/* Long lists only cost time here. */
static int small(const rg_corner_list *list)
{
    int corners = 0;
    for (int i = 0; i < list->views; i++)
        corners += list->view[i].corners;
    return corners <= 200 && list->views <= 8;
}

static void calibrate(const rg_corner_list *list)
{
    static const rg_calibration_options options = {.model = {.radial = 2, .tangential = true},
                                                   .bad_view_ratio = 3.0};
    rg_calibration c;
    rg_error err = {0};
    rg_code code = rg_calibrate(list->view, list->views, 640, 480, &options, &c, &err);
    require(code == RG_OK || (code == RG_BAD_DATA && err.text[0] && !c.view));
    if (code == RG_OK) {
        require(isfinite(c.fit.lens.fx) && c.fit.lens.fx > 0 && isfinite(c.fit.rms_px));
        for (int i = 0; i < c.views; i++)
            require(!c.view[i].used || rg_mat3_is_rotation(c.view[i].pose.R, 1e-6));
    }
    rg_calibration_free(&c);
}

static void try_list(const char *text, size_t size)
{
    rg_corner_list list;
    rg_error err = {0};
    rg_code code = rg_corners_parse("fuzz.csv", text, size, &list, &err);
    require(code == RG_OK || (code == RG_BAD_DATA && err.text[0] && !list.view));
    for (int i = 0; i < list.views; i++) {
        require(list.view[i].name[0] && list.view[i].corners > 0);
        for (int k = 0; k < list.view[i].corners; k++)
            require(isfinite(list.view[i].corner[k].pixel.x));
    }
    if (code == RG_OK && small(&list))
        calibrate(&list);
    rg_corner_list_free(&list);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    return fuzz_exact(try_list, data, size);
}
