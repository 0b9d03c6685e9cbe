/*
 * draw_lesson_care.c - lesson 5: drying the pads, the yearly check, and cautions. All of it is common practice,
 * no source, and the sheet says so.
 */
#include "draw_lesson_private.h"

static void box(cairo_t *cr, double x, double y, double width, double height, double tone)
{
    cairo_rectangle(cr, x, y, width, height);
    rg_grey(cr, tone);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 0.3);
    cairo_stroke(cr);
}

static void hatched(cairo_t *cr, double x, double y, double width, double height,
                    rg_pattern pattern)
{
    box(cr, x, y, width, height, 1);
    cairo_rectangle(cr, x, y, width, height);
    cairo_set_line_width(cr, 0.2);
    rg_fill_pattern(cr, pattern, 1.6);
}

static void leader(cairo_t *cr, double x0, double y0, double x1, double y1, const char *text)
{
    cairo_set_line_width(cr, 0.2);
    cairo_move_to(cr, x0, y0);
    cairo_line_to(cr, x1, y1);
    cairo_stroke(cr);
    rg_font(cr, 3, false);
    rg_text(cr, x1 + 1.5, y1 + 1, 0, 0, text);
}

static void drop(cairo_t *cr, double x, double y, double r)
{
    cairo_move_to(cr, x, y - 2.2 * r);
    cairo_curve_to(cr, x + 1.6 * r, y - 0.3 * r, x + r, y + r, x, y + r);
    cairo_curve_to(cr, x - r, y + r, x - 1.6 * r, y - 0.3 * r, x, y - 2.2 * r);
    rg_grey(cr, 1);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 0.3);
    cairo_stroke(cr);
}

/* Pad and tone hole cut open, with the places where water and dirt stay. Not to scale. */
static void draw_section(rg_leaf *p, double x, double y)
{
    cairo_t *cr = p->cr;
    const double width = 62, wall = 3, rim = y + 34;
    hatched(cr, x - 4, y + 10, width + 8, 4, RG_PATTERN_DIAGONAL);
    box(cr, x - 4, y + 14, 2.4, 14, 0.6);
    box(cr, x + width + 1.6, y + 14, 2.4, 14, 0.6);
    box(cr, x - 1.6, y + 14, width + 3.2, 4, 0.75);
    box(cr, x - 1.6, y + 18, width + 3.2, 10, 0.9);
    box(cr, x - 1.6, y + 28, width + 3.2, 2, 0.35);
    box(cr, x + 4, rim, wall, 16, 0.6);
    box(cr, x + width - 4 - wall, rim, wall, 16, 0.6);
    drop(cr, x + 9, y + 33, 1.1);
    drop(cr, x + width - 9, y + 33.4, 1.3);
    drop(cr, x + width - 12.5, y + 33, 0.9);
    cairo_arc(cr, x + 5.4, rim - 1, 0.9, 0, 7);
    rg_grey(cr, 0);
    cairo_fill(cr);
    leader(cr, x + width - 6, y + 12, x + width + 20, y + 8, "cup");
    leader(cr, x + width - 8, y + 23, x + width + 20, y + 19, "felt: swells when wet");
    leader(cr, x + width - 4, y + 29, x + width + 20, y + 28,
           "leather: stiffens, cracks when it dries hard");
    leader(cr, x + width - 8, y + 33, x + width + 20, y + 37, "water stays between pad and rim");
    leader(cr, x + width - 5.5, rim + 10, x + width + 20, y + 46, "rim of the tone hole");
    leader(cr, x + 5.4, rim - 1, x - 8, y + 44, "");
    rg_font(cr, 3, false);
    rg_text(cr, x - 8, y + 48, 0.5, 0, "dirt");
}

static void drying(rg_leaf *p)
{
    static const char *const why[] = {
        "Breath leaves water in the tube. It runs to the pads that hang lowest and to those that "
        "rest "
        "closed, and stays there in the case.",
        "Wet felt swells and dries unevenly: a pad that was level when new becomes tilted or wavy "
        "by some "
        "hundredths of a millimetre. That is a partial leak.",
        "Water and sugar make pads sticky. A sticky pad tears its skin, comes up late and takes "
        "dirt "
        "along, and dirt between pad and rim is a leak too.",
    };
    static const char *const how[] = {
        "After playing, pull a dry swab through. Then dry the pads that rest closed with clean, "
        "absorbent "
        "paper: close the key on it softly, wait, open, take it out. Never pull it out from under "
        "a "
        "closed pad.",
        "Leave the case open for a while. No warm air, no radiator, no sun: heat hardens leather "
        "and "
        "loosens the adhesive.",
        "No powder and no oil on a pad's face unless the pad's maker says so.",
    };
    rg_leaf_heading(p, "Why drying the pads matters", 56);
    draw_section(p, p->left + 22, p->y - 4);
    p->y += 49;
    rg_leaf_points(p, why, 3);
    rg_leaf_heading(p, "How to dry them", 16);
    rg_leaf_points(p, how, 3);
}

static void yearly(rg_leaf *p)
{
    static const char *const points[] = {
        "Pads, corks and springs change slowly. The player gets used to it and squeezes a little "
        "more "
        "each month. Nobody notices the day on which the low notes went.",
        "Sweep every pad once a year, and after every fall, long journey or change of climate. "
        "Keep the "
        "maps: a change between two maps shows more than any one of them.",
        "A loan instrument is swept when it goes out and when it comes back.",
        "A pad that the map calls undecided is swept again now, not next year.",
    };
    rg_leaf_heading(p, "Why a yearly check matters", 16);
    rg_leaf_points(p, points, 4);
}

static void cautions(rg_leaf *p)
{
    static const char *const light[] = {
        "The lamp in the bore is a bright LED. Never look into it, nor into its mirror image in "
        "the bell "
        "or in an open tone hole, and do not point it at anyone. Look at the screen.",
        "Switch it on only when it is in the tube, and off before you draw it out. Heed the risk "
        "group "
        "that its maker states.",
    };
    static const char *const heat[] = {
        "A lamp that gets hot does not belong near pads and lacquer: leather hardens, adhesive "
        "lets go, lacquer blisters. Use a cool lamp. Feel it after five minutes: too warm to hold "
        "is too warm "
        "for a pad.",
        "Cables and lamps must not scratch the bore. Nothing is forced in or out.",
        "Flame, hot air and hot irons are for the experienced. So are bending keys, levelling rims "
        "and removing dents. A trainee watches first and works under supervision.",
    };
    static const char *const yield[] = {
        "The maker's instructions for instrument, pads, lamp and camera come before this sheet.",
        "Local rules for the workshop, for electrical devices, heat, dust and chemicals come "
        "before it "
        "too.",
        "Where this sheet and a licensed or experienced technician differ, follow the technician. "
        "If you "
        "are not sure, stop and ask.",
    };
    rg_leaf_heading(p, "Cautions", 28);
    rg_leaf_caution(p, "Bright light and eyes", light, 2);
    rg_leaf_caution(p, "Heat, pads and lacquer", heat, 3);
    rg_leaf_caution(p, "Who comes first", yield, 3);
}

/* To be filled in by hand, down to the foot of the page. */
static void card(rg_leaf *p)
{
    static const char *const column[] = {"date",       "pad",     "finger",    "widest, mm",
                                         "at bearing", "verdict", "checked by"};
    static const double share[] = {0, 0.13, 0.27, 0.38, 0.53, 0.65, 0.79};
    const double row = 7.2, width = p->right - p->left;
    rg_leaf_heading(p, "A card for the yearly check", 5 * row);
    p->y += 1;
    double top = p->y;
    rg_grey(p->cr, 0);
    rg_font(p->cr, 2.9, true);
    for (int i = 0; i < 7; i++)
        rg_text(p->cr, p->left + share[i] * width + 1, top + 4, 0, 0, column[i]);
    cairo_set_line_width(p->cr, 0.2);
    for (; p->y + row <= p->bottom - 6; p->y += row) {
        cairo_rectangle(p->cr, p->left, p->y, width, row);
        cairo_stroke(p->cr);
    }
    for (int i = 1; i < 7; i++) {
        cairo_move_to(p->cr, p->left + share[i] * width, top);
        cairo_line_to(p->cr, p->left + share[i] * width, p->y);
    }
    cairo_stroke(p->cr);
}

static void body(rg_leaf *p, const void *lesson)
{
    (void)lesson;
    rg_leaf_text(
        p, "Most partial leaks are not made at the bench. They grow: with water, dirt, heat and "
           "time. What keeps a pad tight costs a minute after playing and an hour a year.");
    cautions(p);
    yearly(p);
    drying(p);
    card(p);
    rg_leaf_source(p, "Everything on this sheet is common practice, no source.");
}

rg_code rg_draw_lesson_care(const rg_lesson_care *lesson, rg_picture_format format, int page,
                            int *pages, rg_bytes *out, rg_error *err)
{
    return rg_leaf_draw(&lesson->head, 5, "Dry pads, a yearly check, cautions", body, lesson,
                        format, page, pages, out, err);
}
