/*
 * lessons.c - which pads the lessons show, and how they become sheets. See lessons.h.
 */
#include "rimglow/lessons.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/random.h"
#include "rimglow/render.h"
#include "rimglow/text.h"
#include "rimglow/version.h"

#include "lessons_private.h"
#include "quiz_private.h"

const char *rg_lesson_name(int lesson)
{
    static const char *const name[] = {"partial-leak", "camera", "finger",
                                       "causes",       "care",   "exercises"};
    return lesson >= 1 && lesson <= RG_LESSONS ? name[lesson - 1] : NULL;
}

const char *rg_lesson_title(int lesson)
{
    static const char *const title[] = {
        "What a partial leak looks like",          "How to hold the camera",
        "What a pop, suction or a squeeze proves", "Telling causes apart",
        "Dry pads, a yearly check, cautions",      "Exercises"};
    return lesson >= 1 && lesson <= RG_LESSONS ? title[lesson - 1] : NULL;
}

/* ---------------------------------------------------------------- sweeps */

enum { WORKS_MAX = RG_LESSON_EXERCISES };

typedef struct making {
    const rg_lessons *asked;
    rg_lesson_bench *bench;
    rg_lesson_head head;
    int lesson, works;
    rg_lesson_work *work; /* owned; [WORKS_MAX] */
    char what[32];
} making;

static rg_code measure_one(void *context, int job, int worker, rg_error *err)
{
    making *m = context;
    (void)worker;
    return rg_lesson_measure(m->bench, &m->work[job], err);
}

static void report(void *context, int done, int jobs)
{
    const making *m = context;
    if (m->asked->progress)
        m->asked->progress->report(m->asked->progress->context, m->what, done, jobs);
}

static rg_code measure_all(making *m, rg_error *err)
{
    report(m, 0, m->works);
    return rg_pool_run(rg_pool_workers(m->asked->workers, m->works), m->works, measure_one, report,
                       m, err);
}

/* A sweep looks the same whichever others are measured. */
static uint64_t seed_of(const making *m, const char *name)
{
    return rg_text_hash(name) ^ (uint64_t)m->bench->plan.seed;
}

static rg_code add_sweep(making *m, const char *name, int look_deg, rg_error *err)
{
    rg_lesson_work *w = &m->work[m->works];
    rg_code code = rg_lesson_bench_find(m->bench, name, &w->sweep, err);
    w->seed = seed_of(m, name);
    w->look_deg = look_deg;
    w->asked = m->asked;
    m->works += code == RG_OK;
    return code;
}

static int widest(const double width[RG_BINS])
{
    int best = 0;
    for (int b = 1; b < RG_BINS; b++)
        best = width[b] > width[best] ? b : best;
    return best;
}

static rg_lesson_result result_of(const rg_lesson_work *w)
{
    int b = widest(w->true_mm);
    return (rg_lesson_result){&w->result.map, &w->diagnosis, w->true_mm[b], b};
}

/* True widest bearing of a sweep of the plan, before it is measured. */
static rg_code widest_of(const making *m, const char *name, int *bearing, rg_error *err)
{
    rg_render_sweep sweep;
    rg_synth_scene closed, cracked;
    double width[RG_BINS];
    rg_code code = rg_lesson_bench_find(m->bench, name, &sweep, err);
    if (code != RG_OK)
        return code;
    rg_render_scene(&sweep, rg_lesson_bench_pad(m->bench, &sweep), &closed, &cracked);
    rg_synth_widths(&closed, width);
    *bearing = widest(width);
    return RG_OK;
}

/* A sweep whose observations at its widest bearing are wanted. */
static rg_code add_widest(making *m, const char *name, rg_error *err)
{
    int bearing = 0;
    rg_code code = widest_of(m, name, &bearing, err);
    return code == RG_OK ? add_sweep(m, name, bearing, err) : code;
}

static void head_of(making *m, const rg_render_sweep *sweep)
{
    rg_setup setup;
    rg_lesson_bench_setup(m->bench, sweep, &setup);
    m->head = (rg_lesson_head){
        .paper = m->asked->paper,
        .instrument = m->bench->instrument.name,
        .pad = sweep->pad,
        .software = "rimglow " RG_VERSION,
        .seed = m->lesson == RG_LESSONS ? m->asked->seed : m->bench->plan.seed,
        .tolerance_mm = setup.options.sealmap.tolerance_mm,
        .coverage_factor = setup.options.sealmap.coverage_factor,
        .land_mm = 0.5 * (setup.rim.outer_diameter_mm - setup.rim.inner_diameter_mm),
        .overhang_mm = 0.5 * (setup.rim.pad_diameter_mm - setup.rim.outer_diameter_mm),
        .distance_mm = sweep->distance_mm,
        .px_per_mm = setup.lens.fx / sweep->distance_mm};
}

static rg_code photograph(const making *m, const rg_render_sweep *sweep, double bearing,
                          double elevation, double wide_mm, double high_mm,
                          rg_lesson_picture *picture, rg_error *err)
{
    const rg_lesson_shot shot = {.bearing_deg = bearing,
                                 .elevation_deg = elevation,
                                 .centre_deg = bearing,
                                 .wide_mm = wide_mm,
                                 .low_mm = -0.55 * high_mm,
                                 .high_mm = 0.45 * high_mm,
                                 .seed = seed_of(m, sweep->name) +
                                         (uint64_t)lround(1000 * (bearing + 500 + elevation))};
    return rg_lesson_photograph(m->bench, sweep, &shot, picture, err);
}

static void drop(rg_lesson_picture *picture)
{
    free(picture->grey);
    picture->grey = NULL;
}

/* ---------------------------------------------------------------- 1: leak */

/* Largest linear light of the picture's middle third and how thick the band is at half of it; the
 * background is what lies at the picture's edges. NAN: the band does not stand out. */
static void look_at_band(const rg_lesson_picture *p, double *peak, double *band_mm)
{
    enum { ROWS = 1024 };
    int from = p->width / 3, end = p->width - from, best = 0;
    double most = 0, low = INFINITY, light[ROWS];
    int rows = p->height < ROWS ? p->height : ROWS;
    for (int y = 0; y < rows; y++) {
        double sum = 0;
        for (int x = from; x < end; x++)
            sum += rg_srgb_to_linear(p->grey[(size_t)y * (size_t)p->width + (size_t)x] / 255.0);
        light[y] = sum / (end - from);
        low = fmin(low, light[y]);
        if (light[y] > most) {
            most = light[y];
            best = y;
        }
    }
    double half = 0.5 * (most + low), top = best, bottom = best;
    /* cppcheck-suppress uninitvar ; every row got its light above, and there is one */
    for (int y = best; y > 0 && light[y] > half; y--)
        top = light[y - 1] < half ? y - (light[y] - half) / (light[y] - light[y - 1]) : y - 1;
    for (int y = best; y < rows - 1 && light[y] > half; y++)
        bottom = light[y + 1] < half ? y + (light[y] - half) / (light[y] - light[y + 1]) : y + 1;
    *peak = most;
    *band_mm = bottom - top < 0.3 * rows ? (bottom - top) / p->px_per_mm : (double)NAN;
}

static rg_code fill_gap(const making *m, int i, rg_lesson_gap *g, rg_error *err)
{
    const double raised_deg = 1, wide_mm = 6, high_mm = 2.4;
    const rg_lesson_work *w = &m->work[i];
    rg_code code = photograph(m, &w->sweep, w->look_deg, 0, wide_mm, high_mm, &g->level, err);
    if (code == RG_OK)
        code = photograph(m, &w->sweep, w->look_deg, raised_deg, wide_mm, high_mm, &g->raised, err);
    if (code != RG_OK)
        return code;
    g->width_mm = w->true_mm[w->look_deg];
    g->bearing_deg = w->look_deg;
    g->flux_mm = w->flux_mm;
    g->u_flux_mm = w->u_flux_mm;
    look_at_band(&g->level, &g->peak, &g->band_mm);
    g->result = result_of(w);
    return RG_OK;
}

static rg_code make_leak(making *m, rg_bytes *pdf, rg_error *err)
{
    static const char *const name[RG_LESSON_GAPS] = {"gap-1", "gap-2", "gap-3", "gap-4", "gap-5"};
    rg_lesson_leak l = {.head.paper = m->asked->paper};
    rg_code code = RG_OK;
    for (int i = 0; i < RG_LESSON_GAPS && code == RG_OK; i++)
        code = add_widest(m, name[i], err);
    if (code == RG_OK)
        code = measure_all(m, err);
    for (int i = 0; i < RG_LESSON_GAPS && code == RG_OK; i++)
        code = fill_gap(m, i, &l.gap[i], err);
    if (code == RG_OK) {
        head_of(m, &m->work[0].sweep);
        l.head = m->head;
        code = rg_draw_lesson_leak(&l, RG_PICTURE_PDF, 0, NULL, pdf, err);
    }
    for (int i = 0; i < RG_LESSON_GAPS; i++) {
        drop(&l.gap[i].level);
        drop(&l.gap[i].raised);
    }
    return code;
}

/* ---------------------------------------------------------------- 2: camera */

static rg_code picture_hold(const making *m, rg_lesson_hold *l, rg_error *err)
{
    static const double raised[RG_LESSON_RAISED] = {-2.5, -1.5, -0.5, 0, 0.5, 1.5, 2.5};
    const double off_deg = 28;
    const rg_lesson_work *gap = &m->work[1], *streak = &m->work[2];
    rg_code code = RG_OK;
    for (int i = 0; i < RG_LESSON_RAISED && code == RG_OK; i++)
        code = photograph(m, &gap->sweep, gap->look_deg, raised[i], 3.4, 2.4, &l->raised[i], err);
    for (int i = 0; i < 2 && code == RG_OK; i++)
        code = photograph(m, &streak->sweep, streak->look_deg + (i ? off_deg : -0.5 * off_deg), 0,
                          16, 4, &l->streak[i], err);
    return code;
}

static void fill_hold(making *m, rg_lesson_hold *l)
{
    const rg_render_sweep *s = &m->work[2].sweep;
    head_of(m, &m->work[1].sweep);
    l->head = m->head;
    l->views = s->bearings;
    l->levels = s->levels;
    l->lowest_deg = l->highest_deg = s->elevation_deg[0];
    for (int i = 1; i < s->levels; i++) {
        l->lowest_deg = fmin(l->lowest_deg, s->elevation_deg[i]);
        l->highest_deg = fmax(l->highest_deg, s->elevation_deg[i]);
    }
    for (int i = 0; i < RG_LESSON_CURVES; i++)
        l->curve[i] = m->work[i].curve;
    l->raised_mm = m->work[1].true_mm[m->work[1].look_deg];
    l->gap_deg = m->work[2].look_deg;
    l->hidden = result_of(&m->work[3]);
    l->hidden_views = m->work[3].sweep.bearings;
}

static rg_code make_hold(making *m, rg_bytes *pdf, rg_error *err)
{
    static const char *const name[] = {"rocking-1", "rocking-2", "streak", "hidden"};
    rg_lesson_hold l = {.head.paper = m->asked->paper};
    rg_code code = RG_OK;
    for (int i = 0; i < 4 && code == RG_OK; i++)
        code = add_widest(m, name[i], err);
    if (code == RG_OK)
        code = measure_all(m, err);
    if (code == RG_OK)
        code = picture_hold(m, &l, err);
    if (code == RG_OK) {
        fill_hold(m, &l);
        code = rg_draw_lesson_hold(&l, RG_PICTURE_PDF, 0, NULL, pdf, err);
    }
    for (int i = 0; i < RG_LESSON_RAISED; i++)
        drop(&l.raised[i]);
    drop(&l.streak[0]);
    drop(&l.streak[1]);
    return code;
}

/* ---------------------------------------------------------------- 3: finger */

static rg_code make_finger(making *m, rg_bytes *pdf, rg_error *err)
{
    rg_lesson_finger l = {.head.paper = m->asked->paper};
    int bearing = 0;
    rg_code code = widest_of(m, "finger-light", &bearing, err);
    if (code == RG_OK)
        code = add_sweep(m, "finger-light", -1, err);
    if (code == RG_OK)
        code = add_sweep(m, "finger-firm", -1, err);
    if (code == RG_OK)
        code = measure_all(m, err);
    if (code == RG_OK)
        code = photograph(m, &m->work[0].sweep, bearing, 0, 18, 2.6, &l.light_view, err);
    if (code == RG_OK)
        code = photograph(m, &m->work[1].sweep, bearing, 0, 18, 2.6, &l.firm_view, err);
    if (code == RG_OK) {
        head_of(m, &m->work[0].sweep);
        l.head = m->head;
        l.light = result_of(&m->work[0]);
        l.firm = result_of(&m->work[1]);
        code = rg_draw_lesson_finger(&l, RG_PICTURE_PDF, 0, NULL, pdf, err);
    }
    drop(&l.light_view);
    drop(&l.firm_view);
    return code;
}

/* ---------------------------------------------------------------- 4: causes, 5: care */

static rg_code make_causes(making *m, rg_bytes *pdf, rg_error *err)
{
    static const char *const name[RG_LESSON_CAUSES] = {
        [RG_LESSON_TILT] = "tilted",   [RG_LESSON_HINGE] = "hinge",
        [RG_LESSON_SADDLE] = "saddle", [RG_LESSON_UNIFORM] = "uniform",
        [RG_LESSON_CREASE] = "crease", [RG_LESSON_DIRT] = "dirt"};
    rg_lesson_causes l = {.head.paper = m->asked->paper};
    rg_code code = RG_OK;
    for (int k = 0; k < RG_LESSON_CAUSES && code == RG_OK; k++)
        code = add_sweep(m, name[k], -1, err);
    if (code == RG_OK)
        code = measure_all(m, err);
    if (code != RG_OK)
        return code;
    head_of(m, &m->work[0].sweep);
    l.head = m->head;
    for (int k = 0; k < RG_LESSON_CAUSES; k++)
        l.cause[k] = result_of(&m->work[k]);
    return rg_draw_lesson_causes(&l, RG_PICTURE_PDF, 0, NULL, pdf, err);
}

static rg_code make_care(making *m, rg_bytes *pdf, rg_error *err)
{
    rg_render_sweep sweep;
    rg_lesson_care l;
    rg_code code = rg_lesson_bench_find(m->bench, "exercise", &sweep, err);
    if (code != RG_OK)
        return code;
    report(m, 0, 1);
    head_of(m, &sweep);
    l.head = m->head;
    code = rg_draw_lesson_care(&l, RG_PICTURE_PDF, 0, NULL, pdf, err);
    report(m, 1, 1);
    return code;
}

/* ---------------------------------------------------------------- 6: exercises */

typedef struct exercises {
    rg_quiz_case drawn[RG_LESSON_EXERCISES];
    rg_quiz_truth truth[RG_LESSON_EXERCISES];
    rg_lesson_exercise exercise[RG_LESSON_EXERCISES];
    char class_text[RG_QUIZ_CLASSES_MAX][RG_QUIZ_CLASS_TEXT];
    const char *cause_name[RG_QUIZ_CAUSES];
} exercises;

/* Causes in an order that the seed shuffles, so that few come twice. */
static rg_code draw_cases(const making *m, exercises *e, rg_error *err)
{
    rg_random random = {(uint64_t)m->asked->seed};
    int order[RG_QUIZ_CAUSES];
    rg_code code = RG_OK;
    rg_random_order(&random, order, RG_QUIZ_CAUSES);
    for (int i = 0; i < RG_LESSON_EXERCISES && code == RG_OK; i++) {
        code = rg_quiz_draw(&m->bench->quiz, rg_random_next(&random), 1,
                            (rg_quiz_cause)order[i % RG_QUIZ_CAUSES], -1, &e->drawn[i], err);
        if (code == RG_OK)
            rg_quiz_truth_of(&m->bench->quiz, &e->drawn[i], &e->truth[i]);
    }
    return code;
}

static rg_code sweep_cases(making *m, const exercises *e, rg_error *err)
{
    rg_code code = RG_OK;
    for (int i = 0; i < RG_LESSON_EXERCISES && code == RG_OK; i++) {
        code = add_sweep(m, "exercise", -1, err);
        if (code != RG_OK)
            return code;
        rg_lesson_work *w = &m->work[i];
        rg_quiz_set_face(&e->drawn[i], &w->sweep);
        w->seed = e->drawn[i].noise;
    }
    return measure_all(m, err);
}

static rg_code fill_exercise(const making *m, exercises *e, int i, rg_error *err)
{
    const double wide_mm = 21, high_mm = 1.7;
    rg_lesson_exercise *x = &e->exercise[i];
    const rg_quiz_truth *t = &e->truth[i];
    x->cause = rg_quiz_cause_name(t->cause);
    x->where = rg_quiz_where_name(t->where);
    x->bearings = t->bearings;
    x->bearing_deg[0] = t->bearing_deg[0];
    x->bearing_deg[1] = t->bearing_deg[1];
    x->tolerance_deg = t->tolerance_deg;
    x->width_class = t->width_class;
    x->result = result_of(&m->work[i]);
    x->result.true_mm = t->widest_mm;
    for (int v = 0; v < RG_LESSON_VIEWS; v++) {
        const rg_quiz_view *from = &e->drawn[i].view[v % e->drawn[i].views];
        rg_code code = photograph(m, &m->work[i].sweep, from->bearing_deg, from->elevation_deg,
                                  wide_mm, high_mm, &x->view[v], err);
        if (code != RG_OK)
            return code;
    }
    return RG_OK;
}

static rg_code draw_exercises(const making *m, exercises *e, rg_bytes *pdf, rg_error *err)
{
    rg_lesson_exercises l = {.head = m->head,
                             .classes = m->bench->quiz.classes,
                             .causes = RG_QUIZ_CAUSES,
                             .cause_name = e->cause_name,
                             .exercises = RG_LESSON_EXERCISES,
                             .exercise = e->exercise};
    for (int i = 0; i < l.classes; i++) {
        rg_quiz_class_name(&m->bench->quiz, i, e->class_text[i]);
        l.class_name[i] = e->class_text[i];
    }
    for (int k = 0; k < RG_QUIZ_CAUSES; k++)
        e->cause_name[k] = rg_quiz_cause_name((rg_quiz_cause)k);
    return rg_draw_lesson_exercises(&l, RG_PICTURE_PDF, 0, NULL, pdf, err);
}

static rg_code make_exercises(making *m, rg_bytes *pdf, rg_error *err)
{
    exercises *e = rg_alloc(1, sizeof *e);
    if (!e)
        return rg_fail(err, RG_INTERNAL, "no memory for exercises");
    rg_code code = draw_cases(m, e, err);
    if (code == RG_OK)
        code = sweep_cases(m, e, err);
    for (int i = 0; i < RG_LESSON_EXERCISES && code == RG_OK; i++)
        code = fill_exercise(m, e, i, err);
    if (code == RG_OK) {
        head_of(m, &m->work[0].sweep);
        code = draw_exercises(m, e, pdf, err);
    }
    for (int i = 0; i < RG_LESSON_EXERCISES; i++)
        for (int v = 0; v < RG_LESSON_VIEWS; v++)
            drop(&e->exercise[i].view[v]);
    free(e);
    return code;
}

/* ---------------------------------------------------------------- sheets */

static rg_code make_sheet(const rg_lessons *asked, rg_lesson_bench *bench, int lesson,
                          rg_bytes *pdf, rg_error *err)
{
    static rg_code (*const make[RG_LESSONS])(making *, rg_bytes *, rg_error *) = {
        make_leak, make_hold, make_finger, make_causes, make_care, make_exercises};
    making m = {.asked = asked, .bench = bench, .lesson = lesson};
    *pdf = (rg_bytes){0};
    snprintf(m.what, sizeof m.what, "lesson %d", lesson);
    m.work = rg_alloc(WORKS_MAX, sizeof *m.work);
    if (!m.work)
        return rg_fail(err, RG_INTERNAL, "no memory for a lesson");
    rg_code code = make[lesson - 1](&m, pdf, err);
    free(m.work);
    return code;
}

static rg_code check(const rg_lessons *l, rg_error *err)
{
    if (l->seed < 0)
        return rg_fail(err, RG_USAGE, "--seed %d: give a whole number of 0 or more", l->seed);
    if (l->only < 0 || l->only > RG_LESSONS)
        return rg_fail(err, RG_USAGE, "there is no lesson %d; give 1 to %d", l->only, RG_LESSONS);
    return RG_OK;
}

rg_code rg_lesson_make(const rg_lessons *lessons, int lesson, rg_bytes *pdf, rg_error *err)
{
    rg_lesson_bench bench;
    *pdf = (rg_bytes){0};
    rg_code code = check(lessons, err);
    if (code == RG_OK && !rg_lesson_name(lesson))
        code = rg_fail(err, RG_USAGE, "there is no lesson %d; give 1 to %d", lesson, RG_LESSONS);
    if (code == RG_OK)
        code = rg_lesson_bench_open(lessons, &bench, err);
    if (code != RG_OK)
        return code;
    code = make_sheet(lessons, &bench, lesson, pdf, err);
    rg_lesson_bench_close(&bench);
    return code;
}

static rg_code write_sheet(const char *folder, int lesson, const rg_bytes *pdf, char **file,
                           rg_error *err)
{
    char name[64];
    snprintf(name, sizeof name, "lesson-%d-%s.pdf", lesson, rg_lesson_name(lesson));
    char *path = rg_path_join(folder, name);
    if (!path)
        return rg_fail(err, RG_INTERNAL, "no memory for a file name");
    rg_code code = rg_file_write(path, pdf->data, pdf->size, err);
    if (code == RG_OK && file)
        *file = path;
    else
        free(path);
    return code;
}

static bool is_asked(const rg_lessons *l, int lesson)
{
    return l->only == 0 || l->only == lesson;
}

rg_code rg_lessons_write(const rg_lessons *lessons, const char *folder, char **files, rg_error *err)
{
    rg_bytes pdf[RG_LESSONS] = {{0}};
    rg_lesson_bench bench;
    for (int i = 0; files && i < RG_LESSONS; i++)
        files[i] = NULL;
    rg_code code = check(lessons, err);
    if (code == RG_OK)
        code = rg_lesson_bench_open(lessons, &bench, err);
    if (code != RG_OK)
        return code;
    code = rg_folder_make(folder, err);
    for (int i = 1; i <= RG_LESSONS && code == RG_OK; i++)
        if (is_asked(lessons, i))
            code = make_sheet(lessons, &bench, i, &pdf[i - 1], err);
    for (int i = 1; i <= RG_LESSONS && code == RG_OK; i++)
        if (is_asked(lessons, i))
            code = write_sheet(folder, i, &pdf[i - 1], files ? &files[i - 1] : NULL, err);
    for (int i = 0; i < RG_LESSONS; i++)
        free(pdf[i].data);
    rg_lesson_bench_close(&bench);
    return code;
}
