/*
 * archive_hand.c - a bag to hand over (archive.h).
 */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "archive_private.h"
#include "rimglow/file.h"

static rg_code check(const char *folder, const char *remedy, rg_error *err)
{
    rg_bag_state state;
    rg_code code = rg_bag_check(folder, NULL, NULL, &state, err);
    if (code != RG_OK)
        return code;
    if (state.faults)
        code = rg_fail(err, RG_BAD_DATA, "%.300s: does not check (%s: %.100s); %s", folder,
                       rg_bag_fault_name(state.fault[0].kind), state.fault[0].file, remedy);
    rg_bag_state_free(&state);
    return code;
}

static rg_code copy_tree(const char *from, const char *to, rg_error *err);

static rg_code copy_one(const char *from, const char *to, const char *name, rg_error *err)
{
    struct stat st;
    rg_digest digest; /* the copy is checked as a whole afterwards */
    char *source = rg_path_join(from, name), *target = rg_path_join(to, name);
    rg_code code = source && target ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for a name");
    if (code == RG_OK && lstat(source, &st) != 0)
        code = rg_fail(err, RG_NO_INPUT, "%s: is gone", source);
    else if (code == RG_OK && S_ISDIR(st.st_mode))
        code = copy_tree(source, target, err);
    else if (code == RG_OK)
        code = rg_digest_copy(source, target, &digest, NULL, err);
    free(source);
    free(target);
    return code;
}

/* The depth is bounded: the bag was checked, and its check bounds it. */
static rg_code copy_tree(const char *from, const char *to, rg_error *err)
{
    rg_names names;
    rg_code code = rg_names_of_folder(from, "", &names, err);
    if (code == RG_OK)
        code = rg_folder_make(to, err);
    for (int i = 0; code == RG_OK && i < names.count; i++)
        code = copy_one(from, to, names.name[i], err);
    rg_names_free(&names);
    return code;
}

rg_code rg_archive_hand_over(const rg_archive *archive, const char *bag, const char *folder,
                             char *place, rg_error *err)
{
    char source[RG_ARCHIVE_PATH], part[RG_ARCHIVE_PATH + 8];
    rg_error ignored = {0};
    rg_code code = rg_archive_path(archive, bag, "", source, err);
    int n = snprintf(place, RG_ARCHIVE_PATH, "%s/%s", folder, bag);
    if (code == RG_OK && (n < 0 || n >= RG_ARCHIVE_PATH))
        return rg_fail(err, RG_CANT_CREATE, "%.80s...: the path is too long", folder);
    *strrchr(place, '/') = '-';
    if (code == RG_OK && access(place, F_OK) == 0)
        code = rg_fail(err, RG_CANT_CREATE, "%s: is there already; choose another --out", place);
    if (code == RG_OK)
        code = check(source, "rimglow archive verify tells more", err);
    if (code != RG_OK)
        return code;
    snprintf(part, sizeof part, "%s.part", place);
    code = rg_bag_remove(part, err); /* of a copy that was cut off */
    if (code == RG_OK)
        code = rg_folder_make(folder, err);
    if (code == RG_OK)
        code = copy_tree(source, part, err);
    if (code == RG_OK)
        code = check(part, "copy it again, to another disk", err);
    if (code == RG_OK && rename(part, place) != 0)
        code = rg_fail(err, RG_CANT_CREATE, "%s: cannot be renamed to its place (%s)", part,
                       strerror(errno));
    if (code != RG_OK)
        rg_bag_remove(part, &ignored);
    return code;
}
