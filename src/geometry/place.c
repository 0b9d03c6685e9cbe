/*
 * place.c - the camera's place from crown, jig or marks.
 *
 * A jig's outlines: search on the small picture, then three rounds of points
 * and fit, each from a nearer start. Points of one outline share its errors
 * (roundness, lacquer, the edge's own shade): however many, they weigh as four.
 * Points off by more than three standard uncertainties are dropped.
 */
#include "rimglow/place.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_cdf.h>

#include "placefit.h"
#include "rimglow/stats.h"
#include "rimglow/text.h"
#include "silhouette.h"

const char *rg_place_name(rg_place_source source)
{
    static const char *const name[] = {
        [RG_PLACE_CROWN] = "crown", [RG_PLACE_JIG] = "jig", [RG_PLACE_MARKS] = "marks"};
    return (int)source >= 0 && source <= RG_PLACE_MARKS ? name[source] : "?";
}

/* ------------------------------------------------------------ values */

static rg_code out_of(const char *what, double value, const char *range, rg_error *err)
{
    return rg_fail(err, RG_BAD_DATA, "place: %s = %g is not %s; check [place]", what, value, range);
}

rg_code rg_place_check(const rg_place_options *o, rg_error *err)
{
    if (o->source == RG_PLACE_CROWN)
        return RG_OK;
    if (!(o->bearing_u_deg >= 0 && o->bearing_u_deg <= 30))
        return out_of("bearing_u_deg", o->bearing_u_deg, "within 0 to 30", err);
    if (!(o->seat_tilt_deg >= 0 && o->seat_tilt_deg <= 5))
        return out_of("seat_tilt_deg", o->seat_tilt_deg, "within 0 to 5", err);
    bool jig = o->source == RG_PLACE_JIG;
    if (jig && !(o->elevation_u_deg > 0 && o->elevation_u_deg <= 10))
        return out_of("elevation_u_deg", o->elevation_u_deg, "above 0 and at most 10", err);
    if (jig && !(o->distance_mm >= 20 && o->distance_mm <= 5000))
        return out_of("distance_mm", o->distance_mm, "within 20 to 5000", err);
    if (jig && !(o->outline_u_px > 0 && o->outline_u_px <= 20))
        return out_of("outline_u_px", o->outline_u_px, "above 0 and at most 20", err);
    if (!(o->click_u_px >= 0 && o->click_u_px <= 20) || (!jig && o->click_u_px == 0))
        return out_of("click_u_px", o->click_u_px, "above 0 and at most 20", err);
    if (o->cup_mm != 0 && !(o->cup_mm > 1 && o->cup_mm < 200))
        return out_of("cup_mm", o->cup_mm, "within 1 to 200", err);
    if (o->cup_mm != 0 && !(o->cup_edge_u_mm > 0 && o->cup_edge_u_mm <= 5))
        return out_of("cup_edge_u_mm", o->cup_edge_u_mm, "above 0 and at most 5", err);
    return RG_OK;
}

void rg_place_from_crown(const rg_crown_pose *crown, rg_place *place)
{
    *place = (rg_place){.source = RG_PLACE_CROWN,
                        .state = crown->state,
                        .pose = crown->pose,
                        .rms_px = crown->rms_px,
                        .edge_sigma_px = crown->edge_sigma_px,
                        .light_known = true,
                        .black_light = crown->black_light,
                        .white_light = crown->white_light,
                        .crown = *crown};
    memcpy(place->covariance, crown->covariance, sizeof place->covariance);
    rg_copy_text(place->reason, sizeof place->reason, crown->reason);
}

/* ------------------------------------------------------------ camera */

/* The least rotation that takes the optical axis to (aim, 1). */
static rg_mat3 turn_to(rg_vec2 aim)
{
    double flat = hypot(aim.x, aim.y), angle = atan(flat);
    if (!(flat > 0))
        return rg_mat3_identity();
    return rg_rodrigues(rg_vec3_make(-aim.y / flat * angle, aim.x / flat * angle, 0));
}

/* Rows: right, down, forward of a camera that looks at the rim's centre. */
static rg_mat3 look_at(double bearing_deg, double elevation_deg)
{
    double b = rg_radians(bearing_deg), e = rg_radians(elevation_deg);
    double cb = cos(b), sb = sin(b), ce = cos(e), se = sin(e);
    return (rg_mat3){{{sb, cb, 0}, {se * cb, -se * sb, -ce}, {-ce * cb, ce * sb, -se}}};
}

rg_pose rg_place_pose(const rg_place_view *v)
{
    double r = rg_radians(v->roll_deg),
           length = sqrt(1 + v->aim.x * v->aim.x + v->aim.y * v->aim.y);
    rg_mat3 roll = {{{cos(r), -sin(r), 0}, {sin(r), cos(r), 0}, {0, 0, 1}}};
    rg_mat3 level = look_at(v->bearing_deg, v->elevation_deg);
    rg_pose pose = {.R = rg_mat3_mul(turn_to(v->aim), rg_mat3_mul(roll, level))};
    pose.t = rg_vec3_scale(rg_vec3_make(v->aim.x, v->aim.y, 1), v->distance_mm / length);
    return pose;
}

rg_place_view rg_place_view_of(const rg_pose *pose)
{
    rg_place_view v;
    rg_rim_camera(pose, &v.bearing_deg, &v.elevation_deg, &v.distance_mm);
    v.aim = (rg_vec2){pose->t.x / pose->t.z, pose->t.y / pose->t.z};
    rg_mat3 level = look_at(v.bearing_deg, v.elevation_deg);
    rg_mat3 roll = rg_mat3_mul(rg_mat3_transpose(turn_to(v.aim)),
                               rg_mat3_mul(pose->R, rg_mat3_transpose(level)));
    v.roll_deg = rg_degrees(atan2(roll.m[1][0], roll.m[0][0]));
    return v;
}

bool rg_place_outline(const rg_pose *pose, double radius_mm, double z_mm, int side, rg_vec3 *point)
{
    rg_vec3 c = rg_pose_camera_centre(pose);
    double away = hypot(c.x, c.y);
    if (!(away > radius_mm))
        return false;
    /* Bearings grow to the left of the picture. */
    double b = rg_rim_bearing(c) - side * rg_degrees(acos(radius_mm / away));
    rg_vec3 d = rg_rim_direction(b);
    *point = rg_vec3_make(radius_mm * d.x, radius_mm * d.y, z_mm);
    return true;
}

rg_pose rg_place_move(const rg_pose *pose, const double c[6])
{
    rg_pose moved = {rg_mat3_mul(rg_rodrigues(rg_vec3_make(c[0], c[1], c[2])), pose->R),
                     rg_vec3_add(pose->t, rg_vec3_make(c[3], c[4], c[5]))};
    return moved;
}

double rg_place_slope_u(const rg_place *place, double bearing_deg)
{
    /* A turn w of the body lifts the plane's edge at b by -r (w_y cos b + w_x sin b). */
    double b = rg_radians(bearing_deg), g[3], sum = 0;
    for (int k = 0; k < 3; k++)
        g[k] = -(place->pose.R.m[k][1] * cos(b) + place->pose.R.m[k][0] * sin(b));
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
            sum += g[i] * place->covariance[i][k] * g[k];
    return sqrt(fmax(sum, 0));
}

void rg_place_uncertainty(const rg_place *place, double *u_bearing_deg, double *u_elevation_deg)
{
    static const double step = 1e-6;
    double by[6], up[6], var_b = 0, var_e = 0;
    for (int k = 0; k < 6; k++) {
        double b[2], e[2], away, change[6] = {0};
        for (int side = 0; side < 2; side++) {
            change[k] = side ? step : -step;
            rg_pose p = rg_place_move(&place->pose, change);
            rg_rim_camera(&p, &b[side], &e[side], &away);
        }
        by[k] = rg_angle_between(b[1], b[0]) / (2 * step);
        up[k] = (e[1] - e[0]) / (2 * step);
    }
    for (int i = 0; i < 6; i++)
        for (int k = 0; k < 6; k++) {
            var_b += by[i] * place->covariance[i][k] * by[k];
            var_e += up[i] * place->covariance[i][k] * up[k];
        }
    *u_bearing_deg = sqrt(fmax(var_b, 0));
    *u_elevation_deg = sqrt(fmax(var_e, 0));
}

/* ------------------------------------------------------------ acceptance */

__attribute__((format(printf, 3, 4))) static void refuse(rg_place *place, rg_pose_state state,
                                                         const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(place->reason, sizeof place->reason, format, arguments);
    va_end(arguments);
    place->state = state;
}

/* More uncertain than this, the elevation is not known at all (degrees). */
#define BLIND_DEG 5.0

static void settle(rg_place *place, const rg_place_result *r)
{
    double u_bearing, u_elevation;
    place->pose = rg_place_pose(&r->view);
    memcpy(place->covariance, r->covariance, sizeof place->covariance);
    rg_place_uncertainty(place, &u_bearing, &u_elevation);
    if (!rg_mat3_is_rotation(place->pose.R, 1e-9))
        refuse(place, RG_POSE_NOT_A_ROTATION,
               "the place found is no rotation; check the lens values of the station");
    else if (!(u_elevation < BLIND_DEG))
        refuse(place, RG_POSE_UNDETERMINED,
               "the marks leave the elevation open to %.1f degrees; mark the rim's edge or the "
               "cup's edge in its middle too",
               u_elevation);
}

/* ------------------------------------------------------------ marks */

/* From the two ends: how far, where to and how askew. */
static bool start_from_ends(const rg_lens *lens, const rg_rim *rim, const rg_place_given *given,
                            rg_place_view *view)
{
    rg_vec3 ray[2];
    rg_vec2 end[2];
    for (int i = 0; i < 2; i++)
        if (!rg_lens_ray(lens, given->mark[i].pixel, &ray[i]) ||
            !rg_lens_inverse(lens, given->mark[i].pixel, &end[i]))
            return false;
    double half = 0.5 * acos(fmin(rg_vec3_dot(ray[0], ray[1]), 1));
    if (!(half > 1e-4 && end[1].x > end[0].x))
        return false;
    view->distance_mm = rim->outer_diameter_mm / 2 / sin(half);
    view->aim = (rg_vec2){(end[0].x + end[1].x) / 2, (end[0].y + end[1].y) / 2};
    view->roll_deg = rg_degrees(atan2(end[1].y - end[0].y, end[1].x - end[0].x));
    return true;
}

/* One mark as one or two sights; returns their number. */
static int sights_of(const rg_place_options *o, const rg_rim *rim, const rg_mark *mark,
                     rg_sight sight[2])
{
    double rim_mm = rim->outer_diameter_mm / 2;
    rg_sight s = {.pixel = mark->pixel, .radius_mm = rim_mm, .u_px = o->click_u_px};
    sight[0] = sight[1] = s;
    switch (mark->kind) {
    case RG_MARK_RIM_LEFT:
    case RG_MARK_RIM_RIGHT:
        sight[0].kind = mark->kind == RG_MARK_RIM_LEFT ? RG_SIGHT_LEFT : RG_SIGHT_RIGHT;
        sight[1].kind = RG_SIGHT_LEVEL;
        return 2;
    case RG_MARK_RIM:
        sight[0].kind = RG_SIGHT_EDGE;
        return 1;
    case RG_MARK_CUP:
        break;
    }
    sight[0].kind = RG_SIGHT_EDGE;
    sight[0].radius_mm = o->cup_mm / 2;
    sight[0].height_mm = o->cup_edge_mm;
    sight[0].on_cup = true;
    return 1;
}

static rg_place_prior prior_of(const rg_place_options *o, const rg_place_given *given)
{
    bool stated = o->source == RG_PLACE_JIG && isfinite(given->elevation_deg);
    /* A tilted pad lifts and lowers the cup's edge with it. */
    double tilt = tan(rg_radians(o->seat_tilt_deg)) * o->cup_mm / 2;
    return (rg_place_prior){.elevation_deg = stated ? given->elevation_deg : 0,
                            .u_elevation_rad = stated ? rg_radians(o->elevation_u_deg) : 0,
                            .u_bearing_rad = rg_radians(o->bearing_u_deg),
                            .u_cup_mm = fmax(hypot(o->cup_edge_u_mm, tilt), 1e-4)};
}

static bool ends_come_first(const rg_place_given *given)
{
    return given->marks >= 2 && given->marks <= RG_MARKS_MAX &&
           given->mark[0].kind == RG_MARK_RIM_LEFT && given->mark[1].kind == RG_MARK_RIM_RIGHT;
}

/* Of the points that carry the fit: the best known ones. */
static double rms_of(const rg_sight *sight, int n, double radius_mm)
{
    double sum = 0;
    int used = 0;
    for (int i = 0; i < n; i++)
        if (sight[i].u_px > 0 && (radius_mm == 0 || sight[i].radius_mm == radius_mm)) {
            sum += sight[i].misfit * sight[i].misfit;
            used++;
        }
    return used ? sqrt(sum / used) : 0;
}

/* Chance of a right set of marks to be refused. */
#define FALSE_ALARM 0.001

static void judge_marks(const rg_place_result *r, const rg_sight *sight, int n, rg_place *place)
{
    place->rms_px = rms_of(sight, n, 0);
    double most = gsl_cdf_chisq_Qinv(FALSE_ALARM, fmax(r->freedom, 1));
    if (r->freedom > 0 && r->chi2 > most)
        refuse(place, RG_POSE_REPROJECTION,
               "the marks contradict each other by %.2f px rms, far more than the stated "
               "click_u_px; check their order (left, right), the diameters, and click again",
               place->rms_px);
    else
        settle(place, r);
}

rg_code rg_place_from_marks(const rg_place_options *options, const rg_lens *lens, const rg_rim *rim,
                            const rg_place_given *given, rg_place *place, rg_error *err)
{
    rg_sight sight[2 * RG_MARKS_MAX];
    int n = 0;
    rg_error why = {0};
    *place = (rg_place){.source = options->source};
    rg_place_result r = {.view = {.bearing_deg = given->bearing_deg}};
    rg_place_prior prior = prior_of(options, given);
    r.view.elevation_deg = prior.elevation_deg;
    if (!ends_come_first(given) || !start_from_ends(lens, rim, given, &r.view)) {
        refuse(place, RG_POSE_UNDETERMINED,
               "the rim's two ends are not marked, left one first; click both");
        return RG_OK;
    }
    for (int i = 0; i < given->marks; i++) {
        n += sights_of(options, rim, &given->mark[i], sight + n);
        place->point[i] = (rg_place_point){given->mark[i].pixel, true};
    }
    place->points = given->marks;
    rg_code code = rg_placefit(lens, sight, n, &prior, &r, &why);
    if (code == RG_OK)
        judge_marks(&r, sight, n, place);
    else if (code == RG_BAD_DATA)
        refuse(place, RG_POSE_UNDETERMINED,
               "%.100s; mark the rim's two ends and two or more points of the rim's edge or the "
               "cup's edge between them",
               why.text);
    return code == RG_INTERNAL ? rg_fail(err, code, "%s", why.text) : RG_OK;
}

/* ------------------------------------------------------------ outlines */

enum { ROUNDS = 3, FITS = 6, LEAST_SIDE = 8, LEAST_LEVEL = 3, LEAST_ALL = 36, INDEPENDENT = 4 };

static const double REACH_PX[ROUNDS] = {10, 5, 3};
/* The pad's lower edge is rounded and tilted: it only tells where the rim is to
 * be looked for, mm. */
static const double LEVEL_U_MM = 0.2;
/* Its wall need not be concentric with the hole: it counts less, and not at all
 * where it contradicts the chimney. */
static const double PAD_RATIO = 2;

/* Standard uncertainties, px, of the three kinds of line. */
typedef struct line_u {
    double chimney, pad, level;
    double chimney_mm; /* its radius */
} line_u;

static bool on_chimney(const rg_sight *s, const line_u *u)
{
    return s->kind != RG_SIGHT_LEVEL && fabs(s->radius_mm - u->chimney_mm) < 1e-9;
}

static double u_of(const rg_sight *s, const line_u *u)
{
    return s->kind == RG_SIGHT_LEVEL ? u->level : on_chimney(s, u) ? u->chimney : u->pad;
}

static bool same_line(const rg_sight *a, const rg_sight *b)
{
    return a->kind == b->kind &&
           (a->kind == RG_SIGHT_LEVEL || fabs(a->radius_mm - b->radius_mm) < 1e-9);
}

/* Weights for the next fit: beyond `limit` standard uncertainties a point is
 * dropped, before that it loses weight as by Huber (Annals of Mathematical
 * Statistics 35 (1964) 73-101); the points of one line weigh as a few. */
static void weigh(rg_sight *sight, int n, const line_u *u, double limit)
{
    bool used[RG_PLACE_POINTS];
    for (int i = 0; i < n; i++)
        used[i] = fabs(sight[i].misfit) < limit * u_of(&sight[i], u);
    for (int i = 0; i < n; i++) {
        int fellows = 0;
        for (int k = 0; k < n; k++)
            fellows += used[k] && same_line(&sight[i], &sight[k]);
        bool alike = !on_chimney(&sight[i], u); /* one error for the whole line */
        double own = u_of(&sight[i], u), shared = alike ? fellows : (double)fellows / INDEPENDENT;
        double far = fmax(fabs(sight[i].misfit) / own, 1);
        sight[i].u_px = used[i] ? own * sqrt(fmax(shared, 1) * far) : 0;
    }
}

static bool enough(const rg_sight *sight, int n)
{
    int count[4] = {0};
    for (int i = 0; i < n; i++)
        count[sight[i].kind] += sight[i].u_px > 0;
    return count[RG_SIGHT_LEFT] >= LEAST_SIDE && count[RG_SIGHT_RIGHT] >= LEAST_SIDE &&
           count[RG_SIGHT_LEVEL] >= LEAST_LEVEL;
}

typedef struct outlines {
    rg_sight sight[RG_PLACE_POINTS];
    double sigma[RG_PLACE_POINTS];
    int n;
} outlines;

/* One round: points near the present view, then fits that shed the outliers. */
static rg_code refine(const rg_place_options *o, const rg_lens *lens, const rg_rim *rim,
                      const rg_edge_light *light, const rg_place_prior *prior, int round,
                      rg_place_result *r, outlines *out, rg_error *err)
{
    bool last = round + 1 == ROUNDS;
    rg_pose pose = rg_place_pose(&r->view);
    double px_per_mm = lens->fx / r->view.distance_mm;
    line_u u = {.chimney = o->outline_u_px,
                .pad = PAD_RATIO * o->outline_u_px,
                .level = hypot(o->outline_u_px, LEVEL_U_MM * px_per_mm),
                .chimney_mm = rim->outer_diameter_mm / 2};
    out->n = rg_outline_points(lens, rim, light, &pose, REACH_PX[round], out->sight, out->sigma);
    for (int i = 0; i < FITS; i++) {
        weigh(out->sight, out->n, &u, last && i + 2 >= FITS ? 3 : INFINITY);
        if (!enough(out->sight, out->n))
            return rg_fail(err, RG_BAD_DATA, "too few");
        rg_code code = rg_placefit(lens, out->sight, out->n, prior, r, err);
        if (code != RG_OK)
            return code;
    }
    return RG_OK;
}

static double width_of(const outlines *out)
{
    double work[RG_PLACE_POINTS];
    size_t n = 0;
    for (int i = 0; i < out->n; i++)
        if (out->sight[i].u_px > 0 && out->sigma[i] > 0)
            work[n++] = out->sigma[i];
    return n >= LEAST_SIDE ? rg_median_inplace(work, n) : 0;
}

static void note_points(const outlines *out, rg_place *place)
{
    place->points = out->n;
    for (int i = 0; i < out->n; i++)
        place->point[i] = (rg_place_point){out->sight[i].pixel, out->sight[i].u_px > 0};
}

static int used_of(const outlines *out)
{
    int used = 0;
    for (int i = 0; i < out->n; i++)
        used += out->sight[i].u_px > 0;
    return used;
}

/* From one candidate to its best fit; *out has no points where it leads nowhere. */
static rg_code follow(const rg_place_options *o, const rg_lens *lens, const rg_rim *rim,
                      const rg_edge_light *light, const rg_place_prior *prior, rg_place_result *r,
                      outlines *out, rg_error *err)
{
    rg_error why = {0};
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < ROUNDS; i++)
        code = refine(o, lens, rim, light, prior, i, r, out, &why);
    if (code == RG_OK && used_of(out) >= LEAST_ALL)
        return RG_OK;
    out->n = 0;
    return code == RG_INTERNAL ? rg_fail(err, code, "%s", why.text) : RG_OK;
}

enum { CANDIDATES = 4 };

/* The candidate that most points of the picture agree with. */
static rg_code best_outlines(const rg_place_options *o, const rg_lens *lens, const rg_rim *rim,
                             const rg_edge_light *light, const rg_place_given *given,
                             rg_place_result *result, outlines *best, rg_error *err)
{
    rg_place_view start = {.bearing_deg = given->bearing_deg,
                           .elevation_deg = given->elevation_deg,
                           .distance_mm = o->distance_mm};
    rg_place_view view[CANDIDATES];
    rg_place_prior prior = prior_of(o, given);
    int count = 0;
    best->n = 0;
    rg_code code = rg_outline_search(lens, rim, light, &start, view, CANDIDATES, &count, err);
    for (int i = 0; code == RG_OK && i < count; i++) {
        outlines out;
        rg_place_result r = {.view = view[i]};
        code = follow(o, lens, rim, light, &prior, &r, &out, err);
        if (used_of(&out) > used_of(best)) {
            *best = out;
            *result = r;
        }
    }
    return code;
}

static rg_code from_outlines(const rg_place_options *o, const rg_lens *lens, const rg_rim *rim,
                             const rg_edge_light *light, const rg_place_given *given,
                             rg_place *place, rg_error *err)
{
    outlines out;
    rg_place_result r = {.freedom = 0};
    *place = (rg_place){.source = o->source};
    rg_code code = best_outlines(o, lens, rim, light, given, &r, &out, err);
    if (code != RG_OK)
        return code;
    note_points(&out, place);
    if (out.n == 0) {
        refuse(place, RG_POSE_NO_OUTLINE,
               "the outlines of pad and chimney were not found; check distance_mm and the "
               "diameters, put an even background behind the cup, or mark the rim's ends");
        return RG_OK;
    }
    place->rms_px = rms_of(out.sight, out.n, rim->outer_diameter_mm / 2);
    place->edge_sigma_px = width_of(&out);
    settle(place, &r);
    return RG_OK;
}

/* ------------------------------------------------------------ both */

/* Blur of a picture whose place is known otherwise. */
static void measure_width(const rg_lens *lens, const rg_rim *rim, const rg_edge_light *light,
                          rg_place *place)
{
    outlines out;
    out.n = rg_outline_points(lens, rim, light, &place->pose, REACH_PX[1], out.sight, out.sigma);
    place->edge_sigma_px = width_of(&out);
}

rg_code rg_place_locate(const rg_place_options *options, const rg_lens *lens, const rg_rim *rim,
                        const rg_image *image, const rg_linear *linear, const rg_place_given *given,
                        bool psf_known, rg_place *place, rg_error *err)
{
    rg_edge_light light = {image, linear};
    bool marked = options->source == RG_PLACE_MARKS || given->marks > 0;
    if (options->source == RG_PLACE_CROWN)
        return rg_fail(err, RG_BAD_DATA, "place: the crown has its own way, rg_crown_locate");
    rg_code code = marked ? rg_place_from_marks(options, lens, rim, given, place, err)
                          : from_outlines(options, lens, rim, &light, given, place, err);
    if (code != RG_OK || place->state != RG_POSE_OK)
        return code;
    if (marked && !psf_known)
        measure_width(lens, rim, &light, place);
    if (!psf_known && !(place->edge_sigma_px > 0))
        refuse(place, RG_POSE_NO_BLUR,
               "no outline of pad or chimney is clear enough to measure the camera's blur; state "
               "psf_sigma_px in the station file or use a background of another brightness");
    return RG_OK;
}
