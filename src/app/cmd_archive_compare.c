/*
 * cmd_archive_compare.c - rimglow archive compare A B, rimglow archive compare SERIAL.
 *
 * Of a pad that was swept more than once in one inspection its last sweep counts.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "archive_command.h"
#include "rimglow/archive_report.h"
#include "rimglow/command.h"
#include "rimglow/draw_archive.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

const char rg_help_archive_compare[] =
    "rimglow archive compare [options] BEFORE AFTER\n"
    "rimglow archive compare [options] SERIAL\n"
    "\n"
    "The same pads at two visits: release against return, this year against last. For\n"
    "each pad that both have, the change of the gap by bearing with its uncertainty,\n"
    "and where it is more than the measurement can explain. With a serial alone:\n"
    "every pad over all visits, widest and mean gap against the date.\n"
    "\n"
    "Examples:\n"
    "  rimglow archive compare PE-A-0147/1 PE-A-0147/2\n"
    "  rimglow archive compare PE-A-0147/1 PE-A-0147 --pad G   (1 against newest)\n"
    "  rimglow archive compare PE-A-0147                        (all visits)\n"
    "\n"
    "Options:\n"
    "  -a, --archive DIR    the archive (default: archive)\n"
    "  -o, --out DIR        where pictures go (default: comparison)\n"
    "      --pad NAME       this pad alone\n"
    "      --settings FILE  in place of calib/archive.ini\n"
    "      --pictures WHAT  all (default) or none\n"
    "      --json           the changes bearing by bearing\n"
    "\n"
    "Change is after less before. A crown that was set differently turns a map; that\n"
    "is part of the uncertainty (turn_u_deg). An arc is called only when it stands\n"
    "out although 360 bearings were compared. Pads of one visit alone are named.\n"
    "\n"
    "Exit codes: 0 no pad is shown to be wider; 1 a pad is wider; 2 nothing can be\n"
    "compared; 64 wrong command line, 66 no such bag; others as in rimglow -h.\n";

typedef struct job {
    const char *archive, *out, *pad, *settings_file;
    int pictures;
    bool json;
    rg_archive_settings settings;
} job;

typedef struct visit {
    char bag[RG_ARCHIVE_BAG];
    char label[96]; /* "2026-11-25 10:15 release" */
    rg_record record;
} visit;

/* A pad that both visits have. */
typedef struct pair {
    char pad[RG_RECORD_NAME], where[RG_ARCHIVE_PATH];
    rg_map_file before, after;
    rg_change change;
} pair;

/* ---------------------------------------------------------------- two visits */

static rg_code load_visit(const rg_archive *archive, const char *word, visit *v, rg_error *err)
{
    char when[32];
    rg_code code = rg_archive_resolve(archive, word, v->bag, err);
    if (code == RG_OK)
        code = rg_archive_record(archive, v->bag, &v->record, err);
    if (code != RG_OK)
        return code;
    rg_archive_when(v->record.time, when);
    snprintf(v->label, sizeof v->label, "%s %.60s", when, v->record.occasion);
    return RG_OK;
}

/* The last sweep of the pad, NULL when there is none. */
static const rg_record_sweep *sweep_of(const rg_record *record, const char *pad)
{
    for (int i = record->sweeps - 1; i >= 0; i--)
        if (strcmp(record->sweep[i].pad, pad) == 0)
            return &record->sweep[i];
    return NULL;
}

static bool is_wanted(const job *j, const rg_record *record, int i)
{
    const rg_record_sweep *s = &record->sweep[i];
    return sweep_of(record, s->pad) == s && (!j->pad || strcmp(j->pad, s->pad) == 0);
}

static rg_code draw_pair(const void *args, rg_picture_format format, rg_bytes *out, rg_error *err)
{
    return rg_draw_change(args, format, out, err);
}

static rg_code picture(const job *j, const visit *before, const visit *after, pair *p,
                       rg_error *err)
{
    char name[RG_NAME_SIZE], folder[RG_ARCHIVE_PATH];
    const rg_draw_change_args args = {.before = &p->before.map,
                                      .after = &p->after.map,
                                      .change = &p->change,
                                      .serial = after->record.serial,
                                      .pad = p->pad,
                                      .before_label = before->label,
                                      .after_label = after->label,
                                      .tolerance_mm = p->after.tolerance_mm,
                                      .coverage_factor = j->settings.change.coverage_factor};
    rg_archive_file_name(p->pad, name);
    int n = snprintf(folder, sizeof folder, "%s/%s/%04d-%04d", j->out, after->record.serial,
                     before->record.sequence, after->record.sequence);
    if (n < 0 || (size_t)n >= sizeof folder)
        return rg_fail(err, RG_CANT_CREATE, "%.80s...: the path is too long", j->out);
    snprintf(p->where, sizeof p->where, "%.1800s/%s.png", folder, name);
    return rg_archive_pictures(folder, name, draw_pair, &args, err);
}

static rg_code compare_pad(const job *j, const rg_archive *archive, const visit *before,
                           const visit *after, pair *p, rg_error *err)
{
    const rg_record_sweep *a = sweep_of(&before->record, p->pad);
    const rg_record_sweep *b = sweep_of(&after->record, p->pad);
    rg_code code = rg_archive_map(archive, before->bag, a->name, &p->before, NULL, err);
    if (code == RG_OK)
        code = rg_archive_map(archive, after->bag, b->name, &p->after, NULL, err);
    if (code == RG_OK)
        code = rg_change_find(&p->before.map, &p->after.map, &j->settings.change, &p->change, err);
    if (code != RG_OK)
        return rg_fail_prefix(err, p->pad);
    return j->pictures ? picture(j, before, after, p, err) : RG_OK;
}

static const char *mark(rg_change_state state)
{
    static const char *const of[] = {[RG_CHANGE_NONE] = "( = )",
                                     [RG_CHANGE_GREW] = "( + )",
                                     [RG_CHANGE_SHRANK] = "( - )",
                                     [RG_CHANGE_UNSEEN] = "( ? )"};
    return of[state];
}

static void print_pair(const job *j, const pair *p)
{
    double k = j->settings.change.coverage_factor;
    const rg_change *c = &p->change;
    rg_archive_print(p->pad, 16, true);
    printf(" %s %-16s %3d %% comparable", mark(c->overall), rg_change_state_name(c->overall),
           c->comparable * 100 / RG_BINS);
    if (c->comparable)
        printf(", on average %+.3f +- %.3f mm", c->mean_change_mm, k * c->u_mean_change_mm);
    putchar('\n');
    for (int i = 0; i < c->arcs; i++)
        printf("    - %s at bearings %.0f..%.0f: by up to %+.3f +- %.3f mm at %.0f\n",
               rg_change_state_name(c->arc[i].state), c->arc[i].start_deg, c->arc[i].end_deg,
               c->arc[i].most_mm, k * c->arc[i].u_most_mm, c->arc[i].most_bearing_deg);
    if (c->comparable && fabs(c->turn_deg) >= 5)
        printf("    . the second map fits best when turned by %.0f degrees: was the crown set "
               "differently?\n",
               c->turn_deg);
    if (p->where[0])
        printf("    = %s\n", p->where);
}

static rg_change_state overall(const pair *p, int pairs)
{
    int count[4] = {0};
    for (int i = 0; i < pairs; i++)
        count[p[i].change.overall]++;
    return count[RG_CHANGE_GREW]     ? RG_CHANGE_GREW
           : count[RG_CHANGE_SHRANK] ? RG_CHANGE_SHRANK
           : count[RG_CHANGE_NONE]   ? RG_CHANGE_NONE
                                     : RG_CHANGE_UNSEEN;
}

/* Names of pads that the other visit does not have. */
static int only(const job *j, const rg_record *one, const rg_record *other, const char **name)
{
    int n = 0;
    for (int i = 0; i < one->sweeps; i++)
        if (is_wanted(j, one, i) && !sweep_of(other, one->sweep[i].pad))
            name[n++] = one->sweep[i].pad;
    return n;
}

static void print_only(const char *which, const char *const *name, int count)
{
    if (!count)
        return;
    printf("only %s: ", which);
    for (int i = 0; i < count; i++) {
        fputs(i ? ", " : "", stdout);
        rg_archive_print(name[i], 0, false);
    }
    putchar('\n');
}

static rg_code answer(const job *j, const visit *before, const visit *after, const pair *p,
                      int pairs, rg_error *err)
{
    const char *names[2][RG_RECORD_SWEEPS_MAX];
    int count[2] = {only(j, &before->record, &after->record, names[0]),
                    only(j, &after->record, &before->record, names[1])};
    char *text = NULL;
    if (!j->json) {
        printf("%s (%s) to %s (%s)\n", before->bag, before->label, after->bag, after->label);
        for (int i = 0; i < pairs; i++)
            print_pair(j, &p[i]);
        print_only("before", names[0], count[0]);
        print_only("after", names[1], count[1]);
        return RG_OK;
    }
    rg_compared_pad *pad = rg_alloc((size_t)pairs, sizeof *pad);
    if (!pad)
        return rg_fail(err, RG_INTERNAL, "no memory for %d pads", pairs);
    for (int i = 0; i < pairs; i++)
        pad[i] = (rg_compared_pad){p[i].pad, &p[i].change};
    const rg_compared_report report = {.serial = after->record.serial,
                                       .before = before->bag,
                                       .after = after->bag,
                                       .options = &j->settings.change,
                                       .overall = overall(p, pairs),
                                       .pad = pad,
                                       .pads = pairs,
                                       .only_before = names[0],
                                       .only_befores = count[0],
                                       .only_after = names[1],
                                       .only_afters = count[1]};
    rg_code code = rg_archive_report_compared(&report, &text, err);
    if (code == RG_OK)
        puts(text);
    free(text);
    free(pad);
    return code;
}

static rg_code compare_visits(const job *j, const rg_archive *archive, visit v[2], int *exit_code,
                              rg_error *err)
{
    pair *p = rg_alloc((size_t)v[1].record.sweeps, sizeof *p);
    int pairs = 0;
    rg_code code = p ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory to compare");
    if (code == RG_OK && strcmp(v[0].record.serial, v[1].record.serial) != 0)
        code = rg_fail(err, RG_USAGE, "%s and %s are two instruments; compare two visits of one",
                       v[0].bag, v[1].bag);
    for (int i = 0; code == RG_OK && i < v[1].record.sweeps; i++) {
        if (!is_wanted(j, &v[1].record, i) || !sweep_of(&v[0].record, v[1].record.sweep[i].pad))
            continue;
        rg_copy_text(p[pairs].pad, sizeof p[pairs].pad, v[1].record.sweep[i].pad);
        code = compare_pad(j, archive, &v[0], &v[1], &p[pairs++], err);
    }
    if (code == RG_OK && pairs == 0)
        code = rg_fail(err, RG_NO_INPUT, "%s and %s have no swept pad%s%s in common", v[0].bag,
                       v[1].bag, j->pad ? " " : "", j->pad ? j->pad : "");
    if (code == RG_OK) {
        rg_change_state state = overall(p, pairs);
        *exit_code = state == RG_CHANGE_GREW ? 1 : state == RG_CHANGE_UNSEEN ? 2 : 0;
        code = answer(j, &v[0], &v[1], p, pairs, err);
    }
    free(p);
    return code;
}

static rg_code compare_two(const job *j, const rg_archive *archive, const char *const *word,
                           int *exit_code, rg_error *err)
{
    visit *v = rg_alloc(2, sizeof *v);
    rg_code code = v ? load_visit(archive, word[0], &v[0], err)
                     : rg_fail(err, RG_INTERNAL, "no memory to compare");
    if (code == RG_OK)
        code = load_visit(archive, word[1], &v[1], err);
    if (code == RG_OK && strcmp(v[0].bag, v[1].bag) == 0)
        code = rg_fail(err, RG_USAGE, "%s is compared with itself; name two visits", v[0].bag);
    if (code == RG_OK)
        code = compare_visits(j, archive, v, exit_code, err);
    for (int i = 0; v && i < 2; i++)
        rg_record_free(&v[i].record);
    free(v);
    return code;
}

/* ---------------------------------------------------------------- all visits */

static rg_code draw_line(const void *args, rg_picture_format format, rg_bytes *out, rg_error *err)
{
    return rg_draw_history(args, format, out, err);
}

static rg_verdict verdict_of(const char *word)
{
    rg_verdict verdict = RG_VERDICT_UNDECIDED;
    rg_verdict_parse(word, &verdict);
    return verdict;
}

static rg_code draw_pad(const job *j, const rg_catalogue_sweeps *s, const char *pad,
                        rg_history_point *point, rg_error *err)
{
    char folder[RG_ARCHIVE_PATH], name[RG_NAME_SIZE], file[RG_NAME_SIZE + 16];
    int n = 0;
    double tolerance = NAN;
    for (int i = 0; i < s->count; i++) {
        const rg_catalogue_sweep *r = &s->row[i];
        if (strcmp(r->pad, pad) != 0)
            continue;
        tolerance = r->tolerance_mm;
        point[n++] =
            (rg_history_point){r->time,      r->widest_mm, r->u_widest_mm,         r->mean_mm,
                               r->u_mean_mm, r->seen,      verdict_of(r->verdict), NULL};
    }
    const rg_draw_history_args args = {.point = point,
                                       .count = n,
                                       .serial = s->row[0].serial,
                                       .pad = pad,
                                       .tolerance_mm = tolerance,
                                       .coverage_factor = j->settings.change.coverage_factor};
    rg_archive_file_name(pad, name);
    snprintf(file, sizeof file, "history-%s", name);
    int length = snprintf(folder, sizeof folder, "%s/%s", j->out, s->row[0].serial);
    if (length < 0 || (size_t)length >= sizeof folder)
        return rg_fail(err, RG_CANT_CREATE, "%.80s...: the path is too long", j->out);
    rg_code code = rg_archive_pictures(folder, file, draw_line, &args, err);
    if (code == RG_OK)
        printf("    = %s/%s.png\n", folder, file);
    return code;
}

static void print_visits(const job *j, const rg_catalogue_sweeps *s, const char *pad)
{
    double k = j->settings.change.coverage_factor;
    rg_archive_print(pad, 0, false);
    putchar('\n');
    for (int i = 0; i < s->count; i++) {
        const rg_catalogue_sweep *r = &s->row[i];
        char when[32];
        if (strcmp(r->pad, pad) != 0)
            continue;
        rg_archive_when(r->time, when);
        printf("  %4d  %s  %s %-10s", r->sequence, when, rg_word_sign(r->verdict), r->verdict);
        if (isnan(r->widest_mm))
            puts(" no gap measured");
        else
            printf(" widest %.3f +- %.3f mm at %.0f\n", r->widest_mm, k * r->u_widest_mm,
                   r->widest_deg);
    }
}

static bool is_first(const rg_catalogue_sweeps *s, int i)
{
    for (int k = 0; k < i; k++)
        if (strcmp(s->row[k].pad, s->row[i].pad) == 0)
            return false;
    return true;
}

static rg_code history_of(const job *j, const rg_catalogue_sweeps *s, const char *serial,
                          rg_error *err)
{
    rg_code code = RG_OK;
    if (s->count == 0)
        return rg_fail(err, RG_NO_INPUT,
                       "%s%s%s: no such sweeps in the index; rimglow archive list "
                       "shows what there is",
                       serial, j->pad ? ", pad " : "", j->pad ? j->pad : "");
    rg_history_point *point = rg_alloc((size_t)s->count, sizeof *point);
    if (!point)
        return rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", s->count);
    for (int i = 0; code == RG_OK && i < s->count; i++) {
        if (!is_first(s, i) || (j->pad && strcmp(j->pad, s->row[i].pad) != 0))
            continue;
        print_visits(j, s, s->row[i].pad);
        if (j->pictures)
            code = draw_pad(j, s, s->row[i].pad, point, err);
    }
    free(point);
    return code;
}

static rg_code compare_all(const job *j, const rg_archive *archive, const char *serial,
                           rg_error *err)
{
    rg_catalogue_sweeps sweeps = {0};
    const rg_catalogue_query query = {.serial = serial, .pad = j->pad};
    if (j->json)
        return rg_fail(err, RG_USAGE,
                       "--json compares two visits; rimglow archive list --serial %s "
                       "--json gives all visits",
                       serial);
    if (!archive->catalogue)
        return rg_fail(err, archive->index_fault.code, "%s", archive->index_fault.text);
    rg_code code = rg_catalogue_sweeps_find(archive->catalogue, &query, &sweeps, err);
    if (code == RG_OK)
        code = history_of(j, &sweeps, serial, err);
    rg_catalogue_sweeps_free(&sweeps);
    return code;
}

/* ---------------------------------------------------------------- command */

static rg_code run(job *j, const char *const *word, int words, int *exit_code, rg_error *err)
{
    rg_archive archive;
    if (words != 1 && words != 2)
        return rg_fail(err, RG_USAGE,
                       "name two inspections, or one serial for all its visits; "
                       "rimglow archive compare -h shows examples");
    rg_code code = rg_archive_settings_load(j->settings_file, &j->settings, err);
    if (code == RG_OK)
        code = rg_archive_read(&archive, j->archive, err);
    if (code != RG_OK)
        return code;
    code = words == 2 ? compare_two(j, &archive, word, exit_code, err)
                      : compare_all(j, &archive, word[0], err);
    rg_archive_close(&archive);
    return code;
}

int rg_cmd_archive_compare(int argc, char **argv)
{
    static const char *const what[] = {"none", "all", NULL};
    job j = {.archive = "archive", .out = "comparison", .pictures = 1};
    rg_error err = {0};
    int words = 0, exit_code = RG_OK;
    const rg_option options[] = {{"archive", 'a', RG_OPTION_TEXT, &j.archive, 0, 0, NULL},
                                 {"out", 'o', RG_OPTION_TEXT, &j.out, 0, 0, NULL},
                                 {"pad", 0, RG_OPTION_TEXT, &j.pad, 0, 0, NULL},
                                 {"settings", 0, RG_OPTION_TEXT, &j.settings_file, 0, 0, NULL},
                                 {"pictures", 0, RG_OPTION_CHOICE, &j.pictures, 0, 0, what},
                                 {"json", 0, RG_OPTION_SWITCH, &j.json, 0, 0, NULL}};
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    rg_code code = operands ? rg_options_read(argc, argv, options, 6, operands, &words, &err)
                            : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK)
        code = run(&j, operands, words, &exit_code, &err);
    free(operands);
    return rg_archive_answer(code, exit_code, &err);
}
