/*
 * archive_command.c - what the verbs of rimglow archive share.
 */
#include "archive_command.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "rimglow/calib_file.h"
#include "rimglow/command.h"
#include "rimglow/date.h"
#include "rimglow/file.h"
#include "rimglow/text.h"

enum { DAY = 86400 };

void rg_choosing_options(rg_choosing *c, rg_option option[RG_CHOICE_OPTIONS])
{
    const struct {
        const char *name;
        const char **value;
    } row[RG_CHOICE_OPTIONS] = {
        {"serial", &c->serial},     {"model", &c->model},     {"technician", &c->technician},
        {"occasion", &c->occasion}, {"station", &c->station}, {"verdict", &c->verdict},
        {"pad", &c->pad},           {"since", &c->since},     {"until", &c->until},
    };
    for (int i = 0; i < RG_CHOICE_OPTIONS; i++)
        option[i] = (rg_option){.name = row[i].name, .kind = RG_OPTION_TEXT, .value = row[i].value};
}

static rg_code read_date(const char *option, const char *text, int *day, rg_error *err)
{
    if (rg_date_parse(text, day))
        return RG_OK;
    return rg_fail(err, RG_USAGE, "--%s %s: a date like 2026-11-25 is needed", option, text);
}

rg_code rg_choosing_query(const rg_choosing *c, rg_catalogue_query *q, rg_error *err)
{
    int day;
    rg_code code = RG_OK;
    *q = (rg_catalogue_query){.serial = c->serial,
                              .model = c->model,
                              .technician = c->technician,
                              .occasion = c->occasion,
                              .station = c->station,
                              .verdict = c->verdict,
                              .pad = c->pad};
    rg_verdict verdict;
    if (c->verdict && !rg_verdict_parse(c->verdict, &verdict))
        return rg_fail(err, RG_USAGE, "--verdict %s: choose one of sealed, leaking, undecided",
                       c->verdict);
    if (c->since) {
        code = read_date("since", c->since, &day, err);
        q->since = code == RG_OK ? (int64_t)day * DAY : 0;
    }
    if (code == RG_OK && c->until) {
        code = read_date("until", c->until, &day, err);
        q->until = code == RG_OK ? ((int64_t)day + 1) * DAY : 0;
    }
    return code;
}

int rg_archive_answer(rg_code code, int exit_code, const rg_error *err)
{
    if (code != RG_OK)
        return rg_command_fail((int)code, "%s", err->text);
    if (fflush(stdout) != 0 || ferror(stdout))
        return rg_command_fail(RG_IO, "standard output cannot be written; is the disk full?");
    return exit_code;
}

const char *rg_word_sign(const char *verdict)
{
    rg_verdict v = RG_VERDICT_UNDECIDED;
    rg_verdict_parse(verdict, &v);
    return rg_verdict_sign(v);
}

void rg_archive_when(int64_t time, char text[32])
{
    time_t t = (time_t)time;
    struct tm utc;
    if (!gmtime_r(&t, &utc) || strftime(text, 32, "%Y-%m-%d %H:%M", &utc) == 0)
        snprintf(text, 32, "?");
}

/* Bytes of the UTF-8 character at text; 1 for a byte that begins none. */
static int character(const char *text)
{
    unsigned char c = (unsigned char)text[0];
    int n = c < 0xc2 ? 1 : c < 0xe0 ? 2 : c < 0xf0 ? 3 : c < 0xf5 ? 4 : 1;
    for (int i = 1; i < n; i++)
        if (((unsigned char)text[i] & 0xc0) != 0x80)
            return 1;
    return n;
}

void rg_archive_print(const char *text, int width, bool pad)
{
    int printed = 0;
    while (*text && (width == 0 || printed < width)) {
        int n = character(text);
        unsigned char c = (unsigned char)text[0];
        /* A lone byte above 127 and the C1 controls (U+0080 to U+009F) go as '?'. */
        bool control = (n == 1 && (c < 32 || c >= 127)) ||
                       (n == 2 && c == 0xc2 && (unsigned char)text[1] < 0xa0);
        if (control)
            putchar('?');
        else
            fwrite(text, 1, (size_t)n, stdout);
        text += n;
        printed++;
    }
    for (; pad && printed < width; printed++)
        putchar(' ');
}

void rg_archive_file_name(const char *text, char name[RG_NAME_SIZE])
{
    size_t n = 0;
    for (; text[n] && n < 100; n++)
        name[n] =
            isalnum((unsigned char)text[n]) || (n > 0 && strchr("-.", text[n])) ? text[n] : '_';
    name[n] = 0;
}

rg_code rg_archive_settings_load(const char *given, rg_archive_settings *settings, rg_error *err)
{
    rg_calib_file calib;
    rg_code code = rg_calib_file_read("archive.ini", given, "settings", &calib, err);
    if (code == RG_OK)
        code = rg_archive_settings_parse(calib.path, calib.text, calib.size, settings, err);
    free(calib.text);
    return code;
}

rg_code rg_archive_pictures(const char *folder, const char *name, rg_archive_draw *draw,
                            const void *args, rg_error *err)
{
    static const rg_picture_format format[] = {RG_PICTURE_PNG, RG_PICTURE_SVG};
    char path[RG_ARCHIVE_PATH];
    rg_code code = rg_folder_make(folder, err);
    for (int i = 0; code == RG_OK && i < 2; i++) {
        rg_bytes bytes = {0};
        int n = snprintf(path, sizeof path, "%s/%s.%s", folder, name, rg_picture_suffix(format[i]));
        if (n < 0 || (size_t)n >= sizeof path)
            return rg_fail(err, RG_CANT_CREATE, "%.80s...: the path is too long", path);
        code = draw(args, format[i], &bytes, err);
        if (code == RG_OK)
            code = rg_file_write(path, bytes.data, bytes.size, err);
        free(bytes.data);
    }
    return code;
}
