/*
 * workup_items.c - what was found, as items to be judged and as sentences. See workup.h.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "rimglow/text.h"
#include "rimglow/workup.h"

/* ---------------------------------------------------------------- items */

static rg_release_item *begin(rg_release_item *item, const char *name, rg_item_state state)
{
    *item = rg_release_item_blank(name);
    item->state = state;
    return item;
}

static rg_release_item *begin_named(rg_release_item *item, const char *what, const char *name,
                                    rg_item_state state)
{
    char whole[RG_RELEASE_NAME];
    snprintf(whole, sizeof whole, "%s %.100s", what, name);
    return begin(item, whole, state);
}

static void because(rg_release_item *item, const char *why)
{
    snprintf(item->why, sizeof item->why, "%.*s", RG_RELEASE_WHY - 1, why);
}

static void say_link(const rg_workup *w, const rg_link_result *l, char why[RG_RELEASE_WHY])
{
    const char *driver = w->link[l->link].driver, *driven = w->link[l->link].driven;
    why[0] = 0;
    if (l->state == RG_REGULATION_DRIVER_FIRST)
        snprintf(why, RG_RELEASE_WHY, "%.60s closes first, %.60s stands off", driver, driven);
    else if (l->state == RG_REGULATION_DRIVEN_FIRST)
        snprintf(why, RG_RELEASE_WHY, "%.60s closes first and holds %.60s off", driven, driver);
    else if (l->state == RG_REGULATION_NOT_TOLD)
        snprintf(why, RG_RELEASE_WHY, "no difference is shown, but not both pads are sealed");
    else if (l->state == RG_REGULATION_NOT_MEASURED)
        snprintf(why, RG_RELEASE_WHY, "both were not seen under one and the same finger");
}

static int add_links(const rg_workup *w, rg_release_item *item)
{
    static const rg_item_state state[] = {[RG_REGULATION_NOT_MEASURED] = RG_ITEM_NOT_MEASURED,
                                          [RG_REGULATION_NOT_TOLD] = RG_ITEM_UNDECIDED,
                                          [RG_REGULATION_TOGETHER] = RG_ITEM_PASSED,
                                          [RG_REGULATION_DRIVER_FIRST] = RG_ITEM_OUT,
                                          [RG_REGULATION_DRIVEN_FIRST] = RG_ITEM_OUT};
    int n = 0;
    for (int k = 0; k < w->keys; k++) {
        const rg_regulation *r = &w->key[k].regulation;
        for (int i = 0; i < r->links; i++) {
            const rg_link_result *l = &r->link[i];
            char name[RG_RELEASE_NAME];
            snprintf(name, sizeof name, "%.60s and %.60s", w->link[l->link].driver,
                     w->link[l->link].driven);
            rg_release_item *it = begin(&item[n++], name, state[l->state]);
            it->value = l->difference_mm;
            it->u = l->U_mm / w->coverage_factor;
            rg_copy_text(it->unit, sizeof it->unit, "mm");
            say_link(w, l, it->why);
        }
    }
    return n;
}

static bool has_leak(const rg_force *f)
{
    for (int i = 0; i < f->gaps; i++)
        if (f->gap[i].leak)
            return true;
    return false;
}

static int add_forces(const rg_workup *w, rg_release_item *item)
{
    int n = 0;
    for (int k = 0; k < w->instrument->pads; k++) {
        const rg_force *f = &w->pad[k].force;
        if (!w->pad[k].has_force)
            continue;
        rg_item_state state = has_leak(f) || f->verdict == RG_VERDICT_LEAKING ? RG_ITEM_OUT
                              : f->verdict == RG_VERDICT_SEALED               ? RG_ITEM_PASSED
                                                                              : RG_ITEM_UNDECIDED;
        rg_release_item *it = begin_named(&item[n++], "finger on", w->pad[k].pad->name, state);
        it->value = f->force_g;
        it->u = f->u_g;
        rg_copy_text(it->unit, sizeof it->unit, "gf");
        if (has_leak(f))
            because(it, "a gap that only a firmer finger closes is a leak to a player");
        else if (state != RG_ITEM_PASSED)
            because(it, f->reason[0] ? f->reason : rg_verdict_name(f->verdict));
    }
    return n;
}

/* A scatter has no U but an interval, so it is told in words. */
static void say_repeat(const rg_workup *w, const rg_repeat *r, char why[RG_RELEASE_WHY])
{
    if (r->state == RG_REPEAT_LOOSE_KEY)
        snprintf(why, RG_RELEASE_WHY,
                 "loose key: the tilt scatters by %.3f mm from closing to closing (%.3f to %.3f), "
                 "at most %.3f",
                 r->tilt.component.sd, r->tilt.low, r->tilt.high, w->loose_tilt_mm);
    else if (r->state == RG_REPEAT_SOFT_PAD)
        snprintf(why, RG_RELEASE_WHY, "soft pad: it sinks by %.3f +- %.3f mm over %d closings",
                 -r->drift_mm, r->U_drift_mm, r->closings);
    else if (r->state != RG_REPEAT_STEADY)
        snprintf(why, RG_RELEASE_WHY, "%s from %d closings", rg_repeat_state_name(r->state),
                 r->closings);
}

static int add_repeats(const rg_workup *w, rg_release_item *item)
{
    static const rg_item_state state[] = {[RG_REPEAT_NOT_MEASURED] = RG_ITEM_UNDECIDED,
                                          [RG_REPEAT_NOT_TOLD] = RG_ITEM_UNDECIDED,
                                          [RG_REPEAT_STEADY] = RG_ITEM_PASSED,
                                          [RG_REPEAT_LOOSE_KEY] = RG_ITEM_OUT,
                                          [RG_REPEAT_SOFT_PAD] = RG_ITEM_OUT};
    int n = 0;
    for (int k = 0; k < w->instrument->pads; k++) {
        const rg_repeat *r = &w->pad[k].repeat;
        if (!w->pad[k].has_repeat)
            continue;
        rg_release_item *it =
            begin_named(&item[n++], "closings of", w->pad[k].pad->name, state[r->state]);
        say_repeat(w, r, it->why);
    }
    return n;
}

static rg_item_state height_state(const rg_height_finding *f)
{
    if (f->state == RG_HEIGHT_LOW || f->state == RG_HEIGHT_HIGH || f->order == RG_ORDER_BROKEN)
        return RG_ITEM_OUT;
    if (f->state == RG_HEIGHT_UNSURE || f->order == RG_ORDER_UNSURE)
        return RG_ITEM_UNDECIDED;
    return f->state == RG_HEIGHT_NO_BAND ? RG_ITEM_NO_RULE : RG_ITEM_PASSED;
}

static void say_height(const rg_height_finding *f, char why[RG_RELEASE_WHY])
{
    int n = snprintf(why, RG_RELEASE_WHY, "%s", rg_height_state_name(f->state));
    if (f->order == RG_ORDER_BROKEN)
        n += snprintf(why + n, RG_RELEASE_WHY - (size_t)n, ", smaller than the hole above's");
    if (f->order == RG_ORDER_UNSURE)
        n += snprintf(why + n, RG_RELEASE_WHY - (size_t)n,
                      ", not shown to be as large as the hole above's");
    if (fabs(f->change_mm) > 0)
        snprintf(why + n, RG_RELEASE_WHY - (size_t)n, ": %s it by %.2f mm",
                 f->change_mm > 0 ? "open" : "close", fabs(f->change_mm));
}

static int add_heights(const rg_workup *w, rg_release_item *item)
{
    int n = 0;
    for (int k = 0; w->has_heights && k < w->heights.keys; k++) {
        const rg_height_finding *f = &w->heights.finding[k];
        const rg_height_key *key = &w->height[k];
        if (!key->measured)
            continue;
        rg_release_item *it = begin_named(&item[n++], "opening of", key->name, height_state(f));
        it->value = key->opening_mm;
        it->u = key->u_mm;
        it->low = key->target_mm - key->tolerance_mm;
        it->high = key->target_mm + key->tolerance_mm;
        rg_copy_text(it->unit, sizeof it->unit, "mm");
        if (it->state == RG_ITEM_OUT || it->state == RG_ITEM_UNDECIDED)
            say_height(f, it->why);
    }
    return n;
}

void rg_workup_sections(const rg_workup *w, rg_release_item *item,
                        rg_release_section section[RG_WORKUP_SECTIONS])
{
    static const struct {
        const char *name;
        int (*add)(const rg_workup *, rg_release_item *);
    } kind[RG_WORKUP_SECTIONS] = {{"regulation", add_links},
                                  {"finger force", add_forces},
                                  {"repeatability", add_repeats},
                                  {"key heights", add_heights}};
    for (int i = 0; i < RG_WORKUP_SECTIONS; i++) {
        int n = kind[i].add(w, item);
        section[i] = (rg_release_section){kind[i].name, item, n};
        item += n;
    }
}

/* ---------------------------------------------------------------- sentences */

typedef struct teller {
    rg_workup_say *say;
    void *context;
} teller;

static void tell(const teller *t, const char *subject, const char *sentence)
{
    if (sentence[0])
        t->say(t->context, subject, sentence);
}

static void tell_advice(const teller *t, const char *subject, const rg_advice *advice)
{
    for (int i = 0; i < advice->lines; i++)
        tell(t, subject, advice->line[i]);
}

static void tell_notes(const rg_workup *w, const teller *t, const char *subject, int hole)
{
    char high[RG_PITCH_NAME], all[RG_PITCH_SET_TEXT], text[RG_PITCH_SET_TEXT + 160];
    for (int i = 0; i < w->ranks; i++) {
        const rg_leak_rank *r = &w->rank[i];
        if (r->leak.hole != hole)
            continue;
        const rg_leak *leak = &w->pad[hole].flow.measured;
        int n = snprintf(text, sizeof text, "lets out as much as a hole of %.2f mm (%.2f to %.2f)",
                         leak->orifice_mm, leak->orifice_low_mm, leak->orifice_high_mm);
        if (r->starts_at >= 0) {
            rg_pitch_name(r->starts_at, high);
            rg_pitch_set_text(&r->note, all, sizeof all);
            snprintf(text + n, sizeof text - (size_t)n,
                     "; coming down it begins to matter at %s, and harms %s", high, all);
        }
        tell(t, subject, text);
    }
}

static void tell_pad(const rg_workup *w, const teller *t, int k)
{
    const rg_workup_pad *p = &w->pad[k];
    char subject[RG_WORKUP_SUBJECT];
    snprintf(subject, sizeof subject, "pad %s", p->pad->name);
    tell_notes(w, t, subject, k);
    if (p->has_repeat && p->repeat.state == RG_REPEAT_LOOSE_KEY)
        tell(t, subject,
             "Mend the loose key first: the pad leans otherwise at each closing, and what follows "
             "is of "
             "the last one alone.");
    for (int i = 0; i < p->sentences.count; i++)
        tell(t, subject, p->sentences.line[i].text);
}

static bool is_ranked(const rg_workup *w, int k)
{
    for (int i = 0; i < w->ranks; i++)
        if (w->rank[i].leak.hole == k)
            return true;
    return false;
}

/* Leaks first, by what they let out; then pads with a finding that lets out nothing. */
static void tell_pads(const rg_workup *w, const teller *t)
{
    for (int i = 0; i < w->ranks; i++)
        tell_pad(w, t, w->rank[i].leak.hole);
    for (int k = 0; k < w->instrument->pads; k++)
        if (w->pad[k].diagnosed && w->pad[k].diagnosis.faults > 0 && !is_ranked(w, k))
            tell_pad(w, t, k);
}

static void tell_keys(const rg_workup *w, const teller *t)
{
    char subject[RG_WORKUP_SUBJECT];
    for (int k = 0; k < w->keys; k++) {
        snprintf(subject, sizeof subject, "key of %s", w->instrument->pad[w->key[k].driver].name);
        tell_advice(t, subject, &w->key[k].regulation.advice);
    }
    for (int k = 0; k < w->instrument->pads; k++) {
        const rg_workup_pad *p = &w->pad[k];
        if (p->has_force) {
            snprintf(subject, sizeof subject, "finger on %s", p->pad->name);
            tell_advice(t, subject, &p->force.advice);
        }
        if (p->has_repeat) {
            snprintf(subject, sizeof subject, "closings of %s", p->pad->name);
            tell_advice(t, subject, &p->repeat.advice);
        }
    }
}

static void tell_heights(const rg_workup *w, const teller *t)
{
    char subject[RG_WORKUP_SUBJECT], text[320];
    for (int k = 0; w->has_heights && k < w->heights.keys; k++) {
        const rg_height_finding *f = &w->heights.finding[k];
        const rg_height_key *key = &w->height[k];
        if (!key->measured)
            continue;
        snprintf(subject, sizeof subject, "opening of %s", key->name);
        int n = snprintf(text, sizeof text, "%.2f +- %.2f mm at the far edge, target %.2f: %s",
                         key->opening_mm, f->expanded_mm, key->target_mm,
                         rg_height_state_name(f->state));
        if (fabs(f->change_mm) > 0)
            snprintf(text + n, sizeof text - (size_t)n, "; %s it by %.2f mm, to %.2f mm",
                     f->change_mm > 0 ? "open" : "close", fabs(f->change_mm), f->after_mm);
        tell(t, subject, text);
    }
    for (int i = 0; i < w->breaths; i++) {
        const rg_note_breath *b = &w->breath[i];
        char note[RG_PITCH_NAME];
        if (b->breath != RG_BREATH_STUFFY && b->breath != RG_BREATH_PERHAPS)
            continue;
        rg_pitch_name(b->venting.pitch, note);
        snprintf(subject, sizeof subject, "note %s", note);
        tell(t, subject, b->reason);
    }
}

void rg_workup_tell(const rg_workup *workup, rg_workup_say *say, void *context)
{
    const teller t = {say, context};
    tell_pads(workup, &t);
    tell_keys(workup, &t);
    tell_heights(workup, &t);
    if (workup->notes_fault[0])
        tell(&t, "notes", workup->notes_fault);
}
