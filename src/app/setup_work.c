/*
 * setup_work.c - the work-up of rimglow setup shown.
 */
#include "setup_work.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "archive_command.h"
#include "rimglow/draw_heights.h"
#include "rimglow/draw_repeat.h"
#include "rimglow/text.h"

/* ---------------------------------------------------------------- terminal */

enum { COLUMNS = 78, MARGIN = 8 };

/* Broken between words. */
static void print_wrapped(const char *text)
{
    char word[RG_ERROR_TEXT];
    int at = COLUMNS;
    for (const char *from = text; *from;) {
        size_t n = strcspn(from, " ");
        snprintf(word, sizeof word, "%.*s", (int)(n < 400 ? n : 400), from);
        if (at + 1 + (int)n > COLUMNS) {
            printf(from == text ? "      - " : "\n%*s", from == text ? 0 : MARGIN, "");
            at = MARGIN;
        } else {
            putchar(' ');
            at++;
        }
        rg_archive_print(word, 0, false);
        at += (int)n;
        from += n;
        from += strspn(from, " ");
    }
    putchar('\n');
}

typedef struct printing {
    bool begun;
    char subject[RG_WORKUP_SUBJECT];
} printing;

static void print_sentence(void *context, const char *subject, const char *sentence)
{
    printing *p = context;
    if (!p->begun)
        puts("the work, worst leak first");
    p->begun = true;
    if (strcmp(p->subject, subject) != 0) {
        fputs("    ", stdout);
        rg_archive_print(subject, 0, false);
        putchar('\n');
    }
    rg_copy_text(p->subject, sizeof p->subject, subject);
    print_wrapped(sentence);
}

void rg_setup_print_work(const rg_workup *workup)
{
    printing p = {0};
    rg_workup_tell(workup, print_sentence, &p);
}

rg_code rg_setup_print_json(const char *sheet, const char *work, rg_error *err)
{
    json_t *whole = json_loads(sheet, 0, NULL), *part = json_loads(work, 0, NULL);
    bool joined = whole && part && json_object_set(whole, "work", part) == 0;
    char *text = joined ? json_dumps(whole, JSON_INDENT(2) | JSON_REAL_PRECISION(9)) : NULL;
    json_decref(whole);
    json_decref(part);
    if (!text)
        return rg_fail(err, RG_INTERNAL, "the sheet and its work cannot be joined as JSON");
    puts(text);
    free(text);
    return RG_OK;
}

/* ---------------------------------------------------------------- pictures */

static rg_code draw_heights(const void *args, rg_picture_format format, rg_bytes *out,
                            rg_error *err)
{
    return rg_draw_heights(args, format, out, err);
}

static rg_code draw_repeat(const void *args, rg_picture_format format, rg_bytes *out, rg_error *err)
{
    return rg_draw_repeat(args, format, out, err);
}

static rg_code draw_closings(const rg_workup *w, int k, const char *serial, const char *folder,
                             rg_error *err)
{
    const rg_workup_pad *p = &w->pad[k];
    const rg_draw_repeat_args args = {serial, p->pad->name, p->closing, &p->repeat,
                                      w->coverage_factor};
    char pad[RG_NAME_SIZE], name[RG_NAME_SIZE + 16];
    rg_archive_file_name(p->pad->name, pad);
    snprintf(name, sizeof name, "closings-%s", pad);
    return rg_archive_pictures(folder, name, draw_repeat, &args, err);
}

rg_code rg_setup_draw_work(const rg_workup *w, const char *serial, const char *folder,
                           rg_error *err)
{
    rg_code code = RG_OK;
    for (int k = 0; code == RG_OK && k < w->instrument->pads; k++)
        if (w->pad[k].has_repeat)
            code = draw_closings(w, k, serial, folder, err);
    if (code != RG_OK || !w->has_heights)
        return code;
    const rg_draw_heights_args args = {.key = w->height,
                                       .heights = &w->heights,
                                       .coverage_factor = w->coverage_factor,
                                       .serial = serial,
                                       .instrument = w->instrument->name};
    return rg_archive_pictures(folder, "heights", draw_heights, &args, err);
}
