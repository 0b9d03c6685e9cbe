/*
 * regulation.c - differences of height between cups of one key, and what they mean at the adjusters.
 * Method in regulation.h.
 */
#include "rimglow/regulation.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

const char *rg_key_adjuster_name(rg_key_adjuster adjuster)
{
    static const char *const name[] = {"screw", "cork", "bend"};
    return name[adjuster];
}

const char *rg_regulation_state_name(rg_regulation_state state)
{
    static const char *const name[] = {"not measured", "not told", "together", "driver first",
                                       "driven first"};
    return name[state];
}

/* ------------------------------------------------------------------- input */

static bool is_share(double x)
{
    return x >= 0 && x < 1;
}

static rg_code check_options(const rg_regulation_options *o, rg_error *err)
{
    if (!(o->coverage_factor > 0 && o->coverage_factor <= 6))
        return rg_fail(err, RG_BAD_DATA, "regulation: coverage factor %g; give above 0 and up to 6",
                       o->coverage_factor);
    if (!is_share(o->same_force_share) || !is_share(o->lever_ratio_share))
        return rg_fail(err, RG_BAD_DATA,
                       "regulation: same_force_share %g, lever_ratio_share %g; give 0 to below 1",
                       o->same_force_share, o->lever_ratio_share);
    if (!(o->turn_step > 0 && o->turn_step <= 1 && o->cork_step_mm > 0 && o->bend_step_mm > 0))
        return rg_fail(err, RG_BAD_DATA,
                       "regulation: steps of %g turn, %g mm of cork, %g mm of bend; give positive "
                       "numbers, and at most one turn",
                       o->turn_step, o->cork_step_mm, o->bend_step_mm);
    return RG_OK;
}

static rg_code check_cups(const rg_key_cup *cup, int cups, rg_error *err)
{
    if (cups < 1 || cups > RG_KEY_CUPS_MAX)
        return rg_fail(err, RG_BAD_DATA, "regulation: %d cups; one key closes 1 to %d", cups,
                       RG_KEY_CUPS_MAX);
    for (int i = 0; i < cups; i++)
        for (int j = 0; j < i; j++)
            if (strcmp(cup[i].pad, cup[j].pad) == 0)
                return rg_fail(err, RG_BAD_DATA,
                               "regulation: pad %.60s is there twice; give one sweep of each",
                               cup[i].pad);
    return RG_OK;
}

static int cup_of(const rg_key_cup *cup, int cups, const char *pad)
{
    for (int i = 0; i < cups; i++)
        if (strcmp(cup[i].pad, pad) == 0)
            return i;
    return -1;
}

/* Links in the order in which the key reaches them; queue[] holds the pads reached. Every pad passes
 * its links on once, when it is taken from the queue, so two ways to one cup are both kept. */
static rg_code reach(const char *key, const rg_key_link *link, int links, rg_regulation *r,
                     rg_error *err)
{
    const char *queue[RG_KEY_LINKS_MAX + 1] = {key};
    int queued = 1;
    for (int at = 0; at < queued; at++)
        for (int i = 0; i < links; i++) {
            bool known = false;
            if (strcmp(link[i].driver, queue[at]) != 0)
                continue;
            if (r->links == RG_KEY_LINKS_MAX)
                return rg_fail(err, RG_BAD_DATA, "regulation: key %.60s has more than %d links",
                               key, RG_KEY_LINKS_MAX);
            if (!(link[i].lever_ratio > 0 && isfinite(link[i].lever_ratio)) ||
                !(link[i].thread_mm >= 0 && isfinite(link[i].thread_mm)))
                return rg_fail(err, RG_BAD_DATA,
                               "link %.60s > %.60s: lever ratio %g, thread %g mm; give a positive "
                               "ratio, and the pitch or 0",
                               link[i].driver, link[i].driven, link[i].lever_ratio,
                               link[i].thread_mm);
            r->link[r->links++].link = i;
            for (int q = 0; q < queued; q++)
                known |= strcmp(queue[q], link[i].driven) == 0;
            if (!known)
                queue[queued++] = link[i].driven;
        }
    return RG_OK;
}

/* Peels off links whose driver nobody left drives; what cannot be peeled runs in a circle. */
static rg_code check_circle(const rg_key_link *link, const rg_regulation *r, rg_error *err)
{
    bool gone[RG_KEY_LINKS_MAX] = {false};
    for (int left = r->links; left > 0;) {
        int before = left;
        for (int i = 0; i < r->links; i++) {
            bool driven = false;
            for (int j = 0; !gone[i] && j < r->links; j++)
                driven |= !gone[j] &&
                          strcmp(link[r->link[j].link].driven, link[r->link[i].link].driver) == 0;
            if (gone[i] || driven)
                continue;
            gone[i] = true;
            left--;
        }
        for (int i = 0; left == before && i < r->links; i++)
            if (!gone[i])
                return rg_fail(err, RG_BAD_DATA,
                               "link %.60s > %.60s leads back to itself; correct the links of the "
                               "instrument file",
                               link[r->link[i].link].driver, link[r->link[i].link].driven);
    }
    return RG_OK;
}

/* ----------------------------------------------------------------- heights */

static bool fingers_alike(const rg_key_cup *cup, int cups, double share)
{
    const rg_seating *seating[RG_KEY_CUPS_MAX];
    for (int i = 0; i < cups; i++)
        seating[i] = &cup[i].seating;
    return rg_seating_same_finger(seating, cups, share);
}

static double height(const rg_seating *s)
{
    return s->state == RG_SEATING_OPEN ? s->mean_mm : s->state == RG_SEATING_CONTACT ? 0 : NAN;
}

static double expanded(const rg_seating *a, const rg_seating *b, double k)
{
    return k * hypot(rg_seating_u_mean(a, k), rg_seating_u_mean(b, k));
}

static void find_first(const rg_key_cup *cup, rg_regulation *r)
{
    r->first = -1;
    for (int i = 0; i < r->cups; i++) {
        double h = height(&cup[i].seating);
        if (!isnan(h) && (r->first < 0 || h < height(&cup[r->first].seating)))
            r->first = i;
    }
}

static void compare_cups(const rg_key_cup *cup, double k, rg_regulation *r)
{
    find_first(cup, r);
    for (int i = 0; i < r->cups; i++) {
        const rg_seating *s = &cup[i].seating;
        rg_cup_result *c = &r->cup[i];
        *c = (rg_cup_result){.pad = cup[i].pad,
                             .measured = s->state != RG_SEATING_UNSEEN,
                             .stand_off_mm = NAN,
                             .U_mm = NAN};
        if (!c->measured || !r->same_finger)
            continue;
        const rg_seating *first = &cup[r->first].seating;
        c->stand_off_mm = height(s) - height(first);
        c->U_mm = i == r->first ? k * rg_seating_u_mean(s, k) : expanded(s, first, k);
        c->with_first = i == r->first || c->stand_off_mm <= c->U_mm;
        c->at_least = i != r->first && first->state == RG_SEATING_CONTACT;
    }
}

/* ------------------------------------------------------------------- links */

static rg_regulation_state state_of(const rg_link_result *l, const rg_seating *driver,
                                    const rg_seating *driven)
{
    if (isnan(l->difference_mm))
        return RG_REGULATION_NOT_MEASURED;
    if (fabs(l->difference_mm) > l->U_mm)
        return l->difference_mm > 0 ? RG_REGULATION_DRIVER_FIRST : RG_REGULATION_DRIVEN_FIRST;
    bool sealed = driver->verdict == RG_VERDICT_SEALED && driven->verdict == RG_VERDICT_SEALED;
    return sealed ? RG_REGULATION_TOGETHER : RG_REGULATION_NOT_TOLD;
}

static bool in_turns(const rg_key_link *link)
{
    return link->kind == RG_KEY_SCREW && link->thread_mm > 0;
}

static double step_mm(const rg_key_link *link, const rg_regulation_options *o)
{
    if (in_turns(link))
        return o->turn_step * link->thread_mm;
    return link->kind == RG_KEY_CORK ? o->cork_step_mm : o->bend_step_mm;
}

/* What the fault is at the adjuster, what to do in steps of a hand, and what is left then. */
static void at_adjuster(const rg_key_link *link, const rg_regulation_options *o, rg_link_result *l)
{
    double ratio = link->lever_ratio, relative = o->coverage_factor * o->lever_ratio_share;
    double step = step_mm(link, o);
    l->adjuster_mm = l->difference_mm / ratio;
    l->U_adjuster_mm = hypot(l->U_mm / ratio, relative * l->adjuster_mm);
    l->step_mm = step * round(l->adjuster_mm / step);
    l->too_fine = !(fabs(l->step_mm) > 0);
    if (in_turns(link)) {
        l->turns = l->adjuster_mm / link->thread_mm;
        l->U_turns = l->U_adjuster_mm / link->thread_mm;
        l->step_turns = l->step_mm / link->thread_mm;
    }
    l->after_mm = l->difference_mm - l->step_mm * ratio;
    l->U_after_mm = hypot(l->U_mm, relative * l->step_mm * ratio);
}

static void judge_link(const rg_key_cup *cup, const rg_key_link *link,
                       const rg_regulation_options *o, const rg_regulation *r, rg_link_result *l)
{
    l->driver = cup_of(cup, r->cups, link->driver);
    l->driven = cup_of(cup, r->cups, link->driven);
    l->difference_mm = l->U_mm = l->adjuster_mm = l->U_adjuster_mm = NAN;
    l->turns = l->U_turns = l->step_mm = l->step_turns = l->after_mm = l->U_after_mm = NAN;
    if (l->driver < 0 || l->driven < 0 || !r->same_finger)
        return;
    const rg_seating *driver = &cup[l->driver].seating, *driven = &cup[l->driven].seating;
    l->difference_mm = height(driven) - height(driver);
    l->U_mm = expanded(driver, driven, o->coverage_factor);
    l->state = state_of(l, driver, driven);
    l->at_least = driver->state == RG_SEATING_CONTACT || driven->state == RG_SEATING_CONTACT;
    if (l->state == RG_REGULATION_DRIVER_FIRST || l->state == RG_REGULATION_DRIVEN_FIRST)
        at_adjuster(link, o, l);
    else if (l->state != RG_REGULATION_NOT_MEASURED) {
        l->adjuster_mm = l->step_mm = 0;
        l->U_adjuster_mm = l->U_mm / link->lever_ratio;
        l->after_mm = l->difference_mm;
        l->U_after_mm = l->U_mm;
    }
}

/* --------------------------------------------------------------- sentences */

/* "1/4 turn", "1 3/8 turns"; decimals where the step is no fraction of a turn. */
static void turn_text(double turns, double step, char text[48])
{
    long den = lround(1 / step), n = lround(fabs(turns) * (double)den);
    if (fabs((double)den * step - 1) > 1e-6) {
        snprintf(text, 48, "%.2f turn", fabs(turns));
        return;
    }
    long whole = n / den, part = n % den;
    while (part > 0 && part % 2 == 0 && den % 2 == 0) {
        part /= 2;
        den /= 2;
    }
    if (part == 0)
        snprintf(text, 48, "%ld turn%s", whole, whole == 1 ? "" : "s");
    else if (whole == 0)
        snprintf(text, 48, "%ld/%ld turn", part, den);
    else
        snprintf(text, 48, "%ld %ld/%ld turns", whole, part, den);
}

static const char *adjuster_of(const rg_key_link *link)
{
    static const char *const what[] = {"adjusting screw", "cork", "linking arm"};
    return link->adjuster && link->adjuster[0] ? link->adjuster : what[link->kind];
}

/* What to do with the hands; down: the driven cup must come down. */
static void action_text(const rg_key_link *link, const rg_link_result *l, double turn_step,
                        char text[200])
{
    char turns[48];
    bool down = l->difference_mm > 0;
    double mm = fabs(l->step_mm);
    if (l->too_fine) {
        snprintf(text, 200, "less than can be set by hand; try a breath %s at the %.80s",
                 down ? "more" : "less", adjuster_of(link));
        return;
    }
    turn_text(isnan(l->step_turns) ? 0 : l->step_turns, turn_step, turns);
    if (in_turns(link))
        snprintf(text, 200, "turn the %.80s %s by %s (%.2f \u00b1 %.2f)", adjuster_of(link),
                 down ? "in" : "out", turns, fabs(l->turns), l->U_turns);
    else if (link->kind == RG_KEY_SCREW)
        snprintf(text, 200, "turn the %.80s %s by %.2f mm (\u00b1 %.2f mm; its pitch is not known)",
                 adjuster_of(link), down ? "in" : "out", mm, l->U_adjuster_mm);
    else if (link->kind == RG_KEY_CORK)
        snprintf(text, 200, "make the %.80s %s by %.2f mm (\u00b1 %.2f mm)", adjuster_of(link),
                 down ? "thicker" : "thinner", mm, l->U_adjuster_mm);
    else
        snprintf(text, 200, "bend the %.80s so that it gives %.2f mm %s there (\u00b1 %.2f mm)",
                 adjuster_of(link), mm, down ? "more" : "less", l->U_adjuster_mm);
}

static void say_fault(const rg_key_link *link, const rg_link_result *l, double turn_step,
                      rg_advice *a)
{
    char what[200];
    bool driver = l->state == RG_REGULATION_DRIVER_FIRST;
    const char *first = driver ? link->driver : link->driven;
    const char *off = driver ? link->driven : link->driver;
    action_text(link, l, turn_step, what);
    rg_advise(a, "%.60s closes before %.60s, which stands off by %s%.3f \u00b1 %.3f mm: %s.", first,
              off, l->at_least ? "at least " : "", fabs(l->difference_mm), l->U_mm, what);
    if (!l->too_fine)
        rg_advise(
            a,
            "After that %.60s stands %.3f \u00b1 %.3f mm %s %.60s; sweep both again under the "
            "same finger.",
            link->driven, fabs(l->after_mm), l->U_after_mm, l->after_mm < 0 ? "below" : "above",
            link->driver);
}

static void say_unmeasured(const rg_key_cup *cup, const rg_key_link *link, const rg_link_result *l,
                           const rg_regulation *r, rg_advice *a)
{
    int missing = l->driver < 0 ? 0 : l->driven < 0 ? 1 : 2;
    const char *name = missing == 0 ? link->driver : link->driven;
    if (missing < 2)
        rg_advise(a, "%.60s and %.60s: not measured, since %.60s was not swept under this key.",
                  link->driver, link->driven, name);
    else if (r->same_finger) {
        name = cup[l->driver].seating.state == RG_SEATING_UNSEEN ? link->driver : link->driven;
        rg_advise(a,
                  "%.60s and %.60s: not measured, since the plane of %.60s is not known: sweep it "
                  "again all round.",
                  link->driver, link->driven, name);
    }
}

static void say_link(const rg_key_cup *cup, const rg_key_link *link, const rg_link_result *l,
                     const rg_regulation_options *o, const rg_regulation *r, rg_advice *a)
{
    switch (l->state) {
    case RG_REGULATION_NOT_MEASURED:
        say_unmeasured(cup, link, l, r, a);
        break;
    case RG_REGULATION_TOGETHER:
        rg_advise(a, "%.60s and %.60s close together, within %.3f mm; both are sealed.",
                  link->driver, link->driven, l->U_mm);
        break;
    case RG_REGULATION_NOT_TOLD:
        rg_advise(a,
                  "%.60s and %.60s differ by no more than %.3f \u00b1 %.3f mm, but %.60s is not "
                  "sealed: cure the pad, then sweep both again.",
                  link->driver, link->driven, fabs(l->difference_mm), l->U_mm,
                  cup[l->driver].seating.verdict == RG_VERDICT_SEALED ? link->driven
                                                                      : link->driver);
        break;
    default:
        say_fault(link, l, o->turn_step, a);
    }
}

/* A cup that two links reach is set at both, or the other one still holds it. */
static void say_shared(const rg_key_link *link, const rg_regulation *r, rg_advice *a)
{
    for (int i = 0; i < r->links; i++)
        for (int j = 0; j < i; j++)
            if (strcmp(link[r->link[i].link].driven, link[r->link[j].link].driven) == 0)
                rg_advise(a,
                          "%.60s is reached by way of %.60s and of %.60s: set both adjusters, or "
                          "the further one decides alone.",
                          link[r->link[i].link].driven, link[r->link[j].link].driver,
                          link[r->link[i].link].driver);
}

static bool any_fault(const rg_regulation *r)
{
    for (int i = 0; i < r->links; i++)
        if (r->link[i].state >= RG_REGULATION_DRIVER_FIRST)
            return true;
    return false;
}

/* The cups that no link of the file explains. */
static void say_cups(const rg_regulation *r, rg_advice *a)
{
    if (r->first < 0 || r->links > 0 || r->cups < 2)
        return;
    for (int i = 0; i < r->cups; i++)
        if (r->cup[i].measured && !r->cup[i].with_first)
            rg_advise(
                a,
                "%.60s stands off by %s%.3f \u00b1 %.3f mm when %.60s closes; the instrument file "
                "names no adjuster between them.",
                r->cup[i].pad, r->cup[i].at_least ? "at least " : "", r->cup[i].stand_off_mm,
                r->cup[i].U_mm, r->cup[r->first].pad);
}

static void say_all(const char *key, const rg_key_cup *cup, const rg_key_link *link,
                    const rg_regulation_options *o, rg_regulation *r)
{
    rg_advice *a = &r->advice;
    if (!r->same_finger) {
        rg_advise(a,
                  "Key %.60s: not measured, since its cups were not swept under one stated finger: "
                  "sweep all of them with the same force.",
                  key);
        return;
    }
    if (cup[0].seating.press == RG_PRESS_FIRM)
        rg_advise(a,
                  "Key %.60s was swept under a firm finger, which bends keys together: what stands "
                  "off then stands off further under a light one.",
                  key);
    for (int i = 0; i < r->links; i++)
        say_link(cup, &link[r->link[i].link], &r->link[i], o, r, a);
    say_cups(r, a);
    if (any_fault(r))
        say_shared(link, r, a);
    if (any_fault(r) && r->links > 1)
        rg_advise(a, "Work from key %.60s outwards: a change moves every cup behind it.", key);
}

/* ------------------------------------------------------------------- entry */

rg_code rg_regulation_find(const char *key, const rg_key_cup *cup, int cups,
                           const rg_key_link *link, int links, const rg_regulation_options *options,
                           rg_regulation *regulation, rg_error *err)
{
    rg_regulation *r = regulation;
    *r = (rg_regulation){.first = -1};
    rg_code code = check_options(options, err);
    if (code == RG_OK)
        code = check_cups(cup, cups, err);
    if (code == RG_OK)
        code = reach(key, link, links, r, err);
    if (code == RG_OK)
        code = check_circle(link, r, err);
    if (code != RG_OK) {
        *r = (rg_regulation){.first = -1};
        return code;
    }
    r->cups = cups;
    r->same_finger = fingers_alike(cup, cups, options->same_force_share);
    compare_cups(cup, options->coverage_factor, r);
    for (int i = 0; i < r->links; i++)
        judge_link(cup, &link[r->link[i].link], options, r, &r->link[i]);
    say_all(key, cup, link, options, r);
    return RG_OK;
}
