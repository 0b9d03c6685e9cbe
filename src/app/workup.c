/*
 * workup.c - an instrument's sweeps taken together. See workup.h.
 */
#include "rimglow/workup.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/calib_file.h"
#include "rimglow/config_diagnosis.h"
#include "rimglow/config_flow.h"
#include "rimglow/config_heights.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

enum { LEAST_CLOSINGS = 3, SWEEPS_MAX = 4096 };

/* ---------------------------------------------------------------- settings */

static rg_code parse(int i, const char *label, rg_workup_settings *s, rg_error *err)
{
    const char *text = s->file[i].text;
    size_t size = s->file[i].size;
    switch (i) {
    case 0:
        return rg_diagnosis_options_parse(label, text, size, &s->diagnosis, err);
    case 1:
        return rg_flow_options_parse(label, text, size, &s->flow, err);
    case 2:
        return rg_keys_settings_parse(label, text, size, &s->keys, err);
    default:
        return rg_heights_options_parse(label, text, size, &s->heights, err);
    }
}

static rg_code read_one(const char *folder, int i, rg_workup_settings *s, rg_error *err)
{
    rg_calib_file calib;
    char *given = folder ? rg_path_join(folder, s->file[i].name) : NULL;
    if (folder && !given)
        return rg_fail(err, RG_INTERNAL, "no memory for a file name");
    rg_code code = rg_calib_file_read(s->file[i].name, given, "rules", &calib, err);
    free(given);
    if (code != RG_OK)
        return code;
    s->file[i].text = calib.text;
    s->file[i].size = calib.size;
    return parse(i, calib.path, s, err);
}

rg_code rg_workup_settings_load(const char *folder, rg_workup_settings *settings, rg_error *err)
{
    static const char *const name[RG_WORKUP_FILES] = {"diagnosis.ini", "flow.ini", "keys.ini",
                                                      "heights.ini"};
    rg_code code = RG_OK;
    *settings = (rg_workup_settings){0};
    for (int i = 0; i < RG_WORKUP_FILES; i++)
        settings->file[i].name = name[i];
    for (int i = 0; code == RG_OK && i < RG_WORKUP_FILES; i++)
        code = read_one(folder, i, settings, err);
    if (code != RG_OK)
        rg_workup_settings_free(settings);
    return code;
}

void rg_workup_settings_free(rg_workup_settings *settings)
{
    for (int i = 0; settings && i < RG_WORKUP_FILES; i++) {
        free(settings->file[i].text);
        settings->file[i].text = NULL;
    }
}

/* ---------------------------------------------------------------- which sweep */

typedef struct making {
    rg_workup *w;
    const rg_workup_sweep *sweep;
    int sweeps;
    const rg_workup_settings *settings;
    rg_seating *seating; /* owned; [sweeps] */
} making;

static rg_press press_of(const rg_map_file *map)
{
    static const char *const word[] = {[RG_PRESS_UNSTATED] = "unstated",
                                       [RG_PRESS_LIGHT] = "light",
                                       [RG_PRESS_FIRM] = "firm",
                                       [RG_PRESS_GRAMS] = "grams"};
    for (int i = RG_PRESS_LIGHT; i <= RG_PRESS_GRAMS; i++)
        if (strcmp(map->finger, word[i]) == 0)
            return (rg_press)i;
    return RG_PRESS_UNSTATED;
}

static bool is_of(const rg_workup_sweep *s, const char *pad)
{
    return s->map->frames_given > 0 && strcmp(s->pad, pad) == 0;
}

/* Pressed by this pad's own key? */
static bool is_own(const rg_workup_sweep *s, const char *pad)
{
    return is_of(s, pad) && (!s->map->key[0] || strcmp(s->map->key, pad) == 0);
}

static int deciding(const making *m, const char *pad)
{
    int any = -1, own = -1, played = -1;
    for (int i = 0; i < m->sweeps; i++) {
        if (!is_of(&m->sweep[i], pad))
            continue;
        any = i;
        if (!is_own(&m->sweep[i], pad))
            continue;
        own = i;
        if (press_of(m->sweep[i].map) != RG_PRESS_FIRM)
            played = i;
    }
    return played >= 0 ? played : own >= 0 ? own : any;
}

static rg_code seat_all(making *m, rg_error *err)
{
    m->seating = rg_alloc((size_t)m->sweeps, sizeof *m->seating);
    if (!m->seating)
        return rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", m->sweeps);
    for (int i = 0; i < m->sweeps; i++) {
        const rg_map_file *map = m->sweep[i].map;
        rg_code code = rg_seating_measure(&map->map, press_of(map), map->grams,
                                          &m->settings->diagnosis.shape, &m->seating[i], err);
        if (code != RG_OK)
            return code;
    }
    return RG_OK;
}

/* ---------------------------------------------------------------- pads */

static rg_code diagnose(const making *m, rg_workup_pad *p, rg_error *err)
{
    const rg_map_file *map = m->sweep[p->sweep].map;
    rg_code code = rg_diagnose(&map->map, map->tolerance_mm, NULL, &m->settings->diagnosis,
                               &p->diagnosis, err);
    if (code == RG_OK)
        rg_diagnosis_sentences(&p->diagnosis, &p->sentences);
    if (code == RG_OK)
        code = rg_pad_flow_find(&map->map, &p->pad->rim, &m->settings->flow, &p->flow, err);
    p->diagnosed = p->has_flow = code == RG_OK;
    return code;
}

static rg_code find_force(const making *m, rg_workup_pad *p, rg_error *err)
{
    rg_force_sweep sweep[RG_FORCE_SWEEPS_MAX];
    bool differ = false;
    int n = 0;
    for (int i = 0; i < m->sweeps && n < RG_FORCE_SWEEPS_MAX; i++) {
        if (!is_own(&m->sweep[i], p->pad->name))
            continue;
        const rg_seating *s = &m->seating[i], *first = &sweep[0].seating;
        sweep[n++] = (rg_force_sweep){&m->sweep[i].map->map, *s};
        differ = differ || s->press != first->press ||
                 (s->press == RG_PRESS_GRAMS && fabs(s->grams - first->grams) > 0);
    }
    if (!differ)
        return RG_OK;
    rg_sealmap_options tolerance = {.tolerance_mm = p->pad->tolerance_mm,
                                    .min_arc_deg = p->pad->min_arc_deg,
                                    .seen_fraction = 0.5,
                                    .coverage_factor = m->w->coverage_factor};
    p->has_force = true;
    return rg_force_find(sweep, n, &tolerance, &m->settings->keys.force, &p->force, err);
}

static rg_code find_repeat(const making *m, rg_workup_pad *p, rg_error *err)
{
    const rg_seating *as = &m->seating[p->sweep];
    rg_shape_options shape = m->settings->diagnosis.shape;
    rg_code code = RG_OK;
    int n = 0;
    p->closing = rg_alloc(RG_CLOSINGS_MAX, sizeof *p->closing);
    if (!p->closing)
        return rg_fail(err, RG_INTERNAL, "no memory for %d closings", RG_CLOSINGS_MAX);
    shape.uneven_mm = 0; /* a pad's own face is the same at every closing */
    for (int i = 0; code == RG_OK && i < m->sweeps && n < RG_CLOSINGS_MAX; i++) {
        const rg_seating *s = &m->seating[i];
        bool same = s->press == as->press &&
                    (s->press != RG_PRESS_GRAMS || fabs(s->grams - as->grams) <= 0);
        if (same && is_own(&m->sweep[i], p->pad->name))
            code = rg_seating_measure(&m->sweep[i].map->map, s->press, s->grams, &shape,
                                      &p->closing[n++], err);
    }
    if (code != RG_OK || n < LEAST_CLOSINGS)
        return code;
    p->has_repeat = true;
    return rg_repeat_find(p->closing, n, &m->settings->keys.repeat, &p->repeat, err);
}

static int opened(const making *m, const char *pad)
{
    int at = -1;
    for (int i = 0; i < m->sweeps; i++)
        if (strcmp(m->sweep[i].pad, pad) == 0 && m->sweep[i].map->opening.measured)
            at = i;
    return at;
}

static rg_code make_pad(const making *m, rg_workup_pad *p, rg_error *err)
{
    p->sweep = deciding(m, p->pad->name);
    p->opened = opened(m, p->pad->name);
    if (p->sweep < 0)
        return RG_OK;
    rg_code code = diagnose(m, p, err);
    if (code == RG_OK)
        code = find_force(m, p, err);
    return code == RG_OK ? find_repeat(m, p, err) : code;
}

/* ---------------------------------------------------------------- keys */

static void take_links(rg_workup *w)
{
    const rg_instrument *in = w->instrument;
    for (int i = 0; i < in->links && w->links < RG_KEY_LINKS_MAX; i++) {
        const rg_link *l = &in->link[i];
        w->link[w->links++] = (rg_key_link){.driver = in->pad[l->driver].name,
                                            .driven = in->pad[l->driven].name,
                                            .adjuster = l->adjuster,
                                            .kind = (rg_key_adjuster)l->kind,
                                            .lever_ratio = l->lever_ratio,
                                            .thread_mm = l->thread_mm};
    }
}

/* The last sweep of each pad under this key; the number of cups. */
static int cups_of(const making *m, const char *key, rg_key_cup *cup, bool *driven)
{
    const rg_instrument *in = m->w->instrument;
    int n = 0;
    *driven = false;
    for (int k = 0; k < in->pads && n < RG_KEY_CUPS_MAX; k++) {
        const char *pad = in->pad[k].name;
        int at = -1;
        for (int i = 0; i < m->sweeps; i++)
            if (is_of(&m->sweep[i], pad) &&
                (strcmp(pad, key) == 0 ? is_own(&m->sweep[i], pad)
                                       : strcmp(m->sweep[i].map->key, key) == 0))
                at = i;
        if (at < 0)
            continue;
        cup[n++] = (rg_key_cup){pad, m->seating[at]};
        *driven = *driven || strcmp(pad, key) != 0;
    }
    return n;
}

static rg_code regulate(const making *m, rg_error *err)
{
    rg_workup *w = m->w;
    w->key = rg_alloc((size_t)w->instrument->pads, sizeof *w->key);
    if (!w->key)
        return rg_fail(err, RG_INTERNAL, "no memory for %d keys", w->instrument->pads);
    for (int k = 0; k < w->instrument->pads; k++) {
        rg_key_cup cup[RG_KEY_CUPS_MAX];
        bool driven;
        const char *name = w->instrument->pad[k].name;
        int n = cups_of(m, name, cup, &driven);
        if (!driven)
            continue;
        rg_workup_key *key = &w->key[w->keys++];
        key->driver = k;
        rg_code code = rg_regulation_find(name, cup, n, w->link, w->links,
                                          &m->settings->keys.regulation, &key->regulation, err);
        if (code != RG_OK)
            return code;
    }
    return RG_OK;
}

/* ---------------------------------------------------------------- heights, notes */

static rg_code judge_heights(const making *m, rg_error *err)
{
    rg_workup *w = m->w;
    int n = w->instrument->pads;
    for (int k = 0; k < n; k++) {
        const rg_pad *pad = &w->instrument->pad[k];
        const rg_map_file *map = w->pad[k].opened >= 0 ? m->sweep[w->pad[k].opened].map : NULL;
        w->has_heights = w->has_heights || map;
        w->height[k] = (rg_height_key){
            .name = pad->name,
            .rests_open = pad->rest == RG_REST_OPEN,
            .measured = map,
            .opening_mm = map ? map->opening.far_mm : 0,
            .u_mm = map ? map->opening.u_far_mm : 0,
            .target_mm = pad->opening_mm,
            .tolerance_mm = pad->opening_tolerance_mm > 0 ? pad->opening_tolerance_mm : NAN};
    }
    return w->has_heights ? rg_heights_judge(w->height, n, &m->settings->heights, &w->heights, err)
                          : RG_OK;
}

static int take_leaks(const rg_workup *w, rg_hole_leak *leak)
{
    int n = 0;
    for (int k = 0; k < w->instrument->pads; k++)
        if (w->pad[k].has_flow && w->pad[k].flow.measured.ml_s > 0)
            leak[n++] =
                (rg_hole_leak){k, w->pad[k].flow.measured.ml_s, w->pad[k].flow.measured.u_ml_s};
    return n;
}

static void breathe(const making *m)
{
    rg_workup *w = m->w;
    rg_hole_opening opening[RG_HOLES_MAX];
    for (int k = 0; k < w->instrument->pads; k++) {
        const rg_height_key *h = &w->height[k];
        double band = h->tolerance_mm;
        opening[k] = (rg_hole_opening){h->measured, h->opening_mm, h->u_mm, h->target_mm,
                                       isfinite(band) ? band : 0};
    }
    w->breaths = rg_notes_breathe(w->hole, opening, w->instrument->pads,
                                  m->settings->heights.coverage_factor, w->breath);
}

static rg_code find_notes(const making *m, rg_error *err)
{
    rg_workup *w = m->w;
    rg_error why = {0};
    rg_hole_leak leak[RG_HOLES_MAX];
    int n = w->instrument->pads;
    rg_pad_flow *flow = rg_alloc((size_t)n, sizeof *flow);
    if (!flow)
        return rg_fail(err, RG_INTERNAL, "no memory for the flow of %d pads", n);
    int flows = 0;
    for (int k = 0; k < n; k++)
        if (w->pad[k].has_flow)
            flow[flows++] = w->pad[k].flow;
    rg_instrument_flow_sum(flow, flows, &m->settings->flow, &w->flow);
    free(flow);
    if (rg_instrument_holes(w->instrument->name, w->instrument, w->hole, &why) != RG_OK) {
        rg_copy_text(w->notes_fault, sizeof w->notes_fault, why.text);
        return RG_OK;
    }
    int leaks = take_leaks(w, leak);
    w->ranks = rg_leaks_rank(w->hole, n, leak, leaks, w->rank);
    w->losses = rg_notes_lose(w->hole, n, leak, leaks, w->loss);
    if (w->has_heights)
        breathe(m);
    return RG_OK;
}

/* ---------------------------------------------------------------- making */

static rg_code make_all(making *m, rg_error *err)
{
    rg_workup *w = m->w;
    int n = w->instrument->pads;
    w->pad = rg_alloc((size_t)n, sizeof *w->pad);
    if (!w->pad)
        return rg_fail(err, RG_INTERNAL, "no memory for %d pads", n);
    w->coverage_factor = m->sweeps ? m->sweep[0].map->coverage_factor : 2;
    w->loose_tilt_mm = m->settings->keys.repeat.loose_tilt_mm;
    take_links(w);
    rg_code code = seat_all(m, err);
    for (int k = 0; code == RG_OK && k < n; k++) {
        w->pad[k].pad = &w->instrument->pad[k];
        code = make_pad(m, &w->pad[k], err);
        if (code != RG_OK)
            rg_fail_prefix(err, w->pad[k].pad->name);
    }
    if (code == RG_OK)
        code = regulate(m, err);
    if (code == RG_OK)
        code = judge_heights(m, err);
    return code == RG_OK ? find_notes(m, err) : code;
}

rg_code rg_workup_make(const rg_instrument *instrument, const rg_workup_sweep *sweep, int sweeps,
                       const rg_workup_settings *settings, rg_workup **workup, rg_error *err)
{
    *workup = NULL;
    if (sweeps < 0 || sweeps > SWEEPS_MAX)
        return rg_fail(err, RG_BAD_DATA, "%d sweeps; at most %d are taken together", sweeps,
                       SWEEPS_MAX);
    making m = {
        .w = rg_alloc(1, sizeof *m.w), .sweep = sweep, .sweeps = sweeps, .settings = settings};
    if (!m.w)
        return rg_fail(err, RG_INTERNAL, "no memory to take %d sweeps together", sweeps);
    m.w->instrument = instrument;
    rg_code code = make_all(&m, err);
    free(m.seating);
    if (code == RG_OK)
        *workup = m.w;
    else
        rg_workup_free(m.w);
    return code;
}

void rg_workup_free(rg_workup *workup)
{
    if (!workup)
        return;
    for (int k = 0; workup->pad && k < workup->instrument->pads; k++)
        free(workup->pad[k].closing);
    free(workup->pad);
    free(workup->key);
    free(workup);
}
