/*
 * bag.c - names, paths and manifest lines of a bag (bag.h).
 *
 * Paths are judged once, here, for writing, reading and checking alike. RFC 8493 section 5.1 warns
 * of paths that leave the bag; a path that passes cannot.
 */
#include "rimglow/bag.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bag_private.h"
#include "rimglow/text.h"

/* ---- paths ---- */

static const char *component_fault(const char *name, size_t length)
{
    if (length == 0)
        return "has an empty part ('//', or a '/' at the beginning or end)";
    if (length >= RG_BAG_NAME)
        return "has a part of more than 255 bytes";
    if ((length == 1 && name[0] == '.') || (length == 2 && memcmp(name, "..", 2) == 0))
        return "has a part '.' or '..'";
    return NULL;
}

static const char *bytes_fault(const char *path, size_t length)
{
    for (size_t i = 0; i < length;) {
        unsigned char c = (unsigned char)path[i];
        if ((c < 0x20 && c != '\n' && c != '\r') || c == 0x7f)
            return "has a control character";
        size_t step = rg_utf8_length(path + i, length - i);
        if (step == 0)
            return "is not UTF-8";
        i += step;
    }
    return NULL;
}

const char *rg_bag_path_fault(const char *path)
{
    size_t length = strnlen(path, RG_BAG_PATH);
    if (length >= RG_BAG_PATH)
        return "is longer than 511 bytes";
    int depth = 0;
    for (const char *part = path;;) {
        size_t n = strcspn(part, "/");
        const char *fault = component_fault(part, n);
        if (fault)
            return fault;
        if (++depth > RG_BAG_DEPTH_MAX)
            return "lies more than 32 folders deep";
        if (!part[n])
            break;
        part += n + 1;
    }
    return bytes_fault(path, length);
}

bool rg_bag_is_payload(const char *path)
{
    return strncmp(path, BAG_PAYLOAD "/", sizeof BAG_PAYLOAD) == 0;
}

void rg_bag_printable(char *to, size_t size, const char *path)
{
    size_t length = strlen(path), skip = 0, n = 0;
    if (length >= size) {
        skip = length - size + 1 + 3;
        while (skip < length && ((unsigned char)path[skip] & 0xc0) == 0x80)
            skip++;
        n = (size_t)snprintf(to, size, "...");
    }
    for (size_t i = skip; i < length;) {
        unsigned char c = (unsigned char)path[i];
        size_t step = rg_utf8_length(path + i, length - i);
        bool shown = step > 0 && c >= 0x20 && c != 0x7f;
        for (size_t k = 0; k < (shown ? step : 1); k++)
            to[n++] = shown ? path[i + k] : '?';
        i += shown ? step : 1;
    }
    to[n] = 0;
}

/* ---- lines of a manifest ---- */

size_t rg_bag_line(char line[BAG_LINE], const char *path, const rg_digest *digest)
{
    rg_digest_format(digest, line);
    size_t n = RG_DIGEST_TEXT - 1;
    line[n++] = ' ';
    line[n++] = ' ';
    for (const char *p = path; *p; p++) {
        const char *code = *p == '\n' ? "%0A" : *p == '\r' ? "%0D" : *p == '%' ? "%25" : NULL;
        if (code)
            memcpy(line + n, code, 3);
        else
            line[n] = *p;
        n += code ? 3 : 1;
    }
    line[n++] = '\n';
    line[n] = 0;
    return n;
}

static bool is_code(const char *p, char high, char low, char low_small)
{
    return p[1] == high && (p[2] == low || p[2] == low_small);
}

bool rg_bag_decode(char *path)
{
    char *to = path;
    for (const char *p = path; *p; p++) {
        if (*p != '%') {
            *to++ = *p;
            continue;
        }
        if (is_code(p, '0', 'A', 'a'))
            *to++ = '\n';
        else if (is_code(p, '0', 'D', 'd'))
            *to++ = '\r';
        else if (is_code(p, '2', '5', '5'))
            *to++ = '%';
        else
            return false;
        p += 2;
    }
    *to = 0;
    return true;
}

rg_code rg_bag_no_memory(const char *where, rg_error *err)
{
    return rg_fail(err, RG_INTERNAL, "%s: out of memory; close other programs and try again",
                   where);
}

void rg_bag_entries_free(rg_bag_entry *entries, size_t count)
{
    for (size_t i = 0; entries && i < count; i++)
        free(entries[i].path);
    free(entries);
}

/* ---- faults ---- */

const char *rg_bag_fault_name(rg_bag_fault_kind kind)
{
    static const char *const name[] = {
        [RG_BAG_ALTERED] = "altered",
        [RG_BAG_MISSING] = "missing",
        [RG_BAG_EXTRA] = "extra",
        [RG_BAG_MOVED] = "moved",
        [RG_BAG_SWAPPED] = "swapped",
        [RG_BAG_MANIFEST_REWRITTEN] = "manifest rewritten",
        [RG_BAG_TAG_ALTERED] = "tag file altered",
        [RG_BAG_MALFORMED] = "malformed",
        [RG_BAG_OXUM] = "sum of sizes wrong",
        [RG_BAG_UNREADABLE] = "unreadable",
    };
    return (size_t)kind < sizeof name / sizeof name[0] ? name[kind] : "?";
}
