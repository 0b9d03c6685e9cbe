/*
 * draw_lesson_exercises.c - lesson 6: pads to read, and on the last page what they are.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "draw_lesson_private.h"

/* A square to tick and its name; returns the width that they take. */
static double choice(rg_leaf *p, double x, double y, const char *name)
{
    cairo_rectangle(p->cr, x, y - 2.6, 2.8, 2.8);
    rg_grey(p->cr, 0);
    cairo_set_line_width(p->cr, 0.2);
    cairo_stroke(p->cr);
    rg_font(p->cr, 2.9, false);
    rg_text(p->cr, x + 3.8, y, 0, 60, name);
    return 3.8 + fmin(rg_text_width(p->cr, name), 60) + 3.4;
}

static void choices(rg_leaf *p, const char *title, const char *const *name, int count)
{
    const double from = p->left + 16;
    double x = from;
    rg_grey(p->cr, 0);
    rg_font(p->cr, 2.9, true);
    rg_text(p->cr, p->left, p->y + 3.4, 0, 0, title);
    for (int i = 0; i < count; i++) {
        rg_font(p->cr, 2.9, false);
        if (x > from && x + 3.8 + rg_text_width(p->cr, name[i]) > p->right) {
            x = from;
            p->y += 4.4;
        }
        x += choice(p, x, p->y + 3.4, name[i]);
    }
    p->y += 4.6;
}

static void blank(rg_leaf *p, double x, double width)
{
    cairo_set_line_width(p->cr, 0.2);
    cairo_move_to(p->cr, x, p->y + 4);
    cairo_line_to(p->cr, x + width, p->y + 4);
    cairo_stroke(p->cr);
}

static double pictures_height(const rg_leaf *p, const rg_lesson_exercise *e)
{
    double height = 0;
    for (int v = 0; v < RG_LESSON_VIEWS; v++)
        height += e->view[v].width > 0
                      ? (p->right - p->left - 22) * e->view[v].height / e->view[v].width + 4.6
                      : 30;
    return height;
}

static void exercise(rg_leaf *p, const rg_lesson_exercises *l, int i)
{
    const rg_lesson_exercise *e = &l->exercise[i];
    const double x = p->left + 22, width = p->right - x;
    char text[RG_DRAW_TEXT];
    rg_leaf_room(p, pictures_height(p, e) + 28);
    snprintf(text, sizeof text, "Exercise %d", i + 1);
    p->y = rg_leaf_column(p, p->left, p->y + 4.4, width, 4, true, text) - 3.6;
    for (int v = 0; v < RG_LESSON_VIEWS; v++) {
        const rg_lesson_picture *m = &e->view[v];
        double h = rg_leaf_picture(p, x, p->y, width, m);
        snprintf(text, sizeof text, "from %.0f\u00b0,", m->bearing_deg);
        rg_font(p->cr, 2.8, false);
        rg_text(p->cr, p->left, p->y + 3.4, 0, 21, text);
        snprintf(text, sizeof text, "elev. %.1f\u00b0", m->elevation_deg);
        rg_leaf_signs(text);
        rg_text(p->cr, p->left, p->y + 7, 0, 21, text);
        p->y += h;
        p->y += m->grey ? rg_leaf_ticks(p, x, p->y, width, m) : 0.6;
    }
    rg_font(p->cr, 2.9, true);
    rg_text(p->cr, p->left, p->y + 3.4, 0, 0, "Widest at");
    blank(p, p->left + 16, 22);
    rg_font(p->cr, 2.9, false);
    rg_text(p->cr, p->left + 39, p->y + 3.4, 0, 0, "\u00b0 from the key arm, or");
    choice(p, p->left + 75, p->y + 3.4, "all round");
    choice(p, p->left + 97, p->y + 3.4, "nowhere");
    p->y += 5;
    choices(p, "Width", l->class_name, l->classes);
    choices(p, "Cause", l->cause_name, l->causes);
    p->y += 2;
}

/* ---------------------------------------------------------------- answers */

static void where_text(const rg_lesson_exercise *e, char text[RG_DRAW_TEXT])
{
    if (strcmp(rg_draw_name(e->where, ""), "at") != 0 || e->bearings < 1)
        snprintf(text, RG_DRAW_TEXT, "%.40s", rg_draw_name(e->where, "?"));
    else if (e->bearings == 1)
        snprintf(text, RG_DRAW_TEXT, "at %.0f\u00b0 (right within %.0f\u00b0)", e->bearing_deg[0],
                 e->tolerance_deg);
    else
        snprintf(text, RG_DRAW_TEXT, "at %.0f\u00b0 and %.0f\u00b0 (right within %.0f\u00b0)",
                 e->bearing_deg[0], e->bearing_deg[1], e->tolerance_deg);
}

static double answer(rg_leaf *p, const rg_lesson_exercises *l, int i, double x, double y,
                     double width)
{
    const double size = 44;
    const rg_lesson_exercise *e = &l->exercise[i];
    const double tx = x + size + 3, tw = width - size - 3;
    char text[RG_DRAW_TEXT];
    double low = y + 5;
    rg_leaf_ring(p, x, y + 1, size, &e->result);
    snprintf(text, sizeof text, "Exercise %d", i + 1);
    low = rg_leaf_column(p, tx, low, tw, 3.6, true, text);
    snprintf(text, sizeof text, "%.40s", rg_draw_name(e->cause, "?"));
    low = rg_leaf_column(p, tx, low, tw, 3.2, true, text);
    if (e->result.true_mm > 0)
        snprintf(text, sizeof text, "widest %.3f mm: %.60s", e->result.true_mm,
                 l->class_name[e->width_class]);
    else
        snprintf(text, sizeof text, "no gap: %.60s", l->class_name[e->width_class]);
    low = rg_leaf_column(p, tx, low, tw, 2.9, false, text);
    where_text(e, text);
    low = rg_leaf_column(p, tx, low, tw, 2.9, false, text) + 1;
    snprintf(text, sizeof text, "The program measured: %s %s; %s.",
             rg_verdict_sign(e->result.map->verdict), rg_verdict_name(e->result.map->verdict),
             rg_diagnosis_name(e->result.diagnosis));
    low = rg_leaf_column(p, tx, low, tw, 2.8, false, text) + 1;
    for (int r = 0; r < e->result.map->reasons && r < 2; r++) {
        snprintf(text, sizeof text, "%.400s", e->result.map->reason[r]);
        rg_leaf_signs(text);
        low = rg_leaf_lines(p, tx, low, tw, 2.5, 4, text) + 0.6;
    }
    return fmax(low, y + size + 9);
}

static void answers(rg_leaf *p, const rg_lesson_exercises *l)
{
    const double gutter = 6, width = (p->right - p->left - gutter) / 2;
    double low = 0;
    rg_leaf_break(p);
    rg_leaf_heading(p, "Answers", 60);
    rg_leaf_text(
        p, "First what was drawn: cause, widest gap, where. Then what the program made of a whole "
           "sweep of the same pad, with its map. Where the two differ, the drawing is right.");
    for (int i = 0; i < l->exercises; i++) {
        if (i % 2 == 0) {
            rg_leaf_room(p, 70);
            low = p->y;
        }
        low = fmax(low, answer(p, l, i, p->left + (i % 2) * (width + gutter), p->y, width));
        if (i % 2 == 1 || i == l->exercises - 1)
            p->y = low + 2;
    }
}

static void body(rg_leaf *p, const void *lesson)
{
    const rg_lesson_exercises *l = lesson;
    char text[RG_DRAW_TEXT];
    snprintf(
        text, sizeof text,
        "Each exercise is one pad, seen from three sides. The bearings stand below the pictures. "
        "Say "
        "where the gap is widest, how wide it is there, and why. The tolerance is %.3f mm. Three "
        "pictures show less than a sweep: where they do not show it, say what you would do "
        "next. The answers are on the last page.",
        p->head->tolerance_mm);
    rg_leaf_text(p, text);
    p->y += 1.5;
    for (int i = 0; i < l->exercises; i++)
        exercise(p, l, i);
    answers(p, l);
}

static bool whole(const rg_lesson_exercises *l)
{
    bool good = l->classes >= 1 && l->classes <= RG_LESSON_CLASSES && l->exercises >= 1 &&
                l->exercises <= 2 * RG_LESSON_EXERCISES;
    for (int i = 0; good && i < l->exercises; i++) {
        const rg_lesson_exercise *e = &l->exercise[i];
        good = e->result.map && e->result.diagnosis && e->width_class >= 0 &&
               e->width_class < l->classes;
    }
    return good;
}

rg_code rg_draw_lesson_exercises(const rg_lesson_exercises *lesson, rg_picture_format format,
                                 int page, int *pages, rg_bytes *out, rg_error *err)
{
    *out = (rg_bytes){0};
    if (!whole(lesson))
        return rg_fail(err, RG_BAD_DATA,
                       "lesson 6: no exercises, or one without map, diagnosis or width class");
    return rg_leaf_draw(&lesson->head, 6, "Exercises", body, lesson, format, page, pages, out, err);
}
