/*
 * live_folder.c - the sweep folder while it grows.
 *
 * The file .capturing marks a folder that is being filled; its holder has it locked (flock), and the kernel gives
 * the lock up when the holder dies, however it dies. sweep.ini is written anew, whole, after every kept
 * frame, or after all that were kept while the disk was busy; so a run that is cut off leaves a sweep that can be
 * measured.
 */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "live_private.h"
#include "rimglow/file.h"
#include "rimglow/text.h"

enum { MARK_SIZE = 2048, CUTS_MOST = 99 };

static const char marker_name[] = ".capturing";

static rg_code path_of(const rg_live *live, const char *name, char path[RG_INPUT_PATH],
                       rg_error *err)
{
    int n = snprintf(path, RG_INPUT_PATH, "%s/%s", live->folder, name);
    if (n < 0 || n >= RG_INPUT_PATH)
        return rg_fail(err, RG_CANT_CREATE, "%.60s...: the path is too long; use a shorter one",
                       live->folder);
    return RG_OK;
}

/* What makes two runs the same job. */
static void mark_text(const rg_live *live, char text[MARK_SIZE])
{
    const rg_sweep *s = &live->sweep;
    snprintf(text, MARK_SIZE, "serial %s\npad %s\ninstrument %s\nstation %s\n", s->serial, s->pad,
             s->instrument_path, s->station_path);
}

/* ---------------------------------------------------------------- begin */

static rg_code refuse_taken(const rg_live *live, const char *why, rg_error *err)
{
    return rg_fail(err, RG_CANT_CREATE, "%s: %s; choose another name for this sweep", live->folder,
                   why);
}

/* Renames the folder of a cut-off run; beside it, so relative paths in it stay right. */
static rg_code set_aside(const rg_live *live, rg_error *err)
{
    for (int i = 1; i <= CUTS_MOST; i++) {
        char aside[RG_PLACE_SIZE + 16];
        struct stat there;
        snprintf(aside, sizeof aside, "%s.cut-%d", live->folder, i);
        if (lstat(aside, &there) == 0)
            continue;
        return rename(live->folder, aside) == 0 ? RG_OK : rg_file_refusal(aside, errno, err);
    }
    return refuse_taken(live, "too many cut-off runs of that name are here already", err);
}

/* A folder is there already. */
static rg_code meet_folder(const rg_live *live, rg_error *err)
{
    char path[RG_INPUT_PATH], mine[MARK_SIZE], theirs[MARK_SIZE] = "";
    rg_code code = path_of(live, marker_name, path, err);
    if (code != RG_OK)
        return code;
    int fd = rg_open(AT_FDCWD, path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW, 0);
    if (fd < 0)
        return refuse_taken(live, "the folder is there already", err);
    bool free_now = flock(fd, LOCK_EX | LOCK_NB) == 0;
    long n = rg_read_up_to(fd, theirs, sizeof theirs - 1);
    theirs[n > 0 ? n : 0] = '\0';
    mark_text(live, mine);
    if (!free_now)
        code = refuse_taken(live, "frames are being taken into it right now", err);
    else if (strcmp(mine, theirs) != 0)
        code = refuse_taken(live, "it holds a cut-off run of another pad or bench", err);
    else
        code = set_aside(live, err);
    close(fd);
    return code;
}

static rg_code write_marker(rg_live *live, rg_error *err)
{
    char path[RG_INPUT_PATH], text[MARK_SIZE];
    rg_code code = path_of(live, marker_name, path, err);
    mark_text(live, text);
    if (code != RG_OK)
        return code;
    live->marker = rg_open(AT_FDCWD, path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    if (live->marker < 0)
        return rg_file_refusal(path, errno, err);
    size_t size = strlen(text);
    if (flock(live->marker, LOCK_EX | LOCK_NB) != 0 || !rg_write_all(live->marker, text, size))
        return rg_file_refusal(path, errno, err);
    return RG_OK;
}

rg_code rg_live_folder_make(rg_live *live, const rg_live_job *job, rg_error *err)
{
    char above[RG_PLACE_SIZE];
    int n = snprintf(above, sizeof above, "%s/%s", job->out, job->serial);
    int m = snprintf(live->folder, sizeof live->folder, "%s/%s", above, job->name);
    if (n < 0 || m < 0 || m >= RG_PLACE_SIZE - 100)
        return rg_fail(err, RG_CANT_CREATE, "%.60s...: the path is too long; use a shorter one",
                       job->out);
    rg_code code = rg_folder_make(above, err);
    if (code == RG_OK && mkdir(live->folder, 0777) != 0) {
        code = errno == EEXIST ? meet_folder(live, err) : rg_file_refusal(live->folder, errno, err);
        if (code == RG_OK && mkdir(live->folder, 0777) != 0)
            code = rg_file_refusal(live->folder, errno, err);
    }
    if (code == RG_OK)
        code = write_marker(live, err);
    else
        return code;
    if (code != RG_OK && live->marker < 0)
        rmdir(live->folder);
    return code;
}

/* ---------------------------------------------------------------- frames */

static int count_role(const rg_sweep *sweep, rg_role role)
{
    int count = 0;
    for (int i = 0; i < sweep->frames; i++)
        count += sweep->frame[i].role == role;
    return count;
}

/* A sweep without a closed frame cannot be said in a sweep.ini; its first closed frame is what
 * makes it one. */
static rg_code write_ini(const rg_live *live, rg_error *err)
{
    char path[RG_INPUT_PATH], *text;
    if (count_role(&live->sweep, RG_ROLE_CLOSED) == 0)
        return RG_OK;
    rg_code code = path_of(live, "sweep.ini", path, err);
    if (code == RG_OK)
        code = rg_sweep_text(&live->sweep, &text, err);
    if (code != RG_OK)
        return code;
    code = rg_file_write(path, text, strlen(text), err);
    free(text);
    return code;
}

static rg_code write_frame(rg_live *live, const live_item *item, rg_error *err)
{
    static const char *const name[] = {[RG_ROLE_WITNESS] = "witness",
                                       [RG_ROLE_CLOSED] = "view",
                                       [RG_ROLE_DARK] = "dark",
                                       [RG_ROLE_OPEN] = "open"};
    char path[RG_INPUT_PATH];
    rg_sweep *s = &live->sweep;
    rg_sweep_frame *f = &s->frame[s->frames];
    *f = (rg_sweep_frame){
        .role = item->role,
        .exposure = item->exposure,
        .given = {.bearing_deg = __builtin_nan(""), .elevation_deg = __builtin_nan("")}};
    snprintf(f->file, sizeof f->file, "%s_%03d.%s", name[item->role], count_role(s, item->role),
             item->suffix);
    rg_code code = path_of(live, f->file, path, err);
    if (code == RG_OK)
        code = rg_file_write(path, item->bytes, item->size, err);
    s->frames += code == RG_OK;
    return code;
}

rg_code rg_live_folder_add(rg_live *live, live_item *const *item, int count, rg_error *err)
{
    int before = live->sweep.frames;
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < count; i++)
        code = write_frame(live, item[i], err);
    if (code == RG_OK)
        code = write_ini(live, err);
    if (code != RG_OK) /* frames that are not listed were not kept */
        live->sweep.frames = before;
    return code;
}

/* ---------------------------------------------------------------- end */

static void remove_file(const rg_live *live, const char *name)
{
    char path[RG_INPUT_PATH];
    if (path_of(live, name, path, NULL) == RG_OK)
        unlink(path);
}

rg_code rg_live_folder_close(rg_live *live, bool keep, rg_error *err)
{
    if (live->marker < 0)
        return RG_OK;
    for (int i = 0; !keep && i < live->sweep.frames; i++)
        remove_file(live, live->sweep.frame[i].file);
    remove_file(live, marker_name);
    close(live->marker);
    live->marker = -1;
    if (keep)
        return rg_folder_sync(live->folder, err);
    if (rmdir(live->folder) != 0)
        return rg_file_refusal(live->folder, errno, err);
    return RG_OK;
}

void rg_live_folder_leave(rg_live *live)
{
    close(live->marker);
    live->marker = -1;
}
