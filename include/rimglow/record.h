/*
 * record.h - data/inspection.json: what an archived inspection is, in the words of the
 * archive: who, when, why, which sweeps, and which bag came before.
 *
 * {"format": "rimglow inspection record", "version": 1, software, bag, sequence, serial, model,
 *  time "YYYY-MM-DDTHH:MM:SSZ", technician, occasion, note, verdict, reasons[], pads_of_model,
 *  previous null | {bag, manifest_sha256, tagmanifest_sha256},
 *  sweeps[] of {name, pad, verdict, finger, grams, taken null | "YYYY-MM-DD",
 *    judged "YYYY-MM-DD", instrument_file, station_file},
 *  setup[] of {quantity, value, u, unit, with, remark, measured null | "YYYY-MM-DD"},
 *  checks[] of {name, done null | true | false, remark, checked null | "YYYY-MM-DD"}}
 *
 * remark and measured of a set-up value, and checks, are missing from older records, which then
 * say "", null and []. done is null where only a remark was written.
 *
 * grams is null unless finger is "grams"; numbers have 12 significant digits, u is null where it is
 * not stated. bag, serial and sweep names are safe as names of folders (rg_is_safe_name) and
 * sweep names differ; texts are UTF-8 without control characters (a note may hold
 * newlines and tabs). Keys that are not listed are ignored, so version rises only when a
 * listed key changes its meaning.
 *
 * The sweep NAME's own files are data/sweeps/NAME/, its results data/results/NAME/;
 * instrument_file and station_file are paths of the bag. judged: the day for which the validity of
 * the light's calibration was judged. Everything in the index comes from this file, the seal maps
 * and the bag's manifests.
 */
#ifndef RIMGLOW_RECORD_H
#define RIMGLOW_RECORD_H

#include <stdint.h>

#include "rimglow/digest.h"
#include "rimglow/sealmap.h"

enum {
    RG_RECORD_NAME = 128,
    RG_RECORD_NOTE = 1024,
    RG_RECORD_SWEEPS_MAX = 256,
    RG_RECORD_SETUP_MAX = 256,
    RG_RECORD_CHECKS_MAX = 256,
    RG_RECORD_REMARK = 192,
    RG_RECORD_TIME = 24,
    RG_RECORD_MAX_BYTES = 4 * 1024 * 1024
};

typedef struct rg_record_sweep {
    char name[RG_RECORD_NAME], pad[RG_RECORD_NAME];
    rg_verdict verdict;
    char finger[16]; /* light, firm, unstated, grams */
    double grams;    /* NAN unless finger is grams */
    int taken_day;   /* date.h; -1: not stated */
    int judged_day;
    char instrument_file[256], station_file[256];
} rg_record_sweep;

/* A measured set-up value, e.g. mass 2431 g. */
typedef struct rg_record_value {
    char quantity[64], unit[24],
        with[RG_RECORD_NAME]; /* with: the instrument used; "" not stated */
    double value, u;          /* u: standard uncertainty; NAN not stated */
    char remark[RG_RECORD_REMARK];
    int measured_day; /* date.h; -1: at this visit */
} rg_record_value;

/* A thing that somebody looked after, or a remark on it. */
typedef struct rg_record_check {
    char name[64], remark[RG_RECORD_REMARK];
    bool stated, done; /* stated false: a remark alone */
    int checked_day;   /* date.h; -1: at this visit */
} rg_record_check;

typedef struct rg_record {
    char software[64], bag[64], serial[RG_RECORD_NAME], model[RG_RECORD_NAME];
    int sequence; /* 1 is the first inspection of the serial */
    int64_t time; /* POSIX seconds, UTC */
    char technician[RG_RECORD_NAME], occasion[64], note[RG_RECORD_NOTE];
    rg_verdict verdict;
    int reasons;
    char reason[RG_REASONS_MAX][RG_REASON_SIZE];
    int pads_of_model;
    char previous_bag[64]; /* "" for the first */
    rg_digest previous_manifest, previous_tagmanifest;
    int sweeps;
    rg_record_sweep *sweep; /* owned */
    int values;
    rg_record_value *value; /* owned */
    int checks;
    rg_record_check *check; /* owned */
} rg_record;

/* Indented JSON, owned by the caller (free()). The same record gives the same bytes. What
 * rg_record_parse would refuse is refused here already, with RG_BAD_DATA and the key; only
 * reasons are mended ('?' for what cannot stand in them), since they may quote file names. */
rg_code rg_record_text(const rg_record *record, char **text, rg_error *err);
/* Checked at the door; label names the file. On failure *record owns nothing. */
rg_code rg_record_parse(const char *label, const char *text, size_t size, rg_record *record,
                        rg_error *err);
void rg_record_free(rg_record *record);

/* "2026-11-25T10:15:00Z" (RFC 3339, section 5.6); years 1970 to 9999, else "?". POSIX seconds
 * have no leap seconds, so second 60 is refused, as are fractions and offsets. */
void rg_record_time_format(int64_t time, char text[RG_RECORD_TIME]);
bool rg_record_time_parse(const char *text, int64_t *time);

#endif
