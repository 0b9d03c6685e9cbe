/*
 * traced.c - the renderer against path-traced frames: every view of the sample sweeps is rendered anew
 * with the path tracer's camera and gap (samples/truth), both sets go through the same measurement as
 * far as the light of each column, and the two are compared. See proof.h.
 *
 * The scene is the renderer's default one with the sizes of the instrument file; the lamp is the sweep's own witness
 * frame (once for the sweep), blur, noise and JPEG are those of the demo for all sweeps. Nothing is fitted to the
 * closed views.
 *
 * Profile: F(b), the flux at whole bearings (mean of the columns within MEAN_DEG: path-traced light is grainy from
 * column to column), where both sets see the rim there (lit or dark, not hidden, glared over or outside) at no more than
 * OBLIQUE_RAD, and no feeler stands beside or behind. Differences are shares of the sweep's largest path-traced F.
 *
 * Visibility limit: the views of one camera bearing (within GROUP_DEG) are ordered by the elevation of their ray
 * to the rim at b over the rim plane; those that may see through to an open far side are left out. From the
 * highest view downwards, and from the lowest upwards, the limit is where the flux first reaches LIMIT_SHARE of its
 * path-traced peak at that bearing and camera (one level for both sets), taken as straight between two views; they
 * must be no more than STEP_DEG apart. Where one set ends and the other is still above the level in
 * its last view, that view is taken for its limit: the difference is then a lower bound ("one-sided").
 */
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "proof.h"
#include "rimglow/inspection.h"
#include "rimglow/stats.h"

#define OBLIQUE_RAD   0.8
#define GROUP_DEG     6.0
#define MEAN_DEG      3.5
#define STEP_DEG      0.6
#define LIMIT_SHARE   0.5
#define LEAST_FLUX_MM 0.01 /* peaks below that are no light to end */
#define PROFILE_SHARE 0.15
#define LIMIT_DEG     0.2
enum { END_REACH_DEG = 15, LIMITS_MAX = 4096, LEAST_COLUMNS = 26, SPARSE_FRAMES = 12 };

static const char *const sweeps[] = {"05-B", "06-A", "07-G-sharp", "08-G", "wedge"};

typedef struct pair {
    const json_t *truth;
    rg_inspection traced;
    rg_frame own[PROOF_FRAMES_MAX];
    rg_pose camera[PROOF_FRAMES_MAX];
    double bearing[PROOF_FRAMES_MAX];
    double flux[2][PROOF_FRAMES_MAX][RG_BINS]; /* path-traced, rendered; NAN: not seen by both */
    double peak, grain[2];                     /* largest scatter of the columns of a mean */
    int frames;
} pair;

static void must(rg_code code, const rg_error *err)
{
    if (code == RG_OK)
        return;
    fprintf(stderr, "prove: %s\n", err->text);
    exit(1);
}

static double number(const json_t *array, size_t i)
{
    return json_number_value(json_array_get(array, i));
}

static rg_pose pose_of(const json_t *view)
{
    rg_pose p;
    const json_t *R = json_object_get(view, "R"), *t = json_object_get(view, "t");
    for (size_t i = 0; i < 9; i++)
        p.R.m[i / 3][i % 3] = number(json_array_get(R, i / 3), i % 3);
    p.t = rg_vec3_make(number(t, 0), number(t, 1), number(t, 2));
    return p;
}

/* ------------------------------------------------------------------ scene */

/* The truth's gap at every bearing: the plane of its cup, and what differs from that. */
static void set_pad(const json_t *truth, rg_synth_scene *s, double local[360])
{
    rg_pose cup = pose_of(json_object_get(truth, "cup_pose_in_rim_frame"));
    const json_t *w = json_object_get(truth, "w_mm");
    double gx = -cup.R.m[0][2] / cup.R.m[2][2], gy = -cup.R.m[1][2] / cup.R.m[2][2];
    s->pad.level_mm = cup.t.z;
    s->pad.tilt_mm = s->outer_mm * hypot(gx, gy);
    s->pad.tilt_bearing_deg = rg_degrees(atan2(-gy, gx));
    for (int b = 0; b < 360; b++) {
        double plane = cup.t.z + s->pad.tilt_mm * cos(rg_radians(b - s->pad.tilt_bearing_deg));
        double gap = number(w, (size_t)b);
        local[b] = gap > 0 || plane > 0 ? gap - plane : 0;
    }
    s->pad.local_mm = local;
}

static void set_sizes(const rg_inspection *in, rg_synth_scene *s)
{
    const rg_rim *rim = &in->setup.rim;
    s->inner_mm = 0.5 * rim->inner_diameter_mm;
    s->outer_mm = 0.5 * rim->outer_diameter_mm;
    s->pad_mm = 0.5 * rim->pad_diameter_mm;
    s->crown = in->setup.crown.number;
    s->pad.feeler_mm = in->sweep.wedge.feeler_mm;
    s->pad.feeler_width_mm = in->sweep.wedge.width_mm;
    s->pad.feeler_bearing_deg = in->sweep.wedge.bearing_deg;
}

/* What the witness saw is the pad's lit face; a thin slot has slot_gain of that. */
static void set_lamp(const rg_inspection *in, rg_synth_scene *s)
{
    for (int c = 0; c < 3; c++)
        s->lamp[c] = in->result.radiance[c] / in->setup.options.witness.slot_gain;
}

/* ----------------------------------------------------------------- frames */

static int frame_of(const rg_inspection *in, const char *file)
{
    for (int i = 0; i < in->sweep.frames; i++)
        if (strcmp(in->sweep.frame[i].file, file) == 0)
            return i;
    fprintf(stderr, "prove: %s has no %s\n", in->folder, file);
    exit(1);
}

static void render(pair *p)
{
    static double local[360];
    const json_t *views = json_object_get(p->truth, "views");
    proof_bench bench;
    proof_sweep sweep;
    rg_error err = {0};
    proof_bench_new(&bench, &p->traced.setup);
    proof_sweep_default(&sweep);
    set_sizes(&p->traced, &sweep.scene);
    set_pad(p->truth, &sweep.scene, local);
    set_lamp(&p->traced, &sweep.scene);
    p->frames = (int)json_array_size(views);
    for (int i = 0; i < p->frames; i++) {
        rg_synth_view view;
        p->camera[i] = pose_of(json_array_get(views, (size_t)i));
        must(rg_synth_render(&sweep.scene, &p->traced.setup.lens, &p->camera[i], sweep.sigma_px,
                             sweep.glare, &view, &err),
             &err);
        p->own[i] =
            proof_take(&bench, &p->traced.setup, &view, RG_FRAME_CLOSED, 1, 1, (uint64_t)i + 1);
        rg_synth_view_free(&view);
    }
    rg_sweep_result result;
    must(rg_sweep_measure(&p->traced.setup, p->own, p->frames, &result, &err), &err);
    proof_bench_free(&bench);
}

/* ------------------------------------------------------------------- flux */

/* Mean flux of the columns about a bearing, and their scatter; NAN when one of them was not seen. */
static double flux_at(const rg_frame *f, double b, double *scatter)
{
    double sum = 0, square = 0;
    int n = 0;
    for (int c = 0; f->used && c < f->light.columns; c++) {
        const rg_column_light *col = &f->light.column[c];
        if (fabs(rg_angle_between(f->strip.column[c].bearing_deg, b)) > MEAN_DEG)
            continue;
        if ((col->state != RG_COLUMN_LIT && col->state != RG_COLUMN_DARK) ||
            fabs(f->strip.column[c].obliquity_rad) > OBLIQUE_RAD)
            return NAN;
        sum += col->flux_mm;
        square += col->flux_mm * col->flux_mm;
        n++;
    }
    *scatter = n ? sqrt(fmax(square / n - sum / n * (sum / n), 0)) : 0;
    return n >= LEAST_COLUMNS ? sum / n : NAN;
}

/* The ray to the rim's outer edge at b. */
typedef struct ray {
    double slope, chord_mm; /* through the hole, outer edge to outer edge */
    double leaves_deg;      /* bearing at which it leaves the rim again */
} ray;

static ray ray_to(const pair *p, int i, int b)
{
    rg_vec3 eye = rg_pose_camera_centre(&p->camera[i]);
    double r = 0.5 * p->traced.setup.rim.outer_diameter_mm;
    double x = r * cos(rg_radians(b)), y = -r * sin(rg_radians(b));
    double ahead = rg_degrees(atan2(-(y - eye.y), x - eye.x));
    return (ray){.slope = eye.z / hypot(eye.x - x, eye.y - y),
                 .chord_mm = 2 * r * fabs(cos(rg_radians(ahead - b))),
                 .leaves_deg = rg_wrap_degrees(2 * ahead - b - 180)};
}

/* The ray to the rim at b, or where it leaves the hole again, lies within the light calibration's margin of a
 * feeler. */
static bool past_feeler(const pair *p, int i, int b)
{
    const rg_sweep *s = &p->traced.sweep;
    double margin = p->traced.station.wedge.margin_deg;
    return s->wedge.present &&
           (fabs(rg_angle_between(b, s->wedge.bearing_deg)) < margin ||
            fabs(rg_angle_between(ray_to(p, i, b).leaves_deg, s->wedge.bearing_deg)) < margin);
}

static double width_at(const pair *p, int b)
{
    return number(json_object_get(p->truth, "w_mm"), (size_t)((b + 360) % 360));
}

/* A part of the slot may be seen through to the room behind: the ray rises or sinks by less than either gap on
 * its way to a far side that is open. */
static bool sees_through(const pair *p, int i, int b)
{
    ray r = ray_to(p, i, b);
    double far = width_at(p, (int)lround(r.leaves_deg));
    return far > 0 && fabs(r.slope) * r.chord_mm < fmax(far, width_at(p, b));
}

static void take_fluxes(pair *p)
{
    const json_t *views = json_object_get(p->truth, "views");
    for (int i = 0; i < p->frames; i++) {
        const json_t *view = json_array_get(views, (size_t)i);
        const rg_frame *traced =
            &p->traced
                 .frames[frame_of(&p->traced, json_string_value(json_object_get(view, "file")))];
        p->bearing[i] = json_number_value(json_object_get(view, "bearing_deg"));
        for (int b = 0; b < RG_BINS; b++) {
            bool behind = past_feeler(p, i, b);
            double grain[2],
                f[2] = {flux_at(traced, b, &grain[0]), flux_at(&p->own[i], b, &grain[1])};
            bool seen = !behind && !isnan(f[0]) && !isnan(f[1]);
            for (int k = 0; k < 2; k++)
                p->flux[k][i][b] = seen ? f[k] : NAN;
            if (!seen)
                continue;
            p->peak = fmax(p->peak, f[0]);
            for (int k = 0; k < 2; k++)
                p->grain[k] = fmax(p->grain[k], grain[k]);
        }
    }
}

static int compare_profiles(const pair *p)
{
    double square = 0, largest = 0;
    int n = 0, at[2] = {0, 0};
    for (int i = 0; i < p->frames; i++)
        for (int b = 0; b < RG_BINS; b++) {
            double off = (p->flux[1][i][b] - p->flux[0][i][b]) / p->peak;
            if (isnan(off))
                continue;
            square += off * off;
            n++;
            if (fabs(off) > fabs(largest)) {
                largest = off;
                at[0] = i;
                at[1] = b;
            }
        }
    bool out = !(n > 0 && fabs(largest) <= PROFILE_SHARE);
    printf("  profile: %d bearings of %d views, peak %.3f light mm; rms %.1f %%, largest %+.1f %% "
           "of it (view %d, bearing %d); grain up to %.0f %%, rendered %.0f %%%s\n",
           n, p->frames, p->peak, n ? 100 * sqrt(square / n) : 0.0, 100 * largest, at[0], at[1],
           100 * p->grain[0] / p->peak, 100 * p->grain[1] / p->peak, out ? "  OUT OF BOUNDS" : "");
    return out;
}

/* ------------------------------------------------------------ visibility limit */

typedef struct rocking {
    int n;
    double elevation[PROOF_FRAMES_MAX], flux[2][PROOF_FRAMES_MAX];
} rocking;

/* Views of the camera bearing of view `first` that see b, in order of elevation. */
static rocking rocking_at(const pair *p, int first, int b)
{
    rocking k = {0};
    for (int i = first; i < p->frames; i++) {
        if (fabs(rg_angle_between(p->bearing[i], p->bearing[first])) > GROUP_DEG ||
            isnan(p->flux[0][i][b]) || sees_through(p, i, b))
            continue;
        double e = rg_degrees(atan(ray_to(p, i, b).slope));
        int at = k.n++;
        for (; at > 0 && k.elevation[at - 1] > e; at--) {
            k.elevation[at] = k.elevation[at - 1];
            k.flux[0][at] = k.flux[0][at - 1];
            k.flux[1][at] = k.flux[1][at - 1];
        }
        k.elevation[at] = e;
        k.flux[0][at] = p->flux[0][i][b];
        k.flux[1][at] = p->flux[1][i][b];
    }
    return k;
}

static double brightest(const rocking *k)
{
    double best = 0;
    for (int i = 0; i < k->n; i++)
        best = fmax(best, k->flux[0][i]);
    return best;
}

typedef enum crossing { CROSSED, ABOVE, TOO_FAR } crossing;

/* From the last view `way` up or down inwards to the first that reaches the level. ABOVE: that is the last
 * itself; TOO_FAR: the two views about the level are too far apart to say where it lies between. */
static crossing limit(const rocking *k, int set, int way, double level, double *elevation)
{
    const double *f = k->flux[set];
    int last = way > 0 ? k->n - 1 : 0, i = last;
    while (i >= 0 && i < k->n && f[i] < level)
        i -= way;
    if (i < 0 || i >= k->n)
        return TOO_FAR;
    *elevation = k->elevation[i];
    if (i == last)
        return ABOVE;
    double step = k->elevation[i + way] - k->elevation[i];
    *elevation += step * (f[i] - level) / (f[i] - f[i + way]);
    return fabs(step) > STEP_DEG ? TOO_FAR : CROSSED;
}

typedef struct limits {
    int n, bounds;
    double off[LIMITS_MAX];
    double largest;
    int bearing;
} limits;

static void add_limit(limits *l, double off, bool one_sided, int b)
{
    if (l->n == LIMITS_MAX)
        return;
    l->bounds += one_sided;
    l->off[l->n++] = fabs(off);
    if (fabs(off) > fabs(l->largest)) {
        l->largest = off;
        l->bearing = b;
    }
}

static void compare_rocking(const rocking *k, int b, limits *l)
{
    double level = LIMIT_SHARE * brightest(k), e[2];
    if (k->n < 3 || level < LIMIT_SHARE * LEAST_FLUX_MM)
        return;
    for (int way = -1; way <= 1; way += 2) {
        crossing a = limit(k, 0, way, level, &e[0]), o = limit(k, 1, way, level, &e[1]);
        if (a != TOO_FAR && o != TOO_FAR && (a == CROSSED || o == CROSSED))
            add_limit(l, e[1] - e[0], a != o, b);
    }
}

/* Bearing nearest to `from` at which the flux of a view falls through the level, `way` clockwise or back;
 * NAN where it does not within END_REACH_DEG. */
static double end_near(const double flux[RG_BINS], int from, int way, double level)
{
    double best = NAN;
    for (int d = -END_REACH_DEG; d <= END_REACH_DEG; d++) {
        int b = (from + d + 360) % 360;
        double f = flux[b], next = flux[(b + way + 360) % 360];
        double off = d + way * (f - level) / (f - next);
        if (f >= level && next < level && !(fabs(best) <= fabs(off)))
            best = off;
    }
    return best;
}

/* A sparse sweep has no rocking: in each of its views the light ends along the rim, where the gap is too thin for
 * the view's elevation. The end's bearing is worth (dw/db) / depth in elevation. */
static void compare_ends(const pair *p, limits *l)
{
    const rg_rim *rim = &p->traced.setup.rim;
    double depth = 0.5 * (rim->pad_diameter_mm - rim->inner_diameter_mm);
    double level = LIMIT_SHARE * p->peak;
    for (int i = 0; i < p->frames; i++)
        for (int b = 0; b < RG_BINS; b++)
            for (int way = -1; way <= 1; way += 2) {
                int next = (b + way + 360) % 360;
                const double *f = p->flux[0][i];
                double a = end_near(f, b, way, level), o = end_near(p->flux[1][i], b, way, level);
                if (!(f[b] >= level && f[next] < level) || isnan(o))
                    continue;
                double per_deg = fabs(width_at(p, b + 2) - width_at(p, b - 2)) / 4;
                add_limit(l, rg_degrees(atan((o - a) * per_deg / depth)), false, b);
            }
}

static int compare_limits(const pair *p)
{
    static limits l;
    l = (limits){0};
    bool sparse = p->frames < SPARSE_FRAMES;
    if (sparse)
        compare_ends(p, &l);
    for (int i = 0; !sparse && i < p->frames; i++) {
        bool first = true;
        for (int k = 0; k < i; k++)
            first = first && fabs(rg_angle_between(p->bearing[k], p->bearing[i])) > GROUP_DEG;
        for (int b = 0; first && b < RG_BINS; b++) {
            rocking k = rocking_at(p, i, b);
            compare_rocking(&k, b, &l);
        }
    }
    double median = l.n ? rg_median_inplace(l.off, (size_t)l.n) : 0;
    bool out = !(l.n > 0 && fabs(l.largest) <= LIMIT_DEG);
    printf("  visibility limit%s: %d (%d one-sided); difference median %.3f, largest %+.3f degrees "
           "(bearing %d)%s\n",
           sparse ? ", by the light's ends" : "", l.n, l.bounds, median, l.largest, l.bearing,
           out ? "  OUT OF BOUNDS" : "");
    return out;
}

static int prove_sweep(const char *name)
{
    static pair p;
    char path[300];
    json_error_t e;
    rg_error err = {0};
    snprintf(path, sizeof path, "samples/truth/%s.json", name);
    json_t *truth = json_load_file(path, 0, &e);
    const char *folder = json_string_value(json_object_get(truth, "folder"));
    if (!folder) {
        fprintf(stderr, "prove: %s: %s\n", path, truth ? "no folder" : e.text);
        exit(1);
    }
    p = (pair){.truth = truth};
    snprintf(path, sizeof path, "samples/%s", folder);
    must(rg_inspection_open(&p.traced, path, &err), &err);
    must(rg_inspection_run(&p.traced, 1, NULL, &err), &err);
    render(&p);
    take_fluxes(&p);
    printf("%s: %d views rendered anew\n", path, p.frames);
    int failures = compare_profiles(&p) + compare_limits(&p);
    for (int i = 0; i < p.frames; i++)
        rg_frame_free(&p.own[i]);
    rg_inspection_close(&p.traced);
    json_decref(truth);
    return failures;
}

int proof_traced(void)
{
    int failures = 0;
    printf("the renderer against path-traced frames, flux by bearing and elevation\n");
    for (size_t i = 0; i < sizeof sweeps / sizeof *sweeps; i++)
        failures += prove_sweep(sweeps[i]);
    return failures;
}
