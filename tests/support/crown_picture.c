/*
 * crown_picture.c - ray-cast pictures of an index crown.
 */
#include "support/crown_picture.h"

#include <math.h>
#include <stdlib.h>

#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>

enum { FACES = 6, MODULES = 8 };

static rg_vec3 unit(rg_vec3 v)
{
    return rg_vec3_scale(v, 1.0 / rg_vec3_norm(v));
}

rg_pose test_look_at(rg_vec3 centre, rg_vec3 target, double roll_deg)
{
    rg_vec3 z = unit(rg_vec3_sub(target, centre));
    rg_vec3 x = unit(rg_vec3_cross(z, rg_vec3_make(0.0, 0.0, 1.0)));
    rg_vec3 y = rg_vec3_cross(z, x);
    rg_pose pose = {{{{x.x, x.y, x.z}, {y.x, y.y, y.z}, {z.x, z.y, z.z}}}, {0.0, 0.0, 0.0}};
    pose.R = rg_mat3_mul(rg_rodrigues(rg_vec3_make(0.0, 0.0, rg_radians(roll_deg))), pose.R);
    pose.t = rg_vec3_scale(rg_mat3_apply(pose.R, centre), -1.0);
    return pose;
}

/* Light of a face at (u, v) in modules from the black border's top-left corner. */
static double paint(const test_crown_scene *s, const image_u8_t *tag, double u, double v)
{
    int x = (int)floor(u) + 1, y = (int)floor(v) + 1;
    if (x < 0 || y < 0 || x >= tag->width || y >= tag->height)
        return s->white;
    return tag->buf[y * tag->stride + x] ? s->white : s->black;
}

typedef struct painted_crown {
    const test_crown_scene *scene;
    image_u8_t *tag[FACES];
} painted_crown;

/* Light along a ray of the cup frame. */
static double crown_light(const void *painted, rg_vec3 from, rg_vec3 ray)
{
    const painted_crown *p = painted;
    const test_crown_scene *s = p->scene;
    double half_width = s->crown.apothem_mm * tan(RG_PI / 6.0);
    for (int j = 0; j < FACES; j++) {
        double b = j * RG_PI / 3.0;
        rg_vec3 out = rg_vec3_make(cos(b), -sin(b), 0.0), right = rg_vec3_make(sin(b), cos(b), 0.0);
        double towards = -rg_vec3_dot(ray, out);
        if (!(s->faces >> j & 1u) || towards <= 0.0)
            continue;
        double k = (rg_vec3_dot(from, out) - s->crown.apothem_mm) / towards;
        rg_vec3 hit = rg_vec3_add(from, rg_vec3_scale(ray, k));
        double across = rg_vec3_dot(hit, right), up = hit.z - s->crown.centre_height_mm;
        if (k <= 0.0 || fabs(across) > half_width || fabs(up) > 0.75 * s->crown.tag_size_mm)
            continue;
        double module = s->crown.tag_size_mm / MODULES;
        return paint(s, p->tag[j], across / module + 0.5 * MODULES, 0.5 * MODULES - up / module);
    }
    return s->ground;
}

rg_image test_crown_picture(const test_crown_scene *scene)
{
    painted_crown p = {.scene = scene};
    apriltag_family_t *family = tag36h11_create();
    for (int j = 0; j < FACES; j++)
        p.tag[j] = apriltag_to_image(family, FACES * scene->crown.number + j);
    rg_image image = test_cast(&scene->lens, &scene->pose, scene->blur_px, 3, crown_light, &p);
    for (int j = 0; j < FACES; j++) {
        free(p.tag[j]->buf);
        free(p.tag[j]);
    }
    tag36h11_destroy(family);
    return image;
}
