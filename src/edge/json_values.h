/*
 * json_values.h - private to edge: numbers and texts as JSON that is always
 * valid, for the modules that write documents.
 */
#ifndef RIMGLOW_EDGE_JSON_VALUES_H
#define RIMGLOW_EDGE_JSON_VALUES_H

#include <jansson.h>

/* So many decimals, or so many significant digits; what is not finite is null. */
json_t *rg_json_decimals(double value, int places);
json_t *rg_json_digits(double value, int digits);
/* A text that is missing or not UTF-8 becomes null rather than a broken document. */
json_t *rg_json_text(const char *text);

#endif
