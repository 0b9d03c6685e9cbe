/*
 * pose.c - the crown's pose against its covariance. Every draw is a new print
 * (each border displaced by the covariance's own print error), a camera moved
 * by parts of a pixel, and new noise. See proof.h.
 */
#include <math.h>
#include <stdio.h>

#include "proof.h"

/* The print error that crown.c assumes of a border, px (BORDER_FLOOR_PX). */
#define PRINT_PX 0.03

enum { DRAWS_MAX = 2000, PARTS = 6 };

typedef struct sums {
    int n;
    double error2[PARTS], stated2[PARTS], distance2, rim_mm2, slope2, u_slope2;
} sums;

/* x^T C^-1 x by Cholesky; false when C is not positive. */
static bool distance2(const double c[PARTS][PARTS], const double x[PARTS], double *d2)
{
    double l[PARTS][PARTS] = {{0}}, y[PARTS];
    *d2 = 0;
    for (int i = 0; i < PARTS; i++) {
        for (int j = 0; j <= i; j++) {
            double sum = c[i][j];
            for (int k = 0; k < j; k++)
                sum -= l[i][k] * l[j][k];
            if (i == j && !(sum > 0))
                return false;
            l[i][j] = i == j ? sqrt(sum) : sum / l[j][j];
        }
        y[i] = x[i];
        for (int k = 0; k < i; k++)
            y[i] -= l[i][k] * y[k];
        y[i] /= l[i][i];
        *d2 += y[i] * y[i];
    }
    return true;
}

static void add(sums *s, const rg_crown_pose *found, const rg_pose *truth)
{
    rg_mat3 turn = rg_mat3_mul(found->pose.R, rg_mat3_transpose(truth->R));
    rg_vec3 q = rg_rodrigues_inverse(turn), t = rg_vec3_sub(found->pose.t, truth->t);
    double e[PARTS] = {q.x, q.y, q.z, t.x, t.y, t.z}, d2;
    if (!distance2(found->covariance, e, &d2))
        return;
    for (int i = 0; i < PARTS; i++) {
        s->error2[i] += e[i] * e[i];
        s->stated2[i] += found->covariance[i][i];
    }
    s->distance2 += d2;
    s->n++;
}

static double side_px(const rg_vec2 *a, const rg_vec2 *b)
{
    return hypot(a->x - b->x, a->y - b->y);
}

/* The same error in PIXELS for every border, as the covariance has it. */
void proof_print_errors(rg_synth_scene *scene, const rg_lens *lens, const rg_pose *camera,
                        double sigma_px, proof_random *r)
{
    for (int j = 0; j < RG_SYNTH_FACES; j++) {
        rg_vec2 corner[4] = {{0, 0}};
        bool seen = rg_synth_tag(scene, lens, camera, j, corner);
        double wide = side_px(&corner[0], &corner[1]), high = side_px(&corner[0], &corner[3]);
        for (int k = 0; k < 4; k++) {
            double px_per_mm = (k < 2 ? wide : high) / scene->tag_mm;
            double error = proof_normal(r, 0, sigma_px);
            scene->border_mm[j][k] = seen && px_per_mm > 1 ? error / px_per_mm : 0;
        }
    }
}

static void draw(sums *s, const proof_bench *bench, const rg_setup *setup, proof_random *r, int i)
{
    rg_synth_scene scene;
    rg_synth_view view;
    rg_error err = {0};
    rg_synth_scene_default(&scene);
    rg_pose camera = rg_synth_camera(proof_uniform(r, 128, 132), proof_uniform(r, -0.6, 0.6),
                                     proof_uniform(r, 109, 111), proof_uniform(r, 6.2, 6.5),
                                     proof_uniform(r, -2, 2));
    proof_print_errors(&scene, &setup->lens, &camera, PRINT_PX, r);
    if (rg_synth_render(&scene, &setup->lens, &camera, 0.65, 0.01, &view, &err) != RG_OK) {
        fprintf(stderr, "prove: %s\n", err.text);
        return;
    }
    rg_frame frame = proof_take(bench, setup, &view, RG_FRAME_CLOSED, 1, 1, 7000 + (uint64_t)i);
    if (frame.used)
        add(s, &frame.pose.crown, &view.cup);
    rg_frame_free(&frame);
    rg_synth_view_free(&view);
}

int proof_pose(int draws)
{
    static const char *const name[PARTS] = {"turn about the camera's x, rad",
                                            "turn about its y, rad",
                                            "turn about its z, rad",
                                            "shift along x, mm",
                                            "shift along y, mm",
                                            "shift along z (depth), mm"};
    rg_setup setup;
    proof_bench bench;
    proof_random r = proof_seed(11);
    sums s = {0};
    int failures = 0;
    proof_setup(&setup, 25);
    proof_bench_new(&bench, &setup);
    for (int i = 0; i < draws; i++) {
        draw(&s, &bench, &setup, &r, i);
        proof_progress("pose", i + 1, draws);
    }
    printf("crown pose, %d of %d frames used; rms error against stated u\n", s.n, draws);
    for (int i = 0; i < PARTS; i++)
        failures +=
            proof_compare(name[i], sqrt(s.error2[i] / s.n), sqrt(s.stated2[i] / s.n), s.n, 0.2);
    failures += proof_compare("Mahalanobis distance over sqrt(6)", sqrt(s.distance2 / s.n / PARTS),
                              1, s.n * PARTS, 0.2);
    proof_bench_free(&bench);
    return failures + (s.n < draws);
}
