/*
 * draw_lesson_causes.c - lesson 4: the ring maps of causes, how each is told from the others, and what is done about it.
 * What the program says of each is its own diagnosis of the map beside it.
 */
#include <math.h>
#include <stdio.h>

#include "draw_lesson_private.h"

static const double ring_size = 46;

typedef struct cause_words {
    const char *title, *look, *not_to_mix, *done;
} cause_words;

static const cause_words words[] = {
    [RG_LESSON_TILT] =
        {"Tilted", "Open on one side, closed on the opposite side. The gap grows and falls evenly.",
         "A crease is open over a short arc, with the pad tight right beside it. A saddle is open "
         "on "
         "two sides.",
         "Lower the high side: float the pad or a half shim behind it; a bent cup is "
         "straightened."},
    [RG_LESSON_HINGE] =
        {"Thick or thin at the hinge",
         "A tilt along the line through the key arm: open at 180\u00b0 (touches at the arm first) "
         "or open at "
         "0\u00b0 (touches far from the arm first).",
         "A tilt to any other side does not come from the hinge's line. Look whether other pads of "
         "the "
         "stack show the same.",
         "Check the pad's thickness and the arm's angle before you touch the pad's face."},
    [RG_LESSON_SADDLE] =
        {"Saddle", "Open on two opposite sides, closed on the two sides across.",
         "A tilt has one wide side only. No shim cures a saddle, since no plane fits it.",
         "Look with a flat gauge at cup and rim: one of them is bent. Levelling is for the "
         "experienced."},
    [RG_LESSON_UNIFORM] =
        {"Uniform", "Open all round by about the same. The pad touches nowhere.",
         "If it touches anywhere, the key has come down, and the cause is another.",
         "Look for what holds the key up: a screw, a cork, another key, a bent arm. Then think of "
         "the pad."},
    [RG_LESSON_CREASE] = {"Crease or dent", "Open over a short arc, closed on both sides of it.",
                          "One map cannot tell a crease of the pad from a dent of the rim. Turn or "
                          "change the pad: what "
                          "stays at its bearing is the rim.",
                          "Look at pad and rim there. A crease is pressed out or the pad replaced; "
                          "a dent of the rim is "
                          "lifted by the experienced."},
    [RG_LESSON_DIRT] =
        {"Dirt",
         "Two openings close together with something dark between them: a hair, a crumb, a lump "
         "holds the pad up. Often the whole pad seems tilted towards it.",
         "Do not correct that tilt. It goes when the dirt goes.",
         "Clean pad and rim at that place, then sweep again before anything else is done."},
};

/* The program's sentences on the first fault, after its summary. */
static double diagnosis(rg_leaf *p, double x, double y, double width, const rg_diagnosis *d)
{
    rg_sentences s;
    char text[RG_DRAW_TEXT];
    rg_diagnosis_sentences(d, &s);
    snprintf(text, sizeof text, "The program says of this map: %s", rg_diagnosis_name(d));
    y = rg_leaf_column(p, x, y, width, 2.9, true, text);
    for (int i = 0, shown = 0; i < s.count && shown < 2; i++) {
        rg_sentence_kind kind = s.line[i].kind;
        if (kind != RG_SENTENCE_FAULT && kind != RG_SENTENCE_CORRECTION &&
            !(d->faults == 0 && kind == RG_SENTENCE_SUMMARY))
            continue;
        snprintf(text, sizeof text, "%s", s.line[i].text);
        rg_leaf_signs(text);
        y = rg_leaf_column(p, x, y, width, 2.8, false, text);
        shown++;
    }
    return y;
}

static double labelled(rg_leaf *p, double x, double y, double width, const char *name,
                       const char *text)
{
    const double indent = 24.5;
    rg_grey(p->cr, 0);
    rg_font(p->cr, 3.1, true);
    rg_text(p->cr, x, y, 0, indent, name);
    return rg_leaf_column(p, x + indent, y, width - indent, 3.1, false, text) + 0.5;
}

static void cause(rg_leaf *p, const cause_words *w, const rg_lesson_result *result)
{
    rg_leaf_room(p, 60);
    double x = p->left + ring_size + 6, width = p->right - x, top = p->y, y = top + 6;
    rg_leaf_ring(p, p->left, top + 1, ring_size, result);
    y = rg_leaf_column(p, x, y, width, 4.2, true, w->title) + 0.3;
    y = labelled(p, x, y, width, "Looks like", w->look);
    y = labelled(p, x, y, width, "Told from", w->not_to_mix);
    y = labelled(p, x, y, width, "Done about it", w->done) + 0.6;
    y = diagnosis(p, x, y, width, result->diagnosis);
    p->y = fmax(top + ring_size + 3, y - 1);
    rg_grey(p->cr, 0);
    cairo_set_line_width(p->cr, 0.15);
    cairo_move_to(p->cr, p->left, p->y);
    cairo_line_to(p->cr, p->right, p->y);
    cairo_stroke(p->cr);
    p->y += 1;
}

static void body(rg_leaf *p, const void *lesson)
{
    static const char *const care[] = {
        "A map shows where the gap is, not why. Look at pad, rim, cup and key before you change "
        "anything, and change one thing at a time.",
        "Floating a pad takes heat. Heat near pads, lacquer and adhesive is for those who have "
        "learnt "
        "it. So is bending keys and levelling rims.",
        "After every change sweep again. A forecast is no seal.",
    };
    const rg_lesson_causes *l = lesson;
    rg_leaf_text(
        p,
        "The shape of the gap round the rim tells the causes apart. Each map below was drawn with "
        "one cause, swept and measured. Read the map first, say the cause aloud, then read on.");
    for (int k = 0; k < RG_LESSON_CAUSES; k++)
        cause(p, &words[k], &l->cause[k]);
    rg_leaf_caution(p, "Before you lay a hand on it", care, 3);
    rg_leaf_source(
        p,
        "The words for causes and their remedies are common practice, no source. How the program "
        "tells causes apart stands in its documentation.");
}

rg_code rg_draw_lesson_causes(const rg_lesson_causes *lesson, rg_picture_format format, int page,
                              int *pages, rg_bytes *out, rg_error *err)
{
    *out = (rg_bytes){0};
    for (int k = 0; k < RG_LESSON_CAUSES; k++)
        if (!lesson->cause[k].map || !lesson->cause[k].diagnosis)
            return rg_fail(err, RG_BAD_DATA, "lesson 4: cause %d has no map or no diagnosis",
                           k + 1);
    return rg_leaf_draw(&lesson->head, 4, "Telling causes apart", body, lesson, format, page, pages,
                        out, err);
}
