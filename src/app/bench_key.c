/*
 * bench_key.c - keys that close more than their own pad.
 */
#include <string.h>

#include "bench_private.h"
#include "rimglow/text.h"

/* Is the name one of a list with commas? */
static bool is_listed(const char *list, const char *name)
{
    size_t n = strlen(name);
    while (*list) {
        list += strspn(list, " ,");
        size_t k = strcspn(list, ",");
        const char *next = list + k;
        while (k && list[k - 1] == ' ')
            k--;
        if (k == n && strncmp(list, name, n) == 0)
            return true;
        list = next;
    }
    return false;
}

bool rg_bench_closes(const rg_bench *b, int by, int at)
{
    return by != at && is_listed(b->instrument.pad[by].closed_with, b->instrument.pad[at].name);
}

rg_code rg_bench_find_key(const rg_bench *b, const char *text, char key[RG_NAME_SIZE],
                          rg_error *err)
{
    const char *pad = b->instrument.pad[b->at].name;
    key[0] = 0;
    if (!text[0] || strcmp(text, pad) == 0)
        return RG_OK;
    for (int i = 0; i < b->instrument.pads; i++)
        if (strcmp(b->instrument.pad[i].name, text) == 0 && rg_bench_closes(b, i, b->at)) {
            rg_copy_text(key, RG_NAME_SIZE, text);
            return RG_OK;
        }
    return rg_fail(err, RG_USAGE,
                   "the key of \"%.60s\" does not close %.60s: closed_with of its [pad] in the "
                   "instrument's file says which it does",
                   text, pad);
}
