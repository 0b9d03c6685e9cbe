/*
 * quiz_result.c - what answered cases amount to: shares with limits, agreement, progress.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "quiz_private.h"
#include "rimglow/memory.h"
#include "rimglow/stats.h"
#include "rimglow/text.h"

rg_quiz_share rg_quiz_share_of(int right, int of, double confidence)
{
    rg_quiz_share s = {right, of, of > 0 ? (double)right / of : NAN, NAN, NAN};
    rg_wilson(right, of, confidence, &s.low, &s.high);
    return s;
}

/* ---------------------------------------------------------------- agreement */

static void name_both(rg_quiz_agreement *a, const char *first, const char *second)
{
    rg_copy_text(a->first, sizeof a->first, first);
    rg_copy_text(a->second, sizeof a->second, second);
}

static rg_quiz_agreement empty_agreement(const rg_quiz_options *o, const char *first,
                                         const char *second)
{
    rg_quiz_agreement a = {.cause_table.classes = RG_QUIZ_CAUSES,
                           .width_table.classes = o->classes};
    name_both(&a, first, second);
    return a;
}

static rg_code count_pair(rg_quiz_agreement *a, rg_quiz_cause cause, rg_quiz_cause second_cause,
                          int width, int second_width, rg_error *err)
{
    int classes = a->width_table.classes;
    if (width < 0 || second_width < 0 || width >= classes || second_width >= classes)
        return rg_fail(err, RG_BAD_DATA,
                       "an answer names width class %d, but these settings have %d classes; use "
                       "the settings that it was given under",
                       (width < 0 || width >= classes ? width : second_width) + 1, classes);
    a->cause_table.n[cause][second_cause]++;
    a->width_table.n[width][second_width]++;
    a->cases++;
    return RG_OK;
}

static rg_code judge(const rg_quiz_options *o, rg_quiz_agreement *a, rg_error *err)
{
    rg_code code = rg_kappa_of(&a->cause_table, RG_KAPPA_EQUAL, o->confidence, &a->cause, err);
    if (code == RG_OK)
        code = rg_kappa_of(&a->width_table, RG_KAPPA_LINEAR, o->confidence, &a->width, err);
    return code;
}

rg_code rg_quiz_agree_truth(const rg_quiz_options *o, const char *name, const rg_quiz_entry *entry,
                            int count, rg_quiz_agreement *a, rg_error *err)
{
    rg_code code = RG_OK;
    *a = empty_agreement(o, "truth", name);
    for (int i = 0; i < count && code == RG_OK; i++)
        if (!entry[i].picture[0])
            code = count_pair(a, entry[i].truth.cause, entry[i].answer.cause,
                              entry[i].truth.width_class, entry[i].answer.width_class, err);
    return code == RG_OK ? judge(o, a, err) : code;
}

rg_code rg_quiz_agree_tool(const rg_quiz_options *o, const char *name, const rg_quiz_entry *entry,
                           int count, rg_quiz_agreement *a, rg_error *err)
{
    rg_code code = RG_OK;
    *a = empty_agreement(o, "tool", name);
    for (int i = 0; i < count && code == RG_OK; i++)
        if (entry[i].tool && entry[i].tool_judged && !entry[i].picture[0])
            code = count_pair(a, entry[i].tool_says.cause, entry[i].answer.cause,
                              entry[i].tool_says.width_class, entry[i].answer.width_class, err);
    return code == RG_OK ? judge(o, a, err) : code;
}

rg_code rg_quiz_agree_archive(const rg_quiz_options *o, const char *name,
                              const rg_quiz_entry *entry, int count, rg_quiz_agreement *a,
                              rg_error *err)
{
    rg_code code = RG_OK;
    *a = empty_agreement(o, "archived map", name);
    for (int i = 0; i < count && code == RG_OK; i++) {
        const rg_quiz_entry *e = &entry[i];
        int width = e->score.width ? e->truth.width_class : e->answer.width_class;
        if (e->picture[0])
            code = count_pair(a, e->truth.cause, e->answer.cause, e->truth.width_class, width, err);
    }
    return code == RG_OK ? judge(o, a, err) : code;
}

static bool same_case(const rg_quiz_entry *a, const rg_quiz_entry *b)
{
    return a->exam[0] && a->number == b->number && strcmp(a->exam, b->exam) == 0;
}

/* The first answer of a list to that case. */
static const rg_quiz_entry *first_answer(const rg_quiz_entry *entry, int count,
                                         const rg_quiz_entry *like)
{
    for (int i = 0; i < count; i++)
        if (same_case(&entry[i], like))
            return &entry[i];
    return NULL;
}

rg_code rg_quiz_agree(const rg_quiz_options *o, const char *first_name, const rg_quiz_entry *first,
                      int firsts, const char *second_name, const rg_quiz_entry *second, int seconds,
                      rg_quiz_agreement *a, rg_error *err)
{
    rg_code code = RG_OK;
    *a = empty_agreement(o, first_name, second_name);
    for (int i = 0; i < firsts && code == RG_OK; i++) {
        const rg_quiz_entry *one = &first[i], *other = first_answer(second, seconds, one);
        if (other && first_answer(first, i, one) == NULL)
            code = count_pair(a, one->answer.cause, other->answer.cause, one->answer.width_class,
                              other->answer.width_class, err);
    }
    return code == RG_OK ? judge(o, a, err) : code;
}

/* ------------------------------------------------------------------- result */

typedef struct tally {
    int all, bearing, width, cause;
    int cause_right[RG_QUIZ_CAUSES], cause_of[RG_QUIZ_CAUSES];
    int class_right[RG_QUIZ_CLASSES_MAX], class_of[RG_QUIZ_CLASSES_MAX];
} tally;

static tally count_up(const rg_quiz_entry *entry, int count)
{
    tally t = {0};
    for (int i = 0; i < count; i++) {
        const rg_quiz_score *s = &entry[i].score;
        t.all += s->all;
        t.bearing += s->bearing;
        t.width += s->width;
        t.cause += s->cause;
        t.cause_of[entry[i].truth.cause]++;
        t.cause_right[entry[i].truth.cause] += s->all;
        t.class_of[entry[i].truth.width_class]++;
        t.class_right[entry[i].truth.width_class] += s->width;
    }
    return t;
}

static void fill_shares(const rg_quiz_options *o, const tally *t, int count, rg_quiz_result *r)
{
    r->all = rg_quiz_share_of(t->all, count, o->confidence);
    r->bearing = rg_quiz_share_of(t->bearing, count, o->confidence);
    r->width = rg_quiz_share_of(t->width, count, o->confidence);
    r->cause = rg_quiz_share_of(t->cause, count, o->confidence);
    for (int i = 0; i < RG_QUIZ_CAUSES; i++)
        r->by_cause[i] = rg_quiz_share_of(t->cause_right[i], t->cause_of[i], o->confidence);
    for (int i = 0; i < o->classes; i++) {
        r->by_class[i] = rg_quiz_share_of(t->class_right[i], t->class_of[i], o->confidence);
        rg_quiz_class_name(o, i, r->class_name[i]);
    }
}

static rg_code fill_error(const rg_quiz_entry *entry, int count, rg_quiz_result *r, rg_error *err)
{
    r->median_error_deg = NAN;
    double *off = calloc((size_t)count + 1, sizeof *off);
    if (!off)
        return rg_fail(err, RG_INTERNAL, "out of memory for a result of %d cases", count);
    for (int i = 0; i < count; i++)
        if (!isnan(entry[i].score.error_deg))
            off[r->errors++] = fabs(entry[i].score.error_deg);
    if (r->errors > 0)
        r->median_error_deg = rg_median_inplace(off, (size_t)r->errors);
    free(off);
    return RG_OK;
}

static bool one_sitting(const rg_quiz_entry *a, const rg_quiz_entry *b)
{
    return a->sitting == b->sitting && strcmp(a->exam, b->exam) == 0;
}

static rg_code check_entries(const rg_quiz_options *o, const rg_quiz_entry *entry, int count,
                             rg_error *err)
{
    if (count < 1)
        return rg_fail(err, RG_BAD_DATA, "a result needs an answered case");
    if (entry[0].exam[0] && count > entry[0].exam_cases)
        return rg_fail(err, RG_BAD_DATA, "examination %s of %d cases has %d answers", entry[0].exam,
                       entry[0].exam_cases, count);
    for (int i = 0; i < count; i++) {
        if (!one_sitting(&entry[i], &entry[0]))
            return rg_fail(err, RG_BAD_DATA,
                           "a result holds one sitting, not both \"%s\" and \"%s\"", entry[0].exam,
                           entry[i].exam);
        if (!entry[i].picture[0] != !entry[0].picture[0] ||
            (entry[i].picture[0] && entry[i].exam[0]))
            return rg_fail(err, RG_BAD_DATA,
                           "a result holds drawn cases or archived ones of practice, not both");
        if (entry[i].truth.width_class < 0 || entry[i].truth.width_class >= o->classes)
            return rg_fail(err, RG_BAD_DATA,
                           "case %d has width class %d, but these settings have %d classes; use "
                           "the settings that it was given under",
                           i + 1, entry[i].truth.width_class + 1, o->classes);
        if (i > 0 && entry[0].exam[0] && entry[i].number <= entry[i - 1].number)
            return rg_fail(err, RG_BAD_DATA, "case %d of examination %s stands twice",
                           entry[i].number, entry[0].exam);
    }
    return RG_OK;
}

static rg_code fill_agreement(const rg_quiz_options *o, const char *trainee,
                              const rg_quiz_entry *entry, int count, rg_quiz_result *r,
                              rg_error *err)
{
    for (int i = 0; i < count; i++)
        r->has_tool = r->has_tool || entry[i].tool;
    rg_code code = entry[0].picture[0]
                       ? rg_quiz_agree_archive(o, trainee, entry, count, &r->truth, err)
                       : rg_quiz_agree_truth(o, trainee, entry, count, &r->truth, err);
    if (code == RG_OK)
        code = rg_quiz_agree_tool(o, trainee, entry, count, &r->tool, err);
    return code;
}

rg_code rg_quiz_result_of(const rg_quiz_options *o, const char *trainee, const rg_quiz_entry *entry,
                          int count, rg_quiz_result *result, rg_error *err)
{
    *result = (rg_quiz_result){0};
    rg_code code = check_entries(o, entry, count, err);
    if (code != RG_OK)
        return code;
    bool exam = entry[0].exam[0] != 0;
    rg_quiz_result r = {.seed = entry[0].exam_seed,
                        .level = entry[0].picture[0] ? NAN : entry[0].drawn.level,
                        .sitting_s = entry[0].sitting,
                        .began = entry[0].time,
                        .ended = entry[count - 1].time,
                        .cases = exam ? entry[0].exam_cases : count,
                        .answered = count,
                        .confidence = o->confidence,
                        .pass_share = entry[0].pass_share,
                        .classes = o->classes};
    rg_copy_text(r.trainee, sizeof r.trainee, trainee);
    rg_copy_text(r.exam, sizeof r.exam, entry[0].exam);
    tally t = count_up(entry, count);
    fill_shares(o, &t, count, &r);
    r.sitting = exam; /* rg_quiz_progress_of knows better */
    r.complete = exam && count == r.cases;
    r.passed = r.complete && r.all.share >= r.pass_share;
    code = fill_error(entry, count, &r, err);
    if (code == RG_OK)
        code = fill_agreement(o, trainee, entry, count, &r, err);
    if (code == RG_OK)
        *result = r;
    return code;
}

/* ----------------------------------------------------------------- progress */

/* A practice case of the drawn ones: what difficulty follows. */
static bool practised(const rg_quiz_entry *e)
{
    return !e->exam[0] && !e->picture[0];
}

static rg_quiz_share running_share(const rg_quiz_options *o, const rg_quiz_entry *entry, int at)
{
    int right = 0, of = 0;
    for (int i = at; i >= 0 && of < o->window; i--)
        if (practised(&entry[i])) {
            right += entry[i].score.all;
            of++;
        }
    return rg_quiz_share_of(right, of < o->window ? 0 : of, o->confidence);
}

static rg_quiz_point point_of(const rg_quiz_options *o, const rg_quiz_entry *entry, int at)
{
    const rg_quiz_entry *e = &entry[at];
    rg_quiz_point p = {.time = e->time,
                       .number = at + 1,
                       .level = e->picture[0] ? NAN : e->drawn.level,
                       .all = e->score.all,
                       .bearing = e->score.bearing,
                       .width = e->score.width,
                       .cause = e->score.cause,
                       .exam = e->exam[0] != 0,
                       .archived = e->picture[0] != 0,
                       .share = NAN,
                       .low = NAN,
                       .high = NAN};
    if (practised(e)) {
        rg_quiz_share s = running_share(o, entry, at);
        p.share = s.share;
        p.low = s.low;
        p.high = s.high;
    }
    return p;
}

/* All answers of one examination's sitting, in the order of their numbers: they are asked in turn. */
static int gather(const rg_quiz_entry *entry, int count, int from, rg_quiz_entry *into)
{
    int n = 0;
    for (int i = from; i < count; i++)
        if (one_sitting(&entry[i], &entry[from]))
            into[n++] = entry[i];
    return n;
}

/* The how manieth sitting of this examination begins there: of earlier ones one answer is enough. */
static int sitting_of(const rg_quiz_entry *entry, int at)
{
    int n = 1;
    for (int i = 0; i < at; i++)
        n += entry[i].number == 1 && strcmp(entry[i].exam, entry[at].exam) == 0;
    return n;
}

static rg_code add_exam(const rg_quiz_options *o, const char *trainee, const rg_quiz_entry *entry,
                        int count, int from, rg_quiz_entry *work, rg_quiz_progress *p,
                        rg_error *err)
{
    int n = gather(entry, count, from, work);
    if (n != entry[from].exam_cases)
        return RG_OK; /* not taken to its end */
    rg_quiz_result *r = &p->exam[p->exams];
    rg_code code = rg_quiz_result_of(o, trainee, work, n, r, err);
    if (code == RG_OK)
        r->sitting = sitting_of(entry, from);
    p->exams += code == RG_OK;
    return code;
}

static void practice_so_far(const rg_quiz_options *o, const rg_quiz_entry *entry, int count,
                            rg_quiz_progress *p)
{
    int right = 0, of = 0, archived_right = 0, archived_of = 0;
    rg_quiz_stairs_begin(o, &p->stairs);
    for (int i = 0; i < count; i++) {
        p->point[p->points++] = point_of(o, entry, i);
        archived_right += entry[i].picture[0] && entry[i].score.all;
        archived_of += entry[i].picture[0] != 0;
        if (!practised(&entry[i]))
            continue;
        right += entry[i].score.all;
        of++;
        rg_quiz_stairs_take(o, entry[i].score.all, &p->stairs);
    }
    p->practice = rg_quiz_share_of(right, of, o->confidence);
    p->archived = rg_quiz_share_of(archived_right, archived_of, o->confidence);
}

static int first_cases(const rg_quiz_entry *entry, int count)
{
    int n = 0;
    for (int i = 0; i < count; i++)
        n += entry[i].exam[0] && entry[i].number == 1;
    return n;
}

rg_code rg_quiz_progress_of(const rg_quiz_options *o, const char *trainee,
                            const rg_quiz_entry *entry, int count, rg_quiz_progress *progress,
                            rg_error *err)
{
    rg_quiz_progress p = {.levels = o->levels, .confidence = o->confidence, .window = o->window};
    *progress = (rg_quiz_progress){0};
    rg_copy_text(p.trainee, sizeof p.trainee, trainee);
    p.point = rg_alloc((size_t)count, sizeof *p.point);
    p.exam = rg_alloc((size_t)first_cases(entry, count), sizeof *p.exam);
    rg_quiz_entry *work = rg_alloc((size_t)count, sizeof *work);
    rg_code code = RG_OK;
    if (!p.point || !p.exam || !work)
        code = rg_fail(err, RG_INTERNAL, "out of memory for %d answered cases", count);
    if (code == RG_OK)
        practice_so_far(o, entry, count, &p);
    for (int i = 0; i < count && code == RG_OK; i++)
        if (entry[i].exam[0] && entry[i].number == 1)
            code = add_exam(o, trainee, entry, count, i, work, &p, err);
    free(work);
    if (code == RG_OK)
        *progress = p;
    else
        rg_quiz_progress_free(&p);
    return code;
}

void rg_quiz_progress_free(rg_quiz_progress *progress)
{
    free(progress->point);
    free(progress->exam);
    *progress = (rg_quiz_progress){0};
}
