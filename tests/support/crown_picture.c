/*
 * crown_picture.c - ray-cast pictures of an index crown.
 */
#include "support/crown_picture.h"

#include <math.h>
#include <stdlib.h>

#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>

enum { GRID = 16, FACES = 6, MODULES = 8 };

static void *need(void *block)
{
    if (!block)
        abort();
    return block;
}

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

/* Light along a ray of the cup frame. */
static double cast(const test_crown_scene *s, image_u8_t *const tag[FACES], rg_vec3 from,
                   rg_vec3 ray)
{
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
        return paint(s, tag[j], across / module + 0.5 * MODULES, 0.5 * MODULES - up / module);
    }
    return s->ground;
}

/* The rays through a pixel's four corners, cup frame. */
static void corner_rays(const test_crown_scene *s, int x, int y, rg_vec3 ray[4])
{
    rg_mat3 back = rg_mat3_transpose(s->pose.R);
    for (int i = 0; i < 4; i++) {
        rg_vec3 r;
        if (!rg_lens_ray(&s->lens, (rg_vec2){x + i % 2 - 0.5, y + i / 2 - 0.5}, &r))
            abort();
        ray[i] = rg_mat3_apply(back, r);
    }
}

static rg_vec3 mix(rg_vec3 a, rg_vec3 b, double k)
{
    return rg_vec3_add(rg_vec3_scale(a, 1.0 - k), rg_vec3_scale(b, k));
}

/* Mean light of a pixel: one look where its corners agree, a fine grid where not. */
static double pixel_light(const test_crown_scene *s, image_u8_t *const tag[FACES], int x, int y)
{
    rg_vec3 from = rg_pose_camera_centre(&s->pose), ray[4];
    double corner[4], sum = 0.0;
    corner_rays(s, x, y, ray);
    for (int i = 0; i < 4; i++)
        corner[i] = cast(s, tag, from, ray[i]);
    if (corner[0] == corner[1] && corner[0] == corner[2] && corner[0] == corner[3])
        return corner[0];
    for (int i = 0; i < GRID * GRID; i++) {
        double u = (i % GRID + 0.5) / GRID, v = (i / GRID + 0.5) / GRID;
        sum += cast(s, tag, from, mix(mix(ray[0], ray[1], u), mix(ray[2], ray[3], u), v));
    }
    return sum / (GRID * GRID);
}

/* One direction of a separable Gaussian; edges are repeated. */
static void blur_line(const double *from, double *to, int n, int step, double sigma)
{
    int reach = (int)ceil(4.0 * sigma);
    for (int i = 0; i < n; i++) {
        double sum = 0.0, weight = 0.0;
        for (int k = -reach; k <= reach; k++) {
            int at = i + k < 0 ? 0 : i + k >= n ? n - 1 : i + k;
            double w = exp(-0.5 * k * k / (sigma * sigma));
            sum += w * from[at * step];
            weight += w;
        }
        to[i * step] = sum / weight;
    }
}

static void blur(double *light, int width, int height, double sigma)
{
    double *work = need(malloc((size_t)(width * height) * sizeof *work));
    for (int y = 0; y < height; y++)
        blur_line(light + y * width, work + y * width, width, 1, sigma);
    for (int x = 0; x < width; x++)
        blur_line(work + x, light + x, height, width, sigma);
    free(work);
}

static uint8_t code_of(double light)
{
    double code = 255.0 * rg_linear_to_srgb(fmin(fmax(light, 0.0), 1.0));
    return (uint8_t)lround(code);
}

rg_image test_crown_picture(const test_crown_scene *scene)
{
    image_u8_t *tag[FACES];
    apriltag_family_t *family = tag36h11_create();
    for (int j = 0; j < FACES; j++)
        tag[j] = apriltag_to_image(family, FACES * scene->crown.number + j);
    int width = scene->lens.width, height = scene->lens.height;
    double *light = need(malloc((size_t)(width * height) * sizeof *light));
    for (int i = 0; i < width * height; i++)
        light[i] = pixel_light(scene, tag, i % width, i / width);
    for (int j = 0; j < FACES; j++) {
        free(tag[j]->buf);
        free(tag[j]);
    }
    tag36h11_destroy(family);
    if (scene->blur_px > 0.0)
        blur(light, width, height, scene->blur_px);
    rg_image image;
    if (rg_image_new(&image, width, height, 3, 8, NULL) != RG_OK)
        abort();
    for (int i = 0; i < 3 * width * height; i++)
        ((uint8_t *)image.data)[i] = code_of(light[i / 3]);
    free(light);
    return image;
}

void test_blur(rg_image *image, double sigma_px)
{
    int n = image->width * image->height, channels = image->channels;
    uint8_t *code = image->data;
    double *light = need(malloc((size_t)n * sizeof *light));
    for (int c = 0; c < channels; c++) {
        for (int i = 0; i < n; i++)
            light[i] = rg_srgb_to_linear(code[i * channels + c] / 255.0);
        blur(light, image->width, image->height, sigma_px);
        for (int i = 0; i < n; i++)
            code[i * channels + c] = code_of(light[i]);
    }
    free(light);
}
