/*
 * zhang.c - lens and poses in closed form (Z. Zhang, PAMI 22 (2000) 1330-1334,
 * section 3.1). Pixels are centred on the picture's middle and divided by its
 * longer side first, so that all unknowns have about the same size (R.
 * Hartley, "In defense of the eight-point algorithm", PAMI 19 (1997) 580-593).
 *
 * With columns h_i of a homography and B = A^-T A^-1, a view gives
 * h1' B h2 = 0 and h1' B h1 = h2' B h2; B is the null vector of all of them.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "lensfit.h"
#include "posefit.h"
#include "rimglow/memory.h"

static const double GUESSED_FOCAL = 1.2; /* longer sides: a lens of about 45 degrees */
static const double FOCAL_MIN = 0.1, FOCAL_MAX = 100.0, ASPECT_MAX = 2.0;

/* Work space of a homography: normalised points, and how they were normalised. */
typedef struct scaled {
    double *board;        /* (x, y, 1) each */
    rg_vec2 *pixel;       /* the same points in the picture */
    rg_vec2 origin, mean; /* of board and picture */
    double unit, scale;
} scaled;

static bool scale_points(const rg_view *view, rg_vec2 *plane, scaled *s)
{
    int n = view->corners;
    for (int i = 0; i < n; i++) {
        s->pixel[i] = view->corner[i].pixel;
        plane[i] = view->corner[i].board;
    }
    rg_normalise_points(s->pixel, n, &s->mean, &s->scale);
    rg_normalise_points(plane, n, &s->origin, &s->unit);
    for (int i = 0; i < n; i++) {
        s->board[3 * i] = plane[i].x;
        s->board[3 * i + 1] = plane[i].y;
        s->board[3 * i + 2] = 1.0;
    }
    return s->unit > 0.0 && s->scale > 0.0;
}

/* g maps normalised points; h undoes both normalisations around it. */
static void undo_scales(const scaled *s, const double g[9], double h[9])
{
    const double row[3][2] = {{s->scale, s->mean.x}, {s->scale, s->mean.y}, {0.0, 1.0}};
    for (int r = 0; r < 3; r++) {
        double *to = h + 3 * r;
        for (int k = 0; k < 3; k++)
            to[k] = (r < 2 ? row[r][0] * g[3 * r + k] : 0.0) + row[r][1] * g[6 + k];
        to[0] /= s->unit;
        to[1] /= s->unit;
        to[2] -= to[0] * s->origin.x + to[1] * s->origin.y;
    }
}

/* Unit norm, and positive depth of the points. */
static bool set_size(const rg_view *view, double h[9])
{
    double norm = 0.0, depth = 0.0;
    for (int i = 0; i < 9; i++)
        norm += h[i] * h[i];
    for (int i = 0; i < view->corners; i++)
        depth += h[6] * view->corner[i].board.x + h[7] * view->corner[i].board.y + h[8];
    for (int i = 0; i < 9; i++)
        h[i] *= (depth < 0.0 ? -1.0 : 1.0) / sqrt(norm);
    return isfinite(norm) && norm > 0.0;
}

bool rg_homography(const rg_view *view, double h[9])
{
    size_t n = (size_t)view->corners;
    double g[9];
    scaled s = {.board = rg_alloc(3 * n, sizeof *s.board), .pixel = rg_alloc(n, sizeof *s.pixel)};
    rg_vec2 *plane = rg_alloc(n, sizeof *plane);
    bool done = s.board && s.pixel && plane && scale_points(view, plane, &s) &&
                rg_dlt(s.board, s.pixel, view->corners, 3, g);
    free(plane);
    free(s.board);
    free(s.pixel);
    if (!done)
        return false;
    undo_scales(&s, g, h);
    return set_size(view, h);
}

/* Columns of h with pixels in units of the picture; the first two have unit size. */
typedef struct columns {
    double c[3][3]; /* c[k]: column k */
} columns;

static columns centred(const double h[9], const rg_lens *lens)
{
    double side = lens->width > lens->height ? lens->width : lens->height;
    double x0 = 0.5 * (lens->width - 1), y0 = 0.5 * (lens->height - 1), size = 0.0;
    columns o;
    for (int k = 0; k < 3; k++) {
        o.c[k][0] = (h[k] - x0 * h[6 + k]) / side;
        o.c[k][1] = (h[3 + k] - y0 * h[6 + k]) / side;
        o.c[k][2] = h[6 + k];
        for (int i = 0; k < 2 && i < 3; i++)
            size += o.c[k][i] * o.c[k][i];
    }
    for (int i = 0; i < 9; i++)
        o.c[i / 3][i % 3] /= sqrt(0.5 * size);
    return o;
}

/* Coefficients of hi' B hj in b = (B11, B12, B22, B13, B23, B33). */
static void conic_row(const double a[3], const double b[3], double v[6])
{
    v[0] = a[0] * b[0];
    v[1] = a[0] * b[1] + a[1] * b[0];
    v[2] = a[1] * b[1];
    v[3] = a[2] * b[0] + a[0] * b[2];
    v[4] = a[2] * b[1] + a[1] * b[2];
    v[5] = a[2] * b[2];
}

/* Adds the two equations of a view to the normal matrix of the n unknowns used. */
static void add_view(const columns *o, const int *unknown, size_t n, double *normal)
{
    double v12[6], v11[6], v22[6];
    conic_row(o->c[0], o->c[1], v12);
    conic_row(o->c[0], o->c[0], v11);
    conic_row(o->c[1], o->c[1], v22);
    for (size_t r = 0; r < n; r++)
        for (size_t k = 0; k < n; k++) {
            double dr = v11[unknown[r]] - v22[unknown[r]], dk = v11[unknown[k]] - v22[unknown[k]];
            normal[n * r + k] += v12[unknown[r]] * v12[unknown[k]] + dr * dk;
        }
}

/* The conic that the views agree on. */
static bool conic(const double (*h)[9], int views, bool skew, const rg_lens *lens, double b[6])
{
    static const int all[6] = {0, 1, 2, 3, 4, 5}, straight[5] = {0, 2, 3, 4, 5};
    const int *unknown = skew ? all : straight;
    size_t n = skew ? 6 : 5;
    double normal[36] = {0}, values[6], vectors[36];
    for (int i = 0; i < views; i++) {
        columns o = centred(h[i], lens);
        add_view(&o, unknown, n, normal);
    }
    if (!rg_eigen_symmetric(normal, n, values, vectors))
        return false;
    memset(b, 0, 6 * sizeof *b);
    for (size_t i = 0; i < n; i++)
        b[unknown[i]] = vectors[n * i + n - 1];
    return values[n - 2] > 1e-12 * values[0];
}

/* Lens values from the conic (Zhang's appendix B); false when it is none of a camera. */
static bool lens_of(const double b[6], rg_lens_guess *guess)
{
    rg_lens *l = &guess->lens;
    double side = l->width > l->height ? l->width : l->height;
    double minor = b[0] * b[2] - b[1] * b[1];
    double v0 = (b[1] * b[3] - b[0] * b[4]) / minor;
    double lambda = b[5] - (b[3] * b[3] + v0 * (b[1] * b[3] - b[0] * b[4])) / b[0];
    double fx = sqrt(lambda / b[0]), fy = sqrt(lambda * b[0] / minor);
    double skew = -b[1] * fx * fx * fy / lambda;
    double u0 = skew * v0 / fy - b[3] * fx * fx / lambda;
    bool sane = fx > FOCAL_MIN && fx < FOCAL_MAX && fy > FOCAL_MIN && fy < FOCAL_MAX &&
                fx < ASPECT_MAX * fy && fy < ASPECT_MAX * fx && fabs(u0) < 0.5 && fabs(v0) < 0.5 &&
                fabs(skew) < fx;
    if (!sane)
        return false;
    l->fx = fx * side;
    l->fy = fy * side;
    l->cx = u0 * side + 0.5 * (l->width - 1);
    l->cy = v0 * side + 0.5 * (l->height - 1);
    guess->skew = skew * side;
    return true;
}

/* Rotation and place of a board from its homography and the lens. */
static bool pose_of(const double h[9], const rg_lens_guess *guess, rg_pose *pose)
{
    const rg_lens *l = &guess->lens;
    rg_vec3 r[3];
    for (int k = 0; k < 3; k++) {
        double y = (h[3 + k] - l->cy * h[6 + k]) / l->fy;
        r[k] = rg_vec3_make((h[k] - guess->skew * y - l->cx * h[6 + k]) / l->fx, y, h[6 + k]);
    }
    double size = 0.5 * (rg_vec3_norm(r[0]) + rg_vec3_norm(r[1]));
    if (!(size > 0.0))
        return false;
    for (int k = 0; k < 3; k++)
        r[k] = rg_vec3_scale(r[k], 1.0 / size);
    pose->t = r[2];
    r[2] = rg_vec3_cross(r[0], r[1]);
    rg_mat3 a = {{{r[0].x, r[1].x, r[2].x}, {r[0].y, r[1].y, r[2].y}, {r[0].z, r[1].z, r[2].z}}};
    return rg_nearest_rotation(&a, &pose->R);
}

static bool poses_of(const double (*h)[9], int views, rg_lens_guess *guess)
{
    for (int i = 0; i < views; i++)
        if (!pose_of(h[i], guess, &guess->pose[i]))
            return false;
    return true;
}

bool rg_zhang_start(const double (*h)[9], int views, bool skew, rg_lens_guess *guess)
{
    double b[6];
    rg_lens_guess found = *guess;
    if (!conic(h, views, skew, &guess->lens, b) || !lens_of(b, &found) ||
        !poses_of(h, views, &found))
        return false;
    *guess = found;
    return true;
}

/* B = diag(w, w, 1): both equations of all views for w alone. */
static double plain_focal(const double (*h)[9], int views, const rg_lens *lens)
{
    double ac = 0.0, aa = 0.0;
    for (int i = 0; i < views; i++) {
        columns o = centred(h[i], lens);
        const double *p = o.c[0], *q = o.c[1];
        double a[2] = {p[0] * q[0] + p[1] * q[1],
                       p[0] * p[0] + p[1] * p[1] - q[0] * q[0] - q[1] * q[1]};
        double c[2] = {p[2] * q[2], p[2] * p[2] - q[2] * q[2]};
        for (int k = 0; k < 2; k++) {
            ac += a[k] * c[k];
            aa += a[k] * a[k];
        }
    }
    double focal = sqrt(-aa / ac);
    return focal > FOCAL_MIN && focal < FOCAL_MAX ? focal : GUESSED_FOCAL;
}

void rg_plain_start(const double (*h)[9], int views, rg_lens_guess *guess)
{
    rg_lens *l = &guess->lens;
    double side = l->width > l->height ? l->width : l->height;
    l->fx = l->fy = plain_focal(h, views, l) * side;
    l->cx = 0.5 * (l->width - 1);
    l->cy = 0.5 * (l->height - 1);
    guess->skew = 0.0;
    poses_of(h, views, guess);
}
