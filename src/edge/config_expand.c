/*
 * config_expand.c - frame lines with a '*' become one line per file.
 *
 * Files named in full are left to their own lines, so that "view_*.jpg =
 * closed" may stand beside "view_00.jpg = witness, exposure 0.2".
 */
#include <stdlib.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

static bool is_pattern(const char *file)
{
    return strchr(file, '*') != NULL;
}

/* pattern has one '*'. */
static bool matches(const char *pattern, const char *name)
{
    size_t before = strcspn(pattern, "*");
    const char *behind = pattern + before + 1;
    size_t after = strlen(behind), length = strlen(name);
    return length >= before + after && strncmp(pattern, name, before) == 0 &&
           strcmp(name + length - after, behind) == 0;
}

static bool is_listed(const rg_sweep_frame *frame, int frames, const char *name)
{
    for (int i = 0; i < frames; i++) {
        if (strcmp(frame[i].file, name) == 0) {
            return true;
        }
    }
    return false;
}

typedef struct frame_list {
    rg_sweep_frame *frame; /* room for RG_FRAMES_MAX */
    int frames;
} frame_list;

static rg_code add_frame(const char *label, frame_list *list, const rg_sweep_frame *model,
                         const char *name, rg_error *err)
{
    if (list->frames == RG_FRAMES_MAX) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: [frames] %s makes more than %d frames; name fewer files", label,
                       model->file, RG_FRAMES_MAX);
    }
    rg_sweep_frame *frame = &list->frame[list->frames++];
    *frame = *model;
    rg_copy_text(frame->file, sizeof frame->file, name);
    return RG_OK;
}

static rg_code expand_pattern(const char *label, const rg_sweep *sweep, const rg_sweep_frame *model,
                              char *const names[], size_t count, frame_list *list, rg_error *err)
{
    rg_code code = RG_OK;
    int found = 0;
    for (size_t i = 0; i < count && code == RG_OK; i++) {
        const char *name = names[i];
        bool candidate = matches(model->file, name) && rg_is_safe_name(name) &&
                         strcmp(name, "sweep.ini") != 0 &&
                         !is_listed(sweep->frame, sweep->frames, name);
        if (candidate && is_listed(list->frame, list->frames, name)) {
            return rg_fail(err, RG_BAD_DATA,
                           "%s: [frames] %s covers %s, which an earlier pattern covers too; make "
                           "one of them narrower",
                           label, model->file, name);
        }
        if (candidate) {
            code = add_frame(label, list, model, name, err);
            found++;
        }
    }
    if (code == RG_OK && found == 0) {
        return rg_fail(err, RG_NO_INPUT,
                       "%s: [frames] %s covers no file of the folder that is not named itself; "
                       "correct the pattern or copy the frames here",
                       label, model->file);
    }
    return code;
}

rg_code rg_sweep_expand(const char *label, rg_sweep *sweep, char *const names[], size_t count,
                        rg_error *err)
{
    frame_list list = {rg_alloc(RG_FRAMES_MAX, sizeof *list.frame), 0};
    if (list.frame == NULL) {
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", label);
    }
    rg_code code = RG_OK;
    for (int i = 0; i < sweep->frames && code == RG_OK; i++) {
        const rg_sweep_frame *frame = &sweep->frame[i];
        code = is_pattern(frame->file)
                   ? expand_pattern(label, sweep, frame, names, count, &list, err)
                   : add_frame(label, &list, frame, frame->file, err);
    }
    if (code != RG_OK) {
        free(list.frame);
        return code;
    }
    free(sweep->frame);
    sweep->frame = list.frame;
    sweep->frames = list.frames;
    return RG_OK;
}
