/*
 * bag_read.c - tag files of a bag: declaration, metadata, manifests (bag.h).
 *
 * RFC 8493 sections 2.1.1 (bagit.txt), 2.1.3 (manifests), 2.2.2 (bag-info.txt), 2.3 (text tag
 * files: lines end with LF, CR or CRLF; UTF-8 without a byte-order mark).
 */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

#include "bag_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

/* ---- files ---- */

static rg_code read_text(int fd, const char *name, rg_bag_text *tag, rg_error *err)
{
    struct stat st;
    if (fstat(fd, &st) != 0 || !S_ISREG(st.st_mode))
        return rg_fail(err, RG_BAD_DATA, "%s: is no regular file", name);
    if (st.st_size > RG_BAG_TAG_MAX_BYTES)
        return rg_fail(err, RG_BAD_DATA, "%s: has more than %d bytes, no tag file is that large",
                       name, (int)RG_BAG_TAG_MAX_BYTES);
    size_t size = (size_t)st.st_size;
    char *text = rg_alloc(size + 1, 1);
    if (!text)
        return rg_bag_no_memory(name, err);
    long got = rg_read_up_to(fd, text, size);
    if (got < 0) {
        rg_code code = rg_fail(err, RG_NO_INPUT, "%s: cannot be read (%s); check the disk", name,
                               strerror(errno));
        free(text);
        return code;
    }
    *tag = (rg_bag_text){text, (size_t)got, rg_digest_of(text, (size_t)got)};
    return RG_OK;
}

rg_code rg_bag_load(int root, const char *name, rg_bag_text *tag, rg_error *err)
{
    *tag = (rg_bag_text){0};
    int fd = rg_bag_open(root, name, O_RDONLY | O_NONBLOCK);
    if (fd < 0 && (errno == ENOENT || errno == ENOTDIR))
        return rg_fail(err, RG_BAD_DATA, "%s: is missing, so this is no whole bag", name);
    if (fd < 0 && errno == ELOOP)
        return rg_fail(err, RG_BAD_DATA, "%s: is a symbolic link, which is not followed", name);
    if (fd < 0)
        return rg_fail(err, RG_NO_INPUT, "%s: cannot be opened (%s); check that you may read it",
                       name, strerror(errno));
    rg_code code = read_text(fd, name, tag, err);
    close(fd);
    return code;
}

/* ---- lines ---- */

typedef struct lines {
    const char *at, *end;
    int number; /* of the line given last */
} lines;

/* The next line without its end; false at the end of the text. */
static bool next_line(lines *l, const char **start, size_t *length)
{
    if (l->at >= l->end)
        return false;
    const char *p = l->at;
    while (p < l->end && *p != '\n' && *p != '\r')
        p++;
    *start = l->at;
    *length = (size_t)(p - l->at);
    if (p < l->end)
        p += *p == '\r' && p + 1 < l->end && p[1] == '\n' ? 2 : 1;
    l->at = p;
    l->number++;
    return true;
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

/* NUL, other control characters, a byte-order mark and broken UTF-8 are refused for all tag
 * files. */
static rg_code check_bytes(const char *label, const char *text, size_t size, rg_error *err)
{
    int line = 1;
    if (size >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0)
        return rg_fail(err, RG_BAD_DATA, "%s: begins with a byte-order mark, which BagIt forbids",
                       label);
    for (size_t i = 0; i < size;) {
        unsigned char c = (unsigned char)text[i];
        size_t step = rg_utf8_length(text + i, size - i);
        if (step == 0 || (c < 0x20 && c != '\n' && c != '\r' && c != '\t') || c == 0x7f)
            return rg_fail(err, RG_BAD_DATA, "%s, line %d: byte 0x%02X is no text in UTF-8", label,
                           line, c);
        line += c == '\n';
        i += step;
    }
    return RG_OK;
}

/* ---- bagit.txt ---- */

rg_code rg_bag_parse_declaration(const char *label, const char *text, size_t size, rg_error *err)
{
    static const char *const want[] = {"BagIt-Version: 1.0", "Tag-File-Character-Encoding: UTF-8"};
    rg_code code = check_bytes(label, text, size, err);
    lines l = {text, text + size, 0};
    const char *start;
    size_t length;
    int found = 0;
    while (!code && next_line(&l, &start, &length)) {
        if (found < 2 && length == strlen(want[found]) &&
            strncasecmp(start, want[found], length) == 0)
            found++;
        else
            found = 3;
    }
    if (!code && found != 2)
        return rg_fail(err, RG_BAD_DATA, "%s: is not the two lines \"%s\" and \"%s\"", label,
                       want[0], want[1]);
    return code;
}

/* ---- bag-info.txt ---- */

static void trim(const char **start, size_t *length)
{
    while (*length > 0 && is_blank(**start)) {
        ++*start;
        --*length;
    }
    while (*length > 0 && is_blank((*start)[*length - 1]))
        --*length;
}

/* A folded line goes on after one blank. */
static rg_code append_value(const char *label, int number, rg_bag_info_line *line,
                            const char *start, size_t length, rg_error *err)
{
    trim(&start, &length);
    size_t n = strlen(line->value), blank = n > 0 && length > 0;
    if (n + blank + length >= sizeof line->value)
        return rg_fail(err, RG_BAD_DATA, "%s, line %d: the value of %s has more than %d bytes",
                       label, number, line->label, RG_BAG_VALUE - 1);
    if (blank)
        line->value[n++] = ' ';
    memcpy(line->value + n, start, length);
    line->value[n + length] = 0;
    return RG_OK;
}

static rg_code new_line(const char *label, int number, rg_bag_tags *tags, const char *start,
                        size_t length, rg_error *err)
{
    const char *colon = memchr(start, ':', length);
    size_t n = colon ? (size_t)(colon - start) : 0;
    if (n == 0 || is_blank(start[n - 1]) || (n + 1 < length && !is_blank(start[n + 1])))
        return rg_fail(err, RG_BAD_DATA,
                       "%s, line %d: is not a label, a colon, a blank and a value", label, number);
    if (n >= RG_BAG_LABEL)
        return rg_fail(err, RG_BAD_DATA, "%s, line %d: the label has more than %d bytes", label,
                       number, RG_BAG_LABEL - 1);
    if (tags->lines >= RG_BAG_INFO_MAX)
        return rg_fail(err, RG_BAD_DATA, "%s, line %d: more than %d labels", label, number,
                       (int)RG_BAG_INFO_MAX);
    rg_bag_info_line *line = &tags->line[tags->lines++];
    memcpy(line->label, start, n);
    return append_value(label, number, line, colon + 1, length - n - 1, err);
}

static rg_code check_oxum(const char *label, const rg_bag_tags *tags, rg_error *err)
{
    int found = 0;
    uint64_t bytes, files;
    for (int i = 0; i < tags->lines; i++) {
        if (strcasecmp(tags->line[i].label, "Payload-Oxum") != 0)
            continue;
        if (++found > 1)
            return rg_fail(err, RG_BAD_DATA, "%s: Payload-Oxum stands there twice", label);
        if (!rg_bag_parse_oxum(tags->line[i].value, &bytes, &files))
            return rg_fail(err, RG_BAD_DATA, "%s: Payload-Oxum is \"%s\", not BYTES.FILES", label,
                           tags->line[i].value);
    }
    return RG_OK;
}

rg_code rg_bag_parse_info(const char *label, const char *text, size_t size, rg_bag_tags *tags,
                          rg_error *err)
{
    memset(tags, 0, sizeof *tags);
    rg_code code = check_bytes(label, text, size, err);
    lines l = {text, text + size, 0};
    const char *start;
    size_t length;
    while (!code && next_line(&l, &start, &length)) {
        bool folded = length > 0 && is_blank(*start);
        if (folded && tags->lines > 0)
            code = append_value(label, l.number, &tags->line[tags->lines - 1], start, length, err);
        else
            code = new_line(label, l.number, tags, start, length, err);
    }
    if (!code)
        code = check_oxum(label, tags, err);
    if (code)
        memset(tags, 0, sizeof *tags);
    return code;
}

const char *rg_bag_tag(const rg_bag_tags *tags, const char *label)
{
    for (int i = 0; i < tags->lines; i++)
        if (strcasecmp(tags->line[i].label, label) == 0)
            return tags->line[i].value;
    return "";
}

static bool parse_count(const char **p, uint64_t *value)
{
    const char *start = *p;
    *value = 0;
    for (; **p >= '0' && **p <= '9'; ++*p) {
        if (*p - start >= 18)
            return false;
        *value = 10 * *value + (uint64_t)(**p - '0');
    }
    return *p > start;
}

bool rg_bag_parse_oxum(const char *value, uint64_t *bytes, uint64_t *files)
{
    return parse_count(&value, bytes) && *value++ == '.' && parse_count(&value, files) && !*value;
}

/* ---- manifests ---- */

typedef struct manifest {
    const char *label;
    rg_bag_entry *entry;
    size_t count, room;
    rg_error *err;
} manifest;

static rg_code refuse_line(const manifest *m, int number, const char *fault)
{
    return rg_fail(m->err, RG_BAD_DATA, "%s, line %d: %s", m->label, number, fault);
}

static rg_code grow(manifest *m, int number)
{
    if (m->count >= RG_BAG_FILES_MAX)
        return refuse_line(m, number, "more files than a bag of rimglow holds (100000)");
    if (m->count < m->room)
        return RG_OK;
    size_t room = m->room ? 2 * m->room : 64;
    rg_bag_entry *grown = rg_grow(m->entry, room, sizeof *grown);
    if (!grown)
        return rg_bag_no_memory(m->label, m->err);
    m->entry = grown;
    m->room = room;
    return RG_OK;
}

static rg_code take_path(manifest *m, int number, const char *start, size_t length,
                         const rg_digest *digest)
{
    if (length >= 3 * RG_BAG_PATH)
        return refuse_line(m, number, "the path is longer than 511 bytes");
    char *path = strndup(start, length);
    if (!path)
        return rg_bag_no_memory(m->label, m->err);
    bool decoded = rg_bag_decode(path);
    const char *fault = decoded ? rg_bag_path_fault(path) : NULL;
    if (!decoded || fault) {
        rg_code code =
            decoded
                ? rg_fail(m->err, RG_BAD_DATA, "%s, line %d: the path %s", m->label, number, fault)
                : refuse_line(m, number, "a '%' in the path that is not %0A, %0D or %25");
        free(path);
        return code;
    }
    m->entry[m->count++] = (rg_bag_entry){path, *digest, 0};
    return RG_OK;
}

static rg_code take_line(manifest *m, int number, const char *start, size_t length)
{
    enum { DIGITS = RG_DIGEST_TEXT - 1 };
    char digits[RG_DIGEST_TEXT];
    rg_digest digest;
    size_t blanks = 0;
    if (length > DIGITS)
        memcpy(digits, start, DIGITS);
    digits[length > DIGITS ? DIGITS : 0] = 0;
    while (DIGITS + blanks < length && is_blank(start[DIGITS + blanks]))
        blanks++;
    if (!rg_digest_parse(digits, &digest) || blanks == 0)
        return refuse_line(m, number, "is not 64 hexadecimal digits, blanks and a path");
    rg_code code = grow(m, number);
    return code ? code
                : take_path(m, number, start + DIGITS + blanks, length - DIGITS - blanks, &digest);
}

static int by_path(const void *a, const void *b)
{
    const rg_bag_entry *const *x = a, *const *y = b;
    int order = strcmp((*x)->path, (*y)->path);
    return order ? order : (*x > *y) - (*x < *y);
}

static rg_code refuse_doubles(const manifest *m)
{
    const rg_bag_entry **order = rg_alloc(m->count, sizeof *order);
    if (!order)
        return rg_bag_no_memory(m->label, m->err);
    for (size_t i = 0; i < m->count; i++)
        order[i] = &m->entry[i];
    qsort(order, m->count, sizeof *order, by_path);
    rg_code code = RG_OK;
    for (size_t i = 1; i < m->count && !code; i++)
        if (strcmp(order[i - 1]->path, order[i]->path) == 0)
            code = refuse_line(m, (int)(order[i] - m->entry) + 1, "the path stands there twice");
    free(order);
    return code;
}

rg_code rg_bag_parse_manifest(const char *label, const char *text, size_t size,
                              rg_bag_entry **entries, size_t *count, rg_error *err)
{
    *entries = NULL;
    *count = 0;
    manifest m = {.label = label, .err = err};
    rg_code code = check_bytes(label, text, size, err);
    lines l = {text, text + size, 0};
    const char *start;
    size_t length;
    while (!code && next_line(&l, &start, &length))
        code = take_line(&m, l.number, start, length);
    if (!code)
        code = refuse_doubles(&m);
    if (code) {
        rg_bag_entries_free(m.entry, m.count);
        return code;
    }
    *entries = m.entry;
    *count = m.count;
    return RG_OK;
}

/* ---- all tags ---- */

static rg_code read_declared(int root, rg_bag_tags *tags, rg_error *err)
{
    rg_bag_text declaration = {0}, info = {0}, file = {0};
    rg_code code = rg_bag_load(root, BAG_DECLARATION, &declaration, err);
    if (!code)
        code = rg_bag_parse_declaration(BAG_DECLARATION, declaration.text, declaration.size, err);
    if (!code)
        code = rg_bag_load(root, BAG_INFO, &info, err);
    if (!code)
        code = rg_bag_parse_info(BAG_INFO, info.text, info.size, tags, err);
    if (!code && !(code = rg_bag_load(root, BAG_MANIFEST, &file, err))) {
        tags->manifest = file.digest;
        free(file.text);
    }
    if (!code && !(code = rg_bag_load(root, BAG_TAGMANIFEST, &file, err))) {
        tags->tagmanifest = file.digest;
        free(file.text);
    }
    free(declaration.text);
    free(info.text);
    return code;
}

rg_code rg_bag_read_tags(const char *folder, rg_bag_tags *tags, rg_error *err)
{
    memset(tags, 0, sizeof *tags);
    int root = rg_open(AT_FDCWD, folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC, 0);
    if (root < 0)
        return rg_fail(err, RG_NO_INPUT,
                       "%s: the bag cannot be opened (%s); check its name and that you may read it",
                       folder, strerror(errno));
    rg_error text = {0};
    rg_code code = read_declared(root, tags, &text);
    close(root);
    if (!code)
        return RG_OK;
    memset(tags, 0, sizeof *tags);
    return rg_fail(err, code, "%s/%s", folder, text.text);
}
