/*
 * pitch.c - names of pitches and sets of them.
 */
#include "rimglow/pitch.h"

#include <stdio.h>
#include <string.h>

static const char *const names[12] = {"C",  "C#", "D",  "Eb", "E",  "F",
                                      "F#", "G",  "G#", "A",  "Bb", "B"};

/* ------------------------------------------------------------------ names */

/* Semitones above C of a letter, -1 for another character. */
static int step_of(char letter)
{
    static const int step[] = {9, 11, 0, 2, 4, 5, 7}; /* A to G */
    return letter >= 'A' && letter <= 'G' ? step[letter - 'A'] : -1;
}

bool rg_pitch_parse(const char *text, int *pitch)
{
    int step = step_of(text[0]);
    if (step < 0)
        return false;
    const char *at = text + 1;
    if (*at == '#' || *at == 'b')
        step += *at++ == '#' ? 1 : -1;
    if (*at < '0' || *at > '9' || at[1] != 0)
        return false;
    int number = 12 * (*at - '0' + 1) + step;
    if (number < 12 || number >= RG_PITCHES) /* Cb0 lies below octave 0 */
        return false;
    *pitch = number;
    return true;
}

void rg_pitch_name(int pitch, char name[RG_PITCH_NAME])
{
    if (pitch < 0 || pitch >= RG_PITCHES)
        snprintf(name, RG_PITCH_NAME, "?");
    else
        snprintf(name, RG_PITCH_NAME, "%s%d", names[pitch % 12], pitch / 12 - 1);
}

/* ------------------------------------------------------------------- sets */

bool rg_pitch_in(const rg_pitch_set *set, int pitch)
{
    return pitch >= 0 && pitch < RG_PITCHES && (set->bits[pitch / 64] >> (pitch % 64) & 1);
}

void rg_pitch_add(rg_pitch_set *set, int pitch)
{
    if (pitch >= 0 && pitch < RG_PITCHES)
        set->bits[pitch / 64] |= (uint64_t)1 << (pitch % 64);
}

static void take_out(rg_pitch_set *set, int pitch)
{
    set->bits[pitch / 64] &= ~((uint64_t)1 << (pitch % 64));
}

void rg_pitch_join(rg_pitch_set *set, const rg_pitch_set *other)
{
    set->bits[0] |= other->bits[0];
    set->bits[1] |= other->bits[1];
}

bool rg_pitch_share(const rg_pitch_set *a, const rg_pitch_set *b)
{
    return (a->bits[0] & b->bits[0]) || (a->bits[1] & b->bits[1]);
}

int rg_pitch_count(const rg_pitch_set *set)
{
    int count = 0;
    for (int p = 0; p < RG_PITCHES; p++)
        count += rg_pitch_in(set, p);
    return count;
}

int rg_pitch_highest(const rg_pitch_set *set)
{
    int p = RG_PITCHES - 1;
    while (p >= 0 && !rg_pitch_in(set, p))
        p--;
    return p;
}

int rg_pitch_lowest(const rg_pitch_set *set)
{
    for (int p = 0; p < RG_PITCHES; p++)
        if (rg_pitch_in(set, p))
            return p;
    return -1;
}

/* ------------------------------------------------------------------- text */

enum { PART = 40 };

static rg_code refuse(const char *part, const char *why, rg_error *err)
{
    return rg_fail(err, RG_BAD_DATA,
                   "\"%s\" %s; write pitches as Bb3, C#4 or F6, ranges as Bb3..F6, exceptions as "
                   "-C#5, with commas between them",
                   part, why);
}

/* The next part of the list without blanks around it, cut to PART; the place behind it. */
static const char *next_part(const char *at, char part[PART])
{
    size_t length = strcspn(at, ",");
    const char *stop = at + length, *end = stop;
    at += strspn(at, " \t");
    while (end > at && (end[-1] == ' ' || end[-1] == '\t'))
        end--;
    snprintf(part, PART, "%.*s", end > at ? (int)(end - at) : 0, at);
    return stop;
}

/* "A4" or "A4..C5". */
static bool parse_range(const char *text, int *from, int *to)
{
    char first[PART];
    const char *dots = strstr(text, "..");
    if (!dots)
        return rg_pitch_parse(text, from) && rg_pitch_parse(text, to);
    snprintf(first, sizeof first, "%.*s", (int)(dots - text), text);
    return rg_pitch_parse(first, from) && rg_pitch_parse(dots + 2, to);
}

static rg_code take_part(const char *part, rg_pitch_set *set, rg_error *err)
{
    bool out = part[0] == '-';
    int from, to;
    if (!parse_range(part + out, &from, &to))
        return refuse(part, "is no pitch and no range of pitches", err);
    if (from > to)
        return refuse(part, "begins above its end", err);
    for (int p = from; p <= to; p++) {
        if (out && !rg_pitch_in(set, p))
            return refuse(part, "takes out what was not in the list before it", err);
        if (out)
            take_out(set, p);
        else
            rg_pitch_add(set, p);
    }
    return RG_OK;
}

rg_code rg_pitch_set_parse(const char *text, rg_pitch_set *set, rg_error *err)
{
    rg_pitch_set read = {{0, 0}};
    rg_code code = RG_OK;
    *set = read;
    const char *at = text + strspn(text, " \t");
    if (*at == 0)
        return RG_OK;
    while (code == RG_OK) {
        char part[PART];
        at = next_part(at, part);
        code = take_part(part, &read, err);
        if (*at == 0)
            break;
        at++;
    }
    if (code == RG_OK)
        *set = read;
    return code;
}

static size_t put(char *text, size_t size, size_t used, const char *word)
{
    if (used < size)
        snprintf(text + used, size - used, "%s", word);
    return used + strlen(word);
}

static size_t put_pitch(char *text, size_t size, size_t used, int pitch)
{
    char name[RG_PITCH_NAME];
    rg_pitch_name(pitch, name);
    return put(text, size, used, name);
}

void rg_pitch_set_text(const rg_pitch_set *set, char *text, size_t size)
{
    size_t used = put(text, size, 0, "");
    for (int p = 0; p < RG_PITCHES; p++) {
        if (!rg_pitch_in(set, p))
            continue;
        int last = p;
        while (rg_pitch_in(set, last + 1))
            last++;
        if (used > 0)
            used = put(text, size, used, ", ");
        used = put_pitch(text, size, used, p);
        if (last >= p + 2) {
            used = put(text, size, used, "..");
            used = put_pitch(text, size, used, last);
            p = last;
        }
    }
}
