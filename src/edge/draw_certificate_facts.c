/*
 * draw_certificate_facts.c - the figures and the sentences of a certificate.
 *
 * "Sealed" is a word about light, a tolerance, a finger's force and a moment; every text here is
 * written so that nobody can take it for more.
 */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "draw_certificate_private.h"
#include "rimglow/pad_verdict.h"

enum { PADS_MAX = 256, LIST_MAX = 10000 };

const char rg_cert_failed_word[] = "EVIDENCE DOES NOT CHECK";

const char rg_cert_method[] =
    "A light stood inside the body while each pad was held closed, and a camera looked all round "
    "the pad's rim for light coming out. Bearings are degrees round the rim, 0 at the key arm, "
    "clockwise as seen from outside.";

const char rg_cert_not_proven[] =
    "Air that passes through porous leather or felt, through seams, soldered "
    "joints, tenons or body; how a pad closes with another force, with other keys held, "
    "or on another day; and anything at bearings that are stated as unseen.";

const char rg_cert_legend[] =
    "Ring maps: the key arm at the top, bearings clockwise as seen from outside. Outwards from the "
    "thick circle, the rim: the gap; black is sure, then grey to either side of the measured line "
    "its uncertainty U. Dashed circle: tolerance. Thin line: detection limit. Hatched: unseen; "
    "cross-hatched: blocked.";

/* --------------------------------------------------------------- figures */

static bool is_seen(const rg_bin *bin)
{
    return bin->state != RG_BIN_UNSEEN && !bin->blocked && isfinite(bin->width_mm);
}

static double expanded(const rg_certificate_pad *pad, double u)
{
    double U = pad->coverage_factor * u;
    return isfinite(U) && U > 0 ? U : 0;
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Over the bearings seen; where none of them has a limit, both stay NAN. */
static void find_limits(const rg_seal_map *map, rg_cert_facts *f)
{
    double limit[RG_BINS];
    int n = 0;
    for (int b = 0; b < RG_BINS; b++)
        if (is_seen(&map->bin[b]) && isfinite(map->bin[b].detection_limit_mm))
            limit[n++] = map->bin[b].detection_limit_mm;
    f->limit_worst_mm = f->limit_median_mm = NAN;
    if (n == 0)
        return;
    qsort(limit, (size_t)n, sizeof *limit, ascending);
    f->limit_worst_mm = limit[n - 1];
    f->limit_median_mm = n % 2 ? limit[n / 2] : (limit[n / 2 - 1] + limit[n / 2]) / 2;
}

void rg_cert_find(const rg_certificate_pad *pad, rg_cert_facts *f)
{
    uint8_t unseen[RG_BINS];
    *f = (rg_cert_facts){.bound_mm = NAN};
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &pad->map->bin[b];
        unseen[b] = !is_seen(bin);
        if (unseen[b])
            continue;
        double high = bin->width_mm + expanded(pad, bin->u_mm);
        f->seen++;
        f->bound_mm = fmax(f->bound_mm, high);
        if (isfinite(bin->detection_limit_mm))
            f->bound_mm = fmax(f->bound_mm, bin->detection_limit_mm);
        if (bin->state == RG_BIN_GAP && (!f->widest || bin->width_mm > f->widest->width_mm))
            f->widest = bin;
    }
    f->runs = rg_circular_runs(unseen, RG_BINS, f->run, RG_CERT_RUNS);
    find_limits(pad->map, f);
}

/* ----------------------------------------------------------------- texts */

static void put(rg_cert_text text, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Adds to the end; what does not fit is cut. */
static void put(rg_cert_text text, const char *format, ...)
{
    size_t n = strlen(text);
    va_list list;
    va_start(list, format);
    vsnprintf(text + n, RG_CERT_TEXT - n, format, list);
    va_end(list);
}

static const char *name(const char *text)
{
    return rg_draw_name(text, "not stated");
}

const char *rg_cert_sign(rg_verdict verdict)
{
    return verdict == RG_VERDICT_SEALED    ? "( O )"
           : verdict == RG_VERDICT_LEAKING ? "( / )"
                                           : "( ? )";
}

const char *rg_cert_word(rg_verdict verdict)
{
    return verdict == RG_VERDICT_SEALED    ? "SEALED"
           : verdict == RG_VERDICT_LEAKING ? "LEAKING"
                                           : "UNDECIDED";
}

void rg_cert_widest(const rg_certificate_pad *pad, const rg_cert_facts *f, rg_cert_text text)
{
    text[0] = 0;
    if (f->seen == 0)
        put(text, "nothing was seen");
    else if (f->widest)
        put(text, "%.3f \u00b1 %.3f mm at bearing %.0f (U, k = %.3g)", f->widest->width_mm,
            expanded(pad, f->widest->u_mm), f->widest->bearing_deg, pad->coverage_factor);
    else
        put(text, "none found; none is wider than %.3f mm%s", f->bound_mm,
            f->seen < RG_BINS ? " where seen" : "");
}

void rg_cert_widest_short(const rg_certificate_pad *pad, const rg_cert_facts *f, rg_cert_text text)
{
    text[0] = 0;
    if (f->seen == 0)
        put(text, "nothing seen");
    else if (f->widest)
        put(text, "%.3f \u00b1 %.3f", f->widest->width_mm, expanded(pad, f->widest->u_mm));
    else
        put(text, "none over %.3f", f->bound_mm);
}

void rg_cert_limit(const rg_cert_facts *f, rg_cert_text text)
{
    text[0] = 0;
    if (isnan(f->limit_worst_mm))
        put(text, "none: nothing was seen");
    else
        put(text, "%.3f mm at worst, median %.3f mm, of the bearings seen", f->limit_worst_mm,
            f->limit_median_mm);
}

void rg_cert_seen(const rg_certificate_pad *pad, const rg_cert_facts *f, rg_cert_text text)
{
    text[0] = 0;
    put(text, "%d of %d bearings (%.1f %%), in %d of %d frames", f->seen, RG_BINS,
        100.0 * f->seen / RG_BINS, pad->frames_used, pad->frames_given);
}

void rg_cert_unseen(const rg_cert_facts *f, int most, rg_cert_text text)
{
    text[0] = 0;
    if (f->runs == 0)
        put(text, "none");
    else if (f->run[0].length >= RG_BINS)
        put(text, "all round");
    for (int i = 0; i < f->runs && f->run[i].length < RG_BINS; i++) {
        int first = f->run[i].start % RG_BINS, last = (first + f->run[i].length - 1) % RG_BINS;
        if (i == most) {
            put(text, " and %d more", f->runs - i);
            return;
        }
        put(text, first == last ? "%s%d" : "%s%d..%d", i ? ", " : "", first, last);
    }
}

void rg_cert_arc(const rg_certificate_pad *pad, const rg_arc *arc, rg_cert_text text)
{
    text[0] = 0;
    if (arc->full_circle)
        put(text, "all round, ");
    else
        put(text, "%.0f..%.0f: %.0f \u00b1 %.0f degrees, %.1f mm long, ", arc->start_deg,
            arc->end_deg, arc->extent_deg, expanded(pad, arc->u_extent_deg), arc->extent_mm);
    put(text, "widest %.3f \u00b1 %.3f mm at %.0f, mean %.3f mm, open area %.2f mm\u00b2",
        arc->max_width_mm, expanded(pad, arc->u_max_mm), arc->max_bearing_deg, arc->mean_width_mm,
        arc->open_area_mm2);
    if (arc->start_unseen || arc->end_unseen)
        put(text, "; runs on into unseen bearings");
}

static int by_width(const void *a, const void *b)
{
    const rg_arc *x = *(const rg_arc *const *)a, *y = *(const rg_arc *const *)b;
    if (x->max_width_mm != y->max_width_mm)
        return x->max_width_mm < y->max_width_mm ? 1 : -1;
    return x < y ? -1 : x > y;
}

int rg_cert_arcs(const rg_seal_map *map, const rg_arc *order[RG_ARCS_MAX])
{
    for (int i = 0; i < map->arcs; i++)
        order[i] = &map->arc[i];
    qsort(order, (size_t)map->arcs, sizeof *order, by_width);
    return map->arcs;
}

const char *rg_cert_signs(const char *from, rg_cert_text text)
{
    text[0] = 0;
    while (*from && strlen(text) + 8 < RG_CERT_TEXT) {
        bool sign = from[0] == '+' && from[1] == '-';
        put(text, "%s", sign ? "\u00b1" : (char[]){*from, 0});
        from += sign ? 2 : 1;
    }
    return text;
}

void rg_cert_conditions(const rg_certificate_pad *pad, rg_cert_text text)
{
    text[0] = 0;
    put(text, "%.4g mm, finger %.60s; light %s", pad->tolerance_mm, name(pad->finger),
        pad->light_proven ? "proven on" : "NOT proven on");
}

void rg_cert_station(const rg_certificate_pad *pad, rg_cert_text text)
{
    text[0] = 0;
    put(text, "%.200s; light calibrated: %.100s", name(pad->station), name(pad->calibration));
}

void rg_cert_heading(const rg_certificate *c, rg_cert_text text)
{
    text[0] = 0;
    put(text, "%.300s, inspection %d", rg_draw_name(c->serial, "(no serial)"), c->sequence);
}

void rg_cert_value(const rg_certificate_value *v, rg_cert_text text)
{
    const char *unit = v->unit ? v->unit : "";
    text[0] = 0;
    put(text, "%.7g%s%.60s", v->value, *unit ? " " : "", unit);
    if (isfinite(v->u))
        put(text, " (u = %.3g%s%.60s)", v->u, *unit ? " " : "", unit);
}

/* ------------------------------------------------------------- sentences */

static bool same_pad(const rg_certificate *c, int i, int k)
{
    return strcmp(name(c->pad[i].pad), name(c->pad[k].pad)) == 0;
}

/* A pad may have several sweeps, by different fingers: each counts once. */
static bool is_first_sweep(const rg_certificate *c, int i)
{
    for (int k = 0; k < i; k++)
        if (same_pad(c, i, k))
            return false;
    return true;
}

static rg_verdict pad_verdict(const rg_certificate *c, int i, bool *only_firm)
{
    rg_pad_sweep sweep[PADS_MAX];
    int n = 0;
    for (int k = 0; k < c->pads && n < PADS_MAX; k++)
        if (same_pad(c, i, k))
            sweep[n++] =
                (rg_pad_sweep){c->pad[k].map->verdict, strcmp(name(c->pad[k].finger), "firm") == 0};
    return rg_pad_verdict(sweep, n, only_firm);
}

static int count_pads(const rg_certificate *c)
{
    int n = 0;
    for (int i = 0; i < c->pads; i++)
        n += is_first_sweep(c, i);
    return n;
}

static int count(const rg_certificate *c, rg_verdict verdict)
{
    int n = 0;
    for (int i = 0; i < c->pads; i++)
        n += is_first_sweep(c, i) && pad_verdict(c, i, NULL) == verdict;
    return n;
}

static int count_only_firm(const rg_certificate *c)
{
    int n = 0;
    for (int i = 0; i < c->pads; i++) {
        bool only_firm;
        pad_verdict(c, i, &only_firm);
        n += is_first_sweep(c, i) && only_firm;
    }
    return n;
}

void rg_cert_counts(const rg_certificate *c, rg_cert_text text)
{
    int pads = count_pads(c);
    text[0] = 0;
    put(text, "%d pad%s measured", pads, pads == 1 ? "" : "s");
    if (c->pads > pads)
        put(text, " in %d sweeps", c->pads);
    put(text, ": %d sealed, %d leaking, %d undecided. ", count(c, RG_VERDICT_SEALED),
        count(c, RG_VERDICT_LEAKING), count(c, RG_VERDICT_UNDECIDED));
    if (c->not_swept > 0)
        put(text, "%d pad%s of this model NOT measured.", c->not_swept,
            c->not_swept == 1 ? "" : "s");
    else
        put(text, "No pad of this model is listed as not measured.");
}

void rg_cert_result(const rg_certificate *c, rg_cert_text text)
{
    int leaking = count(c, RG_VERDICT_LEAKING), firm = count_only_firm(c);
    int undecided = count(c, RG_VERDICT_UNDECIDED) - firm;
    text[0] = 0;
    if (!c->check_passed) {
        put(text,
            "The files that are kept of this inspection do not agree with what was put into "
            "the archive. Nothing on these pages can be relied on; the results below are "
            "printed as they were found, and are not confirmed. Measure the instrument again.");
        return;
    }
    if (c->pads == 0)
        put(text, "No pad was measured. ");
    if (leaking)
        put(text,
            "%d pad%s let%s light out through a gap that stays wider than the tolerance even when "
            "its "
            "uncertainty is taken off. ",
            leaking, leaking == 1 ? "" : "s", leaking == 1 ? "s" : "");
    if (undecided)
        put(text, "%d pad%s not decided: the measurement shows neither a seal nor a leak. ",
            undecided, undecided == 1 ? " is" : "s are");
    if (firm)
        put(text, "%d pad%s closed with a firm finger alone, which shows no seal in playing. ",
            firm, firm == 1 ? " was" : "s were");
    if (c->pads > 0 && leaking + undecided + firm == 0)
        put(text, "Every pad that was measured seals to light within the tolerance, all round its "
                  "rim. ");
    if (c->not_swept > 0)
        put(text, "Nothing is said about the pads that were not measured.");
}

/* "0.025 mm", or the range over the pads. */
static void put_tolerance(const rg_certificate *c, rg_cert_text text)
{
    double low = INFINITY, high = 0;
    for (int i = 0; i < c->pads; i++) {
        low = fmin(low, c->pad[i].tolerance_mm);
        high = fmax(high, c->pad[i].tolerance_mm);
    }
    if (c->pads == 0)
        put(text, "the tolerance");
    else if (low == high)
        put(text, "%.4g mm", low);
    else
        put(text, "its tolerance (%.4g to %.4g mm)", low, high);
}

static void put_finger(const rg_certificate *c, rg_cert_text text)
{
    bool same = c->pads > 0;
    for (int i = 1; i < c->pads; i++)
        same = same && strcmp(name(c->pad[i].finger), name(c->pad[0].finger)) == 0;
    if (!same)
        put(text, "pressed as stated for each pad");
    else if (strcmp(name(c->pad[0].finger), "unstated") == 0)
        put(text, "pressed with a force that was not stated");
    else
        put(text, "pressed with this finger force: %.60s", c->pad[0].finger);
}

void rg_cert_meaning(const rg_certificate *c, rg_cert_text text)
{
    text[0] = 0;
    put(text, "\"Sealed\" means sealed to light, no more: at %.40s, ",
        rg_draw_name(c->time, "a time that was not stated"));
    put_finger(c, text);
    put(text, ", no gap wider than ");
    put_tolerance(c, text);
    put(text,
        " was open at any bearing of the rim, and every bearing was seen well enough to show one. "
        "\"Leaking\" means that a wider gap was measured, with its uncertainty "
        "taken off. All else is \"undecided\".");
}

/* ----------------------------------------------------------------- check */

rg_draw_ring_args rg_cert_ring(const rg_certificate *c, int pad)
{
    const rg_certificate_pad *p = &c->pad[pad];
    return (rg_draw_ring_args){p->map,  c->serial,       p->pad,
                               c->time, p->tolerance_mm, p->coverage_factor};
}

rg_code rg_cert_check(const rg_certificate *c, rg_error *err)
{
    if (c->pads < 0 || c->pads > PADS_MAX || c->not_swept < 0 || c->not_swept > LIST_MAX ||
        c->values < 0 || c->values > LIST_MAX || c->reasons < 0 || c->reasons > LIST_MAX)
        return rg_fail(err, RG_BAD_DATA,
                       "certificate: %d pads, %d not swept, %d set-up values, %d reasons; at most "
                       "%d pads and %d of the others fit",
                       c->pads, c->not_swept, c->values, c->reasons, PADS_MAX, LIST_MAX);
    for (int i = 0; i < c->pads; i++) {
        rg_draw_ring_args ring = rg_cert_ring(c, i);
        if (!ring.map || ring.map->arcs < 0 || ring.map->arcs > RG_ARCS_MAX ||
            ring.map->reasons < 0 || ring.map->reasons > RG_REASONS_MAX)
            return rg_fail(err, RG_BAD_DATA, "certificate: pad %.100s has no seal map",
                           name(ring.pad));
        rg_code code = rg_ring_check(&ring, err);
        if (code != RG_OK)
            return code;
    }
    return RG_OK;
}
