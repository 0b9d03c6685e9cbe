/*
 * pitch.h - names of written pitches, and sets of them.
 *
 * A name is a letter A to G, perhaps # or b, and the octave as in scientific pitch notation (American
 * Standard Acoustical Terminology, ANSI S1.1: C4 is middle C, octaves begin at C): Bb3, C#4, F6.
 * Pitches are numbered in semitones as in the MIDI standard, C4 = 60, so their order is that of the
 * sound. They are written pitches: a transposing instrument sounds others.
 *
 * A set is a list with commas. A part is a pitch, a range with both its ends, or either of them
 * after a minus, which takes out again what stands before:
 *   Bb3..F6, -C#5, -C#6       from low B flat to F6 without the two C sharps
 */
#ifndef RIMGLOW_PITCH_H
#define RIMGLOW_PITCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rimglow/status.h"

enum { RG_PITCHES = 128, RG_PITCH_NAME = 8, RG_PITCH_SET_TEXT = 640 };

/* The whole text is one name, octaves 0 to 9 up to G9; else false, and *pitch is unchanged. */
bool rg_pitch_parse(const char *text, int *pitch);
/* "Bb3": C C# D Eb E F F# G G# A Bb B. Numbers out of range give "?". */
void rg_pitch_name(int pitch, char name[RG_PITCH_NAME]);

typedef struct rg_pitch_set {
    uint64_t bits[2];
} rg_pitch_set;

bool rg_pitch_in(const rg_pitch_set *set, int pitch);
void rg_pitch_add(rg_pitch_set *set, int pitch); /* outside 0..127: nothing */
void rg_pitch_join(rg_pitch_set *set, const rg_pitch_set *other);
bool rg_pitch_share(const rg_pitch_set *a, const rg_pitch_set *b); /* any pitch in both */
int rg_pitch_count(const rg_pitch_set *set);
int rg_pitch_highest(const rg_pitch_set *set); /* -1: empty */
int rg_pitch_lowest(const rg_pitch_set *set);

/* An empty text is the empty set. RG_BAD_DATA names the part; *set is then empty. */
rg_code rg_pitch_set_parse(const char *text, rg_pitch_set *set, rg_error *err);
/* The shortest list, rising, runs of three and more as ranges. Cut when size is too small;
 * RG_PITCH_SET_TEXT is enough for any set. */
void rg_pitch_set_text(const rg_pitch_set *set, char *text, size_t size);

#endif
