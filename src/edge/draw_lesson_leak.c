/*
 * draw_lesson_leak.c - lesson 1: the same place of a pad, open by five widths side by side.
 */
#include <math.h>
#include <stdio.h>

#include "draw_lesson_private.h"
#include "rimglow/vec.h"

static const double label_width = 27, gutter = 2.4, profile_height = 17, profile_mm = 0.4;

typedef struct table {
    rg_leaf *p;
    const rg_lesson_leak *l;
    double x[RG_LESSON_GAPS], width; /* of the columns */
} table;

static double label(const table *t, double y, const char *text)
{
    return rg_leaf_column(t->p, t->p->left, y, label_width - 2, 2.9, false, text);
}

/* A row of texts, each wrapped in its column; below it a thin line. */
static void row(table *t, const char *name, bool bold,
                void (*say)(const table *t, const rg_lesson_gap *g, char text[RG_DRAW_TEXT]))
{
    char text[RG_DRAW_TEXT];
    double top = t->p->y + 3.4, low = label(t, top, name);
    for (int i = 0; i < RG_LESSON_GAPS; i++) {
        say(t, &t->l->gap[i], text);
        low = fmax(low, rg_leaf_column(t->p, t->x[i], top, t->width, 2.9, bold, text));
    }
    t->p->y = low - 2;
    cairo_set_line_width(t->p->cr, 0.1);
    cairo_move_to(t->p->cr, t->p->left, t->p->y);
    cairo_line_to(t->p->cr, t->p->right, t->p->y);
    cairo_stroke(t->p->cr);
}

static void say_width(const table *t, const rg_lesson_gap *g, char text[RG_DRAW_TEXT])
{
    (void)t;
    snprintf(text, RG_DRAW_TEXT, "%.2f mm", g->width_mm);
}

static void say_peak(const table *t, const rg_lesson_gap *g, char text[RG_DRAW_TEXT])
{
    (void)t;
    snprintf(text, RG_DRAW_TEXT, g->peak >= 0.97 ? "full: clipped" : "%.0f %% of full",
             100 * g->peak);
}

static void say_band(const table *t, const rg_lesson_gap *g, char text[RG_DRAW_TEXT])
{
    (void)t;
    if (isfinite(g->band_mm))
        snprintf(text, RG_DRAW_TEXT, "%.2f mm", g->band_mm);
    else
        snprintf(text, RG_DRAW_TEXT, "no band");
}

static void say_flux(const table *t, const rg_lesson_gap *g, char text[RG_DRAW_TEXT])
{
    if (isfinite(g->flux_mm))
        snprintf(text, RG_DRAW_TEXT, "%.4f \u00b1 %.4f", g->flux_mm,
                 t->p->head->coverage_factor * g->u_flux_mm);
    else
        snprintf(text, RG_DRAW_TEXT, "not seen");
}

static void say_views(const table *t, const rg_lesson_gap *g, char text[RG_DRAW_TEXT])
{
    const rg_bin *bin = &g->result.map->bin[g->bearing_deg];
    (void)t;
    snprintf(text, RG_DRAW_TEXT, "in %d of the %d that look there", bin->lit, bin->frames);
}

static void say_hides(const table *t, const rg_lesson_gap *g, char text[RG_DRAW_TEXT])
{
    snprintf(text, RG_DRAW_TEXT, "%.1f\u00b0", rg_leaf_hides_deg(t->p->head, g->width_mm, true));
}

static void say_measured(const table *t, const rg_lesson_gap *g, char text[RG_DRAW_TEXT])
{
    const rg_bin *bin = &g->result.map->bin[g->bearing_deg];
    if (bin->state == RG_BIN_GAP)
        snprintf(text, RG_DRAW_TEXT, "%.3f \u00b1 %.3f", bin->width_mm,
                 t->p->head->coverage_factor * bin->u_mm);
    else if (bin->state == RG_BIN_SEALED && isfinite(bin->detection_limit_mm))
        snprintf(text, RG_DRAW_TEXT, "no gap; %.3f would show", bin->detection_limit_mm);
    else
        snprintf(text, RG_DRAW_TEXT, "not seen");
}

static void say_verdict(const table *t, const rg_lesson_gap *g, char text[RG_DRAW_TEXT])
{
    (void)t;
    snprintf(text, RG_DRAW_TEXT, "%s %s", rg_verdict_sign(g->result.map->verdict),
             rg_verdict_name(g->result.map->verdict));
}

/* ---------------------------------------------------------------- pictures */

static void pictures(table *t, const char *name, bool raised)
{
    char text[RG_DRAW_TEXT];
    double height = 0;
    for (int i = 0; i < RG_LESSON_GAPS; i++) {
        const rg_lesson_gap *g = &t->l->gap[i];
        double h =
            rg_leaf_picture(t->p, t->x[i], t->p->y, t->width, raised ? &g->raised : &g->level);
        height = fmax(height, h);
    }
    const rg_lesson_picture *m = raised ? &t->l->gap[0].raised : &t->l->gap[0].level;
    snprintf(text, sizeof text, "%s, elevation %.1f\u00b0", name, m->elevation_deg);
    label(t, t->p->y + 3.4, text);
    t->p->y += height + 1.6;
}

/* Mean linear light of a picture's middle third, row by row, against height. */
static double light_of(const rg_lesson_picture *m, int row)
{
    int from = m->width / 3, end = m->width - m->width / 3;
    double sum = 0;
    for (int x = from; x < end; x++)
        sum += rg_srgb_to_linear(m->grey[(size_t)row * (size_t)m->width + (size_t)x] / 255.0);
    return end > from ? sum / (end - from) : 0;
}

static int brightest(const rg_lesson_picture *m)
{
    int best = m->height / 2;
    double most = -1;
    for (int y = 0; y < m->height; y++) {
        double light = light_of(m, y);
        if (light > most) {
            most = light;
            best = y;
        }
    }
    return best;
}

static void profile(const table *t, double x, const rg_lesson_gap *g)
{
    cairo_t *cr = t->p->cr;
    const rg_lesson_picture *m = &g->level;
    double low = t->p->y + profile_height, scale = t->width / (2 * profile_mm);
    rg_grey(cr, 0.8);
    cairo_set_line_width(cr, 0.15);
    for (int i = 1; i < 4; i++) {
        cairo_move_to(cr, x, low - i * profile_height / 4);
        cairo_line_to(cr, x + t->width, low - i * profile_height / 4);
    }
    cairo_stroke(cr);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 0.25);
    cairo_rectangle(cr, x, t->p->y, t->width, profile_height);
    cairo_stroke(cr);
    cairo_save(cr);
    cairo_rectangle(cr, x, t->p->y - 0.3, t->width, profile_height + 0.6);
    cairo_clip(cr);
    for (int y = 0, middle = m->grey ? brightest(m) : 0; m->grey && y < m->height; y++)
        cairo_line_to(cr, x + t->width / 2 + scale * (middle - y) / m->px_per_mm,
                      low - profile_height * light_of(m, y));
    cairo_set_line_width(cr, 0.45);
    cairo_stroke(cr);
    cairo_restore(cr);
}

static void profiles(table *t)
{
    char text[RG_DRAW_TEXT];
    label(t, t->p->y + 3.4, "light across the gap; top of the frame: full, where the sensor clips");
    for (int i = 0; i < RG_LESSON_GAPS; i++)
        profile(t, t->x[i], &t->l->gap[i]);
    t->p->y += profile_height;
    rg_font(t->p->cr, 2.3, false);
    snprintf(text, sizeof text, "\u2212%.1f mm", profile_mm);
    for (int i = 0; i < RG_LESSON_GAPS; i++) {
        rg_text(t->p->cr, t->x[i], t->p->y + 2.7, 0, 0, text);
        rg_text(t->p->cr, t->x[i] + t->width, t->p->y + 2.7, 1, 0, "+");
    }
    t->p->y += 3.4;
}

static void gap_table(rg_leaf *p, const rg_lesson_leak *l)
{
    table t = {.p = p, .l = l};
    double room = p->right - p->left - label_width;
    t.width = (room - (RG_LESSON_GAPS - 1) * gutter) / RG_LESSON_GAPS;
    for (int i = 0; i < RG_LESSON_GAPS; i++)
        t.x[i] = p->left + label_width + i * (t.width + gutter);
    p->y += 1;
    row(&t, "gap as drawn", true, say_width);
    p->y += 1.6;
    pictures(&t, "seen level", false);
    profiles(&t);
    pictures(&t, "the same from above", true);
    row(&t, "brightest light", false, say_peak);
    row(&t, "band at half light", false, say_band);
    row(&t, "flux measured, mm", false, say_flux);
    row(&t, "frames with light", false, say_views);
    row(&t, "hidden from above at", false, say_hides);
    row(&t, "program says, mm", true, say_measured);
    row(&t, "verdict", true, say_verdict);
    p->y += 1.2;
}

/* ---------------------------------------------------------------- texts */

/* The thinnest two whose picture is clipped or not tell what the eye gets wrong. */
static void say_eye(rg_leaf *p, const rg_lesson_leak *l)
{
    char text[RG_DRAW_TEXT];
    const rg_lesson_gap *thin = &l->gap[0], *wide = &l->gap[RG_LESSON_GAPS - 1];
    if (isfinite(thin->band_mm) && isfinite(wide->band_mm))
        snprintf(
            text, sizeof text,
            "A thin gap does not look thinner, it looks darker. The band of the %.2f mm gap is "
            "%.2f mm thick in the picture, that of the %.2f mm gap %.2f mm: the camera's blur "
            "sets the band, and a clipped one looks too wide. So do not judge the gap by how "
            "thick the line of light is.",
            thin->width_mm, thin->band_mm, wide->width_mm, wide->band_mm);
    else
        snprintf(
            text, sizeof text,
            "A thin gap does not look thinner, it looks darker, and the thinnest shows no band "
            "at all. The camera's blur sets how thick a line of light looks; a clipped one "
            "looks too wide. So do not judge the gap by the line.");
    rg_leaf_text(p, text);
    snprintf(
        text, sizeof text,
        "What grows with the gap is the flux: all the light across the line, added up, in mm "
        "times brightness. The program turns flux into mm, because a witness frame has told it "
        "how bright the lamp is behind this hole. Without a witness, no width can be trusted.");
    rg_leaf_text(p, text);
}

static void say_one_view(rg_leaf *p, const rg_lesson_leak *l)
{
    char text[RG_DRAW_TEXT];
    const rg_lesson_gap *g = &l->gap[1];
    snprintf(
        text, sizeof text,
        "One picture proves nothing about a thin gap. From above, the pad's overhang and the "
        "land hide it: the %.2f mm gap is gone at %.1f\u00b0 of elevation already, on a dull land "
        "(lesson 2). \"No light\" in one picture means no light from there. Only a sweep, round "
        "the pad and through the rim's plane, can say sealed.",
        g->width_mm, rg_leaf_hides_deg(p->head, g->width_mm, true));
    rg_leaf_text(p, text);
}

static void reasons(rg_leaf *p, const rg_lesson_leak *l)
{
    char text[RG_DRAW_TEXT];
    rg_leaf_heading(p, "What the program said of each, in its own words", 20);
    for (int i = 0; i < RG_LESSON_GAPS; i++) {
        const rg_lesson_gap *g = &l->gap[i];
        const char *const line[] = {text};
        snprintf(text, sizeof text, "%.2f mm: %s. %.300s", g->width_mm,
                 rg_verdict_name(g->result.map->verdict), rg_leaf_reason(g->result.map));
        rg_leaf_signs(text);
        rg_leaf_points(p, line, 1);
        p->y -= 1;
    }
}

/* Three in a row; what the maps mean stands beside the last. */
static void rings(rg_leaf *p, const rg_lesson_leak *l)
{
    char text[RG_DRAW_TEXT];
    const double size = 54, step = (p->right - p->left - size) / 2;
    for (int i = 0; i < RG_LESSON_GAPS; i++) {
        const rg_lesson_gap *g = &l->gap[i];
        double x = p->left + (i % 3) * step;
        if (i % 3 == 0)
            rg_leaf_room(p, size + 9);
        rg_leaf_ring(p, x, p->y + 1, size, &g->result);
        rg_font(p->cr, 3, true);
        snprintf(text, sizeof text, "drawn %.2f mm at %d\u00b0: %s", g->width_mm, g->bearing_deg,
                 rg_verdict_name(g->result.map->verdict));
        rg_text(p->cr, x + size / 2, p->y + size + 5, 0.5, size + 6, text);
        if (i % 3 == 2)
            p->y += size + 9;
    }
    double x = p->left + 2 * step + 2;
    rg_leaf_column(
        p, x, p->y + 10, p->right - x, 3.1, false,
        "Black: the gap. Grey round it: its uncertainty. Dashed circle: the tolerance. Grey "
        "without black: as wide as a gap there could be without showing. Hatched: not seen. In "
        "the middle: the widest gap, or the most that may have been missed.");
    p->y += size + 9;
}

static void body(rg_leaf *p, const void *lesson)
{
    static const char *const look[] = {
        "Look along the rim line, not at the pad. A gap is a bright line that lies on the rim and "
        "follows it round.",
        "Ask where it begins and where it ends. A partial leak has two ends; where the line "
        "leaves the picture you have not seen the end.",
        "Then rock the camera a little. A gap goes out when you raise the camera and stays at its "
        "place on the rim. A mirror image of the lamp wanders when you move (lesson 2).",
        "Write down bearing and width from the map, not from the picture. Bearing 0 is the key "
        "arm; "
        "it grows clockwise as you look down on the cup.",
    };
    const rg_lesson_leak *l = lesson;
    char text[RG_DRAW_TEXT];
    snprintf(
        text, sizeof text,
        "A pad that leaks a little looks closed. Here one place of one pad stands open by five "
        "widths, all else alike. The tolerance of this pad is %.3f mm: more than that over an "
        "arc is a leak. The pictures show the rim line at bearing %d, the lamp is inside.",
        l->head.tolerance_mm, l->gap[0].bearing_deg);
    rg_leaf_text(p, text);
    gap_table(p, l);
    say_eye(p, l);
    say_one_view(p, l);
    rg_leaf_heading(p, "What to look for", 50);
    rg_leaf_points(p, look, 4);
    rg_leaf_heading(p, "How the program shows it", 64);
    rg_leaf_text(p,
                 "The ring map is the rim as you look down on the cup from outside, the key arm at "
                 "the top. The gap is drawn outwards, much enlarged.");
    rings(p, l);
    reasons(p, l);
}

rg_code rg_draw_lesson_leak(const rg_lesson_leak *lesson, rg_picture_format format, int page,
                            int *pages, rg_bytes *out, rg_error *err)
{
    *out = (rg_bytes){0};
    for (int i = 0; i < RG_LESSON_GAPS; i++) {
        const rg_lesson_gap *g = &lesson->gap[i];
        if (!g->result.map || g->bearing_deg < 0 || g->bearing_deg >= RG_BINS)
            return rg_fail(err, RG_BAD_DATA, "lesson 1: gap %d has no map, or bearing %d is none",
                           i + 1, g->bearing_deg);
    }
    return rg_leaf_draw(&lesson->head, 1, "What a partial leak looks like", body, lesson, format,
                        page, pages, out, err);
}
