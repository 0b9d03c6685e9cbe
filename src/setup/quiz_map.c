/*
 * quiz_map.c - what an archived seal map says, as the truth of a question.
 */
#include <math.h>

#include "quiz_private.h"

bool rg_quiz_cause_of(rg_fault_kind kind, rg_quiz_cause *cause)
{
    static const rg_quiz_cause known[] = {
        [RG_FAULT_TILT] = RG_QUIZ_TILTED,           [RG_FAULT_HINGE_THICK] = RG_QUIZ_HINGE_THICK,
        [RG_FAULT_HINGE_THIN] = RG_QUIZ_HINGE_THIN, [RG_FAULT_SADDLE] = RG_QUIZ_SADDLE,
        [RG_FAULT_UNIFORM] = RG_QUIZ_UNIFORM,       [RG_FAULT_LOCAL] = RG_QUIZ_LOCAL,
        [RG_FAULT_CREASE] = RG_QUIZ_LOCAL,          [RG_FAULT_DENT] = RG_QUIZ_LOCAL,
        [RG_FAULT_DIRT] = RG_QUIZ_CAUSES,           [RG_FAULT_UNEVEN] = RG_QUIZ_CAUSES};
    if (known[kind] == RG_QUIZ_CAUSES)
        return false;
    *cause = known[kind];
    return true;
}

static const rg_bin *bin_at(const rg_seal_map *map, int b)
{
    return &map->bin[(b % RG_BINS + RG_BINS) % RG_BINS];
}

/* The widest open bin of those within `within` of a bearing, -1 without one. */
static int widest_near(const rg_seal_map *map, int middle, int within)
{
    int at = -1;
    for (int b = middle - within; b <= middle + within; b++) {
        const rg_bin *bin = bin_at(map, b);
        if (bin->state == RG_BIN_GAP && (at < 0 || bin->width_mm > map->bin[at].width_mm))
            at = (b % RG_BINS + RG_BINS) % RG_BINS;
    }
    return at;
}

/* Bins round that one, itself among them, that stand open at least half as wide. */
static double extent_about(const rg_seal_map *map, int at)
{
    int steps[2] = {0, 0};
    for (int side = 0; side < 2; side++)
        for (; steps[0] + steps[1] + 1 < RG_BINS; steps[side]++) {
            const rg_bin *next = bin_at(map, at + (side ? 1 : -1) * (steps[side] + 1));
            if (next->state != RG_BIN_GAP || next->width_mm < map->bin[at].width_mm / 2)
                break;
        }
    return steps[0] + steps[1] + 1;
}

/* Edges of classes within U of the width; the one between sealed and leaking is the verdict's. */
static void find_edges(const rg_quiz_options *o, rg_quiz_truth *t)
{
    for (int i = 1; i < o->classes - 1; i++) {
        double edge = o->upto_mm[i];
        t->also_above += edge >= t->widest_mm && edge <= t->widest_mm + t->U_mm;
        t->also_below += edge < t->widest_mm && edge >= t->widest_mm - t->U_mm;
    }
}

/* The other side of a saddle, if it stands open at least half as wide. */
static void find_other_side(const rg_seal_map *map, int at, rg_quiz_truth *t)
{
    enum { WITHIN = 45 }; /* of the opposite bearing: to the contact between both sides */
    int other = widest_near(map, at + RG_BINS / 2, WITHIN);
    if (other >= 0 && map->bin[other].width_mm >= t->widest_mm / 2)
        t->bearing_deg[t->bearings++] = map->bin[other].bearing_deg;
}

static void leak(const rg_quiz_options *o, const rg_seal_map *map, int at, rg_quiz_truth *t)
{
    t->width_class = rg_quiz_class_of(o, t->widest_mm);
    find_edges(o, t);
    t->extent_deg = extent_about(map, at);
    if (t->cause == RG_QUIZ_UNIFORM) {
        t->where = RG_QUIZ_ROUND;
        return;
    }
    t->where = RG_QUIZ_AT;
    t->bearing_deg[t->bearings++] = map->bin[at].bearing_deg;
    if (t->cause == RG_QUIZ_SADDLE)
        find_other_side(map, at, t);
    t->tolerance_deg = fmax(o->bearing_least_deg, o->extent_share * t->extent_deg / 2);
}

bool rg_quiz_truth_of_map(const rg_quiz_options *o, const rg_seal_map *map, double coverage_factor,
                          const rg_fault_kind *fault, rg_quiz_truth *t)
{
    int at = widest_near(map, RG_BINS / 2, RG_BINS / 2);
    *t = (rg_quiz_truth){.cause = RG_QUIZ_SEALED, .where = RG_QUIZ_NOWHERE};
    for (int b = 0; b < RG_BINS; b++)
        t->open_deg += map->bin[b].state == RG_BIN_GAP;
    if (at >= 0) {
        t->widest_mm = map->bin[at].width_mm;
        t->U_mm = coverage_factor * map->bin[at].u_mm;
    }
    if (map->verdict == RG_VERDICT_SEALED && !fault) {
        t->also_above = at < 0 ? 0 : rg_quiz_class_of(o, t->widest_mm + t->U_mm);
        return true;
    }
    if (map->verdict != RG_VERDICT_LEAKING || at < 0 || !fault ||
        !rg_quiz_cause_of(*fault, &t->cause))
        return false;
    leak(o, map, at, t);
    return true;
}
