/*
 * json_values.c - numbers and texts for JSON documents, by jansson.
 */
#include "json_values.h"

#include <math.h>

#include "rimglow/date.h"
#include "rimglow/pitch.h"

enum { LENGTH_DECIMALS = 6, PART_DECIMALS = 3, NUMBER_DIGITS = 6 };

json_t *rg_json_decimals(double value, int places)
{
    double scale = pow(10, places);
    return isfinite(value) ? json_real(round(value * scale) / scale) : json_null();
}

json_t *rg_json_digits(double value, int digits)
{
    if (!isfinite(value))
        return json_null();
    if (value == 0)
        return json_real(0);
    double scale = pow(10, digits - 1 - floor(log10(fabs(value))));
    return json_real(round(value * scale) / scale);
}

json_t *rg_json_number(double value)
{
    return rg_json_digits(value, NUMBER_DIGITS);
}

json_t *rg_json_numbers(const double *value, int count)
{
    json_t *list = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(list, rg_json_number(value[i]));
    return list;
}

json_t *rg_json_text(const char *text)
{
    json_t *s = text ? json_string(text) : NULL;
    return s ? s : json_null();
}

json_t *rg_json_texts(const char *const *text, int count)
{
    json_t *list = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(list, rg_json_text(text[i]));
    return list;
}

json_t *rg_json_day(int day)
{
    char text[RG_DATE_TEXT];
    if (day < 0)
        return json_null();
    rg_date_format(day, text);
    return json_string(text);
}

json_t *rg_json_note(int pitch)
{
    char name[RG_PITCH_NAME];
    if (pitch < 0)
        return json_null();
    rg_pitch_name(pitch, name);
    return json_string(name);
}

json_t *rg_json_digest(const rg_digest *digest)
{
    char text[RG_DIGEST_TEXT];
    rg_digest_format(digest, text);
    return json_string(text);
}

/* ---------------------------------------------------------------- members */

void rg_json_set_text(json_t *o, const char *key, const char *text)
{
    json_object_set_new(o, key, rg_json_text(text));
}

void rg_json_set_day(json_t *o, const char *key, int day)
{
    json_object_set_new(o, key, rg_json_day(day));
}

void rg_json_set_whole(json_t *o, const char *key, int64_t value)
{
    json_object_set_new(o, key, json_integer((json_int_t)value));
}

void rg_json_set_switch(json_t *o, const char *key, bool value)
{
    json_object_set_new(o, key, json_boolean(value));
}

void rg_json_set_length(json_t *o, const char *key, double mm)
{
    json_object_set_new(o, key, rg_json_decimals(mm, LENGTH_DECIMALS));
}

void rg_json_set_part(json_t *o, const char *key, double value)
{
    json_object_set_new(o, key, rg_json_decimals(value, PART_DECIMALS));
}

void rg_json_set_number(json_t *o, const char *key, double value)
{
    json_object_set_new(o, key, rg_json_number(value));
}

/* -------------------------------------------------------------- documents */

json_t *rg_json_document(const char *format)
{
    json_t *o = json_object();
    rg_json_set_text(o, "format", format);
    rg_json_set_whole(o, "version", 1);
    return o;
}

rg_code rg_json_write(json_t *document, int digits, const char *what, char **text, rg_error *err)
{
    *text = document ? json_dumps(document, JSON_INDENT(1) | JSON_REAL_PRECISION((size_t)digits))
                     : NULL;
    json_decref(document);
    if (!*text)
        return rg_fail(err, RG_INTERNAL, "no memory to write %s as JSON", what);
    return RG_OK;
}
