/*
 * board_picture.c - ray-cast pictures of a calibration board.
 */
#include "support/board_picture.h"

#include <math.h>
#include <stdlib.h>

#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>

#include "support/corners.h"

enum { MODULES = 8 };

typedef struct painted_board {
    const test_board_scene *scene;
    image_u8_t *tag[RG_BOARD_TAGS_MAX];
} painted_board;

/* Light at a place of the board's plane, mm. */
static double paint(const painted_board *p, double x, double y)
{
    const test_board_scene *s = p->scene;
    const rg_board *b = &s->board;
    rg_vec2 size = rg_board_size(b);
    double gap = b->pitch_mm - b->tag_mm;
    if (x < -gap || y < -gap || x > size.x + gap || y > size.y + gap)
        return s->ground;
    /* The cell of a tag reaches half a gap beyond it; the outer half gaps are paper. */
    int column = (int)floor((x + 0.5 * gap) / b->pitch_mm);
    int row = (int)floor((y + 0.5 * gap) / b->pitch_mm);
    if (column < 0 || row < 0 || column >= b->columns || row >= b->rows)
        return s->white;
    const image_u8_t *tag = p->tag[row * b->columns + column];
    int u = (int)floor((x - column * b->pitch_mm) / b->tag_mm * MODULES) + 1;
    int v = (int)floor((y - row * b->pitch_mm) / b->tag_mm * MODULES) + 1;
    if (u < 0 || v < 0 || u >= tag->width || v >= tag->height)
        return s->white;
    return tag->buf[v * tag->stride + u] ? s->white : s->black;
}

static double board_light(const void *painted, rg_vec3 from, rg_vec3 ray)
{
    const painted_board *p = painted;
    double k = -from.z / ray.z;
    if (!(k > 0.0))
        return p->scene->ground;
    return paint(p, from.x + k * ray.x, from.y + k * ray.y);
}

rg_image test_board_picture(const test_board_scene *scene, double codes, test_random *random)
{
    painted_board p = {.scene = scene};
    apriltag_family_t *family = tag36h11_create();
    int tags = rg_board_tags(&scene->board);
    for (int i = 0; i < tags; i++)
        p.tag[i] = apriltag_to_image(family, scene->board.first_id + i);
    rg_image image = test_cast(&scene->lens, &scene->pose, scene->blur_px, 1, board_light, &p);
    for (int i = 0; i < tags; i++) {
        free(p.tag[i]->buf);
        free(p.tag[i]);
    }
    tag36h11_destroy(family);
    uint8_t *code = image.data;
    for (int i = 0; codes > 0.0 && i < image.width * image.height; i++) {
        double noisy = code[i] + codes * test_normal(random);
        code[i] = (uint8_t)lround(fmin(fmax(noisy, 0.0), 255.0));
    }
    return image;
}

rg_pose test_board_pose(const rg_board *board, double distance, rg_vec2 direction,
                        double tilt_x_deg, double tilt_y_deg, double roll_deg)
{
    rg_vec2 size = rg_board_size(board);
    rg_pose pose = test_grid_pose(1, 1, 1.0, distance, direction, tilt_x_deg, tilt_y_deg, roll_deg);
    rg_vec3 middle = {0.5 * size.x, 0.5 * size.y, 0.0};
    pose.t = rg_vec3_sub(pose.t, rg_mat3_apply(pose.R, middle));
    return pose;
}
