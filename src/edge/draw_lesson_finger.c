/*
 * draw_lesson_finger.c - lesson 3: why a popping sound, a suction test or a hard squeeze proves nothing about a light
 * finger. What it says of them is common practice, no source, and the sheet says so.
 */
#include <math.h>
#include <stdio.h>

#include "draw_lesson_private.h"

static const double ring_size = 44;

/* Widest measured gap of a map, or NULL. */
static const rg_bin *widest(const rg_seal_map *map)
{
    const rg_bin *w = NULL;
    for (int b = 0; b < RG_BINS; b++)
        if (map->bin[b].state == RG_BIN_GAP && (!w || map->bin[b].width_mm > w->width_mm))
            w = &map->bin[b];
    return w;
}

static double half(rg_leaf *p, double x, double width, const char *title,
                   const rg_lesson_picture *view, const rg_lesson_result *result)
{
    char text[RG_DRAW_TEXT];
    double y = p->y + 4;
    const rg_bin *w = widest(result->map);
    y = rg_leaf_column(p, x, y, width, 4, true, title) - 2.5;
    y += rg_leaf_picture(p, x, y, width, view);
    if (view->grey)
        y += rg_leaf_ticks(p, x, y, width, view);
    rg_leaf_ring(p, x + (width - ring_size) / 2, y + 1, ring_size, result);
    y += ring_size + 6;
    snprintf(text, sizeof text, "%s %s", rg_verdict_sign(result->map->verdict),
             rg_verdict_name(result->map->verdict));
    y = rg_leaf_column(p, x, y, width, 3.6, true, text);
    if (w)
        snprintf(text, sizeof text, "Widest gap %.3f \u00b1 %.3f mm at %.0f\u00b0.", w->width_mm,
                 p->head->coverage_factor * w->u_mm, w->bearing_deg);
    else
        snprintf(text, sizeof text, "No gap was measured.");
    y = rg_leaf_column(p, x, y, width, 3.1, false, text);
    snprintf(text, sizeof text, "%.400s", rg_leaf_reason(result->map));
    rg_leaf_signs(text);
    return rg_leaf_lines(p, x, y, width, 2.9, 3, text);
}

static void side_by_side(rg_leaf *p, const rg_lesson_finger *l)
{
    const double gutter = 8, width = (p->right - p->left - gutter) / 2;
    double picture = l->light_view.grey && l->light_view.width > 0
                         ? width * l->light_view.height / l->light_view.width
                         : width / 2;
    rg_leaf_room(p, picture + ring_size + 38);
    double light = half(p, p->left, width, "Light finger", &l->light_view, &l->light);
    double firm = half(p, p->left + width + gutter, width, "Firm finger, the same pad",
                       &l->firm_view, &l->firm);
    p->y = fmax(light, firm) - 3;
}

static void body(rg_leaf *p, const void *lesson)
{
    static const char *const sound[] = {
        "A pop when the key is slapped shut says that the pad hit the rim and pushed air. A pad "
        "with a "
        "thin leak pops too. The blow closes it harder than any finger, and only for a moment.",
    };
    static const char *const suction[] = {
        "Suck, or blow smoke, and hold: that tests the whole tube at once, pads, joints and corks "
        "together. It cannot say which pad, nor where on it.",
        "The pressure itself pushes or pulls the pads. A pad that seals under suction may stand "
        "off "
        "under a breath, and the other way round.",
        "A thin gap lets little air through in a few seconds. You feel the large leak and miss the "
        "small one that spoils the low notes.",
    };
    static const char *const squeeze[] = {
        "Leather and felt give way. Squeeze, and a pad that is tilted by a few hundredths of a "
        "millimetre is pressed shut all round.",
        "The player does not squeeze. What must seal is the pad under the weight of a finger that "
        "plays "
        "fast and softly.",
        "A pad that needs force to seal moves the whole stack, tires the hand, and cuts a groove "
        "into "
        "one side of its face.",
    };
    static const char *const then[] = {
        "Let the key come down by its own spring and a finger's weight. Do not press, do not hold "
        "the "
        "cup.",
        "Sweep, and write the finger into the sweep: light, firm, or grams where you have a gauge.",
        "Only \"sealed\" under a light finger counts. \"Sealed\" under a firm finger alone says "
        "that the "
        "pad can be closed, not that it closes.",
        "Leaks when light and seals when firm? Then the pad stands askew or its key comes down "
        "late. That is "
        "a thing to adjust (lesson 4), not to squeeze away.",
    };
    const rg_lesson_finger *l = lesson;
    rg_leaf_text(
        p, "One pad, drawn twice. It lies a little tilted. Under a light finger it touches on one "
           "side only. Under a firm finger the soft pad gives way and the gap is gone, although "
           "nothing has been put right.");
    side_by_side(p, l);
    rg_leaf_heading(p, "A popping sound proves nothing", 16);
    rg_leaf_points(p, sound, 1);
    rg_leaf_heading(p, "A suction test proves little", 16);
    rg_leaf_points(p, suction, 3);
    rg_leaf_heading(p, "A hard squeeze proves nothing about a light finger", 16);
    rg_leaf_points(p, squeeze, 3);
    rg_leaf_heading(p, "What to do instead", 16);
    rg_leaf_points(p, then, 4);
    rg_leaf_source(
        p, "What this sheet says of sounds, suction and squeezing is common practice, no source. "
           "The pictures, maps and verdicts were drawn and measured for this sheet.");
}

rg_code rg_draw_lesson_finger(const rg_lesson_finger *lesson, rg_picture_format format, int page,
                              int *pages, rg_bytes *out, rg_error *err)
{
    *out = (rg_bytes){0};
    if (!lesson->light.map || !lesson->firm.map)
        return rg_fail(err, RG_BAD_DATA, "lesson 3: a map is missing");
    return rg_leaf_draw(&lesson->head, 3, "What a pop, suction or a squeeze proves", body, lesson,
                        format, page, pages, out, err);
}
