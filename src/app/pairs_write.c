/*
 * pairs_write.c - cases as files for handing out (pairs.h).
 */
#define _XOPEN_SOURCE 700 /* realpath */

#include <dirent.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pairs_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

#define CAUTION_NAME "look-at-these-first.txt"

static const char caution[] =
    "LOOK AT EVERY PICTURE BEFORE YOU HAND IT OUT.\n"
    "\n"
    "These are true photographs from the shop's own archive beside their seal maps, one folder a "
    "case.\n"
    "\n"
    "Taken out: serial, owner, technician, dates, notes, names of files; whatever the camera had "
    "written into\n"
    "the photographs (each was made anew from its pixels); all but the cup and the rim.\n"
    "\n"
    "Not taken out, since no program can tell it from the lesson:\n"
    "- what is engraved or stamped within the picture: a serial, a name, a maker's mark;\n"
    "- the number printed on the paper crown, and the pad's name;\n"
    "- hands, and what the lacquer mirrors;\n"
    "- lacquer, wear and dents by which somebody may know the instrument again, the camera's own "
    "noise, and the\n"
    "  numbers of the map: who has the archive can find the case in it.\n"
    "\n"
    "Throw a folder away when in doubt. The names of the cases tell nothing without the shop's key "
    "file.\n"
    "\n"
    "The truth of each case is rimglow's own seal map of the whole sweep, with its uncertainty; "
    "nobody measured\n"
    "these gaps with a gauge. A dark photograph proves nothing: see out-of-view.jpg beside "
    "in-view.jpg.\n";

/* ---------------------------------------------------------------- where */

/* The part of a path that is there already, without links. */
static rg_code real_beginning(const char *path, char real[PATH_MAX], rg_error *err)
{
    char part[RG_ARCHIVE_PATH];
    if (!rg_copy_text(part, sizeof part, path) || !part[0])
        return rg_fail(err, RG_USAGE, "the path \"%.60s\" is empty or too long", path);
    while (!realpath(part[0] ? part : ".", real)) {
        char *slash = strrchr(part, '/');
        if (errno != ENOENT || !part[0])
            return rg_fail(err, RG_CANT_CREATE, "%s: cannot be used (%s)", path, strerror(errno));
        if (strcmp(slash ? slash + 1 : part, "..") == 0)
            return rg_fail(err, RG_USAGE, "%s: name the folder without \"..\"", path);
        if (slash == part)
            rg_copy_text(part, sizeof part, "/");
        else
            *(slash ? slash : part) = 0;
    }
    return RG_OK;
}

static rg_code outside(const rg_pairs *pairs, const char *folder, rg_error *err)
{
    char archive[PATH_MAX], real[PATH_MAX];
    rg_code code = real_beginning(folder, real, err);
    if (code != RG_OK)
        return code;
    if (!realpath(pairs->archive, archive))
        return rg_fail(err, RG_NO_INPUT, "%s: is gone", pairs->archive);
    size_t n = strlen(archive);
    if (strncmp(real, archive, n) == 0 && (real[n] == 0 || real[n] == '/'))
        return rg_fail(err, RG_USAGE, "%s: lies in the archive, which is only read; choose another",
                       folder);
    return RG_OK;
}

/* What lies there would be handed out too. */
static rg_code is_empty(const char *folder, rg_error *err)
{
    DIR *d = opendir(folder);
    int entries = 0;
    if (!d && errno == ENOENT)
        return RG_OK;
    if (!d)
        return rg_fail(err, RG_CANT_CREATE, "%s: cannot be opened (%s)", folder, strerror(errno));
    while (readdir(d))
        entries++;
    closedir(d);
    if (entries > 2)
        return rg_fail(err, RG_USAGE,
                       "%s: is not empty, and what lies there would be handed out with the cases; "
                       "name a new folder",
                       folder);
    return RG_OK;
}

/* ---------------------------------------------------------------- files */

static rg_code put(const char *folder, const char *name, const void *bytes, size_t size,
                   rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    int n = snprintf(path, sizeof path, "%s/%s", folder, name);
    if (n < 0 || (size_t)n >= sizeof path)
        return rg_fail(err, RG_CANT_CREATE, "%.80s...: the path is too long", folder);
    return rg_file_write(path, bytes, size, err);
}

typedef struct output {
    rg_pair_picture picture;
    int view; /* -1: of none */
    rg_picture_format format;
    const char *name;
} output;

static const output outputs[] = {
    {RG_PAIR_PHOTO, RG_PAIRS_IN, RG_PICTURE_PNG, "in-view.jpg"},
    {RG_PAIR_MARKED, RG_PAIRS_IN, RG_PICTURE_PNG, "in-view-marked.png"},
    {RG_PAIR_MARKED, RG_PAIRS_IN, RG_PICTURE_PDF, "in-view-marked.pdf"},
    {RG_PAIR_PHOTO, RG_PAIRS_OUT, RG_PICTURE_PNG, "out-of-view.jpg"},
    {RG_PAIR_MARKED, RG_PAIRS_OUT, RG_PICTURE_PNG, "out-of-view-marked.png"},
    {RG_PAIR_MARKED, RG_PAIRS_OUT, RG_PICTURE_PDF, "out-of-view-marked.pdf"},
    {RG_PAIR_RING, -1, RG_PICTURE_PDF, "ring.pdf"},
    {RG_PAIR_RING, -1, RG_PICTURE_SVG, "ring.svg"},
    {RG_PAIR_STRIP, -1, RG_PICTURE_PNG, "strip.png"},
    {RG_PAIR_STRIP, -1, RG_PICTURE_PDF, "strip.pdf"},
};

static rg_code write_pictures(const rg_pair *pair, const char *folder, rg_error *err)
{
    rg_code code = RG_OK;
    for (size_t i = 0; code == RG_OK && i < sizeof outputs / sizeof *outputs; i++) {
        const output *o = &outputs[i];
        rg_bytes bytes = {0};
        if (o->view >= 0 && !rg_pair_view(pair, o->view)->there)
            continue;
        code = rg_pair_draw(pair, o->picture, o->view, o->format, &bytes, err);
        if (code == RG_OK)
            code = put(folder, o->name, bytes.data, bytes.size, err);
        free(bytes.data);
    }
    return code;
}

/* The JSON last: where it is, everything is. */
static rg_code write_case(const rg_pair *pair, const char *into, rg_error *err)
{
    char folder[RG_ARCHIVE_PATH], *text = NULL;
    int n = snprintf(folder, sizeof folder, "%s/%s", into, rg_pair_truth(pair)->name);
    if (n < 0 || (size_t)n >= sizeof folder)
        return rg_fail(err, RG_CANT_CREATE, "%.80s...: the path is too long", into);
    rg_code code = rg_folder_make(folder, err);
    if (code == RG_OK)
        code = write_pictures(pair, folder, err);
    if (code == RG_OK)
        code = rg_pair_json(pair, &text, err);
    if (code == RG_OK)
        code = put(folder, "pair.json", text, strlen(text), err);
    free(text);
    return code;
}

/* ---------------------------------------------------------------- all */

typedef struct writing {
    rg_pairs *pairs;
    const rg_pairs_choice *choice;
    const char *folder;
    const rg_progress *progress;
    rg_pairs_written *written;
} writing;

static void leave_out(writing *w, const rg_pairs_left_out *out)
{
    rg_pairs_left_out *all = &w->written->left_out;
    if (all->damaged == 0)
        all->first = out->first;
    all->damaged += out->damaged;
    all->bags += out->bags;
}

static rg_code write_one(writing *w, const char *name, rg_error *err)
{
    rg_error why = {0};
    rg_pair *pair;
    rg_code code = rg_pair_open(w->pairs, name, &pair, &why);
    if (code == RG_BAD_DATA)
        leave_out(w, &(const rg_pairs_left_out){1, 1, why});
    if (code == RG_BAD_DATA || code == RG_USAGE)
        return RG_OK;
    if (code != RG_OK)
        return rg_fail(err, code, "%s", why.text);
    code = write_case(pair, w->folder, err);
    rg_pair_free(pair);
    w->written->cases += code == RG_OK;
    if (code == RG_OK && w->progress && w->progress->report)
        w->progress->report(w->progress->context, "cases", w->written->cases,
                            rg_pairs_settings_of(w->pairs)->most);
    return code;
}

static rg_code write_page(writing *w, const rg_pairs_page *page, rg_error *err)
{
    rg_code code = RG_OK;
    leave_out(w, &page->left_out);
    for (int i = 0; code == RG_OK && i < page->count; i++) {
        if (w->written->cases >= rg_pairs_settings_of(w->pairs)->most) {
            w->written->more = true;
            break;
        }
        code = write_one(w, page->truth[i].name, err);
    }
    return code;
}

static rg_code write_all(writing *w, rg_error *err)
{
    rg_pairs_page *page = rg_alloc(1, sizeof *page);
    rg_code code = page ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for a list of cases");
    for (int from = 0; code == RG_OK && from >= 0 && !w->written->more;
         from = code == RG_OK ? page->next : -1) {
        code = rg_pairs_list(w->pairs, w->choice, from, page, err);
        if (code == RG_OK)
            code = write_page(w, page, err);
    }
    free(page);
    return code;
}

rg_code rg_pairs_write(rg_pairs *pairs, const rg_pairs_choice *choice, const char *folder,
                       const rg_progress *progress, rg_pairs_written *written, rg_error *err)
{
    /* cppcheck-suppress ctuuninitvar ; a place to fill */
    writing w = {pairs, choice, folder, progress, written};
    *written = (rg_pairs_written){0};
    rg_code code = outside(pairs, folder, err);
    if (code == RG_OK)
        code = is_empty(folder, err);
    if (code == RG_OK)
        code = rg_folder_make(folder, err);
    if (code == RG_OK) /* first: no picture is there without it */
        code = put(folder, CAUTION_NAME, caution, strlen(caution), err);
    return code == RG_OK ? write_all(&w, err) : code;
}
