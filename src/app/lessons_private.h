/*
 * lessons_private.h - a bench without a bench: pads drawn, swept and measured in memory, for lessons.c.
 */
#ifndef RIMGLOW_APP_LESSONS_PRIVATE_H
#define RIMGLOW_APP_LESSONS_PRIVATE_H

#include "rimglow/config_render.h"
#include "rimglow/draw_lesson.h"
#include "rimglow/observe.h"
#include "rimglow/quiz.h"
#include "rimglow/synth.h"

typedef struct rg_lesson_bench {
    char plan_path[RG_INPUT_PATH];
    rg_render_plan plan;      /* owned */
    rg_instrument instrument; /* owned */
    rg_station station;
    rg_quiz_options quiz;
    rg_diagnosis_options diagnosis;
} rg_lesson_bench;

/* On failure the bench owns nothing. */
rg_code rg_lesson_bench_open(const rg_lessons *lessons, rg_lesson_bench *bench, rg_error *err);
void rg_lesson_bench_close(rg_lesson_bench *bench);
/* RG_BAD_DATA where the plan has no [sweep NAME], or the instrument not its pad. */
rg_code rg_lesson_bench_find(const rg_lesson_bench *bench, const char *name, rg_render_sweep *sweep,
                             rg_error *err);
/* The pad of a sweep, and what it is measured with. */
const rg_pad *rg_lesson_bench_pad(const rg_lesson_bench *bench, const rg_render_sweep *sweep);
void rg_lesson_bench_setup(const rg_lesson_bench *bench, const rg_render_sweep *sweep,
                           rg_setup *setup);

/* A sweep to be measured, and what came of it. */
typedef struct rg_lesson_work {
    rg_render_sweep sweep;
    uint64_t seed;
    const rg_lessons *asked;
    int look_deg; /* bearing of the observations that are wanted, or -1 */
    rg_sweep_result result;
    rg_diagnosis diagnosis;
    double true_mm[RG_BINS];
    double flux_mm, u_flux_mm; /* of the most level frame there; NAN: not seen */
    rg_lesson_curve curve;
} rg_lesson_work;

rg_code rg_lesson_measure(const rg_lesson_bench *bench, rg_lesson_work *work, rg_error *err);

/* A picture of the rim line: wide_mm along it, from low_mm to high_mm about the rim plane, as the camera sees it
 * from there. grey is owned (free()). */
typedef struct rg_lesson_shot {
    double bearing_deg, elevation_deg,
        centre_deg; /* centre_deg: bearing in the middle of the picture */
    double wide_mm, low_mm, high_mm;
    uint64_t seed;
} rg_lesson_shot;
rg_code rg_lesson_photograph(const rg_lesson_bench *bench, const rg_render_sweep *sweep,
                             const rg_lesson_shot *shot, rg_lesson_picture *picture, rg_error *err);

#endif
