/*
 * crown_check.c - borders, blur by direction, and the print's proportions.
 *
 * Tag edge against apothem: the faces' places follow from the apothem, the
 * borders' from the tag edge. Where two faces are in view the two lengths can
 * be told apart, so the ratio is fitted as a seventh number beside the pose,
 * by Gauss-Newton with Tukey's biweight on the borders' normal distances.
 */
#include "rimglow/crown_check.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "border.h"
#include "rimglow/memory.h"
#include "rimglow/stats.h"

enum { NUMBERS = 7, PASSES = 8, ENOUGH_POINTS = 8, ENOUGH_BORDERS = 2 };

static const double REACH_PX = 6;
static const double CLEAR_PART = 0.9; /* of a module, as in border.c */
static const double BIWEIGHT = 4.685; /* Tukey's constant for 95 % efficiency */
static const double LEAST_SIGMA_PX = 0.02;
static const double STEEPNESS = 0.85; /* of a border's normal, along an axis of the picture */

static rg_vec3 face_centre(const rg_crown *crown, int face)
{
    rg_vec3 c[4];
    rg_crown_face(crown, face, c);
    return rg_vec3_scale(rg_vec3_add(c[0], c[2]), 0.5);
}

static rg_vec3 grown(rg_vec3 centre, rg_vec3 body, double ratio)
{
    return rg_vec3_add(centre, rg_vec3_scale(rg_vec3_sub(body, centre), ratio));
}

/* ---------------------------------------------------------------- borders */

/* One module of that border, px along the normal. */
static double module_px(const rg_border_search *s, const rg_pose *pose, int face, int side,
                        rg_vec2 normal)
{
    rg_vec3 c[4];
    rg_vec2 at, deep;
    rg_crown_face(s->crown, face, c);
    rg_vec3 outer = rg_vec3_scale(rg_vec3_add(c[side], c[(side + 1) % 4]), 0.5);
    rg_vec3 far = rg_vec3_scale(rg_vec3_add(c[(side + 3) % 4], c[(side + 2) % 4]), 0.5);
    rg_vec3 inner = rg_vec3_add(outer, rg_vec3_scale(rg_vec3_sub(far, outer), 1.0 / 8));
    if (!rg_lens_project(s->lens, rg_pose_apply(pose, outer), &at) ||
        !rg_lens_project(s->lens, rg_pose_apply(pose, inner), &deep))
        return 0;
    return fabs((at.x - deep.x) * normal.x + (at.y - deep.y) * normal.y);
}

static void note_border(const rg_border_search *s, const rg_pose *pose, const rg_border_scan *scan,
                        int border, rg_crown_sight *sight)
{
    double sigma[RG_BORDER_POINTS];
    int first = -1, last = -1, n = 0;
    for (int i = 0; i < scan->count; i++)
        if (scan->point[i].border == border) {
            first = first < 0 ? i : first;
            last = i;
            sigma[n++] = scan->point[i].sigma;
        }
    if (n < ENOUGH_POINTS)
        return;
    rg_vec3 middle =
        rg_vec3_scale(rg_vec3_add(scan->sighting[first].body, scan->sighting[last].body), 0.5);
    rg_vec2 normal = scan->sighting[(first + last) / 2].normal;
    sight->border[sight->borders++] = (rg_crown_border){
        .face = border / 4,
        .side = border % 4,
        .from = scan->sighting[first].pixel,
        .to = scan->sighting[last].pixel,
        .normal = normal,
        .clear_px = CLEAR_PART * module_px(s, pose, border / 4, border % 4, normal),
        .distance_mm = rg_vec3_norm(rg_pose_apply(pose, middle)),
        .points = n,
        .sigma_px = rg_median_inplace(sigma, (size_t)n)};
}

/* ------------------------------------------------------------------- blur */

/* sigma^2 = xx nx^2 + yy ny^2: each border says one of the two, given the other.
 * The median of what they say, for a post's edge in place of a hidden border
 * can be as wide as it likes. */
static double median_moment(const rg_crown_sight *sight, bool steep, double other, int *n)
{
    double say[RG_CROWN_BORDERS];
    *n = 0;
    for (int i = 0; i < sight->borders; i++) {
        const rg_crown_border *e = &sight->border[i];
        double along = steep ? e->normal.x : e->normal.y,
               across = steep ? e->normal.y : e->normal.x;
        if (fabs(along) < STEEPNESS)
            continue;
        say[(*n)++] = (e->sigma_px * e->sigma_px - other * across * across) / (along * along);
    }
    return *n ? rg_median_inplace(say, (size_t)*n) : 0;
}

static void fit_spread(rg_crown_sight *sight)
{
    int steep = 0, flat = 0;
    rg_spread s = {0, 0};
    for (int pass = 0; pass < 4; pass++) {
        s.xx = median_moment(sight, true, s.yy, &steep);
        s.yy = median_moment(sight, false, s.xx, &flat);
    }
    sight->spread_held = steep >= ENOUGH_BORDERS && flat >= ENOUGH_BORDERS;
    if (sight->spread_held)
        sight->spread = s;
}

/* ------------------------------------------------------------ proportions */

typedef struct proportions {
    const rg_lens *lens;
    const rg_border_scan *scan;
    rg_vec3 centre[RG_FACES];
    rg_pose pose;
    double ratio;
    double *residual, *work; /* [scan->count] */
} proportions;

static rg_sighting sighting_at(const proportions *p, int i, double ratio)
{
    rg_sighting s = p->scan->sighting[i];
    s.body = grown(p->centre[p->scan->point[i].border / 4], s.body, ratio);
    return s;
}

static bool row_of(const proportions *p, int i, double row[NUMBERS])
{
    static const double h = 1e-4;
    rg_sighting s = sighting_at(p, i, p->ratio), more = sighting_at(p, i, p->ratio + h);
    p->residual[i] = rg_posefit_residual(p->lens, &s, &p->pose);
    row[6] = (rg_posefit_residual(p->lens, &more, &p->pose) - p->residual[i]) / h;
    return rg_posefit_gradient(p->lens, &s, &p->pose, row) && isfinite(p->residual[i]) &&
           isfinite(row[6]);
}

/* One weighted Gauss-Newton step; false when the numbers are not held. */
static bool step(proportions *p, double sigma)
{
    double a[NUMBERS * NUMBERS] = {0}, b[NUMBERS] = {0};
    for (int i = 0; i < p->scan->count; i++) {
        double row[NUMBERS];
        if (!row_of(p, i, row))
            return false;
        double u = p->residual[i] / (BIWEIGHT * sigma);
        double w = fabs(u) < 1 ? (1 - u * u) * (1 - u * u) : 0;
        for (int r = 0; r < NUMBERS; r++) {
            b[r] -= w * row[r] * p->residual[i];
            for (int c = 0; c < NUMBERS; c++)
                a[NUMBERS * r + c] += w * row[r] * row[c];
        }
    }
    gsl_matrix_view m = gsl_matrix_view_array(a, NUMBERS, NUMBERS);
    gsl_vector_view v = gsl_vector_view_array(b, NUMBERS);
    if (gsl_linalg_cholesky_decomp1(&m.matrix) != GSL_SUCCESS ||
        gsl_linalg_cholesky_svx(&m.matrix, &v.vector) != GSL_SUCCESS)
        return false;
    p->pose = rg_posefit_move(&p->pose, b);
    p->ratio += b[6];
    return p->ratio > 0.5 && p->ratio < 2;
}

static double spread_of_residuals(const proportions *p)
{
    memcpy(p->work, p->residual, (size_t)p->scan->count * sizeof *p->work);
    return fmax(rg_mad_sigma_inplace(p->work, (size_t)p->scan->count), LEAST_SIGMA_PX);
}

static int faces_of(const rg_crown_sight *sight)
{
    unsigned seen = 0;
    for (int i = 0; i < sight->borders; i++)
        seen |= 1u << sight->border[i].face;
    int n = 0;
    for (int j = 0; j < RG_FACES; j++)
        n += (seen >> j & 1u) != 0;
    return n;
}

static void fit_proportions(const rg_crown *crown, const rg_lens *lens, const rg_pose *pose,
                            const rg_border_scan *scan, double *work, rg_crown_sight *sight)
{
    double sigma = 1;
    proportions p = {.lens = lens,
                     .scan = scan,
                     .pose = *pose,
                     .ratio = 1,
                     .residual = work,
                     .work = work + scan->count};
    if (faces_of(sight) < 2)
        return;
    for (int j = 0; j < RG_FACES; j++)
        p.centre[j] = face_centre(crown, j);
    for (int pass = 0; pass < PASSES; pass++) {
        if (!step(&p, sigma))
            return;
        sigma = spread_of_residuals(&p);
    }
    sight->ratio_held = true;
    sight->tag_ratio = p.ratio;
    sight->rms_px = sigma;
}

/* ----------------------------------------------------------------- public */

static double median_light(const rg_border_scan *scan, double *work, bool white)
{
    for (int i = 0; i < scan->count; i++)
        work[i] = white ? scan->point[i].white : scan->point[i].black;
    return scan->count ? rg_median_inplace(work, (size_t)scan->count) : 0;
}

rg_code rg_crown_examine(const rg_crown *crown, double min_tag_side_px, const rg_lens *lens,
                         const rg_image *image, const rg_linear *linear, const rg_pose *pose,
                         rg_crown_sight *sight, rg_error *err)
{
    *sight = (rg_crown_sight){.tag_ratio = NAN};
    rg_code code = rg_crown_check(crown, err);
    if (code != RG_OK)
        return code;
    rg_border_scan *scan = rg_alloc(1, sizeof *scan);
    double *work = rg_alloc((size_t)2 * RG_BORDERS * RG_BORDER_POINTS, sizeof *work);
    if (scan && work) {
        rg_border_search search = {crown, lens, {image, linear}, min_tag_side_px, true};
        rg_border_find(&search, pose, ~0u, RG_BORDER_POINTS, REACH_PX, true, scan);
        for (int b = 0; b < RG_BORDERS; b++)
            note_border(&search, pose, scan, b, sight);
        sight->black = median_light(scan, work, false);
        sight->white = median_light(scan, work, true);
        fit_spread(sight);
        fit_proportions(crown, lens, pose, scan, work, sight);
    } else {
        code = rg_fail(err, RG_INTERNAL, "crown: out of memory for the border points");
    }
    free(scan);
    free(work);
    return code;
}

rg_code rg_crown_rescale(const rg_crown *crown, const rg_crown_limits *limits, const rg_lens *lens,
                         const rg_image *image, const rg_linear *linear, const rg_tag_list *tags,
                         double *ratio, rg_crown_pose *result, rg_error *err)
{
    enum { STEPS = 12 };
    *ratio = NAN;
    *result = (rg_crown_pose){.state = RG_POSE_NO_CROWN};
    for (int i = -STEPS; i <= STEPS; i++) {
        rg_crown tried = *crown;
        rg_crown_pose pose;
        tried.tag_size_mm *= 1 + 0.01 * i;
        rg_code code = rg_crown_locate(&tried, limits, lens, image, linear, tags, &pose, err);
        if (code != RG_OK)
            return code;
        if (pose.state != RG_POSE_OK ||
            (result->state == RG_POSE_OK && pose.rms_px >= result->rms_px))
            continue;
        *result = pose;
        *ratio = 1 + 0.01 * i;
    }
    return RG_OK;
}
