/*
 * config_render.c - plans of sweeps to be rendered.
 */
#include "rimglow/config_render.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

#define PLAN(member)  offsetof(rg_render_plan, member)
#define SWEEP(member) offsetof(rg_render_sweep, member)
#define FRAME(member) offsetof(rg_render_frame, member)

static const char every_sweep[] = "every sweep";
static const char sweep_prefix[] = "sweep ", frame_prefix[] = "frame ";
static const char *const format_name[] = {"jpeg", "png", NULL};

static const rg_ini_field field[] = {
    {"render", "serial", RG_INI_TEXT, PLAN(serial), 1, RG_NAME_SIZE, "serial number"},
    {"render", "instrument", RG_INI_TEXT, PLAN(instrument_path), 1, 512, "instrument file"},
    {"render", "station", RG_INI_TEXT, PLAN(station_path), 1, 512, "station file"},
    {"render", "seed", RG_INI_WHOLE, PLAN(seed), 0, 1000000000, "seed of noise and unsteadiness"},
    {"render", "date", RG_INI_OWN, 0, 0, 0, "date of the frames, or none"},
    {"sweep", "pad", RG_INI_TEXT, SWEEP(pad), 1, RG_NAME_SIZE, "pad of the instrument file, or *"},
    {"sweep", "open", RG_INI_SWITCH, SWEEP(open), 0, 0, "key at rest: frames of the open pad"},
    {"sweep", "finger", RG_INI_OWN, 0, 0, 0, "light, firm, unstated, or grams such as 35 g"},
    {"sweep", "key", RG_INI_TEXT, SWEEP(key), 0, RG_NAME_SIZE, "pad whose key is pressed, or none"},
    {"sweep", "level_mm", RG_INI_NUMBER, SWEEP(level_mm), -5, 10, "height of the pad's middle, mm"},
    {"sweep", "tilt_mm", RG_INI_NUMBER, SWEEP(tilt_mm), 0, 10, "tilt at the rim, mm"},
    {"sweep", "tilt_bearing_deg", RG_INI_NUMBER, SWEEP(tilt_bearing_deg), -360, 360,
     "bearing that the tilt raises, degrees"},
    {"sweep", "saddle_mm", RG_INI_NUMBER, SWEEP(saddle_mm), 0, 5, "saddle at the rim, mm"},
    {"sweep", "saddle_bearing_deg", RG_INI_NUMBER, SWEEP(saddle_bearing_deg), -360, 360,
     "bearing that the saddle raises, degrees"},
    {"sweep", "creases", RG_INI_OWN, 0, 0, 0, "creases: bearing, half width, depth; and so on"},
    {"sweep", "press_mm", RG_INI_NUMBER, SWEEP(press_mm), 0, 1, "how deep the land sinks in, mm"},
    {"sweep", "bulge_mm", RG_INI_NUMBER, SWEEP(bulge_mm), 0, 1, "bulge outside the seat, mm"},
    {"sweep", "askew_x", RG_INI_NUMBER, SWEEP(askew_x), -0.1, 0.1, "slope of the pad in its cup"},
    {"sweep", "askew_y", RG_INI_NUMBER, SWEEP(askew_y), -0.1, 0.1, "slope of the pad in its cup"},
    {"sweep", "feeler_mm", RG_INI_NUMBER, SWEEP(feeler_mm), 0, 2, "feeler's thickness, 0: none"},
    {"sweep", "feeler_u_mm", RG_INI_NUMBER, SWEEP(feeler_u_mm), 0, 1, "its uncertainty, mm"},
    {"sweep", "feeler_bearing_deg", RG_INI_NUMBER, SWEEP(feeler_bearing_deg), 0, 360,
     "its bearing, degrees"},
    {"sweep", "feeler_width_mm", RG_INI_NUMBER, SWEEP(feeler_width_mm), 0, 50, "its width, mm"},
    {"sweep", "lamp", RG_INI_NUMBER, SWEEP(lamp), 0, 100, "brightness of the lamp, 1: as usual"},
    {"sweep", "lamp_uneven", RG_INI_NUMBER, SWEEP(lamp_uneven), -1, 1, "its unevenness"},
    {"sweep", "lamp_bearing_deg", RG_INI_NUMBER, SWEEP(lamp_bearing_deg), -360, 360,
     "bearing of its brightest side, degrees"},
    {"sweep", "paper", RG_INI_NUMBER, SWEEP(paper), 0, 10, "light of the crown's paper"},
    {"sweep", "metal", RG_INI_NUMBER, SWEEP(metal), 0, 10, "light of chimney and cup"},
    {"sweep", "leather", RG_INI_NUMBER, SWEEP(leather), 0, 10, "light of the pad's leather"},
    {"sweep", "room", RG_INI_NUMBER, SWEEP(room), 0, 10, "light of the room behind"},
    {"sweep", "streaks", RG_INI_OWN, 0, 0, 0, "streaks: azimuth, width, light, low, high; ..."},
    {"sweep", "posts", RG_INI_SWITCH, SWEEP(posts), 0, 0, "key arm, hinge rod and posts are there"},
    {"sweep", "witness", RG_INI_SWITCH, SWEEP(witness), 0, 0, "a witness frame"},
    {"sweep", "witness_exposure", RG_INI_NUMBER, SWEEP(witness_exposure), 0.001, 100,
     "its exposure against a closed frame's"},
    {"sweep", "witness_mm", RG_INI_NUMBER, SWEEP(witness_mm), 0.1, 5, "how far it is open, mm"},
    {"sweep", "open_exposure", RG_INI_NUMBER, SWEEP(open_exposure), 0.001, 100,
     "exposure of open frames against a closed frame's"},
    {"sweep", "falloff_power", RG_INI_NUMBER, SWEEP(falloff_power), 0, 16,
     "power of the cosine by which the lens darkens outwards, 4: a plain lens"},
    {"sweep", "vignetting", RG_INI_NUMBER, SWEEP(vignetting), 0, 0.95,
     "share of light that mounts and stops take from the corners besides"},
    {"sweep", "blur_px", RG_INI_NUMBER, SWEEP(blur_px), 0.3, 4, "sigma of the blur, px"},
    {"sweep", "glare", RG_INI_NUMBER, SWEEP(glare), 0, 0.5, "share of light spread evenly"},
    {"sweep", "full_well", RG_INI_NUMBER, SWEEP(full_well), 100, 1e7, "electrons at saturation"},
    {"sweep", "read_noise", RG_INI_NUMBER, SWEEP(read_noise), 0, 1e4, "read noise, electrons"},
    {"sweep", "format", RG_INI_OWN, 0, 0, 0, "jpeg or png"},
    {"sweep", "jpeg_quality", RG_INI_WHOLE, SWEEP(jpeg_quality), 1, 100, "quality of the JPEGs"},
    {"sweep", "distance_mm", RG_INI_NUMBER, SWEEP(distance_mm), 20, 5000, "camera to axis, mm"},
    {"sweep", "aim_mm", RG_INI_NUMBER, SWEEP(aim_mm), -50, 50,
     "height on the axis that the camera looks at, mm"},
    {"sweep", "first_bearing_deg", RG_INI_NUMBER, SWEEP(first_bearing_deg), -360, 360,
     "first bearing of the camera, degrees"},
    {"sweep", "bearings", RG_INI_WHOLE, SWEEP(bearings), 1, 72, "bearings of the camera"},
    {"sweep", "elevations_deg", RG_INI_OWN, 0, 0, 0, "elevations at each bearing, degrees"},
    {"sweep", "bearing_spread_deg", RG_INI_NUMBER, SWEEP(bearing_spread_deg), 0, 30,
     "how far the hand is off, degrees"},
    {"sweep", "elevation_spread_deg", RG_INI_NUMBER, SWEEP(elevation_spread_deg), 0, 5,
     "how far the hand is off, degrees"},
    {"sweep", "distance_spread_mm", RG_INI_NUMBER, SWEEP(distance_spread_mm), 0, 50,
     "how far the hand is off, mm"},
    {"sweep", "roll_spread_deg", RG_INI_NUMBER, SWEEP(roll_spread_deg), 0, 30,
     "how far the hand is off, degrees"},
    {"frame", "sweep", RG_INI_TEXT, FRAME(sweep), 1, RG_NAME_SIZE, "sweep whose scene it shows"},
    {"frame", "cracked", RG_INI_SWITCH, FRAME(cracked), 0, 0, "the pad is cracked open"},
    {"frame", "bearing_deg", RG_INI_NUMBER, FRAME(bearing_deg), -360, 360,
     "bearing of the camera, degrees"},
    {"frame", "elevation_deg", RG_INI_NUMBER, FRAME(elevation_deg), -30, 60,
     "its elevation, degrees"},
    {"frame", "distance_mm", RG_INI_NUMBER, FRAME(distance_mm), 20, 5000, "camera to axis, mm"},
    {"frame", "roll_deg", RG_INI_NUMBER, FRAME(roll_deg), -180, 180, "roll of the camera, degrees"},
    {"frame", "exposure", RG_INI_NUMBER, FRAME(exposure), 0.001, 100,
     "exposure against a closed frame's"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};

static bool is_sweep(const char *section)
{
    return strncmp(section, sweep_prefix, sizeof sweep_prefix - 1) == 0;
}

static bool is_frame(const char *section)
{
    return strncmp(section, frame_prefix, sizeof frame_prefix - 1) == 0;
}

static const rg_ini_entry *entry_of(const rg_ini *ini, int section, const char *key)
{
    const rg_ini_entry *own = rg_ini_find(ini, section, key);
    return own ? own : rg_ini_find(ini, rg_ini_section_index(ini, every_sweep), key);
}

/* ---------------------------------------------------------------- lists */

/* Groups of `wide` numbers, separated by blanks within and by commas between groups. */
static rg_code parse_groups(const rg_ini *ini, const rg_ini_entry *entry, int wide, int most,
                            double *number, int *groups, rg_error *err)
{
    char text[RG_INI_LINE];
    int n = 0;
    *groups = 0;
    rg_copy_text(text, sizeof text, entry->value);
    char *group_rest = NULL;
    for (char *g = strtok_r(text, ",", &group_rest); g; g = strtok_r(NULL, ",", &group_rest)) {
        char *rest = NULL;
        int k = 0;
        if (*groups == most)
            return rg_ini_fail(ini, entry, err, "more than %d; leave some out", most);
        for (char *w = strtok_r(g, " \t", &rest); w; w = strtok_r(NULL, " \t", &rest), k++)
            if (k == wide || !rg_parse_double(w, &number[n++]))
                return rg_ini_fail(ini, entry, err,
                                   "\"%s\": each of them is %d numbers with blanks between them, "
                                   "and a comma follows",
                                   w, wide);
        if (k != wide)
            return rg_ini_fail(ini, entry, err, "%d numbers where %d are needed", k, wide);
        ++*groups;
    }
    return RG_OK;
}

static rg_code fill_creases(const rg_ini *ini, int section, rg_render_sweep *s, rg_error *err)
{
    double v[3 * RG_RENDER_CREASES];
    const rg_ini_entry *e = entry_of(ini, section, "creases");
    rg_code code = parse_groups(ini, e, 3, RG_RENDER_CREASES, v, &s->creases, err);
    for (int i = 0; code == RG_OK && i < s->creases; i++) {
        s->crease[i] = (rg_render_crease){v[3 * i], v[3 * i + 1], v[3 * i + 2]};
        if (!(v[3 * i + 1] > 0 && v[3 * i + 1] <= 180) ||
            !(v[3 * i + 2] >= -5 && v[3 * i + 2] <= 5))
            code = rg_ini_fail(ini, e, err,
                               "crease %d: half width 0 to 180 degrees, depth -5 to 5 mm", i + 1);
    }
    return code;
}

static rg_code fill_streaks(const rg_ini *ini, int section, rg_render_sweep *s, rg_error *err)
{
    double v[5 * RG_RENDER_STREAKS];
    const rg_ini_entry *e = entry_of(ini, section, "streaks");
    rg_code code = parse_groups(ini, e, 5, RG_RENDER_STREAKS, v, &s->streaks, err);
    for (int i = 0; code == RG_OK && i < s->streaks; i++) {
        const double *k = v + 5 * i;
        s->streak[i] = (rg_render_streak){k[0], k[1], k[2], k[3], k[4]};
        if (!(k[1] > 0 && k[1] <= 180) || !(k[2] >= 0 && k[2] <= 1000) || !(k[3] < k[4]))
            code = rg_ini_fail(ini, e, err,
                               "streak %d: width 0 to 180 degrees, light 0 to 1000, low below high",
                               i + 1);
    }
    return code;
}

static rg_code fill_levels(const rg_ini *ini, int section, rg_render_sweep *s, rg_error *err)
{
    const rg_ini_entry *e = entry_of(ini, section, "elevations_deg");
    rg_code code = parse_groups(ini, e, 1, RG_RENDER_LEVELS, s->elevation_deg, &s->levels, err);
    if (code == RG_OK && s->levels == 0)
        return rg_ini_fail(ini, e, err, "no elevation; write for example -0.8, -0.4, 0, 0.4, 0.8");
    for (int i = 0; code == RG_OK && i < s->levels; i++)
        if (!(s->elevation_deg[i] >= -30 && s->elevation_deg[i] <= 60))
            code = rg_ini_fail(ini, e, err, "elevations are -30 to 60 degrees");
    return code;
}

/* ---------------------------------------------------------------- sweeps */

/* The name after the prefix, which becomes a folder's or a file's; sweeps and frames share theirs. */
static rg_code take_name(const rg_ini *ini, int section, size_t prefix, const rg_render_plan *plan,
                         char to[RG_NAME_SIZE], rg_error *err)
{
    const char *name = ini->section[section].name + prefix;
    rg_ini_trimmed(to, RG_NAME_SIZE, name, name + strlen(name));
    bool twice = false;
    for (int i = 0; i < plan->sweeps; i++)
        twice = twice || (plan->sweep[i].name != to && strcmp(plan->sweep[i].name, to) == 0);
    for (int i = 0; i < plan->frames; i++)
        twice = twice || (plan->frame[i].name != to && strcmp(plan->frame[i].name, to) == 0);
    if (twice)
        return rg_fail(err, RG_BAD_DATA, "%s, line %d: %s is given twice; rename one", ini->label,
                       ini->section[section].line, to);
    if (rg_is_safe_name(to))
        return RG_OK;
    return rg_fail(err, RG_BAD_DATA,
                   "%s, line %d: [%s]: the name becomes a folder's; use letters, digits, '.', '_' "
                   "and '-'",
                   ini->label, ini->section[section].line, ini->section[section].name);
}

static rg_code fill_format(const rg_ini *ini, int section, rg_render_sweep *s, rg_error *err)
{
    int format = 0;
    rg_code code = rg_ini_word(ini, entry_of(ini, section, "format"), format_name, &format, err);
    s->format = (rg_render_format)format;
    return code;
}

static rg_code fill_sweep(const rg_ini *ini, int section, rg_render_plan *plan, rg_error *err)
{
    rg_render_sweep *s = &plan->sweep[plan->sweeps++];
    int fallback = rg_ini_section_index(ini, every_sweep);
    rg_code code = take_name(ini, section, sizeof sweep_prefix - 1, plan, s->name, err);
    if (code == RG_OK)
        code = rg_ini_fill(ini, table, "sweep", section, fallback, s, err);
    if (code == RG_OK)
        code = rg_config_fill_finger(ini, entry_of(ini, section, "finger"), &s->finger,
                                     &s->finger_grams, err);
    if (code == RG_OK)
        code = fill_creases(ini, section, s, err);
    if (code == RG_OK)
        code = fill_streaks(ini, section, s, err);
    if (code == RG_OK)
        code = fill_levels(ini, section, s, err);
    if (code == RG_OK)
        code = fill_format(ini, section, s, err);
    if (code == RG_OK && s->levels * s->bearings >= RG_FRAMES_MAX)
        code = rg_ini_fail(ini, entry_of(ini, section, "bearings"), err,
                           "with %d elevations more than %d frames", s->levels, RG_FRAMES_MAX);
    return code;
}

static rg_code fill_frame(const rg_ini *ini, int section, rg_render_plan *plan, rg_error *err)
{
    rg_render_frame *f = &plan->frame[plan->frames++];
    rg_code code = take_name(ini, section, sizeof frame_prefix - 1, plan, f->name, err);
    if (code == RG_OK)
        code = rg_ini_fill(ini, table, "frame", section, -1, f, err);
    for (int i = 0; code == RG_OK && i < plan->sweeps; i++)
        if (strcmp(plan->sweep[i].name, f->sweep) == 0 && strcmp(plan->sweep[i].pad, "*") != 0)
            return RG_OK;
    return code != RG_OK
               ? code
               : rg_ini_fail(ini, rg_ini_find(ini, section, "sweep"), err,
                             "no [sweep %s] with a pad of its own in this plan", f->sweep);
}

static rg_code check_count(const rg_ini *ini, const char *kind, int n, int least, int most,
                           rg_error *err)
{
    if (n >= least && n <= most)
        return RG_OK;
    return rg_fail(err, RG_BAD_DATA, "%s: %d sections [%s NAME]; a plan has %d to %d, see %s",
                   ini->label, n, kind, least, most, ini->model);
}

static rg_code count_sections(const rg_ini *ini, int *sweeps, int *frames, rg_error *err)
{
    *sweeps = *frames = 0;
    for (int i = 0; i < ini->sections; i++) {
        const char *name = ini->section[i].name;
        if (is_sweep(name))
            ++*sweeps;
        else if (is_frame(name))
            ++*frames;
        else if (strcmp(name, "render") != 0 && strcmp(name, every_sweep) != 0)
            return rg_ini_unknown_section(
                ini, i, "[render], [every sweep], [sweep NAME] and [frame NAME]", err);
    }
    rg_code code = check_count(ini, "sweep", *sweeps, 1, RG_RENDER_SWEEPS_MAX, err);
    return code == RG_OK ? check_count(ini, "frame", *frames, 0, RG_RENDER_FRAMES_MAX, err) : code;
}

/* Frames last: they name sweeps. */
static rg_code fill_sections(const rg_ini *ini, int sweeps, int frames, rg_render_plan *plan,
                             rg_error *err)
{
    rg_code code = RG_OK;
    plan->sweep = rg_alloc((size_t)sweeps, sizeof *plan->sweep);
    plan->frame = frames ? rg_alloc((size_t)frames, sizeof *plan->frame) : NULL;
    if (!plan->sweep || (frames && !plan->frame))
        return rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", sweeps);
    for (int i = 0; code == RG_OK && i < ini->sections; i++)
        if (is_sweep(ini->section[i].name))
            code = fill_sweep(ini, i, plan, err);
    for (int i = 0; code == RG_OK && i < ini->sections; i++)
        if (is_frame(ini->section[i].name))
            code = fill_frame(ini, i, plan, err);
    return code;
}

static rg_code fill(const rg_ini *ini, rg_render_plan *plan, rg_error *err)
{
    int sweeps, frames;
    rg_code code = count_sections(ini, &sweeps, &frames, err);
    int every = rg_ini_section_index(ini, every_sweep);
    if (code == RG_OK)
        code = rg_ini_fill_named(ini, table, "render", plan, err);
    if (code == RG_OK)
        code = rg_ini_date(ini, rg_ini_find(ini, rg_ini_section_index(ini, "render"), "date"),
                           &plan->day, err);
    if (code == RG_OK && every >= 0)
        code = rg_ini_check_keys(ini, table, "sweep", every, err);
    return code == RG_OK ? fill_sections(ini, sweeps, frames, plan, err) : code;
}

rg_code rg_render_plan_parse(const char *label, const char *text, size_t size, rg_render_plan *plan,
                             rg_error *err)
{
    rg_ini *ini;
    *plan = (rg_render_plan){.day = -1};
    rg_code code = rg_ini_read(label, "samples/render/PE-A-0152.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = fill(ini, plan, err);
    if (code != RG_OK)
        rg_render_plan_free(plan);
    rg_ini_free(ini);
    return code;
}

void rg_render_plan_free(rg_render_plan *plan)
{
    if (!plan)
        return;
    free(plan->sweep);
    free(plan->frame);
    *plan = (rg_render_plan){0};
}
