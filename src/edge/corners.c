/*
 * corners.c - a CSV of corners, line by line.
 */
#include "rimglow/corners.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/image.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

enum { FIELDS = 5, LINE = 512, ROOM = 64 };

typedef struct reader {
    const char *label;
    int number; /* of the line */
    bool heading;
    rg_corner_list *list;
    int room[RG_CALIBRATION_VIEWS_MAX]; /* corners that fit into each view */
    int last;                           /* view of the line before */
    rg_error *err;
} reader;

static rg_code refuse(const reader *r, const char *why)
{
    return rg_fail(r->err, RG_BAD_DATA, "%s, line %d: %s", r->label, r->number, why);
}

static char *trimmed(char *text)
{
    size_t n = strlen(text);
    while (n > 0 && (text[n - 1] == ' ' || text[n - 1] == '\t' || text[n - 1] == '\r'))
        text[--n] = 0;
    while (*text == ' ' || *text == '\t')
        text++;
    return text;
}

/* Cuts the line at its commas; the number of fields, FIELDS + 1 for more. */
static int cut(char *line, char *field[FIELDS])
{
    int n = 0;
    for (char *at = line; at;) {
        char *comma = strchr(at, ',');
        if (comma)
            *comma = 0;
        if (n == FIELDS)
            return FIELDS + 1;
        field[n++] = trimmed(at);
        at = comma ? comma + 1 : NULL;
    }
    return n;
}

/* "# size 640x480"; other comments are none of our business. */
static rg_code take_comment(const reader *r, char *line)
{
    char width[16], height[16], rest[4];
    long w, h;
    if (sscanf(line, "# size %15[^x \t]x%15[^ \t]%3s", width, height, rest) < 1)
        return RG_OK;
    if (sscanf(line, "# size %15[^x \t]x%15[^ \t]%3s", width, height, rest) != 2 ||
        !rg_parse_int(width, RG_IMAGE_MIN_SIDE, RG_IMAGE_MAX_SIDE, &w) ||
        !rg_parse_int(height, RG_IMAGE_MIN_SIDE, RG_IMAGE_MAX_SIDE, &h))
        return refuse(r, "this is no picture size; write it as in: # size 640x480");
    if (r->list->width && (r->list->width != w || r->list->height != h))
        return refuse(r, "another picture size was given before; a lens is calibrated with "
                         "pictures of one size");
    r->list->width = (int)w;
    r->list->height = (int)h;
    return RG_OK;
}

static rg_code take_heading(reader *r, char *const field[FIELDS], int fields)
{
    static const char *const name[FIELDS] = {"view", "x_mm", "y_mm", "u_px", "v_px"};
    bool same = fields == FIELDS;
    for (int i = 0; same && i < FIELDS; i++)
        same = strcmp(field[i], name[i]) == 0;
    r->heading = true;
    return same ? RG_OK : refuse(r, "the heading must be view,x_mm,y_mm,u_px,v_px");
}

/* Index of the view of that name, made when it is new; -1 with *code set. */
static int view_named(reader *r, const char *name, rg_code *code)
{
    rg_corner_list *list = r->list;
    if (list->views && strcmp(list->view[r->last].name, name) == 0)
        return r->last;
    for (int i = 0; i < list->views; i++)
        if (strcmp(list->view[i].name, name) == 0)
            return i;
    if (list->views == RG_CALIBRATION_VIEWS_MAX) {
        *code = rg_fail(r->err, RG_BAD_DATA,
                        "%s, line %d: view %s is one more than the %d that can be used; leave some "
                        "out",
                        r->label, r->number, name, RG_CALIBRATION_VIEWS_MAX);
        return -1;
    }
    rg_view *v = &list->view[list->views];
    if (!*name || !rg_copy_text(v->name, sizeof v->name, name)) {
        *code = refuse(r, "the view's name has 1 to 127 bytes; give it one such as the "
                          "photograph's file");
        return -1;
    }
    return list->views++;
}

static rg_code add_corner(reader *r, int index, rg_corner corner)
{
    rg_view *v = &r->list->view[index];
    if (v->corners == RG_CALIBRATION_POINTS_MAX)
        return rg_fail(r->err, RG_BAD_DATA,
                       "%s, line %d: view %s has more than %d corners; leave some out", r->label,
                       r->number, v->name, RG_CALIBRATION_POINTS_MAX);
    if (v->corners == r->room[index]) {
        int room = r->room[index] ? 2 * r->room[index] : ROOM;
        rg_corner *grown = rg_grow(v->corner, (size_t)room, sizeof *grown);
        if (!grown)
            return rg_fail(r->err, RG_INTERNAL, "%s: out of memory", r->label);
        v->corner = grown;
        r->room[index] = room;
    }
    v->corner[v->corners++] = corner;
    r->last = index;
    return RG_OK;
}

static rg_code take_corner(reader *r, char *const field[FIELDS], int fields)
{
    double value[FIELDS - 1];
    if (fields != FIELDS)
        return refuse(r, "a corner has five fields, view,x_mm,y_mm,u_px,v_px; correct the commas "
                         "(a point is the decimal sign)");
    for (int i = 1; i < FIELDS; i++)
        if (!rg_parse_double(field[i], &value[i - 1]))
            return rg_fail(
                r->err, RG_BAD_DATA,
                "%s, line %d: \"%.40s\" is no finite decimal number; write digits with a "
                "point",
                r->label, r->number, field[i]);
    rg_code code = RG_OK;
    int index = view_named(r, field[0], &code);
    rg_corner corner = {{value[0], value[1]}, {value[2], value[3]}};
    return index < 0 ? code : add_corner(r, index, corner);
}

static rg_code take_line(reader *r, const char *start, size_t length)
{
    char line[LINE], *field[FIELDS];
    if (length >= LINE)
        return refuse(r, "the line is longer than 511 bytes; this is probably another file");
    for (size_t i = 0; i < length; i++)
        if ((unsigned char)start[i] < 32 && start[i] != '\t' &&
            !(start[i] == '\r' && i == length - 1))
            return refuse(r, "a control character; save the file as plain text in UTF-8");
    memcpy(line, start, length);
    line[length] = 0;
    char *text = trimmed(line);
    if (!*text)
        return RG_OK;
    if (*text == '#')
        return take_comment(r, text);
    int fields = cut(text, field);
    return r->heading ? take_corner(r, field, fields) : take_heading(r, field, fields);
}

static rg_code read_lines(reader *r, const char *text, size_t size)
{
    static const char bom[] = "\xEF\xBB\xBF";
    const char *at = text, *end = text + size;
    rg_code code = RG_OK;
    if (size >= 3 && memcmp(text, bom, 3) == 0)
        at += 3;
    while (at < end && code == RG_OK) {
        const char *newline = memchr(at, '\n', (size_t)(end - at));
        const char *stop = newline ? newline : end;
        r->number++;
        code = take_line(r, at, (size_t)(stop - at));
        at = newline ? newline + 1 : end;
    }
    return code;
}

rg_code rg_corners_parse(const char *label, const char *text, size_t size, rg_corner_list *list,
                         rg_error *err)
{
    *list = (rg_corner_list){0};
    if (size > RG_CORNERS_MAX_BYTES)
        return rg_fail(err, RG_BAD_DATA,
                       "%s: %zu bytes are more than the %d that a list of corners may have; it is "
                       "probably another file",
                       label, size, RG_CORNERS_MAX_BYTES);
    rg_corner_list read = {.view = rg_alloc(RG_CALIBRATION_VIEWS_MAX, sizeof *read.view)};
    if (!read.view)
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", label);
    reader r = {.label = label, .list = &read, .err = err};
    rg_code code = read_lines(&r, text, size);
    if (code == RG_OK && read.views == 0)
        code = rg_fail(err, RG_BAD_DATA,
                       "%s: no corner in it; the first line is view,x_mm,y_mm,u_px,v_px and each "
                       "line after it one corner",
                       label);
    if (code == RG_OK)
        *list = read;
    else
        rg_corner_list_free(&read);
    return code;
}

void rg_corner_list_free(rg_corner_list *list)
{
    if (!list)
        return;
    for (int i = 0; i < list->views; i++)
        free(list->view[i].corner);
    free(list->view);
    *list = (rg_corner_list){0};
}
