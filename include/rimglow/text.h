/*
 * text.h - numbers and lists from text, independent of the locale.
 */
#ifndef RIMGLOW_TEXT_H
#define RIMGLOW_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* A finite decimal number with '.' as the decimal sign and nothing else
 * around it but blanks. False for "", "1,5", "nan", "inf", "0x10", "1 2",
 * overflow; *value is then unchanged. */
bool rg_parse_double(const char *text, double *value);
/* A decimal integer within [low, high]. */
bool rg_parse_int(const char *text, long low, long high, long *value);
/* True for a non-empty name of at most 120 bytes that is safe as one path
 * component: letters, digits, and "._-" not at the start, or UTF-8 bytes
 * above 127; no '/', no control characters. */
bool rg_is_safe_name(const char *text);
/* Copies at most size - 1 bytes and always ends with 0; false when cut. */
bool rg_copy_text(char *to, size_t size, const char *from);
/* FNV-1a, 64 bits (Fowler, Noll and Vo; RFC 9923): for tables and seeds, not against somebody who means harm. */
uint64_t rg_text_hash(const char *text);
/* Bytes of the UTF-8 sequence (RFC 3629) that text begins with, 0 when the first
 * of the left bytes begin none. */
size_t rg_utf8_length(const char *text, size_t left);
/* "0.059 +- 0.012": U to two significant digits, the value to as many decimals (JCGM 100, 7.2.6); zeros
 * that end both are left out. sign: a plus for what is above 0. What is not finite is "?". */
enum { RG_TEXT_WITH_U = 64 };
void rg_text_with_u(double value, double U, bool sign, char text[RG_TEXT_WITH_U]);

#endif
