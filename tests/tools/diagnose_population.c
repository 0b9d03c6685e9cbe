/*
 * diagnose_population.c - synthetic pads of known faults, seen as the real seal maps see, and what
 * diagnosis.h says of them. Part of make accuracy; fails when a bound is broken.
 *
 * The pads are made here from springs, not from the model of the fit: the pad's face stands h(b) above
 * a plane, the key is pressed until the mean of the pad's compression is that of the finger, and a
 * gap is what is left. So the mean follows from the faults. Faults: tilt to any bearing, hinge, saddle,
 * crease, a crumb that lifts a stiff pad or tents a soft one, a key that does not come down, and
 * pairs; on each pad unevenness of 3 to 6 undulations.
 *
 * Seen through tests/data/seal-maps: detection limits and unseen arcs of one of its maps by bearing, u of
 * the widths that were measured there, errors as large as u says, that hang together. A
 * crumb's place is dark, in half of the pads marked as blocked.
 *
 * A seed may be given.
 *
 * What counts as a pad's faults: those whose removal changes the gap by more than twice the detection
 * limit at some bearing that was seen. Right is the same set of kinds, no more and no less.
 *
 * Bounds: 90 % right of the pads whose faults count, and of those without a fault; 95 % of the pads
 * beyond the tolerance come within it by truth when every correction is made as advised, where no
 * fault lies in bearings that were not seen alone. The share of all is printed, too, and after a second
 * sweep and correction.
 */
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/diagnosis.h"
#include "rimglow/file.h"
#include "rimglow/mapfile.h"
#include "support/diagnosis.h"

#define RIGHT_SHARE  0.90
#define PASSES_SHARE 0.95
#define TOLERANCE_MM 0.025
#define DEGREE       (3.14159265358979323846 / 180)
enum { MAPS = 5, PADS = 2400, HINGE_DEG = 15 };

/* Kinds as they are drawn; the first six are classes of a single fault. */
typedef enum kind { TILT, THICK, THIN, SADDLE, UNIFORM, CREASE, DIRT, KINDS } kind;
enum { MIXED = KINDS, NONE, HIDDEN, OTHER = HIDDEN, CLASSES };
static const char *const class_name[] = {"tilt",   "thick", "thin",  "saddle", "uniform",
                                         "crease", "dirt",  "mixed", "none",   "other"};

typedef struct pad {
    double tilt, tilt_at, saddle, saddle_at, hang;
    double crease, crease_at, crease_width;
    double crumb, crumb_at, crumb_width;
    bool soft; /* the crumb tents the pad and lifts it not */
    double wave[4], wave_at[4];
    double press; /* mean compression under the finger */
} pad;

typedef struct look {
    rg_map_file file[MAPS];
    int gaps;
    double w[MAPS * RG_BINS], u[MAPS * RG_BINS];
} look;

/* ---------------------------------------------------------------- springs */

static double apart(double a, double b)
{
    return fabs(fmod(a - b + 540 + 720, 360) - 180);
}

static double face(const pad *p, double b)
{
    double h =
        p->tilt * cos((b - p->tilt_at) * DEGREE) + p->saddle * cos(2 * (b - p->saddle_at) * DEGREE);
    for (int i = 0; i < 4; i++)
        h += p->wave[i] * cos((3 + i) * (b - p->wave_at[i]) * DEGREE);
    return h;
}

static double crease(const pad *p, double b)
{
    double d = apart(b, p->crease_at);
    return p->crease > 0 && 2 * d < p->crease_width
               ? p->crease * (1 + cos(2 * d / p->crease_width * 180 * DEGREE)) / 2
               : 0;
}

/* Height at which the mean compression is the finger's; the face once at every bearing. */
static double seat(const double h[RG_BINS], double press)
{
    double low = -3, high = 3;
    for (int k = 0; k < 40; k++) {
        double z = (low + high) / 2, sum = 0;
        for (int b = 0; b < RG_BINS; b++)
            sum += fmax(0, -(z + h[b]));
        if (sum / RG_BINS > press)
            low = z;
        else
            high = z;
    }
    return (low + high) / 2;
}

/* The face with the crumb's tilt added: so much that the crumb fits under it. */
static double seat_on_crumb(const pad *p, double h[RG_BINS])
{
    double flat[RG_BINS], low = 0, high = 2, z = 0;
    int at = (int)floor(p->crumb_at + 0.5) % RG_BINS;
    memcpy(flat, h, sizeof flat);
    for (int k = 0; k < 25; k++) {
        double a = (low + high) / 2;
        for (int b = 0; b < RG_BINS; b++)
            h[b] = flat[b] + a * cos((b - at) * DEGREE);
        z = seat(h, p->press);
        if (z + h[at] < p->crumb)
            low = a;
        else
            high = a;
    }
    return z;
}

/* The gap at every bearing. */
static void close_key(const pad *p, double w[RG_BINS])
{
    double h[RG_BINS], lowest = INFINITY;
    for (int b = 0; b < RG_BINS; b++)
        h[b] = face(p, b);
    double z = p->crumb > 0 && !p->soft ? seat_on_crumb(p, h) : seat(h, p->press);
    for (int b = 0; b < RG_BINS; b++)
        lowest = fmin(lowest, z + h[b]);
    for (int b = 0; b < RG_BINS; b++) {
        double beside = fmax(apart(b, p->crumb_at) - p->crumb_width / 2, 0);
        double tent = p->crumb > 0 && p->soft ? p->crumb * (exp(-beside / 7) - 0.15) : 0;
        w[b] = z + h[b] + (p->hang > 0 ? p->hang - lowest : 0);
        /* A crease is a notch: it opens where the face beside it just touches, too. */
        w[b] = fmax(fmax(w[b], 0) + crease(p, b), tent);
    }
}

/* ------------------------------------------------------------------ draw */

static double draw(gsl_rng *rng, double low, double high)
{
    return gsl_ran_flat(rng, low, high);
}

static void give(pad *p, kind k, gsl_rng *rng)
{
    switch (k) {
    case THICK:
    case THIN:
    case TILT:
        p->tilt = draw(rng, 0.03, 0.2);
        p->tilt_at = k == TILT ? draw(rng, HINGE_DEG, 360 - HINGE_DEG) : draw(rng, -12, 12);
        p->tilt_at += k == THICK ? 180 : 0;
        if (k == TILT && apart(p->tilt_at, 180) < HINGE_DEG)
            p->tilt_at += 60;
        break;
    case SADDLE:
        p->saddle = draw(rng, 0.03, 0.12);
        p->saddle_at = draw(rng, 0, 180);
        break;
    case UNIFORM:
        p->hang = draw(rng, 0.02, 0.12);
        break;
    case CREASE:
        p->crease = draw(rng, 0.03, 0.12);
        p->crease_at = draw(rng, 0, 360);
        p->crease_width = draw(rng, 8, 24);
        break;
    case DIRT:
        p->crumb = draw(rng, 0.04, 0.15);
        p->crumb_at = draw(rng, 0, 360);
        p->crumb_width = draw(rng, 5, 10);
        p->soft = gsl_rng_uniform(rng) < 0.5;
        break;
    case KINDS:
        break;
    }
}

static pad draw_pad(gsl_rng *rng)
{
    static const kind both[][2] = {{TILT, CREASE},  {TILT, SADDLE},   {UNIFORM, TILT},
                                   {THICK, CREASE}, {SADDLE, CREASE}, {UNIFORM, CREASE}};
    pad p = {.press = draw(rng, 0.02, 0.05)};
    for (int i = 0; i < 4; i++) {
        p.wave[i] = gsl_ran_gaussian(rng, 0.0015);
        p.wave_at[i] = draw(rng, 0, 360);
    }
    unsigned long which = gsl_rng_uniform_int(rng, 10);
    if (which < KINDS)
        give(&p, (kind)which, rng);
    else if (which < 9) {
        unsigned long pair = gsl_rng_uniform_int(rng, 6);
        give(&p, both[pair][0], rng);
        give(&p, both[pair][1], rng);
    }
    return p;
}

/* ------------------------------------------------------------------ look */

static const char *const map_name[MAPS] = {"04-C", "05-B", "06-A", "07-G-sharp", "08-G"};

static bool load_maps(look *l)
{
    rg_error err;
    for (int i = 0; i < MAPS; i++) {
        char path[200];
        uint8_t *text;
        size_t size;
        snprintf(path, sizeof path, "tests/data/seal-maps/%s.json", map_name[i]);
        if (rg_file_read(path, RG_MAPFILE_MAX_BYTES, &text, &size, &err) != RG_OK ||
            rg_mapfile_parse(path, (char *)text, size, &l->file[i], &err) != RG_OK) {
            printf("%s\n", err.text);
            return false;
        }
        free(text);
        for (int b = 0; b < RG_BINS; b++) {
            const rg_bin *bin = &l->file[i].map.bin[b];
            if (bin->state == RG_BIN_GAP) {
                l->w[l->gaps] = bin->width_mm;
                l->u[l->gaps++] = bin->u_mm;
            }
        }
    }
    return true;
}

/* u of the measured width that is most like this one, beginning anywhere among them. */
static double u_like(const look *l, double w, int from)
{
    int best = from;
    for (int k = 0; k < l->gaps; k++) {
        int i = (from + k) % l->gaps;
        if (fabs(l->w[i] - w) < fabs(l->w[best] - w) - 0.002)
            best = i;
    }
    return l->u[best] * fmax(1, w / l->w[best]);
}

/* Errors in units of u: a common part, and one that fades from bearing to bearing. */
static void draw_errors(double e[RG_BINS], gsl_rng *rng)
{
    double common = gsl_ran_gaussian(rng, sqrt(0.3)), keep = exp(-1.0 / 10), x = 0;
    for (int b = -RG_BINS / 4; b < RG_BINS; b++) {
        x = keep * x + gsl_ran_gaussian(rng, sqrt(0.7 * (1 - keep * keep)));
        if (b >= 0)
            e[b] = common + x;
    }
}

static void see(const look *l, const pad *p, int template, const double w[RG_BINS],
                rg_seal_map *map, gsl_rng *rng)
{
    double e[RG_BINS];
    bool marked = gsl_rng_uniform(rng) < 0.5;
    int from = (int)gsl_rng_uniform_int(rng, (unsigned long)l->gaps);
    draw_errors(e, rng);
    *map = (rg_seal_map){.rim_outer_diameter_mm = 20};
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *like = &l->file[template].map.bin[b];
        rg_bin *bin = &map->bin[b];
        double limit = isfinite(like->detection_limit_mm) ? like->detection_limit_mm : 0.02;
        double u = w[b] > 0 ? fmax(u_like(l, w[b], from), limit / 3.29) : limit / 3.29;
        double seen = w[b] + u * e[b];
        bool crumb = p->crumb > 0 && apart(b, p->crumb_at) < p->crumb_width / 2;
        bool open = w[b] > 0 && seen > limit / 2 && !crumb;
        *bin = (rg_bin){.bearing_deg = b, .detection_limit_mm = limit, .frames = 10};
        bin->state = open ? RG_BIN_GAP : RG_BIN_SEALED;
        bin->width_mm = open ? seen : 0;
        bin->u_mm = open ? u : limit / 3.29;
        bin->lit = open ? 5 : 0;
        bin->blocked = crumb && marked;
        if (like->state == RG_BIN_UNSEEN) {
            bin->state = RG_BIN_UNSEEN;
            bin->width_mm = bin->u_mm = NAN;
        }
    }
}

/* ------------------------------------------------------------------ truth */

static pad without(const pad *p, kind k)
{
    pad q = *p;
    if (k <= THIN)
        q.tilt = 0;
    else if (k == SADDLE)
        q.saddle = 0;
    else if (k == UNIFORM)
        q.hang = 0;
    else if (k == CREASE)
        q.crease = 0;
    else
        q.crumb = 0;
    return q;
}

static kind tilt_kind(const pad *p)
{
    return apart(p->tilt_at, 180) <= HINGE_DEG ? THICK
           : apart(p->tilt_at, 0) <= HINGE_DEG ? THIN
                                               : TILT;
}

/* Bit set of the faults that show by more than twice the detection limit. */
static unsigned true_faults(const pad *p, const rg_seal_map *map, const double w[RG_BINS])
{
    unsigned set = 0;
    for (int k = THIN; k < KINDS; k++) {
        pad q = without(p, (kind)k);
        double v[RG_BINS];
        close_key(&q, v);
        for (int b = 0; b < RG_BINS; b++) {
            const rg_bin *bin = &map->bin[b];
            if (bin->state != RG_BIN_UNSEEN && fabs(w[b] - v[b]) > 2 * bin->detection_limit_mm)
                set |= 1u << (k == THIN ? (int)tilt_kind(p) : k);
        }
    }
    return set;
}

/* Those that were put in, also where no seen bearing shows them. */
static unsigned given_faults(const pad *p)
{
    unsigned set = p->tilt > 0 ? 1u << (int)tilt_kind(p) : 0;
    set |= p->saddle > 0 ? 1u << SADDLE : 0;
    set |= p->hang > 0 ? 1u << UNIFORM : 0;
    set |= p->crease > 0 ? 1u << CREASE : 0;
    return set | (p->crumb > 0 ? 1u << DIRT : 0);
}

static bool is_seen(const rg_seal_map *map, double at)
{
    return map->bin[(int)(at + 0.5) % RG_BINS].state != RG_BIN_UNSEEN;
}

/* Is every fault that was put in where a seen bearing shows it? */
static bool all_shown(const pad *p, const rg_seal_map *map, unsigned shown)
{
    return shown == given_faults(p) && (!(p->crumb > 0) || is_seen(map, p->crumb_at)) &&
           (!(p->crease > 0) || is_seen(map, p->crease_at));
}

static unsigned named_faults(const rg_diagnosis *d)
{
    static const int as[] = {
        [RG_FAULT_TILT] = TILT,     [RG_FAULT_HINGE_THICK] = THICK, [RG_FAULT_HINGE_THIN] = THIN,
        [RG_FAULT_SADDLE] = SADDLE, [RG_FAULT_UNIFORM] = UNIFORM,   [RG_FAULT_LOCAL] = CREASE,
        [RG_FAULT_CREASE] = CREASE, [RG_FAULT_DENT] = CREASE,       [RG_FAULT_DIRT] = DIRT,
        [RG_FAULT_UNEVEN] = OTHER};
    unsigned set = 0;
    for (int i = 0; i < d->faults; i++)
        set |= 1u << as[d->fault[i].kind];
    return set;
}

static int class_of(unsigned set)
{
    if (set == 0)
        return NONE;
    for (int k = 0; k < CLASSES; k++)
        if (set == 1u << k)
            return k;
    return MIXED;
}

/* -------------------------------------------------------------- corrected */

static void add_wave(pad *p, double size, double at, int order)
{
    double *a = order == 1 ? &p->tilt : &p->saddle;
    double *d = order == 1 ? &p->tilt_at : &p->saddle_at;
    double x = *a * cos(order * *d * DEGREE) - size * cos(order * at * DEGREE);
    double y = *a * sin(order * *d * DEGREE) - size * sin(order * at * DEGREE);
    *a = hypot(x, y);
    *d = atan2(y, x) / DEGREE / order;
}

/* The technician does what is said, to the hundredth. */
static pad corrected(const pad *p, const rg_diagnosis *d)
{
    pad q = *p;
    for (int i = 0; i < d->faults; i++) {
        const rg_fault *f = &d->fault[i];
        if (f->kind <= RG_FAULT_HINGE_THIN)
            add_wave(&q, f->amount_mm / 2, f->bearing_deg, 1);
        else if (f->kind == RG_FAULT_SADDLE)
            add_wave(&q, f->amount_mm / 2, f->bearing_deg, 2);
        else if (f->kind == RG_FAULT_UNIFORM)
            q.hang = fmax(q.hang - f->amount_mm, 0);
        else if (f->kind == RG_FAULT_DIRT && apart(f->bearing_deg, p->crumb_at) < 15)
            q.crumb = 0;
        else if (f->kind == RG_FAULT_LOCAL &&
                 apart(f->bearing_deg, p->crease_at) < (p->crease_width + f->extent_deg) / 2)
            q.crease = 0;
    }
    return q;
}

static double widest(const double w[RG_BINS])
{
    double most = 0;
    for (int b = 0; b < RG_BINS; b++)
        most = fmax(most, w[b]);
    return most;
}

/* ------------------------------------------------------------------- score */

typedef struct score {
    int table[CLASSES][CLASSES], judged, right;
    int faulty, passed, twice, shown, shown_passed, shown_twice;
    int of_map[MAPS], right_of_map[MAPS];
} score;

static void one_pad(const look *l, const rg_diagnosis_options *o, int i, gsl_rng *rng, score *s)
{
    static rg_seal_map map;
    static rg_diagnosis d;
    double w[RG_BINS], v[RG_BINS];
    rg_error err;
    pad p = draw_pad(rng);
    close_key(&p, w);
    see(l, &p, i % MAPS, w, &map, rng);
    if (rg_diagnose(&map, TOLERANCE_MM, NULL, o, &d, &err) != RG_OK) {
        printf("pad %d: %s\n", i, err.text);
        exit(1);
    }
    unsigned truth = true_faults(&p, &map, w), named = named_faults(&d);
    bool sound = !(p.tilt > 0 || p.saddle > 0 || p.hang > 0 || p.crease > 0 || p.crumb > 0);
    s->table[truth || sound ? class_of(truth) : HIDDEN][class_of(named)]++;
    if (!truth && !sound)
        return;
    s->judged++;
    s->right += truth == named;
    s->of_map[i % MAPS]++;
    s->right_of_map[i % MAPS] += truth == named;
    if (truth == 0 || widest(w) <= TOLERANCE_MM)
        return;
    bool shown = all_shown(&p, &map, truth);
    pad q = corrected(&p, &d);
    close_key(&q, v);
    bool passes = widest(v) <= TOLERANCE_MM;
    s->faulty++;
    s->passed += passes;
    s->shown += shown;
    s->shown_passed += shown && passes;
    /* A new sweep, and once more what is said. */
    see(l, &q, i % MAPS, v, &map, rng);
    if (rg_diagnose(&map, TOLERANCE_MM, NULL, o, &d, &err) == RG_OK) {
        q = corrected(&q, &d);
        close_key(&q, v);
        s->twice += widest(v) <= TOLERANCE_MM;
        s->shown_twice += shown && widest(v) <= TOLERANCE_MM;
    }
}

static void print_table(const score *s)
{
    printf("%-9s", "is \\ named");
    for (int k = 0; k < CLASSES; k++)
        printf("%8s", class_name[k]);
    printf("\n");
    for (int t = 0; t < CLASSES; t++) {
        printf("%-10s", t == HIDDEN ? "(hidden)" : class_name[t]);
        for (int k = 0; k < CLASSES; k++)
            printf("%8d", s->table[t][k]);
        printf("\n");
    }
}

int main(int argc, char **argv)
{
    static look l;
    static score s;
    const rg_diagnosis_options o = test_diagnosis_options();
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, argc > 1 ? strtoul(argv[1], NULL, 10) : 6);
    if (!load_maps(&l))
        return 1;
    for (int i = 0; i < PADS; i++)
        one_pad(&l, &o, i, rng, &s);
    gsl_rng_free(rng);
    print_table(&s);
    for (int i = 0; i < MAPS; i++)
        printf("seen as in %-10s %d of %d right\n", map_name[i], s.right_of_map[i], s.of_map[i]);
    printf("beyond tolerance: %d pads; within it when corrected as advised %.1f %%, and once more "
           "after "
           "a new sweep %.1f %%\n",
           s.faulty, 100.0 * s.passed / s.faulty, 100.0 * s.twice / s.faulty);
    printf("of them with every fault in bearings that were seen: %d; %.1f %%, once more %.1f %%\n",
           s.shown, 100.0 * s.shown_passed / s.shown, 100.0 * s.shown_twice / s.shown);
    bool ok = s.right >= RIGHT_SHARE * s.judged && s.shown_passed >= PASSES_SHARE * s.shown;
    printf("population: %d pads judged, %.1f %% right (bound 90), %.1f %% within tolerance "
           "afterwards (bound 95)%s\n",
           s.judged, 100.0 * s.right / s.judged, 100.0 * s.shown_passed / s.shown,
           ok ? "" : ": OUT OF BOUNDS");
    return ok ? 0 : 1;
}
