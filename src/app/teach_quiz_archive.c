/*
 * teach_quiz_archive.c - photographs of the archive as cases of practice.
 *
 * The sitting's seed shuffles the sweeps of the archive; those that have one answer are asked in that order, each once. A
 * sweep that cannot be asked is counted by its reason. What goes wrong in the archive is said without names: who teaches asks
 * rimglow archive verify.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/random.h"
#include "rimglow/text.h"
#include "teach_quiz_private.h"

/* Keeps the order apart from drawn cases with the same seed. */
static const uint64_t archive_salt = UINT64_C(0x6172636869766573);

/* ------------------------------------------------------------------- opening */

static rg_code unreadable(rg_code code, rg_error *err)
{
    return rg_fail(err, code == RG_NO_INPUT ? RG_INTERNAL : code,
                   "the archive cannot be read, or the key of its names beside the results; "
                   "rimglow archive verify tells more");
}

/* The key of the names lies where the answers are kept, for they speak of cases by these names. */
static rg_code open_pairs(const rg_teach_page *page, rg_teach_quiz *q, rg_error *err)
{
    rg_error why = {0};
    rg_teach_page_options options = page->options;
    options.trainees = q->folder;
    if (!options.archive)
        return rg_fail(err, RG_NO_INPUT,
                       "there is no archive to take photographs from; start rimglow teach with "
                       "--archive DIR");
    if (q->pairs || rg_teach_pairs_open(&options, &q->pairs, &why) == RG_OK)
        return RG_OK;
    return unreadable(RG_INTERNAL, err);
}

rg_code rg_quiz_archive_begin(rg_teach_page *page, rg_quiz_sitting *s, rg_error *err)
{
    rg_teach_quiz *q = page->quiz;
    rg_random random = {s->seed ^ archive_salt};
    rg_error why = {0};
    int count = 0;
    rg_code code = open_pairs(page, q, err);
    if (code != RG_OK)
        return code;
    code = rg_pairs_count(q->pairs, &count, &why);
    if (code != RG_OK)
        return unreadable(code, err);
    if (count == 0)
        return rg_fail(err, RG_NO_INPUT, "the archive has no sweep yet");
    s->photo.order = rg_alloc((size_t)count, sizeof *s->photo.order);
    if (!s->photo.order)
        return rg_fail(err, RG_INTERNAL, "no memory for the order of %d sweeps", count);
    s->photo.sweeps = count;
    rg_random_order(&random, s->photo.order, count);
    return RG_OK;
}

/* -------------------------------------------------------------------- asking */

/* Why sweeps cannot be asked. */
typedef struct refusals {
    int undecided, causes, damaged, no_photograph, looked;
} refusals;

static bool has_one_answer(const rg_pairs_truth *t, refusals *r)
{
    rg_quiz_cause cause;
    if (t->verdict == RG_VERDICT_UNDECIDED) {
        r->undecided++;
        return false;
    }
    if (rg_pairs_askable(t) && (t->kinds == 0 || rg_quiz_cause_of(t->kind[0], &cause)))
        return true;
    r->causes++;
    return false;
}

/* RG_NO_INPUT: not this one, and why is counted. */
static rg_code take(rg_teach_quiz *q, int number, uint64_t pick, rg_pairs_case *c, refusals *r,
                    rg_error *err)
{
    const rg_pairs_round round = {q->options.views, pick};
    rg_error why = {0};
    rg_pairs_truth truth;
    rg_code code = rg_pairs_truth_at(q->pairs, number, &truth, &why);
    if (code == RG_OK && !has_one_answer(&truth, r))
        return RG_NO_INPUT;
    if (code == RG_OK)
        code = rg_pairs_take_round(q->pairs, number, &round, c, &why);
    if (code == RG_OK)
        return RG_OK;
    if (code != RG_USAGE && code != RG_BAD_DATA && code != RG_NO_INPUT)
        return unreadable(code, err);
    r->damaged += code != RG_USAGE;
    r->no_photograph += code == RG_USAGE;
    return RG_NO_INPUT;
}

static void add(char *text, size_t size, int count, const char *words)
{
    size_t used = strlen(text);
    if (count > 0)
        snprintf(text + used, size - used, "%s%d %s", used ? ", " : "", count, words);
}

static rg_code none_left(const rg_quiz_sitting *s, const refusals *r, rg_error *err)
{
    char why[320] = "";
    const bool all = s->photo.next >= s->photo.sweeps;
    add(why, sizeof why, r->undecided, "undecided");
    add(why, sizeof why, r->causes, "without one cause that the quiz asks for");
    add(why, sizeof why, r->no_photograph, "without a photograph of the widest place");
    add(why, sizeof why, r->damaged, "that do not check (rimglow archive verify tells more)");
    if (all && s->answers > 0)
        return rg_fail(err, RG_NO_INPUT,
                       "every photograph of the archive that can be asked for was asked for; stop "
                       "here, or begin again");
    if (all)
        return rg_fail(err, RG_NO_INPUT,
                       "no photograph of the archive can be asked for; of %d sweep%s: %s",
                       s->photo.sweeps, s->photo.sweeps == 1 ? "" : "s", why);
    return rg_fail(err, RG_NO_INPUT,
                   "of %d sweeps that were looked at none can be asked for: %s; %s", r->looked, why,
                   s->answers > 0 ? "ask for the next case again to look further"
                                  : "another number of the set looks at others");
}

/* What is shown, and what must not be told yet. Each photograph is followed by itself with the bearings. */
static void keep(rg_quiz_sitting *s, rg_quiz_shown *shown, rg_pairs_case *c)
{
    rg_quiz_photo *p = &s->photo;
    *shown = (rg_quiz_shown){.map = c->map};
    for (int i = 0; i < c->looks && i < RG_QUIZ_VIEWS_MAX; i++) {
        rg_pairs_look *k = &c->look[i];
        p->view[i] = (rg_quiz_view){k->bearing_deg, k->elevation_deg};
        shown->picture[shown->pictures++] =
            (rg_quiz_picture){k->photo.data, k->photo.size, "image/jpeg"};
        shown->picture[shown->pictures++] =
            (rg_quiz_picture){k->scale.data, k->scale.size, "image/png"};
        k->photo = k->scale = (rg_bytes){0}; /* now the pictures' */
    }
    p->views = shown->pictures / 2;
    p->tolerance_mm = c->truth.tolerance_mm;
    rg_copy_text(p->name, sizeof p->name, c->truth.name);
    snprintf(p->says, sizeof p->says, "Picture %c: %s", 'A' + c->facing, c->view.says);
}

rg_code rg_quiz_archive_ask(rg_teach_quiz *q, rg_quiz_sitting *s, rg_quiz_shown *shown,
                            rg_error *err)
{
    refusals r = {0};
    rg_pairs_case c;
    rg_quiz_photo *p = &s->photo;
    for (; p->next < p->sweeps && r.looked < RG_PAIRS_LOOKED; p->next++, r.looked++) {
        rg_quiz_truth truth;
        rg_random random = {s->seed ^ archive_salt ^ (uint64_t)(p->next + 1) << 32};
        rg_code code = take(q, p->order[p->next], rg_random_next(&random), &c, &r, err);
        if (code != RG_OK && code != RG_NO_INPUT)
            return code;
        if (code != RG_OK)
            continue;
        if (rg_quiz_truth_of_map(&q->options, &c.map, c.truth.coverage_factor,
                                 c.truth.kinds ? &c.truth.kind[0] : NULL, &truth)) {
            s->truth = truth;
            p->next++;
            keep(s, shown, &c);
            rg_pairs_case_free(&c);
            return RG_OK;
        }
        r.causes++;
        rg_pairs_case_free(&c);
    }
    return none_left(s, &r, err);
}
