/*
 * corners.c - views of a plane, read from files or projected.
 */
#include "support/corners.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/load.h"

enum { ZHANG_POINTS = 256, ZHANG_VIEWS = 5, LEFT_POINTS = 54 };

static void *need(void *block)
{
    if (!block)
        abort();
    return block;
}

static rg_view new_view(const char *name, int corners)
{
    rg_view v = {.corners = corners, .corner = need(calloc((size_t)corners, sizeof *v.corner))};
    snprintf(v.name, sizeof v.name, "%s", name);
    return v;
}

static void read_pairs(const char *name, rg_vec2 *to)
{
    test_bytes b = test_loadf("tests/data/lens/zhang2000/%s.txt", name);
    char *at = (char *)b.data;
    for (int i = 0; i < 2 * ZHANG_POINTS; i++) {
        char *end;
        double value = strtod(at, &end);
        if (end == at)
            abort();
        at = end;
        if (i % 2)
            to[i / 2].y = value;
        else
            to[i / 2].x = value;
    }
    free(b.data);
}

int test_zhang_views(rg_view view[RG_CALIBRATION_VIEWS_MAX])
{
    rg_vec2 model[ZHANG_POINTS], pixel[ZHANG_POINTS];
    read_pairs("Model", model);
    for (int v = 0; v < ZHANG_VIEWS; v++) {
        char name[16];
        snprintf(name, sizeof name, "data%d", v + 1);
        read_pairs(name, pixel);
        view[v] = new_view(name, ZHANG_POINTS);
        for (int i = 0; i < ZHANG_POINTS; i++)
            view[v].corner[i] = (rg_corner){model[i], pixel[i]};
    }
    return ZHANG_VIEWS;
}

int test_left_views(rg_view view[RG_CALIBRATION_VIEWS_MAX])
{
    test_bytes b = test_load("tests/data/lens/left_corners.csv");
    int views = 0, corners = 0;
    char name[32], last[32] = "";
    rg_corner c;
    for (char *line = strtok((char *)b.data, "\n"); line; line = strtok(NULL, "\n")) {
        if (sscanf(line, "%31[^,],%lf,%lf,%lf,%lf", name, &c.board.x, &c.board.y, &c.pixel.x,
                   &c.pixel.y) != 5)
            continue;
        if (strcmp(name, last) != 0) {
            view[views++] = new_view(name, LEFT_POINTS);
            corners = 0;
            strcpy(last, name);
        }
        if (corners == LEFT_POINTS)
            abort();
        view[views - 1].corner[corners++] = c;
    }
    free(b.data);
    return views;
}

void test_free_views(rg_view *view, int views)
{
    for (int i = 0; i < views; i++)
        free(view[i].corner);
}

rg_view test_grid_view(const rg_lens *lens, const rg_pose *pose, int columns, int rows,
                       double pitch, double sigma_px, test_random *random)
{
    rg_view v = new_view("grid", columns * rows);
    for (int i = 0; i < columns * rows; i++) {
        rg_corner *c = &v.corner[i];
        c->board = (rg_vec2){i % columns * pitch, i / columns * pitch};
        rg_vec3 at = rg_pose_apply(pose, rg_vec3_make(c->board.x, c->board.y, 0.0));
        if (!rg_lens_project(lens, at, &c->pixel))
            abort();
        if (sigma_px > 0.0) {
            c->pixel.x += sigma_px * test_normal(random);
            c->pixel.y += sigma_px * test_normal(random);
        }
    }
    return v;
}

rg_pose test_grid_pose(int columns, int rows, double pitch, double distance, rg_vec2 direction,
                       double tilt_x_deg, double tilt_y_deg, double roll_deg)
{
    rg_mat3 x = rg_rodrigues(rg_vec3_make(rg_radians(tilt_x_deg), 0.0, 0.0));
    rg_mat3 y = rg_rodrigues(rg_vec3_make(0.0, rg_radians(tilt_y_deg), 0.0));
    rg_mat3 z = rg_rodrigues(rg_vec3_make(0.0, 0.0, rg_radians(roll_deg)));
    rg_pose pose = {.R = rg_mat3_mul(rg_mat3_mul(x, y), z)};
    rg_vec3 middle = {0.5 * (columns - 1) * pitch, 0.5 * (rows - 1) * pitch, 0.0};
    rg_vec3 place = {distance * direction.x, distance * direction.y, distance};
    pose.t = rg_vec3_sub(place, rg_mat3_apply(pose.R, middle));
    return pose;
}
