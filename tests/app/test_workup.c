/*
 * Tests of workup.h: which sweep counts for what, and what is judged from it. The maps were measured from the
 * sample frames (tests/data/seal-maps); their fingers, keys and pads are restated here.
 */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/workup.h"
#include "support/load.h"

enum { LEAKING, SEALED, MAPS };
static rg_map_file map[MAPS];
static rg_instrument instrument;
static rg_workup_settings settings;
static rg_error err;

enum { SWEEPS = 12 };
static rg_map_file given[SWEEPS];
static rg_workup_sweep sweep[SWEEPS];
static int sweeps;

static void load(void)
{
    static const char *const name[MAPS] = {"08-G", "04-C"};
    for (int i = 0; i < MAPS; i++) {
        test_bytes text = test_loadf("tests/data/seal-maps/%s.json", name[i]);
        cr_assert_eq(rg_mapfile_parse(name[i], (char *)text.data, text.size, &map[i], &err), RG_OK,
                     "%s", err.text);
        free(text.data);
    }
    test_bytes text = test_load("samples/workshop/upper-stack.ini");
    cr_assert_eq(rg_instrument_parse("i.ini", (char *)text.data, text.size, &instrument, &err),
                 RG_OK, "%s", err.text);
    free(text.data);
    cr_assert_eq(rg_workup_settings_load(NULL, &settings, &err), RG_OK, "%s", err.text);
    sweeps = 0;
}

static void unload(void)
{
    rg_instrument_free(&instrument);
    rg_workup_settings_free(&settings);
}

TestSuite(workup, .init = load, .fini = unload);

static rg_map_file *take(const char *pad, int which, const char *finger, const char *key)
{
    rg_map_file *m = &given[sweeps];
    *m = map[which]; /* without its list of frames */
    m->frames_given = m->frames_used = 30;
    snprintf(m->finger, sizeof m->finger, "%s", finger);
    snprintf(m->key, sizeof m->key, "%s", key);
    sweep[sweeps++] = (rg_workup_sweep){pad, m};
    return m;
}

/* A gap all the way round. */
static void stand_off(rg_map_file *m, double gap_mm)
{
    m->map.verdict = RG_VERDICT_LEAKING;
    for (int b = 0; b < RG_BINS; b++) {
        rg_bin *bin = &m->map.bin[b];
        *bin = (rg_bin){.bearing_deg = bin->bearing_deg,
                        .width_mm = gap_mm,
                        .u_mm = 0.004,
                        .detection_limit_mm = 0.01,
                        .frames = 20,
                        .lit = 20,
                        .state = RG_BIN_GAP};
    }
}

/* Frames of the open key alone. */
static void take_open(const char *pad, double far_mm)
{
    rg_map_file *m = take(pad, SEALED, "light", "");
    m->frames_given = m->frames_used = 0;
    m->opening.given = m->opening.measured = true;
    m->opening.far_mm = far_mm;
    m->opening.u_far_mm = 0.04;
}

static rg_workup *make(void)
{
    rg_workup *w;
    cr_assert_eq(rg_workup_make(&instrument, sweep, sweeps, &settings, &w, &err), RG_OK, "%s",
                 err.text);
    return w;
}

static const rg_workup_pad *pad_of(const rg_workup *w, const char *name)
{
    for (int k = 0; k < w->instrument->pads; k++)
        if (strcmp(w->pad[k].pad->name, name) == 0)
            return &w->pad[k];
    cr_assert_fail("no pad %s", name);
    return NULL;
}

/* State of an item of a section; -1: there is none. */
static int item_state(const rg_workup *w, const char *section, const char *name)
{
    rg_release_item item[RG_WORKUP_ITEMS];
    rg_release_section s[RG_WORKUP_SECTIONS];
    rg_workup_sections(w, item, s);
    for (int i = 0; i < RG_WORKUP_SECTIONS; i++)
        for (int k = 0; strcmp(s[i].name, section) == 0 && k < s[i].items; k++)
            if (strcmp(s[i].item[k].name, name) == 0)
                return (int)s[i].item[k].state;
    return -1;
}

static int leaks_told;
static void count_leaks(void *context, const char *subject, const char *sentence)
{
    leaks_told += strcmp(subject, context) == 0 && strstr(sentence, "lets out as much as a hole");
}

Test(workup, a_light_sweep_counts_before_a_later_firm_one)
{
    take("G", LEAKING, "light", "");
    take("G", SEALED, "firm", "");
    rg_workup *w = make();
    const rg_workup_pad *p = pad_of(w, "G");
    cr_expect_eq(p->sweep, 0);
    cr_expect(p->diagnosed && p->diagnosis.faults > 0);
    cr_expect_gt(p->flow.measured.ml_s, 50);
    cr_expect(p->has_force && p->force.gaps > 0);
    cr_expect_eq(item_state(w, "finger force", "finger on G"), RG_ITEM_OUT);
    rg_workup_free(w);
}

Test(workup, a_pad_that_only_a_firm_finger_was_tried_on_is_shown_by_it)
{
    take("G", SEALED, "firm", "");
    rg_workup *w = make();
    cr_expect_eq(pad_of(w, "G")->sweep, 0);
    cr_expect(!pad_of(w, "G")->has_force && w->ranks == 0);
    rg_workup_free(w);
}

Test(workup, a_sweep_by_another_key_regulates_and_diagnoses_nothing)
{
    take("A", SEALED, "light", "");
    take("C", SEALED, "light", "");
    stand_off(take("C", SEALED, "light", "A"), 0.06);
    rg_workup *w = make();
    cr_expect_eq(pad_of(w, "C")->sweep, 1);
    cr_expect_eq(w->ranks, 0);
    cr_assert_eq(w->keys, 1);
    cr_expect_eq(w->key[0].regulation.link[0].state, RG_REGULATION_DRIVER_FIRST);
    cr_expect_float_eq(w->key[0].regulation.link[0].difference_mm, 0.06, 1e-6);
    cr_expect_eq(item_state(w, "regulation", "A and C"), RG_ITEM_OUT);
    rg_workup_free(w);
}

Test(workup, cups_that_were_not_swept_by_one_key_are_not_regulated)
{
    take("A", SEALED, "light", "");
    take("C", SEALED, "light", "");
    rg_workup *w = make();
    cr_expect_eq(w->keys, 0);
    cr_expect_eq(item_state(w, "regulation", "A and C"), -1);
    rg_workup_free(w);
}

Test(workup, three_closings_by_one_finger_are_repeatability_and_two_are_none)
{
    take("G", LEAKING, "light", "");
    take("G", LEAKING, "light", "");
    take("G", LEAKING, "firm", "");
    rg_workup *w = make();
    cr_expect(!pad_of(w, "G")->has_repeat);
    rg_workup_free(w);
    take("G", LEAKING, "light", "");
    w = make();
    cr_assert(pad_of(w, "G")->has_repeat);
    cr_expect_eq(pad_of(w, "G")->repeat.closings, 3);
    cr_expect_neq(item_state(w, "repeatability", "closings of G"), RG_ITEM_OUT);
    rg_workup_free(w);
}

Test(workup, an_open_sweep_gives_the_height_and_nothing_of_the_seal)
{
    take("B", LEAKING, "light", "");
    take_open("B", 4.1);
    take_open("A", 5.2);
    rg_workup *w = make();
    cr_expect_eq(pad_of(w, "B")->sweep, 0);
    cr_expect_eq(pad_of(w, "A")->sweep, -1);
    cr_expect_eq(item_state(w, "key heights", "opening of B"), RG_ITEM_OUT);
    cr_expect_eq(item_state(w, "key heights", "opening of A"), RG_ITEM_PASSED);
    cr_expect_eq(item_state(w, "key heights", "opening of G"), -1);
    bool stuffy = false; /* the notes that speak through B */
    for (int i = 0; i < w->breaths; i++)
        stuffy = stuffy || w->breath[i].breath == RG_BREATH_STUFFY;
    cr_expect(stuffy);
    rg_workup_free(w);
}

Test(workup, leaks_are_told_worst_first_with_the_notes_that_suffer)
{
    char subject[] = "pad G";
    take("G", LEAKING, "light", "");
    rg_workup *w = make();
    leaks_told = 0;
    rg_workup_tell(w, count_leaks, subject);
    cr_expect_eq(leaks_told, 1);
    cr_assert_eq(w->ranks, 1);
    char name[RG_PITCH_NAME];
    rg_pitch_name(w->rank[0].starts_at, name);
    cr_expect_str_eq(name, "G5"); /* the highest of its notes in the instrument file */
    rg_workup_free(w);
}

Test(workup, json_has_every_part)
{
    char *text;
    take("G", LEAKING, "light", "");
    take("C", LEAKING, "light", "A");
    take("A", SEALED, "light", "");
    take_open("B", 4.1);
    rg_workup *w = make();
    cr_assert_eq(rg_workup_json(w, "PE-A-0163", &settings, &text, &err), RG_OK, "%s", err.text);
    json_t *o = json_loads(text, 0, NULL);
    cr_assert_not_null(o);
    cr_expect_str_eq(json_string_value(json_object_get(o, "format")), "rimglow work-up");
    cr_expect_eq(json_array_size(json_object_get(o, "pads")), 4);
    cr_expect_eq(json_array_size(json_object_get(o, "keys")), 1);
    cr_expect_gt(json_array_size(json_object_get(o, "work")), 4);
    cr_expect_str_eq(json_string_value(json_object_get(json_object_get(o, "heights"), "verdict")),
                     "broken");
    cr_expect_gt(json_array_size(json_object_get(json_object_get(o, "leaks"), "ranking")), 0);
    json_decref(o);
    free(text);
    rg_workup_free(w);
}

Test(workup, nothing_swept_is_nothing_found)
{
    rg_workup *w = make();
    rg_release_item item[RG_WORKUP_ITEMS];
    rg_release_section s[RG_WORKUP_SECTIONS];
    rg_workup_sections(w, item, s);
    for (int i = 0; i < RG_WORKUP_SECTIONS; i++)
        cr_expect_eq(s[i].items, 0);
    cr_expect(w->ranks == 0 && !w->has_heights);
    rg_workup_free(w);
}

/* ---------------------------------------------------------------- judging, state by state */

Test(workup, closings_are_judged_by_what_they_show)
{
    static const struct {
        rg_repeat_state shown;
        rg_item_state judged;
        const char *why;
    } row[] = {{RG_REPEAT_LOOSE_KEY, RG_ITEM_OUT, "loose key: the tilt scatters by 0.040 mm"},
               {RG_REPEAT_SOFT_PAD, RG_ITEM_OUT, "soft pad: it sinks by 0.030 +- 0.010 mm"},
               {RG_REPEAT_NOT_TOLD, RG_ITEM_UNDECIDED, "not told"},
               {RG_REPEAT_NOT_MEASURED, RG_ITEM_UNDECIDED, "not measured"},
               {RG_REPEAT_STEADY, RG_ITEM_PASSED, ""}};
    rg_release_item item[RG_WORKUP_ITEMS];
    rg_release_section s[RG_WORKUP_SECTIONS];
    rg_workup *w = make();
    rg_workup_pad *p = &w->pad[0];
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        p->has_repeat = true;
        p->repeat.state = row[i].shown;
        p->repeat.tilt.component.sd = 0.04;
        p->repeat.drift_mm = -0.03;
        p->repeat.U_drift_mm = 0.01;
        rg_workup_sections(w, item, s);
        cr_assert(strcmp(s[2].name, "repeatability") == 0 && s[2].items == 1);
        cr_expect_eq(s[2].item->state, row[i].judged, "%s", row[i].why);
        cr_expect(strncmp(s[2].item->why, row[i].why, strlen(row[i].why)) == 0 &&
                      (row[i].why[0] || !s[2].item->why[0]),
                  "%s", s[2].item->why);
    }
    rg_workup_free(w);
}

Test(workup, links_are_judged_by_what_they_show)
{
    static const struct {
        rg_regulation_state shown;
        rg_item_state judged;
        const char *why;
    } row[] = {{RG_REGULATION_DRIVER_FIRST, RG_ITEM_OUT, "A closes first, C stands off"},
               {RG_REGULATION_DRIVEN_FIRST, RG_ITEM_OUT, "C closes first and holds A off"},
               {RG_REGULATION_NOT_TOLD, RG_ITEM_UNDECIDED, "no difference is shown"},
               {RG_REGULATION_NOT_MEASURED, RG_ITEM_NOT_MEASURED, "both were not seen"},
               {RG_REGULATION_TOGETHER, RG_ITEM_PASSED, ""}};
    rg_release_item item[RG_WORKUP_ITEMS];
    rg_release_section s[RG_WORKUP_SECTIONS];
    take("A", SEALED, "light", "");
    take("C", SEALED, "light", "A");
    rg_workup *w = make();
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        w->key[0].regulation.link[0].state = row[i].shown;
        rg_workup_sections(w, item, s);
        cr_assert(strcmp(s[0].name, "regulation") == 0 && s[0].items == 1);
        cr_expect_eq(s[0].item->state, row[i].judged, "%s", row[i].why);
        cr_expect(strncmp(s[0].item->why, row[i].why, strlen(row[i].why)) == 0 &&
                      (row[i].why[0] || !s[0].item->why[0]),
                  "%s", s[0].item->why);
    }
    rg_workup_free(w);
}

Test(workup, openings_are_judged_by_band_and_order)
{
    static const struct {
        rg_height_state band;
        rg_order_state order;
        rg_item_state judged;
    } row[] = {{RG_HEIGHT_WITHIN, RG_ORDER_KEPT, RG_ITEM_PASSED},
               {RG_HEIGHT_LOW, RG_ORDER_KEPT, RG_ITEM_OUT},
               {RG_HEIGHT_HIGH, RG_ORDER_NONE, RG_ITEM_OUT},
               {RG_HEIGHT_WITHIN, RG_ORDER_BROKEN, RG_ITEM_OUT},
               {RG_HEIGHT_UNSURE, RG_ORDER_KEPT, RG_ITEM_UNDECIDED},
               {RG_HEIGHT_WITHIN, RG_ORDER_UNSURE, RG_ITEM_UNDECIDED},
               {RG_HEIGHT_NO_BAND, RG_ORDER_NONE, RG_ITEM_NO_RULE}};
    take_open("B", 5.0);
    rg_workup *w = make();
    int b = (int)(pad_of(w, "B") - w->pad);
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        w->heights.finding[b].state = row[i].band;
        w->heights.finding[b].order = row[i].order;
        cr_expect_eq(item_state(w, "key heights", "opening of B"), (int)row[i].judged, "row %zu",
                     i);
    }
    rg_workup_free(w);
}

Test(workup, fingers_are_judged_by_verdict_and_leaks)
{
    rg_workup *w = make();
    rg_workup_pad *p = &w->pad[0];
    char name[RG_RELEASE_NAME];
    snprintf(name, sizeof name, "finger on %.100s", p->pad->name);
    p->has_force = true;
    p->force.verdict = RG_VERDICT_SEALED;
    cr_expect_eq(item_state(w, "finger force", name), RG_ITEM_PASSED);
    p->force.verdict = RG_VERDICT_UNDECIDED;
    cr_expect_eq(item_state(w, "finger force", name), RG_ITEM_UNDECIDED);
    p->force.verdict = RG_VERDICT_LEAKING;
    cr_expect_eq(item_state(w, "finger force", name), RG_ITEM_OUT);
    p->force.verdict = RG_VERDICT_SEALED;
    p->force.gaps = 1;
    p->force.gap[0].leak = true;
    cr_expect_eq(item_state(w, "finger force", name), RG_ITEM_OUT);
    rg_workup_free(w);
}

/* ---------------------------------------------------------------- which one, and in which order */

Test(workup, the_last_opening_counts)
{
    take_open("B", 4.1);
    take_open("B", 5.0);
    rg_workup *w = make();
    cr_expect_eq(pad_of(w, "B")->opened, 1);
    cr_expect_eq(item_state(w, "key heights", "opening of B"), RG_ITEM_PASSED);
    rg_workup_free(w);
}

/* What a pad's face is uneven by is the same at each closing: it must not widen what is compared. */
Test(workup, closings_are_compared_without_the_pads_own_unevenness)
{
    rg_seating once;
    for (int i = 0; i < 3; i++)
        take("G", LEAKING, "light", "");
    rg_workup *w = make();
    cr_assert_eq(rg_seating_measure(&map[LEAKING].map, RG_PRESS_LIGHT, NAN,
                                    &settings.diagnosis.shape, &once, &err),
                 RG_OK, "%s", err.text);
    cr_expect_gt(settings.diagnosis.shape.uneven_mm, 0);
    cr_expect_lt(pad_of(w, "G")->closing[0].covariance[1][1], once.covariance[1][1]);
    rg_workup_free(w);
}

typedef struct heard {
    char first[2][RG_WORKUP_SUBJECT];
    int subjects;
    bool loose;
} heard;

static void hear(void *context, const char *subject, const char *sentence)
{
    heard *h = context;
    if (h->subjects == 0 || (h->subjects == 1 && strcmp(h->first[0], subject) != 0))
        snprintf(h->first[h->subjects++], RG_WORKUP_SUBJECT, "%s", subject);
    h->loose = h->loose || strstr(sentence, "Mend the loose key first");
}

Test(workup, the_largest_leak_is_told_first_wherever_it_lies)
{
    heard h = {0};
    stand_off(take("C", SEALED, "light", ""), 0.03);
    stand_off(take("G", SEALED, "light", ""), 0.10);
    rg_workup *w = make();
    rg_workup_tell(w, hear, &h);
    cr_expect_str_eq(h.first[0], "pad G");
    cr_expect_str_eq(h.first[1], "pad C");
    cr_expect(!h.loose);
    rg_workup_free(w);
}

Test(workup, a_loose_key_is_to_be_mended_before_its_pad)
{
    heard h = {0};
    for (int i = 0; i < 3; i++)
        take("G", LEAKING, "light", "");
    rg_workup *w = make();
    w->pad[pad_of(w, "G") - w->pad].repeat.state = RG_REPEAT_LOOSE_KEY;
    rg_workup_tell(w, hear, &h);
    cr_expect(h.loose);
    rg_workup_free(w);
}
