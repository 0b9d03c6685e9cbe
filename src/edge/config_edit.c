/*
 * config_edit.c - every change becomes one splice: a place in the text, the
 * number of bytes that go, and the bytes that come. The splices are then
 * applied in one pass from front to back.
 *
 * Lines are read as config_document.c reads them: comments first, then blanks,
 * then "[name]" or "key = value" (libinih takes ':' for '=' too).
 */
#include "rimglow/config_edit.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"

enum { NAME_MAX_BYTES = 127, SPLICE_TEXT = 512 };

typedef struct span {
    const char *start, *stop;
} span;

typedef struct line {
    span whole;    /* without the newline */
    span content;  /* without comment and outer blanks */
    bool heading;  /* "[name]"; name is set */
    bool entry;    /* "key = value"; name and value are set */
    span name;     /* of the section or key */
    span value;    /* without outer blanks; empty just behind the '=' */
    size_t number; /* from 1 */
} line;

typedef struct splice {
    size_t at, cut;
    bool own_line;    /* must begin on a line of its own */
    bool new_section; /* stays behind other splices at the end of the text */
    int order;
    char *text; /* owned */
} splice;

typedef struct edit {
    const char *label;
    size_t mark; /* bytes of a byte order mark before the text */
    span text;
    const char *newline;
    const rg_config_change *change;
    int changes, splices;
    splice *splice; /* owned, room for every change */
    rg_error *err;
} edit;

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r';
}

static span trimmed(span s)
{
    while (s.start < s.stop && is_blank(*s.start))
        s.start++;
    while (s.stop > s.start && is_blank(s.stop[-1]))
        s.stop--;
    return s;
}

static bool equals(span s, const char *text)
{
    size_t length = (size_t)(s.stop - s.start);
    return strlen(text) == length && memcmp(s.start, text, length) == 0;
}

/* Where a comment begins: ';' or '#' at the start, after a blank or the '='. */
static const char *comment_in(span s)
{
    for (const char *p = s.start; p < s.stop; p++)
        if ((*p == ';' || *p == '#') && (p == s.start || is_blank(p[-1]) || p[-1] == '='))
            return p;
    return s.stop;
}

static const char *separator_in(span s)
{
    for (const char *p = s.start; p < s.stop; p++)
        if (*p == '=' || *p == ':')
            return p;
    return NULL;
}

static void split(line *l)
{
    l->heading = l->entry = false;
    span inner = trimmed(l->whole);
    inner.stop = comment_in(inner);
    l->content = inner = trimmed(inner);
    if (inner.start == inner.stop)
        return;
    if (*inner.start == '[') {
        l->heading = inner.stop[-1] == ']';
        l->name = trimmed((span){inner.start + 1, inner.stop - 1});
        return;
    }
    const char *sign = separator_in(inner);
    l->entry = sign != NULL;
    if (l->entry) {
        l->name = trimmed((span){inner.start, sign});
        l->value = trimmed((span){sign + 1, inner.stop});
        if (l->value.start == l->value.stop)
            l->value = (span){sign + 1, sign + 1};
    }
}

/* The next line of the text; false at its end. A zeroed line begins. */
static bool next_line(const edit *e, line *l)
{
    const char *start = l->number ? l->whole.stop : e->text.start;
    if (l->number && start < e->text.stop)
        start++; /* the newline */
    if (start >= e->text.stop)
        return false;
    const char *newline = memchr(start, '\n', (size_t)(e->text.stop - start));
    l->whole = (span){start, newline ? newline : e->text.stop};
    l->number++;
    split(l);
    return true;
}

static const char *after(const edit *e, const line *l)
{
    return l->whole.stop < e->text.stop ? l->whole.stop + 1 : e->text.stop;
}

/* ------------------------------------------------------- what was asked for */

static rg_code refuse(const edit *e, const rg_config_change *c, const char *why)
{
    return rg_fail(e->err, RG_BAD_DATA, "%s: [%s] %s = %s cannot be written: %s", e->label,
                   c->section, c->key, c->value, why);
}

/* Printable ASCII without blanks at its ends and without a comment. */
static bool plain(const char *text)
{
    span s = {text, text + strlen(text)}, inner = trimmed(s);
    for (const char *p = text; *p; p++)
        if ((*p < 32 && *p != '\t') || *p > 126)
            return false;
    return inner.start == s.start && inner.stop == s.stop && comment_in(s) == s.stop;
}

static rg_code check_change(const edit *e, const rg_config_change *c)
{
    if (!plain(c->value))
        return refuse(e, c,
                      "a value is printable ASCII in one line, without blanks at its ends and "
                      "without a ';' or '#' that would begin a comment; write it otherwise");
    if (!plain(c->key) || !*c->key || *c->key == '[' || strpbrk(c->key, "=:"))
        return refuse(e, c, "this is no key; name it by letters, digits and '_'");
    if (strlen(c->section) > NAME_MAX_BYTES || !*c->section)
        return refuse(e, c, "a section's name has 1 to 127 bytes; choose another");
    return RG_OK;
}

static rg_code check_changes(const edit *e)
{
    if (e->changes < 0 || e->changes > RG_CONFIG_CHANGES_MAX)
        return rg_fail(e->err, RG_BAD_DATA, "%s: %d changes at once; 0 to %d can be made", e->label,
                       e->changes, RG_CONFIG_CHANGES_MAX);
    for (int i = 0; i < e->changes; i++) {
        const rg_config_change *c = &e->change[i];
        rg_code code = check_change(e, c);
        if (code != RG_OK)
            return code;
        for (int k = 0; k < i; k++)
            if (strcmp(e->change[k].section, c->section) == 0 &&
                strcmp(e->change[k].key, c->key) == 0)
                return refuse(e, c, "the same key is to be changed twice; ask once");
    }
    return RG_OK;
}

/* ------------------------------------------------------------------ splices */

static rg_code add_splice(edit *e, const char *at, size_t cut, const char *text)
{
    splice *s = &e->splice[e->splices];
    size_t length = strlen(text);
    char *copy = rg_alloc(length + 1, 1);
    if (!copy)
        return rg_fail(e->err, RG_INTERNAL, "%s: out of memory", e->label);
    memcpy(copy, text, length);
    *s =
        (splice){.at = (size_t)(at - e->text.start), .cut = cut, .order = e->splices, .text = copy};
    e->splices++;
    return RG_OK;
}

static rg_code too_long(const edit *e, const rg_config_change *c)
{
    return refuse(e, c, "its line would have more than 197 bytes; shorten it");
}

static rg_code replace_value(edit *e, const rg_config_change *c, const line *l)
{
    char text[SPLICE_TEXT];
    if (equals(l->value, c->value))
        return RG_OK;
    bool empty = l->value.start == l->value.stop;
    const char *rest = l->value.stop;
    /* A comment may begin right behind a '=' only. */
    bool touches_comment = rest < l->whole.stop && !is_blank(*rest);
    size_t before = (size_t)(l->value.start - l->content.start);
    if (before + (empty ? 1 : 0) + strlen(c->value) > RG_CONFIG_EDIT_LINE)
        return too_long(e, c);
    snprintf(text, sizeof text, "%s%s%s", empty ? " " : "", c->value, touches_comment ? " " : "");
    return add_splice(e, l->value.start, (size_t)(l->value.stop - l->value.start), text);
}

static rg_code insert_key(edit *e, const rg_config_change *c, const char *at)
{
    char text[SPLICE_TEXT];
    if (strlen(c->key) + 3 + strlen(c->value) > RG_CONFIG_EDIT_LINE)
        return too_long(e, c);
    snprintf(text, sizeof text, "%s = %s%s", c->key, c->value, e->newline);
    rg_code code = add_splice(e, at, 0, text);
    if (code == RG_OK)
        e->splice[e->splices - 1].own_line = true;
    return code;
}

static rg_code insert_section(edit *e, const rg_config_change *c)
{
    char text[SPLICE_TEXT];
    if (!plain(c->section) || strpbrk(c->section, "[]"))
        return refuse(e, c, "a new section is named in printable ASCII without brackets");
    snprintf(text, sizeof text, "%s[%s]%s", e->text.start < e->text.stop ? e->newline : "",
             c->section, e->newline);
    rg_code code = add_splice(e, e->text.stop, 0, text);
    if (code == RG_OK)
        e->splice[e->splices - 1].own_line = e->splice[e->splices - 1].new_section = true;
    return code;
}

/* A section that is not there, with every key asked for in it, at its first change. */
static rg_code append_section(edit *e, int index)
{
    const char *section = e->change[index].section;
    for (int i = 0; i < index; i++)
        if (strcmp(e->change[i].section, section) == 0)
            return RG_OK;
    rg_code code = insert_section(e, &e->change[index]);
    for (int i = index; i < e->changes && code == RG_OK; i++) {
        if (strcmp(e->change[i].section, section) != 0)
            continue;
        code = insert_key(e, &e->change[i], e->text.stop);
        if (code == RG_OK)
            e->splice[e->splices - 1].new_section = true;
    }
    return code;
}

static rg_code given_twice(const edit *e, const rg_config_change *c, size_t first, size_t second)
{
    return rg_fail(e->err, RG_BAD_DATA,
                   "%s: [%s] %s stands in line %zu and again in line %zu; remove one before values "
                   "are written",
                   e->label, c->section, c->key, first, second);
}

static rg_code make_splice(edit *e, int index)
{
    const rg_config_change *c = &e->change[index];
    line l = {0}, heading = {0}, found = {0};
    bool inside = false;
    const char *end = NULL; /* behind the section's last key */
    while (next_line(e, &l)) {
        if (l.heading) {
            inside = equals(l.name, c->section);
            if (inside && heading.number)
                return given_twice(e, c, heading.number, l.number);
            heading = inside ? l : heading;
        }
        bool entry = inside && l.entry;
        if (entry && equals(l.name, c->key)) {
            if (found.number)
                return given_twice(e, c, found.number, l.number);
            found = l;
        }
        if (entry || (inside && l.heading))
            end = after(e, &l);
    }
    if (found.number)
        return replace_value(e, c, &found);
    return heading.number ? insert_key(e, c, end) : append_section(e, index);
}

static int by_place(const void *a, const void *b)
{
    const splice *p = a, *q = b;
    if (p->at != q->at)
        return p->at < q->at ? -1 : 1;
    if (p->new_section != q->new_section)
        return p->new_section ? 1 : -1;
    return p->order - q->order;
}

static rg_code apply(edit *e, char **edited)
{
    size_t size = (size_t)(e->text.stop - e->text.start), from = 0, used = e->mark;
    size_t room = e->mark + size + 1;
    for (int i = 0; i < e->splices; i++)
        room += strlen(e->splice[i].text) + strlen(e->newline);
    char *out = rg_alloc(room, 1);
    if (!out)
        return rg_fail(e->err, RG_INTERNAL, "%s: out of memory", e->label);
    memcpy(out, e->text.start - e->mark, e->mark);
    if (e->splices)
        qsort(e->splice, (size_t)e->splices, sizeof *e->splice, by_place);
    for (int i = 0; i <= e->splices; i++) {
        size_t to = i < e->splices ? e->splice[i].at : size;
        memcpy(out + used, e->text.start + from, to - from);
        used += to - from;
        if (i == e->splices)
            break;
        const splice *s = &e->splice[i];
        const char *gap = s->own_line && used > e->mark && out[used - 1] != '\n' ? e->newline : "";
        used += (size_t)snprintf(out + used, room - used, "%s%s", gap, s->text);
        from = to + s->cut;
    }
    *edited = out;
    return RG_OK;
}

static rg_code check_text(const edit *e)
{
    size_t size = (size_t)(e->text.stop - e->text.start);
    if (size > RG_CONFIG_EDIT_MAX_BYTES)
        return rg_fail(e->err, RG_BAD_DATA,
                       "%s: %zu bytes are more than the %d that such a file may have; it is "
                       "probably another file",
                       e->label, size, RG_CONFIG_EDIT_MAX_BYTES);
    if (size && memchr(e->text.start, 0, size))
        return rg_fail(e->err, RG_BAD_DATA,
                       "%s: a byte 0, so it is not plain text; save it as UTF-8 (not UTF-16)",
                       e->label);
    return RG_OK;
}

static const char *line_end(const char *text, size_t size)
{
    const char *first = size ? memchr(text, '\n', size) : NULL;
    return first && first > text && first[-1] == '\r' ? "\r\n" : "\n";
}

rg_code rg_config_edit(const char *label, const char *text, size_t size,
                       const rg_config_change *changes, int count, char **edited, rg_error *err)
{
    *edited = NULL;
    static const char bom[] = "\xEF\xBB\xBF";
    size_t mark = size >= 3 && memcmp(text, bom, 3) == 0 ? 3 : 0;
    edit e = {.label = label,
              .mark = mark,
              .text = {text + mark, text + size},
              .newline = line_end(text, size),
              .change = changes,
              .changes = count,
              .err = err};
    rg_code code = check_text(&e);
    if (code == RG_OK)
        code = check_changes(&e);
    if (code != RG_OK)
        return code;
    /* A new section takes one splice more than its keys. */
    e.splice = rg_alloc(2 * (size_t)count, sizeof *e.splice);
    if (!e.splice)
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", label);
    for (int i = 0; i < count && code == RG_OK; i++)
        code = make_splice(&e, i);
    if (code == RG_OK)
        code = apply(&e, edited);
    for (int i = 0; i < e.splices; i++)
        free(e.splice[i].text);
    free(e.splice);
    return code;
}
