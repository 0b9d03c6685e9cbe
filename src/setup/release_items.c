/*
 * release_items.c - each thing that was measured, or should have been, against its rule.
 */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "release_private.h"
#include "rimglow/pad_verdict.h"
#include "rimglow/text.h"
#include "rimglow/unit.h"

static void say(rg_release_item *item, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Adds a sentence to the item's why. */
static void say(rg_release_item *item, const char *format, ...)
{
    size_t used = strlen(item->why);
    va_list args;
    if (used > 0 && used + 3 < sizeof item->why) {
        strcpy(item->why + used, "; ");
        used += 2;
    }
    va_start(args, format);
    vsnprintf(item->why + used, sizeof item->why - used, format, args);
    va_end(args);
}

/* Out before undecided before passed. */
static rg_item_state worse(rg_item_state a, rg_item_state b)
{
    static const int order[] = {[RG_ITEM_NO_RULE] = 0,
                                [RG_ITEM_PASSED] = 1,
                                [RG_ITEM_NOT_MEASURED] = 2,
                                [RG_ITEM_UNDECIDED] = 3,
                                [RG_ITEM_OUT] = 4};
    return order[a] > order[b] ? a : b;
}

/* What is too old shows nothing about today, neither good nor bad. */
static void judge_age(const rg_judging *j, rg_release_item *item, int max_days)
{
    int age = j->evidence->day - item->day;
    if (max_days == 0 || item->state == RG_ITEM_NOT_MEASURED)
        return;
    if (item->day < 0)
        say(item, "on a day that is not stated, and it may be %d days old", max_days);
    else if (age < 0)
        say(item, "dated %d days after the day of this judgement", -age);
    else if (age > max_days)
        say(item, "%d days old, the most is %d: measure again", age, max_days);
    else
        return;
    item->state = RG_ITEM_UNDECIDED;
}

/* ---------------------------------------------------------------- pads */

static bool is_light(const rg_seal_rule *rule, const rg_release_sweep *s)
{
    return s->touch == RG_TOUCH_LIGHT ||
           (s->touch == RG_TOUCH_GRAMS && rule && s->grams <= rule->light_grams);
}

/* The sweep that decides of the pad: its last light one, or one after that which leaks; without a
 * light one the last leaking, else the last. NULL: not swept. */
static const rg_release_sweep *deciding(const rg_release_evidence *e, const rg_seal_rule *rule,
                                        const char *pad)
{
    const rg_release_sweep *best = NULL;
    for (int i = 0; i < e->sweeps; i++) {
        const rg_release_sweep *s = &e->sweep[i];
        if (strcmp(s->pad, pad) == 0 &&
            (!best || is_light(rule, s) || s->verdict == RG_VERDICT_LEAKING ||
             (!is_light(rule, best) && best->verdict != RG_VERDICT_LEAKING)))
            best = s;
    }
    return best;
}

static const char *touch_words(const rg_release_sweep *s, char text[48])
{
    static const char *const words[] = {[RG_TOUCH_UNSTATED] = "a finger that was not stated",
                                        [RG_TOUCH_LIGHT] = "a light finger",
                                        [RG_TOUCH_FIRM] = "a firm finger",
                                        [RG_TOUCH_GRAMS] = ""};
    snprintf(text, 48, "%s", words[s->touch]);
    if (s->touch == RG_TOUCH_GRAMS)
        snprintf(text, 48, "%.4g g", s->grams);
    return text;
}

static void judge_seal(const rg_judging *j, const rg_seal_rule *rule, const rg_release_sweep *s,
                       rg_release_item *item)
{
    char touch[48];
    double U = j->rules->coverage_factor * s->u_widest_mm;
    bool only_firm;
    const rg_pad_sweep last = {s->verdict, !is_light(rule, s)};
    rg_verdict verdict = rg_pad_verdict(&last, 1, &only_firm);
    touch_words(s, touch);
    if (verdict == RG_VERDICT_LEAKING) {
        item->state = RG_ITEM_OUT;
        say(item, "leaking under %s", touch);
        if (isfinite(s->widest_mm))
            say(item, "%.3f +- %.3f mm at bearing %.0f", s->widest_mm, U, s->widest_deg);
    } else if (only_firm) {
        item->state = RG_ITEM_UNDECIDED;
        say(item, "sealed under %s only, which cannot release a pad: sweep it under a light finger",
            touch);
    } else if (verdict == RG_VERDICT_UNDECIDED) {
        item->state = RG_ITEM_UNDECIDED;
        say(item, "the sweep under %s is undecided: its seal map says why", touch);
    } else {
        item->state = RG_ITEM_PASSED;
    }
    if (!rule)
        item->state = item->state == RG_ITEM_OUT ? RG_ITEM_OUT : RG_ITEM_NO_RULE;
}

static rg_code add_seal(rg_judging *j, const char *pad)
{
    const rg_seal_rule *rule = rg_release_seal_rule(j->rules, pad);
    const rg_release_sweep *s = deciding(j->evidence, rule, pad);
    rg_release_item *item = rg_release_add(j, RG_ITEM_SEAL, pad);
    if (!item)
        return RG_INTERNAL;
    item->required = rule && rule->required;
    if (!s) {
        say(item, "not swept");
        return RG_OK;
    }
    strcpy(item->unit, "mm");
    item->value = s->widest_mm;
    item->u = s->u_widest_mm;
    item->bearing_deg = s->widest_deg;
    item->verdict = s->verdict;
    item->touch = s->touch;
    item->grams = s->grams;
    item->day = s->day;
    judge_seal(j, rule, s, item);
    if (rule)
        judge_age(j, item, rule->max_age_days);
    return RG_OK;
}

static bool is_listed(const rg_release_evidence *e, const char *pad)
{
    for (int i = 0; i < e->pads; i++)
        if (strcmp(e->pad[i], pad) == 0)
            return true;
    return false;
}

/* Pads of the instrument; then any other that was swept, which should not be. */
rg_code rg_release_seals(rg_judging *j)
{
    const rg_release_evidence *e = j->evidence;
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < e->pads; i++)
        code = add_seal(j, e->pad[i]);
    for (int i = 0; code == RG_OK && i < e->sweeps; i++) {
        bool known = is_listed(e, e->sweep[i].pad);
        for (int k = 0; k < i; k++)
            known = known || strcmp(e->sweep[k].pad, e->sweep[i].pad) == 0;
        if (!known)
            code = add_seal(j, e->sweep[i].pad);
    }
    return code;
}

/* ---------------------------------------------------------------- values */

/* Is `unit` one of the comma separated names? */
static bool is_named(const char *list, const char *unit)
{
    for (const char *p = list; *p;) {
        p += strspn(p, " ,");
        size_t n = strcspn(p, ",");
        size_t shown = n;
        while (shown > 0 && p[shown - 1] == ' ')
            shown--;
        if (shown > 0 && strlen(unit) == shown && strncmp(p, unit, shown) == 0)
            return true;
        p += n;
    }
    return false;
}

/* In the rule's unit. */
static bool convert(const rg_release_value *v, const char *unit, const char *also, double *x,
                    double *u)
{
    const char *from = is_named(also, v->unit) ? unit : v->unit;
    return rg_unit_convert(v->value, from, unit, x) && rg_unit_convert(v->u, from, unit, u);
}

static rg_code wrong_unit(rg_judging *j, const rg_release_value *v, const char *unit,
                          const char *also)
{
    return rg_fail(j->err, RG_BAD_DATA,
                   "%s = %.9g %s: the unit \"%s\" does not convert to \"%s\", in which the rule "
                   "states its limits%s%s; measure or state it in that unit, or change the rule",
                   v->quantity, v->value, v->unit, v->unit, unit,
                   also[0] ? "; the same unit is also named " : "", also);
}

static const rg_release_value *value_of(const rg_release_value *value, int values,
                                        const char *quantity)
{
    for (int i = 0; i < values; i++)
        if (strcmp(value[i].quantity, quantity) == 0)
            return &value[i];
    return NULL;
}

static void say_limits(rg_release_item *item, const char *what, double x, double u, double low,
                       double high, double k)
{
    char number[160], limit[96], with_u[RG_TEXT_WITH_U];
    rg_text_with_u(x, k * u, false, with_u);
    if (isfinite(u))
        snprintf(number, sizeof number, "%s%s %s", what, with_u, item->unit);
    else
        snprintf(number, sizeof number, "%s%.6g %s", what, x, item->unit);
    if (isnan(low))
        snprintf(limit, sizeof limit, "at most %.6g", high);
    else if (isnan(high))
        snprintf(limit, sizeof limit, "at least %.6g", low);
    else
        snprintf(limit, sizeof limit, "%.6g to %.6g", low, high);
    say(item, "%s, limit %s", number, limit);
}

/* Judges x against limits, says what is wrong, and returns the state. */
static rg_item_state judge_limits(rg_judging *j, rg_release_item *item, const char *what, double x,
                                  double u, double low, double high, bool guard)
{
    double k = j->rules->coverage_factor;
    rg_item_state state = rg_release_within(x, u, low, high, guard, k);
    if (state == RG_ITEM_PASSED)
        return state;
    say_limits(item, what, x, u, low, high, k);
    if (state == RG_ITEM_UNDECIDED)
        say(item, isnan(u) ? "no uncertainty is stated, so nothing is shown"
                           : "too close to the limit to call");
    return state;
}

/* The earlier value that the rule refers to; NULL: there is none yet. */
static const rg_release_value *reference_of(const rg_release_evidence *e, const rg_value_rule *rule,
                                            const char *quantity, int *visit)
{
    bool last = rule->reference == RG_REFERENCE_LAST;
    for (int i = 0; i < e->visits; i++) {
        const rg_release_visit *v = &e->visit[last ? e->visits - 1 - i : i];
        const rg_release_value *found = value_of(v->value, v->values, quantity);
        if (found) {
            *visit = v->sequence;
            return found;
        }
    }
    return NULL;
}

static rg_item_state judge_change(rg_judging *j, const rg_value_rule *rule, rg_release_item *item)
{
    char what[40] = "change ";
    double u = 0;
    item->reference = NAN;
    if (rule->reference == RG_REFERENCE_NONE)
        return RG_ITEM_PASSED;
    item->change_low = rule->change_low;
    item->change_high = rule->change_high;
    if (rule->reference == RG_REFERENCE_VALUE) {
        item->reference = rule->reference_value;
    } else {
        const rg_release_value *v =
            reference_of(j->evidence, rule, item->name, &item->reference_visit);
        if (!v)
            return RG_ITEM_PASSED; /* the first of its kind: others will be held against it */
        if (!convert(v, rule->unit, rule->unit_also, &item->reference, &u)) {
            say(item, "visit %d states it in %s, which does not convert to %s",
                item->reference_visit, v->unit, rule->unit);
            return RG_ITEM_UNDECIDED;
        }
    }
    item->change = item->value - item->reference;
    item->u_change = sqrt(item->u * item->u + u * u);
    if (item->reference_visit)
        snprintf(what, sizeof what, "change since visit %d ", item->reference_visit);
    return judge_limits(j, item, what, item->change, item->u_change, rule->change_low,
                        rule->change_high, rule->guard);
}

static rg_code judge_value(rg_judging *j, const rg_value_rule *rule, const rg_release_value *v,
                           rg_release_item *item)
{
    strcpy(item->unit, rule->unit);
    if (!convert(v, rule->unit, rule->unit_also, &item->value, &item->u))
        return wrong_unit(j, v, rule->unit, rule->unit_also);
    item->low = rule->low;
    item->high = rule->high;
    item->required = rule->need != RG_NEED_NO;
    if (item->u > 0 && !(isnan(item->low) && isnan(item->high)))
        item->p_within = rg_release_probability(item->value, item->u, item->low, item->high);
    item->state =
        judge_limits(j, item, "", item->value, item->u, rule->low, rule->high, rule->guard);
    item->state = worse(item->state, judge_change(j, rule, item));
    judge_age(j, item, rule->max_age_days);
    return RG_OK;
}

static rg_code add_value(rg_judging *j, int i)
{
    const rg_release_value *v = &j->evidence->value[i];
    const rg_value_rule *rule = rg_release_value_rule(j->rules, v->quantity);
    if (value_of(j->evidence->value, i, v->quantity))
        return rg_fail(j->err, RG_BAD_DATA, "%s is given twice; leave one out", v->quantity);
    if (!isfinite(v->value) || isinf(v->u) || v->u < 0)
        return rg_fail(j->err, RG_BAD_DATA, "%s: value and uncertainty must be finite numbers",
                       v->quantity);
    rg_release_item *item = rg_release_add(j, RG_ITEM_VALUE, v->quantity);
    if (!item)
        return RG_INTERNAL;
    rg_copy_text(item->unit, sizeof item->unit, v->unit);
    rg_copy_text(item->with, sizeof item->with, v->with);
    rg_copy_text(item->remark, sizeof item->remark, v->remark);
    item->value = v->value;
    item->u = v->u;
    item->day = v->day;
    item->state = RG_ITEM_NO_RULE;
    return rule ? judge_value(j, rule, v, item) : RG_OK;
}

static rg_code add_missing(rg_judging *j, const rg_value_rule *rule, const char *quantity)
{
    rg_release_item *item = rg_release_add(j, RG_ITEM_VALUE, quantity);
    if (!item)
        return RG_INTERNAL;
    item->required = true;
    item->low = rule->low;
    item->high = rule->high;
    strcpy(item->unit, rule->unit);
    say(item, "not measured");
    return RG_OK;
}

static rg_code need_each_pad(rg_judging *j, const rg_value_rule *rule)
{
    const rg_release_evidence *e = j->evidence;
    int before = (int)strcspn(rule->quantity, "*");
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < e->pads; i++) {
        char quantity[2 * RG_RELEASE_NAME];
        snprintf(quantity, sizeof quantity, "%.*s%s%s", before, rule->quantity, e->pad[i],
                 rule->quantity + before + 1);
        if (rg_release_value_rule(j->rules, quantity) == rule &&
            !value_of(e->value, e->values, quantity))
            code = add_missing(j, rule, quantity);
    }
    return code;
}

static bool any_fits(const rg_release_evidence *e, const char *pattern)
{
    for (int i = 0; i < e->values; i++)
        if (rg_release_matches(pattern, e->value[i].quantity))
            return true;
    return false;
}

rg_code rg_release_values(rg_judging *j)
{
    const rg_release_rules *r = j->rules;
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < j->evidence->values; i++)
        code = add_value(j, i);
    for (int i = 0; code == RG_OK && i < r->values; i++) {
        if (r->value[i].need == RG_NEED_EACH_PAD)
            code = need_each_pad(j, &r->value[i]);
        else if (r->value[i].need == RG_NEED_YES && !any_fits(j->evidence, r->value[i].quantity))
            code = add_missing(j, &r->value[i], r->value[i].quantity);
    }
    return code;
}

/* ---------------------------------------------------------------- balance */

typedef struct spread {
    int count, oldest;
    double low, u_low, high, u_high;
} spread;

static void take(spread *s, double x, double u, int day)
{
    if (s->count == 0 || x < s->low) {
        s->low = x;
        s->u_low = u;
    }
    if (s->count == 0 || x > s->high) {
        s->high = x;
        s->u_high = u;
    }
    s->oldest = s->count == 0 || day < s->oldest ? day : s->oldest;
    s->count++;
}

/* Of a quantity that fits the rule, the part that stands for its '*'. */
static void member_of(const rg_balance_rule *rule, const char *quantity, char name[RG_RELEASE_NAME])
{
    size_t before = strcspn(rule->quantity, "*"), after = strlen(rule->quantity + before + 1);
    size_t n = strlen(quantity) - before - after;
    n = n < RG_RELEASE_NAME ? n : RG_RELEASE_NAME - 1;
    memcpy(name, quantity + before, n);
    name[n] = 0;
}

static rg_code gather(rg_judging *j, const rg_balance_rule *rule, spread *s)
{
    const rg_release_evidence *e = j->evidence;
    for (int i = 0; i < e->values; i++) {
        char name[RG_RELEASE_NAME];
        double x, u;
        if (!rg_release_matches(rule->quantity, e->value[i].quantity))
            continue;
        member_of(rule, e->value[i].quantity, name);
        if (strcmp(rule->members, "*") != 0 && !is_named(rule->members, name))
            continue;
        if (!convert(&e->value[i], rule->unit, rule->unit_also, &x, &u))
            return wrong_unit(j, &e->value[i], rule->unit, rule->unit_also);
        take(s, x, u, e->value[i].day);
    }
    return RG_OK;
}

/* How many members the rule names; 0: any. */
static int members_of(const rg_balance_rule *rule)
{
    int n = 1;
    if (strcmp(rule->members, "*") == 0)
        return 0;
    for (const char *p = rule->members; *p; p++)
        n += *p == ',';
    return n;
}

static rg_code add_balance(rg_judging *j, const rg_balance_rule *rule)
{
    spread s = {0};
    int members = members_of(rule);
    rg_code code = gather(j, rule, &s);
    if (code != RG_OK)
        return code;
    rg_release_item *item = rg_release_add(j, RG_ITEM_BALANCE, rule->name);
    if (!item)
        return RG_INTERNAL;
    item->required = rule->required;
    item->high = rule->spread_high;
    strcpy(item->unit, rule->unit);
    if (s.count < 2) {
        say(item, "not measured: a balance needs two of %s, there %s %d", rule->quantity,
            s.count == 1 ? "is" : "are", s.count);
        return RG_OK;
    }
    item->value = s.high - s.low;
    item->u = sqrt(s.u_low * s.u_low + s.u_high * s.u_high);
    item->day = s.oldest;
    if (item->u > 0)
        item->p_within = rg_release_probability(item->value, item->u, NAN, item->high);
    item->state =
        judge_limits(j, item, "spread ", item->value, item->u, NAN, item->high, rule->guard);
    if (s.count < members && item->state != RG_ITEM_OUT) {
        say(item, "%d of %d measured; the others may widen the spread", s.count, members);
        item->state = RG_ITEM_UNDECIDED;
    }
    judge_age(j, item, rule->max_age_days);
    return RG_OK;
}

rg_code rg_release_balances(rg_judging *j)
{
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < j->rules->balances; i++)
        code = add_balance(j, &j->rules->balance[i]);
    return code;
}

/* ---------------------------------------------------------------- checks */

static const rg_check_rule *check_rule(const rg_release_rules *rules, const char *name)
{
    for (int i = 0; i < rules->checks; i++)
        if (strcmp(rules->check[i].name, name) == 0)
            return &rules->check[i];
    return NULL;
}

static rg_code add_check(rg_judging *j, const rg_release_check *c)
{
    const rg_check_rule *rule = check_rule(j->rules, c->name);
    rg_release_item *item = rg_release_add(j, RG_ITEM_CHECK, c->name);
    if (!item)
        return RG_INTERNAL;
    rg_copy_text(item->remark, sizeof item->remark, c->remark);
    item->required = rule && rule->required;
    item->day = c->day;
    if (c->stated && !c->done) {
        item->state = RG_ITEM_OUT;
        say(item, "not done");
    } else if (c->stated) {
        item->state = rule ? RG_ITEM_PASSED : RG_ITEM_NO_RULE;
    } else if (rule) {
        say(item, "not measured: only a remark is there, write check = done or not done");
    } else {
        item->state = RG_ITEM_NO_RULE;
    }
    if (rule && item->state == RG_ITEM_PASSED)
        judge_age(j, item, rule->max_age_days);
    return RG_OK;
}

static bool is_checked(const rg_release_evidence *e, const char *name)
{
    for (int i = 0; i < e->checks; i++)
        if (strcmp(e->check[i].name, name) == 0)
            return true;
    return false;
}

rg_code rg_release_checks(rg_judging *j)
{
    const rg_release_evidence *e = j->evidence;
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < e->checks; i++)
        code = add_check(j, &e->check[i]);
    for (int i = 0; code == RG_OK && i < j->rules->checks; i++) {
        const rg_check_rule *rule = &j->rules->check[i];
        if (is_checked(e, rule->name))
            continue;
        rg_release_item *item = rg_release_add(j, RG_ITEM_CHECK, rule->name);
        if (!item)
            return RG_INTERNAL;
        item->required = rule->required;
        say(item, "not measured: no check of this name");
    }
    return code;
}

/* ---------------------------------------------------------------- further sections */

static const rg_section_rule *section_rule(const rg_release_rules *rules, const char *name)
{
    for (int i = 0; i < rules->sections; i++)
        if (strcmp(rules->section[i].name, name) == 0)
            return &rules->section[i];
    return NULL;
}

static rg_code add_section(rg_judging *j, const rg_release_section *s)
{
    const rg_section_rule *rule = section_rule(j->rules, s->name);
    for (int i = 0; i < s->items; i++) {
        rg_release_item *item = rg_release_add(j, RG_ITEM_FURTHER, s->item[i].name);
        if (!item)
            return RG_INTERNAL;
        *item = s->item[i];
        item->kind = RG_ITEM_FURTHER;
        item->required = rule && rule->required;
        rg_copy_text(item->section, sizeof item->section, s->name);
    }
    return RG_OK;
}

static rg_code add_missing_section(rg_judging *j, const rg_section_rule *rule)
{
    const rg_release_evidence *e = j->evidence;
    for (int i = 0; i < e->furthers; i++)
        if (e->further[i].items > 0 && strcmp(e->further[i].name, rule->name) == 0)
            return RG_OK;
    rg_release_item *item = rg_release_add(j, RG_ITEM_FURTHER, rule->name);
    if (!item)
        return RG_INTERNAL;
    item->required = rule->required;
    rg_copy_text(item->section, sizeof item->section, rule->name);
    say(item, "not measured");
    return RG_OK;
}

rg_code rg_release_furthers(rg_judging *j)
{
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < j->evidence->furthers; i++)
        code = add_section(j, &j->evidence->further[i]);
    for (int i = 0; code == RG_OK && i < j->rules->sections; i++)
        code = add_missing_section(j, &j->rules->section[i]);
    return code;
}
