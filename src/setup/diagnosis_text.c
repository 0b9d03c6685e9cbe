/*
 * diagnosis_text.c - the diagnosis in sentences (part of diagnosis.h).
 */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#include "diagnosis_private.h"
#include "rimglow/vec.h"

static void say(rg_sentences *s, rg_sentence_kind kind, int fault, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

static void say(rg_sentences *s, rg_sentence_kind kind, int fault, const char *format, ...)
{
    va_list args;
    if (s->count >= RG_SENTENCES_MAX)
        return;
    s->line[s->count].kind = kind;
    s->line[s->count].fault = fault;
    va_start(args, format);
    vsnprintf(s->line[s->count].text, RG_SENTENCE_SIZE, format, args);
    va_end(args);
    s->count++;
}

/* Whole degrees, 0 to 359. */
static int whole(double bearing_deg)
{
    return (int)rg_wrap_degrees(floor(bearing_deg + 0.5)) % 360;
}

static int opposite(double bearing_deg)
{
    return whole(bearing_deg + 180);
}

/* ------------------------------------------------------------------ whole */

static void say_summary(const rg_diagnosis *d, rg_sentences *s)
{
    const rg_shape *f = &d->shape;
    double widest = d->now.widest_mm, u = d->coverage_factor * d->now.u_widest_mm;
    if (d->found == RG_DIAGNOSIS_UNSEEN)
        say(s, RG_SENTENCE_SUMMARY, -1, "Nothing was seen: sweep again.");
    else if (f->state == RG_SHAPE_DARK)
        say(s, RG_SENTENCE_SUMMARY, -1,
            "No gap shows: %d of 360 bearings are dark, where a gap of %.3f mm or more would have "
            "shown.",
            f->dark, f->limit_mm);
    else if (d->found == RG_DIAGNOSIS_NONE)
        say(s, RG_SENTENCE_SUMMARY, -1,
            "No fault shows: the widest gap is %.3f +- %.3f mm at %d, tolerance %.3f mm.", widest,
            u, whole(d->now.widest_deg), d->tolerance_mm);
    else if (d->found == RG_DIAGNOSIS_UNCLEAR)
        say(s, RG_SENTENCE_SUMMARY, -1,
            "A gap of %.3f +- %.3f mm at %d has no cause that this map shows.", widest, u,
            whole(d->now.widest_deg));
    else
        say(s, RG_SENTENCE_SUMMARY, -1,
            "%s%s: widest gap %.3f +- %.3f mm at %d, tolerance %.3f mm.",
            d->found == RG_DIAGNOSIS_MIXED ? "Several faults, first " : "The pad shows one fault, ",
            rg_fault_kind_name(d->fault[0].kind), widest, u, whole(d->now.widest_deg),
            d->tolerance_mm);
    if (f->unseen && d->found != RG_DIAGNOSIS_UNSEEN)
        say(s, RG_SENTENCE_REMARK, -1,
            "%d bearings were not seen: what is wrong there alone is not in this diagnosis.",
            f->unseen);
}

static void say_contact(const rg_diagnosis *d, rg_sentences *s)
{
    const rg_shape *f = &d->shape;
    if (d->faults && !isnan(f->contact_deg))
        say(s, RG_SENTENCE_REMARK, -1, "The pad touches first at %d +- %.0f.",
            whole(f->contact_deg), ceil(d->coverage_factor * f->u_contact_deg));
}

/* ----------------------------------------------------------------- faults */

static void say_smooth(const rg_fault *f, int i, double k, rg_sentences *s)
{
    int at = whole(f->bearing_deg);
    double across = 2 * f->size_mm, u = 2 * k * f->u_size_mm;
    if (f->kind == RG_FAULT_TILT)
        say(s, RG_SENTENCE_FAULT, i,
            "Tilted: the pad stands %.2f +- %.2f mm higher at %d +- %.0f than opposite, at %d.",
            across, u, at, ceil(k * f->u_bearing_deg), opposite(f->bearing_deg));
    else if (f->kind == RG_FAULT_HINGE_THICK)
        say(s, RG_SENTENCE_FAULT, i,
            "Thick at the hinge: the pad touches at the key arm first and stands %.2f +- %.2f mm "
            "higher at %d; the pad is too thick for this cup, or the cup sits too low at the arm.",
            across, u, at);
    else if (f->kind == RG_FAULT_HINGE_THIN)
        say(s, RG_SENTENCE_FAULT, i,
            "Thin at the hinge: the pad touches far from the key arm first and stands %.2f +- %.2f "
            "mm "
            "higher at %d; the pad is too thin for this cup, or the cup sits too high at the arm.",
            across, u, at);
    else
        say(s, RG_SENTENCE_FAULT, i,
            "Saddle: %.2f +- %.2f mm wider at %d and %d than across, at %d and %d; the rim is not "
            "level or the cup is bent, which this map cannot tell.",
            across, u, at, opposite(f->bearing_deg), whole(f->bearing_deg + 90),
            whole(f->bearing_deg + 270));
}

static void say_place(const rg_fault *f, int i, double k, rg_sentences *s)
{
    static const char *const what[] = {
        [RG_FAULT_LOCAL] =
            "A crease or nick in the pad, or a dent of the rim (this map cannot tell)",
        [RG_FAULT_CREASE] =
            "A crease or nick in the pad (another pad on this rim does not show it)",
        [RG_FAULT_DENT] = "A dent of the rim (another pad shows it at the same place)"};
    int at = whole(f->bearing_deg);
    if (f->kind == RG_FAULT_UNIFORM)
        say(s, RG_SENTENCE_FAULT, i,
            "Open all round by at least %.3f +- %.3f mm: the key does not come down, or the cup "
            "sits "
            "too high.",
            f->size_mm, k * f->u_size_mm);
    else if (f->kind == RG_FAULT_DIRT)
        say(s, RG_SENTENCE_FAULT, i,
            "Something stands between pad and rim at %d, %.0f degrees long: dirt, a hair or a "
            "lump.",
            at, f->extent_deg);
    else if (f->kind == RG_FAULT_UNEVEN)
        say(s, RG_SENTENCE_FAULT, i,
            "Uneven: neither plane nor saddle explains the gap, least of all at %d.", at);
    else
        say(s, RG_SENTENCE_FAULT, i, "%s: open over %.0f degrees about %d, by %.3f +- %.3f mm.",
            what[f->kind], f->extent_deg, at, f->size_mm, k * f->u_size_mm);
}

/* Percent that are never rounded to certainty. */
static void put_confidence(double confidence, char *text, size_t size)
{
    if (isnan(confidence))
        snprintf(text, size, "confidence not told");
    else if (confidence > 0.999)
        snprintf(text, size, "confidence above 99.9 %%");
    else
        snprintf(text, size, "confidence %.1f %%", 100 * confidence);
}

static void say_evidence(const rg_diagnosis *d, int i, rg_sentences *s)
{
    const rg_fault *f = &d->fault[i];
    char confidence[40];
    put_confidence(f->confidence, confidence, sizeof confidence);
    if (f->test == RG_TEST_CHI2)
        say(s, RG_SENTENCE_EVIDENCE, i,
            "It rests on %d open and %d dark bearings: chi-square %.1f, 2 degrees of freedom; %s.",
            d->shape.open, d->shape.dark, f->statistic, confidence);
    else if (f->test == RG_TEST_NORMAL)
        say(s, RG_SENTENCE_EVIDENCE, i,
            "It rests on a departure of %.1f standard uncertainties, the largest of %d; %s.",
            f->statistic, f->among, confidence);
    else
        say(s, RG_SENTENCE_EVIDENCE, i, "The light is interrupted there between two openings; %s.",
            confidence);
}

/* ------------------------------------------------------------- corrections */

static void say_level(const rg_fault *f, int i, rg_sentences *s)
{
    int at = whole(f->bearing_deg), far = opposite(f->bearing_deg);
    const char *arm = f->kind == RG_FAULT_TILT ? "bend the cup" : "bend the key arm";
    if (f->action == RG_ACTION_HALF_SHIM)
        say(s, RG_SENTENCE_CORRECTION, i,
            "Lower the pad at %d by %.2f mm against %d: a half-moon shim of %.2f mm behind the pad "
            "on "
            "that side, or float the pad (heat: for those who have learnt it), or %s.",
            at, f->amount_mm, far, f->amount_mm, arm);
    else
        say(s, RG_SENTENCE_CORRECTION, i,
            "Lower the cup at %d by %.2f mm against %d: %s; too much for a shim.", at, f->amount_mm,
            far, arm);
}

static void say_correction(const rg_fault *f, int i, rg_sentences *s)
{
    int at = whole(f->bearing_deg);
    switch (f->action) {
    case RG_ACTION_HALF_SHIM:
    case RG_ACTION_BEND:
        say_level(f, i, s);
        break;
    case RG_ACTION_LET_DOWN:
        say(s, RG_SENTENCE_CORRECTION, i,
            "Bring the key down by %.2f mm: look for what holds it up (screw, cork, another key); "
            "if "
            "nothing does, a whole shim of %.2f mm behind the pad.",
            f->amount_mm, f->amount_mm);
        break;
    case RG_ACTION_LEVEL:
        say(s, RG_SENTENCE_CORRECTION, i,
            "Check cup and rim with a flat gauge; level the one that is bent: %.2f mm too high at "
            "%d "
            "and %d against %d and %d.",
            f->amount_mm, whole(f->bearing_deg + 90), whole(f->bearing_deg + 270), at,
            opposite(f->bearing_deg));
        break;
    case RG_ACTION_RESEAT:
        say(s, RG_SENTENCE_CORRECTION, i,
            "Look at pad and rim at %d; if the pad is creased, press the seat anew there (heat: "
            "for "
            "those who have learnt it).",
            at);
        break;
    case RG_ACTION_REPLACE:
        say(s, RG_SENTENCE_CORRECTION, i, "Look at pad and rim at %d; replace the pad.", at);
        break;
    case RG_ACTION_LEVEL_RIM:
        say(s, RG_SENTENCE_CORRECTION, i, "Raise the rim at %d by %.2f mm and level it.", at,
            f->amount_mm);
        break;
    case RG_ACTION_CLEAN:
        say(s, RG_SENTENCE_CORRECTION, i, "Clean pad and rim at %d, then sweep again.", at);
        break;
    }
}

static void say_afterwards(const rg_diagnosis *d, int i, rg_sentences *s)
{
    static const char *const outlook[] = {"within it", "still above it", "too close to call"};
    const rg_forecast *a = &d->fault[i].afterwards;
    const char *seen = a->outlook == RG_OUTLOOK_WITHIN ? "; only a new sweep shows it" : "";
    /* The outlook is the signed gap's; below contact its figure would only confuse. */
    if (!(a->widest_mm > 0)) {
        say(s, RG_SENTENCE_AFTERWARDS, i,
            "Afterwards the widest gap would be closed, tolerance %.3f mm: %s%s.", d->tolerance_mm,
            outlook[a->outlook], seen);
        return;
    }
    say(s, RG_SENTENCE_AFTERWARDS, i,
        "Afterwards the widest gap would be %.3f +- %.3f mm, tolerance %.3f mm: %s%s.",
        a->widest_mm, d->coverage_factor * a->u_widest_mm, d->tolerance_mm, outlook[a->outlook],
        seen);
}

void rg_diagnosis_sentences(const rg_diagnosis *d, rg_sentences *s)
{
    s->count = 0;
    say_summary(d, s);
    say_contact(d, s);
    for (int i = 0; i < d->faults; i++) {
        const rg_fault *f = &d->fault[i];
        if (f->kind <= RG_FAULT_SADDLE)
            say_smooth(f, i, d->coverage_factor, s);
        else
            say_place(f, i, d->coverage_factor, s);
        say_evidence(d, i, s);
        say_correction(f, i, s);
        say_afterwards(d, i, s);
    }
}
