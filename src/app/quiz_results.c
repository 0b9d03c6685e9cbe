/*
 * quiz_results.c - rimglow teach --results: what each trainee has answered, and how trainees, truth and the tool agree.
 *
 * Drawn cases have a truth of their own. Of archived ones the truth is a map that the tool measured, so they are
 * counted for themselves and never as agreement with the truth.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "quiz_private.h"
#include "rimglow/date.h"
#include "rimglow/pairs.h"
#include "rimglow/trainee.h"

/* Below so many cases the normal limits of kappa are too short (kappa.h). No source. */
enum { FEW = 20 };

/* Results count classes and shares; no pad is drawn. */
static const double any_overhang_mm = 1;

typedef struct results {
    rg_quiz_options options;
    rg_trainee *trainee; /* owned, [count] */
    int count;
} results;

static void results_free(results *r)
{
    for (int i = 0; i < r->count; i++)
        rg_trainee_free(&r->trainee[i]);
    free(r->trainee);
}

/* -------------------------------------------------------------------- lines */

static void print_share(const char *name, const rg_quiz_share *s)
{
    if (s->of == 0)
        printf("  %-22s none\n", name);
    else
        printf("  %-22s %3d of %-3d %5.1f %% (%.0f to %.0f)\n", name, s->right, s->of,
               100 * s->share, 100 * s->low, 100 * s->high);
}

static void print_kappa(const char *name, const rg_kappa *k)
{
    if (k->state == RG_KAPPA_FOUND)
        printf(", %s %.2f (%.2f to %.2f)", name, k->kappa, k->low, k->high);
    else
        printf(", %s: no kappa, %s", name, rg_kappa_state_name(k->state));
}

static void print_agreement(const char *with, const rg_quiz_agreement *a)
{
    printf("  %-22s %d case%s", with, a->cases, a->cases == 1 ? "" : "s");
    if (a->cases > 0) {
        print_kappa("cause", &a->cause);
        print_kappa("width", &a->width);
        if (a->cases < FEW)
            printf("; few cases, true limits are wider");
    }
    putchar('\n');
}

/* Causes that were taken for another twice or more, most often first. */
static void print_confusions(const rg_quiz_agreement *a)
{
    rg_kappa_table t = a->cause_table;
    for (int shown = 0; shown < 3; shown++) {
        int from = 0, to = 0;
        for (int i = 0; i < t.classes; i++)
            for (int j = 0; j < t.classes; j++)
                if (i != j && t.n[i][j] > (from == to ? 1 : t.n[from][to])) {
                    from = i;
                    to = j;
                }
        if (from == to)
            return;
        printf("  taken for another      %s for %s, %d times\n",
               rg_quiz_cause_name((rg_quiz_cause)to), rg_quiz_cause_name((rg_quiz_cause)from),
               t.n[from][to]);
        t.n[from][to] = 0;
    }
}

static void print_day(int64_t time)
{
    char day[RG_DATE_TEXT];
    rg_date_format((int)(time / 86400), day);
    fputs(day, stdout);
}

/* Practice sittings: level at the first case and at the last, and how many were right. */
static void print_levels(const rg_trainee *t)
{
    for (int i = 0; i < t->count;) {
        int right = 0, of = 0, last = i;
        int64_t sitting = t->entry[i].sitting;
        bool practice = !t->entry[i].exam[0] && !t->entry[i].picture[0];
        int first = i;
        for (; i < t->count && t->entry[i].sitting == sitting; i++)
            if (!t->entry[i].exam[0] && !t->entry[i].picture[0]) {
                right += t->entry[i].score.all;
                of++;
                last = i;
            }
        if (!practice)
            continue;
        fputs("  practised ", stdout);
        print_day(sitting);
        printf("   %3d of %-3d right, level %.1f to %.1f\n", right, of, t->entry[first].drawn.level,
               t->entry[last].drawn.level);
    }
}

static void print_exam(const rg_quiz_result *e)
{
    fputs("  examined ", stdout);
    print_day(e->ended);
    printf("    %3d of %-3d %5.1f %% (%.0f to %.0f), %s at %.0f %%, seed %llu", e->all.right,
           e->all.of, 100 * e->all.share, 100 * e->all.low, 100 * e->all.high,
           e->passed ? "passed" : "not passed", 100 * e->pass_share, (unsigned long long)e->seed);
    if (e->sitting > 1)
        printf(", sitting %d of the same cases", e->sitting);
    putchar('\n');
}

/* Of the drawn cases, or of the archived ones. */
static rg_quiz_result sums(const rg_quiz_options *o, const rg_trainee *t, bool archived)
{
    int all = 0, bearing = 0, width = 0, cause = 0, of = 0;
    for (int i = 0; i < t->count; i++) {
        const rg_quiz_entry *e = &t->entry[i];
        if ((e->picture[0] != 0) != archived)
            continue;
        all += e->score.all;
        bearing += e->score.bearing;
        width += e->score.width;
        cause += e->score.cause;
        of++;
    }
    rg_quiz_result r = {.answered = of,
                        .all = rg_quiz_share_of(all, of, o->confidence),
                        .bearing = rg_quiz_share_of(bearing, of, o->confidence),
                        .width = rg_quiz_share_of(width, of, o->confidence),
                        .cause = rg_quiz_share_of(cause, of, o->confidence)};
    return r;
}

/* One trainee's agreement with truth and tool, and progress. */
typedef struct standing {
    rg_quiz_progress progress; /* owned */
    rg_quiz_agreement truth, tool, archive;
    rg_quiz_result drawn, archived; /* their shares alone */
} standing;

static rg_code stand(const rg_quiz_options *o, const rg_trainee *t, standing *s, rg_error *err)
{
    memset(s, 0, sizeof *s);
    s->drawn = sums(o, t, false);
    s->archived = sums(o, t, true);
    rg_code code = rg_quiz_agree_truth(o, t->name, t->entry, t->count, &s->truth, err);
    if (code == RG_OK)
        code = rg_quiz_agree_tool(o, t->name, t->entry, t->count, &s->tool, err);
    if (code == RG_OK)
        code = rg_quiz_agree_archive(o, t->name, t->entry, t->count, &s->archive, err);
    if (code == RG_OK)
        code = rg_quiz_progress_of(o, t->name, t->entry, t->count, &s->progress, err);
    return code == RG_OK ? RG_OK : (rg_fail_prefix(err, t->name), code);
}

static void print_shares(const rg_quiz_result *sum)
{
    print_share("all three right", &sum->all);
    print_share("bearing", &sum->bearing);
    print_share("width class", &sum->width);
    print_share("cause", &sum->cause);
}

static void print_archived(const standing *s)
{
    int n = s->archived.answered;
    if (n == 0)
        return;
    printf("  %d photograph%s of the archive, by rimglow's own maps: no gauge, no independent "
           "truth, no level\n",
           n, n == 1 ? "" : "s");
    print_shares(&s->archived);
    print_agreement("kappa with those maps", &s->archive);
}

static void print_trainee(const rg_trainee *t, const standing *s)
{
    int n = s->drawn.answered;
    printf("%s: %d case%s drawn, practice at level %.1f\n", t->name, n, n == 1 ? "" : "s",
           s->progress.stairs.level);
    print_shares(&s->drawn);
    print_levels(t);
    for (int i = 0; i < s->progress.exams; i++)
        print_exam(&s->progress.exam[i]);
    print_agreement("kappa with the truth", &s->truth);
    print_agreement("kappa with the tool", &s->tool);
    print_confusions(&s->truth);
    print_archived(s);
    if (t->torn > 0)
        printf("  %zu bytes of a last line that was cut short are not counted\n", t->torn);
}

static rg_code print_pairs(const results *r, rg_error *err)
{
    rg_code code = RG_OK;
    for (int i = 0; i < r->count && code == RG_OK; i++)
        for (int j = i + 1; j < r->count && code == RG_OK; j++) {
            const rg_trainee *a = &r->trainee[i], *b = &r->trainee[j];
            rg_quiz_agreement g;
            code = rg_quiz_agree(&r->options, a->name, a->entry, a->count, b->name, b->entry,
                                 b->count, &g, err);
            if (code != RG_OK || g.cases == 0)
                continue;
            printf("%s and %s\n", a->name, b->name);
            print_agreement("kappa, same cases", &g);
        }
    return code;
}

static rg_code print_table(const results *r, rg_error *err)
{
    rg_code code = RG_OK;
    printf("%d trainee%s; limits in parentheses at %g %%\n", r->count, r->count == 1 ? "" : "s",
           100 * r->options.confidence);
    for (int i = 0; i < r->count && code == RG_OK; i++) {
        standing s;
        code = stand(&r->options, &r->trainee[i], &s, err);
        if (code == RG_OK)
            print_trainee(&r->trainee[i], &s);
        rg_quiz_progress_free(&s.progress);
    }
    return code == RG_OK ? print_pairs(r, err) : code;
}

/* --------------------------------------------------------------------- JSON */

static void add_shares(json_t *o, const rg_quiz_result *sum)
{
    json_object_set_new(o, "all", rg_quiz_json_share(&sum->all));
    json_object_set_new(o, "bearing", rg_quiz_json_share(&sum->bearing));
    json_object_set_new(o, "width", rg_quiz_json_share(&sum->width));
    json_object_set_new(o, "cause", rg_quiz_json_share(&sum->cause));
}

static json_t *archived_json(const rg_quiz_options *options, const standing *s)
{
    json_t *o =
        json_pack("{s:i, s:s, s:o}", "cases", s->archived.answered, "truth_is",
                  rg_pairs_whose_truth, "map", rg_quiz_json_agreement(options, &s->archive));
    add_shares(o, &s->archived);
    return o;
}

static rg_code add_trainee(const results *r, int i, json_t *list, rg_error *err)
{
    const rg_trainee *t = &r->trainee[i];
    standing s;
    rg_code code = stand(&r->options, t, &s, err);
    if (code == RG_OK) {
        json_t *o = rg_quiz_json_progress(&r->options, &s.progress);
        json_object_set_new(o, "torn_bytes", json_integer((json_int_t)t->torn));
        json_object_set_new(o, "drawn", json_integer(s.drawn.answered));
        add_shares(o, &s.drawn);
        json_object_set_new(o, "archived", archived_json(&r->options, &s));
        json_object_set_new(o, "truth", rg_quiz_json_agreement(&r->options, &s.truth));
        json_object_set_new(o, "tool", rg_quiz_json_agreement(&r->options, &s.tool));
        json_array_append_new(list, o);
    }
    rg_quiz_progress_free(&s.progress);
    return code;
}

static rg_code add_pairs(const results *r, json_t *list, rg_error *err)
{
    rg_code code = RG_OK;
    for (int i = 0; i < r->count && code == RG_OK; i++)
        for (int j = i + 1; j < r->count && code == RG_OK; j++) {
            const rg_trainee *a = &r->trainee[i], *b = &r->trainee[j];
            rg_quiz_agreement g;
            code = rg_quiz_agree(&r->options, a->name, a->entry, a->count, b->name, b->entry,
                                 b->count, &g, err);
            if (code == RG_OK && g.cases > 0)
                json_array_append_new(list, rg_quiz_json_agreement(&r->options, &g));
        }
    return code;
}

static rg_code print_json(const results *r, rg_error *err)
{
    json_t *trainees = json_array(), *pairs = json_array();
    rg_code code = RG_OK;
    for (int i = 0; i < r->count && code == RG_OK; i++)
        code = add_trainee(r, i, trainees, err);
    if (code == RG_OK)
        code = add_pairs(r, pairs, err);
    json_t *root =
        json_pack("{s:s, s:i, s:f, s:o, s:o}", "format", "rimglow quiz results", "version", 1,
                  "confidence", r->options.confidence, "trainees", trainees, "pairs", pairs);
    char *text = root ? json_dumps(root, JSON_INDENT(1) | JSON_REAL_PRECISION(12)) : NULL;
    json_decref(root);
    if (code == RG_OK && !text)
        code = rg_fail(err, RG_INTERNAL, "no memory to write the results as JSON");
    if (code == RG_OK)
        puts(text);
    free(text);
    return code;
}

rg_code rg_quiz_print_results(const char *folder, const char *settings, bool json, rg_error *err)
{
    results r = {0};
    const char *from = folder ? folder : RG_QUIZ_TRAINEES;
    rg_code code = rg_quiz_options_load(settings, any_overhang_mm, &r.options, err);
    if (code == RG_OK)
        code = rg_trainee_all(from, &r.trainee, &r.count, err);
    if (code == RG_OK && r.count == 0)
        code = rg_fail(err, RG_NO_INPUT,
                       "%s: holds no trainee's results; --trainees DIR says where they are", from);
    if (code == RG_OK)
        code = json ? print_json(&r, err) : print_table(&r, err);
    results_free(&r);
    return code;
}
