/*
 * json_values.h - private to edge: numbers and texts as JSON that is always
 * valid, and the head and the end of a document, for the modules that write them.
 *
 * A json_t that is returned belongs to the caller, who mostly gives it on by
 * json_object_set_new() or json_array_append_new().
 */
#ifndef RIMGLOW_EDGE_JSON_VALUES_H
#define RIMGLOW_EDGE_JSON_VALUES_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

#include "rimglow/digest.h"
#include "rimglow/status.h"

/* ---- values ---- */

/* So many decimals, or so many significant digits; what is not finite is null. */
json_t *rg_json_decimals(double value, int places);
json_t *rg_json_digits(double value, int digits);
json_t *rg_json_number(double value); /* six significant digits */
json_t *rg_json_numbers(const double *value, int count);
/* A text that is missing or not UTF-8 becomes null rather than a broken document. */
json_t *rg_json_text(const char *text);
json_t *rg_json_texts(const char *const *text, int count); /* a list of them */
json_t *rg_json_day(int day);                              /* YYYY-MM-DD; null below 0 */
json_t *rg_json_note(int pitch);                           /* "Bb3"; null below 0 */
json_t *rg_json_digest(const rg_digest *digest);

/* ---- members: the same, under a key of the object ---- */

void rg_json_set_text(json_t *o, const char *key, const char *text);
void rg_json_set_day(json_t *o, const char *key, int day);
void rg_json_set_whole(json_t *o, const char *key, int64_t value);
void rg_json_set_switch(json_t *o, const char *key, bool value);
void rg_json_set_length(json_t *o, const char *key, double mm); /* to 1e-6 mm */
void rg_json_set_part(json_t *o, const char *key,
                      double value); /* degrees, turns, grams: to 1e-3 */
void rg_json_set_number(json_t *o, const char *key, double value);

/* ---- documents ---- */

enum { RG_JSON_ALL_DIGITS = 17 };

/* A new object with format and version 1. */
json_t *rg_json_document(const char *format);
/* The text (free()) of a document, which is freed. Reals keep so many digits, at most all;
 * what: "the study", for the error of too little memory. */
rg_code rg_json_write(json_t *document, int digits, const char *what, char **text, rg_error *err);

#endif
