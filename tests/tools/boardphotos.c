/*
 * boardphotos.c - photographs of the default calibration board by a camera
 * whose lens is known: boardphotos FOLDER COUNT writes 00.png, 01.png, ... and
 * prints the lens as JSON. For the tests of the command line.
 */
#include <png.h>
#include <stdio.h>
#include <stdlib.h>

#include "support/board_picture.h"

enum { PHOTOS = 10 };

/* calib/board.ini */
static const rg_board board = {7, 5, 28.0, 36.0, 400};
static const rg_lens lens = {.width = 640,
                             .height = 480,
                             .fx = 560.0,
                             .fy = 561.0,
                             .cx = 322.0,
                             .cy = 236.0,
                             .k1 = -0.15,
                             .k2 = 0.05,
                             .p1 = 0.0004,
                             .p2 = -0.0003};

/* distance, direction, tilts, roll */
static const double poses[PHOTOS][6] = {
    {235, 0.0, 0.0, 0, 0, 1},        {250, 0.02, 0.0, 30, 3, 2},
    {250, 0.0, 0.02, -30, -4, -2},   {250, 0.0, 0.0, 4, 32, 3},
    {250, -0.02, 0.0, -3, -32, -3},  {240, -0.12, -0.09, 18, -16, 4},
    {240, 0.12, -0.09, 18, 16, -4},  {240, -0.12, 0.09, -18, -16, 2},
    {240, 0.12, 0.09, -18, 16, 182}, {260, 0.0, 0.0, 20, 20, 90},
};

static void write_png(const char *path, const rg_image *image)
{
    png_image png = {.version = PNG_IMAGE_VERSION,
                     .width = (png_uint_32)image->width,
                     .height = (png_uint_32)image->height,
                     .format = PNG_FORMAT_GRAY};
    if (!png_image_write_to_file(&png, path, 0, image->data, 0, NULL)) {
        fprintf(stderr, "boardphotos: %s cannot be written\n", path);
        exit(1);
    }
}

int main(int argc, char **argv)
{
    int count = argc == 3 ? atoi(argv[2]) : 0;
    if (count < 1 || count > PHOTOS) {
        fprintf(stderr, "usage: boardphotos FOLDER COUNT, 1 to %d\n", PHOTOS);
        return 64;
    }
    test_random random = {.state = 99};
    for (int i = 0; i < count; i++) {
        const double *p = poses[i];
        char path[400];
        test_board_scene s = {board,         lens,         .blur_px = 0.7,
                              .black = 0.03, .white = 0.7, .ground = 0.2};
        s.pose = test_board_pose(&board, p[0], (rg_vec2){p[1], p[2]}, p[3], p[4], p[5]);
        rg_image image = test_board_picture(&s, 1.0, &random);
        snprintf(path, sizeof path, "%s/%02d.png", argv[1], i);
        write_png(path, &image);
        rg_image_free(&image);
    }
    printf("{\"fx_px\": %g, \"fy_px\": %g, \"cx_px\": %g, \"cy_px\": %g, \"k1\": %g, \"k2\": %g, "
           "\"p1\": %g, \"p2\": %g}\n",
           lens.fx, lens.fy, lens.cx, lens.cy, lens.k1, lens.k2, lens.p1, lens.p2);
    return 0;
}
