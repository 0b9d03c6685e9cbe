/*
 * release.c - the decision: from items to release or hold, and the order of the reasons.
 */
#include "rimglow/release.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "release_private.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

const char *rg_item_state_name(rg_item_state state)
{
    static const char *const name[] = {[RG_ITEM_NOT_MEASURED] = "not measured",
                                       [RG_ITEM_PASSED] = "passed",
                                       [RG_ITEM_OUT] = "out of limits",
                                       [RG_ITEM_UNDECIDED] = "undecided",
                                       [RG_ITEM_NO_RULE] = "no rule"};
    return name[state];
}

const char *rg_item_state_sign(rg_item_state state)
{
    static const char *const sign[] = {[RG_ITEM_NOT_MEASURED] = "(   )",
                                       [RG_ITEM_PASSED] = "( O )",
                                       [RG_ITEM_OUT] = "( / )",
                                       [RG_ITEM_UNDECIDED] = "( ? )",
                                       [RG_ITEM_NO_RULE] = "( - )"};
    return sign[state];
}

const char *rg_decision_name(rg_decision decision)
{
    return decision == RG_DECISION_RELEASE ? "release" : "hold";
}

/* ---------------------------------------------------------------- names */

bool rg_release_matches(const char *pattern, const char *name)
{
    const char *star = strchr(pattern, '*');
    if (!star)
        return strcmp(pattern, name) == 0;
    size_t before = (size_t)(star - pattern), after = strlen(star + 1), length = strlen(name);
    return length > before + after && strncmp(pattern, name, before) == 0 &&
           strcmp(name + length - after, star + 1) == 0;
}

/* How closely a pattern that matches describes the name: all of it, or so many letters. */
static int closeness(const char *pattern, const char *name)
{
    if (!rg_release_matches(pattern, name))
        return -1;
    return strchr(pattern, '*') ? (int)strlen(pattern) : RG_RELEASE_NAME;
}

const rg_value_rule *rg_release_value_rule(const rg_release_rules *rules, const char *quantity)
{
    const rg_value_rule *best = NULL;
    int most = -1;
    for (int i = 0; i < rules->values; i++) {
        int close = closeness(rules->value[i].quantity, quantity);
        if (close > most) {
            most = close;
            best = &rules->value[i];
        }
    }
    return best;
}

const rg_seal_rule *rg_release_seal_rule(const rg_release_rules *rules, const char *pad)
{
    const rg_seal_rule *best = NULL;
    int most = -1;
    for (int i = 0; i < rules->seals; i++) {
        int close = closeness(rules->seal[i].pad, pad);
        if (close > most) {
            most = close;
            best = &rules->seal[i];
        }
    }
    return best;
}

/* ---------------------------------------------------------------- limits */

rg_item_state rg_release_within(double x, double u, double low, double high, bool guard, double k)
{
    if (isnan(low) && isnan(high))
        return RG_ITEM_PASSED; /* measured; nothing more was asked */
    if (!guard)
        return x < low || x > high ? RG_ITEM_OUT : RG_ITEM_PASSED;
    if (isnan(u))
        return RG_ITEM_UNDECIDED;
    double U = k * u;
    if (x - U > high || x + U < low)
        return RG_ITEM_OUT;
    return x - U < low || x + U > high ? RG_ITEM_UNDECIDED : RG_ITEM_PASSED;
}

double rg_release_probability(double x, double u, double low, double high)
{
    double above = isnan(high) ? 0 : gsl_cdf_ugaussian_P((x - high) / u);
    double below = isnan(low) ? 0 : gsl_cdf_ugaussian_P((low - x) / u);
    return 1 - above - below;
}

/* ---------------------------------------------------------------- items */

rg_release_item rg_release_item_blank(const char *name)
{
    rg_release_item item = {.value = NAN,
                            .u = NAN,
                            .low = NAN,
                            .high = NAN,
                            .p_within = NAN,
                            .reference = NAN,
                            .change = NAN,
                            .u_change = NAN,
                            .change_low = NAN,
                            .change_high = NAN,
                            .day = -1,
                            .verdict = RG_VERDICT_UNDECIDED,
                            .grams = NAN,
                            .bearing_deg = NAN};
    rg_copy_text(item.name, sizeof item.name, name);
    return item;
}

rg_release_item *rg_release_add(rg_judging *j, rg_item_kind kind, const char *name)
{
    rg_release_result *r = j->result;
    if (r->items == j->room) {
        int room = j->room ? 2 * j->room : 64;
        rg_release_item *grown = rg_grow(r->item, (size_t)room, sizeof *grown);
        if (!grown) {
            rg_fail(j->err, RG_INTERNAL, "no memory for %d items of a set-up sheet", room);
            return NULL;
        }
        r->item = grown;
        j->room = room;
    }
    rg_release_item *item = &r->item[r->items++];
    *item = rg_release_item_blank(name);
    item->kind = kind;
    return item;
}

static bool holds(const rg_release_item *item)
{
    return item->state == RG_ITEM_OUT || (item->required && item->state != RG_ITEM_PASSED);
}

/* Less is graver. */
static int rank(const rg_release_item *item)
{
    return item->state == RG_ITEM_OUT ? 0 : item->state == RG_ITEM_UNDECIDED ? 1 : 2;
}

static double gap(const rg_release_item *item)
{
    return item->kind == RG_ITEM_SEAL && isfinite(item->value) ? item->value : -1;
}

/* Is a graver than b? By rank, then by kind, pads by their gaps; else as they stand. */
static bool graver(const rg_release_item *a, const rg_release_item *b)
{
    if (rank(a) != rank(b))
        return rank(a) < rank(b);
    return a->kind != b->kind ? a->kind < b->kind : gap(a) > gap(b);
}

static rg_code decide(rg_judging *j)
{
    rg_release_result *r = j->result;
    r->reason = rg_alloc((size_t)r->items, sizeof *r->reason);
    if (!r->reason)
        return rg_fail(j->err, RG_INTERNAL, "no memory for the reasons of a set-up sheet");
    r->decision = RG_DECISION_RELEASE;
    for (int i = 0; i < r->items; i++) {
        if (!holds(&r->item[i]))
            continue;
        int at = r->reasons++;
        for (; at > 0 && graver(&r->item[i], &r->item[r->reason[at - 1]]); at--)
            r->reason[at] = r->reason[at - 1];
        r->reason[at] = i;
        if (r->item[i].state == RG_ITEM_OUT)
            r->decision = RG_DECISION_HOLD_OUT;
        else if (r->decision == RG_DECISION_RELEASE)
            r->decision = RG_DECISION_HOLD_OPEN;
    }
    return RG_OK;
}

rg_code rg_release_judge(const rg_release_rules *rules, const rg_release_evidence *evidence,
                         rg_release_result *result, rg_error *err)
{
    rg_judging j = {rules, evidence, result, 0, err};
    static rg_code (*const step[])(rg_judging *) = {rg_release_seals,    rg_release_values,
                                                    rg_release_balances, rg_release_checks,
                                                    rg_release_furthers, decide};
    rg_code code = RG_OK;
    *result = (rg_release_result){0};
    for (size_t i = 0; code == RG_OK && i < sizeof step / sizeof *step; i++)
        code = step[i](&j);
    if (code != RG_OK)
        rg_release_result_free(result);
    return code;
}

void rg_release_result_free(rg_release_result *result)
{
    free(result->item);
    free(result->reason);
    *result = (rg_release_result){0};
}

const char *rg_release_reason(const rg_release_result *result, int i, char text[RG_RELEASE_REASON])
{
    const rg_release_item *item = &result->item[result->reason[i]];
    snprintf(text, RG_RELEASE_REASON, "%s: %s", item->name, item->why);
    return text;
}
