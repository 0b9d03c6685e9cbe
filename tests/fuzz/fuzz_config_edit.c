/*
 * fuzz_config_edit.c - any text and any change: the first three lines are
 * section, key and value, the rest is the file.
 */
#include "fuzz.h"
#include "rimglow/config_board.h"
#include "rimglow/config_edit.h"

/* What was written stands there: writing it again changes nothing. */
static void check(const char *edited, const rg_config_change *change)
{
    char *again = NULL;
    rg_error err = {0};
    rg_code code = rg_config_edit("fuzz.ini", edited, strlen(edited), change, 1, &again, &err);
    require(code == RG_OK && strcmp(again, edited) == 0);
    free(again);
}

static void edit(char *part[3], const char *text, size_t size)
{
    rg_config_change change = {part[0], part[1], part[2]};
    char *exact = malloc(size > 0 ? size : 1), *edited = NULL;
    rg_error err = {0};
    rg_board_config unused;
    if (!exact)
        return;
    memcpy(exact, text, size);
    rg_code code = rg_config_edit("fuzz.ini", exact, size, &change, 1, &edited, &err);
    require(code == RG_OK ? edited != NULL : code == RG_BAD_DATA && !edited && err.text[0]);
    rg_board_config_parse("fuzz.ini", exact, size, &unused, &err);
    free(exact);
    if (code == RG_OK)
        check(edited, &change);
    free(edited);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *copy = malloc(size + 1), *at = copy, *part[3];
    if (!copy)
        return 0;
    if (size > 0)
        memcpy(copy, data, size);
    copy[size] = 0;
    for (int i = 0; i < 3; i++) {
        char *newline = at ? memchr(at, '\n', (size_t)(copy + size - at)) : NULL;
        if (newline)
            *newline = 0;
        part[i] = at;
        at = newline ? newline + 1 : NULL;
    }
    if (at)
        edit(part, at, (size_t)(copy + size - at));
    free(copy);
    return 0;
}
