/*
 * status.c - the error record of status.h.
 *
 * Texts end up on one line of a terminal or in one cell of a report, so
 * control characters (a file name may hold a newline or an escape sequence)
 * are replaced before they are stored.
 */
#include "rimglow/status.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static void replace_control_characters(char *text)
{
    for (char *p = text; *p; p++)
        if ((unsigned char)*p < 0x20 || *p == 0x7f)
            *p = '?';
}

/* There is one remedy for want of memory; texts need not say it. */
static void add_remedy(char *text, size_t size)
{
    size_t n = strlen(text);
    if (strstr(text, "memory") && !strchr(text, ';'))
        snprintf(text + n, size - n, "; close other programs and try again");
}

rg_code rg_fail(rg_error *err, rg_code code, const char *format, ...)
{
    if (!err)
        return code;
    err->code = code;
    va_list args;
    va_start(args, format);
    if (vsnprintf(err->text, sizeof err->text, format, args) < 0)
        err->text[0] = 0;
    va_end(args);
    if (code == RG_INTERNAL)
        add_remedy(err->text, sizeof err->text);
    replace_control_characters(err->text);
    return code;
}

rg_code rg_fail_prefix(rg_error *err, const char *prefix)
{
    if (!err)
        return RG_INTERNAL;
    char text[RG_ERROR_TEXT];
    memcpy(text, err->text, sizeof text);
    text[sizeof text - 1] = 0;
    return rg_fail(err, err->code, "%s: %s", prefix, text);
}
