/*
 * cast.c - pictures by ray casting.
 */
#include "support/cast.h"

#include <math.h>
#include <stdlib.h>

enum { GRID = 16 };

static void *need(void *block)
{
    if (!block)
        abort();
    return block;
}

static rg_vec3 mix(rg_vec3 a, rg_vec3 b, double k)
{
    return rg_vec3_add(rg_vec3_scale(a, 1.0 - k), rg_vec3_scale(b, k));
}

typedef struct caster {
    rg_vec3 from;
    test_light *light;
    const void *scene;
    int stride;
    const rg_vec3 *ray; /* through the corners of all pixels */
    const double *at;   /* their light */
} caster;

/* Mean light of a pixel: one look where its corners agree, a fine grid where not. */
static double pixel_light(const caster *c, int x, int y)
{
    int i = y * c->stride + x, k = i + c->stride;
    const double *at = c->at;
    if (at[i] == at[i + 1] && at[i] == at[k] && at[i] == at[k + 1])
        return at[i];
    double sum = 0.0;
    for (int s = 0; s < GRID * GRID; s++) {
        double u = (s % GRID + 0.5) / GRID, v = (s / GRID + 0.5) / GRID;
        rg_vec3 high = mix(c->ray[i], c->ray[i + 1], u), low = mix(c->ray[k], c->ray[k + 1], u);
        sum += c->light(c->scene, c->from, mix(high, low, v));
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

/* Light of all pixels, without blur. */
static double *cast(const rg_lens *lens, const rg_pose *pose, test_light *light, const void *scene)
{
    int width = lens->width, height = lens->height, stride = width + 1;
    size_t corners = (size_t)stride * (size_t)(height + 1);
    rg_vec3 *ray = need(malloc(corners * sizeof *ray));
    double *at = need(malloc(corners * sizeof *at));
    double *out = need(malloc((size_t)(width * height) * sizeof *out));
    rg_mat3 back = rg_mat3_transpose(pose->R);
    caster c = {rg_pose_camera_centre(pose), light, scene, stride, ray, at};
    for (int i = 0; i < stride * (height + 1); i++) {
        if (!rg_lens_ray(lens, (rg_vec2){i % stride - 0.5, i / stride - 0.5}, &ray[i]))
            abort();
        ray[i] = rg_mat3_apply(back, ray[i]);
        at[i] = light(scene, c.from, ray[i]);
    }
    for (int i = 0; i < width * height; i++)
        out[i] = pixel_light(&c, i % width, i / width);
    free(ray);
    free(at);
    return out;
}

rg_image test_cast(const rg_lens *lens, const rg_pose *pose, double blur_px, int channels,
                   test_light *light, const void *scene)
{
    int n = lens->width * lens->height;
    double *at = cast(lens, pose, light, scene);
    if (blur_px > 0.0)
        blur(at, lens->width, lens->height, blur_px);
    rg_image image;
    if (rg_image_new(&image, lens->width, lens->height, channels, 8, NULL) != RG_OK)
        abort();
    for (int i = 0; i < channels * n; i++)
        ((uint8_t *)image.data)[i] = code_of(at[i / channels]);
    free(at);
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
