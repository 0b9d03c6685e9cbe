/*
 * Leaks of the sample pads: from measured seal maps to notes and JSON. Outside values: the gap
 * profiles that the frames were rendered from (samples/truth), through a plain trapezoid of
 * the same slot formula written out here.
 */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/config.h"
#include "rimglow/config_flow.h"
#include "rimglow/flow_report.h"
#include "rimglow/mapfile.h"
#include "support/load.h"

enum { PADS = 5 };

static const char *const sample[PADS] = {"04-C", "05-B", "06-A", "07-G-sharp", "08-G"};

static rg_error err;

typedef struct bench {
    rg_flow_options options;
    rg_instrument horn;
    rg_hole hole[RG_PADS_MAX];
    rg_map_file map[PADS];
    int place[PADS]; /* of each map's pad */
    rg_pad_flow flow[PADS];
    rg_instrument_flow total;
} bench;

static const char *load(const char *format, const char *name, test_bytes *file)
{
    static char path[120];
    snprintf(path, sizeof path, format, name);
    *file = test_load(path);
    return path;
}

static void open_bench(bench *b)
{
    test_bytes file;
    const char *path = load("calib/%s.ini", "flow", &file);
    cr_assert_eq(rg_flow_options_parse(path, (char *)file.data, file.size, &b->options, &err),
                 RG_OK, "%s", err.text);
    free(file.data);
    path = load("calib/%s.ini", "alto-loan", &file);
    cr_assert_eq(rg_instrument_parse(path, (char *)file.data, file.size, &b->horn, &err), RG_OK,
                 "%s", err.text);
    free(file.data);
    cr_assert_eq(rg_instrument_holes(path, &b->horn, b->hole, &err), RG_OK, "%s", err.text);
    for (int i = 0; i < PADS; i++) {
        path = load("tests/data/seal-maps/%s.json", sample[i], &file);
        cr_assert_eq(rg_mapfile_parse(path, (char *)file.data, file.size, &b->map[i], &err), RG_OK,
                     "%s", err.text);
        free(file.data);
        const rg_pad *pad = rg_instrument_pad(&b->horn, b->map[i].pad);
        cr_assert_not_null(pad, "%s", b->map[i].pad);
        b->place[i] = (int)(pad - b->horn.pad);
        cr_assert_eq(rg_pad_flow_find(&b->map[i].map, &pad->rim, &b->options, &b->flow[i], &err),
                     RG_OK, "%s", err.text);
    }
    rg_instrument_flow_sum(b->flow, PADS, &b->options, &b->total);
}

/* Air of 20 C at 3000 Pa through the true gap, bearing by bearing: long slots lose 1.5 dynamic
 * pressures. Gaps of the samples are no wider than 0.2 mm, a fifth of the land. */
static double true_ml_s(const double w_mm[RG_BINS])
{
    const double mu = 1.8134e-5, rho = 1.2041, t = 1e-3, p = 3000;
    double sum = 0;
    for (int b = 0; b < RG_BINS; b++) {
        double w = w_mm[b] * 1e-3, length = 9.5e-3 * 3.14159265 / 180;
        cr_assert_lt(w_mm[b], 0.2);
        if (w <= 0)
            continue;
        double a = 12 * mu * t / pow(w, 3), k = 1.5 * rho / 2 / (w * w);
        sum += length * (-a + sqrt(a * a + 4 * k * p)) / (2 * k);
    }
    return sum * 1e6;
}

/* Both bounds count: the measured leak with U, and what dark bearings may hide. */
Test(flow_report, the_true_leak_lies_within_the_stated_bounds)
{
    static bench b;
    open_bench(&b);
    for (int i = 0; i < PADS; i++) {
        test_bytes file;
        double w[RG_BINS];
        const char *path = load("samples/truth/%s.json", sample[i], &file);
        cr_assert_eq(rg_mapfile_truth(path, (char *)file.data, file.size, w, &err), RG_OK, "%s",
                     err.text);
        free(file.data);
        double truth = true_ml_s(w);
        const rg_pad_flow *f = &b.flow[i];
        cr_expect(truth >= f->measured.low_ml_s, "%s: %g ml/s, at least %g", sample[i], truth,
                  f->measured.low_ml_s);
        if (f->unseen == 0)
            cr_expect(truth <= f->measured.high_ml_s + f->dark.high_ml_s, "%s: %g, at most %g",
                      sample[i], truth, f->measured.high_ml_s + f->dark.high_ml_s);
        if (f->gap > 40)
            cr_expect(fabs(f->measured.ml_s / truth - 1) < 0.15, "%s: %g of %g", sample[i],
                      f->measured.ml_s, truth);
    }
    rg_instrument_free(&b.horn);
}

/* ------------------------------------------------------------------- JSON */

static double number_at(json_t *o, const char *key)
{
    json_t *v = json_object_get(o, key);
    cr_assert(json_is_number(v), "%s is a number", key);
    return json_number_value(v);
}

static void is_leak(json_t *o, const rg_leak *leak)
{
    cr_expect_float_eq(number_at(o, "ml_s"), leak->ml_s, 1e-5 * leak->ml_s);
    cr_expect_float_eq(number_at(o, "u_ml_s"), leak->u_ml_s, 1e-5 * leak->u_ml_s);
    cr_expect_float_eq(number_at(o, "low_ml_s"), leak->low_ml_s, 1e-5 * leak->low_ml_s);
    cr_expect_float_eq(number_at(o, "high_ml_s"), leak->high_ml_s, 1e-5 * leak->high_ml_s);
    cr_expect_float_eq(number_at(o, "orifice_mm"), leak->orifice_mm, 1e-5);
    cr_expect_float_eq(number_at(o, "orifice_low_mm"), leak->orifice_low_mm, 1e-5);
    cr_expect_float_eq(number_at(o, "orifice_high_mm"), leak->orifice_high_mm, 1e-5);
    cr_expect_float_eq(number_at(o, "ml_s_kpa"), leak->ml_s / 3, 1e-5 * leak->ml_s);
}

static json_t *document_of(const bench *b, const rg_note_breath *breath, int breaths)
{
    rg_flow_report_pad pad[PADS];
    rg_hole_leak leak[PADS];
    rg_leak_rank rank[PADS];
    rg_note_loss loss[RG_PITCHES];
    for (int i = 0; i < PADS; i++) {
        pad[i] = (rg_flow_report_pad){b->place[i], &b->flow[i]};
        leak[i] = (rg_hole_leak){b->place[i], b->flow[i].measured.ml_s, b->flow[i].measured.u_ml_s};
    }
    rg_flow_report r = {.serial = "PE-A-0147",
                        .instrument = b->horn.name,
                        .options = &b->options,
                        .hole = b->hole,
                        .pad = pad,
                        .pads = PADS,
                        .total = &b->total,
                        .rank = rank,
                        .ranks = rg_leaks_rank(b->hole, b->horn.pads, leak, PADS, rank),
                        .loss = loss,
                        .losses = rg_notes_lose(b->hole, b->horn.pads, leak, PADS, loss),
                        .breath = breath,
                        .breaths = breaths};
    char *text = NULL;
    cr_assert_eq(rg_flow_report_text(&r, &text, &err), RG_OK, "%s", err.text);
    json_t *o = json_loads(text, 0, NULL);
    cr_assert_not_null(o);
    free(text);
    return o;
}

static bool says(json_t *o, const char *key, const char *expected)
{
    const char *text = json_string_value(json_object_get(o, key));
    return text && strcmp(text, expected) == 0;
}

Test(flow_report, the_document_holds_pads_arcs_ranking_and_notes)
{
    static bench b;
    open_bench(&b);
    json_t *o = document_of(&b, NULL, 0), *pads = json_object_get(o, "pads");
    cr_expect(says(o, "format", "rimglow leaks and notes") && says(o, "serial", "PE-A-0147"));
    cr_expect_float_eq(number_at(o, "blowing_pa"), 3000, 0);
    cr_expect_float_eq(number_at(json_object_get(o, "air"), "viscosity_pa_s"), 1.8134e-5, 1e-9);
    json_t *total = json_object_get(o, "instrument_leak");
    is_leak(total, &b.total.measured);
    cr_expect_float_eq(number_at(json_object_get(total, "at_most_more"), "ml_s"), b.total.dark.ml_s,
                       1e-5 * b.total.dark.ml_s);
    cr_expect_eq(number_at(total, "gap_bearings") + number_at(total, "sealed_bearings") +
                     number_at(total, "unseen_bearings"),
                 360 * PADS);
    cr_assert_eq(json_array_size(pads), PADS);
    for (size_t i = 0; i < PADS; i++) {
        json_t *p = json_array_get(pads, i), *arcs = json_object_get(p, "arcs");
        cr_expect(says(p, "pad", b.map[i].pad));
        is_leak(p, &b.flow[i].measured);
        cr_assert_eq(json_array_size(arcs), (size_t)b.map[i].map.arcs);
        for (size_t a = 0; a < json_array_size(arcs); a++)
            is_leak(json_array_get(arcs, a), &b.flow[i].arc[a]);
    }
    json_t *ranking = json_object_get(o, "ranking");
    for (size_t i = 1; i < json_array_size(ranking); i++)
        cr_expect(number_at(json_array_get(ranking, i - 1), "ml_s") >=
                  number_at(json_array_get(ranking, i), "ml_s"));
    json_decref(o);
    rg_instrument_free(&b.horn);
}

/* G and G sharp are needed closed from G5 down, so C6 to G sharp 5 do not suffer from them. */
Test(flow_report, every_leak_says_where_it_begins)
{
    static bench b;
    open_bench(&b);
    json_t *o = document_of(&b, NULL, 0), *row;
    size_t i;
    int seen = 0;
    json_array_foreach(json_object_get(o, "ranking"), i, row)
    {
        json_t *notes = json_object_get(row, "notes");
        if (!says(row, "pad", "G sharp"))
            continue;
        seen++;
        cr_expect(says(row, "starts_at", "G5"));
        cr_expect_eq(json_array_size(notes), 16); /* Bb3..G4 and D5..G5 */
        cr_expect_str_eq(json_string_value(json_array_get(notes, 0)), "G5");
        cr_expect_str_eq(json_string_value(json_array_get(notes, 15)), "Bb3");
    }
    cr_expect_eq(seen, 1);
    json_array_foreach(json_object_get(o, "notes"), i, row) if (says(row, "note", "D6"))
    {
        cr_expect_eq(number_at(row, "leaks"), 0);
        cr_expect(json_is_null(json_object_get(row, "worst_pad")));
    }
    json_decref(o);
    rg_instrument_free(&b.horn);
}

Test(flow_report, venting_is_in_the_document_when_it_is_given)
{
    static bench b;
    static rg_note_breath breath[RG_PITCHES];
    rg_hole_opening opening[RG_PADS_MAX] = {{0}};
    open_bench(&b);
    int count = rg_notes_breathe(b.hole, opening, b.horn.pads, 2, breath);
    json_t *o = document_of(&b, breath, count), *row;
    size_t i;
    json_array_foreach(json_object_get(o, "venting"), i, row) if (says(row, "note", "F4"))
    {
        json_t *through = json_object_get(row, "speaks_through");
        cr_expect_eq(json_array_size(through), 2);
        cr_expect(says(row, "breath", "not judged") && says(row, "cause", "E"));
        cr_expect(strstr(json_string_value(json_object_get(row, "reason")), "not measured"));
    }
    cr_expect_eq((int)json_array_size(json_object_get(o, "venting")), count);
    json_decref(o);
    rg_instrument_free(&b.horn);
}
