/*
 * wedge.c - the five values of the light from a wedge. See wedge.h for the
 * method; wedge_response.c has what is said about them afterwards.
 *
 * The fit works on increments in units of the prior's standard deviation, so
 * that all five are alike. Each evaluation measures the whole wedge again,
 * from the fluxes of its columns on.
 */
#include "wedge_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_linalg.h>
#include <gsl/gsl_multifit_nlinear.h>

#include "rimglow/memory.h"

enum { V = RG_WEDGE_VALUES, ROWS = RG_BINS + V, MAX_ITERATIONS = 12, MIN_BEARINGS = 90 };

#define STEP         0.15 /* of a numeric derivative, prior standard deviations */
#define HUBER        1.5  /* residuals beyond so many sigmas count less */
#define SPAN_DEG     6.0  /* bearings that one slot spans: they do not err independently */
#define MIN_RANGE_MM 0.02

static const struct {
    const char *section, *key;
} name_of[V] = {[RG_WEDGE_GAIN] = {"witness", "slot_gain"},
                [RG_WEDGE_BLUR] = {"light", "psf_factor"},
                [RG_WEDGE_REFLECTANCE] = {"slot", "land_reflectance"},
                [RG_WEDGE_GLOW] = {"slot", "pad_glow"},
                [RG_WEDGE_OVERHANG] = {"slot", "overhang_factor"}};

const char *rg_wedge_value_key(rg_wedge_value value)
{
    return name_of[value].key;
}

const char *rg_wedge_value_section(rg_wedge_value value)
{
    return name_of[value].section;
}

double rg_wedge_gap(const rg_wedge_blade *blade, double bearing_deg)
{
    double turn = rg_radians(bearing_deg - blade->bearing_deg);
    return blade->thickness_mm * (1 + cos(turn)) / 2;
}

/* The rays of these bearings may be stopped by the blade itself. */
bool rg_wedge_clear(const rg_wedge_fit *f, int bearing)
{
    double half = rg_degrees(f->blade->width_mm / 2 / f->sweep->geometry.inner_mm);
    return fabs(rg_angle_between(bearing, f->blade->bearing_deg)) > half + f->options->margin_deg;
}

/* ---------------------------------------------------------------- values */

static void values_before(const rg_wedge_fit *f, double value[V])
{
    const rg_measure_options *o = &f->setup->options;
    const rg_slot_geometry *g = &f->sweep->geometry;
    value[RG_WEDGE_GAIN] = o->witness.slot_gain;
    value[RG_WEDGE_BLUR] = o->psf_sigma_px > 0 ? 1 : o->psf_factor;
    value[RG_WEDGE_REFLECTANCE] = g->land_reflectance;
    value[RG_WEDGE_GLOW] = g->pad_glow;
    value[RG_WEDGE_OVERHANG] = o->overhang_factor;
}

/* x: increments in prior standard deviations. */
static void values_at(const rg_wedge_fit *f, const double x[V], double value[V])
{
    const double *p = f->options->prior;
    values_before(f, value);
    value[RG_WEDGE_GAIN] *= exp(x[RG_WEDGE_GAIN] * p[RG_WEDGE_GAIN]);
    value[RG_WEDGE_BLUR] *= exp(x[RG_WEDGE_BLUR] * p[RG_WEDGE_BLUR]);
    for (int k = RG_WEDGE_REFLECTANCE; k < V; k++)
        value[k] += x[k] * p[k];
    for (int k = RG_WEDGE_REFLECTANCE; k <= RG_WEDGE_GLOW; k++)
        value[k] = fmin(fmax(value[k], 0), 1);
    value[RG_WEDGE_OVERHANG] = fmax(value[RG_WEDGE_OVERHANG], 0.1);
}

static double pad_with(const rg_wedge_fit *f, double factor)
{
    const rg_slot_geometry *g = &f->sweep->geometry;
    double nominal = (g->pad_mm - g->outer_mm) / f->setup->options.overhang_factor;
    return g->outer_mm + factor * nominal;
}

/* The wedge measured with these values, without the frame `without` (-1: with all). */
static rg_code measure_with(const rg_wedge_fit *f, const double value[V], int without,
                            rg_sweep_result *r, rg_error *err)
{
    double before[V];
    values_before(f, before);
    *r = *f->sweep;
    for (int c = 0; c < 3; c++)
        r->radiance[c] *= value[RG_WEDGE_GAIN] / before[RG_WEDGE_GAIN];
    r->psf_sigma_px *= value[RG_WEDGE_BLUR] / before[RG_WEDGE_BLUR];
    r->geometry.land_reflectance = value[RG_WEDGE_REFLECTANCE];
    r->geometry.pad_glow = value[RG_WEDGE_GLOW];
    r->geometry.pad_mm = pad_with(f, value[RG_WEDGE_OVERHANG]);
    memcpy(f->work, f->frames, (size_t)f->count * sizeof *f->work);
    if (without >= 0)
        f->work[without].used = false;
    return rg_sweep_merge(f->setup, f->work, f->count, r, err);
}

/* ---------------------------------------------------------------- residuals */

/* Uncertainty of one bearing, without the values that are looked for. */
static double sigma_of(const rg_wedge_fit *f, double width)
{
    const rg_rocking_options *o = &f->setup->options.rocking;
    double floor = fmax(o->model_floor_mm, f->options->min_residual_mm);
    return hypot(floor, fmax(o->model_relative, f->options->min_relative) * width);
}

/* Square root of Huber's loss: a residual whose square is the loss. */
static double tamed(double r)
{
    double a = fabs(r);
    return a <= HUBER ? r : copysign(sqrt(HUBER * (2 * a - HUBER)), r);
}

static void residuals_of(const rg_wedge_fit *f, const rg_seal_map *map, const double x[V],
                         double row[ROWS])
{
    for (int b = 0; b < RG_BINS; b++) {
        double known = rg_wedge_gap(f->blade, b), read = map->bin[b].width_mm;
        bool counts = f->counts[b] && isfinite(read);
        row[b] = counts ? tamed((read - known) / sigma_of(f, known)) / sqrt(SPAN_DEG) : 0;
    }
    for (int k = 0; k < V; k++)
        row[RG_BINS + k] = x[k];
}

static rg_code evaluate(const rg_wedge_fit *f, const double x[V], int without, double row[ROWS],
                        rg_error *err)
{
    double value[V];
    rg_sweep_result r;
    values_at(f, x, value);
    rg_code code = measure_with(f, value, without, &r, err);
    if (code == RG_OK)
        residuals_of(f, &r.map, x, row);
    return code;
}

static int fit_f(const gsl_vector *x, void *context, gsl_vector *out)
{
    rg_wedge_fit *f = context;
    f->code = evaluate(f, x->data, -1, out->data, f->err);
    return f->code == RG_OK ? GSL_SUCCESS : GSL_EFAILED;
}

static int fit_df(const gsl_vector *x, void *context, gsl_matrix *jacobian)
{
    rg_wedge_fit *f = context;
    double at[V], low[ROWS], high[ROWS];
    for (int k = 0; k < V; k++) {
        memcpy(at, x->data, sizeof at);
        at[k] = x->data[k] + STEP;
        f->code = evaluate(f, at, -1, high, f->err);
        at[k] = x->data[k] - STEP;
        if (f->code == RG_OK)
            f->code = evaluate(f, at, -1, low, f->err);
        if (f->code != RG_OK)
            return GSL_EFAILED;
        for (int i = 0; i < ROWS; i++)
            gsl_matrix_set(jacobian, (size_t)i, (size_t)k, (high[i] - low[i]) / (2 * STEP));
    }
    return GSL_SUCCESS;
}

/* ---------------------------------------------------------------- uncertainty */

/* To first order the values without frame i differ by (J'J)^-1 J' (r - r_i).
 * covariance: in units of the prior. */
static rg_code jackknife(const rg_wedge_fit *f, const gsl_matrix *jacobian, const double x[V],
                         double variance[V], rg_error *err)
{
    double all[ROWS], less[ROWS], gain[V][ROWS], moved[V];
    gsl_matrix_view j = gsl_matrix_submatrix((gsl_matrix *)jacobian, 0, 0, ROWS, V);
    gsl_matrix *normal = gsl_matrix_alloc(V, V);
    rg_code code = normal ? evaluate(f, x, -1, all, err)
                          : rg_fail(err, RG_INTERNAL, "no memory for the wedge's covariance");
    int n = 0;
    memset(variance, 0, V * sizeof *variance);
    if (code == RG_OK) {
        gsl_blas_dgemm(CblasTrans, CblasNoTrans, 1, &j.matrix, &j.matrix, 0, normal);
        gsl_linalg_cholesky_decomp1(normal);
        gsl_linalg_cholesky_invert(normal);
        for (int k = 0; k < V; k++)
            for (int i = 0; i < ROWS; i++) {
                gain[k][i] = 0;
                for (int m = 0; m < V; m++)
                    gain[k][i] += gsl_matrix_get(normal, (size_t)k, (size_t)m) *
                                  gsl_matrix_get(jacobian, (size_t)i, (size_t)m);
            }
    }
    for (int i = 0; code == RG_OK && i < f->count; i++) {
        if (!f->frames[i].used || f->frames[i].role != RG_FRAME_CLOSED)
            continue;
        code = evaluate(f, x, i, less, err);
        n++;
        for (int k = 0; code == RG_OK && k < V; k++) {
            moved[k] = 0;
            for (int m = 0; m < RG_BINS; m++)
                moved[k] += gain[k][m] * (all[m] - less[m]);
            variance[k] += moved[k] * moved[k];
        }
    }
    for (int k = 0; k < V; k++)
        variance[k] *= n > 1 ? (n - 1.0) / n : NAN;
    gsl_matrix_free(normal);
    return code;
}

/* ---------------------------------------------------------------- the fit */

static rg_code minimise(rg_wedge_fit *f, double x[V], double variance[V], rg_error *err)
{
    gsl_multifit_nlinear_parameters options = gsl_multifit_nlinear_default_parameters();
    gsl_multifit_nlinear_fdf problem = {.f = fit_f, .df = fit_df, .n = ROWS, .p = V, .params = f};
    gsl_multifit_nlinear_workspace *w =
        gsl_multifit_nlinear_alloc(gsl_multifit_nlinear_trust, &options, ROWS, V);
    gsl_vector_view start = gsl_vector_view_array(x, V);
    if (!w)
        return rg_fail(err, RG_INTERNAL, "no memory to fit the wedge");
    int why = 0, status = gsl_multifit_nlinear_init(&start.vector, &problem, w);
    /* The residuals are not smooth: a bearing changes its mind between frames.
     * A step that finds nothing better ends the fit; that is no failure. */
    if (status == GSL_SUCCESS)
        gsl_multifit_nlinear_driver(MAX_ITERATIONS, 1e-3, 1e-3, 1e-4, NULL, NULL, &why, w);
    rg_code code = f->code;
    if (code == RG_OK && status != GSL_SUCCESS)
        code = rg_fail(err, RG_INTERNAL, "the wedge could not be fitted: %s", gsl_strerror(status));
    if (code == RG_OK) {
        memcpy(x, gsl_multifit_nlinear_position(w)->data, V * sizeof *x);
        code = jackknife(f, gsl_multifit_nlinear_jac(w), x, variance, err);
    }
    gsl_multifit_nlinear_free(w);
    return code;
}

static void keep_values(const rg_wedge_fit *f, const double x[V], const double variance[V],
                        rg_wedge_result *out)
{
    const double *p = f->options->prior;
    values_before(f, out->before);
    values_at(f, x, out->value);
    for (int k = 0; k < V; k++) {
        double scale = k == RG_WEDGE_GAIN || k == RG_WEDGE_BLUR ? out->value[k] : 1;
        out->u[k] = sqrt(variance[k]) * p[k] * scale;
    }
    out->depth_mm = pad_with(f, out->value[RG_WEDGE_OVERHANG]) - f->sweep->geometry.inner_mm;
}

static rg_code check(const rg_wedge_fit *f, rg_error *err)
{
    const rg_wedge_blade *b = f->blade;
    if (!(b->thickness_mm > 0 && b->thickness_mm <= 1) || !(b->u_thickness_mm >= 0))
        return rg_fail(err, RG_BAD_DATA,
                       "wedge: feeler_mm = %g +- %g is not within 0..1 mm; measure the strip with "
                       "a micrometer",
                       b->thickness_mm, b->u_thickness_mm);
    for (int k = 0; k < V; k++)
        if (!(f->options->prior[k] > 0))
            return rg_fail(err, RG_BAD_DATA, "wedge: the prior of %s is %g; it must be above 0",
                           rg_wedge_value_key((rg_wedge_value)k), f->options->prior[k]);
    if (!f->sweep->evidence.rim_found)
        return rg_fail(err, RG_BAD_DATA,
                       "wedge: the rim was not found in the frames; light the chimney softly and "
                       "sweep again");
    if (!f->sweep->evidence.light_proven)
        return rg_fail(err, RG_BAD_DATA, "wedge: %.400s", f->sweep->evidence.light_reason);
    return RG_OK;
}

/* Bearings that were seen, away from the blade. */
static rg_code choose(rg_wedge_fit *f, rg_error *err)
{
    double low = INFINITY, high = 0;
    int n = 0;
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &f->sweep->map.bin[b];
        f->counts[b] = rg_wedge_clear(f, b) && bin->state != RG_BIN_UNSEEN && !bin->blocked &&
                       isfinite(bin->width_mm);
        if (!f->counts[b])
            continue;
        n++;
        low = fmin(low, rg_wedge_gap(f->blade, b));
        high = fmax(high, rg_wedge_gap(f->blade, b));
    }
    if (n < MIN_BEARINGS || !(high - low >= MIN_RANGE_MM))
        return rg_fail(err, RG_BAD_DATA,
                       "wedge: only %d bearings were seen away from the feeler, with gaps from "
                       "%.3f to %.3f mm; at least %d bearings over %.2f mm are needed: sweep all "
                       "the way round, rocking through the rim plane, or take a thicker feeler",
                       n, n ? low : 0, high, (int)MIN_BEARINGS, MIN_RANGE_MM);
    return RG_OK;
}

rg_code rg_wedge_calibrate(const rg_setup *setup, const rg_frame *frames, int count,
                           const rg_sweep_result *sweep, const rg_wedge_blade *blade,
                           const rg_wedge_options *options, rg_wedge_result *result, rg_error *err)
{
    rg_error why = {0};
    rg_wedge_fit f = {.setup = setup,
                      .frames = frames,
                      .count = count,
                      .sweep = sweep,
                      .blade = blade,
                      .options = options,
                      .err = &why};
    double x[V] = {0}, variance[V] = {0};
    rg_sweep_result after;
    *result = (rg_wedge_result){0};
    rg_code code = check(&f, &why);
    if (code == RG_OK)
        code = choose(&f, &why);
    f.work = rg_alloc((size_t)count, sizeof *f.work);
    if (code == RG_OK && !f.work)
        code = rg_fail(&why, RG_INTERNAL, "no memory for %d frames of the wedge", count);
    if (code == RG_OK)
        code = minimise(&f, x, variance, &why);
    if (code == RG_OK) {
        keep_values(&f, x, variance, result);
        code = measure_with(&f, result->value, -1, &after, &why);
    }
    if (code == RG_OK)
        code = rg_wedge_describe(&f, &after, result, &why);
    free(f.work);
    return code == RG_OK ? RG_OK : rg_fail(err, code, "%s", why.text);
}
