/*
 * draw_ring.c - the ring map: one pad's gap width round the rim.
 *
 * A polar picture, key arm at the top and bearings clockwise, as one looks
 * down on the cup. The bold inner circle is the rim (gap 0); the gap's width
 * is drawn outwards on a linear scale in mm, solid up to the width less its
 * expanded uncertainty, dark grey from there to the width, light grey from
 * the width to the width plus its uncertainty. So the tolerance circle lies
 * outside everything grey where the pad seals, and inside everything black
 * where it leaks.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "draw_private.h"
#include "rimglow/light.h"

enum {
    RUNS_MAX = RG_BINS / 2 + 1,
    CALLOUTS_PER_SIDE = 4,
    CALLOUTS_MAX = 2 * CALLOUTS_PER_SIDE,
    MARGIN = RG_RING_MARGIN
};

static const double centre_x = RG_RING_WIDTH / 2.0, centre_y = 590;
static const double rim_radius = 130, scale_radius = 280;
static const double largest_scale_mm = 1000; /* wider "gaps" are drawn at the edge */

/* Where a word on the plot stands: left, top, right, bottom. */
typedef struct box {
    double x0, y0, x1, y1;
} box;

enum { BOXES_MAX = 40 };

typedef struct ring {
    cairo_t *cr;
    const rg_draw_ring_args *args;
    const rg_seal_map *map;
    double word;            /* size of the words against those of the page */
    double step_mm, top_mm; /* of the radial scale */
    rg_run seen[RUNS_MAX], unseen[RUNS_MAX], blocked[RUNS_MAX];
    int seen_runs, unseen_runs, blocked_runs;
    box taken[BOXES_MAX]; /* by words, so that none covers another */
    int boxes;
} ring;

/* ----------------------------------------------------------------- scale */

static bool is_seen(const rg_bin *bin)
{
    return bin->state != RG_BIN_UNSEEN && !bin->blocked && isfinite(bin->width_mm);
}

static double expanded(const ring *r, const rg_bin *bin)
{
    double u = r->args->coverage_factor * bin->u_mm;
    return isfinite(u) && u > 0 ? u : 0;
}

typedef double level(const ring *r, const rg_bin *bin);

static double level_zero(const ring *r, const rg_bin *bin)
{
    (void)r;
    (void)bin;
    return 0;
}

static double level_sure(const ring *r, const rg_bin *bin)
{
    return bin->width_mm - expanded(r, bin);
}

static double level_width(const ring *r, const rg_bin *bin)
{
    (void)r;
    return bin->width_mm;
}

static double level_high(const ring *r, const rg_bin *bin)
{
    return bin->width_mm + expanded(r, bin);
}

static double level_limit(const ring *r, const rg_bin *bin)
{
    (void)r;
    return bin->detection_limit_mm;
}

/* No gap wider than this can be there: what stays dark may be as wide as its
 * detection limit. */
static double level_bound(const ring *r, const rg_bin *bin)
{
    return fmax(level_high(r, bin), bin->detection_limit_mm);
}

/* The bin with the largest value of a level; NULL when none was seen. */
static const rg_bin *largest(const ring *r, level *value)
{
    const rg_bin *best = NULL;
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &r->map->bin[b];
        if (is_seen(bin) && (!best || value(r, bin) > value(r, best)))
            best = bin;
    }
    return best;
}

/* 1, 2 or 5 times a power of ten, at least x. */
static double nice_step(double x)
{
    double power = pow(10, floor(log10(x)));
    double lead = x / power;
    return power * (lead <= 1.000001 ? 1 : lead <= 2 ? 2 : lead <= 5 ? 5 : 10);
}

static void choose_scale(ring *r)
{
    const rg_bin *widest = largest(r, level_high);
    double top = widest ? level_high(r, widest) : 0;
    top = fmin(fmax(1.03 * top, 2 * r->args->tolerance_mm), largest_scale_mm);
    r->step_mm = nice_step(top / 5);
    r->top_mm = r->step_mm * ceil(top / r->step_mm - 1e-9);
}

static double radius_of(const ring *r, double mm)
{
    double share = mm / r->top_mm;
    share = share > 0 ? fmin(share, 1) : 0; /* NAN: the rim itself */
    return rim_radius + share * (scale_radius - rim_radius);
}

static rg_vec2 polar(double radius, double bearing_deg)
{
    double b = rg_radians(bearing_deg);
    return (rg_vec2){centre_x + radius * sin(b), centre_y - radius * cos(b)};
}

static void find_runs(ring *r)
{
    uint8_t seen[RG_BINS], unseen[RG_BINS], blocked[RG_BINS];
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &r->map->bin[b];
        seen[b] = is_seen(bin);
        blocked[b] = bin->blocked;
        unseen[b] = !seen[b] && !blocked[b];
    }
    r->seen_runs = rg_circular_runs(seen, RG_BINS, r->seen, RUNS_MAX);
    r->unseen_runs = rg_circular_runs(unseen, RG_BINS, r->unseen, RUNS_MAX);
    r->blocked_runs = rg_circular_runs(blocked, RG_BINS, r->blocked, RUNS_MAX);
}

/* ------------------------------------------------------------------ plot */

static void circle(cairo_t *cr, double radius)
{
    cairo_new_sub_path(cr);
    cairo_arc(cr, centre_x, centre_y, radius, 0, 2 * RG_PI);
}

/* One side of a run's outline, from its first bearing to its last or back. */
static void trace(const ring *r, rg_run run, level *value, bool back)
{
    for (int i = 0; i <= run.length + 1; i++) {
        int k = back ? run.length + 1 - i : i;
        int inner = k < 1 ? 0 : k > run.length ? run.length - 1 : k - 1;
        double bearing = run.start + (k < 1 ? -0.5 : k > run.length ? inner + 0.5 : inner);
        const rg_bin *bin = &r->map->bin[(run.start + inner) % RG_BINS];
        rg_vec2 p = polar(radius_of(r, value(r, bin)), bearing);
        cairo_line_to(r->cr, p.x, p.y);
    }
}

static void fill_between(const ring *r, level *low, level *high, double tone)
{
    for (int i = 0; i < r->seen_runs; i++) {
        cairo_new_path(r->cr);
        trace(r, r->seen[i], high, false);
        trace(r, r->seen[i], low, true);
        cairo_close_path(r->cr);
        rg_grey(r->cr, tone);
        cairo_fill(r->cr);
    }
}

static void draw_widths(const ring *r)
{
    fill_between(r, level_width, level_high, 0.80);
    fill_between(r, level_sure, level_width, 0.42);
    fill_between(r, level_zero, level_sure, 0.0);
    cairo_set_line_width(r->cr, 2);
    rg_grey(r->cr, 0);
    for (int i = 0; i < r->seen_runs; i++) {
        cairo_new_path(r->cr);
        trace(r, r->seen[i], level_width, false);
        cairo_stroke(r->cr);
    }
}

/* Only where it is on the scale: a limit beyond it says "unseen". */
static void draw_limit(const ring *r)
{
    bool pen = false;
    cairo_new_path(r->cr);
    for (int b = 0; b <= RG_BINS; b++) {
        const rg_bin *bin = &r->map->bin[b % RG_BINS];
        double limit = level_limit(r, bin);
        if (!(limit >= 0 && limit <= r->top_mm)) {
            pen = false;
            continue;
        }
        rg_vec2 p = polar(radius_of(r, limit), b);
        if (pen)
            cairo_line_to(r->cr, p.x, p.y);
        else
            cairo_move_to(r->cr, p.x, p.y);
        pen = true;
    }
    cairo_set_line_width(r->cr, 1);
    rg_grey(r->cr, 0.25);
    cairo_stroke(r->cr);
}

static void sector(cairo_t *cr, rg_run run)
{
    double from = rg_radians(run.start - 0.5 - 90), to = from + rg_radians(run.length);
    cairo_new_path(cr);
    cairo_arc(cr, centre_x, centre_y, scale_radius, from, to);
    if (run.length >= RG_BINS)
        cairo_new_sub_path(cr);
    cairo_arc_negative(cr, centre_x, centre_y, rim_radius, to, from);
    cairo_close_path(cr);
}

static void hatch_sectors(const ring *r, const rg_run *run, int runs, rg_pattern pattern)
{
    cairo_set_line_width(r->cr, 1.3);
    rg_grey(r->cr, 0.2);
    for (int i = 0; i < runs; i++) {
        sector(r->cr, run[i]);
        rg_fill_pattern(r->cr, pattern, pattern == RG_PATTERN_CROSS ? 10 : 9);
        if (run[i].length >= RG_BINS)
            continue;
        sector(r->cr, run[i]);
        cairo_stroke(r->cr);
    }
}

/* Writes a word about p unless another word is there already. */
static bool place_word(ring *r, rg_vec2 p, const char *text)
{
    double half = rg_text_width(r->cr, text) / 2 + 4, tall = 11 * r->word;
    box b = {p.x - half, p.y - tall, p.x + half, p.y + tall};
    for (int i = 0; i < r->boxes; i++) {
        const box *t = &r->taken[i];
        if (b.x0 < t->x1 && t->x0 < b.x1 && b.y0 < t->y1 && t->y0 < b.y1)
            return false;
    }
    if (r->boxes == BOXES_MAX)
        return false;
    r->taken[r->boxes++] = b;
    rg_text_halo(r->cr, p.x, p.y + 6 * r->word, 0.5, text);
    return true;
}

/* A run is named at its middle, or as near to it as there is room. */
static void name_run(ring *r, rg_run run, const char *word)
{
    static const double share[] = {0.5, 0.75, 0.3, 0.9};
    double middle = run.start + (run.length - 1) / 2.0;
    for (int away = 0; away <= (run.length - 12) / 2; away += 4)
        for (int i = 0; i < 8; i++) {
            double radius = rim_radius + share[i / 2] * (scale_radius - rim_radius);
            if (place_word(r, polar(radius, middle + (i % 2 ? away : -away)), word))
                return;
        }
}

static void name_sectors(ring *r, const rg_run *run, int runs, const char *word)
{
    rg_font(r->cr, 17 * r->word, true);
    rg_grey(r->cr, 0);
    for (int i = 0; i < runs; i++) {
        if (run[i].length >= RG_BINS) {
            name_run(r, (rg_run){70, 41}, word);
            name_run(r, (rg_run){250, 41}, word);
        } else {
            name_run(r, run[i], word);
        }
    }
}

static void draw_grid(const ring *r)
{
    cairo_set_line_width(r->cr, 0.8);
    rg_grey(r->cr, 0.72);
    for (double mm = r->step_mm; mm < r->top_mm * 1.0001; mm += r->step_mm) {
        cairo_new_path(r->cr);
        circle(r->cr, radius_of(r, mm));
        cairo_stroke(r->cr);
    }
    for (int b = 0; b < 360; b += 30) {
        rg_vec2 a = polar(rim_radius, b), z = polar(scale_radius, b);
        cairo_move_to(r->cr, a.x, a.y);
        cairo_line_to(r->cr, z.x, z.y);
        cairo_stroke(r->cr);
    }
}

static void draw_tolerance(const ring *r)
{
    static const double dash[] = {14, 7};
    double radius = radius_of(r, r->args->tolerance_mm);
    cairo_save(r->cr);
    cairo_new_path(r->cr);
    circle(r->cr, radius);
    cairo_set_line_width(r->cr, 6);
    rg_grey(r->cr, 1);
    cairo_stroke_preserve(r->cr);
    cairo_set_dash(r->cr, dash, 2, 0);
    cairo_set_line_width(r->cr, 3.2);
    rg_grey(r->cr, 0);
    cairo_stroke(r->cr);
    cairo_restore(r->cr);
}

static void draw_rim(const ring *r)
{
    cairo_new_path(r->cr);
    circle(r->cr, rim_radius - 2.5);
    cairo_set_line_width(r->cr, 5);
    rg_grey(r->cr, 0);
    cairo_stroke(r->cr);
    circle(r->cr, scale_radius);
    cairo_set_line_width(r->cr, 1.2);
    cairo_stroke(r->cr);
}

/* The scale is written where least is drawn, above or below the centre, so
 * that its numbers stand one over the other. */
static double quiet_bearing(const ring *r)
{
    double best = INFINITY, where = 180;
    for (int c = 0; c < 24; c++) {
        int bearing = c < 12 ? 152 + 5 * c : 332 + 5 * (c - 12);
        double sum = abs(bearing - 165) * 1e-4 * r->top_mm;
        for (int k = -12; k <= 12; k++) {
            const rg_bin *bin = &r->map->bin[(bearing + k + RG_BINS) % RG_BINS];
            sum += is_seen(bin) ? fmin(fmax(level_high(r, bin), 0), r->top_mm) : 2 * r->top_mm;
        }
        if (sum < best) {
            best = sum;
            where = bearing;
        }
    }
    return where;
}

static void scale_label(ring *r, double radius, double bearing, bool bold, const char *text)
{
    rg_font(r->cr, (bold ? 15 : 14) * r->word, bold);
    rg_grey(r->cr, bold ? 0 : 0.15);
    place_word(r, polar(radius, bearing), text);
}

/* The tolerance, the end of the scale, then what finds room between. */
static void draw_scale(ring *r)
{
    char text[64];
    double bearing = quiet_bearing(r);
    double outermost = scale_radius - 11; /* clear of the bearings outside */
    double tolerance = fmax(radius_of(r, r->args->tolerance_mm), rim_radius + 15);
    int digits = (int)fmin(fmax(ceil(-log10(r->step_mm) - 1e-6), 0), 9);
    snprintf(text, sizeof text, "tolerance %.4g", r->args->tolerance_mm);
    scale_label(r, tolerance, bearing, true, text);
    snprintf(text, sizeof text, "%.*f mm", digits, r->top_mm);
    scale_label(r, outermost, bearing, false, text);
    for (double mm = r->step_mm; mm < r->top_mm - r->step_mm / 2; mm += r->step_mm) {
        snprintf(text, sizeof text, "%.*f", digits, mm);
        scale_label(r, radius_of(r, mm), bearing, false, text);
    }
}

/* ------------------------------------------------------- around the plot */

static void draw_bearings(const ring *r)
{
    char text[32];
    rg_font(r->cr, 15, false);
    for (int b = 0; b < 360; b += 10) {
        rg_vec2 a = polar(scale_radius, b), z = polar(scale_radius + (b % 30 ? 4 : 8), b);
        cairo_set_line_width(r->cr, 1.4);
        rg_grey(r->cr, 0);
        cairo_move_to(r->cr, a.x, a.y);
        cairo_line_to(r->cr, z.x, z.y);
        cairo_stroke(r->cr);
        if (b % 30 || b == 0)
            continue;
        z = polar(scale_radius + 25, b);
        snprintf(text, sizeof text, "%d\u00b0", b);
        rg_text_halo(r->cr, z.x + 2, z.y + 5, 0.5, text);
    }
}

/* The arm: two rails that end in the hinge's tube. */
static void draw_arm(const ring *r)
{
    cairo_t *cr = r->cr;
    double foot = centre_y - scale_radius - 6, head = foot - 46;
    cairo_rectangle(cr, centre_x - 9, head, 18, foot - head);
    rg_grey(cr, 0.85);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 2.5);
    cairo_stroke(cr);
    cairo_rectangle(cr, centre_x - 48, head - 14, 96, 15);
    rg_grey(cr, 1);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    cairo_stroke(cr);
    rg_font(cr, 16, true);
    rg_text(cr, centre_x + 18, foot - 14, 0, 0, "0\u00b0 key arm");
}

static void draw_sense(const ring *r)
{
    cairo_t *cr = r->cr;
    double y = centre_y + scale_radius + 62, x = centre_x - 262;
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 2.5);
    cairo_arc(cr, x, y - 5, 11, rg_radians(150), rg_radians(400));
    cairo_stroke(cr);
    rg_vec2 tip = {x + 11 * cos(rg_radians(400)), y - 5 + 11 * sin(rg_radians(400))};
    cairo_move_to(cr, tip.x - 7, tip.y + 7);
    cairo_line_to(cr, tip.x - 5, tip.y - 5);
    cairo_line_to(cr, tip.x + 6, tip.y + 1);
    cairo_close_path(cr);
    cairo_fill(cr);
    rg_font(cr, 16, false);
    rg_text(cr, x + 24, y, 0, 0,
            "seen from outside, looking down on the cup: clockwise from the arm");
}

/* -------------------------------------------------------------- callouts */

typedef struct callout {
    const rg_arc *arc;
    bool right;
    double y; /* of its middle */
} callout;

static int by_width(const void *a, const void *b)
{
    const rg_arc *x = *(const rg_arc *const *)a, *y = *(const rg_arc *const *)b;
    if (x->max_width_mm != y->max_width_mm)
        return x->max_width_mm < y->max_width_mm ? 1 : -1;
    return x < y ? -1 : x > y;
}

static int by_height(const void *a, const void *b)
{
    const callout *x = a, *y = b;
    if (x->right != y->right)
        return x->right ? 1 : -1;
    if (x->y != y->y)
        return x->y < y->y ? -1 : 1;
    return x->arc < y->arc ? -1 : x->arc > y->arc;
}

/* Moves one side's callouts apart, then back into the plot's height. */
static void spread(callout *c, int n)
{
    static const double apart = 84;
    const double top = centre_y - scale_radius + 10, bottom = centre_y + scale_radius - 40;
    for (int i = 0; i < n; i++)
        c[i].y = fmin(fmax(c[i].y, i ? c[i - 1].y + apart : top), bottom + 1000);
    for (int i = n - 1; i >= 0; i--)
        c[i].y = fmin(c[i].y, i < n - 1 ? c[i + 1].y - apart : bottom);
}

/* The widest arcs, at most CALLOUTS_PER_SIDE a side; returns their number. */
static int choose_callouts(const ring *r, callout *chosen)
{
    const rg_arc *order[RG_ARCS_MAX];
    int n = r->map->arcs, taken = 0, side[2] = {0, 0};
    for (int i = 0; i < n; i++)
        order[i] = &r->map->arc[i];
    /* cppcheck-suppress uninitvar ; the first n are set */
    qsort(order, (size_t)n, sizeof *order, by_width);
    for (int i = 0; i < n && taken < CALLOUTS_MAX; i++) {
        rg_vec2 p = polar(scale_radius, order[i]->max_bearing_deg);
        bool right = p.x >= centre_x;
        if (side[right] == CALLOUTS_PER_SIDE)
            break; /* a narrower arc is not named before a wider one */
        side[right]++;
        chosen[taken++] = (callout){order[i], right, p.y};
    }
    qsort(chosen, (size_t)taken, sizeof *chosen, by_height);
    spread(chosen, side[0]);
    spread(chosen + side[0], side[1]);
    return taken;
}

static void draw_leader(const ring *r, const callout *c)
{
    const rg_arc *arc = c->arc;
    double edge = c->right ? RG_RING_WIDTH - MARGIN - 148 : MARGIN + 148;
    rg_vec2 from = polar(radius_of(r, arc->max_width_mm), arc->max_bearing_deg);
    rg_vec2 bend = polar(scale_radius + 14, arc->max_bearing_deg);
    cairo_t *cr = r->cr;
    for (int pass = 0; pass < 2; pass++) {
        cairo_move_to(cr, from.x, from.y);
        cairo_line_to(cr, bend.x, bend.y);
        cairo_line_to(cr, edge, c->y - 6);
        cairo_set_line_width(cr, pass ? 1.4 : 4);
        rg_grey(cr, pass ? 0 : 1);
        cairo_stroke(cr);
    }
    cairo_arc(cr, from.x, from.y, 5, 0, 2 * RG_PI);
    rg_grey(cr, 1);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 2);
    cairo_stroke(cr);
}

static void write_callout(const ring *r, const callout *c)
{
    char text[96];
    const rg_arc *arc = c->arc;
    double x = c->right ? RG_RING_WIDTH - MARGIN : MARGIN, anchor = c->right ? 1 : 0;
    double u = r->args->coverage_factor * arc->u_max_mm;
    rg_grey(r->cr, 0);
    rg_font(r->cr, 22, true);
    snprintf(text, sizeof text, "%.3f mm", arc->max_width_mm);
    rg_text(r->cr, x, c->y, anchor, 150, text);
    rg_font(r->cr, 14.5, false);
    snprintf(text, sizeof text, "\u00b1 %.3f mm at %.0f\u00b0", u, arc->max_bearing_deg);
    rg_text(r->cr, x, c->y + 20, anchor, 160, text);
    if (arc->full_circle)
        snprintf(text, sizeof text, "all round");
    else
        snprintf(text, sizeof text, "arc %.0f\u00b0, centre %.0f\u00b0", arc->extent_deg,
                 arc->centre_deg);
    rg_text(r->cr, x, c->y + 38, anchor, 160, text);
}

static void count_the_rest(const ring *r, int named)
{
    char text[64];
    int rest = r->map->arcs - named;
    if (rest <= 0)
        return;
    snprintf(text, sizeof text, "+ %d more", rest);
    rg_font(r->cr, 17, true);
    rg_grey(r->cr, 0);
    rg_text(r->cr, MARGIN, centre_y + scale_radius + 40, 0, 180, text);
    rg_font(r->cr, 14.5, false);
    rg_text(r->cr, MARGIN, centre_y + scale_radius + 60, 0, 180, "narrower arcs");
}

/* ------------------------------------------------------------------ page */

/* The number to take away, in the middle of the ring. */
static void draw_centre(const ring *r)
{
    char text[64];
    const rg_bin *widest = largest(r, level_width), *high = largest(r, level_bound);
    bool open = widest && widest->state == RG_BIN_GAP;
    if (!widest) {
        rg_font(r->cr, 26, true);
        rg_text(r->cr, centre_x, centre_y - 4, 0.5, 220, "nothing");
        rg_text(r->cr, centre_x, centre_y + 26, 0.5, 220, "seen");
        return;
    }
    rg_font(r->cr, 17, false);
    rg_text(r->cr, centre_x, centre_y - 40, 0.5, 200, open ? "widest gap" : "gap at most");
    rg_font(r->cr, 50, true);
    snprintf(text, sizeof text, "%.3f", open ? widest->width_mm : level_bound(r, high));
    rg_text(r->cr, centre_x, centre_y + 12, 0.5, 220, text);
    rg_font(r->cr, 18, false);
    if (open)
        snprintf(text, sizeof text, "\u00b1 %.3f mm", expanded(r, widest));
    else
        snprintf(text, sizeof text, "mm");
    rg_text(r->cr, centre_x, centre_y + 42, 0.5, 200, text);
    if (r->unseen_runs + r->blocked_runs > 0)
        rg_text(r->cr, centre_x, centre_y + 68, 0.5, 200, "where seen");
}

static void draw_plot(ring *r)
{
    callout chosen[CALLOUTS_MAX];
    int named = choose_callouts(r, chosen);
    draw_grid(r);
    hatch_sectors(r, r->unseen, r->unseen_runs, RG_PATTERN_DIAGONAL);
    hatch_sectors(r, r->blocked, r->blocked_runs, RG_PATTERN_CROSS);
    draw_limit(r);
    draw_widths(r);
    draw_tolerance(r);
    draw_rim(r);
    for (int i = 0; i < named; i++)
        draw_leader(r, &chosen[i]);
    draw_bearings(r);
    draw_arm(r);
    draw_scale(r);
    name_sectors(r, r->unseen, r->unseen_runs, "unseen");
    name_sectors(r, r->blocked, r->blocked_runs, "blocked");
    for (int i = 0; i < named; i++)
        write_callout(r, &chosen[i]);
    count_the_rest(r, named);
}

static ring begin_ring(cairo_t *cr, const rg_draw_ring_args *args, double word)
{
    ring r = {.cr = cr, .args = args, .map = args->map, .word = word};
    find_runs(&r);
    choose_scale(&r);
    return r;
}

rg_code rg_ring_check(const rg_draw_ring_args *args, rg_error *err)
{
    if (!(args->tolerance_mm > 0 && args->tolerance_mm < largest_scale_mm))
        return rg_fail(err, RG_BAD_DATA,
                       "ring map: tolerance %g mm; give a value above 0 and below %g mm",
                       args->tolerance_mm, largest_scale_mm);
    if (!(args->coverage_factor > 0 && args->coverage_factor < 100))
        return rg_fail(err, RG_BAD_DATA,
                       "ring map: coverage factor %g; give a value between 0 and 100",
                       args->coverage_factor);
    return RG_OK;
}

rg_code rg_draw_ring(const rg_draw_ring_args *args, rg_picture_format format, rg_bytes *out,
                     rg_error *err)
{
    rg_canvas canvas;
    *out = (rg_bytes){0};
    rg_code code = rg_ring_check(args, err);
    if (code == RG_OK)
        code = rg_canvas_open(&canvas, format, RG_RING_WIDTH, RG_RING_HEIGHT, err);
    if (code != RG_OK)
        return code;
    ring r = begin_ring(canvas.cr, args, 1);
    draw_plot(&r);
    draw_centre(&r);
    draw_sense(&r);
    rg_ring_page(canvas.cr, args, r.blocked_runs > 0);
    return rg_canvas_close(&canvas, out, err);
}

/* -------------------------------------------------------------- small ring */

/* As small as a stamp the words must be larger and fewer: what the ring cannot name stands in
 * the text beside it. */
static const double small_half = 352, small_word = 2.2;

static void small_bearings(const ring *r)
{
    char text[32];
    for (int b = 30; b < 360; b += 30) {
        rg_vec2 a = polar(scale_radius, b), z = polar(scale_radius + (b % 90 ? 8 : 12), b);
        cairo_set_line_width(r->cr, 2.5);
        rg_grey(r->cr, 0);
        cairo_move_to(r->cr, a.x, a.y);
        cairo_line_to(r->cr, z.x, z.y);
        cairo_stroke(r->cr);
        if (b % 90)
            continue;
        rg_font(r->cr, 15 * r->word, false);
        z = polar(scale_radius + (b == 180 ? 32 : 16), b);
        snprintf(text, sizeof text, "%d", b);
        rg_text_halo(r->cr, z.x, z.y + 11, b == 90 ? 0 : b == 270 ? 1 : 0.5, text);
    }
}

static void small_arm(const ring *r)
{
    cairo_t *cr = r->cr;
    double foot = centre_y - scale_radius - 2;
    cairo_rectangle(cr, centre_x - 9, foot - 26, 18, 26);
    rg_grey(cr, 0.85);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 3);
    cairo_stroke(cr);
    cairo_rectangle(cr, centre_x - 40, foot - 36, 80, 12);
    rg_grey(cr, 1);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    cairo_stroke(cr);
    rg_font(cr, 15 * r->word, false);
    rg_text(cr, centre_x + 52, foot - 10, 0, 0, "key arm");
}

/* Only runs that are long enough for a word of that size. */
static void small_names(ring *r, const rg_run *run, int runs, const char *word)
{
    for (int i = 0; i < runs; i++)
        if (run[i].length >= 40)
            name_sectors(r, &run[i], 1, word);
}

static void small_line(const ring *r, double y, double size, bool bold, const char *text)
{
    rg_grey(r->cr, 0);
    rg_font(r->cr, size, bold);
    rg_text(r->cr, centre_x, centre_y + y, 0.5, 236, text);
}

static void small_centre(const ring *r)
{
    char text[64];
    const rg_bin *widest = largest(r, level_width), *high = largest(r, level_bound);
    bool open = widest && widest->state == RG_BIN_GAP;
    if (!widest) {
        small_line(r, -8, 38, true, "nothing");
        small_line(r, 36, 38, true, "seen");
        return;
    }
    snprintf(text, sizeof text, "%.3f", open ? widest->width_mm : level_bound(r, high));
    small_line(r, -48, 33, false, open ? "widest" : "at most");
    small_line(r, 18, 66, true, text);
    snprintf(text, sizeof text, "\u00b1 %.3f", expanded(r, widest));
    small_line(r, 60, 33, false, open ? text : "mm");
    if (open)
        small_line(r, 96, 30, false, "mm");
}

double rg_ring_small(cairo_t *cr, const rg_draw_ring_args *args, double x, double y, double size)
{
    ring r = begin_ring(cr, args, small_word);
    cairo_save(cr);
    cairo_translate(cr, x, y);
    cairo_scale(cr, size / (2 * small_half), size / (2 * small_half));
    cairo_translate(cr, small_half - centre_x, small_half - centre_y);
    draw_grid(&r);
    hatch_sectors(&r, r.unseen, r.unseen_runs, RG_PATTERN_DIAGONAL);
    hatch_sectors(&r, r.blocked, r.blocked_runs, RG_PATTERN_CROSS);
    draw_limit(&r);
    draw_widths(&r);
    draw_tolerance(&r);
    draw_rim(&r);
    small_bearings(&r);
    small_arm(&r);
    small_names(&r, r.unseen, r.unseen_runs, "unseen");
    small_names(&r, r.blocked, r.blocked_runs, "blocked");
    small_centre(&r);
    cairo_restore(cr);
    return r.top_mm;
}
