/*
 * notes.h - which pads a note needs, which notes a pad needs, and through which holes a note speaks.
 *
 * Holes stand in the order of the body, from the top to the bottom. Each has
 *   rest    what its pad does when no key is touched
 *   role    tone: notes speak through it; vent: a register or octave vent, through which
 *           none does
 *   closed  notes that need the pad closed: they suffer when it leaks
 *   opens   notes for which its key is pressed to open it, where it is closed at rest
 *   vents   notes in which it stands open, but only as a register vent
 *
 * Fingering: for a note a pad that rests open is closed when the note is in `closed`; a pad that
 * rests closed is open when the note is in `opens` or `vents`.
 *
 * A leak matters in the notes in `closed`. Coming down the scale it begins to matter at the
 * highest of them; the higher a pad on the body, the more notes there are.
 *
 * Venting: a note speaks through the first open tone hole from the top and the open ones that follow
 * it without a closed one between them (common practice, no source). On a saxophone F speaks
 * through two, E and D, since the low E flat below them is closed at rest; E speaks through D alone,
 * is the stuffier of the two, and depends on the height of the D cup (common practice, no source).
 */
#ifndef RIMGLOW_NOTES_H
#define RIMGLOW_NOTES_H

#include <stdbool.h>

#include "rimglow/pitch.h"

enum { RG_HOLES_MAX = 64, RG_VENTING_REASON = 240 };

typedef enum rg_rest { RG_REST_UNSTATED, RG_REST_OPEN, RG_REST_CLOSED } rg_rest;
typedef enum rg_hole_role { RG_HOLE_UNSTATED, RG_HOLE_TONE, RG_HOLE_VENT } rg_hole_role;

typedef struct rg_hole {
    const char *name; /* borrowed */
    rg_rest rest;
    rg_hole_role role; /* unstated counts as tone */
    rg_pitch_set closed, opens, vents;
} rg_hole;

/* RG_BAD_DATA for more than RG_HOLES_MAX holes, a note that needs a pad both closed and open,
 * and opens of a pad that rests open. */
rg_code rg_holes_check(const rg_hole *holes, int count, rg_error *err);

/* All notes that any hole names. */
rg_pitch_set rg_holes_notes(const rg_hole *holes, int count);

typedef enum rg_hole_state {
    RG_STATE_UNKNOWN, /* its rest is not stated and the note does not say */
    RG_STATE_CLOSED,
    RG_STATE_OPEN,
    RG_STATE_VENTING /* open as a register vent, or a vent that is open */
} rg_hole_state;
rg_hole_state rg_hole_in_note(const rg_hole *hole, int pitch);
/* "not stated" "closed" "open" "vent" */
const char *rg_hole_state_name(rg_hole_state state);

/* ---------------------------------------------------------------- leaks */

typedef struct rg_hole_leak {
    int hole;
    double ml_s, u_ml_s; /* flow.h */
} rg_hole_leak;

typedef struct rg_leak_rank {
    rg_hole_leak leak;
    int starts_at; /* highest note at which it matters; -1: the fingering table names none */
    int notes;
    rg_pitch_set note; /* every note affected */
} rg_leak_rank;

/* The leaks with a flow above 0, largest flow first; equal flows by number of notes, then by place
 * on the body. rank: [count]; returns how many. */
int rg_leaks_rank(const rg_hole *holes, int hole_count, const rg_hole_leak *leaks, int count,
                  rg_leak_rank *rank);

/* What one note loses: the flows of all leaks that matter in it. */
typedef struct rg_note_loss {
    int pitch;
    double ml_s, u_ml_s; /* u: fully correlated, as in flow.h */
    int leaks;
    int worst; /* hole of the largest of them; -1: none */
} rg_note_loss;
/* For every note of the instrument, falling. loss: [RG_PITCHES]; returns how many. */
int rg_notes_lose(const rg_hole *holes, int hole_count, const rg_hole_leak *leaks, int count,
                  rg_note_loss *loss);

/* -------------------------------------------------------------- venting */

typedef struct rg_venting {
    int pitch;
    bool known; /* false: a pad above or among its holes does not state its rest */
    int holes;  /* 0: it speaks through the bell or foot */
    int hole[RG_HOLES_MAX];
} rg_venting;
void rg_venting_of(const rg_hole *holes, int count, int pitch, rg_venting *venting);

/* How far a pad stands open at its far side, key at rest or fully open. */
typedef struct rg_hole_opening {
    bool measured;
    double opening_mm, u_mm;
    double target_mm, tolerance_mm; /* tolerance 0: not stated, nothing is judged */
} rg_hole_opening;

typedef enum rg_breath {
    RG_BREATH_UNJUDGED, /* not stated, not measured, or through the bell: the reason says which */
    RG_BREATH_FREE,     /* nothing low among the holes that count */
    RG_BREATH_PERHAPS,  /* below the band, but within U of it */
    RG_BREATH_STUFFY    /* opening + U below the target band */
} rg_breath;
const char *rg_breath_name(rg_breath breath); /* "not judged" "free" "perhaps stuffy" "stuffy" */

typedef struct rg_note_breath {
    rg_venting venting;
    rg_breath breath;
    int cause; /* hole; -1: none */
    char reason[RG_VENTING_REASON];
} rg_note_breath;

/* Judges each note by its first hole and, where it has two, by both; further ones count little.
 * opening: [count], as holes. k: coverage factor, U = k u. breath: [RG_PITCHES], notes
 * falling; returns how many. */
int rg_notes_breathe(const rg_hole *holes, const rg_hole_opening *opening, int count, double k,
                     rg_note_breath *breath);

#endif
