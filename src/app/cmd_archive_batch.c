/*
 * cmd_archive_batch.c - rimglow archive batch: many instruments together.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "archive_command.h"
#include "rimglow/archive_report.h"
#include "rimglow/command.h"
#include "rimglow/date.h"
#include "rimglow/draw_archive.h"
#include "rimglow/memory.h"

const char rg_help_archive_batch[] =
    "rimglow archive batch [options]\n"
    "\n"
    "Many instruments together: which pads of a model leak most (Pareto), how many\n"
    "instruments and pads were sealed at their first inspection of the period, with\n"
    "exact binomial intervals (Clopper and Pearson 1934), and whether light and blur\n"
    "of a station drift.\n"
    "\n"
    "Examples:\n"
    "  rimglow archive batch                                    the last 30 days\n"
    "  rimglow archive batch --since 2026-11-01 --until 2026-11-30\n"
    "  rimglow archive batch --since 2026-01-01 --model \"Port Ellery*\" --json\n"
    "\n"
    "Options:\n"
    "  -a, --archive DIR    the archive (default: archive)\n"
    "  -o, --out DIR        where the picture goes (default: batch)\n"
    "      --since DATE     first day (default: 30 days back), UTC\n"
    "      --until DATE     last day (default: today)\n"
    "      --model TEXT, --station TEXT, --occasion TEXT   '*' stands for any text\n"
    "      --settings FILE  in place of calib/archive.ini\n"
    "      --pictures WHAT  all (default) or none\n"
    "      --top N          pads listed for each model (default: 10)\n"
    "      --json           everything as JSON\n"
    "\n"
    "Exit codes: 0 also when the period is empty; others as in rimglow -h.\n";

typedef struct job {
    const char *archive, *out, *settings_file;
    rg_choosing choosing;
    int pictures, top;
    bool json;
    char since[RG_DATE_TEXT], until[RG_DATE_TEXT];
    rg_archive_settings settings;
} job;

static void fill_sweeps(const rg_catalogue_sweeps *rows, rg_batch_sweep *sweep)
{
    for (int i = 0; i < rows->count; i++) {
        const rg_catalogue_sweep *r = &rows->row[i];
        rg_verdict verdict = RG_VERDICT_UNDECIDED;
        rg_verdict_parse(r->verdict, &verdict);
        sweep[i] = (rg_batch_sweep){.serial = r->serial,
                                    .model = r->model,
                                    .pad = r->pad,
                                    .station = r->station,
                                    .bag = r->bag,
                                    .position = r->position,
                                    .time = r->time,
                                    .verdict = verdict,
                                    .radiance = r->radiance,
                                    .psf_sigma_px = r->psf_sigma_px};
    }
}

static void print_share(const char *what, const rg_share *s)
{
    printf("  %s: %d of %d", what, s->count, s->of);
    if (s->of)
        printf(" = %.0f %% (%.0f to %.0f %%)", 100 * s->share, 100 * s->low, 100 * s->high);
    putchar('\n');
}

static void print_model(const job *j, const rg_batch *b, const rg_batch_model *m)
{
    int listed = 0, more = 0;
    rg_archive_print(m->model, 0, false);
    printf(", %d serial%s\n", m->serials, m->serials == 1 ? "" : "s");
    print_share("sealed at the first inspection, instruments", &m->instruments);
    print_share("sealed at the first inspection, pads", &m->pads);
    for (int i = 0; i < b->pads; i++) {
        const rg_batch_pad *p = &b->pad[i];
        if (strcmp(p->model, m->model) != 0 || p->leaking == 0)
            continue;
        if (listed == j->top) {
            more++;
            continue;
        }
        if (listed++ == 0)
            puts("    leaking most    leaks of sweeps   share (interval)      together");
        fputs("    ", stdout);
        rg_archive_print(p->pad, 16, true);
        printf(" %4d of %-6d  %3.0f %% (%.0f to %.0f %%)%*s%3.0f %%\n", p->leaking, p->sweeps,
               100 * p->failing.share, 100 * p->failing.low, 100 * p->failing.high, 6, "",
               100 * p->cumulative);
    }
    if (more)
        printf("    and %d more pad%s that leaked; --top lists more\n", more, more == 1 ? "" : "s");
}

static void print_trend(const char *what, const char *unit, double scale, const rg_trend *t,
                        bool drifts)
{
    if (isnan(t->per_month)) {
        printf("  %s: too few days for a trend (at least three)\n", what);
        return;
    }
    printf("  %s: %+.2g %s a month (%.2g to %.2g)%s\n", what, scale * t->per_month, unit,
           scale * t->low, scale * t->high, drifts ? ": DRIFTS" : ": no drift shown");
}

static void print_batch(const job *j, const rg_batch *b)
{
    printf("%s to %s: %d inspection%s of %d serial%s, %d sweep%s; intervals at %.0f %%\n", j->since,
           j->until, b->inspections, b->inspections == 1 ? "" : "s", b->serials,
           b->serials == 1 ? "" : "s", b->sweeps, b->sweeps == 1 ? "" : "s", 100 * b->confidence);
    for (int i = 0; i < b->models; i++)
        print_model(j, b, &b->model[i]);
    for (int i = 0; i < b->stations; i++) {
        const rg_batch_station *s = &b->station[i];
        fputs("station ", stdout);
        rg_archive_print(s->station, 0, false);
        printf(", %d sweeps\n", s->sweeps);
        print_trend("light", "%", 100, &s->ln_radiance, s->radiance_drifts);
        print_trend("blur", "px", 1, &s->psf, s->psf_drifts);
    }
}

static rg_code draw_batch(const void *args, rg_picture_format format, rg_bytes *out, rg_error *err)
{
    return rg_draw_batch(args, format, out, err);
}

static rg_code answer(const job *j, const rg_batch *b, const rg_batch_sweep *sweep, rg_error *err)
{
    char title[64], *text = NULL;
    rg_code code = RG_OK;
    snprintf(title, sizeof title, "%s to %s", j->since, j->until);
    const rg_draw_batch_args args = {b, sweep, title};
    if (j->pictures)
        code = rg_archive_pictures(j->out, "batch", draw_batch, &args, err);
    if (code == RG_OK && j->json)
        code = rg_archive_report_batch(b, j->since, j->until, &text, err);
    if (code != RG_OK)
        return code;
    if (j->json)
        puts(text);
    else
        print_batch(j, b);
    if (!j->json && j->pictures)
        printf("= %s/batch.png\n", j->out);
    free(text);
    return RG_OK;
}

static rg_code sum_up(const job *j, const rg_archive *archive, const rg_catalogue_query *query,
                      rg_error *err)
{
    rg_catalogue_sweeps rows = {0};
    rg_batch batch = {0};
    rg_code code = rg_catalogue_sweeps_find(archive->catalogue, query, &rows, err);
    rg_batch_sweep *sweep = code == RG_OK ? rg_alloc((size_t)rows.count, sizeof *sweep) : NULL;
    if (code == RG_OK && !sweep)
        code = rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", rows.count);
    if (code == RG_OK) {
        fill_sweeps(&rows, sweep);
        code = rg_batch_sum(sweep, rows.count, j->settings.confidence, &batch, err);
    }
    if (code == RG_OK)
        code = answer(j, &batch, sweep, err);
    rg_batch_free(&batch);
    free(sweep);
    rg_catalogue_sweeps_free(&rows);
    return code;
}

static rg_code run(job *j, rg_error *err)
{
    rg_archive archive;
    rg_catalogue_query query;
    int today = (int)(time(NULL) / 86400);
    rg_date_format(today - 30, j->since);
    rg_date_format(today, j->until);
    if (j->choosing.since)
        snprintf(j->since, sizeof j->since, "%.10s", j->choosing.since);
    if (j->choosing.until)
        snprintf(j->until, sizeof j->until, "%.10s", j->choosing.until);
    j->choosing.since = j->choosing.since ? j->choosing.since : j->since;
    j->choosing.until = j->choosing.until ? j->choosing.until : j->until;
    rg_code code = rg_choosing_query(&j->choosing, &query, err);
    if (code == RG_OK)
        code = rg_archive_settings_load(j->settings_file, &j->settings, err);
    if (code == RG_OK)
        code = rg_archive_read_index(&archive, j->archive, err);
    if (code != RG_OK)
        return code;
    code = sum_up(j, &archive, &query, err);
    rg_archive_close(&archive);
    return code;
}

int rg_cmd_archive_batch(int argc, char **argv)
{
    static const char *const what[] = {"none", "all", NULL};
    job j = {.archive = "archive", .out = "batch", .pictures = 1, .top = 10};
    rg_error err = {0};
    int words = 0;
    const rg_option options[] = {{"archive", 'a', RG_OPTION_TEXT, &j.archive, 0, 0, NULL},
                                 {"out", 'o', RG_OPTION_TEXT, &j.out, 0, 0, NULL},
                                 {"since", 0, RG_OPTION_TEXT, &j.choosing.since, 0, 0, NULL},
                                 {"until", 0, RG_OPTION_TEXT, &j.choosing.until, 0, 0, NULL},
                                 {"model", 0, RG_OPTION_TEXT, &j.choosing.model, 0, 0, NULL},
                                 {"station", 0, RG_OPTION_TEXT, &j.choosing.station, 0, 0, NULL},
                                 {"occasion", 0, RG_OPTION_TEXT, &j.choosing.occasion, 0, 0, NULL},
                                 {"settings", 0, RG_OPTION_TEXT, &j.settings_file, 0, 0, NULL},
                                 {"pictures", 0, RG_OPTION_CHOICE, &j.pictures, 0, 0, what},
                                 {"top", 0, RG_OPTION_WHOLE, &j.top, 1, 1000, NULL},
                                 {"json", 0, RG_OPTION_SWITCH, &j.json, 0, 0, NULL}};
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    rg_code code = operands ? rg_options_read(argc, argv, options, 11, operands, &words, &err)
                            : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK && words)
        code = rg_fail(&err, RG_USAGE, "%s: archive batch takes options only", operands[0]);
    free(operands);
    if (code == RG_OK)
        code = run(&j, &err);
    return rg_archive_answer(code, RG_OK, &err);
}
