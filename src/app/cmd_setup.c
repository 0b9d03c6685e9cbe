/*
 * cmd_setup.c - rimglow setup SERIAL: the set-up sheet.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "archive_command.h"
#include "rimglow/command.h"
#include "rimglow/config_values.h"
#include "rimglow/date.h"
#include "rimglow/draw_setup.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/setup_load.h"
#include "rimglow/setup_report.h"
#include "setup_work.h"

const char rg_help_setup[] =
    "rimglow setup [options] SERIAL\n"
    "\n"
    "The set-up sheet: may this instrument leave the bench? Holds what its newest\n"
    "archived inspection shows against the rules of calib/release.ini: pads sealed\n"
    "under a light finger, mass, spring forces and their balance, play, checks such\n"
    "as lubrication. It says release, or hold and why, gravest reason first, and what\n"
    "changed since the last and the first visit. What was not measured is never\n"
    "passed. Then comes the work: why each pad leaks and what to bend or shim, how\n"
    "cups of one key close, what only a firm finger closes, loose keys, key heights,\n"
    "and the notes that suffer.\n"
    "\n"
    "Examples:\n"
    "  rimglow setup PE-A-0147                    its newest inspection, as of today\n"
    "  rimglow setup PE-A-0147/1 --on 2026-11-25  as it was judged on that day\n"
    "  rimglow setup PE-A-0147 --values setup.ini --rules my-release.ini -o sheets\n"
    "      values that are not archived yet, by rules of your own, with a PDF\n"
    "\n"
    "Options:\n"
    "  -a, --archive DIR    the archive (default: archive)\n"
    "      --values FILE    set-up values and checks in place of the archived ones,\n"
    "                       of the same visit (samples/setup.ini shows how)\n"
    "      --rules FILE     rules in place of calib/release.ini\n"
    "      --settings FILE  how visits are compared, in place of calib/archive.ini\n"
    "      --on DATE        judged for this day (default: today, UTC)\n"
    "  -o, --out DIR        write DIR/SERIAL/NNNN/setup-sheet.pdf, each page as PNG\n"
    "                       and SVG, setup.json, work.json and their pictures\n"
    "      --json           the sheet as JSON in place of the table, with \"work\"\n"
    "\n"
    "A value counts only with its uncertainty U = k u: 42 +- 4 gf is shown to be\n"
    "below 50, and is not shown to be below 45. A sweep under a firm finger alone\n"
    "releases no pad. The archive is not verified here: rimglow archive verify.\n"
    "\n"
    "Sweep a cup by the key that closes it too (key = A in sweep.ini) to see whether\n"
    "both close together; one pad by a light and a firm finger; one key three times\n"
    "or more to see whether it is loose; the open key for its height. Heat work and\n"
    "bending are for those who have learnt it; the maker's instructions come first.\n"
    "\n"
    "Exit codes: 0 release; 1 hold, something is shown to be out of its limits;\n"
    "2 hold, something required is not measured or undecided; 64 wrong command\n"
    "line, 65 bad data, such as a unit that does not convert; 66 no such\n"
    "inspection; 73/74 cannot write.\n";

typedef struct job {
    const char *archive, *values_file, *rules_file, *settings_file, *on, *out;
    bool json;
    int day;
    rg_setup_rules rules;
    rg_archive_settings settings;
    rg_workup_settings workup;
    rg_setup_bag bag;
    rg_record values; /* of values_file */
} job;

static rg_code read_options(int argc, char **argv, job *j, const char **operands, int *count,
                            rg_error *err)
{
    const rg_option options[] = {
        {"archive", 'a', RG_OPTION_TEXT, &j->archive, 0, 0, NULL},
        {"values", 0, RG_OPTION_TEXT, &j->values_file, 0, 0, NULL},
        {"rules", 0, RG_OPTION_TEXT, &j->rules_file, 0, 0, NULL},
        {"settings", 0, RG_OPTION_TEXT, &j->settings_file, 0, 0, NULL},
        {"on", 0, RG_OPTION_TEXT, &j->on, 0, 0, NULL},
        {"out", 'o', RG_OPTION_TEXT, &j->out, 0, 0, NULL},
        {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL},
    };
    int n = (int)(sizeof options / sizeof options[0]);
    rg_code code = rg_options_read(argc, argv, options, n, operands, count, err);
    if (code == RG_OK && *count != 1)
        code = rg_fail(err, RG_USAGE,
                       "setup needs one serial or inspection; rimglow setup -h shows examples");
    j->day = (int)(time(NULL) / 86400);
    if (code == RG_OK && j->on && !rg_date_parse(j->on, &j->day))
        code = rg_fail(err, RG_USAGE, "--on %s: a date is needed, as in 2026-11-25", j->on);
    return code;
}

static rg_code read_values(job *j, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size;
    int count = 0;
    if (!j->values_file)
        return RG_OK;
    rg_measured_value *value = rg_alloc(RG_VALUES_MAX, sizeof *value);
    rg_code code = value ? rg_file_read(j->values_file, RG_CONFIG_MAX_BYTES, &text, &size, err)
                         : rg_fail(err, RG_INTERNAL, "no memory for set-up values");
    if (code == RG_OK)
        code = rg_values_parse(j->values_file, (const char *)text, size, value, &count, err);
    if (code == RG_OK)
        code = rg_setup_take_values(value, count, &j->values, err);
    free(text);
    free(value);
    return code;
}

static rg_code load(job *j, const rg_archive *archive, const char *word, rg_error *err)
{
    char bag[RG_ARCHIVE_BAG];
    rg_code code = rg_setup_rules_load(j->rules_file, &j->rules, err);
    if (code == RG_OK)
        code = rg_archive_settings_load(j->settings_file, &j->settings, err);
    if (code == RG_OK)
        code = rg_workup_settings_load(NULL, &j->workup, err);
    if (code == RG_OK)
        code = read_values(j, err);
    if (code == RG_OK)
        code = rg_archive_resolve(archive, word, bag, err);
    return code == RG_OK ? rg_setup_bag_read(archive, bag, &j->bag, err) : code;
}

/* ---------------------------------------------------------------- table */

static void print_reasons(const rg_release_result *r)
{
    static const char *const words[] = {
        [RG_DECISION_RELEASE] =
            "( O ) RELEASE: all that the rules require is shown to be within its limits\n",
        [RG_DECISION_HOLD_OUT] =
            "( / ) HOLD, because something is shown to be out of its limits:\n",
        [RG_DECISION_HOLD_OPEN] =
            "( ? ) HOLD, because something required is not measured or undecided:\n"};
    char text[RG_RELEASE_REASON];
    fputs(words[r->decision], stdout);
    for (int i = 0; i < r->reasons; i++) {
        fputs("    - ", stdout);
        rg_archive_print(rg_release_reason(r, i, text), 0, false);
        putchar('\n');
    }
}

static void print_number(const rg_setup_sheet *s, const rg_release_item *item)
{
    char text[96] = "";
    bool pad = item->kind == RG_ITEM_SEAL;
    if (pad && isfinite(item->value))
        snprintf(text, sizeof text, "%.3f +- %.3f mm at %.0f", item->value,
                 s->coverage_factor * item->u, item->bearing_deg);
    else if (pad && item->state != RG_ITEM_NOT_MEASURED)
        snprintf(text, sizeof text, "no gap measured");
    else if (isfinite(item->value) && isfinite(item->u))
        snprintf(text, sizeof text, "%.6g +- %.3g %s", item->value, s->coverage_factor * item->u,
                 item->unit);
    else if (isfinite(item->value))
        snprintf(text, sizeof text, "%.6g %s, no U", item->value, item->unit);
    rg_archive_print(text, 24, true);
}

static void print_finger(const rg_release_item *item)
{
    static const char *const words[] = {[RG_TOUCH_UNSTATED] = "finger unstated",
                                        [RG_TOUCH_LIGHT] = "light finger",
                                        [RG_TOUCH_FIRM] = "firm finger",
                                        [RG_TOUCH_GRAMS] = ""};
    if (item->state == RG_ITEM_NOT_MEASURED)
        return;
    if (item->touch == RG_TOUCH_GRAMS)
        printf("  %.4g g", item->grams);
    else
        printf("  %s", words[item->touch]);
}

static void print_item(const rg_setup_sheet *s, const rg_release_item *item)
{
    printf("  %s ", rg_item_state_sign(item->state));
    rg_archive_print(item->name, 28, true);
    putchar(' ');
    print_number(s, item);
    printf(" %-13s", rg_item_state_name(item->state));
    if (item->kind == RG_ITEM_SEAL)
        print_finger(item);
    if (item->with[0]) {
        fputs("  with ", stdout);
        rg_archive_print(item->with, 0, false);
    }
    putchar('\n');
    if (item->remark[0]) {
        fputs("        . ", stdout);
        rg_archive_print(item->remark, 0, false);
        putchar('\n');
    }
}

static void print_kind(const rg_setup_sheet *s, rg_item_kind kind, const char *heading)
{
    bool begun = false;
    for (int i = 0; i < s->result->items; i++) {
        const rg_release_item *item = &s->result->item[i];
        if (item->kind != kind)
            continue;
        if (!begun)
            printf("%s\n", heading);
        begun = true;
        print_item(s, item);
    }
}

static void print_change(const rg_setup_sheet *s, const rg_service_line *l)
{
    static const char *const sign[] = {[RG_SERVICE_UNKNOWN] = "( ? )",
                                       [RG_SERVICE_SAME] = "( = )",
                                       [RG_SERVICE_MORE] = "( + )",
                                       [RG_SERVICE_LESS] = "( - )"};
    char day[RG_DATE_TEXT];
    rg_date_format(l->day, day);
    printf("  %s ", sign[l->state]);
    rg_archive_print(l->name, 28, true);
    printf(" visit %d, %s  %-16s", l->sequence, day, rg_service_state_name(l->state, l->pad));
    if (isfinite(l->change) && isfinite(l->u_change))
        printf(l->pad ? " %+.3f +- %.3f %s" : " %+.6g +- %.3g %s", l->change,
               s->coverage_factor * l->u_change, l->unit);
    putchar('\n');
}

static void print_sheet(const rg_setup_sheet *s)
{
    char day[RG_DATE_TEXT];
    rg_date_format(s->day, day);
    printf("%s  %s %s, judged for %s\n", s->bag, s->time, s->occasion, day);
    print_reasons(s->result);
    print_kind(s, RG_ITEM_SEAL, "pads");
    print_kind(s, RG_ITEM_VALUE, "values");
    print_kind(s, RG_ITEM_BALANCE, "balance");
    print_kind(s, RG_ITEM_CHECK, "checks");
    print_kind(s, RG_ITEM_FURTHER, "keys, fingers and heights");
    if (s->lines > 0)
        puts("changed since an earlier visit");
    for (int i = 0; i < s->lines; i++)
        print_change(s, &s->line[i]);
}

/* ---------------------------------------------------------------- files */

static rg_code write_file(const char *folder, const char *name, const void *data, size_t size,
                          rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    int n = snprintf(path, sizeof path, "%s/%s", folder, name);
    if (n < 0 || (size_t)n >= sizeof path)
        return rg_fail(err, RG_CANT_CREATE, "%.80s...: the path is too long", folder);
    return rg_file_write(path, data, size, err);
}

static rg_code write_picture(const rg_setup_sheet *s, const char *folder, rg_picture_format format,
                             int page, int *pages, rg_error *err)
{
    char name[48];
    rg_bytes bytes;
    rg_code code = rg_draw_setup(s, format, page, pages, &bytes, err);
    if (code != RG_OK)
        return code;
    if (format == RG_PICTURE_PDF)
        snprintf(name, sizeof name, "setup-sheet.pdf");
    else
        snprintf(name, sizeof name, "setup-sheet-%d.%s", page + 1, rg_picture_suffix(format));
    code = write_file(folder, name, bytes.data, bytes.size, err);
    free(bytes.data);
    return code;
}

/* setup.json last: where it is, everything is. */
static rg_code write_all(const rg_setup_sheet *s, const char *out, const char *json,
                         char folder[RG_ARCHIVE_PATH], rg_error *err)
{
    int pages = 0;
    int n = snprintf(folder, RG_ARCHIVE_PATH, "%s/%s/%04d", out, s->serial, s->sequence);
    if (n < 0 || n >= RG_ARCHIVE_PATH - 64)
        return rg_fail(err, RG_CANT_CREATE, "%.80s...: the path is too long", out);
    rg_code code = rg_folder_make(folder, err);
    if (code == RG_OK)
        code = write_picture(s, folder, RG_PICTURE_PDF, 0, &pages, err);
    for (int i = 0; code == RG_OK && i < pages; i++) {
        code = write_picture(s, folder, RG_PICTURE_PNG, i, NULL, err);
        if (code == RG_OK)
            code = write_picture(s, folder, RG_PICTURE_SVG, i, NULL, err);
    }
    return code == RG_OK ? write_file(folder, "setup.json", json, strlen(json), err) : code;
}

static rg_code write_out(const job *j, const rg_setup_made *made, const char *json,
                         const char *work, rg_error *err)
{
    char folder[RG_ARCHIVE_PATH];
    if (!j->out)
        return RG_OK;
    rg_code code = write_all(&made->sheet, j->out, json, folder, err);
    if (code == RG_OK)
        code = rg_setup_draw_work(made->workup, made->sheet.serial, folder, err);
    if (code == RG_OK)
        code = write_file(folder, "work.json", work, strlen(work), err);
    if (code == RG_OK && !j->json)
        printf("    = %s/setup-sheet.pdf\n", folder);
    return code;
}

static rg_code answer(const job *j, const rg_setup_made *made, rg_error *err)
{
    char *json = NULL, *work = NULL;
    rg_code code = rg_setup_report(&made->sheet, &json, err);
    if (code == RG_OK)
        code = rg_workup_json(made->workup, made->sheet.serial, &j->workup, &work, err);
    if (code == RG_OK && j->json)
        code = rg_setup_print_json(json, work, err);
    else if (code == RG_OK) {
        print_sheet(&made->sheet);
        rg_setup_print_work(made->workup);
    }
    if (code == RG_OK)
        code = write_out(j, made, json, work, err);
    free(json);
    free(work);
    return code;
}

/* ---------------------------------------------------------------- whole */

static rg_code run(job *j, const rg_archive *archive, const char *word, int *exit_code,
                   rg_error *err)
{
    static const int exits[] = {
        [RG_DECISION_RELEASE] = 0, [RG_DECISION_HOLD_OUT] = 1, [RG_DECISION_HOLD_OPEN] = 2};
    rg_setup_made made;
    rg_code code = load(j, archive, word, err);
    if (code != RG_OK)
        return code;
    const rg_setup_request q = {.archive = archive,
                                .bag = j->bag.bag,
                                .record = &j->bag.record,
                                .map = j->bag.map,
                                .values = j->values_file ? &j->values : &j->bag.record,
                                .values_name = j->values_file ? j->values_file : "as archived",
                                .instrument = &j->bag.instrument,
                                .rules = &j->rules,
                                .change = &j->settings.change,
                                .workup = &j->workup,
                                .day = j->day};
    code = rg_setup_make(&q, &made, err);
    if (code != RG_OK)
        return code;
    *exit_code = exits[made.result.decision];
    code = answer(j, &made, err);
    rg_setup_made_free(&made);
    return code;
}

int rg_cmd_setup(int argc, char **argv)
{
    rg_error err = {0};
    rg_archive archive;
    int count = 0, exit_code = 0;
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    job *j = rg_alloc(1, sizeof *j);
    rg_code code = operands && j ? RG_OK : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK) {
        *j = (job){.archive = "archive"};
        code = read_options(argc, argv, j, operands, &count, &err);
    }
    if (code == RG_OK)
        code = rg_archive_read(&archive, j->archive, &err);
    if (code == RG_OK) {
        code = run(j, &archive, operands[0], &exit_code, &err);
        rg_archive_close(&archive);
    }
    if (j) {
        rg_setup_rules_free(&j->rules);
        rg_workup_settings_free(&j->workup);
        rg_setup_bag_free(&j->bag);
        rg_record_free(&j->values);
    }
    free(j);
    free(operands);
    return rg_archive_answer(code, exit_code, &err);
}
