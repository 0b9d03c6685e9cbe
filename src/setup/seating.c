/*
 * seating.c - one sweep of a pad reduced to what comparisons need. See seating.h.
 */
#include "rimglow/seating.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>

const char *rg_seating_state_name(rg_seating_state state)
{
    static const char *const name[] = {"unseen", "contact", "open"};
    return name[state];
}

static bool is_gap(const rg_bin *bin)
{
    return bin->state == RG_BIN_GAP && bin->width_mm > 0 && isfinite(bin->width_mm) &&
           isfinite(bin->u_mm);
}

/* No gap there can be wider; NAN where nothing was seen. */
static double bound_of(const rg_bin *bin, double k)
{
    if (bin->state == RG_BIN_UNSEEN)
        return NAN;
    return is_gap(bin) ? bin->width_mm + k * bin->u_mm : bin->detection_limit_mm;
}

rg_seating rg_seating_of_map(const rg_seal_map *map, rg_press press, double grams, double k)
{
    rg_seating s = {.press = press,
                    .grams = press == RG_PRESS_GRAMS ? grams : NAN,
                    .verdict = map->verdict,
                    .limit_mm = NAN,
                    .widest_mm = NAN,
                    .u_widest_mm = NAN,
                    .widest_bearing_deg = NAN};
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &map->bin[b];
        s.limit_mm = fmax(s.limit_mm, bound_of(bin, k)); /* fmax passes NAN by */
        if (!is_gap(bin) || bin->width_mm <= s.widest_mm)
            continue;
        s.widest_mm = bin->width_mm;
        s.u_widest_mm = bin->u_mm;
        s.widest_bearing_deg = bin->bearing_deg;
    }
    if (isnan(s.widest_mm) && isfinite(s.limit_mm)) {
        s.widest_mm = 0;
        s.u_widest_mm = s.limit_mm / k;
    }
    s.state = map->verdict == RG_VERDICT_SEALED ? RG_SEATING_CONTACT : RG_SEATING_UNSEEN;
    return s;
}

void rg_seating_take_shape(rg_seating *seating, const rg_shape *shape)
{
    rg_seating *s = seating;
    bool all_seen = shape->unseen + shape->blocked == 0;
    bool dark = shape->state == RG_SHAPE_DARK || shape->state == RG_SHAPE_LOCAL;
    if (dark && all_seen)
        s->state = RG_SEATING_CONTACT;
    /* What local openings leave wide is no height of the plane. */
    if (dark && isfinite(shape->limit_mm))
        s->limit_mm = shape->limit_mm;
    if (shape->state != RG_SHAPE_FITTED)
        return;
    s->state = RG_SEATING_OPEN;
    s->tilt_known = shape->tilt.state == RG_TERM_FITTED;
    s->mean_mm = shape->b[0];
    s->tilt_mm[0] = shape->b[1];
    s->tilt_mm[1] = shape->b[2];
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            s->covariance[i][j] = shape->cov[i][j];
}

rg_code rg_seating_measure(const rg_seal_map *map, rg_press press, double grams,
                           const rg_shape_options *options, rg_seating *seating, rg_error *err)
{
    rg_shape shape;
    rg_code code = rg_shape_fit(map, options, &shape, err);
    *seating = (rg_seating){.state = RG_SEATING_UNSEEN};
    if (code != RG_OK)
        return code;
    *seating = rg_seating_of_map(map, press, grams, options->coverage_factor);
    rg_seating_take_shape(seating, &shape);
    return RG_OK;
}

double rg_seating_u_mean(const rg_seating *seating, double k)
{
    if (seating->state == RG_SEATING_OPEN)
        return sqrt(seating->covariance[0][0]);
    return seating->state == RG_SEATING_CONTACT ? seating->limit_mm / k : NAN;
}

bool rg_seating_same_finger(const rg_seating *const *seating, int count, double share)
{
    double low = INFINITY, high = 0;
    for (int i = 0; i < count; i++) {
        if (seating[i]->press == RG_PRESS_UNSTATED || seating[i]->press != seating[0]->press)
            return false;
        if (seating[i]->press == RG_PRESS_GRAMS) {
            low = fmin(low, seating[i]->grams);
            high = fmax(high, seating[i]->grams);
        }
    }
    return count > 0 && (seating[0]->press != RG_PRESS_GRAMS || high - low <= share * high);
}

/* ------------------------------------------------------------------- tilts */

/* Inverse of the tilt's covariance: xx, xy, yy. False where it has none. */
static bool weight_of(const rg_seating *s, double w[3])
{
    double xx = s->covariance[1][1], xy = s->covariance[1][2], yy = s->covariance[2][2];
    double det = xx * yy - xy * xy;
    if (s->state != RG_SEATING_OPEN || !s->tilt_known || !(xx > 0) || !(det > 1e-12 * xx * yy))
        return false;
    w[0] = yy / det;
    w[1] = -xy / det;
    w[2] = xx / det;
    return true;
}

static double square(const double w[3], double x, double y)
{
    return w[0] * x * x + 2 * w[1] * x * y + w[2] * y * y;
}

rg_tilt_spread rg_seating_tilts(const rg_seating *const *seating, int count)
{
    rg_tilt_spread r = {.q = NAN, .p = NAN};
    double sum[3] = {0}, right[2] = {0}, w[3];
    for (int i = 0; i < count; i++) {
        const double *t = seating[i]->tilt_mm;
        if (!weight_of(seating[i], w))
            continue;
        for (int k = 0; k < 3; k++)
            sum[k] += w[k];
        right[0] += w[0] * t[0] + w[1] * t[1];
        right[1] += w[1] * t[0] + w[2] * t[1];
        r.n++;
    }
    double det = sum[0] * sum[2] - sum[1] * sum[1];
    if (r.n < 1 || !(det > 0))
        return r;
    r.mean[0] = (sum[2] * right[0] - sum[1] * right[1]) / det;
    r.mean[1] = (sum[0] * right[1] - sum[1] * right[0]) / det;
    if (r.n < 2)
        return r;
    r.q = 0;
    for (int i = 0; i < count; i++)
        if (weight_of(seating[i], w))
            r.q +=
                square(w, seating[i]->tilt_mm[0] - r.mean[0], seating[i]->tilt_mm[1] - r.mean[1]);
    r.df = 2 * (r.n - 1);
    r.p = gsl_cdf_chisq_Q(r.q, r.df);
    return r;
}

/* ------------------------------------------------------------------- words */

void rg_press_text(rg_press press, double grams, char text[RG_PRESS_TEXT])
{
    static const char *const name[] = {"a finger of unstated force", "a light finger",
                                       "a firm finger"};
    if (press == RG_PRESS_GRAMS)
        snprintf(text, RG_PRESS_TEXT, "%.4g g", grams);
    else
        snprintf(text, RG_PRESS_TEXT, "%s", name[press]);
}

void rg_advise(rg_advice *advice, const char *format, ...)
{
    va_list list;
    if (advice->lines >= RG_ADVICE_MAX)
        return;
    va_start(list, format);
    vsnprintf(advice->line[advice->lines++], RG_ADVICE_LINE, format, list);
    va_end(list);
}
