/*
 * gap_budget.c - the parts of a rocking fit as a budget. See gap_budget.h.
 */
#include "rimglow/gap_budget.h"

#include <math.h>
#include <stdio.h>

#include "rimglow/text.h"

typedef struct making {
    const rg_setup *setup;
    const rg_sweep_result *result;
    const rg_gap_budget_options *options;
    const rg_bin *bin;
    rg_budget *budget;
} making;

/* The sensitivity with which an input of standard uncertainty u makes u_mm. */
static double per(double u_mm, double u)
{
    return u > 0 ? u_mm / u : 0;
}

static rg_code add(const making *m, const char *name, const char *source, const char *unit,
                   rg_evaluation type, double value, double u, double sensitivity, double dof,
                   rg_error *err)
{
    rg_contribution c = {.type = type,
                         .distribution = type == RG_TYPE_A ? RG_STUDENT : RG_NORMAL,
                         .value = value,
                         .u = u,
                         .sensitivity = sensitivity,
                         .dof = dof};
    rg_copy_text(c.name, sizeof c.name, name);
    rg_copy_text(c.source, sizeof c.source, source);
    rg_copy_text(c.unit, sizeof c.unit, unit);
    return rg_budget_add(m->budget, &c, err);
}

/* An input in mm of gap, of sensitivity 1. */
static rg_code add_mm(const making *m, const char *name, const char *source, rg_evaluation type,
                      double value, double u_mm, double dof, rg_error *err)
{
    return add(m, name, source, "mm", type, value, u_mm, 1, dof, err);
}

static double luma_radiance(const making *m)
{
    double sum = 0;
    for (int c = 0; c < 3; c++)
        sum += m->setup->options.code_weights[c] * m->result->radiance[c];
    return sum;
}

/* Columns of one bearing in one frame less one, times the frames. */
static double noise_dof(const making *m)
{
    double columns = floor(1 / m->setup->options.strip.step_deg + 1e-9);
    return fmax((columns - 1) * fmax(m->bin->fit.used, 1), 1);
}

static rg_code add_light(const making *m, rg_error *err)
{
    const rg_rocking_fit *f = &m->bin->fit;
    const rg_gap_budget_options *o = m->options;
    double u_ln_sigma = m->setup->options.rocking.u_ln_sigma;
    char source[120];
    snprintf(source, sizeof source, "scatter of the columns of %d frames", f->used);
    rg_code code = add_mm(m, "noise", source, RG_TYPE_A, NAN, f->u_noise_mm, noise_dof(m), err);
    if (code == RG_OK)
        code = add(m, "radiance of the slot, ln",
                   m->result->evidence.light_proven ? "witness, [witness] u_ln_radiance"
                                                    : "no witness: [witness] unproven_u_ln",
                   "ln", RG_TYPE_B, log(luma_radiance(m)), m->result->u_ln_radiance,
                   per(f->u_radiance_mm, m->result->u_ln_radiance),
                   rg_type_b_dof(o->radiance_unsure), err);
    if (code == RG_OK)
        code = add(m, "blur of the camera (px), ln", "crown's borders, [light] u_ln_psf", "ln",
                   RG_TYPE_B, log(m->result->psf_sigma_px), u_ln_sigma,
                   per(f->u_psf_mm, u_ln_sigma), rg_type_b_dof(o->blur_unsure), err);
    return code;
}

static rg_code add_place(const making *m, rg_error *err)
{
    const rg_rocking_fit *f = &m->bin->fit;
    const rg_rocking_options *r = &m->setup->options.rocking;
    rg_code code =
        add(m, "slope of the rays", "crown's pose, [slot] slope_u", "1", RG_TYPE_B, NAN, r->u_slope,
            per(f->u_pose_mm, r->u_slope), rg_type_b_dof(m->options->pose_unsure), err);
    if (code == RG_OK)
        code = add(m, "scale", "tag edge and lens, [lens] scale_u", "1", RG_TYPE_B, 1, r->u_scale,
                   per(f->u_scale_mm, r->u_scale), rg_type_b_dof(m->options->scale_unsure), err);
    return code;
}

static rg_code add_model(const making *m, rg_error *err)
{
    const rg_rocking_fit *f = &m->bin->fit;
    const rg_gap_budget_options *o = m->options;
    rg_code code = add_mm(m, "slot model", "[slot] model_floor_mm, model_relative, oblique_mm",
                          RG_TYPE_B, NAN, f->u_slot_mm, rg_type_b_dof(o->model_unsure), err);
    if (code == RG_OK)
        code = add_mm(m, "frames against the fit", "scatter of the frames about the rocking curve",
                      RG_TYPE_A, NAN, f->u_scatter_mm, fmax(f->used - 1, 1), err);
    if (code == RG_OK)
        code = add_mm(m, "bulge of the pad", "half of the bulge found", RG_TYPE_B,
                      m->result->geometry.bulge_mm, f->u_bulge_mm, rg_type_b_dof(o->bulge_unsure),
                      err);
    if (code == RG_OK && f->u_through_mm > 0)
        code = add_mm(m, "look through the hole", "both sides open: anything up to [rim] search_mm",
                      RG_TYPE_B, NAN, f->u_through_mm, rg_type_b_dof(o->model_unsure), err);
    return code;
}

/* What the seal map's u holds beyond the parts above: where nothing is lit, the
 * gap that could hide below the detection limit. */
static rg_code add_rest(const making *m, rg_error *err)
{
    double sum = 0;
    for (int i = 0; i < m->budget->count; i++)
        sum += pow(m->budget->part[i].sensitivity * m->budget->part[i].u, 2);
    double rest = m->bin->u_mm * m->bin->u_mm - sum;
    if (!(rest > 1e-9 * m->bin->u_mm * m->bin->u_mm))
        return RG_OK;
    bool dark = m->bin->state == RG_BIN_SEALED && m->bin->fit.used == 0;
    return add_mm(m, dark ? "hidden below the detection limit" : "further parts of the fit",
                  dark ? "detection limit / 3.29 (Currie 1968)" : "rocking fit", RG_TYPE_B, NAN,
                  sqrt(rest), rg_type_b_dof(m->options->model_unsure), err);
}

rg_code rg_gap_budget_make(const rg_setup *setup, const rg_sweep_result *result, int bearing_deg,
                           const rg_gap_budget_options *options, rg_gap_budget *out, rg_error *err)
{
    *out = (rg_gap_budget){.bearing_deg = bearing_deg,
                           .coverage_factor = setup->options.sealmap.coverage_factor};
    if (bearing_deg < 0 || bearing_deg >= RG_BINS)
        return rg_fail(err, RG_BAD_DATA, "bearing %d: a whole number from 0 to 359 is needed",
                       bearing_deg);
    const rg_bin *bin = &result->map.bin[bearing_deg];
    if (!isfinite(bin->width_mm) || !isfinite(bin->u_mm))
        return rg_fail(
            err, RG_BAD_DATA,
            "bearing %d has no width, it was not seen; choose another one, or take frames "
            "of it",
            bearing_deg);
    making m = {setup, result, options, bin, &out->budget};
    out->width_mm = bin->width_mm;
    rg_code code = add_light(&m, err);
    if (code == RG_OK)
        code = add_place(&m, err);
    if (code == RG_OK)
        code = add_model(&m, err);
    if (code == RG_OK)
        code = add_rest(&m, err);
    if (code == RG_OK)
        code = rg_budget_combine(&out->budget, NULL, options->level, err);
    return code;
}
