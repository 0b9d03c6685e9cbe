/*
 * config_document.c - an INI text as sections and entries.
 *
 * libinih splits "key = value"; the line source it reads from is ours, because
 * Debian's build cuts lines at 200 bytes and section names at 50 without a
 * word, joins indented lines to the value above, ignores what stands behind a
 * section's ']' and never mentions a section without keys. The source refuses
 * all of these by line number, takes comments off first (so that they may be
 * long), and keeps the list of sections. libinih's settings are global
 * variables; they are left alone.
 */
#include <ini.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

typedef struct line_source {
    rg_ini *ini;
    const char *at, *end;
    int line;
    rg_code code; /* of the first refusal; reading stops there */
    rg_error *err;
} line_source;

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r';
}

static void trim(const char **start, const char **stop)
{
    while (*start < *stop && is_blank(**start)) {
        (*start)++;
    }
    while (*stop > *start && is_blank((*stop)[-1])) {
        (*stop)--;
    }
}

void rg_ini_trimmed(char *to, size_t size, const char *start, const char *stop)
{
    trim(&start, &stop);
    size_t length = (size_t)(stop - start);
    if (length >= size) {
        length = size - 1;
    }
    memcpy(to, start, length);
    to[length] = 0;
}

/* A comment begins with ';' or '#' at the start of a line, after a blank, or
 * where a value would begin. */
static const char *before_comment(const char *start, const char *stop)
{
    for (const char *p = start; p < stop; p++) {
        if ((*p == ';' || *p == '#') && (p == start || is_blank(p[-1]) || p[-1] == '=')) {
            return p;
        }
    }
    return stop;
}

static rg_code check_bytes(const line_source *s, const char *start, const char *stop)
{
    while (start < stop) {
        unsigned char c = (unsigned char)*start;
        if ((c < 32 && c != '\t') || c == 127) {
            return rg_fail(s->err, RG_BAD_DATA,
                           "%s, line %d: control character %d inside the line; save the file as "
                           "plain text with one entry per line",
                           s->ini->label, s->line, c);
        }
        size_t length = rg_utf8_length(start, (size_t)(stop - start));
        if (length == 0) {
            return rg_fail(s->err, RG_BAD_DATA,
                           "%s, line %d: byte 0x%02X is not UTF-8; save the file with the encoding "
                           "UTF-8",
                           s->ini->label, s->line, c);
        }
        start += length;
    }
    return RG_OK;
}

/* line: "[name]" without blanks around it. */
static rg_code open_section(const line_source *s, const char *line, size_t length)
{
    rg_ini *ini = s->ini;
    const char *bracket = memchr(line, ']', length);
    char name[RG_INI_LINE];
    rg_ini_trimmed(name, sizeof name, line + 1, bracket != NULL ? bracket : line + 1);
    if (bracket != line + length - 1 || name[0] == 0 || strlen(name) >= RG_NAME_SIZE) {
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s, line %d: %s is not a section heading; write [name] with nothing behind "
                       "it but a comment, at most %d bytes",
                       ini->label, s->line, line, RG_NAME_SIZE - 1);
    }
    int before = rg_ini_section_index(ini, name);
    if (before >= 0) {
        return rg_fail(
            s->err, RG_BAD_DATA,
            "%s, line %d: section [%s] is given twice, first in line %d; join the two or "
            "rename one",
            ini->label, s->line, name, ini->section[before].line);
    }
    if (ini->sections == RG_INI_SECTIONS_MAX) {
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s, line %d: [%s] is one section more than the %d that a file may have; "
                       "split the file",
                       ini->label, s->line, name, RG_INI_SECTIONS_MAX);
    }
    rg_ini_section *section = &ini->section[ini->sections++];
    rg_copy_text(section->name, sizeof section->name, name);
    section->line = s->line;
    return RG_OK;
}

/* ini_reader: one cleaned line per call, NULL at the end or after a refusal. */
static char *next_line(char *buffer, int size, void *stream)
{
    line_source *s = stream;
    if (s->code != RG_OK || s->at >= s->end) {
        return NULL;
    }
    const char *start = s->at;
    const char *newline = memchr(start, '\n', (size_t)(s->end - start));
    const char *stop = newline != NULL ? newline : s->end;
    s->at = newline != NULL ? newline + 1 : s->end;
    s->line++;
    trim(&start, &stop);
    stop = before_comment(start, stop);
    trim(&start, &stop);
    size_t length = (size_t)(stop - start);
    if (length + 3 > (size_t)size || length + 3 > RG_INI_LINE) {
        s->code =
            rg_fail(s->err, RG_BAD_DATA,
                    "%s, line %d: %zu bytes are too long for a line, %d are allowed without the "
                    "comment; shorten it",
                    s->ini->label, s->line, length, RG_INI_LINE - 3);
        return NULL;
    }
    s->code = check_bytes(s, start, stop);
    memcpy(buffer, start, length);
    buffer[length] = 0;
    if (s->code == RG_OK && buffer[0] == '[') {
        s->code = open_section(s, buffer, length);
    }
    return s->code == RG_OK ? buffer : NULL;
}

static rg_code add_entry(const line_source *s, const char *key, const char *value)
{
    rg_ini *ini = s->ini;
    if (ini->sections == 0) {
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s, line %d: %s = %s stands before the first [section]; put the heading of "
                       "its section above it, as in %s",
                       ini->label, s->line, key, value, ini->model);
    }
    const rg_ini_entry *before = rg_ini_find(ini, ini->sections - 1, key);
    if (before != NULL) {
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s, line %d: [%s] %s = %s is given twice, in line %d as %s; remove one",
                       ini->label, s->line, ini->section[ini->sections - 1].name, key, value,
                       before->line, before->value);
    }
    if (ini->entries == RG_INI_ENTRIES_MAX) {
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s, line %d: %s = %s is one entry more than the %d that a file may have; "
                       "split the file",
                       ini->label, s->line, key, value, RG_INI_ENTRIES_MAX);
    }
    if (ini->entries == ini->entries_room) {
        int room = ini->entries_room == 0 ? 64 : 2 * ini->entries_room;
        rg_ini_entry *grown = rg_grow(ini->entry, (size_t)room, sizeof *grown);
        if (grown == NULL) {
            return rg_fail(s->err, RG_INTERNAL, "%s: out of memory", ini->label);
        }
        ini->entry = grown;
        ini->entries_room = room;
    }
    rg_ini_entry *entry = &ini->entry[ini->entries++];
    entry->section = ini->sections - 1;
    entry->line = s->line;
    rg_copy_text(entry->key, sizeof entry->key, key);
    rg_copy_text(entry->value, sizeof entry->value, value);
    return RG_OK;
}

/* ini_handler. The section is the last one that next_line opened. */
static int take_entry(void *user, const char *section, const char *name, const char *value)
{
    (void)section;
    line_source *s = user;
    if (name != NULL && value != NULL && s->code == RG_OK) {
        s->code = add_entry(s, name, value);
    }
    return s->code == RG_OK;
}

static rg_code check_text(const char *label, const char *text, size_t size, rg_error *err)
{
    if (size > RG_CONFIG_MAX_BYTES) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: %zu bytes are more than the %d that such a file may have; it is "
                       "probably another file",
                       label, size, RG_CONFIG_MAX_BYTES);
    }
    const char *nul = memchr(text, 0, size);
    if (nul != NULL) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: byte 0 at position %zu, so it is not plain text; save it as UTF-8 (not "
                       "UTF-16)",
                       label, (size_t)(nul - text));
    }
    return RG_OK;
}

static rg_code read_lines(rg_ini *ini, const char *text, size_t size, rg_error *err)
{
    static const char bom[] = "\xEF\xBB\xBF";
    line_source source = {.ini = ini, .at = text, .end = text + size, .err = err};
    if (size >= 3 && memcmp(text, bom, 3) == 0) {
        source.at += 3;
    }
    int first_bad = ini_parse_stream(next_line, &source, take_entry, &source);
    if (first_bad < 0) {
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", ini->label);
    }
    bool unsplit_line = first_bad > 0 && (source.code == RG_OK || first_bad < source.line);
    if (unsplit_line) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s, line %d: neither a [section] nor key = value nor a comment; correct it "
                       "or put a ; before it",
                       ini->label, first_bad);
    }
    return source.code;
}

rg_code rg_ini_read(const char *label, const char *model, const char *text, size_t size,
                    rg_ini **ini, rg_error *err)
{
    *ini = NULL;
    rg_code code = check_text(label, text, size, err);
    if (code != RG_OK) {
        return code;
    }
    rg_ini *made = rg_alloc(1, sizeof *made);
    if (made == NULL) {
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", label);
    }
    made->label = label;
    made->model = model;
    code = read_lines(made, text, size, err);
    if (code != RG_OK) {
        rg_ini_free(made);
        return code;
    }
    *ini = made;
    return RG_OK;
}

void rg_ini_free(rg_ini *ini)
{
    if (ini != NULL) {
        free(ini->entry);
        free(ini);
    }
}

int rg_ini_section_index(const rg_ini *ini, const char *name)
{
    for (int i = 0; i < ini->sections; i++) {
        if (strcmp(ini->section[i].name, name) == 0) {
            return i;
        }
    }
    return -1;
}

const rg_ini_entry *rg_ini_find(const rg_ini *ini, int section, const char *key)
{
    for (int i = 0; i < ini->entries; i++) {
        if (ini->entry[i].section == section && strcmp(ini->entry[i].key, key) == 0) {
            return &ini->entry[i];
        }
    }
    return NULL;
}

rg_code rg_ini_fail(const rg_ini *ini, const rg_ini_entry *entry, rg_error *err, const char *format,
                    ...)
{
    char reason[RG_ERROR_TEXT];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(reason, sizeof reason, format, arguments);
    va_end(arguments);
    return rg_fail(err, RG_BAD_DATA, "%s, line %d: [%s] %s = %s: %s", ini->label, entry->line,
                   ini->section[entry->section].name, entry->key, entry->value, reason);
}
