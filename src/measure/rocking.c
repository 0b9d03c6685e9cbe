/*
 * rocking.c - the rocking-curve fit of one bearing. See rocking.h for the
 * slot's geometry.
 *
 * The bounded loss has several minima, so every width that one frame alone
 * would give, and zero, is tried as a start; the best is polished by
 * reweighted least squares over the frames that agree with it.
 */
#include "rimglow/rocking.h"

#include <math.h>

enum { OBS_MAX = 512, POLISH = 6 };

/* Chord from the land's outer edge to the circle of that radius, outwards. */
static double chord_out(const rg_slot_geometry *g, double obliquity_rad, double radius)
{
    double side = g->outer_mm * sin(obliquity_rad), out = g->outer_mm * cos(obliquity_rad);
    return fmax(sqrt(fmax(radius * radius - side * side, 0)) - out, 0);
}

bool rg_slot_chords(const rg_slot_geometry *g, double obliquity_rad, double *land, double *overhang)
{
    double side = g->outer_mm * sin(obliquity_rad), out = g->outer_mm * cos(obliquity_rad);
    double in2 = g->inner_mm * g->inner_mm - side * side;
    *land = *overhang = 0;
    if (in2 <= 0 || out <= 0)
        return false;
    *land = out - sqrt(in2);
    *overhang = chord_out(g, obliquity_rad, g->pad_mm);
    return true;
}

/* What the pad hides of the width; INFINITY when no ray passes at all. */
static double pad_hides(const rg_slot_geometry *g, double sp, double o, double *land)
{
    double over;
    if (!rg_slot_chords(g, o, land, &over))
        return INFINITY;
    sp -= g->tilt * cos(o);
    double shoulder = fmin(chord_out(g, o, g->outer_mm + g->shoulder_mm), over);
    double bulge = g->bulge_mm + fmax(sp * over, sp * shoulder);
    return fmax(0, fmax(-sp * *land * (1 - g->pad_glow), bulge));
}

/* What the elevation takes from the width. */
static double loss_of(const rg_slot_geometry *g, double sp, double sr, double o)
{
    double land, pad = pad_hides(g, sp, o, &land);
    return isinf(pad) ? pad : pad + (1 - g->land_reflectance) * fmax(sr, 0) * land;
}

double rg_slot_open(const rg_slot_geometry *g, double width, double slope_pad, double slope_rim,
                    double obliquity_rad)
{
    return fmax(width - loss_of(g, slope_pad, slope_rim, obliquity_rad), 0);
}

double rg_slot_width_for(const rg_slot_geometry *g, double height, double slope_pad,
                         double slope_rim, double obliquity_rad)
{
    return fmax(height, 0) + loss_of(g, slope_pad, slope_rim, obliquity_rad);
}

typedef struct term {
    double loss;  /* mm hidden by the elevation */
    double sigma; /* standard uncertainty of height against model */
} term;

static double oblique_part(double o, double oblique_mm)
{
    double t = tan(fmin(fabs(o), 1.2)) / tan(RG_PI / 3);
    return oblique_mm * t * t;
}

static term term_of(const rg_slot_geometry *g, const rg_observation *o,
                    const rg_rocking_options *opt)
{
    double land, over;
    rg_slot_chords(g, o->obliquity_rad, &land, &over);
    double model = hypot(opt->model_floor_mm, opt->model_relative * fmax(o->height_mm, 0));
    double pose = hypot(opt->u_slope, o->u_place) * (land + over);
    double oblique = oblique_part(o->obliquity_rad, opt->oblique_mm);
    return (term){.loss = loss_of(g, o->slope_pad, o->slope_rim, o->obliquity_rad),
                  .sigma =
                      sqrt(o->u_mm * o->u_mm + model * model + pose * pose + oblique * oblique)};
}

static double cost_of(double w, const rg_observation *obs, const term *t, int n,
                      const rg_rocking_options *opt)
{
    double cost = 0;
    for (int i = 0; i < n; i++) {
        double r = (obs[i].height_mm - fmax(w - t[i].loss, 0)) / t[i].sigma;
        cost += fmin(r * r, r < 0 ? opt->missing_loss : opt->surplus_loss);
    }
    return cost;
}

/* Frames whose light agrees with w within the bound and whose slot is open
 * at w carry the width. */
static bool carries(double w, const rg_observation *o, const term *t, const rg_rocking_options *opt)
{
    double r = (o->height_mm - fmax(w - t->loss, 0)) / t->sigma;
    return w > t->loss && r * r < (r < 0 ? opt->missing_loss : opt->surplus_loss);
}

static double polish(double w, const rg_observation *obs, const term *t, int n,
                     const rg_rocking_options *opt)
{
    for (int k = 0; k < POLISH; k++) {
        double sum = 0, weight = 0;
        for (int i = 0; i < n; i++)
            if (carries(w, &obs[i], &t[i], opt)) {
                double q = 1 / (t[i].sigma * t[i].sigma);
                sum += q * (obs[i].height_mm + t[i].loss);
                weight += q;
            }
        if (!(weight > 0))
            break;
        double next = fmax(sum / weight, 0);
        if (cost_of(next, obs, t, n, opt) > cost_of(w, obs, t, n, opt))
            break;
        w = next;
    }
    return w;
}

/* Starts closer than this to an earlier one end in the same minimum. */
#define SAME_START_MM 0.001

static bool is_new_start(double w, const double *tried, int count)
{
    for (int i = 0; i < count; i++)
        if (fabs(w - tried[i]) < SAME_START_MM)
            return false;
    return true;
}

static double best_width(const rg_observation *obs, const term *t, int n,
                         const rg_rocking_options *opt)
{
    double best = 0, least = cost_of(0, obs, t, n, opt), tried[OBS_MAX];
    int starts = 0;
    for (int i = 0; i < n; i++) {
        /* A frame that saw no light proposes nothing. */
        if (!obs[i].lit || !(obs[i].height_mm > 0) || !isfinite(t[i].loss))
            continue;
        double start = obs[i].height_mm + t[i].loss;
        if (!is_new_start(start, tried, starts))
            continue;
        tried[starts++] = start;
        double w = polish(start, obs, t, n, opt);
        double cost = cost_of(w, obs, t, n, opt);
        if (cost < least - 1e-9) {
            least = cost;
            best = w;
        }
    }
    return best;
}

/* The widest gap within three degrees of where the ray leaves. */
static double far_gap(const double far[360], double bearing_deg)
{
    double most = 0;
    int middle = (int)lround(rg_wrap_degrees(bearing_deg));
    for (int k = -3; k <= 3; k++)
        most = fmax(most, far[(middle + k + 360) % 360]);
    return most;
}

/* Width that may have been seen through to the far side, although open. */
static double seen_through(const rg_slot_geometry *g, double bearing_deg, const rg_observation *o,
                           const double far[360])
{
    double chord = 2 * g->outer_mm * cos(o->obliquity_rad), sure = 2 * o->u_slope;
    double critical = 3.29 * o->u_mm;
    if ((o->slope_rim - sure) * chord >= critical)
        return 0;
    double open = far_gap(far, bearing_deg + 180 + 2 * rg_degrees(o->obliquity_rad));
    return fmax(open - fmax(-o->slope_rim - sure, 0) * chord, 0);
}

/* A ray this slanting crosses more bearings on its way through the slot than
 * the shortest gap that must not be missed: it could stand open and stay dark. */
static bool slips_past(const rg_slot_geometry *g, double obliquity_rad, double arc_deg)
{
    double land, over;
    if (!rg_slot_chords(g, obliquity_rad, &land, &over))
        return true;
    return (land + over) * sin(fabs(obliquity_rad)) > g->outer_mm * rg_radians(arc_deg);
}

/* What the elevation takes from a gap that just seals, at the worst slope that
 * the camera's place allows. The loss is convex in the slope, so its greatest value lies
 * at an end. Where the pad touches it follows the rim: the rim's slope counts. */
static double hidden_at_worst(const rg_slot_geometry *dull, const rg_observation *o)
{
    double worst = 0, sure = 2 * o->u_place;
    for (int side = -1; side <= 1; side += 2) {
        double land, s = o->slope_rim + side * sure;
        worst = fmax(worst, pad_hides(dull, s, o->obliquity_rad, &land) + fmax(s, 0) * land);
    }
    return worst;
}

double rg_rocking_limit(const rg_slot_geometry *g, int bearing_deg, const rg_observation *obs,
                        int count, const rg_rocking_options *options, const double far[360])
{
    double best = INFINITY;
    rg_slot_geometry dull = *g;
    dull.pad_glow = dull.tilt = 0;
    for (int i = 0; i < count && i < OBS_MAX; i++) {
        double critical = 3.29 * obs[i].u_mm;
        if (slips_past(g, obs[i].obliquity_rad, options->seen_arc_deg))
            continue;
        double hidden = hidden_at_worst(&dull, &obs[i]);
        double through = seen_through(g, bearing_deg, &obs[i], far);
        /* A short gap seen askew is crossed by its own closed ends. */
        double askew =
            options->askew_factor * oblique_part(obs[i].obliquity_rad, options->oblique_mm);
        best = fmin(best, critical + hidden + through + askew);
    }
    return best;
}

/* A bulge is known to half of itself only: see rg_sealmap_bulge. */
#define BULGE_U 0.5

/* A slanting ray leaves its bearing on the way through the slot: beside a crease
 * the pad may stand higher there and hide less than a face that is alike all
 * along, down to nothing. So the loss that was added may be too large by
 * anything between nothing and all of it (rectangular, JCGM 100, 4.3.7: rms
 * loss / sqrt 3), as far as the ray slants. It is no weight in the fit: there
 * it would reward a bulge that hides much. */
static double slant_part(double o, double loss)
{
    return fabs(sin(o)) * fmin(loss, 1) / sqrt(3);
}

static void uncertainty(const rg_slot_geometry *g, const rg_observation *obs, const term *t, int n,
                        const rg_rocking_options *opt, rg_rocking_fit *fit)
{
    double weight = 0, noise = 0, radiance = 0, psf = 0, pose = 0, place = 0, model = 0, spread = 0;
    for (int i = 0; i < n; i++) {
        if (!carries(fit->width_mm, &obs[i], &t[i], opt))
            continue;
        double land, over, q = 1 / (t[i].sigma * t[i].sigma);
        rg_slot_chords(g, obs[i].obliquity_rad, &land, &over);
        double r = obs[i].height_mm + t[i].loss - fit->width_mm;
        weight += q;
        noise += q * q * obs[i].u_mm * obs[i].u_mm;
        radiance += q * obs[i].per_ln_radiance; /* one lamp: fully correlated */
        psf += q * obs[i].per_ln_sigma;
        pose += q * q * pow(opt->u_slope * (land + over), 2);
        place += q * obs[i].u_place * (land + over); /* one jig, one hand: fully correlated */
        double slant = hypot(oblique_part(obs[i].obliquity_rad, opt->oblique_mm),
                             slant_part(obs[i].obliquity_rad, t[i].loss));
        model +=
            q * hypot(hypot(opt->model_floor_mm, slant), opt->model_relative * obs[i].height_mm);
        spread += q * r * r;
        fit->used++;
    }
    if (!(weight > 0))
        return;
    fit->u_noise_mm = sqrt(noise) / weight;
    fit->u_radiance_mm = fabs(radiance / weight) * opt->u_ln_radiance;
    fit->u_psf_mm = fabs(psf / weight) * opt->u_ln_sigma;
    fit->u_pose_mm = hypot(sqrt(pose), place) / weight;
    fit->u_scale_mm = fit->width_mm * opt->u_scale;
    /* The model's error is shared by frames of like elevation; the scatter of
     * the frames about the fit is added where there are enough of them. */
    double scatter = fit->used > 2 ? spread / weight / (fit->used - 1) : 0;
    fit->u_model_mm = sqrt(pow(model / weight, 2) + scatter + pow(BULGE_U * g->bulge_mm, 2));
    fit->u_slot_mm = model / weight;
    fit->u_scatter_mm = sqrt(scatter);
    fit->u_bulge_mm = BULGE_U * g->bulge_mm;
}

void rg_rocking_solve(const rg_slot_geometry *g, const rg_observation *obs, int count,
                      const rg_rocking_options *options, rg_rocking_fit *fit)
{
    term t[OBS_MAX];
    int n = count < OBS_MAX ? count : OBS_MAX;
    *fit =
        (rg_rocking_fit){.width_mm = NAN, .u_mm = NAN, .detection_limit_mm = INFINITY, .frames = n};
    /* cppcheck-suppress knownConditionTrueFalse ; count is the caller's */
    if (n <= 0)
        return;
    for (int i = 0; i < n; i++) {
        t[i] = term_of(g, &obs[i], options);
        fit->lit += obs[i].lit;
    }
    fit->width_mm = best_width(obs, t, n, options);
    fit->cost = cost_of(fit->width_mm, obs, t, n, options);
    uncertainty(g, obs, t, n, options, fit);
    double sum = pow(fit->u_noise_mm, 2) + pow(fit->u_radiance_mm, 2) + pow(fit->u_psf_mm, 2) +
                 pow(fit->u_pose_mm, 2) + pow(fit->u_scale_mm, 2) + pow(fit->u_model_mm, 2);
    fit->u_mm = sqrt(sum);
}
