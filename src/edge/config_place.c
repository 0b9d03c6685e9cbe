/*
 * config_place.c - [place] and [marks] of sweep.ini: where the camera's place
 * comes from when no crown stands on the cup.
 *
 * What must be stated depends on the source. A key that the chosen source does
 * not use is refused: whoever writes it expects something of it.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/text.h"

#define PLACE(member) offsetof(rg_place_options, member)

typedef enum need { NEVER, MAY, MUST } need;

typedef struct place_field {
    rg_ini_field field;
    need by[3]; /* crown, jig, marks */
} place_field;

static const place_field place_fields[] = {
    {{"place", "source", RG_INI_OWN, 0, 0, 0, "source: crown, jig or marks"}, {MUST, MUST, MUST}},
    {{"place", "bearing_u_deg", RG_INI_NUMBER, PLACE(bearing_u_deg), 0, 30,
      "standard uncertainty of the stated bearings, degrees"},
     {NEVER, MUST, MUST}},
    {{"place", "elevation_u_deg", RG_INI_NUMBER, PLACE(elevation_u_deg), 0.001, 10,
      "standard uncertainty of the stated elevations, degrees"},
     {NEVER, MUST, NEVER}},
    {{"place", "distance_mm", RG_INI_NUMBER, PLACE(distance_mm), 20, 5000,
      "distance from camera to tone hole, mm"},
     {NEVER, MUST, NEVER}},
    {{"place", "outline_u_px", RG_INI_NUMBER, PLACE(outline_u_px), 0.05, 20,
      "standard uncertainty of outlines found in the picture, px"},
     {NEVER, MUST, NEVER}},
    {{"place", "click_u_px", RG_INI_NUMBER, PLACE(click_u_px), 0.05, 20,
      "standard uncertainty of a mark, px"},
     {NEVER, MAY, MUST}},
    {{"place", "seat_tilt_deg", RG_INI_NUMBER, PLACE(seat_tilt_deg), 0, 5,
      "standard deviation of a pad's tilt against its rim, degrees"},
     {NEVER, MUST, MUST}},
    {{"place", "cup_mm", RG_INI_NUMBER, PLACE(cup_mm), 1.001, 199,
      "diameter of the cup's lower edge, mm"},
     {NEVER, MAY, MAY}},
    {{"place", "cup_edge_mm", RG_INI_NUMBER, PLACE(cup_edge_mm), 0, 50,
      "height of the cup's lower edge above the rim, mm"},
     {NEVER, MAY, MAY}},
    {{"place", "cup_edge_u_mm", RG_INI_NUMBER, PLACE(cup_edge_u_mm), 0.001, 5,
      "standard uncertainty of that height, mm"},
     {NEVER, MAY, MAY}},
};
enum { PLACE_FIELDS = sizeof place_fields / sizeof place_fields[0] };

static rg_code read_source(const rg_ini *ini, int section, rg_place_options *place, rg_error *err)
{
    const rg_ini_entry *entry = rg_ini_find(ini, section, "source");
    if (entry == NULL) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: [place] has no key source; add source = crown, jig or marks",
                       ini->label);
    }
    for (int i = RG_PLACE_CROWN; i <= RG_PLACE_MARKS; i++) {
        if (strcmp(entry->value, rg_place_name((rg_place_source)i)) == 0) {
            place->source = (rg_place_source)i;
            return RG_OK;
        }
    }
    return rg_ini_fail(ini, entry, err, "no such source; write crown, jig or marks");
}

static const place_field *find_place_field(const char *key)
{
    for (int i = 0; i < PLACE_FIELDS; i++) {
        if (strcmp(place_fields[i].field.key, key) == 0) {
            return &place_fields[i];
        }
    }
    return NULL;
}

static rg_code check_place_keys(const rg_ini *ini, int section, rg_place_source source,
                                rg_error *err)
{
    for (int i = 0; i < ini->entries; i++) {
        const rg_ini_entry *entry = &ini->entry[i];
        if (entry->section != section) {
            continue;
        }
        const place_field *f = find_place_field(entry->key);
        if (f == NULL) {
            return rg_ini_fail(ini, entry, err,
                               "unknown key; the keys of [place] stand in samples/README.md");
        }
        if (f->by[source] == NEVER) {
            return rg_ini_fail(ini, entry, err,
                               "source = %s has no use for it; remove the line or change the "
                               "source",
                               rg_place_name(source));
        }
    }
    return RG_OK;
}

static rg_code check_cup(const rg_ini *ini, int section, const rg_place_options *place,
                         rg_error *err)
{
    static const char *const key[] = {"cup_mm", "cup_edge_mm", "cup_edge_u_mm"};
    int given = 0;
    for (int i = 0; i < 3; i++) {
        given += rg_ini_find(ini, section, key[i]) != NULL;
    }
    if (given != 0 && given != 3) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: [place] gives %d of cup_mm, cup_edge_mm and cup_edge_u_mm (cup_mm is "
                       "%g); marks on the cup need all three",
                       ini->label, given, place->cup_mm);
    }
    return RG_OK;
}

rg_code rg_config_fill_place(const rg_ini *ini, rg_place_options *place, rg_error *err)
{
    int section = rg_ini_section_index(ini, "place");
    *place = (rg_place_options){.source = RG_PLACE_CROWN};
    if (section < 0) {
        return RG_OK;
    }
    rg_code code = read_source(ini, section, place, err);
    if (code == RG_OK) {
        code = check_place_keys(ini, section, place->source, err);
    }
    for (int i = 0; i < PLACE_FIELDS && code == RG_OK; i++) {
        const rg_ini_field *field = &place_fields[i].field;
        const rg_ini_entry *entry = rg_ini_find(ini, section, field->key);
        if (entry != NULL) {
            code = rg_ini_convert(ini, entry, field, place, err);
        } else if (place_fields[i].by[place->source] == MUST) {
            code = rg_fail(err, RG_BAD_DATA, "%s: [place] source = %s needs %s; add the %s",
                           ini->label, rg_place_name(place->source), field->key, field->meaning);
        }
    }
    return code == RG_OK ? check_cup(ini, section, place, err) : code;
}

/* ------------------------------------------------------------ [frames] */

rg_code rg_config_fill_angle(const rg_ini *ini, const rg_ini_entry *entry, const char *item,
                             rg_place_given *given, bool *taken, rg_error *err)
{
    static const rg_ini_field angle[] = {
        {"frames", "bearing", RG_INI_NUMBER, offsetof(rg_place_given, bearing_deg), 0, 359.999999,
         "camera's bearing, degrees"},
        {"frames", "elevation", RG_INI_NUMBER, offsetof(rg_place_given, elevation_deg), -30, 30,
         "camera's elevation above the rim plane, degrees"},
    };
    *taken = false;
    for (int i = 0; i < 2; i++) {
        size_t length = strlen(angle[i].key);
        if (strncmp(item, angle[i].key, length) != 0 ||
            (item[length] != ' ' && item[length] != 0)) {
            continue;
        }
        double before = i == 0 ? given->bearing_deg : given->elevation_deg;
        if (!isnan(before)) {
            return rg_ini_fail(ini, entry, err, "the %s is given twice; remove one", angle[i].key);
        }
        rg_ini_entry part = *entry;
        snprintf(part.key, sizeof part.key, "%.120s %s", entry->key, angle[i].key);
        rg_ini_trimmed(part.value, sizeof part.value, item + length, item + strlen(item));
        *taken = true;
        return rg_ini_convert(ini, &part, &angle[i], given, err);
    }
    return RG_OK;
}

/* ------------------------------------------------------------ [marks] */

static rg_code add_mark(const rg_ini *ini, const rg_ini_entry *entry, bool cup, int number,
                        rg_vec2 pixel, rg_place_given *given, rg_error *err)
{
    if (given->marks == RG_MARKS_MAX) {
        return rg_ini_fail(ini, entry, err, "more than %d marks; give fewer", RG_MARKS_MAX);
    }
    rg_mark_kind kind = cup           ? RG_MARK_CUP
                        : number == 0 ? RG_MARK_RIM_LEFT
                        : number == 1 ? RG_MARK_RIM_RIGHT
                                      : RG_MARK_RIM;
    if (kind == RG_MARK_RIM_RIGHT && !(pixel.x > given->mark[0].pixel.x)) {
        return rg_ini_fail(ini, entry, err,
                           "the rim's second end lies left of its first; give the left one first");
    }
    given->mark[given->marks++] = (rg_mark){kind, pixel};
    return RG_OK;
}

static rg_code parse_number(const rg_ini *ini, const rg_ini_entry *entry, const char *word,
                            double *value, rg_error *err)
{
    if (!rg_parse_double(word, value) || !(*value >= -0.5 && *value <= RG_IMAGE_MAX_SIDE)) {
        return rg_ini_fail(ini, entry, err,
                           "\"%.40s\" is no pixel; write x and y in turn as numbers from -0.5 to "
                           "%d, as in: rim 412.5 388.0 871.0 390.2, cup 640 355 520 356",
                           word, RG_IMAGE_MAX_SIDE);
    }
    return RG_OK;
}

/* "rim X Y X Y ..." or "cup X Y ..."; item is changed. */
static rg_code parse_group(const rg_ini *ini, const rg_ini_entry *entry, char *item,
                           rg_place_given *given, rg_error *err)
{
    char *next = NULL, *word = strtok_r(item, " \t", &next);
    bool cup = word != NULL && strcmp(word, "cup") == 0;
    if (word == NULL || (!cup && strcmp(word, "rim") != 0)) {
        return rg_ini_fail(ini, entry, err,
                           "\"%.40s\" is neither rim nor cup; write marks as in: rim 412.5 388.0 "
                           "871.0 390.2, cup 640 355 520 356",
                           word != NULL ? word : "");
    }
    if (!cup && given->marks > 0) {
        return rg_ini_fail(ini, entry, err, "the rim comes first and once; join its points");
    }
    int number = 0;
    for (word = strtok_r(NULL, " \t", &next); word != NULL; word = strtok_r(NULL, " \t", &next)) {
        rg_vec2 pixel;
        char *y = strtok_r(NULL, " \t", &next);
        rg_code code = parse_number(ini, entry, word, &pixel.x, err);
        if (code == RG_OK) {
            code = parse_number(ini, entry, y != NULL ? y : "", &pixel.y, err);
        }
        if (code == RG_OK) {
            code = add_mark(ini, entry, cup, number++, pixel, given, err);
        }
        if (code != RG_OK) {
            return code;
        }
    }
    return number > 0 ? RG_OK : rg_ini_fail(ini, entry, err, "no points are given");
}

static rg_code check_marks(const rg_ini *ini, const rg_ini_entry *entry,
                           const rg_place_options *place, const rg_place_given *given,
                           rg_error *err)
{
    int cup = 0;
    for (int i = 0; i < given->marks; i++) {
        cup += given->mark[i].kind == RG_MARK_CUP;
    }
    if (given->marks - cup < 2) {
        return rg_ini_fail(ini, entry, err, "the rim needs its two ends, left one first");
    }
    if (cup > 0 && place->cup_mm == 0) {
        return rg_ini_fail(
            ini, entry, err,
            "marks on the cup need cup_mm, cup_edge_mm and cup_edge_u_mm in [place]");
    }
    if (place->source == RG_PLACE_MARKS && given->marks < 4) {
        return rg_ini_fail(ini, entry, err,
                           "%d marks do not hold the camera's elevation; add two or more points of "
                           "the rim or the cup's edge between the ends",
                           given->marks);
    }
    return RG_OK;
}

static rg_code parse_marks(const rg_ini *ini, const rg_ini_entry *entry,
                           const rg_place_options *place, rg_place_given *given, rg_error *err)
{
    const char *at = entry->value;
    rg_code code = RG_OK;
    while (code == RG_OK && *at != 0) {
        char item[RG_INI_LINE];
        size_t length = strcspn(at, ",");
        rg_ini_trimmed(item, sizeof item, at, at + length);
        code = parse_group(ini, entry, item, given, err);
        at += length + (at[length] == ',');
    }
    return code == RG_OK ? check_marks(ini, entry, place, given, err) : code;
}

static rg_sweep_frame *find_frame(rg_sweep *sweep, const char *file)
{
    for (int i = 0; i < sweep->frames; i++) {
        if (strcmp(sweep->frame[i].file, file) == 0) {
            return &sweep->frame[i];
        }
    }
    return NULL;
}

rg_code rg_config_fill_marks(const rg_ini *ini, rg_sweep *sweep, rg_error *err)
{
    int section = rg_ini_section_index(ini, "marks");
    for (int i = 0; i < ini->entries && section >= 0; i++) {
        const rg_ini_entry *entry = &ini->entry[i];
        if (entry->section != section) {
            continue;
        }
        rg_sweep_frame *frame = find_frame(sweep, entry->key);
        if (sweep->place.click_u_px == 0) {
            return rg_ini_fail(ini, entry, err,
                               "marks need source = marks or jig and click_u_px in [place]");
        }
        if (frame == NULL || strchr(entry->key, '*') != NULL) {
            return rg_ini_fail(ini, entry, err,
                               "[frames] has no line for this file; add it there by its full name");
        }
        rg_code code = parse_marks(ini, entry, &sweep->place, &frame->given, err);
        if (code != RG_OK) {
            return code;
        }
    }
    return RG_OK;
}

/* ------------------------------------------------------------ both together */

static rg_code lacks(const char *label, const rg_sweep_frame *frame, const char *what,
                     const char *how, rg_error *err)
{
    return rg_fail(err, RG_BAD_DATA, "%s: [frames] %s has no %s; %s", label, frame->file, what,
                   how);
}

static rg_code check_frame(const char *label, const rg_sweep *sweep, const rg_sweep_frame *frame,
                           rg_error *err)
{
    const rg_place_given *g = &frame->given;
    bool stated = !isnan(g->bearing_deg) || !isnan(g->elevation_deg);
    rg_place_source source = sweep->place.source;
    if (source == RG_PLACE_CROWN) {
        return stated ? rg_fail(err, RG_BAD_DATA,
                                "%s: [frames] %s states bearing or elevation, but the place comes "
                                "from the crown; remove them, or give [place] source = jig",
                                label, frame->file)
                      : RG_OK;
    }
    if (frame->role == RG_ROLE_OPEN) {
        return RG_OK;
    }
    if (strchr(frame->file, '*') != NULL) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: [frames] %s: with source = %s every frame has its own bearing; give "
                       "each file its own line",
                       label, frame->file, rg_place_name(source));
    }
    if (isnan(g->bearing_deg)) {
        return lacks(label, frame, "bearing", "write it as in: closed, bearing 30", err);
    }
    if (source == RG_PLACE_JIG && isnan(g->elevation_deg)) {
        return lacks(label, frame, "elevation",
                     "write it as in: closed, bearing 30, elevation -0.4", err);
    }
    if (source == RG_PLACE_MARKS && !isnan(g->elevation_deg)) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: [frames] %s: elevation %g is stated, but source = marks finds it from "
                       "the marks; remove it or use source = jig",
                       label, frame->file, g->elevation_deg);
    }
    if (source == RG_PLACE_MARKS && g->marks == 0) {
        return lacks(label, frame, "line in [marks]",
                     "mark the rim's ends and the edge between them", err);
    }
    return RG_OK;
}

rg_code rg_config_check_place(const char *label, const rg_sweep *sweep, rg_error *err)
{
    for (int i = 0; i < sweep->frames; i++) {
        rg_code code = check_frame(label, sweep, &sweep->frame[i], err);
        if (code != RG_OK) {
            return code;
        }
    }
    return RG_OK;
}

/* ------------------------------------------------------------ writing */

void rg_config_put_place(rg_text_writer *w, const rg_place_options *place)
{
    if (place->source == RG_PLACE_CROWN) {
        return;
    }
    rg_text_put(w, "\n[place]\nsource = %s\n", rg_place_name(place->source));
    for (int i = 0; i < PLACE_FIELDS; i++) {
        const rg_ini_field *field = &place_fields[i].field;
        need by = place_fields[i].by[place->source];
        double value;
        if (field->type != RG_INI_NUMBER || by == NEVER) {
            continue;
        }
        bool of_cup = strncmp(field->key, "cup_", 4) == 0;
        memcpy(&value, (const char *)place + field->offset, sizeof value);
        if (by == MUST || (of_cup ? place->cup_mm > 0 : value > 0)) {
            rg_text_put(w, "%s = %.9g\n", field->key, value);
        }
    }
}

void rg_config_put_angles(rg_text_writer *w, const rg_place_given *given)
{
    if (isfinite(given->bearing_deg)) {
        rg_text_put(w, ", bearing %.9g", given->bearing_deg);
    }
    if (isfinite(given->elevation_deg)) {
        rg_text_put(w, ", elevation %.9g", given->elevation_deg);
    }
}

void rg_config_put_marks(rg_text_writer *w, const rg_sweep *sweep)
{
    bool any = false;
    for (int i = 0; i < sweep->frames; i++) {
        const rg_place_given *g = &sweep->frame[i].given;
        if (g->marks == 0) {
            continue;
        }
        rg_text_put(w, "%s%s = rim", any ? "" : "\n[marks]\n", sweep->frame[i].file);
        any = true;
        for (int k = 0; k < g->marks; k++) {
            bool first_cup =
                g->mark[k].kind == RG_MARK_CUP && (k == 0 || g->mark[k - 1].kind != RG_MARK_CUP);
            rg_text_put(w, "%s %.9g %.9g", first_cup ? ", cup" : "", g->mark[k].pixel.x,
                        g->mark[k].pixel.y);
        }
        rg_text_put(w, "\n");
    }
}
