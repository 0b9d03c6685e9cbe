/*
 * bench_rank.c - the work list of an instrument.
 */
#include "rimglow/bench_rank.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "rimglow/text.h"
#include "rimglow/vec.h"

const char *rg_rank_where(double bearing_deg)
{
    static const char *const word[] = {"at the key arm's side (hinge)",
                                       "at the key arm's side, to the left seen from the arm",
                                       "to the left seen from the key arm",
                                       "opposite the key arm, to the left seen from the arm",
                                       "opposite the key arm",
                                       "opposite the key arm, to the right seen from the arm",
                                       "to the right seen from the key arm",
                                       "at the key arm's side, to the right seen from the arm"};
    return word[(int)(rg_wrap_degrees(bearing_deg + 22.5) / 45) % 8];
}

/* ---------------------------------------------------------------- sentences */

enum { KEY_TEXT = 128 };

static const rg_arc *largest(const rg_seal_map *map)
{
    const rg_arc *best = NULL;
    for (int i = 0; i < map->arcs; i++)
        if (!best || map->arc[i].open_area_mm2 > best->open_area_mm2)
            best = &map->arc[i];
    return best;
}

static int others_above(const rg_seal_map *map, const rg_arc *but, double tolerance_mm)
{
    int n = 0;
    for (int i = 0; i < map->arcs; i++)
        n += &map->arc[i] != but && map->arc[i].max_width_mm > tolerance_mm;
    return n;
}

static const char *find_sentence(const rg_sentences *s, rg_sentence_kind kind, int fault)
{
    for (int i = 0; s && i < s->count; i++)
        if (s->line[i].kind == kind && s->line[i].fault == fault)
            return s->line[i].text;
    return "";
}

static void say_steps(const rg_rank_pad *p, rg_rank_line *line)
{
    int faults = p->diagnosis->faults;
    for (; line->steps < faults && line->steps < RG_RANK_STEPS; line->steps++) {
        rg_rank_step *step = &line->step[line->steps];
        rg_copy_text(step->fault, sizeof step->fault,
                     find_sentence(p->sentences, RG_SENTENCE_FAULT, line->steps));
        rg_copy_text(step->correction, sizeof step->correction,
                     find_sentence(p->sentences, RG_SENTENCE_CORRECTION, line->steps));
        rg_copy_text(step->afterwards, sizeof step->afterwards,
                     find_sentence(p->sentences, RG_SENTENCE_AFTERWARDS, line->steps));
    }
    line->more = faults - line->steps;
}

/* "" for its own key. */
static const char *by_key(const rg_rank_pad *p, char text[KEY_TEXT])
{
    text[0] = 0;
    if (p->key && p->key[0])
        snprintf(text, KEY_TEXT, "Closed by the key of %.60s (do both close together?): ", p->key);
    return text;
}

static void say_diagnosis(const rg_rank_pad *p, rg_rank_line *line)
{
    char key[KEY_TEXT];
    double widest_deg = p->diagnosis->now.widest_deg;
    snprintf(line->sentence, sizeof line->sentence, "%s%s The widest place is %s.", by_key(p, key),
             find_sentence(p->sentences, RG_SENTENCE_SUMMARY, -1), rg_rank_where(widest_deg));
    say_steps(p, line);
}

static void say_leak(const rg_rank_pad *p, rg_rank_line *line)
{
    char extent[64], more[64] = "", key[KEY_TEXT];
    const rg_arc *arc = largest(p->map);
    if (!arc) {
        rg_copy_text(line->sentence, sizeof line->sentence, p->map->reason[0]);
        return;
    }
    int others = others_above(p->map, arc, p->pad->tolerance_mm);
    if (arc->full_circle)
        snprintf(extent, sizeof extent, "all the way round");
    else
        snprintf(extent, sizeof extent, "from %.0f to %.0f degrees", arc->start_deg, arc->end_deg);
    if (others)
        snprintf(more, sizeof more, " and at %d other place%s", others, others == 1 ? "" : "s");
    snprintf(line->sentence, sizeof line->sentence,
             "%sopen %s%s, up to %.3f +- %.3f mm at %.0f degrees: %s. Correct the seat there, then "
             "sweep again",
             by_key(p, key), extent, more, arc->max_width_mm, p->coverage_factor * arc->u_max_mm,
             arc->max_bearing_deg, rg_rank_where(arc->max_bearing_deg));
}

static void say(const rg_rank_pad *p, rg_rank_line *line)
{
    const char *text = "nothing to do";
    if (!p->map)
        text = "not swept yet";
    else if (p->only_firm)
        text = "only a firm finger was tried, which closes gaps that playing leaves open: sweep "
               "with a light one";
    else if (p->verdict == RG_VERDICT_UNDECIDED)
        text = p->map->reasons ? p->map->reason[0] : "undecided: sweep again";
    bool leaks = p->map && p->verdict == RG_VERDICT_LEAKING;
    if (leaks && p->sentences && p->diagnosis && p->diagnosis->faults > 0)
        say_diagnosis(p, line);
    else if (leaks)
        say_leak(p, line);
    else
        rg_copy_text(line->sentence, sizeof line->sentence, text);
}

/* ---------------------------------------------------------------- order */

static void measure(const rg_rank_pad *p, rg_rank_line *line)
{
    line->area_mm2 = p->map ? 0 : NAN;
    line->width_mm = line->U_width_mm = line->bearing_deg = NAN;
    for (int i = 0; p->map && i < p->map->arcs; i++) {
        const rg_arc *arc = &p->map->arc[i];
        line->area_mm2 += arc->open_area_mm2;
        if (line->width_mm >= arc->max_width_mm)
            continue;
        line->width_mm = arc->max_width_mm;
        line->U_width_mm = p->coverage_factor * arc->u_max_mm;
        line->bearing_deg = arc->max_bearing_deg;
    }
}

static void measure_flow(const rg_rank_pad *p, rg_rank_line *line)
{
    bool leaks = p->flow && p->flow->measured.ml_s > 0;
    line->orifice_mm = leaks ? p->flow->measured.orifice_mm : NAN;
    line->orifice_low_mm = leaks ? p->flow->measured.orifice_low_mm : NAN;
    line->orifice_high_mm = leaks ? p->flow->measured.orifice_high_mm : NAN;
    for (int i = 0; p->map && i < RG_BINS; i++)
        line->unseen += p->map->bin[i].state == RG_BIN_UNSEEN;
    line->starts_at = p->notes ? p->notes->starts_at : -1;
    line->notes = p->notes ? p->notes->notes : -1;
}

static int class_of(const rg_rank_pad *p)
{
    if (!p->map)
        return 2;
    return p->verdict == RG_VERDICT_LEAKING ? 0 : p->verdict == RG_VERDICT_UNDECIDED ? 1 : 3;
}

static double or_nothing(double value)
{
    return isfinite(value) ? value : 0;
}

static bool is_worse(const rg_rank_pad *pad, const rg_rank_line *a, const rg_rank_line *b)
{
    int group = class_of(&pad[a->pad]) - class_of(&pad[b->pad]);
    double flow = group == 0 && pad[a->pad].verdict == RG_VERDICT_LEAKING
                      ? or_nothing(a->orifice_mm) - or_nothing(b->orifice_mm)
                      : 0;
    double area = or_nothing(a->area_mm2) - or_nothing(b->area_mm2);
    double width = or_nothing(a->width_mm) - or_nothing(b->width_mm);
    if (group)
        return group < 0;
    if (flow < 0 || flow > 0)
        return flow > 0;
    return area < 0 || area > 0 ? area > 0 : width > 0;
}

/* Insertion: pads that are alike stay in body order. */
void rg_bench_rank(const rg_rank_pad *pad, int count, rg_rank_line *line)
{
    for (int i = 0; i < count; i++) {
        rg_rank_line now = {.pad = i};
        int at = i;
        measure(&pad[i], &now);
        measure_flow(&pad[i], &now);
        say(&pad[i], &now);
        for (; at > 0 && is_worse(pad, &now, &line[at - 1]); at--)
            line[at] = line[at - 1];
        line[at] = now;
    }
}
