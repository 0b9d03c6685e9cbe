/*
 * cmd_archive_list.c - rimglow archive list, rimglow archive show, rimglow archive export.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "archive_command.h"
#include "rimglow/catalogue_export.h"
#include "rimglow/command.h"
#include "rimglow/date.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"

#define CHOICES                                                                                    \
    "      --serial TEXT      PE-A-0147; '*' stands for any text: PE-A-*\n"                        \
    "      --model TEXT       name in the instrument file\n"                                       \
    "      --technician TEXT, --occasion TEXT, --station TEXT\n"                                   \
    "      --verdict WORD     sealed, leaking or undecided\n"                                      \
    "      --pad NAME         inspections with a sweep of this pad\n"                              \
    "      --since DATE, --until DATE   2026-11-01; days in UTC, both included\n"

const char rg_help_archive_list[] =
    "rimglow archive list [options]\n"
    "\n"
    "Lists inspections, newest first: serial and number, time (UTC), verdict, pads\n"
    "swept of those of the instrument, how many leak, are undecided, sealed.\n"
    "\n"
    "Examples:\n"
    "  rimglow archive list\n"
    "  rimglow archive list --serial 'PE-A-*' --verdict leaking --since 2026-11-01\n"
    "  rimglow archive list --pad \"G sharp\" --pad-verdict leaking --json | jq .\n"
    "\n"
    "Options:\n"
    "  -a, --archive DIR      the archive (default: archive)\n" CHOICES
    "      --pad-verdict WORD where that pad (or any pad) has this verdict\n"
    "      --limit N          at most so many (default: 50; 0: all)\n"
    "      --oldest           oldest first\n"
    "      --json             everything about them as one JSON document\n"
    "\n"
    "Exit codes: 0 also when the list is empty; others as in rimglow -h.\n";

const char rg_help_archive_show[] =
    "rimglow archive show [options] BAG\n"
    "\n"
    "One inspection: who, when, why, its pads with widest gap and bearing, set-up\n"
    "values, digests. BAG is a serial (its newest inspection), SERIAL/NUMBER, or the\n"
    "bag's whole name.\n"
    "\n"
    "Examples:\n"
    "  rimglow archive show PE-A-0147\n"
    "  rimglow archive show PE-A-0147/1\n"
    "\n"
    "Options:\n"
    "  -a, --archive DIR  the archive (default: archive)\n"
    "      --json         the record as stored, data/inspection.json\n"
    "\n"
    "It tells what the bag says; whether it is still what was stored, rimglow archive\n"
    "verify tells.\n"
    "\n"
    "Exit codes: 0 shown; 66 no such inspection; others as in rimglow -h.\n";

const char rg_help_archive_export[] =
    "rimglow archive export [options]\n"
    "\n"
    "Everything in the index as tables (CSV, RFC 4180) and as one JSON document, for\n"
    "a spreadsheet or another program; or one bag to hand over.\n"
    "\n"
    "Examples:\n"
    "  rimglow archive export -o november --since 2026-11-01 --until 2026-11-30\n"
    "      inspections.csv, pads.csv, arcs.csv, setup-values.csv and archive.json\n"
    "  rimglow archive export --bag PE-A-0147 -o /media/stick\n"
    "      a copy of its newest bag, checked; anybody can check it again with\n"
    "      sha256sum -c manifest-sha256.txt or rimglow archive verify --bag DIR\n"
    "\n"
    "Options:\n"
    "  -a, --archive DIR      the archive (default: archive)\n"
    "  -o, --out DIR          where it goes (default: export)\n"
    "      --bag BAG          this bag alone, as a folder\n" CHOICES "\n"
    "In CSV a text that a spreadsheet would run as a formula gets a ' in front.\n"
    "\n"
    "Exit codes: 0 written; 66 no such bag, 73/74 cannot write; others as in\n"
    "rimglow -h.\n";

typedef struct job {
    const char *archive, *out, *bag, *pad_verdict;
    rg_choosing choosing;
    int limit;
    bool json, oldest;
} job;

/* ---------------------------------------------------------------- list */

static rg_code list_options(int argc, char **argv, job *j, rg_error *err)
{
    rg_option options[RG_CHOICE_OPTIONS + 5];
    int words = 0;
    rg_choosing_options(&j->choosing, options);
    const rg_option more[] = {{"archive", 'a', RG_OPTION_TEXT, &j->archive, 0, 0, NULL},
                              {"pad-verdict", 0, RG_OPTION_TEXT, &j->pad_verdict, 0, 0, NULL},
                              {"limit", 0, RG_OPTION_WHOLE, &j->limit, 0, 1000000, NULL},
                              {"oldest", 0, RG_OPTION_SWITCH, &j->oldest, 0, 0, NULL},
                              {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL}};
    memcpy(options + RG_CHOICE_OPTIONS, more, sizeof more);
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    if (!operands)
        return rg_fail(err, RG_INTERNAL, "no memory");
    rg_code code =
        rg_options_read(argc, argv, options, RG_CHOICE_OPTIONS + 5, operands, &words, err);
    if (code == RG_OK && words)
        code = rg_fail(err, RG_USAGE,
                       "%s: archive list takes options only; --serial %s lists that serial",
                       operands[0], operands[0]);
    free(operands);
    return code;
}

static void print_row(const rg_catalogue_list *list, int i)
{
    const rg_catalogue_inspection *row = &list->row[i];
    char when[32];
    rg_archive_when(row->time, when);
    rg_archive_print(row->serial, 16, true);
    printf(" %4d  %s  %s ", row->sequence, when, rg_word_sign(row->verdict));
    rg_archive_print(row->verdict, 10, true);
    printf("%3d of %-3d %3d %3d %3d  ", list->swept[i], row->pads_of_model, list->leaking[i],
           list->undecided[i], list->sealed[i]);
    rg_archive_print(row->occasion, 14, true);
    putchar(' ');
    rg_archive_print(row->model, 0, false);
    putchar('\n');
}

static void print_list(const rg_catalogue_list *list, int count)
{
    if (list->count)
        puts("serial             no  time (UTC)        verdict          pads       /   ?   O  "
             "occasion       model");
    for (int i = 0; i < list->count; i++)
        print_row(list, i);
    if (list->count < count)
        printf("%d of %d; --limit 0 lists all\n", list->count, count);
    else
        printf("%d inspection%s\n", count, count == 1 ? "" : "s");
}

static rg_code to_stdout(void *context, const char *text, size_t size, rg_error *err)
{
    (void)context;
    if (fwrite(text, 1, size, stdout) != size)
        return rg_fail(err, RG_IO, "standard output cannot be written; is the disk full?");
    return RG_OK;
}

static rg_code list(const job *j, rg_error *err)
{
    rg_archive archive;
    rg_catalogue_query query;
    rg_catalogue_list rows = {0};
    int count = 0;
    rg_code code = rg_choosing_query(&j->choosing, &query, err);
    if (code == RG_OK)
        code = rg_archive_read_index(&archive, j->archive, err);
    if (code != RG_OK)
        return code;
    query.pad_verdict = j->pad_verdict;
    query.limit = j->limit;
    query.oldest_first = j->oldest;
    if (j->json) {
        code = rg_export_json(archive.catalogue, &query, to_stdout, NULL, err);
    } else {
        code = rg_catalogue_find(archive.catalogue, &query, &rows, err);
        if (code == RG_OK)
            code = rg_catalogue_count(archive.catalogue, &query, &count, err);
        if (code == RG_OK)
            print_list(&rows, count);
        rg_catalogue_list_free(&rows);
    }
    rg_archive_close(&archive);
    return code;
}

int rg_cmd_archive_list(int argc, char **argv)
{
    job j = {.archive = "archive", .limit = 50};
    rg_error err = {0};
    rg_code code = list_options(argc, argv, &j, &err);
    if (code == RG_OK)
        code = list(&j, &err);
    return rg_archive_answer(code, RG_OK, &err);
}

/* ---------------------------------------------------------------- show */

static void print_text(const char *label, const char *text)
{
    if (!text[0])
        return;
    printf("  %-12s ", label);
    rg_archive_print(text, 0, false);
    putchar('\n');
}

static void print_pad(const rg_catalogue_pad *p)
{
    char day[RG_DATE_TEXT];
    rg_date_format(p->calibration_day, day);
    fputs("    ", stdout);
    rg_archive_print(p->pad, 14, true);
    printf(" %s %-10s %3d %%", rg_word_sign(p->verdict), p->verdict, p->seen * 100 / 360);
    if (isnan(p->widest_mm))
        fputs("  no gap measured          ", stdout);
    else
        printf("  %.3f +- %.3f mm at %3.0f ", p->widest_mm, 2 * p->u_widest_mm, p->widest_deg);
    printf(" %-8s %d/%d  ", p->finger, p->frames_used, p->frames_given);
    printf("%s%s\n", p->calibration_day < 0 ? "never" : day,
           p->calibration_day < 0 || p->calibrated ? "" : " (lapsed)");
}

static void print_inspection(const rg_catalogue_inspection *row, const rg_record *record)
{
    char when[32];
    rg_archive_when(row->time, when);
    rg_archive_print(row->bag, 0, false);
    printf("  %s %s\n", rg_word_sign(row->verdict), row->verdict);
    for (int i = 0; i < record->reasons; i++) {
        fputs("  - ", stdout);
        rg_archive_print(record->reason[i], 0, false);
        putchar('\n');
    }
    print_text("model", row->model);
    printf("  %-12s %s UTC\n", "time", when);
    print_text("technician", row->technician);
    print_text("occasion", row->occasion);
    print_text("note", row->note);
    print_text("software", row->software);
    puts("  pads          verdict          seen   widest gap, U (k = 2)      finger   frames "
         "light calibrated");
    for (int i = 0; i < row->pads; i++)
        print_pad(&row->pad[i]);
    for (int i = 0; i < row->values; i++) {
        const rg_catalogue_value *v = &row->value[i];
        fputs("    ", stdout);
        rg_archive_print(v->quantity, 28, true);
        printf(" %g ", v->value);
        rg_archive_print(v->unit, 0, false);
        if (!isnan(v->u))
            printf(" (u %g)", v->u);
        fputs(v->with[0] ? "  with " : "", stdout);
        rg_archive_print(v->with, 0, false);
        putchar('\n');
    }
    printf("  %lld files, %.1f MB, %s%s\n", (long long)row->files, (double)row->bytes / 1e6,
           row->key[0] ? "signed by key " : "unsigned", row->key);
    print_text("manifest", row->manifest);
    print_text("before it", row->previous_manifest[0] ? row->previous_manifest : "none: the first");
}

static rg_code show_record(const rg_archive *archive, const char *bag, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    uint8_t *text = NULL;
    size_t size;
    rg_code code = rg_archive_path(archive, bag, "data/inspection.json", path, err);
    if (code == RG_OK)
        code = rg_file_read(path, RG_RECORD_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = to_stdout(NULL, (const char *)text, size, err);
    free(text);
    return code;
}

static rg_code show(const job *j, const char *word, rg_error *err)
{
    rg_archive archive;
    char bag[RG_ARCHIVE_BAG];
    rg_catalogue_inspection row = {0};
    rg_record record = {0};
    rg_code code = rg_archive_read(&archive, j->archive, err);
    if (code != RG_OK)
        return code;
    code = rg_archive_resolve(&archive, word, bag, err);
    if (code == RG_OK && j->json) {
        code = show_record(&archive, bag, err);
    } else if (code == RG_OK) {
        code = rg_archive_row(&archive, bag, &row, err);
        if (code == RG_OK)
            code = rg_archive_record(&archive, bag, &record, err);
        if (code == RG_OK)
            print_inspection(&row, &record);
        rg_record_free(&record);
        rg_catalogue_inspection_free(&row);
    }
    rg_archive_close(&archive);
    return code;
}

int rg_cmd_archive_show(int argc, char **argv)
{
    job j = {.archive = "archive"};
    rg_error err = {0};
    int words = 0;
    const rg_option options[] = {{"archive", 'a', RG_OPTION_TEXT, &j.archive, 0, 0, NULL},
                                 {"json", 0, RG_OPTION_SWITCH, &j.json, 0, 0, NULL}};
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    rg_code code = operands ? rg_options_read(argc, argv, options, 2, operands, &words, &err)
                            : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK && words != 1)
        code = rg_fail(&err, RG_USAGE,
                       "name one serial or bag; rimglow archive list shows what there is");
    if (code == RG_OK)
        code = show(&j, operands[0], &err);
    free(operands);
    return rg_archive_answer(code, RG_OK, &err);
}

/* ---------------------------------------------------------------- export */

/* A document that grows in memory and is written whole. */
typedef struct growing {
    char *text;
    size_t used, room;
} growing;

static rg_code grow(void *context, const char *text, size_t size, rg_error *err)
{
    growing *g = context;
    if (g->used + size > g->room) {
        size_t room = (g->used + size) * 2 + 4096;
        char *grown = rg_grow(g->text, room, 1);
        if (!grown)
            return rg_fail(err, RG_INTERNAL, "no memory for %zu bytes; export fewer inspections",
                           room);
        g->text = grown;
        g->room = room;
    }
    memcpy(g->text + g->used, text, size);
    g->used += size;
    return RG_OK;
}

static rg_code write_document(const job *j, rg_catalogue *catalogue,
                              const rg_catalogue_query *query, int table, rg_error *err)
{
    growing g = {0};
    char name[64];
    snprintf(name, sizeof name, "%s.%s",
             table < RG_EXPORT_TABLES ? rg_export_table_name((rg_export_table)table) : "archive",
             table < RG_EXPORT_TABLES ? "csv" : "json");
    rg_code code = table < RG_EXPORT_TABLES
                       ? rg_export_csv(catalogue, query, (rg_export_table)table, grow, &g, err)
                       : rg_export_json(catalogue, query, grow, &g, err);
    char *path = code == RG_OK ? rg_path_join(j->out, name) : NULL;
    if (code == RG_OK)
        code = path ? rg_file_write(path, g.text ? g.text : "", g.used, err)
                    : rg_fail(err, RG_INTERNAL, "no memory for a file name");
    if (code == RG_OK)
        printf("= %s\n", path);
    free(path);
    free(g.text);
    return code;
}

static rg_code export_tables(const job *j, rg_error *err)
{
    rg_archive archive;
    rg_catalogue_query query;
    rg_code code = rg_choosing_query(&j->choosing, &query, err);
    if (code == RG_OK)
        code = rg_archive_read_index(&archive, j->archive, err);
    if (code != RG_OK)
        return code;
    query.oldest_first = true;
    code = rg_folder_make(j->out, err);
    for (int t = 0; code == RG_OK && t <= RG_EXPORT_TABLES; t++)
        code = write_document(j, archive.catalogue, &query, t, err);
    rg_archive_close(&archive);
    return code;
}

static rg_code hand_over(const job *j, rg_error *err)
{
    rg_archive archive;
    char bag[RG_ARCHIVE_BAG], place[RG_ARCHIVE_PATH];
    rg_code code = rg_archive_read(&archive, j->archive, err);
    if (code != RG_OK)
        return code;
    code = rg_archive_resolve(&archive, j->bag, bag, err);
    if (code == RG_OK)
        code = rg_archive_hand_over(&archive, bag, j->out, place, err);
    rg_archive_close(&archive);
    if (code == RG_OK)
        printf("= %s\n", place);
    return code;
}

int rg_cmd_archive_export(int argc, char **argv)
{
    job j = {.archive = "archive", .out = "export"};
    rg_error err = {0};
    int words = 0;
    rg_option options[RG_CHOICE_OPTIONS + 3];
    rg_choosing_options(&j.choosing, options);
    const rg_option more[] = {{"archive", 'a', RG_OPTION_TEXT, &j.archive, 0, 0, NULL},
                              {"out", 'o', RG_OPTION_TEXT, &j.out, 0, 0, NULL},
                              {"bag", 0, RG_OPTION_TEXT, &j.bag, 0, 0, NULL}};
    memcpy(options + RG_CHOICE_OPTIONS, more, sizeof more);
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    rg_code code = operands ? rg_options_read(argc, argv, options, RG_CHOICE_OPTIONS + 3, operands,
                                              &words, &err)
                            : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK && words)
        code =
            rg_fail(&err, RG_USAGE, "%s: archive export takes options only; --bag %s exports a bag",
                    operands[0], operands[0]);
    free(operands);
    if (code == RG_OK)
        code = j.bag ? hand_over(&j, &err) : export_tables(&j, &err);
    return rg_archive_answer(code, RG_OK, &err);
}
