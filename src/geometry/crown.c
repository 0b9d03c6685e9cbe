/*
 * crown.c - the cup's pose from its index crown; the method is in crown.h.
 *
 * Rounds: (1) and (2) wide searches, positions at half level; (3) a narrow search with the
 * blurred-step fit, repeated until the pose is still. After each round the
 * pose is fitted with Tukey's biweight (A. E. Beaton and J. W. Tukey,
 * Technometrics 16 (1974) 147-185; c = 4.685 times the MAD scale).
 *
 * Covariance: points along one border err together (printing, paper, light),
 * so the plain sigma^2 (J^T J)^-1 of hundreds of points would promise too
 * much. Point errors are taken as a random part s_p, independent, and a part
 * s_b common to a border; s_b comes from the scatter of the borders' mean
 * residuals, with a floor. With A = J^T W J, the covariance is
 * A^-1 [sum_b (s_p^2 sum g g^T + s_b^2 G_b G_b^T)] A^-1, G_b the sum of the
 * weighted gradients of border b (the cluster form of K.-Y. Liang and
 * S. L. Zeger, Biometrika 73 (1986) 13-22, with a modelled inner variance).
 *
 * A pose must not hang on one border: what hides the lower borders of the
 * tags has an edge too, and when the upper ones are cut off nothing else
 * would tell. Each border is left out in turn; when the cup's place is then
 * open by pixels the pose is refused. On the sample frames, cut further by 25
 * to 60 rows, poses wrong by up to metres are told from right ones by factors
 * of a thousand.
 *
 * One flat tag has two poses. When only one tag is known, both are refined
 * and the one that explains the picture better is kept; when both explain it
 * about as well and no other face decides, the pose is refused.
 */
#include "rimglow/crown.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_linalg.h>

#include "border.h"
#include "rimglow/memory.h"
#include "rimglow/rim.h"
#include "rimglow/stats.h"

enum {
    CROWN_NUMBERS = 97, /* 6 * 96 + 5 = 581 < 587 tags */
    ENOUGH_ON_BORDER = 6,
    SCALE_SAMPLE = 128, /* residuals that make a robust scale */
    GUESSES = 7,        /* turns tried about each axis */
    ALL_FACES = (1 << RG_FACES) - 1,
    GUESS_POINTS = 8, /* per border when a guess is judged */
    REPEATS_MAX = 4   /* of the last round */
};

static const double TUKEY = 4.685;         /* 95 % efficiency on normal data */
static const double HUBER = 1.345;         /* the same */
static const double MIN_SCALE_PX = 0.02;   /* of the residuals; JPEG and noise never allow less */
static const double MISSING_PX = 1.0;      /* cost of an expected point that was not found */
static const double SAME_POSE_RAD = 0.02;  /* two fits that came to one pose */
static const double AMBIGUOUS_RATIO = 1.3; /* of the two poses' residuals */
static const double PRIOR_PX = 0.3;        /* weight of the prior, as one point's error */
static const double PRIOR_RAD = 0.03;      /* how far the start may be off */
static const double PRIOR_MM = 2.0;
static const double STILL_MM = 0.001;    /* of a fit that has come to its end */
static const double ONE_BORDER_PX = 2.0; /* of the cup's place, held by one border alone */
static const double BORDER_FLOOR_PX = 0.03;
static const double GUESS_STEP_DEG = 4.0;
static const double GUESS_REACH_PX = 6.0;
static const double MIN_AGREEING = 0.5;  /* part of the expected points that must agree */
static const double SURE_AGREEING = 0.8; /* below that part, other starts are tried, */
static const double TWO_AGREEING = 0.6;  /* below this one where two faces agree */

void rg_crown_face(const rg_crown *crown, int j, rg_vec3 corner[4])
{
    rg_vec3 out = rg_rim_direction(60.0 * j);
    rg_vec3 right = rg_vec3_make(-out.y, out.x, 0.0); /* as a reader before the face sees it */
    double half = 0.5 * crown->tag_size_mm;
    static const double sx[4] = {-1.0, 1.0, 1.0, -1.0}, sz[4] = {1.0, 1.0, -1.0, -1.0};
    for (int i = 0; i < 4; i++)
        corner[i] = rg_vec3_make(crown->apothem_mm * out.x + sx[i] * half * right.x,
                                 crown->apothem_mm * out.y + sx[i] * half * right.y,
                                 crown->centre_height_mm + sz[i] * half);
}

rg_code rg_crown_check(const rg_crown *crown, rg_error *err)
{
    if (crown->number < 0 || crown->number >= CROWN_NUMBERS)
        return rg_fail(err, RG_BAD_DATA, "crown: number %d; crowns are numbered 0 to %d",
                       crown->number, CROWN_NUMBERS - 1);
    if (!(crown->apothem_mm > 0.0 && crown->apothem_mm < 200.0))
        return rg_fail(err, RG_BAD_DATA,
                       "crown: apothem %g mm; give axis to face, above 0 and below 200 mm",
                       crown->apothem_mm);
    double face = 2.0 * crown->apothem_mm * tan(RG_PI / 6.0);
    if (!(crown->tag_size_mm > 0.0 && crown->tag_size_mm < face))
        return rg_fail(err, RG_BAD_DATA,
                       "crown: tag size %g mm; a face of apothem %g mm is %.2f mm wide and must "
                       "leave white beside the tag",
                       crown->tag_size_mm, crown->apothem_mm, face);
    if (!(fabs(crown->centre_height_mm) < 500.0))
        return rg_fail(err, RG_BAD_DATA, "crown: tag centre height %g mm; give a value within 500",
                       crown->centre_height_mm);
    return RG_OK;
}

/* ---------------------------------------------------------------- working memory */

enum { POINTS_MAX = RG_BORDERS * RG_BORDER_POINTS };

typedef struct workspace {
    rg_border_scan scan[2];
    rg_border_scan *best, *other; /* point at the two */
    double at_pose[POINTS_MAX], residual[POINTS_MAX], sorted[POINTS_MAX];
    double gradient[POINTS_MAX][6];
    rg_error fault; /* RG_INTERNAL: a fit ran out of memory, so that its failing says nothing */
} workspace;

/* ---------------------------------------------------------------- which tags */

typedef struct usable {
    int count;
    const rg_tag *tag[RG_FACES];
} usable;

static double shortest_side(const rg_tag *t)
{
    double least = HUGE_VAL;
    for (int i = 0; i < 4; i++) {
        rg_vec2 a = t->corner[i], b = t->corner[(i + 1) % 4];
        least = fmin(least, hypot(a.x - b.x, a.y - b.y));
    }
    return least;
}

static void refuse(rg_crown_pose *r, rg_pose_state state, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void refuse(rg_crown_pose *r, rg_pose_state state, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    vsnprintf(r->reason, sizeof r->reason, format, args);
    va_end(args);
    r->state = state;
}

/* What the tag list holds, for the verdict on it. -1: none. */
typedef struct census {
    int foreign, foreign_cut; /* id of another crown; one read from a completed border */
    int twice;                /* id of this crown seen twice */
    int small;                /* tags of this crown below the size limit */
    double largest_px;        /* side of the largest of them */
} census;

static census take_census(const rg_crown *crown, double min_side, const rg_tag_list *tags,
                          usable *use)
{
    census c = {.foreign = -1, .foreign_cut = -1, .twice = -1};
    unsigned seen = 0;
    use->count = 0;
    for (int i = 0; i < tags->count; i++) {
        const rg_tag *t = &tags->tag[i];
        if (t->id / RG_FACES != crown->number) {
            *(t->cut ? &c.foreign_cut : &c.foreign) = t->id;
            continue;
        }
        unsigned bit = 1u << t->id % RG_FACES;
        if (seen & bit)
            c.twice = t->id;
        else if (shortest_side(t) >= min_side)
            use->tag[use->count++] = t;
        else
            c.small++;
        c.largest_px = fmax(c.largest_px, shortest_side(t));
        seen |= bit;
    }
    return c;
}

static void refuse_foreign(const rg_crown *crown, int id, rg_crown_pose *r)
{
    if (r->tags_seen > 0)
        refuse(
            r, RG_POSE_TWO_CROWNS,
            "tags of crown %d and of crown %d (tag %d) are in the picture; cover the other crown",
            crown->number, id / RG_FACES, id);
    else
        refuse(r, RG_POSE_WRONG_CROWN,
               "tag %d belongs to crown %d, not to crown %d; put on the right crown or correct the "
               "crown number of this pad",
               id, id / RG_FACES, crown->number);
}

/* Fills `use`; the state is RG_POSE_OK when the tags can start a pose. */
static void choose_tags(const rg_crown *crown, const rg_crown_limits *limits,
                        const rg_tag_list *tags, usable *use, rg_crown_pose *r)
{
    census c = take_census(crown, limits->min_tag_side_px, tags, use);
    r->tags_seen = use->count + c.small;
    /* An id read from a completed border is weak evidence against a crown that is seen. */
    int foreign = c.foreign >= 0 || r->tags_seen > 0 ? c.foreign : c.foreign_cut;
    if (c.twice >= 0)
        refuse(r, RG_POSE_TWO_CROWNS,
               "tag %d is in the picture twice; take away the second crown or its reflection",
               c.twice);
    else if (foreign >= 0)
        refuse_foreign(crown, foreign, r);
    else if (r->tags_seen == 0)
        refuse(r, RG_POSE_NO_CROWN,
               "no tag of the crown was read; bring the whole of one tag into the picture, in "
               "focus and evenly lit");
    else if (use->count == 0)
        refuse(r, RG_POSE_TOO_FEW_EDGES,
               "the crown's tags are at most %.0f px wide, less than %.0f px; move the camera "
               "closer",
               c.largest_px, limits->min_tag_side_px);
}

/* ---------------------------------------------------------------- start pose */

typedef struct starts {
    int count;
    unsigned faces; /* bit j: settle on face j first; 0: search all at once */
    rg_pose pose[RG_POSE_CANDIDATES];
} starts;

static void start_from_tags(const rg_crown *crown, const rg_lens *lens, const usable *use,
                            starts *start, rg_error *fault)
{
    rg_error why;
    rg_vec3 body[4 * RG_FACES];
    rg_vec2 pixel[4 * RG_FACES];
    rg_pose_candidate candidate[RG_POSE_CANDIDATES];
    int count;
    start->count = 0;
    start->faces = 0;
    for (int i = 0; i < use->count; i++) {
        rg_crown_face(crown, use->tag[i]->id % RG_FACES, body + 4 * i);
        memcpy(pixel + 4 * i, use->tag[i]->corner, 4 * sizeof *pixel);
    }
    /* One flat tag may start far off; several are near enough for all faces. */
    if (use->count == 1)
        start->faces = 1u << (use->tag[0]->id % RG_FACES);
    rg_code code = rg_pose_candidates(lens, body, pixel, 4 * use->count, candidate, &count, &why);
    if (code == RG_INTERNAL)
        *fault = why;
    if (code != RG_OK)
        return;
    start->count = use->count == 1 ? count : 1; /* two faces leave no second pose */
    start->count = start->count > 2 ? 2 : start->count;
    for (int i = 0; i < start->count; i++)
        start->pose[i] = candidate[i].pose;
}

/* ---------------------------------------------------------------- refinement */

typedef struct refined {
    rg_pose pose;
    bool held;      /* enough points to hold a pose */
    double cost_px; /* rms over all expected points, misses counted */
    double rms_px;  /* of the accepted points */
    int accepted, expected;
    int on_border[RG_BORDERS];
} refined;

typedef enum loss { LOSS_SQUARE, LOSS_HUBER, LOSS_TUKEY } loss;

enum { PASSES = 3 };
typedef struct round_plan {
    bool seen_only; /* faces whose tag was read; else all faces in view */
    int points;
    double reach_px;
    bool precise;
    loss pass[PASSES];
} round_plan;

static const round_plan rounds[] = {
    {true, 12, 14.0, false, {LOSS_SQUARE, LOSS_HUBER, LOSS_TUKEY}},
    {false, 12, 14.0, false, {LOSS_HUBER, LOSS_HUBER, LOSS_TUKEY}},
    {false, 24, 7.0, true, {LOSS_HUBER, LOSS_TUKEY, LOSS_TUKEY}},
};
enum { ROUNDS = sizeof rounds / sizeof rounds[0] };

static double weight_of(loss kind, double u)
{
    double h = fabs(u);
    if (kind == LOSS_TUKEY)
        return h < TUKEY ? (1.0 - u * u / (TUKEY * TUKEY)) * (1.0 - u * u / (TUKEY * TUKEY)) : 0.0;
    return kind == LOSS_SQUARE || h <= HUBER ? 1.0 : HUBER / h;
}

/* 1.4826 times the median absolute residual; a thinned sample will do. */
static double robust_scale(const double *residual, int n, double *work)
{
    int stride = 1 + n / SCALE_SAMPLE;
    size_t m = 0;
    for (int i = 0; i < n; i += stride)
        work[m++] = fabs(residual[i]);
    return fmax(1.4826 * rg_median_inplace(work, m), MIN_SCALE_PX);
}

static void set_weights(rg_border_scan *scan, const double *residual, loss kind, double scale)
{
    for (int i = 0; i < scan->count; i++)
        scan->sighting[i].weight = weight_of(kind, residual[i] / scale);
}

/* Solves the 6x6 system a x = b, symmetric positive; false when singular. */
static bool solve6(double a[36], double x[6])
{
    gsl_matrix_view m = gsl_matrix_view_array(a, 6, 6);
    gsl_vector_view v = gsl_vector_view_array(x, 6);
    return gsl_linalg_cholesky_decomp1(&m.matrix) == GSL_SUCCESS &&
           gsl_linalg_cholesky_svx(&m.matrix, &v.vector) == GSL_SUCCESS;
}

/* The weighted step of the linearised problem, held back by a loose prior
 * (three lines of one flat tag hardly hold a pose); residual gets what it leaves. */
static bool linear_pass(const rg_border_scan *scan, double (*gradient)[6], const double *at_pose,
                        double *residual, double x[6])
{
    double a[36] = {0};
    for (int r = 0; r < 6; r++) {
        double prior = PRIOR_PX / (r < 3 ? PRIOR_RAD : PRIOR_MM);
        a[7 * r] = prior * prior;
        x[r] = 0.0;
    }
    for (int i = 0; i < scan->count; i++) {
        double w = scan->sighting[i].weight;
        const double *g = gradient[i];
        for (int r = 0; r < 6 && w > 0.0; r++) {
            x[r] -= w * g[r] * at_pose[i];
            for (int k = 0; k <= r; k++)
                a[6 * r + k] += w * g[r] * g[k];
        }
    }
    for (int r = 0; r < 6; r++)
        for (int k = 0; k < r; k++)
            a[6 * k + r] = a[6 * r + k];
    if (!solve6(a, x))
        return false;
    for (int i = 0; i < scan->count; i++) {
        residual[i] = at_pose[i];
        for (int r = 0; r < 6; r++)
            residual[i] += gradient[i][r] * x[r];
    }
    return true;
}

/* Finds the weights on the linearised problem (cheap), then the pose. */
static bool fit_round(const rg_lens *lens, rg_border_scan *scan, const round_plan *plan,
                      rg_pose *pose, workspace *w)
{
    int n = scan->count;
    if (n < 3 * ENOUGH_ON_BORDER)
        return false;
    for (int i = 0; i < n; i++) {
        w->at_pose[i] = rg_posefit_residual(lens, &scan->sighting[i], pose);
        if (!rg_posefit_gradient(lens, &scan->sighting[i], pose, w->gradient[i]))
            return false;
    }
    double x[6] = {0};
    memcpy(w->residual, w->at_pose, (size_t)n * sizeof *w->residual);
    for (int pass = 0; pass < PASSES; pass++) {
        double scale = robust_scale(w->residual, n, w->sorted);
        set_weights(scan, w->residual, plan->pass[pass], scale);
        if (!linear_pass(scan, w->gradient, w->at_pose, w->residual, x))
            return false;
    }
    set_weights(scan, w->residual, plan->pass[PASSES - 1], robust_scale(w->residual, n, w->sorted));
    *pose = rg_posefit_move(pose, x);
    return true;
}

/* How badly the picture agrees with a pose, px: rms over the border points
 * that it says are in view, each at most the reach. HUGE_VAL for none. */
static double misfit(const rg_border_search *search, const rg_pose *pose, rg_border_scan *scan)
{
    const double reach = GUESS_REACH_PX;
    rg_border_find(search, pose, ALL_FACES, GUESS_POINTS, reach, false, scan);
    if (scan->expected < 4 * GUESS_POINTS)
        return HUGE_VAL;
    double sum = (scan->expected - scan->count) * reach * reach;
    for (int i = 0; i < scan->count; i++) {
        double r = rg_posefit_residual(search->lens, &scan->sighting[i], pose);
        sum += fmin(r * r, reach * reach);
    }
    return sqrt(sum / scan->expected);
}

/* The pose turned by pitch and yaw (degrees, about the camera's axes) about the middle of a face.
 */
static rg_pose turned(const rg_crown *crown, const rg_pose *pose, int face, double pitch,
                      double yaw)
{
    rg_vec3 corner[4];
    rg_crown_face(crown, face, corner);
    rg_vec3 middle = rg_vec3_scale(rg_vec3_add(corner[0], corner[2]), 0.5);
    rg_vec3 at = rg_pose_apply(pose, middle);
    rg_pose out;
    out.R =
        rg_mat3_mul(rg_rodrigues(rg_vec3_make(rg_radians(pitch), rg_radians(yaw), 0.0)), pose->R);
    out.t = rg_vec3_sub(at, rg_mat3_apply(out.R, middle));
    return out;
}

/* A tag cut by the picture or partly hidden is read, but its outline is wrong
 * on that side, and a face seen nearly square betrays its tilt only by small
 * changes of the outline: the start can be ten degrees off. Tries turns about
 * the tag and leaves the pose that agrees best with the whole picture as the
 * only start. */
static void start_from_guesses(const rg_border_search *search, const usable *use, workspace *w,
                               starts *start)
{
    double best = HUGE_VAL;
    starts base = *start;
    int face = use->tag[0]->id % RG_FACES;
    for (int g = 0; g < base.count * GUESSES * GUESSES; g++) {
        double pitch = GUESS_STEP_DEG * (g / GUESSES % GUESSES - GUESSES / 2);
        double yaw = GUESS_STEP_DEG * (g % GUESSES - GUESSES / 2);
        rg_pose pose = turned(search->crown, &base.pose[g / (GUESSES * GUESSES)], face, pitch, yaw);
        rg_border_find(search, &pose, ALL_FACES, rounds[1].points, rounds[1].reach_px, false,
                       w->other);
        if (!fit_round(search->lens, w->other, &rounds[1], &pose, w))
            continue;
        double m = misfit(search, &pose, w->other);
        if (m < best) {
            best = m;
            start->pose[0] = pose;
        }
    }
    start->count = best < HUGE_VAL;
    start->faces = 0;
}

static void judge(const rg_lens *lens, const rg_border_scan *scan, refined *f)
{
    double cost = 0.0, sum = 0.0;
    for (int i = 0; i < scan->count; i++) {
        double r = rg_posefit_residual(lens, &scan->sighting[i], &f->pose);
        cost += fmin(r * r, MISSING_PX * MISSING_PX);
        if (scan->sighting[i].weight > 0.0) {
            sum += r * r;
            f->accepted++;
            f->on_border[scan->point[i].border]++;
        }
    }
    cost += (scan->expected - scan->count) * MISSING_PX * MISSING_PX;
    f->expected = scan->expected;
    f->cost_px = sqrt(cost / fmax(scan->expected, 1));
    f->rms_px = sqrt(sum / fmax(f->accepted, 1));
}

/* How far the crown's faces moved, at most. */
static bool still(const rg_crown *crown, const rg_pose *before, const rg_pose *now)
{
    rg_mat3 turn = rg_mat3_mul(now->R, rg_mat3_transpose(before->R));
    double reach = hypot(crown->apothem_mm, crown->centre_height_mm);
    return rg_vec3_norm(rg_vec3_sub(now->t, before->t)) +
               reach * rg_vec3_norm(rg_rodrigues_inverse(turn)) <
           STILL_MM;
}

/* The last round is repeated until the pose is still: what it ends at must not tell from where it started. */
static void refine(const rg_border_search *search, unsigned seen, const rg_pose *start,
                   rg_border_scan *scan, workspace *w, refined *f)
{
    memset(f, 0, sizeof *f);
    f->pose = *start;
    f->cost_px = HUGE_VAL;
    for (int i = seen ? 0 : 1; i < ROUNDS; i++) {
        rg_border_find(search, &f->pose, rounds[i].seen_only ? seen : ALL_FACES, rounds[i].points,
                       rounds[i].reach_px, rounds[i].precise, scan);
        if (!fit_round(search->lens, scan, &rounds[i], &f->pose, w))
            return;
    }
    for (int i = 0; i < REPEATS_MAX; i++) {
        const round_plan *last = &rounds[ROUNDS - 1];
        rg_pose before = f->pose;
        rg_border_find(search, &f->pose, ALL_FACES, last->points, last->reach_px, true, scan);
        if (!fit_round(search->lens, scan, last, &f->pose, w))
            return;
        if (still(search->crown, &before, &f->pose))
            break;
    }
    f->held = true;
    judge(search->lens, scan, f);
}

/* ---------------------------------------------------------------- covariance */

static double border_scatter(const rg_lens *lens, const rg_border_scan *scan, const refined *f,
                             double point_sigma)
{
    double sum[RG_BORDERS] = {0}, weight[RG_BORDERS] = {0}, excess = 0.0;
    int borders = 0;
    for (int i = 0; i < scan->count; i++) {
        const rg_sighting *s = &scan->sighting[i];
        sum[scan->point[i].border] += s->weight * rg_posefit_residual(lens, s, &f->pose);
        weight[scan->point[i].border] += s->weight;
    }
    for (int b = 0; b < RG_BORDERS; b++) {
        if (f->on_border[b] < ENOUGH_ON_BORDER)
            continue;
        double mean = sum[b] / weight[b];
        excess += mean * mean - point_sigma * point_sigma / f->on_border[b];
        borders++;
    }
    /* The six parameters absorb about three border means (the other three go into slopes). */
    double variance = excess / fmax(borders - 3, 1);
    return fmax(sqrt(fmax(variance, 0.0)), BORDER_FLOOR_PX);
}

/* inverse of the symmetric positive 6x6 a, in place; false when singular. */
static bool invert6(double a[36])
{
    gsl_matrix_view m = gsl_matrix_view_array(a, 6, 6);
    return gsl_linalg_cholesky_decomp1(&m.matrix) == GSL_SUCCESS &&
           gsl_linalg_cholesky_invert(&m.matrix) == GSL_SUCCESS;
}

/* Largest standard deviation, px, of the picture of the cup's origin, from a
 * 6x6 covariance. */
static double origin_sigma(const rg_lens *lens, const rg_pose *pose, const double covariance[36])
{
    double worst = 0.0;
    for (int axis = 0; axis < 2; axis++) {
        rg_sighting s = {.normal = {axis == 0, axis == 1}};
        double g[6], sum = 0.0;
        if (!rg_posefit_gradient(lens, &s, pose, g))
            return HUGE_VAL;
        for (int k = 0; k < 36; k++)
            sum += g[k / 6] * covariance[k] * g[k % 6];
        worst = fmax(worst, sum);
    }
    return sqrt(worst);
}

static bool covariance(const rg_lens *lens, const rg_border_scan *scan, const refined *f,
                       double out[6][6])
{
    double a[36] = {0}, inner[36] = {0}, cluster[RG_BORDERS][6] = {{0}}, g[6];
    double point = f->rms_px * sqrt(f->accepted / fmax(f->accepted - 6, 1));
    double scatter = border_scatter(lens, scan, f, point);
    for (int i = 0; i < scan->count; i++) {
        const rg_sighting *s = &scan->sighting[i];
        if (!(s->weight > 0.0) || !rg_posefit_gradient(lens, s, &f->pose, g))
            continue;
        for (int r = 0; r < 6; r++) {
            cluster[scan->point[i].border][r] += s->weight * g[r];
            for (int k = 0; k < 6; k++) {
                a[6 * r + k] += s->weight * g[r] * g[k];
                inner[6 * r + k] += point * point * s->weight * s->weight * g[r] * g[k];
            }
        }
    }
    for (int b = 0; b < RG_BORDERS; b++)
        for (int r = 0; r < 6; r++)
            for (int k = 0; k < 6; k++)
                inner[6 * r + k] += scatter * scatter * cluster[b][r] * cluster[b][k];
    if (!invert6(a))
        return false;
    for (int r = 0; r < 6; r++)
        for (int k = 0; k < 6; k++) {
            out[r][k] = 0.0;
            for (int i = 0; i < 6; i++)
                for (int j = 0; j < 6; j++)
                    out[r][k] += a[6 * r + i] * inner[6 * i + j] * a[6 * j + k];
        }
    return true;
}

/* Standard uncertainty, px, of the picture of the cup's origin when one border
 * is left out, for the border that matters most: what that border alone holds. */
static double hangs_on_one(const rg_lens *lens, const rg_border_scan *scan, const refined *f)
{
    double all[36] = {0}, part[RG_BORDERS][36] = {{0}}, g[6], worst = 0.0;
    for (int i = 0; i < scan->count; i++) {
        const rg_sighting *s = &scan->sighting[i];
        if (!(s->weight > 0.0) || !rg_posefit_gradient(lens, s, &f->pose, g))
            continue;
        for (int k = 0; k < 36; k++) {
            double a = s->weight * g[k / 6] * g[k % 6];
            all[k] += a;
            part[scan->point[i].border][k] += a;
        }
    }
    for (int b = 0; b < RG_BORDERS; b++) {
        double rest[36];
        if (f->on_border[b] == 0)
            continue;
        for (int k = 0; k < 36; k++)
            rest[k] = all[k] - part[b][k];
        worst = fmax(worst, invert6(rest) ? origin_sigma(lens, &f->pose, rest) : HUGE_VAL);
    }
    return f->rms_px * worst;
}

/* ---------------------------------------------------------------- result */

static double median_of(const rg_border_scan *scan, double *work, int what)
{
    size_t n = 0;
    for (int i = 0; i < scan->count; i++) {
        const rg_border_point *p = &scan->point[i];
        if (scan->sighting[i].weight > 0.0)
            work[n++] = what == 0 ? p->sigma : what == 1 ? p->black : p->white;
    }
    return n ? rg_median_inplace(work, n) : 0.0;
}

static int faces_with_points(const refined *f)
{
    int faces = 0;
    for (int j = 0; j < RG_FACES; j++) {
        int points = 0;
        for (int side = 0; side < 4; side++)
            points += f->on_border[4 * j + side];
        faces += points >= ENOUGH_ON_BORDER;
    }
    return faces;
}

static void report(const rg_lens *lens, const rg_border_scan *scan, const refined *f, double *work,
                   rg_crown_pose *r)
{
    r->pose = f->pose;
    r->rms_px = f->rms_px;
    r->points = f->accepted;
    r->points_rejected = scan->count - f->accepted;
    for (int b = 0; b < RG_BORDERS; b++)
        r->edges_used += f->on_border[b] >= ENOUGH_ON_BORDER;
    r->edge_sigma_px = median_of(scan, work, 0);
    r->black_light = median_of(scan, work, 1);
    r->white_light = median_of(scan, work, 2);
    if (!covariance(lens, scan, f, r->covariance))
        refuse(r, RG_POSE_TOO_FEW_EDGES,
               "the tag borders found do not hold all six numbers of the pose; show more of the "
               "crown");
}

/* The other of a flat tag's two poses explains the picture about as well. */
static bool ambiguous(const refined *f, const refined *second)
{
    rg_mat3 between = rg_mat3_mul(f->pose.R, rg_mat3_transpose(second->pose.R));
    return second->held && faces_with_points(f) == 1 &&
           rg_vec3_norm(rg_rodrigues_inverse(between)) > SAME_POSE_RAD &&
           second->accepted >= SURE_AGREEING * f->accepted &&
           second->rms_px < AMBIGUOUS_RATIO * f->rms_px;
}

/* Applies the limits to a refined pose. */
static void accept(const rg_crown_limits *limits, const refined *f, const refined *second,
                   double one_border_px, rg_crown_pose *r)
{
    if (!rg_mat3_is_rotation(f->pose.R, 1e-6))
        refuse(r, RG_POSE_NOT_A_ROTATION,
               "the pose is not a rotation; check the crown's sizes and the lens values");
    else if (r->edges_used < limits->min_edges)
        refuse(r, RG_POSE_TOO_FEW_EDGES,
               "%d tag borders were found, %d are needed; show more of the crown, in focus",
               r->edges_used, limits->min_edges);
    else if (f->accepted < MIN_AGREEING * f->expected)
        refuse(r, RG_POSE_TOO_FEW_EDGES,
               "only %d of %d border points in view agree with the pose; uncover the crown and "
               "bring it wholly into the picture",
               f->accepted, f->expected);
    else if (ambiguous(f, second))
        refuse(r, RG_POSE_TOO_FEW_EDGES,
               "one flat tag, and two poses fit it (%.3f and %.3f px); show a second face of the "
               "crown",
               f->rms_px, second->rms_px);
    else if (!(one_border_px < ONE_BORDER_PX))
        refuse(r, RG_POSE_TOO_FEW_EDGES,
               "without one of its %d tag borders the pose would be open, so nothing checks that "
               "border; show the upper or lower borders of two tags",
               r->edges_used);
    else if (!(f->rms_px <= limits->max_reprojection_px))
        refuse(
            r, RG_POSE_REPROJECTION,
            "the tag borders miss the pose by %.2f px rms, more than %.2f px; check crown sizes, "
            "lens values and that the paper is flat",
            f->rms_px, limits->max_reprojection_px);
}

static rg_code check_arguments(const rg_crown *crown, const rg_lens *lens, const rg_image *image,
                               const rg_linear *linear, rg_error *err)
{
    rg_code code = rg_crown_check(crown, err);
    if (code != RG_OK)
        return code;
    if (!image->data || image->channels != linear->channels || image->depth != linear->depth)
        return rg_fail(err, RG_INTERNAL,
                       "crown: a picture of %d channels of %d bits with a light table for %d of %d",
                       image->channels, image->depth, linear->channels, linear->depth);
    if (image->width != lens->width || image->full_height != lens->height)
        return rg_fail(err, RG_BAD_DATA,
                       "crown: the picture is %d x %d but the lens values belong to %d x %d; scale "
                       "them or take pictures of that size",
                       image->width, image->full_height, lens->width, lens->height);
    return RG_OK;
}

static void swap_fits(refined fit[2], workspace *w)
{
    refined f = fit[0];
    fit[0] = fit[1];
    fit[1] = f;
    rg_border_scan *s = w->best;
    w->best = w->other;
    w->other = s;
}

static bool better(const refined *a, const refined *b)
{
    return a->held && (!b->held || a->cost_px < b->cost_px);
}

/* Right poses of half hidden crowns agree with 64 % and more of the sample frames' points, to 0.15 px; false ones with less
 * than 57 %, to 0.18 px and more, or with many points badly. */
static bool sure(const rg_crown_limits *limits, const refined *f)
{
    bool two = faces_with_points(f) > 1 && f->rms_px <= limits->max_reprojection_px;
    return f->held && f->accepted >= (two ? TWO_AGREEING : SURE_AGREEING) * f->expected;
}

/* Two faces that agree rule out the mirrored pose. */
static bool settled(const rg_crown_limits *limits, const refined *f)
{
    return sure(limits, f) && faces_with_points(f) > 1;
}

/* Refines the starts; the best ends in fit[0] with its points in w->best. */
static void refine_starts(const rg_border_search *search, const rg_crown_limits *limits,
                          const usable *use, workspace *w, refined fit[2])
{
    starts start;
    memset(fit, 0, 2 * sizeof *fit);
    start_from_tags(search->crown, search->lens, use, &start, &w->fault);
    for (int i = 0; i < start.count && !settled(limits, &fit[0]); i++)
        refine(search, start.faces, &start.pose[i], i ? w->other : w->best, w, &fit[i]);
    if (better(&fit[1], &fit[0]))
        swap_fits(fit, w);
    if (limits->sure_only || sure(limits, &fit[0]))
        return;
    refined guess;
    start_from_guesses(search, use, w, &start);
    if (start.count == 0)
        return;
    refine(search, start.faces, &start.pose[0], w->other, w, &guess);
    if (better(&guess, &fit[0])) {
        fit[1] = guess;
        swap_fits(fit, w);
    }
}

rg_code rg_crown_locate(const rg_crown *crown, const rg_crown_limits *limits, const rg_lens *lens,
                        const rg_image *image, const rg_linear *linear, const rg_tag_list *tags,
                        rg_crown_pose *result, rg_error *err)
{
    memset(result, 0, sizeof *result);
    rg_code code = check_arguments(crown, lens, image, linear, err);
    if (code != RG_OK)
        return code;
    usable use;
    choose_tags(crown, limits, tags, &use, result);
    if (result->state != RG_POSE_OK)
        return RG_OK;
    workspace *w = rg_alloc(1, sizeof *w);
    if (!w)
        return rg_fail(err, RG_INTERNAL, "crown: out of memory for the border points");
    w->best = &w->scan[0];
    w->other = &w->scan[1];
    rg_border_search search = {crown, lens, {image, linear}, limits->min_tag_side_px, false};
    refined fit[2];
    refine_starts(&search, limits, &use, w, fit);
    if (w->fault.code != RG_OK) {
        code = rg_fail(err, w->fault.code, "%s", w->fault.text);
    } else if (limits->sure_only && !sure(limits, &fit[0])) {
        refuse(result, RG_POSE_TOO_FEW_EDGES, "the tags read do not lead to a sure pose");
    } else if (fit[0].held) {
        report(lens, w->best, &fit[0], w->sorted, result);
        if (result->state == RG_POSE_OK)
            accept(limits, &fit[0], &fit[1], hangs_on_one(lens, w->best, &fit[0]), result);
    } else {
        refuse(result, RG_POSE_TOO_FEW_EDGES,
               "a tag was read but its borders were not found; light the crown evenly and focus "
               "on it");
    }
    free(w);
    return code;
}
