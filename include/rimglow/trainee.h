/*
 * trainee.h - what trainees answered, kept on this computer alone: one file for each trainee, one line for each case.
 *
 * FOLDER/SLUG-DIGITS.jsonl, SLUG the name's ASCII letters and digits with '-' for the rest, DIGITS the first eight hex
 * digits of the SHA-256 of the name: different names never share a file, and no name leaves the folder. JSON lines (one
 * object, one line, UTF-8):
 *
 *   {"format": "rimglow trainee", "version": 1, "trainee": NAME}
 *   {"time_s", "sitting_s": POSIX seconds, UTC,
 *    "exam": null | {id, seed, cases, number, pass_share},
 *    "picture": null | NAME,
 *    "case": null | {version, seed, level, cause, level_mm, tilt_mm, tilt_bearing_deg, saddle_mm, saddle_bearing_deg,
 *      crease_mm, crease_bearing_deg, crease_half_width_deg, facing, views [[bearing_deg, elevation_deg]], lamp_uneven,
 *      lamp_bearing_deg, dim, glare, streaks_deg [], noise},
 *    "truth": {cause, width_class, widest_mm, where, bearings_deg [], extent_deg, open_deg, tolerance_deg, hides_deg,
 *      and with a picture U_mm, also_below, also_above},
 *    "answer": {where, bearing_deg null | degrees, width_class, cause},
 *    "score": {bearing, width, cause, error_deg null | degrees, class_distance},
 *    "tool": null | {judged, where, bearing_deg, width_class, cause}}
 *
 * Seeds and noise are decimal texts, since 64 bits do not fit into a number of JSON; numbers have 17 digits, so what is
 * read back is what was written. A picture has no case, a case no picture. A picture is an archived case by its name (pairs.h): no serial and no
 * day of it is kept, it is no part of an examination, and its truth is the tool's own, so that "tool" is null. The score must follow from truth and
 * answer. Keys that are not listed are ignored.
 *
 * A line is appended by one write and an fsync, under flock(). A line that an interruption has cut short is told and, before
 * the next line is written, moved to FILE.torn: nothing is lost. The clock is the caller's.
 */
#ifndef RIMGLOW_TRAINEE_H
#define RIMGLOW_TRAINEE_H

#include <stddef.h>

#include "rimglow/quiz.h"

enum {
    RG_TRAINEE_MAX_BYTES = 32 * 1024 * 1024, /* of a file */
    RG_TRAINEE_LINE = 16 * 1024,
    RG_TRAINEE_ENTRIES_MAX = 20000,
    RG_TRAINEE_FILE = 80,
    RG_TRAINEES_MAX = 500 /* in a folder */
};

typedef struct rg_trainee {
    char name[RG_QUIZ_NAME];
    int count;
    rg_quiz_entry *entry; /* owned, in the order of the file */
    size_t torn;          /* bytes of a last line that is not whole */
} rg_trainee;

/* RG_USAGE for a name that is none: empty, of blanks alone or between blanks, longer than RG_QUIZ_NAME - 1 bytes, not UTF-8,
 * with control characters or with marks that turn the direction of writing. */
rg_code rg_trainee_check_name(const char *name, rg_error *err);
/* Name of the file; the name has passed the check. */
void rg_trainee_file(const char *name, char file[RG_TRAINEE_FILE]);

/* A whole file. RG_BAD_DATA names line and key. On failure *trainee owns nothing. */
rg_code rg_trainee_parse(const char *label, const char *text, size_t size, rg_trainee *trainee,
                         rg_error *err);
void rg_trainee_free(rg_trainee *trainee);
/* The line of an entry with its newline, owned by the caller (free()). RG_BAD_DATA where it would not be read back. */
rg_code rg_trainee_line(const rg_quiz_entry *entry, char **line, rg_error *err);
/* The first line. */
rg_code rg_trainee_head(const char *name, char **line, rg_error *err);

/* Nobody by that name: RG_OK and no entries. */
rg_code rg_trainee_read(const char *folder, const char *name, rg_trainee *trainee, rg_error *err);
/* Makes folder and file where they are missing. On return the line is on the disk, or nothing of it is in the file.
 * *aside (may be NULL): bytes of a torn line that went to FILE.torn. */
rg_code rg_trainee_append(const char *folder, const char *name, const rg_quiz_entry *entry,
                          size_t *aside, rg_error *err);
/* All trainees of a folder by file name, owned by the caller ([count], each by rg_trainee_free, then free()). A folder
 * that is not there has none. A file that cannot be used is an error that names it. */
rg_code rg_trainee_all(const char *folder, rg_trainee **trainees, int *count, rg_error *err);

#endif
