/*
 * accuracy.c - make accuracy: the sample sweeps measured and compared with the
 * renderer's truth, as a table. Fails when a figure is out of its bounds.
 *
 * Truth: samples/truth/NAME.json (see samples/README.md): w_mm[360] at the
 * land's outer edge, arcs above 0.005 mm. The renderer is not part of this
 * project and shares no code with it.
 *
 * Bounds: every true arc wider than 0.04 mm is found, none invented; centre
 * within 2 degrees, ends within 4, greatest width within 0.012 mm or 10 %,
 * whichever is larger; at least 90 % of the bins that claim a width lie within
 * their stated U = k u of it; no bin is called sealed whose true gap exceeds
 * the tolerance. A sparse sweep (fewer than 12 frames) is only held to the
 * last two and to its greatest width.
 *
 * Openings: samples/truth-open/NAME.json; far edge, hinge and every bearing between them within
 * 0.1 mm and within U.
 * Then what setup says of the map. A truth whose open bearings lie on a plane m + t cos(b - at), by least
 * squares to 0.001 mm, is a rigid tilt: its bearing is found within 3 degrees, its size within 10 %,
 * and it is called one (with its hinge, or as the work of what lies in the slot); a true arc shorter
 * than 40 degrees is called local at its place; no other fault is named.
 */
#include <dirent.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_multifit.h>

#include "rimglow/inspection.h"
#include "support/diagnosis.h"

#define FOUND_ABOVE_MM 0.04
#define CENTRE_DEG     2.0
#define END_DEG        4.0
#define WIDTH_MM       0.012
#define WIDTH_SHARE    0.10
#define INSIDE_SHARE   0.90
#define OPENING_MM     0.1
#define TILT_DEG       3.0
#define TILT_SHARE     0.10
#define PLANE_MM       0.001
#define LOCAL_DEG      40.0
enum { SPARSE_FRAMES = 12 };

typedef struct truth {
    char folder[256];
    double w[RG_BINS];
    int arcs;
    struct {
        double start, end, max, at;
    } arc[8];
} truth;

typedef struct score {
    int failures;
    int bins, inside, false_seals;
    double rms;
} score;

static bool load_truth(const char *path, truth *t)
{
    json_error_t e;
    json_t *o = json_load_file(path, 0, &e);
    const char *folder = json_string_value(json_object_get(o, "folder"));
    json_t *w = json_object_get(o, "w_mm"), *arcs = json_object_get(o, "arcs");
    bool ok = folder && json_array_size(w) == RG_BINS && json_is_array(arcs);
    *t = (truth){0};
    if (!ok)
        fprintf(stderr, "%s: %s\n", path, o ? "folder, w_mm or arcs is missing" : e.text);
    if (ok)
        snprintf(t->folder, sizeof t->folder, "samples/%s", folder);
    for (int b = 0; ok && b < RG_BINS; b++)
        t->w[b] = json_number_value(json_array_get(w, (size_t)b));
    for (size_t i = 0; ok && i < json_array_size(arcs) && i < 8; i++) {
        json_t *a = json_array_get(arcs, i);
        t->arc[i].start = json_number_value(json_object_get(a, "start_deg"));
        t->arc[i].end = json_number_value(json_object_get(a, "end_deg"));
        t->arc[i].max = json_number_value(json_object_get(a, "max_mm"));
        t->arc[i].at = json_number_value(json_object_get(a, "at_deg"));
        t->arcs++;
        ok = t->arc[i].max > 0;
    }
    json_decref(o);
    return ok;
}

static double centre_of(double start, double end)
{
    return rg_wrap_degrees(start + rg_wrap_degrees(end - start) / 2);
}

/* The measured arc that covers the bearing; -1 if none does. */
static int covering(const rg_seal_map *map, double bearing)
{
    for (int i = 0; i < map->arcs; i++) {
        const rg_arc *a = &map->arc[i];
        if (a->full_circle || rg_wrap_degrees(bearing - a->start_deg) <= a->extent_deg)
            return i;
    }
    return -1;
}

static int bound(const char *what, double value, double limit)
{
    if (fabs(value) <= limit)
        return 0;
    printf("    OUT OF BOUNDS: %s %+.4f, allowed %.4f\n", what, value, limit);
    return 1;
}

static void compare_arc(const truth *t, int i, const rg_inspection *in, bool sparse, score *s)
{
    const rg_seal_map *map = &in->result.map;
    double start = t->arc[i].start, end = t->arc[i].end, max = t->arc[i].max;
    double middle = centre_of(start, end);
    int k = covering(map, middle);
    printf("    truth  %6.1f ..%6.1f  centre %6.1f  widest %.4f mm\n", start, end, middle, max);
    if (k < 0) {
        printf("    not found%s\n", max > FOUND_ABOVE_MM ? ": OUT OF BOUNDS" : " (below 0.04 mm)");
        s->failures += max > FOUND_ABOVE_MM;
        return;
    }
    const rg_arc *a = &map->arc[k];
    double dstart = rg_angle_between(a->start_deg, start), dend = rg_angle_between(a->end_deg, end);
    double dcentre = rg_angle_between(a->centre_deg, middle), dmax = a->max_width_mm - max;
    printf("    found  %6.1f ..%6.1f  centre %6.1f  widest %.4f mm  u %.4f\n", a->start_deg,
           a->end_deg, a->centre_deg, a->max_width_mm, a->u_max_mm);
    printf("    error  %+6.1f   %+6.1f         %+6.1f         %+.4f mm\n", dstart, dend, dcentre,
           dmax);
    s->failures += bound("widest, mm", dmax, fmax(WIDTH_MM, WIDTH_SHARE * max));
    if (sparse || max <= FOUND_ABOVE_MM)
        return;
    s->failures += bound("centre, degrees", dcentre, CENTRE_DEG);
    s->failures += bound("start, degrees", dstart, END_DEG);
    s->failures += bound("end, degrees", dend, END_DEG);
}

static bool is_true_gap(const truth *t, const rg_arc *a)
{
    int steps = (int)a->extent_deg;
    for (int k = 0; k <= steps; k++)
        if (t->w[(int)rg_wrap_degrees(floor(a->start_deg + k + 0.5)) % RG_BINS] > 0)
            return true;
    return false;
}

static void compare_bins(const truth *t, const rg_inspection *in, score *s)
{
    const rg_sealmap_options *o = &in->setup.options.sealmap;
    double sum = 0;
    int gaps = 0;
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &in->result.map.bin[b];
        if (bin->state == RG_BIN_UNSEEN)
            continue;
        double error = bin->width_mm - t->w[b];
        s->bins++;
        s->inside += fabs(error) <= o->coverage_factor * bin->u_mm;
        s->false_seals += bin->state == RG_BIN_SEALED && t->w[b] > o->tolerance_mm;
        if (bin->state == RG_BIN_GAP) {
            sum += error * error;
            gaps++;
        }
    }
    s->rms = gaps ? sqrt(sum / gaps) : 0;
    printf("    bins with a width %d, inside U %.1f %%, rms error of gaps %.4f mm, called sealed "
           "above tolerance %d\n",
           s->bins, s->bins ? 100.0 * s->inside / s->bins : 100.0, s->rms, s->false_seals);
    if (s->bins && s->inside < INSIDE_SHARE * s->bins) {
        printf("    OUT OF BOUNDS: fewer than 90 %% of the bins lie inside their U\n");
        s->failures++;
    }
    s->failures += s->false_seals > 0;
}

/* ------------------------------------------------------------- diagnosis */

/* Least squares by GSL over the open bearings; false where they lie on no plane. */
static bool true_plane(const truth *t, double plane[3])
{
    size_t n = 0;
    double chisq;
    for (int b = 0; b < RG_BINS; b++)
        n += t->w[b] > 0;
    if ((double)n < LOCAL_DEG)
        return false;
    gsl_matrix *x = gsl_matrix_alloc(n, 3), *cov = gsl_matrix_alloc(3, 3);
    gsl_vector *y = gsl_vector_alloc(n);
    gsl_vector_view c = gsl_vector_view_array(plane, 3);
    gsl_multifit_linear_workspace *work = gsl_multifit_linear_alloc(n, 3);
    size_t i = 0;
    for (int b = 0; b < RG_BINS; b++)
        if (t->w[b] > 0) {
            gsl_matrix_set(x, i, 0, 1);
            gsl_matrix_set(x, i, 1, cos(rg_radians(b)));
            gsl_matrix_set(x, i, 2, sin(rg_radians(b)));
            gsl_vector_set(y, i++, t->w[b]);
        }
    gsl_multifit_linear(x, y, &c.vector, cov, &chisq, work);
    gsl_multifit_linear_free(work);
    gsl_matrix_free(x);
    gsl_matrix_free(cov);
    gsl_vector_free(y);
    return sqrt(chisq / (double)n) < PLANE_MM;
}

static int wrong(const char *what, const rg_diagnosis *d)
{
    printf("    OUT OF BOUNDS: %s, called %s\n", what, rg_diagnosis_name(d));
    return 1;
}

static int judge_tilt(const double plane[3], const rg_diagnosis *d)
{
    const rg_undulation *u = &d->shape.tilt;
    double size = hypot(plane[1], plane[2]), at = rg_degrees(atan2(plane[2], plane[1]));
    bool tilt = d->found == RG_DIAGNOSIS_ONE &&
                (d->fault[0].kind <= RG_FAULT_HINGE_THIN || d->fault[0].kind == RG_FAULT_DIRT);
    if (u->state != RG_TERM_FITTED)
        return wrong("no tilt found", d);
    printf("    tilt %.4f mm at %.1f, found %.4f +- %.4f at %.1f +- %.1f, touches first at %.1f\n",
           size, rg_wrap_degrees(at), u->size_mm, 2 * u->u_size_mm, u->bearing_deg,
           2 * u->u_bearing_deg, d->shape.contact_deg);
    return bound("tilt, degrees", rg_angle_between(u->bearing_deg, at), TILT_DEG) +
           bound("tilt, mm", u->size_mm - size, TILT_SHARE * size) +
           (tilt ? 0 : wrong("a rigid tilt", d));
}

static int judge_local(const truth *t, const rg_diagnosis *d)
{
    double middle = centre_of(t->arc[0].start, t->arc[0].end);
    if (d->found != RG_DIAGNOSIS_ONE || d->faults != 1 || d->fault[0].kind != RG_FAULT_LOCAL)
        return wrong("a local opening", d);
    return bound("local opening, degrees", rg_angle_between(d->fault[0].bearing_deg, middle),
                 CENTRE_DEG);
}

static int judge_diagnosis(const truth *t, const rg_inspection *in)
{
    static rg_diagnosis d;
    const rg_diagnosis_options o = test_diagnosis_options();
    double plane[3], tolerance = in->setup.options.sealmap.tolerance_mm;
    rg_error err = {0};
    if (rg_diagnose(&in->result.map, tolerance, NULL, &o, &d, &err) != RG_OK) {
        printf("    FAILED: %s\n", err.text);
        return 1;
    }
    printf("    diagnosis: %s\n", rg_diagnosis_name(&d));
    if (true_plane(t, plane))
        return judge_tilt(plane, &d);
    if (t->arcs == 1)
        return judge_local(t, &d);
    return d.faults ? wrong("nothing", &d) : 0;
}

static int compare(const truth *t)
{
    rg_inspection in;
    rg_error err = {0};
    score s = {0};
    rg_code code = rg_inspection_open(&in, t->folder, &err);
    if (code == RG_OK)
        code = rg_inspection_run(&in, 0, NULL, &err);
    if (code != RG_OK) {
        printf("%s\n    FAILED: %s\n", t->folder, err.text);
        return 1;
    }
    const rg_seal_map *map = &in.result.map;
    bool sparse = in.result.evidence.frames_given < SPARSE_FRAMES;
    printf("%s: %s, %d of %d frames%s\n", t->folder, rg_verdict_name(map->verdict),
           in.result.evidence.frames_used, in.result.evidence.frames_given,
           sparse ? " (sparse)" : "");
    for (int i = 0; i < t->arcs; i++)
        compare_arc(t, i, &in, sparse, &s);
    for (int i = 0; i < map->arcs; i++)
        if (!is_true_gap(t, &map->arc[i])) {
            printf("    OUT OF BOUNDS: invented gap at %.1f..%.1f, %.4f mm\n",
                   map->arc[i].start_deg, map->arc[i].end_deg, map->arc[i].max_width_mm);
            s.failures++;
        }
    compare_bins(t, &in, &s);
    s.failures += judge_diagnosis(t, &in);
    double widest = 0;
    for (int i = 0; i < t->arcs; i++)
        widest = fmax(widest, t->arc[i].max);
    if (map->verdict == RG_VERDICT_SEALED && (widest > in.setup.options.sealmap.tolerance_mm)) {
        printf("    OUT OF BOUNDS: called sealed\n");
        s.failures++;
    }
    rg_inspection_close(&in);
    return s.failures;
}

/* ------------------------------------------------------------ openings */

static int compare_height(const rg_opening *o, double bearing, double true_mm, double factor)
{
    double u, error = rg_opening_at(o, bearing, &u) - true_mm;
    return bound("opening, mm", error, OPENING_MM) +
           bound("opening against U, mm", error, factor * u);
}

static int compare_opening(const char *path)
{
    rg_inspection in;
    rg_error err = {0};
    char folder[256];
    json_t *t = json_load_file(path, 0, NULL), *w = json_object_get(t, "w_mm");
    const char *name = json_string_value(json_object_get(t, "folder"));
    snprintf(folder, sizeof folder, "samples/%s", name ? name : "");
    rg_code code = json_array_size(w) == RG_BINS
                       ? rg_inspection_open(&in, folder, &err)
                       : rg_fail(&err, RG_BAD_DATA, "%s: no w_mm[360]", path);
    bool opened = code == RG_OK;
    if (opened)
        code = rg_inspection_run(&in, 0, NULL, &err);
    int failures = code != RG_OK;
    if (code == RG_OK && !in.opening.measured) {
        rg_fail(&err, RG_BAD_DATA, "opening not measured: %s", in.opening.reason);
        failures = 1;
    }
    if (failures) {
        printf("%s\n    FAILED: %s\n", folder, err.text);
    } else {
        const rg_opening *o = &in.opening;
        double k = in.setup.options.sealmap.coverage_factor;
        printf("%s: %d of %d frames\n    far edge %.4f, truth %.4f, U %.4f mm; hinge %.4f, truth "
               "%.4f, U %.4f mm\n",
               folder, o->frames_used, o->frames_given, o->far_mm,
               json_number_value(json_array_get(w, 180)), k * o->u_far_mm, o->hinge_mm,
               json_number_value(json_array_get(w, 0)), k * o->u_hinge_mm);
        for (int b = 0; b < RG_BINS; b++)
            failures += compare_height(o, b, json_number_value(json_array_get(w, (size_t)b)), k);
    }
    if (opened)
        rg_inspection_close(&in);
    json_decref(t);
    return failures;
}

static int by_name(const struct dirent **a, const struct dirent **b)
{
    return strcmp((*a)->d_name, (*b)->d_name);
}

static int is_json(const struct dirent *e)
{
    const char *dot = strrchr(e->d_name, '.');
    return dot && strcmp(dot, ".json") == 0;
}

static int openings(const char *folder)
{
    struct dirent **entry = NULL;
    int n = scandir(folder, &entry, is_json, by_name), failures = n <= 0;
    for (int i = 0; i < n; i++) {
        char path[600];
        snprintf(path, sizeof path, "%s/%s", folder, entry[i]->d_name);
        failures += compare_opening(path);
        free(entry[i]);
    }
    free(entry);
    printf("accuracy: openings of %d sweeps, %d out of bounds\n", n > 0 ? n : 0, failures);
    return failures;
}

int main(int argc, char **argv)
{
    const char *folder = argc > 1 ? argv[1] : "samples/truth";
    struct dirent **entry = NULL;
    int n = scandir(folder, &entry, is_json, by_name), failures = n <= 0;
    for (int i = 0; i < n; i++) {
        char path[600];
        truth t;
        snprintf(path, sizeof path, "%s/%s", folder, entry[i]->d_name);
        failures += load_truth(path, &t) ? compare(&t) : 1;
        free(entry[i]);
    }
    free(entry);
    printf("accuracy: %d sweeps, %d out of bounds\n", n > 0 ? n : 0, failures);
    return failures + openings(argc > 2 ? argv[2] : "samples/truth-open") ? 1 : 0;
}
