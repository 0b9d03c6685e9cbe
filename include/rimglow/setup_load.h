/*
 * setup_load.h - a set-up sheet from an inspection, archived or about to be, its rules, and the
 * earlier visits of the same serial.
 *
 * Days: a sweep is as old as its [taken] date says, else as the day for which its light was
 * judged, which is the day of measuring; a value or a check as its own date, else as the visit.
 */
#ifndef RIMGLOW_SETUP_LOAD_H
#define RIMGLOW_SETUP_LOAD_H

#include "rimglow/archive.h"
#include "rimglow/config_values.h"
#include "rimglow/setup_sheet.h"
#include "rimglow/workup.h"

/* Rules as they were read. */
typedef struct rg_setup_rules {
    char file[RG_RELEASE_NAME]; /* name without its folders */
    char sha256[RG_DIGEST_TEXT];
    char *text; /* owned */
    size_t size;
    rg_release_rules rules;
} rg_setup_rules;
/* given: the file, or NULL for calib/release.ini (calib_file.h). */
rg_code rg_setup_rules_load(const char *given, rg_setup_rules *rules, rg_error *err);
void rg_setup_rules_free(rg_setup_rules *rules);

/* Values and checks as a record holds them; the record must have none. RG_INTERNAL: no memory. */
rg_code rg_setup_take_values(const rg_measured_value *value, int values, rg_record *record,
                             rg_error *err);

typedef struct rg_setup_request {
    const rg_archive *archive;     /* where the earlier visits are; NULL: none are looked for */
    const char *bag;               /* "SERIAL/NNNN-..." */
    const rg_record *record;       /* of this visit */
    const rg_map_file *const *map; /* [record->sweeps] */
    const rg_record *values;       /* whose set-up values and checks count */
    const char *values_name;
    const rg_instrument *instrument;
    const rg_setup_rules *rules;
    const rg_change_options *change;  /* NULL: pads are not compared with earlier visits */
    const rg_workup_settings *workup; /* NULL: no section but pads, values and checks is judged */
    int day;                          /* for which it is judged (date.h) */
} rg_setup_request;

typedef struct rg_setup_made {
    rg_setup_sheet sheet; /* points into what follows and into the request */
    rg_release_result result;
    rg_workup *workup; /* NULL where the request has no settings for it */
    void *owned;
} rg_setup_made;
rg_code rg_setup_make(const rg_setup_request *request, rg_setup_made *made, rg_error *err);
void rg_setup_made_free(rg_setup_made *made);

/* Everything of an archived inspection that a request needs. */
typedef struct rg_setup_bag {
    char bag[RG_ARCHIVE_BAG];
    rg_record record;
    rg_instrument instrument;
    rg_map_file *maps;       /* owned */
    const rg_map_file **map; /* owned */
} rg_setup_bag;
/* instrument: as in the bag. On failure *bag owns nothing. */
rg_code rg_setup_bag_read(const rg_archive *archive, const char *name, rg_setup_bag *bag,
                          rg_error *err);
void rg_setup_bag_free(rg_setup_bag *bag);

/* Where a set-up sheet stands in a bag. */
#define RG_SETUP_FOLDER "data/setup"
#define RG_SETUP_VALUES RG_SETUP_FOLDER "/setup.ini"
#define RG_SETUP_RULES  RG_SETUP_FOLDER "/release.ini"
#define RG_SETUP_JSON   RG_SETUP_FOLDER "/setup.json"
#define RG_SETUP_PDF    RG_SETUP_FOLDER "/setup-sheet.pdf"
/* Beside them the settings of the work-up, by their own names, and what came of it. */
#define RG_SETUP_WORK RG_SETUP_FOLDER "/work.json"

/* Does the sheet in a bag still follow from the bag's own seal maps, values and rules, and the
 * earlier visits? why gets what does not hold, "" when all does or there is no sheet; other_version
 * whether another version of the program wrote it. Fails with RG_INTERNAL only. */
enum { RG_SETUP_WHY = 400 };
rg_code rg_setup_recheck(const rg_archive *archive, const char *bag, char why[RG_SETUP_WHY],
                         bool *other_version, rg_error *err);

#endif
