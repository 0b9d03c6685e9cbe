/*
 * workup.h - an instrument's sweeps taken together: why each pad leaks and what to do, how cups of one key
 * close, what a finger's force and a loose key do, how high the keys stand, and which notes suffer. Joins
 * diagnosis.h, flow.h, notes.h, regulation.h, force.h, repeat.h and heights.h.
 *
 * Which sweep counts for what; sweeps are given in the order in which they were taken, and `key` is the pad
 * whose key was pressed:
 *   diagnosis, flow   of a pad: its last sweep by its own key under anything but a firm finger, else its
 *                     last one
 *   regulation        of a key: the last sweep of each cup that was pressed by that key
 *   finger force      of a pad: all its sweeps by its own key, where fingers differ
 *   repeatability     of a pad: all its sweeps by its own key under the finger of the one that counts,
 *                     where there are three or more
 *   key heights       the last sweep of each pad that measured an opening
 */
#ifndef RIMGLOW_WORKUP_H
#define RIMGLOW_WORKUP_H

#include "rimglow/config.h"
#include "rimglow/config_keys.h"
#include "rimglow/diagnosis.h"
#include "rimglow/flow.h"
#include "rimglow/heights.h"
#include "rimglow/mapfile.h"
#include "rimglow/release.h"

/* ---------------------------------------------------------------- settings */

enum { RG_WORKUP_FILES = 4 };

typedef struct rg_workup_settings {
    rg_diagnosis_options diagnosis;
    rg_flow_options flow;
    rg_keys_settings keys;
    rg_heights_options heights;
    struct rg_workup_file { /* as read: diagnosis.ini, flow.ini, keys.ini, heights.ini */
        const char *name;
        char *text; /* owned */
        size_t size;
    } file[RG_WORKUP_FILES];
} rg_workup_settings;

/* folder: where the four files stand; NULL: calib (calib_file.h). On failure *settings owns nothing. */
rg_code rg_workup_settings_load(const char *folder, rg_workup_settings *settings, rg_error *err);
void rg_workup_settings_free(rg_workup_settings *settings);

/* ---------------------------------------------------------------- results */

typedef struct rg_workup_sweep {
    const char *pad;        /* borrowed */
    const rg_map_file *map; /* borrowed */
} rg_workup_sweep;

typedef struct rg_workup_pad {
    const rg_pad *pad;
    int sweep; /* that diagnosis and flow are of; -1: none of its seal */
    bool diagnosed;
    rg_diagnosis diagnosis;
    rg_sentences sentences;
    bool has_flow;
    rg_pad_flow flow;
    bool has_force;
    rg_force force;
    bool has_repeat;
    rg_repeat repeat;
    rg_seating *closing; /* owned; [repeat.closings] that it took */
    int opened;          /* sweep that measured its opening; -1: none */
} rg_workup_pad;

typedef struct rg_workup_key {
    int driver; /* pad */
    rg_regulation regulation;
} rg_workup_key;

typedef struct rg_workup {
    const rg_instrument *instrument; /* borrowed */
    double coverage_factor;          /* of the maps */
    double loose_tilt_mm;            /* largest scatter of a tilt that is no loose key */
    rg_workup_pad *pad;              /* owned; [instrument->pads], in body order */
    int keys;
    rg_workup_key *key; /* owned; those of which a driven cup was swept by that key */
    rg_key_link link[RG_KEY_LINKS_MAX];
    int links;
    bool has_heights; /* an opening was measured */
    rg_height_key height[RG_HEIGHTS_MAX];
    rg_heights heights;
    /* Notes: none where the instrument's lists cannot be read, notes_fault says why. */
    char notes_fault[RG_ERROR_TEXT];
    rg_hole hole[RG_HOLES_MAX];
    rg_instrument_flow flow;
    int ranks; /* leaks, largest first */
    rg_leak_rank rank[RG_HOLES_MAX];
    int losses;
    rg_note_loss loss[RG_PITCHES];
    int breaths; /* 0 without an opening */
    rg_note_breath breath[RG_PITCHES];
} rg_workup;

/* Sweeps of pads that the instrument has not are left out. *workup: free with rg_workup_free; NULL on
 * failure. Everything in it stays valid as long as instrument and sweeps do. */
rg_code rg_workup_make(const rg_instrument *instrument, const rg_workup_sweep *sweep, int sweeps,
                       const rg_workup_settings *settings, rg_workup **workup, rg_error *err);
void rg_workup_free(rg_workup *workup);

/* ---------------------------------------------------------------- judging and showing */

/* For release.h: sections "regulation", "finger force", "repeatability" and "key heights", each with an
 * item for every link or pad that was measured. item: [RG_WORKUP_ITEMS]; section: [4]. */
enum { RG_WORKUP_SECTIONS = 4, RG_WORKUP_ITEMS = 3 * RG_PADS_MAX + RG_LINKS_MAX };
void rg_workup_sections(const rg_workup *workup, rg_release_item *item,
                        rg_release_section section[RG_WORKUP_SECTIONS]);

/* What to do, in order: worst leaks first, then regulation, finger force, loose keys, key heights, notes.
 * Sentences of one subject, to be printed under its heading. */
enum { RG_WORKUP_SUBJECT = 160 };
typedef void rg_workup_say(void *context, const char *subject, const char *sentence);
void rg_workup_tell(const rg_workup *workup, rg_workup_say *say, void *context);

/* {"format": "rimglow work-up", "version": 1, software, serial, instrument, pads[] of {pad, sweep,
 *  diagnosis | null (diagnosis_report.h), repeat | null (keys_report.h)}, leaks (flow_report.h), keys[]
 *  (keys_report.h), heights
 *  | null of {verdict, conflict, keys[] of {pad, opening_mm, u_mm, target_mm, tolerance_mm, state,
 *  order, change_mm, after_mm}}, work[] of {subject, sentence}}. Owned by the caller (free()). */
rg_code rg_workup_json(const rg_workup *workup, const char *serial,
                       const rg_workup_settings *settings, char **text, rg_error *err);

#endif
