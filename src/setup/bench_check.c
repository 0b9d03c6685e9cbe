/*
 * bench_check.c - from the facts of all frames to findings. See bench_check.h.
 *
 * Numbers of a sweep are medians over its frames; their standard uncertainty
 * is that of a median, 1.2533 sigma / sqrt(n), with sigma by the median
 * absolute deviation, so that a post beside the chimney in some frames does
 * not count.
 */
#include "rimglow/bench_check.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench_private.h"
#include "rimglow/memory.h"
#include "rimglow/stats.h"

enum { FEWEST = 3, NAMED = 3 };

typedef struct judging {
    const rg_bench_sweep *sweep;
    const rg_bench_limits *limits;
    rg_bench_frame *look;
    rg_bench_check *check;
    double *work; /* [count] */
} judging;

/* ---------------------------------------------------------------- helpers */

static void say(rg_finding *f, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Adds to the finding's text. */
static void say(rg_finding *f, const char *format, ...)
{
    size_t used = strlen(f->text);
    va_list args;
    va_start(args, format);
    vsnprintf(f->text + used, sizeof f->text - used, format, args);
    va_end(args);
}

static rg_finding *begin(const judging *j, rg_check_topic topic, double limit, const char *sense,
                         const char *unit)
{
    rg_finding *f = &j->check->finding[topic];
    *f = (rg_finding){.topic = topic,
                      .state = RG_CHECK_NOT_SHOWN,
                      .value = NAN,
                      .u = NAN,
                      .limit = limit,
                      .sense = sense,
                      .unit = unit};
    return f;
}

static void grade(rg_finding *f, bool good)
{
    f->state = good ? RG_CHECK_GOOD : RG_CHECK_POOR;
}

static bool is_closed(const rg_bench_frame *b)
{
    return b->role == RG_FRAME_CLOSED;
}

typedef double reading(const rg_bench_frame *look);

/* Median of a reading over the closed frames that have it. */
static double median_of(const judging *j, reading *read, int *n, double *u)
{
    size_t count = 0;
    for (int i = 0; i < j->sweep->count; i++) {
        double v = is_closed(&j->look[i]) ? read(&j->look[i]) : NAN;
        if (isfinite(v))
            j->work[count++] = v;
    }
    if (n)
        *n = (int)count;
    double sigma = count ? rg_mad_sigma_inplace(j->work, count) : NAN;
    if (u)
        *u = 1.2533 * sigma / sqrt((double)count);
    count = 0;
    for (int i = 0; i < j->sweep->count; i++) {
        double v = is_closed(&j->look[i]) ? read(&j->look[i]) : NAN;
        if (isfinite(v))
            j->work[count++] = v;
    }
    return count ? rg_median_inplace(j->work, count) : NAN;
}

static int flag(const judging *j, int frame, rg_check_topic topic)
{
    j->look[frame].flaws |= 1u << topic;
    return 1;
}

/* "view_07.jpg, view_12.jpg and 3 more": the frames with that flaw. */
static void name_frames(const judging *j, rg_check_topic topic, rg_finding *f)
{
    int found = 0;
    for (int i = 0; i < j->sweep->count; i++) {
        if (!(j->look[i].flaws >> topic & 1u))
            continue;
        if (found < NAMED)
            say(f, "%s%.60s", found ? ", " : "", j->sweep->names[i]);
        found++;
    }
    if (found > NAMED)
        say(f, " and %d more", found - NAMED);
}

/* ----------------------------------------------------------------- frames */

static void judge_frames(const judging *j)
{
    int given = 0, lost = 0, first = -1;
    for (int i = 0; i < j->sweep->count; i++) {
        if (j->look[i].role == RG_FRAME_OPEN)
            continue;
        given++;
        if (j->sweep->frames[i].used)
            continue;
        first = first < 0 ? i : first;
        lost += flag(j, i, RG_CHECK_FRAMES);
    }
    rg_finding *f = begin(j, RG_CHECK_FRAMES, 0, "at most", "left out");
    f->value = lost;
    if (given > 0)
        grade(f, lost == 0);
    say(f, "%d of %d frames can be used", given - lost, given);
    if (first < 0)
        return;
    say(f, "; left out: ");
    name_frames(j, RG_CHECK_FRAMES, f);
    say(f, ". %.60s: %.200s", j->sweep->names[first], j->look[first].reason);
}

/* ------------------------------------------------------------------ scale */

static double rim_error(const rg_bench_frame *b)
{
    return b->rim.ratio - 1;
}

static double print_error(const rg_bench_frame *b)
{
    return b->tag_ratio - 1;
}

static void judge_scale(const judging *j)
{
    int n;
    double d = j->sweep->setup->rim.outer_diameter_mm, scatter;
    rg_finding *f = begin(j, RG_CHECK_SCALE, j->limits->scale, "at most", "relative");
    f->value = median_of(j, rim_error, &n, &scatter);
    if (n < FEWEST) {
        f->value = NAN;
        say(f,
            "the rim's outline was seen on both sides in %d frames, %d are needed: leave the "
            "chimney's left and right edges free, before an even background",
            n, FEWEST);
        return;
    }
    f->u = hypot(scatter, j->limits->diameter_u_mm / d);
    double found = d * (1 + f->value), part = 1 / (1 + f->value);
    grade(f, fabs(f->value) <= j->limits->scale);
    say(f,
        "by the crown's scale the rim is %.3f mm wide, stated %.3f mm (%+.2f %%, U %.2f %%, %d "
        "frames)",
        found, d, 100 * f->value, 200 * f->u, n);
    if (f->state == RG_CHECK_POOR)
        say(f,
            ": measure the printed tag, %.2f mm stated, %.2f mm would fit. Print the crown again "
            "at "
            "100 %% (not \"fit to page\"), or correct crown_tag_mm and crown_apothem_mm; if the "
            "print is right, check rim_outer_mm and the lens",
            j->sweep->setup->crown.tag_size_mm, j->sweep->setup->crown.tag_size_mm * part);
}

static void judge_print(const judging *j)
{
    int n;
    const rg_crown *c = &j->sweep->setup->crown;
    rg_finding *f = begin(j, RG_CHECK_PRINT, j->limits->proportion, "at most", "relative");
    f->value = median_of(j, print_error, &n, &f->u);
    if (n < FEWEST) {
        f->value = f->u = NAN;
        say(f,
            "two faces of the crown were seen in %d frames, %d are needed: turn the camera "
            "between two faces",
            n, FEWEST);
        return;
    }
    grade(f, fabs(f->value) <= j->limits->proportion);
    say(f, "tag edge against apothem: %+.2f %% off what is stated", 100 * f->value);
    if (f->state == RG_CHECK_POOR)
        say(f,
            ". With crown_apothem_mm = %.2f the tags measure %.2f mm, not %.2f; with crown_tag_mm "
            "= "
            "%.2f the apothem is %.2f mm: measure both on the crown and correct the instrument "
            "file",
            c->apothem_mm, c->tag_size_mm * (1 + f->value), c->tag_size_mm, c->tag_size_mm,
            c->apothem_mm / (1 + f->value));
}

/* ------------------------------------------------------------------ focus */

static double mtf50_of(const rg_bench_frame *b)
{
    return b->mtf50;
}

static double far_share_of(const rg_bench_frame *b)
{
    return b->far_share;
}

static double px_per_mm_of(const rg_bench_frame *b)
{
    return b->px_per_mm;
}

static double module_of(const rg_bench_frame *b)
{
    return b->module_px;
}

static void mean_curves(const judging *j)
{
    rg_bench_check *c = j->check;
    int edges = 0, pictures = 0;
    for (int i = 0; i < j->sweep->count; i++) {
        const rg_bench_frame *b = &j->look[i];
        if (!is_closed(b) || !b->decoded)
            continue;
        pictures++;
        for (int k = 0; k < RG_BENCH_TONES; k++)
            c->tones[k] += b->tones[k];
        edges += b->edges > 0;
        for (int k = 0; k < RG_MTF_POINTS && b->edges > 0; k++)
            c->mtf[k] += b->mtf[k];
    }
    for (int k = 0; k < RG_BENCH_TONES && pictures; k++)
        c->tones[k] /= pictures;
    for (int k = 0; k < RG_MTF_POINTS && edges; k++)
        c->mtf[k] /= edges;
}

static void judge_focus(const judging *j)
{
    rg_finding *f = begin(j, RG_CHECK_FOCUS, j->limits->mtf50, "at least", "cycles/px");
    int n;
    double *u = &f->u;
    f->value = j->check->mtf50 = median_of(j, mtf50_of, &n, u);
    if (n == 0) {
        say(f, "no tag border was wide, straight and slanted enough for an MTF: bring the crown "
               "nearer, and let the camera stand a degree or two askew");
        return;
    }
    grade(f, f->value >= j->limits->mtf50);
    say(f, "MTF50 %.3f cycles per px, %.1f cycles per mm at the rim", f->value,
        f->value * j->check->px_per_mm);
    if (f->state == RG_CHECK_POOR)
        say(f, ": turn the focus until the tag borders are sharpest, close the aperture by a stop "
               "or two, and clean the lens");
}

static void judge_sharpness(const judging *j)
{
    const double median = j->check->mtf50;
    rg_finding *f = begin(j, RG_CHECK_SHARPNESS, j->limits->sharpness, "at least", "of the median");
    for (int i = 0; i < j->sweep->count; i++) {
        double share = j->look[i].mtf50 / median;
        if (!is_closed(&j->look[i]) || !isfinite(share))
            continue;
        f->value = isnan(f->value) ? share : fmin(f->value, share);
        if (share < j->limits->sharpness)
            flag(j, i, RG_CHECK_SHARPNESS);
    }
    if (isnan(f->value)) {
        say(f, "no frame has an MTF");
        return;
    }
    grade(f, f->value >= j->limits->sharpness);
    say(f, "the least sharp frame has %.0f %% of the median MTF50", 100 * f->value);
    if (f->state == RG_CHECK_GOOD)
        return;
    say(f, ": ");
    name_frames(j, RG_CHECK_SHARPNESS, f);
    say(f, ". Lock the focus, keep the distance, and take these frames again");
}

static void judge_depth(const judging *j)
{
    int n;
    rg_finding *f = begin(j, RG_CHECK_DEPTH, j->limits->depth, "at least", "of the near ones");
    f->value = median_of(j, far_share_of, &n, &f->u);
    if (n == 0) {
        say(f, "too few tag borders with an MTF to compare near and far ones");
        return;
    }
    grade(f, f->value >= j->limits->depth && f->value <= 1 / j->limits->depth);
    say(f, "the farther tag borders have %.0f %% of the nearer ones' MTF50", 100 * f->value);
    if (f->state == RG_CHECK_POOR)
        say(f,
            ": the focus lies %s the crown's near face, where the rim's near side is, too; focus "
            "there and close the aperture for more depth",
            f->value < 1 ? "before or on" : "behind");
}

static void judge_sampling(const judging *j)
{
    rg_finding *f = begin(j, RG_CHECK_SAMPLING, j->limits->px_per_mm, "at least", "px/mm");
    double module = median_of(j, module_of, NULL, NULL);
    f->value = j->check->px_per_mm;
    if (!isfinite(f->value) || !isfinite(module)) {
        say(f, "no crown was found");
        return;
    }
    grade(f, f->value >= j->limits->px_per_mm && module >= j->limits->module_px);
    say(f, "%.1f px per mm at the rim, a tag's module is %.1f px", f->value, module);
    if (f->state == RG_CHECK_POOR)
        say(f,
            ": go nearer or use a longer lens, until there are %.0f px per mm and %.0f px a module",
            j->limits->px_per_mm, j->limits->module_px);
}

/* --------------------------------------------------------------- exposure */

static double white_of(const rg_bench_frame *b)
{
    return b->crown ? b->sight.white : NAN;
}

static double black_of(const rg_bench_frame *b)
{
    return b->crown ? b->sight.black : NAN;
}

static double clipped_of(const rg_bench_frame *b)
{
    return b->clipped;
}

static void advise_exposure(const judging *j, rg_finding *f, double white, double ratio)
{
    const rg_bench_limits *l = j->limits;
    if (white > l->white_high)
        say(f, ": expose 1/%.1f as long, or dim the room", white / (0.5 * l->white_high));
    else if (white < l->white_low)
        say(f, ": expose %.1f times as long, or light the crown softly", 2 * l->white_low / white);
    else if (ratio < l->contrast)
        say(f, ": the ink is grey. Print blacker on matt paper, keep light from the side off the "
               "lens");
}

static void judge_exposure(const judging *j)
{
    const rg_bench_limits *l = j->limits;
    rg_finding *f = begin(j, RG_CHECK_EXPOSURE, l->white_high, "at most", "linear light");
    int n, poor = 0;
    double white = median_of(j, white_of, &n, &f->u), black = median_of(j, black_of, NULL, NULL);
    f->value = white;
    for (int i = 0; i < j->sweep->count; i++) {
        double w = is_closed(&j->look[i]) ? white_of(&j->look[i]) : NAN;
        if (w > l->white_high || w < l->white_low)
            poor += flag(j, i, RG_CHECK_EXPOSURE);
    }
    if (n == 0) {
        say(f, "no crown was read, so paper white is not known; a picture that is neither too dark "
               "nor too bright comes first");
        return;
    }
    double ratio = white / fmax(black, 1e-4);
    grade(f, poor == 0 && ratio >= l->contrast);
    say(f, "paper white %.3f (%.2f to %.2f wanted), ink %.4f", white, l->white_low, l->white_high,
        black);
    advise_exposure(j, f, white, ratio);
    if (poor == 0)
        return;
    say(f, "; off: ");
    name_frames(j, RG_CHECK_EXPOSURE, f);
    if (white >= l->white_low && white <= l->white_high)
        say(f, ": lock the exposure and take these again");
}

static void judge_clipping(const judging *j)
{
    rg_finding *f = begin(j, RG_CHECK_CLIPPING, j->limits->clipped, "at most", "of the pixels");
    int n;
    f->value = median_of(j, clipped_of, &n, &f->u);
    for (int i = 0; i < j->sweep->count; i++)
        if (is_closed(&j->look[i]) && j->look[i].clipped > j->limits->clipped)
            flag(j, i, RG_CHECK_CLIPPING);
    if (n == 0) {
        say(f, "no closed frame could be decoded");
        return;
    }
    grade(f, f->value <= j->limits->clipped);
    say(f, "%.1f %% of the pixels beside the gap are clipped", 100 * f->value);
    if (f->state == RG_CHECK_GOOD)
        return;
    say(f, ": shorten the exposure or turn the lamp from the lacquer; in ");
    name_frames(j, RG_CHECK_CLIPPING, f);
}

static void judge_witness(const judging *j)
{
    rg_finding *f = begin(j, RG_CHECK_WITNESS, j->limits->exposure_error, "at most", "relative");
    double white = median_of(j, white_of, NULL, NULL), worst = NAN, stated = NAN;
    bool dim = false;
    for (int i = 0; i < j->sweep->count; i++) {
        const rg_bench_frame *b = &j->look[i];
        if (b->role != RG_FRAME_WITNESS || !b->crown)
            continue;
        double error = b->sight.white / (white * b->exposure) - 1;
        if (isnan(worst) || fabs(error) > fabs(worst))
            worst = error, stated = b->exposure;
        if (fabs(error) > j->limits->exposure_error)
            flag(j, i, RG_CHECK_WITNESS);
        dim = dim || !j->sweep->frames[i].used;
    }
    if (isnan(worst)) {
        say(f, "no witness frame with a readable crown: crack the pad open by a millimetre or two "
               "and take one at a shorter exposure");
        return;
    }
    f->value = worst;
    grade(f, fabs(worst) <= j->limits->exposure_error && !dim);
    say(f,
        "by the paper the witness was exposed %.3f times as long as the closed frames, stated "
        "%.3f",
        stated * (1 + worst), stated);
    if (fabs(worst) > j->limits->exposure_error)
        say(f, ": correct its exposure in sweep.ini, or keep the room's light the same for both");
    else if (dim)
        say(f, "; it proves no lamp: see its reason in rimglow inspect");
}

/* -------------------------------------------------------- light and place */

/* Apparent gap, mm, that the light at the rim of one dark frame would be read
 * as; *room: light of the chimney beside it. NAN when it shows no rim. */
static double dark_gap(const judging *j, const rg_frame *frame, double *room)
{
    double radiance = 0, gap = NAN;
    double *v = rg_alloc((size_t)frame->light.columns + 1, sizeof *v);
    for (int c = 0; c < 3; c++)
        radiance += j->sweep->setup->options.code_weights[c] * j->sweep->result->radiance[c];
    *room = NAN;
    if (!v)
        return NAN;
    for (int pass = 0; pass < 2; pass++) {
        size_t n = 0;
        for (int c = 0; c < frame->light.columns; c++) {
            const rg_column_light *col = &frame->light.column[c];
            if (col->state == RG_COLUMN_DARK || col->state == RG_COLUMN_LIT)
                v[n++] = pass ? col->chimney : col->flux_mm / radiance;
        }
        if (n && pass == 0)
            gap = rg_quantile_inplace(v, n, 0.95);
        else if (n)
            *room = rg_median_inplace(v, n);
    }
    free(v);
    return gap;
}

static void judge_ambient(const judging *j)
{
    double tolerance = j->sweep->setup->options.sealmap.tolerance_mm, room = NAN, beside;
    rg_finding *f =
        begin(j, RG_CHECK_AMBIENT, j->limits->ambient * tolerance, "at most", "mm of gap");
    for (int i = 0; i < j->sweep->count; i++) {
        const rg_frame *frame = &j->sweep->frames[i];
        if (frame->role != RG_FRAME_DARK || !frame->used)
            continue;
        double gap = fmax(dark_gap(j, frame, &beside), 0);
        if (isnan(beside))
            continue;
        if (gap > f->limit)
            flag(j, i, RG_CHECK_AMBIENT);
        f->value = isnan(f->value) ? gap : fmax(f->value, gap);
        room = isnan(room) ? beside : fmax(room, beside);
    }
    if (isnan(f->value)) {
        say(f,
            "no usable frame with the lamp off, so stray light at the rim is not known: switch the "
            "lamp off, leave the pad closed, and take one (dark_1.jpg = dark, exposure 1)");
        return;
    }
    grade(f, f->value <= f->limit);
    say(f,
        "lamp off: room light is %.4f beside the rim and would be read as a gap of up to %.4f mm",
        room, f->value);
    if (f->state == RG_CHECK_POOR)
        say(f, ": shade the gap from the bench lamp, or switch it off");
}

static double xx_of(const rg_bench_frame *b)
{
    return b->sight.spread_held ? b->sight.spread.xx : NAN;
}

static double yy_of(const rg_bench_frame *b)
{
    return b->sight.spread_held ? b->sight.spread.yy : NAN;
}

/* Movement of one frame, px, signed: + along x, - along y; from what its borders
 * are wider in one direction than in the other, more than in the sweep's median
 * frame. */
static double movement(const rg_spread *s, double xx, double yy)
{
    double more = (s->xx - xx) - (s->yy - yy);
    return more > 0 ? sqrt(12 * more) : -sqrt(-12 * more);
}

static void judge_vibration(const judging *j)
{
    rg_finding *f = begin(j, RG_CHECK_VIBRATION, j->limits->move_px, "at most", "px");
    int n, worst = -1, poor = 0;
    double xx = median_of(j, xx_of, &n, NULL), yy = median_of(j, yy_of, NULL, NULL), most = 0;
    /* All frames alike: against a camera that draws both directions alike. */
    double all = movement(&(rg_spread){xx, yy}, fmin(xx, yy), fmin(xx, yy));
    if (n == 0) {
        say(f, "steep and flat tag borders were not both found in any frame");
        return;
    }
    for (int i = 0; i < j->sweep->count; i++) {
        const rg_bench_frame *b = &j->look[i];
        if (!is_closed(b) || !b->sight.spread_held)
            continue;
        double m = movement(&b->sight.spread, n < FEWEST ? fmin(xx, yy) : xx,
                            n < FEWEST ? fmin(xx, yy) : yy);
        if (worst < 0 || fabs(m) > fabs(most))
            worst = i, most = m;
        if (fabs(m) > j->limits->move_px)
            poor += flag(j, i, RG_CHECK_VIBRATION);
    }
    bool always = fabs(all) > j->limits->move_px;
    if (always)
        most = all;
    f->value = fabs(most);
    grade(f, poor == 0 && !always);
    say(f, "the picture moves %.1f px along %s in %.60s", f->value, most > 0 ? "x" : "y",
        always ? "all frames" : j->sweep->names[worst]);
    if (f->state == RG_CHECK_GOOD)
        return;
    if (poor > 1 && !always) {
        say(f, " (");
        name_frames(j, RG_CHECK_VIBRATION, f);
        say(f, ")");
    }
    say(f, ": fix camera and horn, release the shutter without touching, expose shorter; %s",
        always ? "if it stays, the lens draws one direction softer (astigmatism)"
               : "take such frames again");
}

static bool same_place(const rg_bench_frame *a, const rg_bench_frame *b, const rg_bench_limits *l)
{
    rg_mat3 turn = rg_mat3_mul(a->pose.R, rg_mat3_transpose(b->pose.R));
    return a->crown && b->crown && is_closed(a) && is_closed(b) &&
           rg_vec3_norm(rg_vec3_sub(a->pose.t, b->pose.t)) < l->same_mm &&
           rg_degrees(rg_vec3_norm(rg_rodrigues_inverse(turn))) < l->same_deg;
}

/* Pairs of neighbours in the sweep's order at the same place: half their squared
 * difference is the variance of one. Across the line of sight. */
static void judge_repeats(const judging *j)
{
    rg_finding *f = begin(j, RG_CHECK_REPEATS, j->limits->still, "at most", "u of a pose");
    double scatter = 0, own = 0;
    int pairs = 0, last = -1;
    for (int i = 0; i < j->sweep->count; i++) {
        const rg_bench_frame *b = &j->look[i];
        if (!is_closed(b) || !b->crown)
            continue;
        if (last >= 0 && same_place(&j->look[last], b, j->limits)) {
            rg_vec3 d = rg_vec3_sub(b->pose.t, j->look[last].pose.t);
            scatter += (d.x * d.x + d.y * d.y) / 4;
            own += (pow(b->u_place_mm, 2) + pow(j->look[last].u_place_mm, 2)) / 2;
            pairs++;
        }
        last = i;
    }
    if (pairs < FEWEST - 1) {
        /* Not asked for: a sweep moves from frame to frame. */
        f->state = RG_CHECK_NOT_ASKED;
        say(f,
            "the sweep has no frames repeated at the same place, so stillness from frame to frame "
            "is not asked");
        return;
    }
    f->value = sqrt(scatter / own);
    grade(f, f->value <= j->limits->still);
    say(f, "%d repeats: the pose scatters by %.4f mm, %.1f times its own uncertainty", pairs,
        sqrt(scatter / pairs), f->value);
    if (f->state == RG_CHECK_POOR)
        say(f, ": camera or horn move from frame to frame; fix both, and let the key rest");
}

/* --------------------------------------------------------------- coverage */

static void name_open_arcs(const bool covered[RG_BINS], rg_finding *f)
{
    uint8_t open[RG_BINS];
    rg_run run[RG_BINS / 2 + 1];
    for (int b = 0; b < RG_BINS; b++)
        open[b] = !covered[b];
    int n = rg_circular_runs(open, RG_BINS, run, RG_BINS / 2 + 1), named = 0;
    for (int i = 0; i < n && named < 4; i++) {
        if (run[i].length < 3)
            continue;
        say(f, "%s%d..%d", named ? ", " : "", run[i].start,
            (run[i].start + run[i].length - 1) % RG_BINS);
        named++;
    }
    if (named == 0)
        say(f, "single bearings");
}

static void judge_coverage(const judging *j)
{
    const rg_sealmap_options *o = &j->sweep->setup->options.sealmap;
    double width = o->seen_fraction * o->tolerance_mm;
    int seen = 0;
    rg_finding *f = begin(j, RG_CHECK_COVERAGE, j->limits->covered, "at least", "of the rim");
    j->check->coverage_known = rg_bench_covered(j->sweep, width, j->check->covered);
    if (!j->check->coverage_known) {
        say(f, "the rim was not found, so it is not known which bearings were looked at");
        return;
    }
    for (int b = 0; b < RG_BINS; b++)
        seen += j->check->covered[b];
    f->value = (double)seen / RG_BINS;
    grade(f, f->value >= j->limits->covered);
    say(f, "a gap of %.4f mm would show at %.0f %% of the bearings", width, 100 * f->value);
    if (f->state == RG_CHECK_GOOD)
        return;
    say(f, "; not at ");
    name_open_arcs(j->check->covered, f);
    say(f,
        ": frames from there, in finer steps through the rim plane; beside a post or the key arm "
        "from both sides of it");
}

/* Groups of closed frames by the camera's bearing: how near to the rim plane
 * each comes, against the window in which a gap of half the tolerance shows. */
static void judge_rocking(const judging *j)
{
    const rg_sealmap_options *o = &j->sweep->setup->options.sealmap;
    double low, high, worst = 0, at = NAN;
    int groups = 0;
    rg_bench_window(j->sweep, o->seen_fraction * o->tolerance_mm, &low, &high);
    rg_finding *f = begin(j, RG_CHECK_ROCKING, fmin(-low, high), "at most", "degrees");
    for (int i = 0; i < j->sweep->count; i++) {
        double nearest = INFINITY;
        const rg_frame *a = &j->sweep->frames[i];
        bool first = true;
        if (!a->used || a->role != RG_FRAME_CLOSED)
            continue;
        for (int k = 0; k < j->sweep->count; k++) {
            const rg_frame *b = &j->sweep->frames[k];
            if (!b->used || b->role != RG_FRAME_CLOSED ||
                fabs(rg_angle_between(a->bearing_deg, b->bearing_deg)) > j->limits->group_deg)
                continue;
            first = first && k >= i;
            nearest = fmin(nearest, fabs(b->elevation_deg));
        }
        groups += first;
        if (nearest > worst || isnan(at))
            worst = nearest, at = a->bearing_deg;
        if (nearest > f->limit)
            flag(j, i, RG_CHECK_ROCKING);
    }
    if (!j->sweep->result->plane.found || groups == 0) {
        say(f, "the rim was not found, so elevations against its plane are not known");
        return;
    }
    f->value = worst;
    grade(f, worst <= f->limit);
    say(f,
        "%d camera bearings; from each a frame lies within %.2f degrees of the rim plane (a gap of "
        "half the tolerance shows from %+.2f to %+.2f)",
        groups, worst, low, high);
    if (f->state == RG_CHECK_POOR)
        say(f, ": at camera bearing %.0f rock slowly through the rim plane, five frames or more",
            at);
}

/* ----------------------------------------------------------------- public */

rg_code rg_bench_judge(const rg_bench_sweep *sweep, const rg_bench_limits *limits,
                       rg_bench_frame *look, rg_bench_check *check, rg_error *err)
{
    judging j = {sweep, limits, look, check, rg_alloc((size_t)sweep->count + 1, sizeof(double))};
    *check = (rg_bench_check){.state = RG_CHECK_GOOD, .mtf50 = NAN};
    if (!j.work)
        return rg_fail(err, RG_INTERNAL, "no memory for the check of %d frames", sweep->count);
    for (int i = 0; i < sweep->count; i++)
        look[i].flaws = 0;
    check->px_per_mm = median_of(&j, px_per_mm_of, NULL, NULL);
    mean_curves(&j);
    judge_frames(&j);
    judge_scale(&j);
    judge_print(&j);
    judge_focus(&j);
    judge_sharpness(&j);
    judge_depth(&j);
    judge_sampling(&j);
    judge_exposure(&j);
    judge_clipping(&j);
    judge_witness(&j);
    judge_ambient(&j);
    judge_vibration(&j);
    judge_repeats(&j);
    judge_coverage(&j);
    judge_rocking(&j);
    for (int i = 0; i < RG_CHECK_TOPICS; i++) {
        rg_check_state s = check->finding[i].state;
        if (s != RG_CHECK_NOT_ASKED && (s == RG_CHECK_POOR || check->state == RG_CHECK_GOOD))
            check->state = s;
    }
    free(j.work);
    return RG_OK;
}

const char *rg_check_topic_name(rg_check_topic topic)
{
    static const char *const name[] = {
        [RG_CHECK_FRAMES] = "frames",       [RG_CHECK_SCALE] = "scale",
        [RG_CHECK_PRINT] = "print",         [RG_CHECK_FOCUS] = "focus",
        [RG_CHECK_SHARPNESS] = "sharpness", [RG_CHECK_DEPTH] = "depth",
        [RG_CHECK_SAMPLING] = "sampling",   [RG_CHECK_EXPOSURE] = "exposure",
        [RG_CHECK_CLIPPING] = "clipping",   [RG_CHECK_WITNESS] = "witness",
        [RG_CHECK_AMBIENT] = "ambient",     [RG_CHECK_VIBRATION] = "vibration",
        [RG_CHECK_REPEATS] = "repeats",     [RG_CHECK_COVERAGE] = "coverage",
        [RG_CHECK_ROCKING] = "rocking"};
    return name[topic];
}

const char *rg_check_state_name(rg_check_state state)
{
    static const char *const name[] = {[RG_CHECK_GOOD] = "good",
                                       [RG_CHECK_POOR] = "poor",
                                       [RG_CHECK_NOT_SHOWN] = "not shown",
                                       [RG_CHECK_NOT_ASKED] = "not asked"};
    return name[state];
}
