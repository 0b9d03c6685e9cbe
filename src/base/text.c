/*
 * text.c - numbers and names from text, independent of the locale.
 *
 * strtod() takes the decimal sign of the process's locale, so a number is
 * first checked against the grammar
 *   [blanks] [sign] digits [. digits] [(e|E) [sign] digits] [blanks]
 * (digits on at least one side of the point) and then converted with the
 * point replaced by the locale's own sign: correctly rounded in any locale.
 */
#include "rimglow/text.h"

#include <errno.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_MAX_BYTES = 120, NUMBER_MAX_BYTES = 120 };

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

static const char *skip_blanks(const char *p)
{
    while (is_blank(*p))
        p++;
    return p;
}

static const char *skip_digits(const char *p)
{
    while (is_digit(*p))
        p++;
    return p;
}

static const char *skip_sign(const char *p)
{
    return *p == '+' || *p == '-' ? p + 1 : p;
}

/* The end of the number that begins at p, NULL when there is none. */
static const char *number_end(const char *p)
{
    p = skip_sign(p);
    const char *whole = p;
    p = skip_digits(p);
    size_t digits = (size_t)(p - whole);
    if (*p == '.') {
        const char *fraction = ++p;
        p = skip_digits(p);
        digits += (size_t)(p - fraction);
    }
    if (digits == 0)
        return NULL;
    if (*p != 'e' && *p != 'E')
        return p;
    const char *power = skip_sign(p + 1);
    p = skip_digits(power);
    return p > power ? p : NULL;
}

/* Copies the number with the decimal sign that strtod() expects here. */
static bool localised(const char *from, const char *end, char *to, size_t size)
{
    const char *sign = localeconv()->decimal_point;
    size_t n = 0, sign_length = strlen(sign);
    for (; from < end; from++) {
        const char *piece = *from == '.' ? sign : from;
        size_t length = *from == '.' ? sign_length : 1;
        if (n + length >= size)
            return false;
        memcpy(to + n, piece, length);
        n += length;
    }
    to[n] = 0;
    return true;
}

bool rg_parse_double(const char *text, double *value)
{
    const char *start = skip_blanks(text);
    const char *end = number_end(start);
    if (!end || *skip_blanks(end))
        return false;
    char number[NUMBER_MAX_BYTES + 8];
    if (!localised(start, end, number, sizeof number))
        return false;
    double v = strtod(number, NULL);
    if (!isfinite(v))
        return false;
    *value = v;
    return true;
}

bool rg_parse_int(const char *text, long low, long high, long *value)
{
    const char *start = skip_blanks(text);
    const char *digits = skip_sign(start), *end = skip_digits(digits);
    if (end == digits || *skip_blanks(end))
        return false;
    errno = 0;
    long v = strtol(start, NULL, 10);
    if (errno || v < low || v > high)
        return false;
    *value = v;
    return true;
}

static bool is_name_byte(unsigned char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '.' ||
           c == '_' || c == '-' || c > 127;
}

bool rg_is_safe_name(const char *text)
{
    if (!*text || strchr("._-", *text))
        return false;
    size_t n = 0;
    for (; text[n]; n++)
        if (n >= NAME_MAX_BYTES || !is_name_byte((unsigned char)text[n]))
            return false;
    return true;
}

uint64_t rg_text_hash(const char *text)
{
    uint64_t hash = UINT64_C(14695981039346656037);
    for (const unsigned char *at = (const unsigned char *)text; *at; at++)
        hash = (hash ^ *at) * UINT64_C(1099511628211);
    return hash;
}

bool rg_copy_text(char *to, size_t size, const char *from)
{
    if (size == 0)
        return false;
    size_t n = strlen(from), kept = n < size ? n : size - 1;
    memmove(to, from, kept);
    to[kept] = 0;
    return kept == n;
}

size_t rg_utf8_length(const char *text, size_t left)
{
    static const struct {
        unsigned char first_low, first_high, second_low, second_high;
        size_t length;
    } row[] = {
        {0x00, 0x7f, 0, 0, 1},       {0xc2, 0xdf, 0x80, 0xbf, 2}, {0xe0, 0xe0, 0xa0, 0xbf, 3},
        {0xe1, 0xec, 0x80, 0xbf, 3}, {0xed, 0xed, 0x80, 0x9f, 3}, {0xee, 0xef, 0x80, 0xbf, 3},
        {0xf0, 0xf0, 0x90, 0xbf, 4}, {0xf1, 0xf3, 0x80, 0xbf, 4}, {0xf4, 0xf4, 0x80, 0x8f, 4},
    };
    const unsigned char *p = (const unsigned char *)text;
    for (size_t i = 0; left > 0 && i < sizeof row / sizeof row[0]; i++) {
        if (p[0] < row[i].first_low || p[0] > row[i].first_high)
            continue;
        bool ok = row[i].length <= left;
        for (size_t k = 1; ok && k < row[i].length; k++) {
            unsigned char low = k == 1 ? row[i].second_low : 0x80;
            unsigned char high = k == 1 ? row[i].second_high : 0xbf;
            ok = p[k] >= low && p[k] <= high;
        }
        return ok ? row[i].length : 0;
    }
    return 0;
}

/* Decimals with which U has two significant digits, 0 to 9. */
static int decimals_of(double U)
{
    if (!(U > 0) || !isfinite(U))
        return 6;
    int n = 1 - (int)floor(log10(U));
    return n < 0 ? 0 : n > 9 ? 9 : n;
}

static bool ends_in_zero(double value, int decimals)
{
    char text[RG_TEXT_WITH_U];
    int n = snprintf(text, sizeof text, "%.*f", decimals, value);
    return n > 0 && n < (int)sizeof text && text[n - 1] == '0';
}

void rg_text_with_u(double value, double U, bool sign, char text[RG_TEXT_WITH_U])
{
    if (!isfinite(value) || !isfinite(U) || fabs(value) > 1e15 || fabs(U) > 1e15) {
        rg_copy_text(text, RG_TEXT_WITH_U, "?");
        return;
    }
    int n = decimals_of(U);
    while (n > 0 && ends_in_zero(value, n) && ends_in_zero(U, n))
        n--;
    snprintf(text, RG_TEXT_WITH_U, sign ? "%+.*f +- %.*f" : "%.*f +- %.*f", n, value, n, U);
}
