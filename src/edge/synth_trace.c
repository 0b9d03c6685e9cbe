/*
 * synth_trace.c - what one ray sees. See synth.h.
 */
#include <math.h>

#include "synth_private.h"

/* Numbers of the objects; faces of the crown add theirs. */
enum { ROOM, GROUND, KEY, CUP, LEATHER, CHIMNEY, UNDER, SLOT, PRINT = 64 };

/* Colour of lacquered brass, of leather and of the room's light. */
static const float BRASS[3] = {1.37f, 0.95f, 0.40f};
static const float HIDE[3] = {1.55f, 0.88f, 0.47f};
static const float GREY[3] = {1.02f, 1.0f, 0.93f};

/* The key works: hinge rod across, two posts with balls, an arm; mm. */
#define HINGE_X    24.0
#define HINGE_Z    3.6
#define HINGE_R    1.75
#define POST_Y     10.0
#define POST_R     1.4
#define BALL_R     1.9
#define ARM_HALF   1.7
#define ARM_LOW    2.7
#define ARM_HIGH   4.6
#define GROUND_Z   (-7.0)
#define ROOM_DEPTH 60.0

/* Parts into which a stretch under the pad is cut to look for its face. */
enum { NEAR_PARTS = 4, BORE_PARTS = 8 };

synth_ray synth_ray_make(rg_vec3 from, rg_vec3 towards)
{
    double flat = 1 / sqrt(towards.x * towards.x + towards.y * towards.y);
    synth_ray r = {from, towards.x * flat, towards.y * flat, towards.z * flat, 0, 0};
    r.nearest = -(from.x * r.x + from.y * r.y);
    r.miss2 = fmax(from.x * from.x + from.y * from.y - r.nearest * r.nearest, 0);
    return r;
}

static double height(const synth_ray *r, double s)
{
    return r->from.z + s * r->slope;
}

static double half_chord(const synth_ray *r, double radius)
{
    double d = radius * radius - r->miss2;
    return d > 0 ? sqrt(d) : -1;
}

static void paint(float to[3], const float colour[3], double light)
{
    for (int c = 0; c < 3; c++)
        to[c] = colour[c] * (float)light;
}

/* ------------------------------------------------------------- shading */

/* The room as a mirror on a vertical wall sees it, by azimuth (a bearing). */
double synth_surroundings(double azimuth)
{
    return 1 + 0.35 * cos(azimuth - 0.6) + 0.18 * cos(3 * azimuth + 1.1) +
           0.08 * cos(7 * azimuth - 0.4);
}

/* Light of a vertical mirror wall at a point: room and lamps. */
static double mirror(const synth_world *w, const synth_ray *r, double x, double y, double z)
{
    /* Azimuth 2 normal - back, as a product of complex numbers; bearings grow with -y. */
    double c = x * x - y * y, n = -2 * x * y, bx = -r->x, by = r->y;
    double azimuth = atan2(n * bx - c * by, c * bx + n * by);
    if (azimuth < 0)
        azimuth += 2 * RG_PI;
    double at = azimuth * (SYNTH_AZIMUTHS / (2 * RG_PI));
    int k0 = (int)at;
    double light = w->s.metal * (double)w->mirrored[k0 < SYNTH_AZIMUTHS ? k0 : SYNTH_AZIMUTHS];
    for (int i = 0; i < w->s.streaks; i++) {
        const rg_synth_streak *k = &w->s.streak[i];
        if (z < k->low_mm || z > k->high_mm)
            continue;
        double off = rg_angle_between(rg_degrees(azimuth), k->azimuth_deg) / k->width_deg;
        if (fabs(off) < 5)
            light += k->light * exp(-0.5 * off * off);
    }
    return light;
}

static synth_hit room(const synth_world *w, const synth_ray *r)
{
    synth_hit hit = {.what = ROOM};
    double up = (height(r, r->nearest + ROOM_DEPTH) + 10) / 40;
    paint(hit.light, GREY, w->s.room * (0.6 + 0.4 * up + 0.3 * r->x * r->y));
    return hit;
}

/* ---------------------------------------------------------- key works */

/* Upright cylinder at (x0, y0); s or INFINITY. */
static double post(const synth_ray *r, double x0, double y0, double radius, double *side)
{
    double x = r->from.x - x0, y = r->from.y - y0, b = x * r->x + y * r->y;
    double d = b * b - (x * x + y * y - radius * radius);
    if (d <= 0)
        return INFINITY;
    double s = -b - sqrt(d);
    *side = ((x + s * r->x) * -r->y + (y + s * r->y) * r->x) / radius;
    return s > 0 ? s : INFINITY;
}

static double ball(const synth_ray *r, double y0, double *side)
{
    double x = r->from.x - HINGE_X, y = r->from.y - y0, z = r->from.z - HINGE_Z;
    double a = 1 + r->slope * r->slope, b = x * r->x + y * r->y + z * r->slope;
    double d = b * b - a * (x * x + y * y + z * z - BALL_R * BALL_R);
    if (d <= 0)
        return INFINITY;
    double s = (-b - sqrt(d)) / a;
    *side = (z + s * r->slope) / BALL_R;
    return s > 0 ? s : INFINITY;
}

static double rod(const synth_ray *r, double *side)
{
    double x = r->from.x - HINGE_X, z = r->from.z - HINGE_Z;
    double a = r->x * r->x + r->slope * r->slope, b = x * r->x + z * r->slope;
    double d = b * b - a * (x * x + z * z - HINGE_R * HINGE_R);
    if (d <= 0 || a < 1e-12)
        return INFINITY;
    double s = (-b - sqrt(d)) / a;
    *side = (z + s * r->slope) / HINGE_R;
    return s > 0 && fabs(r->from.y + s * r->y) < POST_Y ? s : INFINITY;
}

static double arm(const synth_world *w, const synth_ray *r, double *side)
{
    const double low[3] = {w->s.cup_mm - 0.5, -ARM_HALF, ARM_LOW};
    const double high[3] = {HINGE_X, ARM_HALF, ARM_HIGH};
    const double from[3] = {r->from.x, r->from.y, r->from.z}, way[3] = {r->x, r->y, r->slope};
    double in = 0, out = INFINITY;
    for (int k = 0; k < 3; k++) {
        if (fabs(way[k]) < 1e-12) {
            if (from[k] < low[k] || from[k] > high[k])
                return INFINITY;
            continue;
        }
        double a = (low[k] - from[k]) / way[k], b = (high[k] - from[k]) / way[k];
        in = fmax(in, fmin(a, b));
        out = fmin(out, fmax(a, b));
    }
    *side = (height(r, in) - HINGE_Z) / HINGE_R;
    return in < out && in > 0 ? in : INFINITY;
}

static void take(double s, double side, double *best, double *best_side)
{
    if (s < *best) {
        *best = s;
        *best_side = side;
    }
}

/* Most rays pass far from the key works. */
static bool near_key(const synth_ray *r)
{
    double s = (HINGE_X - r->from.x) * r->x - r->from.y * r->y;
    if (height(r, s) > HINGE_Z + 2 * BALL_R)
        return false;
    double across = r->from.y + s * r->y, along = r->from.x + s * r->x - HINGE_X;
    double reach = HINGE_X + POST_Y;
    return s > 0 && across * across + along * along < reach * reach;
}

static double key_works(const synth_world *w, const synth_ray *r, synth_hit *hit)
{
    if (!near_key(r))
        return INFINITY;
    double best = INFINITY, best_side = 0, side = 0, s;
    for (int sign = -1; sign <= 1; sign += 2) {
        s = post(r, HINGE_X, sign * POST_Y, POST_R, &side);
        if (s < INFINITY && height(r, s) < HINGE_Z)
            take(s, side, &best, &best_side);
        s = ball(r, sign * POST_Y, &side);
        take(s, side, &best, &best_side);
    }
    s = rod(r, &side);
    take(s, side, &best, &best_side);
    s = arm(w, r, &side);
    take(s, side, &best, &best_side);
    hit->what = KEY;
    paint(hit->light, BRASS, w->s.metal * (0.25 + 0.5 * fabs(best_side) + 0.5 * best_side));
    return best;
}

/* --------------------------------------------------------------- crown */

/* Half a cell outside the black border counts as border where the print runs. */
static int cell_of(double cells)
{
    int i = (int)floor(cells + 5);
    return i < 1 ? 1 : i > SYNTH_MODULES ? SYNTH_MODULES : i;
}

static float print_light(const synth_world *w, int face, double across, double up)
{
    double cell = w->s.tag_mm / SYNTH_MODULES, half = 0.5 * w->s.tag_mm;
    const double *out = w->s.border_mm[face];
    bool white = across < -half - out[0] || across > half + out[1] || up < -half - out[2] ||
                 up > half + out[3];
    if (!white)
        white = w->paper[face][cell_of(-up / cell)][cell_of(across / cell)];
    return (float)(white ? w->s.paper * (1 - 0.02 * up) : w->s.ink);
}

/* Nearest of the six faces, in the crown's own frame. */
static double crown(const synth_world *w, const synth_ray *r, synth_hit *hit)
{
    rg_vec3 from = w->eye;
    rg_vec3 way = rg_mat3_apply(w->to_cup, rg_vec3_make(r->x, r->y, r->slope));
    double half = w->s.apothem_mm / sqrt(3), best = INFINITY;
    double reach = 0.62 * w->s.tag_mm, middle = from.z + way.z * r->nearest - w->s.tag_height_mm;
    if (fabs(middle) > reach + fabs(way.z) * 1.5 * w->s.apothem_mm)
        return INFINITY;
    for (int j = 0; j < RG_SYNTH_FACES; j++) {
        double c = w->face_x[j], n = w->face_y[j];
        double towards = -(way.x * c + way.y * n);
        if (towards <= 1e-9)
            continue;
        double s = (from.x * c + from.y * n - w->s.apothem_mm) / towards;
        rg_vec3 p = rg_vec3_add(from, rg_vec3_scale(way, s));
        /* A camera before the face sees right where bearings fall: upright text. */
        double across = -p.x * n + p.y * c, up = p.z - w->s.tag_height_mm;
        if (s <= 0 || s >= best || fabs(across) > half || fabs(up) > reach)
            continue;
        float light = print_light(w, j, across, up);
        double shade = 0.8 + 0.2 * (-0.6 * c - 0.8 * n);
        best = s;
        hit->what = PRINT + 2 * j + (light > 0.5 * (w->s.paper + w->s.ink));
        paint(hit->light, GREY, light * shade);
    }
    return best;
}

/* ---------------------------------------------------------- under the pad */

/* Share of the bright hole's light that falls on the pad's face at a depth x
 * into a slot of height g (x < 0: over the hole), see synth.h. */
static double lit_share(const synth_world *w, double x, double g)
{
    if (g <= 0)
        return x < 0 ? 1 : 0;
    double once = 0.5 * (1 - x / sqrt(x * x + g * g));
    if (x <= 0)
        return once;
    double twice = 0.5 * (1 - x / sqrt(x * x + 4 * g * g));
    return once + w->s.land_reflectance * (twice - once);
}

static void lamp(const synth_world *w, float to[3], double share)
{
    for (int c = 0; c < 3; c++)
        to[c] = (float)(w->s.lamp[c] * share);
}

static double pad_over(const synth_world *w, double x, double y, bool on_land)
{
    double face = synth_face(w, x, y);
    return on_land ? fmax(face, 0) : face;
}

static bool at_feeler(const synth_world *w, double x, double y, double z)
{
    const rg_synth_pad *p = &w->s.pad;
    if (!(p->feeler_mm > 0) || z < 0 || z > p->feeler_mm)
        return false;
    double b = rg_radians(p->feeler_bearing_deg), out = x * cos(b) - y * sin(b);
    return out > w->s.inner_mm && fabs(x * sin(b) + y * cos(b)) < 0.5 * p->feeler_width_mm;
}

typedef struct walk {
    double s, z, slope, weight; /* where the ray is under the pad, and its share left */
} walk;

/* Goes on to s = to; true when the pad's face or the feeler ends the ray. */
static bool meets_pad(const synth_world *w, const synth_ray *r, walk *at, double to, int parts,
                      bool on_land)
{
    double s0 = at->s, z0 = at->z, x = r->from.x + s0 * r->x, y = r->from.y + s0 * r->y;
    double clear = pad_over(w, x, y, on_land) - z0;
    if (to <= s0)
        return clear < 0;
    for (int i = 1; i <= parts; i++) {
        double s = s0 + (to - s0) * i / parts, z = z0 + (s - s0) * at->slope;
        x = r->from.x + s * r->x;
        y = r->from.y + s * r->y;
        double next = pad_over(w, x, y, on_land) - z;
        bool stopped = w->s.pad.feeler_mm > 0 && at_feeler(w, x, y, z);
        if (clear < 0 || next < 0 || stopped) {
            double part = clear < 0 || stopped ? 0 : clear / (clear - next);
            double step = (to - s0) / parts;
            at->s = s - step + part * step;
            at->z = z0 + (at->s - s0) * at->slope;
            return true;
        }
        clear = next;
    }
    at->s = to;
    at->z = z0 + (to - s0) * at->slope;
    return false;
}

/* The land lies at z = 0: a ray that goes down onto it before s = to is
 * mirrored there and loses what the metal takes. shoulder: how much the land leans towards where the ray comes
 * from; it mirrors by twice that upwards. */
static bool meets_land(const synth_world *w, walk *at, double to, double shoulder)
{
    if (at->slope >= 0 || at->z + (to - at->s) * at->slope >= 0)
        return false;
    double s = at->s - at->z / at->slope, share = (s - at->s) / (to - at->s);
    at->s = s;
    at->z = 0;
    at->slope = -at->slope + 2 * shoulder * fmax(1 - 2 * share, 0);
    at->weight *= w->s.land_reflectance;
    return true;
}

static double radius_at(const synth_ray *r, double s)
{
    double d = s - r->nearest;
    return sqrt(r->miss2 + d * d);
}

static double gap_at(const synth_world *w, const synth_ray *r, double s)
{
    return fmax(synth_face(w, r->from.x + s * r->x, r->from.y + s * r->y), 0);
}

/* Over the land, inwards or outwards: light in *to when the ray ends there. */
static bool over_land(const synth_world *w, const synth_ray *r, walk *at, double to,
                      double shoulder, float light[3])
{
    for (int bounce = 0; bounce < 3; bounce++) {
        walk was = *at;
        bool down = meets_land(w, at, to, bounce ? 0 : shoulder);
        double stop = down ? at->s : to;
        walk up = was;
        if (meets_pad(w, r, &up, stop, NEAR_PARTS, true)) {
            double depth = radius_at(r, up.s) - w->s.inner_mm;
            lamp(w, light, was.weight * lit_share(w, depth, gap_at(w, r, up.s)));
            *at = up;
            return true;
        }
        if (!down) {
            *at = up;
            return false;
        }
    }
    return false;
}

static void far_wall(const synth_world *w, const synth_ray *r, const walk *at, float light[3])
{
    double b = atan2(-(r->from.y + at->s * r->y), r->from.x + at->s * r->x);
    double uneven = 1 + w->s.lamp_uneven * cos(b - rg_radians(w->s.lamp_bearing_deg));
    lamp(w, light, at->weight * w->s.wall * uneven);
}

/* A ray that meets the rounding of the far land's inner edge is thrown up to the pad: (cos 2 t, sin 2 t)
 * where the edge's normal leans by t, a quarter circle of radius edge_mm. */
static void far_edge(const synth_world *w, const synth_ray *r, const walk *at, float light[3])
{
    double e = w->s.edge_mm, cosine = 1 + at->z / e, sine = sqrt(fmax(1 - cosine * cosine, 0));
    double gap = gap_at(w, r, at->s), up = 2 * sine * cosine;
    double depth = e * (1 - sine) + (gap - at->z) * (1 - 2 * sine * sine) / fmax(up, 1e-6);
    lamp(w, light, at->weight * w->s.land_reflectance * lit_share(w, depth, gap));
}

/* From inside the hole out through the far slot. */
static void far_side(const synth_world *w, const synth_ray *r, walk *at, double land_end,
                     double pad_end, float light[3])
{
    if (over_land(w, r, at, land_end, 0, light))
        return;
    if (meets_pad(w, r, at, pad_end, NEAR_PARTS, false)) {
        double depth = radius_at(r, at->s) - w->s.inner_mm;
        lamp(w, light, at->weight * lit_share(w, depth, gap_at(w, r, at->s)));
        return;
    }
    synth_hit out = room(w, r);
    for (int c = 0; c < 3; c++)
        light[c] = (float)at->weight * out.light[c];
}

/* A ray above the land's outer edge, going in. */
static void through_slot(const synth_world *w, const synth_ray *r, walk *at, float light[3])
{
    double land = half_chord(r, w->s.outer_mm), hole = half_chord(r, w->s.inner_mm);
    double pad_end = r->nearest + half_chord(r, w->s.pad_mm);
    if (hole < 0) { /* passes over the land only */
        far_side(w, r, at, r->nearest + land, pad_end, light);
        return;
    }
    if (over_land(w, r, at, r->nearest - hole, w->s.land_shoulder, light))
        return;
    if (meets_pad(w, r, at, r->nearest + hole, BORE_PARTS, false)) {
        double depth = radius_at(r, at->s) - w->s.inner_mm;
        lamp(w, light, at->weight * lit_share(w, depth, gap_at(w, r, at->s)));
        return;
    }
    if (at->z < -w->s.edge_mm) {
        far_wall(w, r, at, light);
        return;
    }
    if (at->z < 0) {
        far_edge(w, r, at, light);
        return;
    }
    far_side(w, r, at, r->nearest + land, pad_end, light);
}

/* The chimney darkens under the pad. */
static void chimney(const synth_world *w, const synth_ray *r, double s, double z, synth_hit *hit)
{
    double x = r->from.x + s * r->x, y = r->from.y + s * r->y;
    double depth = synth_face(w, x, y) - z;
    double open = 0.5 * erfc((w->s.shadow_mm - depth) / (w->s.shadow_blur_mm * sqrt(2)));
    double light = mirror(w, r, x, y, z) * (0.08 + 0.92 * open);
    hit->what = CHIMNEY;
    paint(hit->light, BRASS, light);
}

/* A ray that got under the pad's edge: what it ends on. */
static synth_hit under_pad(const synth_world *w, const synth_ray *r, double enter)
{
    synth_hit hit = {.what = UNDER};
    walk at = {enter, height(r, enter), r->slope, 1};
    double land = half_chord(r, w->s.outer_mm);
    double to = land < 0 ? 2 * r->nearest - enter : r->nearest - land;
    if (meets_pad(w, r, &at, to, NEAR_PARTS, false)) {
        double depth = radius_at(r, at.s) - w->s.inner_mm;
        lamp(w, hit.light, lit_share(w, depth, gap_at(w, r, at.s)));
        for (int c = 0; c < 3; c++)
            hit.light[c] += HIDE[c] * (float)(0.2 * w->s.leather);
        return hit;
    }
    if (land < 0)
        return room(w, r);
    if (at.z >= 0) {
        hit.what = SLOT;
        through_slot(w, r, &at, hit.light);
        return hit;
    }
    if (at.z > -w->s.edge_mm) { /* the rounding mirrors the pad's dark underside */
        paint(hit.light, BRASS, 0.05 * w->s.metal);
        return hit;
    }
    chimney(w, r, at.s, at.z, &hit);
    return hit;
}

/* --------------------------------------------------------------- the lot */

static synth_hit leather(const synth_world *w, double above)
{
    synth_hit hit = {.what = LEATHER};
    double t = fmin(fmax(above / 0.55, 0), 1);
    paint(hit.light, HIDE, w->s.leather * (0.25 + 0.75 * t * t * (3 - 2 * t)));
    return hit;
}

static synth_hit cup_wall(const synth_world *w, const synth_ray *r, double s, double above)
{
    synth_hit hit = {.what = CUP};
    double share = (above - w->s.pad_thickness_mm) / (w->s.cup_top_mm - w->s.pad_thickness_mm);
    double light = mirror(w, r, r->from.x + s * r->x, r->from.y + s * r->y, height(r, s));
    double edge = fmin(1, 4 * fmin(share, 1 - share) + 0.3);
    paint(hit.light, BRASS, light * edge);
    return hit;
}

/* Height above the pad's plane, on which the cup stands. */
static double above_plane(const synth_world *w, const synth_ray *r, double s)
{
    return height(r, s) - w->s.pad.level_mm - w->grad_x * (r->from.x + s * r->x) -
           w->grad_y * (r->from.y + s * r->y);
}

/* Cup, pad and chimney: s of the hit or INFINITY. */
static double stack(const synth_world *w, const synth_ray *r, synth_hit *hit)
{
    double wide = half_chord(r, w->s.cup_mm), s = r->nearest - wide;
    if (wide >= 0) {
        double above = above_plane(w, r, s);
        if (above > w->s.pad_thickness_mm && above < w->s.cup_top_mm) {
            *hit = cup_wall(w, r, s, above);
            return s;
        }
    }
    wide = half_chord(r, w->s.pad_mm);
    if (wide < 0)
        return INFINITY;
    s = r->nearest - wide;
    double x = r->from.x + s * r->x, y = r->from.y + s * r->y, z = height(r, s);
    double face = synth_face(w, x, y), above = above_plane(w, r, s);
    if (above > w->s.cup_top_mm)
        return INFINITY;
    if (z >= face) {
        *hit = leather(w, z - face);
        return s;
    }
    *hit = under_pad(w, r, s);
    return hit->what == ROOM ? INFINITY : s;
}

static double ground(const synth_world *w, const synth_ray *r, synth_hit *hit)
{
    if (r->slope >= -1e-6)
        return INFINITY;
    double s = (GROUND_Z - r->from.z) / r->slope;
    if (s <= 0 || s > r->nearest + ROOM_DEPTH)
        return INFINITY;
    hit->what = GROUND;
    paint(hit->light, BRASS, 0.8 * w->s.metal);
    return s;
}

synth_hit synth_trace(const synth_world *world, const synth_ray *ray)
{
    synth_hit best = {0}, other = {0};
    double s = stack(world, ray, &best);
    double t = crown(world, ray, &other);
    if (t < s) {
        s = t;
        best = other;
    }
    if (world->s.key) {
        t = key_works(world, ray, &other);
        if (t < s) {
            s = t;
            best = other;
        }
    }
    if (s == INFINITY) {
        s = ground(world, ray, &best);
        if (s == INFINITY)
            return room(world, ray);
    }
    return best;
}

bool synth_near_slot(const synth_world *world, const synth_ray *ray)
{
    double land = half_chord(ray, world->s.outer_mm);
    if (land < 0)
        return false;
    double z = height(ray, ray->nearest - land);
    double margin = 0.06 + world->s.pad.bulge_mm + world->s.pad.press_mm +
                    3 * fabs(ray->slope) * (world->s.pad_mm - world->s.outer_mm);
    return z > -margin && z < world->widest + margin;
}
