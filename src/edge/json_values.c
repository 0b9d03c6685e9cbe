/*
 * json_values.c - numbers and texts for JSON documents.
 */
#include "json_values.h"

#include <math.h>

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

json_t *rg_json_text(const char *text)
{
    json_t *s = text ? json_string(text) : NULL;
    return s ? s : json_null();
}
