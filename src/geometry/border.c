/*
 * border.c - searches for the crown's tag borders where a pose puts them.
 *
 * A face is searched when the camera sees it at less than 80 degrees from its
 * normal. Each border is sampled evenly but for a twelfth at either end,
 * where the blur of the corner bends the edge. The search stays within what
 * is known to be black inside (one module, an eighth of the tag) and white
 * outside (the rest of the face up to the crown's own edge, at least as much).
 *
 * What hides a border (key arm, post, finger) has an edge of its own, and a
 * long one would drag the pose along. It rarely has the paper's light: points
 * whose levels differ from their face's medians are dropped, and so is, after
 * a precise pass, a whole border whose edge is clearly wider than the others':
 * round metal before the paper is out of focus or shades off, print is sharp.
 */
#include "border.h"

#include <math.h>

#include "rimglow/stats.h"

static const double MIN_FACING = 0.17; /* cos 80 degrees */
static const double END_SKIP = 1.0 / 12.0;
static const double MODULES = 8.0;       /* black border to black border */
static const double CLEAR_PART = 0.9;    /* of a module that may be searched */
static const double WHITE_SPREAD = 0.22; /* of a face's median white, over one face */
static const double BLUR_RATIO = 1.35;   /* of the median edge width, for one border */
static const double BLACK_SPREAD = 0.08; /* of a face's median step */

/* Camera-frame direction from the camera to the face, against its normal. */
static double facing(const rg_pose *pose, const rg_vec3 corner[4])
{
    rg_vec3 a = rg_pose_apply(pose, corner[0]), c = rg_pose_apply(pose, corner[2]);
    rg_vec3 b = rg_pose_apply(pose, corner[1]);
    rg_vec3 middle = rg_vec3_scale(rg_vec3_add(a, c), 0.5);
    /* top-left, top-right, bottom-right: right x down points into the crown. */
    rg_vec3 inward = rg_vec3_cross(rg_vec3_sub(b, a), rg_vec3_sub(c, b));
    return rg_vec3_dot(inward, middle) / (rg_vec3_norm(inward) * rg_vec3_norm(middle));
}

static bool project(const rg_border_search *s, const rg_pose *pose, rg_vec3 body, rg_vec2 *pixel)
{
    return rg_lens_project(s->lens, rg_pose_apply(pose, body), pixel);
}

static rg_vec3 between(rg_vec3 a, rg_vec3 b, double s)
{
    return rg_vec3_add(a, rg_vec3_scale(rg_vec3_sub(b, a), s));
}

static bool in_picture(const rg_border_search *s, rg_vec2 p)
{
    return p.x >= 0.0 && p.y >= 0.0 && p.x <= s->lens->width - 1.0 && p.y <= s->lens->height - 1.0;
}

/* Projected point, unit tangent and outward unit normal of one border sample. */
typedef struct station {
    rg_vec3 body;
    rg_vec2 at, normal;
    double module_px; /* one module, along the normal */
} station;

static bool set_up(const rg_border_search *s, const rg_pose *pose, const rg_vec3 corner[4],
                   int side, double part, station *o)
{
    rg_vec3 a = corner[side], b = corner[(side + 1) % 4];
    rg_vec3 inner_a = corner[(side + 3) % 4], inner_b = corner[(side + 2) % 4];
    o->body = between(a, b, part);
    rg_vec3 inner = between(o->body, between(inner_a, inner_b, part), 1.0 / MODULES);
    rg_vec2 near, deep;
    if (!project(s, pose, o->body, &o->at) ||
        !project(s, pose, between(a, b, part + 0.02), &near) || !project(s, pose, inner, &deep))
        return false;
    double tx = near.x - o->at.x, ty = near.y - o->at.y, length = hypot(tx, ty);
    if (!(length > 1e-6))
        return false;
    o->normal = (rg_vec2){ty / length, -tx / length};
    double depth = (o->at.x - deep.x) * o->normal.x + (o->at.y - deep.y) * o->normal.y;
    if (depth < 0.0)
        o->normal = (rg_vec2){-o->normal.x, -o->normal.y};
    o->module_px = fabs(depth);
    return true;
}

static void search_border(const rg_border_search *s, const rg_pose *pose, const rg_vec3 corner[4],
                          int border, int points, double reach, bool precise, rg_border_scan *scan)
{
    for (int i = 0; i < points; i++) {
        double part = END_SKIP + (1.0 - 2.0 * END_SKIP) * (i + 0.5) / points;
        station o;
        if (!set_up(s, pose, corner, border % 4, part, &o) || !in_picture(s, o.at))
            continue;
        double clear = fmin(reach, CLEAR_PART * o.module_px);
        rg_edge_query q = {o.at, o.normal, clear, clear, precise, 0.0, &scan->memo[border][i]};
        rg_edge e;
        scan->expected++;
        if (clear < 3.0 || !rg_edge_find(&s->light, &q, &e))
            continue;
        scan->sighting[scan->count] = (rg_sighting){o.body, e.pixel, o.normal, 1.0};
        scan->point[scan->count] = (rg_border_point){border, e.sigma, e.black, e.white};
        scan->count++;
    }
}

static bool large_enough(const rg_border_search *s, const rg_pose *pose, const rg_vec3 corner[4])
{
    rg_vec2 p[4];
    for (int i = 0; i < 4; i++)
        if (!project(s, pose, corner[i], &p[i]))
            return false;
    for (int i = 0; i < 4; i++)
        if (hypot(p[i].x - p[(i + 1) % 4].x, p[i].y - p[(i + 1) % 4].y) < s->min_side_px)
            return false;
    return true;
}

/* Drops the points from `first` on whose levels are not those of their face. */
static void drop_strangers(rg_border_scan *scan, int first)
{
    double work[4 * RG_BORDER_POINTS];
    size_t n = (size_t)(scan->count - first);
    if (n == 0)
        return;
    for (size_t i = 0; i < n; i++)
        work[i] = scan->point[(size_t)first + i].white;
    double white = rg_median_inplace(work, n);
    for (size_t i = 0; i < n; i++)
        work[i] = scan->point[(size_t)first + i].black;
    double black = rg_median_inplace(work, n);
    int kept = first;
    for (int i = first; i < scan->count; i++) {
        const rg_border_point *p = &scan->point[i];
        if (fabs(p->white - white) > WHITE_SPREAD * white ||
            fabs(p->black - black) > BLACK_SPREAD * (white - black))
            continue;
        scan->point[kept] = scan->point[i];
        scan->sighting[kept++] = scan->sighting[i];
    }
    scan->count = kept;
}

static double median_sigma(const rg_border_scan *scan, int border, double *work)
{
    size_t n = 0;
    for (int i = 0; i < scan->count; i++)
        if (border < 0 || scan->point[i].border == border)
            work[n++] = scan->point[i].sigma;
    return n ? rg_median_inplace(work, n) : 0.0;
}

static void drop_blurred(rg_border_scan *scan, double *work)
{
    double limit = BLUR_RATIO * median_sigma(scan, -1, work);
    bool bad[RG_BORDERS];
    for (int b = 0; b < RG_BORDERS; b++)
        bad[b] = median_sigma(scan, b, work) > limit;
    int kept = 0;
    for (int i = 0; i < scan->count; i++) {
        if (bad[scan->point[i].border])
            continue;
        scan->point[kept] = scan->point[i];
        scan->sighting[kept++] = scan->sighting[i];
    }
    scan->count = kept;
}

void rg_border_find(const rg_border_search *search, const rg_pose *pose, unsigned faces, int points,
                    double reach, bool precise, rg_border_scan *scan)
{
    double work[RG_BORDERS * RG_BORDER_POINTS];
    scan->count = 0;
    scan->expected = 0;
    if (points > RG_BORDER_POINTS)
        points = RG_BORDER_POINTS;
    for (int face = 0; face < RG_FACES; face++) {
        rg_vec3 corner[4];
        rg_crown_face(search->crown, face, corner);
        if (!(faces >> face & 1u) || facing(pose, corner) < MIN_FACING ||
            !large_enough(search, pose, corner))
            continue;
        int first = scan->count;
        for (int side = 0; side < 4; side++)
            search_border(search, pose, corner, 4 * face + side, points, reach, precise, scan);
        drop_strangers(scan, first);
    }
    if (precise && !search->keep_blurred)
        drop_blurred(scan, work);
}

/* The face's tag with the ring of white modules that belongs to it. */
static void with_white(const rg_crown *crown, int face, rg_vec3 corner[4])
{
    rg_crown wide = *crown;
    wide.tag_size_mm *= (double)RG_TAG_MODULES / RG_TAG_BORDER_MODULES;
    rg_crown_face(&wide, face, corner);
}

bool rg_crown_box(const rg_crown *crown, const rg_lens *lens, const rg_pose *pose, int box[4])
{
    /* cppcheck-suppress duplicateAssignExpression ; both begin at the far end */
    double x0 = INFINITY, y0 = INFINITY, x1 = -INFINITY, y1 = -INFINITY;
    for (int face = 0; face < RG_FACES; face++) {
        rg_vec3 corner[4];
        with_white(crown, face, corner);
        if (facing(pose, corner) <= 0)
            continue;
        for (int i = 0; i < 4; i++) {
            rg_vec2 p;
            if (!rg_lens_project(lens, rg_pose_apply(pose, corner[i]), &p))
                return false;
            x0 = fmin(x0, p.x), x1 = fmax(x1, p.x);
            y0 = fmin(y0, p.y), y1 = fmax(y1, p.y);
        }
    }
    bool seen = x0 > -1e6 && y0 > -1e6 && x1 < 1e6 && y1 < 1e6;
    if (seen) {
        box[0] = (int)floor(x0), box[1] = (int)floor(y0);
        box[2] = (int)ceil(x1), box[3] = (int)ceil(y1);
    }
    return seen;
}
