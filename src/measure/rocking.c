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

/* A bulge is known to half of itself only: see rg_sealmap_bulge. */
#define BULGE_U 0.5

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
    double height; /* mm of the observation */
    double loss;   /* mm hidden by the elevation */
    double sigma;  /* standard uncertainty of height against model */
    double sharp;  /* 1 / sigma */
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
    double sigma = sqrt(o->u_mm * o->u_mm + model * model + pose * pose + oblique * oblique);
    return (term){.height = o->height_mm,
                  .loss = loss_of(g, o->slope_pad, o->slope_rim, o->obliquity_rad),
                  .sigma = sigma,
                  .sharp = 1 / sigma};
}

/* A frame's residual at width w, in its uncertainties. */
static double residual(double w, const term *t)
{
    double open = w - t->loss;
    return (t->height - (open > 0 ? open : 0)) * t->sharp;
}

/* The sum of bounded losses; one that exceeds `enough` may be returned before its end. */
static double cost_of(double w, const term *t, int n, const rg_rocking_options *opt, double enough)
{
    double cost = 0;
    for (int i = 0; i < n && !(cost > enough); i++) {
        double r = residual(w, &t[i]), most = r < 0 ? opt->missing_loss : opt->surplus_loss;
        cost += r * r < most ? r * r : most;
    }
    return cost;
}

/* Frames whose light agrees with w within the bound and whose slot is open
 * at w carry the width. */
static bool carries(double w, const term *t, const rg_rocking_options *opt)
{
    double r = residual(w, t);
    return w > t->loss && r * r < (r < 0 ? opt->missing_loss : opt->surplus_loss);
}

static double polish(double w, const term *t, int n, const rg_rocking_options *opt, double *cost)
{
    *cost = cost_of(w, t, n, opt, INFINITY);
    for (int k = 0; k < POLISH; k++) {
        double sum = 0, weight = 0;
        for (int i = 0; i < n; i++)
            if (carries(w, &t[i], opt)) {
                double q = t[i].sharp * t[i].sharp;
                sum += q * (t[i].height + t[i].loss);
                weight += q;
            }
        if (!(weight > 0))
            break;
        double next = fmax(sum / weight, 0), reached = cost_of(next, t, n, opt, *cost);
        if (reached > *cost || next == w)
            break;
        w = next;
        *cost = reached;
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
    double best = 0, least = cost_of(0, t, n, opt, INFINITY), tried[OBS_MAX];
    int starts = 0;
    for (int i = 0; i < n; i++) {
        /* A frame that saw no light proposes nothing. */
        if (!obs[i].lit || !(obs[i].height_mm > 0) || !isfinite(t[i].loss))
            continue;
        double start = obs[i].height_mm + t[i].loss;
        if (!is_new_start(start, tried, starts))
            continue;
        tried[starts++] = start;
        double cost, w = polish(start, t, n, opt, &cost);
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

/* The same for light of which a part may be missing: all beyond the far land's inner edge. */
static double missing_through(const rg_slot_geometry *g, double bearing_deg,
                              const rg_observation *o, double sigma, const double far[360])
{
    double land, over, sure = 2 * o->u_slope;
    if (!rg_slot_chords(g, o->obliquity_rad, &land, &over))
        return INFINITY;
    double chord = 2 * g->outer_mm * cos(o->obliquity_rad) - land;
    if ((o->slope_rim - sure) * chord >= o->height_mm + 2 * sigma)
        return 0;
    double open = far_gap(far, bearing_deg + 180 + 2 * rg_degrees(o->obliquity_rad));
    return fmax(open - fmax(-o->slope_rim - o->slope_gain - sure, 0) * chord, 0);
}

double rg_rocking_through(const rg_slot_geometry *g, int bearing_deg, const rg_observation *obs,
                          int count, const rg_rocking_options *options, double width_mm,
                          const double far[360])
{
    double least = INFINITY;
    bool carried = false;
    for (int i = 0; i < count && i < OBS_MAX; i++) {
        term t = term_of(g, &obs[i], options);
        if (!obs[i].lit || !carries(width_mm, &t, options))
            continue;
        carried = true;
        least = fmin(least, missing_through(g, bearing_deg, &obs[i], t.sigma, far));
    }
    return carried ? least : 0;
}

static double combined(const rg_rocking_fit *fit)
{
    return sqrt(pow(fit->u_noise_mm, 2) + pow(fit->u_radiance_mm, 2) + pow(fit->u_psf_mm, 2) +
                pow(fit->u_pose_mm, 2) + pow(fit->u_scale_mm, 2) + pow(fit->u_model_mm, 2));
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

/* Sums over the frames that show one edge of a gap. */
typedef struct edge {
    double weight, height, per_l, per_s, noise, place, model;
    int frames;
} edge;

static void add_edge(edge *e, double height, double sigma, double model, const rg_observation *o)
{
    double q = 1 / (sigma * sigma);
    e->weight += q;
    e->height += q * height;
    e->per_l += 0.5 * q * o->per_ln_radiance;
    e->per_s += 0.5 * q * o->per_ln_sigma;
    e->noise += q * q * 0.25 * o->u_mm * o->u_mm;
    e->place += q * q * o->u_edge_mm * o->u_edge_mm;
    e->model += q * model;
    e->frames++;
}

/* Which edge of a gap a view shows: of the rim from above, of the pad from below, none from level. */
typedef enum edge_kind { NEITHER, OF_RIM, OF_PAD } edge_kind;

/* A slanting ray stands on the rim at one bearing and ends at the pad at another; but views from four bearings, 45
 * degrees to either side, are still to do. */
#define EDGE_ARCS 1.5

static edge_kind kind_of(const rg_slot_geometry *g, const rg_observation *o,
                         const rg_rocking_options *opt)
{
    double sure = 2 * o->u_slope;
    if (!o->lit || !isfinite(o->low_mm) ||
        slips_past(g, o->obliquity_rad, EDGE_ARCS * opt->seen_arc_deg))
        return NEITHER;
    return o->slope_rim > sure ? OF_RIM : o->slope_rim < -sure ? OF_PAD : NEITHER;
}

static double tallest(const rg_slot_geometry *g, const rg_observation *obs, int count,
                      const rg_rocking_options *opt, edge_kind of)
{
    double most = 0;
    for (int i = 0; i < count && i < OBS_MAX; i++)
        if (kind_of(g, &obs[i], opt) == of)
            most = fmax(most, obs[i].height_mm);
    return most;
}

/* A faint glimmer on an edge of the far land is no slot light: so much of the tallest light counts. */
#define TALL_SHARE 0.5

/* From above the light stands on the rim, but for what a dull land takes; from below it ends at the
 * pad, less what the land hides of it. */
static void gather_edge(const rg_slot_geometry *g, const rg_observation *obs, int count,
                        const rg_rocking_options *opt, edge_kind of, edge *e)
{
    double least = TALL_SHARE * tallest(g, obs, count, opt, of);
    for (int i = 0; i < count && i < OBS_MAX; i++) {
        const rg_observation *o = &obs[i];
        if (kind_of(g, o, opt) != of || o->height_mm < least)
            continue;
        double land, hidden = pad_hides(g, o->slope_pad, o->obliquity_rad, &land);
        double dull = (1 - g->land_reflectance) * o->slope_rim * land;
        double model = hypot(0.5 * term_of(g, o, opt).sigma, 0.5 * opt->model_floor_mm);
        add_edge(e, of == OF_RIM ? o->low_mm - dull : o->high_mm + hidden,
                 hypot(model, o->u_edge_mm), model, o);
    }
}

bool rg_rocking_edges(const rg_slot_geometry *g, const rg_observation *obs, int count,
                      const rg_rocking_options *options, rg_rocking_fit *fit)
{
    edge rim = {0}, pad = {0};
    gather_edge(g, obs, count, options, OF_RIM, &rim);
    gather_edge(g, obs, count, options, OF_PAD, &pad);
    if (!rim.frames || !pad.frames)
        return false;
    fit->width_mm = fmax(pad.height / pad.weight - rim.height / rim.weight, 0);
    fit->u_noise_mm = hypot(sqrt(rim.noise) / rim.weight, sqrt(pad.noise) / pad.weight);
    /* Half of each height belongs to either edge: what they share adds up. */
    fit->u_radiance_mm =
        fabs(rim.per_l / rim.weight + pad.per_l / pad.weight) * options->u_ln_radiance;
    fit->u_psf_mm = fabs(rim.per_s / rim.weight + pad.per_s / pad.weight) * options->u_ln_sigma;
    fit->u_pose_mm = hypot(sqrt(rim.place) / rim.weight, sqrt(pad.place) / pad.weight);
    fit->u_scale_mm = options->u_scale * fit->width_mm;
    fit->u_slot_mm = rim.model / rim.weight + pad.model / pad.weight;
    fit->u_scatter_mm = fit->u_through_mm = 0;
    fit->u_bulge_mm = BULGE_U * g->bulge_mm;
    fit->u_model_mm = hypot(fit->u_slot_mm, fit->u_bulge_mm);
    fit->u_mm = combined(fit);
    fit->used = rim.frames + pad.frames;
    return true;
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
        if (!carries(fit->width_mm, &t[i], opt))
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
    fit->cost = cost_of(fit->width_mm, t, n, options, INFINITY);
    uncertainty(g, obs, t, n, options, fit);
    fit->u_mm = combined(fit);
}
