/*
 * config_sweep.c - sweep.ini: which pad the frames of a folder show, and what
 * each frame is for.
 *
 * [frames] has one line per file, "NAME = ROLE, exposure E" and, with a jig or
 * marks, "bearing B, elevation L" (config_place.c). NAME may hold one
 * '*' for any text; a name given in full goes before a pattern
 * (config_expand.c). What rg_sweep_text writes is read back before it is handed
 * out, so no tool can write a sweep.ini that the next command refuses.
 */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/date.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

#define SWEEP(member) offsetof(rg_sweep, member)

static const rg_ini_field field[] = {
    {"sweep", "crown", RG_INI_WHOLE, SWEEP(crown_number), 0, 96, "number of the index crown"},
    {"sweep", "serial", RG_INI_TEXT, SWEEP(serial), 1, RG_NAME_SIZE, "instrument's serial number"},
    {"sweep", "instrument", RG_INI_TEXT, SWEEP(instrument_path), 1, 512,
     "path of the instrument file"},
    {"sweep", "station", RG_INI_TEXT, SWEEP(station_path), 1, 512, "path of the station file"},
    {"sweep", "pad", RG_INI_TEXT, SWEEP(pad), 1, RG_NAME_SIZE, "pad's name in the instrument file"},
    {"sweep", "finger", RG_INI_OWN, 0, 0, 0,
     "finger's force: light, firm, unstated, or grams such as 35 g"},
    {"sweep", "key", RG_INI_TEXT, SWEEP(key), 1, RG_NAME_SIZE, "pad whose key was pressed"},
    {"wedge", "feeler_mm", RG_INI_NUMBER, SWEEP(wedge.feeler_mm), 0.005, 2,
     "thickness of the feeler, mm"},
    {"wedge", "feeler_u_mm", RG_INI_NUMBER, SWEEP(wedge.feeler_u_mm), 0, 0.1,
     "standard uncertainty of the feeler's thickness, mm"},
    {"wedge", "bearing_deg", RG_INI_NUMBER, SWEEP(wedge.bearing_deg), 0, 359.999999,
     "bearing of the feeler's middle, degrees"},
    {"wedge", "width_mm", RG_INI_NUMBER, SWEEP(wedge.width_mm), 0.1, 20, "width of the feeler, mm"},
    {"taken", "date", RG_INI_OWN, 0, 0, 0, "date on which the frames were taken, or none"},
    {"taken", "gain", RG_INI_NUMBER, SWEEP(taken.gain), 0, 1e6, "camera's gain (0: not known)"},
    {"taken", "exposure_s", RG_INI_NUMBER, SWEEP(taken.exposure_s), 0, 1e4,
     "exposure of a frame whose exposure is 1, seconds (0: not known)"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};

static const rg_ini_field force_grams = {"sweep", "finger", RG_INI_NUMBER,          0,
                                         0.1,     5000,     "finger's force, grams"};

static const char *const role_name[] = {
    [RG_ROLE_WITNESS] = "witness",
    [RG_ROLE_CLOSED] = "closed",
    [RG_ROLE_DARK] = "dark",
    [RG_ROLE_OPEN] = "open",
};
static const char *const finger_name[] = {
    [RG_FINGER_UNSTATED] = "unstated",
    [RG_FINGER_LIGHT] = "light",
    [RG_FINGER_FIRM] = "firm",
    [RG_FINGER_GRAMS] = "grams",
};
enum {
    ROLES = sizeof role_name / sizeof role_name[0],
    FINGERS = sizeof finger_name / sizeof finger_name[0]
};

const char *rg_role_name(rg_role role)
{
    return (int)role >= 0 && (int)role < ROLES ? role_name[role] : "?";
}

const char *rg_finger_name(rg_finger finger)
{
    return (int)finger >= 0 && (int)finger < FINGERS ? finger_name[finger] : "?";
}

/* ------------------------------------------------------------ [sweep], [wedge] */

rg_code rg_config_fill_finger(const rg_ini *ini, const rg_ini_entry *entry, rg_finger *finger,
                              double *grams, rg_error *err)
{
    for (int i = 0; i < FINGERS; i++) {
        if (i != RG_FINGER_GRAMS && strcmp(entry->value, finger_name[i]) == 0) {
            *finger = (rg_finger)i;
            return RG_OK;
        }
    }
    size_t length = strlen(entry->value);
    if (length < 3 || strcmp(entry->value + length - 2, " g") != 0) {
        return rg_ini_fail(ini, entry, err, "write light, firm, unstated, or grams such as 35 g");
    }
    rg_ini_entry number = *entry;
    number.value[length - 2] = 0;
    *finger = RG_FINGER_GRAMS;
    return rg_ini_convert(ini, &number, &force_grams, grams, err);
}

/* The key may be left out, and so may the crown where the place comes from elsewhere. */
static rg_code fill_names(const rg_ini *ini, bool crownless, rg_sweep *sweep, rg_error *err)
{
    rg_ini_field asked[sizeof field / sizeof field[0]];
    bool keyless = rg_ini_find(ini, rg_ini_section_index(ini, "sweep"), "key") == NULL;
    int n = 0;
    for (int i = 0; i < table.fields; i++) {
        bool crown = strcmp(field[i].key, "crown") == 0, key = strcmp(field[i].key, "key") == 0;
        if (!(crown && crownless) && !(key && keyless)) {
            asked[n++] = field[i];
        }
    }
    return rg_ini_fill_named(ini, (rg_ini_table){asked, n}, "sweep", sweep, err);
}

static rg_code fill_head(const rg_ini *ini, rg_sweep *sweep, rg_error *err)
{
    int section = rg_ini_section_index(ini, "sweep");
    const rg_ini_entry *serial = rg_ini_find(ini, section, "serial");
    const rg_ini_entry *finger = rg_ini_find(ini, section, "finger");
    bool crownless = sweep->place.source != RG_PLACE_CROWN && section >= 0 &&
                     rg_ini_find(ini, section, "crown") == NULL;
    rg_code code = fill_names(ini, crownless, sweep, err);
    if (code != RG_OK) {
        return code;
    }
    if (crownless) {
        sweep->crown_number = -1;
    }
    if (!rg_is_safe_name(sweep->serial)) {
        return rg_ini_fail(
            ini, serial, err,
            "a serial names folders too: use letters, digits, - _ and . (not first), "
            "at most 120 bytes");
    }
    return rg_config_fill_finger(ini, finger, &sweep->finger, &sweep->finger_grams, err);
}

static rg_code fill_wedge(const rg_ini *ini, rg_sweep *sweep, rg_error *err)
{
    sweep->wedge.present = rg_ini_section_index(ini, "wedge") >= 0;
    return sweep->wedge.present ? rg_ini_fill_named(ini, table, "wedge", sweep, err) : RG_OK;
}

static rg_code fill_taken(const rg_ini *ini, rg_sweep *sweep, rg_error *err)
{
    int section = rg_ini_section_index(ini, "taken");
    sweep->taken = (rg_taken){.present = section >= 0, .day = -1};
    if (section < 0) {
        return RG_OK;
    }
    rg_code code = rg_ini_fill_named(ini, table, "taken", sweep, err);
    if (code == RG_OK) {
        code = rg_ini_date(ini, rg_ini_find(ini, section, "date"), &sweep->taken.day, err);
    }
    return code;
}

static rg_code check_sections(const rg_ini *ini, rg_error *err)
{
    for (int i = 0; i < ini->sections; i++) {
        const char *name = ini->section[i].name;
        if (strcmp(name, "sweep") != 0 && strcmp(name, "frames") != 0 &&
            strcmp(name, "wedge") != 0 && strcmp(name, "taken") != 0 &&
            strcmp(name, "place") != 0 && strcmp(name, "marks") != 0) {
            return rg_ini_unknown_section(
                ini, i, "[sweep], [frames], [place], [marks], [wedge] and [taken]", err);
        }
    }
    return RG_OK;
}

/* ------------------------------------------------------------ [frames] */

/* A safe name once its one '*', if any, stands for a letter. */
static bool is_frame_name(const char *file)
{
    char name[RG_NAME_SIZE];
    if (!rg_copy_text(name, sizeof name, file)) {
        return false;
    }
    char *star = strchr(name, '*');
    if (star != NULL) {
        *star = 'x';
    }
    return rg_is_safe_name(name);
}

static rg_code parse_role(const rg_ini *ini, const rg_ini_entry *entry, const char *stop,
                          rg_role *role, rg_error *err)
{
    char word[RG_INI_LINE];
    rg_ini_trimmed(word, sizeof word, entry->value, stop);
    for (int i = 0; i < ROLES; i++) {
        if (strcmp(word, role_name[i]) == 0) {
            *role = (rg_role)i;
            return RG_OK;
        }
    }
    return rg_ini_fail(ini, entry, err,
                       "\"%s\" is no role; write witness, closed, dark or open, as in: closed, "
                       "exposure 1.0",
                       word);
}

static const char exposure_word[] = "exposure ";

/* item: "exposure 0.2". */
static rg_code parse_exposure(const rg_ini *ini, const rg_ini_entry *entry, const char *item,
                              double *exposure, rg_error *err)
{
    static const rg_ini_field number = {
        "frames", "exposure", RG_INI_NUMBER, 0, 1e-6, 1e6, "exposure relative to a closed frame's"};
    rg_ini_entry part = *entry;
    const char *value = item + sizeof exposure_word - 1;
    snprintf(part.key, sizeof part.key, "%.120s exposure", entry->key);
    rg_ini_trimmed(part.value, sizeof part.value, value, value + strlen(value));
    return rg_ini_convert(ini, &part, &number, exposure, err);
}

static rg_code no_exposure(const rg_ini *ini, const rg_ini_entry *entry, rg_error *err)
{
    return rg_ini_fail(ini, entry, err,
                       "no exposure is given; write it behind the role, as in: witness, "
                       "exposure 0.2");
}

/* One part of a line behind the role: exposure, bearing or elevation. */
static rg_code parse_item(const rg_ini *ini, const rg_ini_entry *entry, const char *item,
                          rg_sweep_frame *frame, bool *exposed, rg_error *err)
{
    bool taken = false;
    if (strncmp(item, exposure_word, sizeof exposure_word - 1) == 0 && !*exposed) {
        *exposed = true;
        return parse_exposure(ini, entry, item, &frame->exposure, err);
    }
    rg_code code = rg_config_fill_angle(ini, entry, item, &frame->given, &taken, err);
    if (code != RG_OK || taken) {
        return code;
    }
    return *exposed ? rg_ini_fail(ini, entry, err,
                                  "\"%.60s\" is not known; behind the role stand exposure, bearing "
                                  "and elevation, each once, as in: closed, exposure 1, bearing 30",
                                  item)
                    : no_exposure(ini, entry, err);
}

/* Up to the next comma that is none within a number: "0,2" is told apart later. */
static size_t item_length(const char *item)
{
    size_t length = strcspn(item, ",");
    while (item[length] == ',' && item[length + 1] >= '0' && item[length + 1] <= '9') {
        length += 1 + strcspn(item + length + 1, ",");
    }
    return length;
}

/* after: what stands behind the role, from its comma on. */
static rg_code parse_items(const rg_ini *ini, const rg_ini_entry *entry, const char *after,
                           rg_sweep_frame *frame, rg_error *err)
{
    bool exposed = false;
    rg_code code = RG_OK;
    while (code == RG_OK && *after == ',') {
        char item[RG_INI_LINE];
        size_t length = item_length(after + 1);
        rg_ini_trimmed(item, sizeof item, after + 1, after + 1 + length);
        code = parse_item(ini, entry, item, frame, &exposed, err);
        after += 1 + length;
    }
    if (code == RG_OK && !exposed && frame->role != RG_ROLE_CLOSED) {
        return no_exposure(ini, entry, err);
    }
    return code;
}

static rg_code parse_frame(const rg_ini *ini, const rg_ini_entry *entry, rg_sweep_frame *frame,
                           rg_error *err)
{
    if (!is_frame_name(entry->key)) {
        return rg_ini_fail(ini, entry, err,
                           "not the name of a file in the sweep's own folder; use letters, digits, "
                           "- _ . (not first) and at most one *");
    }
    rg_copy_text(frame->file, sizeof frame->file, entry->key);
    const char *comma = entry->value + strcspn(entry->value, ",");
    rg_code code = parse_role(ini, entry, comma, &frame->role, err);
    frame->exposure = 1;
    frame->given = (rg_place_given){.bearing_deg = NAN, .elevation_deg = NAN};
    if (code == RG_OK) {
        code = parse_items(ini, entry, comma, frame, err);
    }
    return code;
}

static int count_role(const rg_sweep *sweep, rg_role role)
{
    int count = 0;
    for (int i = 0; i < sweep->frames; i++) {
        count += sweep->frame[i].role == role;
    }
    return count;
}

/* A witness as bright as the closed frames is clipped and measures no lamp. */
static rg_code check_exposures(const char *label, const rg_sweep *sweep, rg_error *err)
{
    double closed = INFINITY;
    for (int i = 0; i < sweep->frames; i++)
        if (sweep->frame[i].role == RG_ROLE_CLOSED)
            closed = fmin(closed, sweep->frame[i].exposure);
    for (int i = 0; i < sweep->frames; i++) {
        const rg_sweep_frame *f = &sweep->frame[i];
        if (f->role == RG_ROLE_WITNESS && f->exposure > closed)
            return rg_fail(err, RG_BAD_DATA,
                           "%s: [frames] %s = witness, exposure %g: a witness exposed longer than "
                           "the closed frames (%g) is clipped; take it again at a shorter exposure",
                           label, f->file, f->exposure, closed);
    }
    return RG_OK;
}

/* Frames of the open key alone are a sweep for key heights; anything else
 * needs closed frames. */
static rg_code check_roles(const char *label, const rg_sweep *sweep, rg_error *err)
{
    int witnesses = count_role(sweep, RG_ROLE_WITNESS);
    bool heights = count_role(sweep, RG_ROLE_OPEN) > 0 && witnesses == 0;
    if (count_role(sweep, RG_ROLE_CLOSED) == 0 && !heights) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: [frames] lists no closed frame among %d, so there is nothing to "
                       "measure; add lines such as view_*.jpg = closed, exposure 1.0",
                       label, sweep->frames);
    }
    return RG_OK;
}

static int count_frames(const rg_ini *ini, int section)
{
    int count = 0;
    for (int i = 0; i < ini->entries; i++) {
        count += ini->entry[i].section == section;
    }
    return count;
}

static rg_code fill_frames(const rg_ini *ini, rg_sweep *sweep, rg_error *err)
{
    int section = rg_ini_section_index(ini, "frames");
    int count = section < 0 ? 0 : count_frames(ini, section);
    if (count == 0 || count > RG_FRAMES_MAX) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: [frames] lists %d files; give 1 to %d, one line each, such as "
                       "view_00.jpg = closed, exposure 1.0",
                       ini->label, count, RG_FRAMES_MAX);
    }
    sweep->frame = rg_alloc((size_t)count, sizeof *sweep->frame);
    if (sweep->frame == NULL) {
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", ini->label);
    }
    for (int i = 0; i < ini->entries; i++) {
        if (ini->entry[i].section == section) {
            rg_code code = parse_frame(ini, &ini->entry[i], &sweep->frame[sweep->frames], err);
            if (code != RG_OK) {
                return code;
            }
            sweep->frames++;
        }
    }
    rg_code code = check_roles(ini->label, sweep, err);
    return code == RG_OK ? check_exposures(ini->label, sweep, err) : code;
}

rg_code rg_sweep_parse(const char *label, const char *text, size_t size, rg_sweep *sweep,
                       rg_error *err)
{
    *sweep = (rg_sweep){0};
    rg_ini *ini;
    rg_code code = rg_ini_read(label, "samples/README.md", text, size, &ini, err);
    if (code != RG_OK) {
        return code;
    }
    code = check_sections(ini, err);
    if (code == RG_OK) {
        code = rg_config_fill_place(ini, &sweep->place, err);
    }
    if (code == RG_OK) {
        code = fill_head(ini, sweep, err);
    }
    if (code == RG_OK) {
        code = fill_wedge(ini, sweep, err);
    }
    if (code == RG_OK) {
        code = fill_taken(ini, sweep, err);
    }
    if (code == RG_OK) {
        code = fill_frames(ini, sweep, err);
    }
    if (code == RG_OK) {
        code = rg_config_fill_marks(ini, sweep, err);
    }
    if (code == RG_OK) {
        code = rg_config_check_place(label, sweep, err);
    }
    if (code != RG_OK) {
        rg_sweep_free(sweep);
    }
    rg_ini_free(ini);
    return code;
}

void rg_sweep_free(rg_sweep *sweep)
{
    if (sweep != NULL) {
        free(sweep->frame);
        *sweep = (rg_sweep){0};
    }
}

/* ------------------------------------------------------------ writing */

void rg_text_put(rg_text_writer *w, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    int n = vsnprintf(w->text + w->used, w->size - w->used, format, arguments);
    va_end(arguments);
    if (n < 0 || (size_t)n >= w->size - w->used) {
        w->full = true;
    } else {
        w->used += (size_t)n;
    }
}

static void put_sweep(rg_text_writer *w, const rg_sweep *s)
{
    rg_text_put(w, "[sweep]\nserial = %s\ninstrument = %s\nstation = %s\n", s->serial,
                s->instrument_path, s->station_path);
    rg_text_put(w, "pad = %s\n", s->pad);
    if (s->crown_number >= 0 || s->place.source == RG_PLACE_CROWN) {
        rg_text_put(w, "crown = %d\n", s->crown_number);
    }
    if (s->finger == RG_FINGER_GRAMS) {
        rg_text_put(w, "finger = %.9g g\n", s->finger_grams);
    } else {
        rg_text_put(w, "finger = %s\n", rg_finger_name(s->finger));
    }
    if (s->key[0] != 0) {
        rg_text_put(w, "key = %s\n", s->key);
    }
    if (s->wedge.present) {
        rg_text_put(
            w,
            "\n[wedge]\nfeeler_mm = %.9g\nfeeler_u_mm = %.9g\nbearing_deg = %.9g\nwidth_mm = "
            "%.9g\n",
            s->wedge.feeler_mm, s->wedge.feeler_u_mm, s->wedge.bearing_deg, s->wedge.width_mm);
    }
    if (s->taken.present) {
        char date[RG_DATE_TEXT] = "none";
        if (s->taken.day >= 0)
            rg_date_format(s->taken.day, date);
        rg_text_put(w, "\n[taken]\ndate = %s\ngain = %.9g\nexposure_s = %.9g\n", date,
                    s->taken.gain, s->taken.exposure_s);
    }
    rg_config_put_place(w, &s->place);
    rg_text_put(w, "\n[frames]\n");
    for (int i = 0; i < s->frames; i++) {
        const rg_sweep_frame *f = &s->frame[i];
        rg_text_put(w, "%s = %s, exposure %.9g", f->file, rg_role_name(f->role), f->exposure);
        rg_config_put_angles(w, &f->given);
        rg_text_put(w, "\n");
    }
    rg_config_put_marks(w, s);
}

rg_code rg_sweep_text(const rg_sweep *sweep, char **text, rg_error *err)
{
    *text = NULL;
    rg_text_writer w = {.size = 4096 + 1024 * (size_t)sweep->frames};
    w.text = rg_alloc(w.size, 1);
    if (w.text == NULL) {
        return rg_fail(err, RG_INTERNAL, "sweep.ini: out of memory");
    }
    put_sweep(&w, sweep);
    rg_sweep again = {0};
    rg_code code = w.full ? rg_fail(err, RG_INTERNAL, "sweep.ini: its text does not fit")
                          : rg_sweep_parse("sweep.ini to be written", w.text, w.used, &again, err);
    rg_sweep_free(&again);
    if (code != RG_OK) {
        free(w.text);
        return code;
    }
    *text = w.text;
    return RG_OK;
}
