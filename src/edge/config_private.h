/*
 * config_private.h - shared by config*.c: an INI text as a list of entries,
 * and tables of fields that turn entries into the values of a struct.
 */
#ifndef RIMGLOW_EDGE_CONFIG_PRIVATE_H
#define RIMGLOW_EDGE_CONFIG_PRIVATE_H

#include <stdbool.h>
#include <stddef.h>

#include "rimglow/config.h"

enum {
    RG_INI_LINE = 200,         /* bytes of one line without its comment, with the final 0 */
    RG_INI_SECTIONS_MAX = 300, /* of one file */
    RG_INI_ENTRIES_MAX = 2048
};

typedef struct rg_ini_section {
    char name[RG_NAME_SIZE];
    int line;
} rg_ini_section;

typedef struct rg_ini_entry {
    int section; /* index into rg_ini.section */
    int line;
    char key[RG_INI_LINE], value[RG_INI_LINE];
} rg_ini_entry;

typedef struct rg_ini {
    const char *label; /* borrowed */
    const char *model; /* the file in calib/ or samples/ that shows how it is done */
    int sections, entries, entries_room;
    rg_ini_section section[RG_INI_SECTIONS_MAX];
    rg_ini_entry *entry; /* owned */
} rg_ini;

/* Reads a whole text; on failure *ini owns nothing. */
rg_code rg_ini_read(const char *label, const char *model, const char *text, size_t size,
                    rg_ini **ini, rg_error *err);
void rg_ini_free(rg_ini *ini);

/* Index of a section, -1 when it is not there. */
int rg_ini_section_index(const rg_ini *ini, const char *name);
/* NULL when the section has no such key. */
const rg_ini_entry *rg_ini_find(const rg_ini *ini, int section, const char *key);

/* RG_BAD_DATA "LABEL, line N: [SECTION] KEY = VALUE: " and the given reason. */
rg_code rg_ini_fail(const rg_ini *ini, const rg_ini_entry *entry, rg_error *err, const char *format,
                    ...) __attribute__((format(printf, 4, 5)));

typedef enum rg_ini_type {
    RG_INI_TEXT,   /* char[high], at least low bytes long */
    RG_INI_NUMBER, /* double within low..high */
    RG_INI_WHOLE,  /* int within low..high */
    RG_INI_SWITCH, /* bool: yes or no */
    RG_INI_OWN     /* must be there; its parser converts it itself */
} rg_ini_type;

typedef struct rg_ini_field {
    const char *section, *key;
    rg_ini_type type;
    size_t offset; /* into the struct that the table fills */
    double low, high;
    const char *meaning; /* with the unit, for messages */
} rg_ini_field;

typedef struct rg_ini_table {
    const rg_ini_field *field;
    int fields;
} rg_ini_table;

/* Converts one value as the field says and stores it in object. */
rg_code rg_ini_convert(const rg_ini *ini, const rg_ini_entry *entry, const rg_ini_field *field,
                       void *object, rg_error *err);
/* Fills object with every field whose section is kind, from the section at
 * index section or, where a key is missing there, from the one at fallback
 * (-1: none). Refuses a missing key and an unknown one. */
rg_code rg_ini_fill(const rg_ini *ini, rg_ini_table table, const char *kind, int section,
                    int fallback, void *object, rg_error *err);
/* Refuses keys of a section that no field of that kind has. */
rg_code rg_ini_check_keys(const rg_ini *ini, rg_ini_table table, const char *kind, int section,
                          rg_error *err);
/* The same for a section that must be there, found by its name. */
rg_code rg_ini_fill_named(const rg_ini *ini, rg_ini_table table, const char *name, void *object,
                          rg_error *err);
/* Fills object from all sections of a file (their names, ended by NULL), each of which must be there;
 * refuses any other one. */
rg_code rg_ini_fill_sections(const rg_ini *ini, rg_ini_table table, const char *const *name,
                             void *object, rg_error *err);
/* A date, or "none" for -1. */
rg_code rg_ini_date(const rg_ini *ini, const rg_ini_entry *entry, int *day, rg_error *err);
/* RG_BAD_DATA for a section that nobody knows. known: the names to offer. */
rg_code rg_ini_unknown_section(const rg_ini *ini, int section, const char *known, rg_error *err);

/* "light", "firm", "unstated" or "35 g" (config_sweep.c); *grams only with the last. */
rg_code rg_config_fill_finger(const rg_ini *ini, const rg_ini_entry *entry, rg_finger *finger,
                              double *grams, rg_error *err);

/* One of the words, ended by NULL: its place. */
rg_code rg_ini_word(const rg_ini *ini, const rg_ini_entry *entry, const char *const *word,
                    int *value, rg_error *err);

/* [link DRIVER > DRIVEN] of an instrument whose pads are filled (config_link.c). */
bool rg_config_is_link(const char *section);
rg_code rg_config_fill_links(const rg_ini *ini, rg_instrument *instrument, rg_error *err);

/* [place] and [marks] of a sweep (config_place.c). */
rg_code rg_config_fill_place(const rg_ini *ini, rg_place_options *place, rg_error *err);
/* item: one part of a frame's line, "bearing 30" or "elevation -0.4"; else *taken is false. */
rg_code rg_config_fill_angle(const rg_ini *ini, const rg_ini_entry *entry, const char *item,
                             rg_place_given *given, bool *taken, rg_error *err);
/* After the frames. */
rg_code rg_config_fill_marks(const rg_ini *ini, rg_sweep *sweep, rg_error *err);
rg_code rg_config_check_place(const char *label, const rg_sweep *sweep, rg_error *err);

/* A text that grows up to its size (config_sweep.c). */
typedef struct rg_text_writer {
    char *text;
    size_t size, used;
    bool full;
} rg_text_writer;
void rg_text_put(rg_text_writer *w, const char *format, ...) __attribute__((format(printf, 2, 3)));
void rg_config_put_place(rg_text_writer *w, const rg_place_options *place);
void rg_config_put_angles(rg_text_writer *w, const rg_place_given *given);
void rg_config_put_marks(rg_text_writer *w, const rg_sweep *sweep);

/* Copies the text between start and stop without the blanks at its ends. */
void rg_ini_trimmed(char *to, size_t size, const char *start, const char *stop);

#endif
