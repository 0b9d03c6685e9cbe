/*
 * Fuzz target for the parsers of a bag's tag files. The first byte chooses: a manifest, or
 * bag-info.txt. Besides memory errors it stops at a broken promise: a refusal without a text, a
 * path that leaves the bag, a doubled path, or a value that holds a control character.
 */
#include "fuzz.h"
#include "rimglow/bag.h"

static void check_path(const char *path)
{
    size_t n = strlen(path);
    require(n > 0 && n < RG_BAG_PATH && path[0] != '/' && path[n - 1] != '/');
    require(strstr(path, "//") == NULL && strstr(path, "/../") == NULL);
    require(strncmp(path, "../", 3) != 0 && strcmp(path, "..") != 0);
    require(n < 3 || strcmp(path + n - 3, "/..") != 0);
    for (size_t i = 0; i < n; i++)
        require((unsigned char)path[i] >= 0x20 || path[i] == '\n' || path[i] == '\r');
}

static void try_manifest(const char *text, size_t size)
{
    rg_error err = {0};
    rg_bag_entry *entry;
    size_t count;
    rg_code code = rg_bag_parse_manifest("fuzz.txt", text, size, &entry, &count, &err);
    require(code == RG_OK || (code == RG_BAD_DATA && err.text[0] && !entry && count == 0));
    for (size_t i = 0; i < count; i++)
        check_path(entry[i].path);
    for (size_t i = 0; i < count && count < 200; i++)
        for (size_t k = 0; k < i; k++)
            require(strcmp(entry[i].path, entry[k].path) != 0);
    rg_bag_entries_free(entry, count);
}

static void try_info(const char *text, size_t size)
{
    rg_error err = {0};
    rg_bag_tags tags;
    rg_code code = rg_bag_parse_info("fuzz.txt", text, size, &tags, &err);
    require(code == RG_OK || (code == RG_BAD_DATA && err.text[0] && tags.lines == 0));
    require(tags.lines >= 0 && tags.lines <= RG_BAG_INFO_MAX);
    for (int i = 0; i < tags.lines; i++) {
        const rg_bag_info_line *line = &tags.line[i];
        require(line->label[0] && strlen(line->label) < RG_BAG_LABEL);
        require(strlen(line->value) < RG_BAG_VALUE && !strpbrk(line->value, "\r\n"));
        require(rg_bag_tag(&tags, line->label) != NULL);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static fuzz_text *const parser[] = {try_manifest, try_info};
    return fuzz_chosen(parser, sizeof parser / sizeof *parser, data, size);
}
