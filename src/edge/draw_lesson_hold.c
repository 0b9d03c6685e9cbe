/*
 * draw_lesson_hold.c - lesson 2: distance, height, rocking, going round; why a thin gap vanishes; what is hidden; mirror
 * images of the lamp.
 */
#include <math.h>
#include <stdio.h>

#include "draw_lesson_private.h"
#include "draw_plot.h"
#include "rimglow/vec.h"

/* ---------------------------------------------------------------- the slot from the side */

static void box(cairo_t *cr, double x, double y, double width, double height, double tone)
{
    cairo_rectangle(cr, x, y, width, height);
    rg_grey(cr, tone);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 0.3);
    cairo_stroke(cr);
}

static void arrow(cairo_t *cr, double x0, double y0, double x1, double y1)
{
    double a = atan2(y1 - y0, x1 - x0), size = 2;
    cairo_move_to(cr, x0, y0);
    cairo_line_to(cr, x1, y1);
    cairo_stroke(cr);
    cairo_move_to(cr, x1, y1);
    cairo_line_to(cr, x1 - size * cos(a - 0.35), y1 - size * sin(a - 0.35));
    cairo_line_to(cr, x1 - size * cos(a + 0.35), y1 - size * sin(a + 0.35));
    cairo_close_path(cr);
    cairo_fill(cr);
}

static void dimension(cairo_t *cr, double x0, double x1, double y, const char *text)
{
    cairo_set_line_width(cr, 0.2);
    arrow(cr, (x0 + x1) / 2, y, x0, y);
    arrow(cr, (x0 + x1) / 2, y, x1, y);
    rg_font(cr, 2.8, false);
    rg_text(cr, (x0 + x1) / 2, y + 4, 0.5, 0, text);
}

/* Rim and pad cut open, the gap drawn far too wide; the camera is to the right. */
static void draw_slot(rg_leaf *p, double x, double y)
{
    cairo_t *cr = p->cr;
    const double depth = p->head->land_mm + p->head->overhang_mm, scale = 44 / fmax(depth, 0.1);
    const double land = scale * p->head->land_mm, over = scale * p->head->overhang_mm;
    const double x0 = x + 26, gap = 7, rim = y + 25, room = p->right - x0 - land - over - 48;
    char text[RG_DRAW_TEXT];
    box(cr, x, rim - gap - 11, x0 - x + land + over, 11, 0.75);
    box(cr, x0, rim, fmax(land, 1), 15, 0.9);
    rg_grey(cr, 0);
    rg_font(cr, 3, true);
    rg_text(cr, x + 3, rim - gap - 4, 0, 0, "pad");
    rg_text(cr, x0 + fmax(land, 1) / 2, rim + 9, 0.5, 0, "rim");
    rg_font(cr, 2.8, false);
    rg_text(cr, x + 1, rim + 4, 0, 24, "lamp inside");
    cairo_set_line_width(cr, 0.35);
    arrow(cr, x + 2, rim - gap / 2, x0 + land + over + 46, rim - gap / 2);
    rg_text(cr, x0 + land + over + 48, rim - gap / 2 + 1, 0, room, "level: the light gets out");
    /* From above: ends on the pad's edge. */
    double edge = x0 + land + over;
    arrow(cr, edge + 46, rim - gap - 15, edge + 1.5, rim - gap - 1);
    rg_text(cr, edge + 48, rim - gap - 14, 0, room, "from above: the pad hides it");
    arrow(cr, edge + 46, rim + 13, x0 + land + 1, rim + 2.2);
    rg_text(cr, edge + 48, rim + 14, 0, room, "from below: the rim hides it");
    snprintf(text, sizeof text, "land %.2g mm", p->head->land_mm);
    dimension(cr, x0, x0 + land, rim + 18, text);
    snprintf(text, sizeof text, "overhang %.2g mm", p->head->overhang_mm);
    dimension(cr, x0 + land, edge, rim + 18, text);
}

/* ---------------------------------------------------------------- rocking curves */

static double open_height(const rg_lesson_head *h, double width, double elevation_deg)
{
    double e = rg_radians(elevation_deg);
    return fmax(0, width * cos(e) - rg_leaf_depth(h, e > 0) * fabs(sin(e)));
}

static void draw_curves(rg_leaf *p, const rg_lesson_hold *l, double x, double y)
{
    enum { STEPS = 161 };
    const double unit = 0.21; /* mm of the page for one unit of the plot */
    double e[STEPS], h[STEPS], most = 0, wide = 0;
    for (int i = 0; i < RG_LESSON_CURVES; i++)
        for (int k = 0; k < l->curve[i].dots; k++) {
            const rg_lesson_dot *d = &l->curve[i].dot[k];
            most =
                fmax(most, fmax(l->curve[i].width_mm, isfinite(d->height_mm) ? d->height_mm : 0));
            wide = fmax(wide, fabs(d->elevation_deg));
        }
    if (!(most > 0 && wide > 0))
        return;
    cairo_save(p->cr);
    cairo_translate(p->cr, x, y);
    cairo_scale(p->cr, unit, unit);
    rg_plot plot = {.cr = p->cr,
                    .left = 70,
                    .top = 30,
                    .width = 400,
                    .height = 230,
                    .x0 = -wide * 1.05,
                    .x1 = wide * 1.05,
                    .y0 = -0.05 * most,
                    .y1 = 1.15 * most};
    rg_plot_axes(&plot, "elevation of the camera, degrees", "open height, mm");
    rg_plot_clip(&plot);
    for (int c = 0; c < RG_LESSON_CURVES; c++) {
        for (int i = 0; i < STEPS; i++) {
            e[i] = plot.x0 + (plot.x1 - plot.x0) * i / (STEPS - 1);
            h[i] = open_height(p->head, l->curve[c].width_mm, e[i]);
        }
        rg_grey(p->cr, 0);
        cairo_set_line_width(p->cr, 2.2);
        if (c == 0)
            cairo_set_dash(p->cr, (const double[]){7, 5}, 2, 0);
        rg_plot_curve(&plot, e, h, STEPS);
        cairo_set_dash(p->cr, NULL, 0, 0);
        cairo_set_line_width(p->cr, 1.6);
        for (int k = 0; k < l->curve[c].dots; k++)
            rg_plot_dot(&plot, l->curve[c].dot[k].elevation_deg, l->curve[c].dot[k].height_mm, 9,
                        c == 1);
    }
    cairo_restore(p->cr);
    cairo_restore(p->cr);
}

static void curve_words(rg_leaf *p, const rg_lesson_hold *l, double x, double y, double width)
{
    char text[RG_DRAW_TEXT];
    const rg_lesson_head *h = p->head;
    snprintf(text, sizeof text,
             "Seen from elevation e, a gap of width w stands open by w cos e \u2212 D |sin e|. "
             "From above D is "
             "land and overhang, %.3g + %.3g = %.3g mm on this pad; from below it is the land "
             "alone, %.3g mm.",
             h->land_mm, h->overhang_mm, rg_leaf_depth(h, true), rg_leaf_depth(h, false));
    y = rg_leaf_column(p, x, y, width, 3.1, false, text) + 1;
    snprintf(text, sizeof text, "Lines: this rule, dashed for %.2f mm, solid for %.2f mm.",
             l->curve[0].width_mm, l->curve[1].width_mm);
    y = rg_leaf_column(p, x, y, width, 3.1, false, text) + 1;
    snprintf(
        text, sizeof text,
        "Dots: what the program measured in drawn pictures, rings for %.2f mm, discs for %.2f mm.",
        l->curve[0].width_mm, l->curve[1].width_mm);
    y = rg_leaf_column(p, x, y, width, 3.1, false, text) + 1;
    rg_leaf_column(
        p, x, y, width, 3.1, false,
        "The rule is for a dull land and a flat pad. A polished land mirrors some of the light "
        "on, so from above the dots go out later than the lines. Do not count on that: a "
        "tarnished land or a pad that bulges hides more. Hold the camera by the rule.");
}

/* ---------------------------------------------------------------- table of limits */

static void limits(rg_leaf *p)
{
    static const double width[] = {0.01, 0.02, 0.05, 0.1, 0.2};
    enum { ROWS = 5 };
    const double label = 62, step = (p->right - p->left - label) / ROWS;
    static const char *const name[] = {"gap, mm", "hidden from above, from",
                                       "camera over the rim plane then, mm",
                                       "hidden from below, from"};
    char text[RG_DRAW_TEXT];
    rg_leaf_room(p, 30);
    p->y += 2;
    for (int r = 0; r < 4; r++) {
        rg_font(p->cr, 3.1, r == 0);
        rg_text(p->cr, p->left, p->y + 3.6, 0, label, name[r]);
        for (int i = 0; i < ROWS; i++) {
            double e = rg_leaf_hides_deg(p->head, width[i], r != 3);
            snprintf(text, sizeof text,
                     r == 0   ? "%.2f"
                     : r == 2 ? "%.1f"
                              : "%.1f\u00b0",
                     r == 0   ? width[i]
                     : r == 2 ? p->head->distance_mm * tan(rg_radians(e))
                              : e);
            rg_text(p->cr, p->left + label + (i + 0.5) * step, p->y + 3.6, 0.5, 0, text);
        }
        p->y += 5.2;
        rg_grey(p->cr, 0);
        cairo_set_line_width(p->cr, r == 0 ? 0.3 : 0.1);
        cairo_move_to(p->cr, p->left, p->y);
        cairo_line_to(p->cr, p->right, p->y);
        cairo_stroke(p->cr);
    }
    p->y += 1;
    snprintf(text, sizeof text,
             "At a distance of %.0f mm, on a dull land. Read it as: a camera held 2 mm too high "
             "has lost every "
             "gap thinner than about %.2f mm.",
             p->head->distance_mm, rg_leaf_depth(p->head, true) * 2 / p->head->distance_mm);
    rg_leaf_source(p, text);
}

/* ---------------------------------------------------------------- from below to above */

static void raised(rg_leaf *p, const rg_lesson_hold *l)
{
    char text[RG_DRAW_TEXT];
    const double gutter = 1.6,
                 width = (p->right - p->left - (RG_LESSON_RAISED - 1) * gutter) / RG_LESSON_RAISED;
    double height = 0;
    snprintf(text, sizeof text, "The same gap of %.2f mm, the camera raised from below to above",
             l->raised_mm);
    rg_leaf_heading(p, text, 26);
    p->y += 1.4;
    for (int i = 0; i < RG_LESSON_RAISED; i++) {
        double x = p->left + i * (width + gutter);
        double h = rg_leaf_picture(p, x, p->y, width, &l->raised[i]);
        height = fmax(height, h);
        rg_font(p->cr, 2.9, true);
        snprintf(text, sizeof text, "%.1f\u00b0", l->raised[i].elevation_deg);
        rg_leaf_signs(text);
        rg_text(p->cr, x + width / 2, p->y + h + 3.6, 0.5, 0, text);
    }
    p->y += height + 5;
}

/* ---------------------------------------------------------------- going round */

static void draw_round(rg_leaf *p, const rg_lesson_hold *l, double cx, double cy)
{
    cairo_t *cr = p->cr;
    const double pad = 9, ring = 23;
    char text[RG_DRAW_TEXT];
    rg_grey(cr, 0.85);
    cairo_arc(cr, cx, cy, pad, 0, 2 * RG_PI);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 0.3);
    cairo_stroke(cr);
    box(cr, cx - 1.5, cy - pad - 6, 3, 6, 0.95);
    rg_font(cr, 2.8, false);
    rg_grey(cr, 0);
    rg_text(cr, cx, cy + 1, 0.5, 0, "cup");
    rg_text(cr, cx + 3, cy - pad - 3, 0, 0, "key arm");
    for (int i = 0; i < l->views; i++) {
        double b = 2 * RG_PI * i / l->views, s = sin(b), c = cos(b);
        cairo_set_line_width(cr, 0.3);
        arrow(cr, cx + ring * s, cy - ring * c, cx + (pad + 3) * s, cy - (pad + 3) * c);
        snprintf(text, sizeof text, "%.0f", rg_degrees(b));
        if (i > 0)
            rg_text(cr, cx + (ring + 4) * s, cy - (ring + 4) * c + 1, 0.5, 0, text);
        else
            rg_text(cr, cx, cy - ring - 2, 0.5, 0, text);
    }
}

static void going_round(rg_leaf *p, const rg_lesson_hold *l)
{
    static const char *const rest[] = {
        "At each place rock slowly through the rim plane, from a little below to a little above, "
        "and back. The gap lights up where you pass the plane.",
        "Then go on by one place. The next view must overlap the last one: a gap at the edge of a "
        "view is seen askew and short ones hide there.",
        "Keep the crown in the picture, sharp and whole. A frame without it counts for nothing.",
    };
    char text[RG_DRAW_TEXT];
    rg_leaf_heading(p, "Going round and rocking", 62);
    double x = p->left + 66, width = p->right - x, y = p->y + 6;
    draw_round(p, l, p->left + 30, p->y + 32);
    snprintf(
        text, sizeof text,
        "Distance: about %.0f mm, as at the calibration, %.0f px per mm at the rim. Nearer blurs, "
        "farther loses the thin gaps.",
        p->head->distance_mm, p->head->px_per_mm);
    y = rg_leaf_column(p, x, y, width, 3.3, false, text) + 1.6;
    snprintf(
        text, sizeof text,
        "Height: the lens in the plane of the rim, that is level with the line where pad and tone "
        "hole meet. The sweeps of these sheets look from %.1f\u00b0 to %.1f\u00b0, at %d bearings.",
        l->lowest_deg, l->highest_deg, l->views);
    rg_leaf_signs(text);
    y = rg_leaf_column(p, x, y, width, 3.3, false, text) + 1.6;
    for (int i = 0; i < 3; i++)
        y = rg_leaf_column(p, x, y, width, 3.3, false, rest[i]) + 1.6;
    p->y = fmax(p->y + 62, y);
}

/* ---------------------------------------------------------------- streaks, hidden */

static void streaks(rg_leaf *p, const rg_lesson_hold *l)
{
    static const char *const words[] = {
        "A gap stays at its bearing on the rim, whatever the view. It lies on the rim line and "
        "goes "
        "out when you raise the camera.",
        "A streak is the lamp, mirrored in the brass. It stands beside the line, runs down the "
        "chimney, and walks along the rim when you walk.",
        "Not sure? Put the lamp out. What still shines is no leak.",
    };
    char text[RG_DRAW_TEXT];
    const double gutter = 4, width = (p->right - p->left - gutter) / 2;
    double height = 0;
    rg_leaf_heading(p, "Streak or gap?", 44);
    p->y += 1.4;
    for (int i = 0; i < 2; i++) {
        double x = p->left + i * (width + gutter);
        double h = rg_leaf_picture(p, x, p->y, width, &l->streak[i]);
        if (l->streak[i].grey)
            h += rg_leaf_ticks(p, x, p->y + h, width, &l->streak[i]);
        snprintf(text, sizeof text,
                 "from bearing %.0f\u00b0: the gap is the level line at %d\u00b0",
                 l->streak[i].bearing_deg, l->gap_deg);
        rg_font(p->cr, 2.9, false);
        rg_text(p->cr, x, p->y + h + 3, 0, width, text);
        height = fmax(height, h);
    }
    p->y += height + 5;
    rg_leaf_points(p, words, 3);
}

static void hidden(rg_leaf *p, const rg_lesson_hold *l)
{
    char text[RG_DRAW_TEXT];
    int unseen = 0;
    const double size = 54;
    for (int b = 0; b < RG_BINS; b++)
        unseen += l->hidden.map->bin[b].state == RG_BIN_UNSEEN;
    rg_leaf_heading(p, "Hidden is not sealed", size + 14);
    double x = p->left + size + 6, width = p->right - x, y = p->y + 6;
    rg_leaf_ring(p, p->left, p->y + 1, size, &l->hidden);
    y = rg_leaf_column(
            p, x, y, width, 3.3, false,
            "Key arm, posts, guards and neighbouring keys stand before a part of the rim, and at "
            "the sides of a view you look into the slot askew. No light there says "
            "nothing: you did not look into the gap.") +
        1.6;
    snprintf(
        text, sizeof text,
        "This pad is good, but it was looked at from %d sides only: %d of 360 bearings were not "
        "seen (hatched). The program says: %s.",
        l->hidden_views, unseen, rg_verdict_name(l->hidden.map->verdict));
    y = rg_leaf_column(p, x, y, width, 3.3, true, text) + 1.6;
    for (int i = 0; i < l->hidden.map->reasons && i < 3; i++)
        y = rg_leaf_lines(p, x, y, width, 2.9, 2, l->hidden.map->reason[i]) + 1;
    y = rg_leaf_column(
        p, x, y, width, 3.3, false,
        "Look past the obstacle from both sides, a little lower or higher, until nothing "
        "is hatched. What you cannot see you may not call sealed.");
    p->y = fmax(p->y + size + 2, y);
}

static void body(rg_leaf *p, const void *lesson)
{
    const rg_lesson_hold *l = lesson;
    rg_leaf_text(
        p, "A gap is not a hole but a slot: the light must pass between the land of the rim "
           "and the overhang of the pad. You see it only by looking into the slot, level with "
           "it. The thinner the slot, the more exactly you must look.");
    rg_leaf_room(p, 48);
    draw_slot(p, p->left + 4, p->y + 1);
    p->y += 51;
    rg_leaf_heading(p, "Why a thin gap vanishes when the camera is raised", 72);
    draw_curves(p, l, p->left - 2, p->y);
    curve_words(p, l, p->left + 104, p->y + 8, p->right - p->left - 104);
    p->y += 69;
    limits(p);
    raised(p, l);
    going_round(p, l);
    streaks(p, l);
    hidden(p, l);
}

rg_code rg_draw_lesson_hold(const rg_lesson_hold *lesson, rg_picture_format format, int page,
                            int *pages, rg_bytes *out, rg_error *err)
{
    *out = (rg_bytes){0};
    if (!lesson->hidden.map || lesson->views < 1 || lesson->views > 36)
        return rg_fail(err, RG_BAD_DATA, "lesson 2: no map, or %d views; give 1 to 36",
                       lesson->views);
    for (int i = 0; i < RG_LESSON_CURVES; i++)
        if (lesson->curve[i].dots < 0 || lesson->curve[i].dots > RG_LESSON_DOTS)
            return rg_fail(err, RG_BAD_DATA, "lesson 2: %d dots of a curve; give 0 to %d",
                           lesson->curve[i].dots, RG_LESSON_DOTS);
    return rg_leaf_draw(&lesson->head, 2, "How to hold the camera", body, lesson, format, page,
                        pages, out, err);
}
