/*
 * archive_command.h - what the verbs of rimglow archive share.
 */
#ifndef RIMGLOW_APP_ARCHIVE_COMMAND_H
#define RIMGLOW_APP_ARCHIVE_COMMAND_H

#include "rimglow/archive.h"
#include "rimglow/config_archive.h"
#include "rimglow/draw.h"
#include "rimglow/options.h"

/* Options by which inspections are chosen; NULL: not given. */
enum { RG_CHOICE_OPTIONS = 9 };
typedef struct rg_choosing {
    const char *serial, *model, *technician, *occasion, *station, *verdict, *pad, *since, *until;
} rg_choosing;
void rg_choosing_options(rg_choosing *choosing, rg_option option[RG_CHOICE_OPTIONS]);
/* Dates become seconds; until is the whole of its day. RG_USAGE. */
rg_code rg_choosing_query(const rg_choosing *choosing, rg_catalogue_query *query, rg_error *err);

/* Prints the error, or flushes standard output; the exit code. */
int rg_archive_answer(rg_code code, int exit_code, const rg_error *err);
/* "( O )" "( / )" "( ? )" of a verdict's word. */
const char *rg_word_sign(const char *verdict);
/* "2026-11-25 10:15" (UTC). */
void rg_archive_when(int64_t time, char text[32]);
/* Prints a text so that a terminal shows it: control characters become '?'; cut to width characters
 * (0: whole), padded where pad is set. */
void rg_archive_print(const char *text, int width, bool pad);
/* Text of a file name: everything but letters, digits, '-', '.' becomes '_'. */
void rg_archive_file_name(const char *text, char name[RG_NAME_SIZE]);

rg_code rg_archive_settings_load(const char *given, rg_archive_settings *settings, rg_error *err);

typedef rg_code rg_archive_draw(const void *args, rg_picture_format format, rg_bytes *out,
                                rg_error *err);
/* FOLDER/NAME.png and .svg. */
rg_code rg_archive_pictures(const char *folder, const char *name, rg_archive_draw *draw,
                            const void *args, rg_error *err);

#endif
