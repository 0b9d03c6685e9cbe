/*
 * visits.c - invented inspections. Figures are of the size that real ones have: gaps of hundredths
 * of a millimetre; two instruments of five are sealed throughout, of the others every fifth pad
 * leaks.
 */
#include "support/visits.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "support/scene.h"

static const char *const pad_name[TEST_PADS] = {
    "high F", "high E",     "high D", "high F sharp", "side E",     "side C", "side B flat",
    "C",      "B",          "A",      "bis",          "G sharp",    "G",      "F sharp",
    "F",      "E",          "D",      "side F sharp", "low E flat", "low C",  "low C sharp",
    "low B",  "low B flat", "octave"};

static const char *const model_name[] = {
    "Port Ellery loan alto (demo)", "Port Ellery loan tenor (demo)",
    "Port Ellery loan clarinet (demo)", "Port Ellery loan flute (demo)"};
static const char model_letter[] = "ATCF";
static const char *const station_name[] = {"bench camera", "school camera", "visiting case"};
static const char *const occasion_name[] = {"as received", "after set-up", "season check"};
static const char *const technician_name[] = {"Bench One", "Bench Two", "Apprentice"};

static int pick(test_random *random, int of)
{
    return (int)(test_uniform(random) * of) % of;
}

static void digest_text(test_random *random, char text[RG_CATALOGUE_DIGEST])
{
    for (int i = 0; i < RG_CATALOGUE_DIGEST - 1; i++)
        text[i] = "0123456789abcdef"[pick(random, 16)];
    text[RG_CATALOGUE_DIGEST - 1] = 0;
}

static double uniform(test_random *random, double low, double high)
{
    return low + (high - low) * test_uniform(random);
}

static void make_arc(rg_catalogue_arc *a, test_random *random)
{
    a->start_deg = uniform(random, 0, 360);
    a->extent_deg = uniform(random, 8, 120);
    a->end_deg = fmod(a->start_deg + a->extent_deg, 360);
    a->centre_deg = fmod(a->start_deg + a->extent_deg / 2, 360);
    a->extent_mm = a->extent_deg * 0.15;
    a->max_width_mm = uniform(random, 0.026, 0.2);
    a->u_max_mm = 0.05 * a->max_width_mm + 0.002;
    a->max_bearing_deg = a->centre_deg;
    a->open_area_mm2 = 0.6 * a->extent_mm * a->max_width_mm;
}

static void make_pad(test_visit *v, int i, double leaking, test_random *random)
{
    rg_catalogue_pad *p = &v->pad[i];
    bool leaks = test_uniform(random) < leaking,
         blind = !leaks && test_uniform(random) < leaking / 4;
    snprintf(p->name, sizeof p->name, "%02d-%s", i + 1, pad_name[i]);
    for (char *c = p->name; *c; c++)
        *c = *c == ' ' ? '-' : *c;
    snprintf(p->pad, sizeof p->pad, "%s", pad_name[i]);
    p->position = i;
    snprintf(p->verdict, sizeof p->verdict, "%s",
             leaks   ? "leaking"
             : blind ? "undecided"
                     : "sealed");
    snprintf(p->finger, sizeof p->finger, "light");
    p->grams = NAN;
    p->tolerance_mm = 0.025;
    p->seen = blind ? 300 + pick(random, 50) : 360;
    p->arcs = leaks ? 1 + pick(random, TEST_ARCS_MAX) : 0;
    p->arc = v->arc[i];
    p->widest_mm = p->u_widest_mm = p->widest_deg = NAN;
    for (int a = 0; a < p->arcs; a++) {
        rg_catalogue_arc *arc = &v->arc[i][a];
        make_arc(arc, random);
        if (a == 0 || arc->max_width_mm > p->widest_mm) {
            p->widest_mm = arc->max_width_mm;
            p->u_widest_mm = arc->u_max_mm;
            p->widest_deg = arc->max_bearing_deg;
        }
    }
    p->mean_mm = leaks ? 0.3 * p->widest_mm : 0;
    p->u_mean_mm = 0.002;
    snprintf(p->station, sizeof p->station, "%s", station_name[v->row.sequence % 3]);
    p->calibration_day = (int)(v->row.time / 86400) - 20;
    p->calibrated = true;
    p->radiance = exp(2 + 0.1 * test_normal(random));
    p->u_radiance_ln = 0.03;
    p->psf_sigma_px = 0.7 + 0.02 * test_normal(random);
    p->frames_given = 30;
    p->frames_used = 30 - pick(random, 3);
}

static void make_head(rg_catalogue_inspection *r, int number, int total, test_random *random)
{
    int serials = total / 7 + 1, model = number % serials % 4;
    double span = (double)(TEST_VISITS_END - TEST_VISITS_BEGIN) / total;
    r->sequence = number / serials + 1;
    r->time = TEST_VISITS_BEGIN + (int64_t)(span * (number + 0.9 * test_uniform(random)));
    snprintf(r->serial, sizeof r->serial, "PE-%c-%04d", model_letter[model], number % serials + 1);
    snprintf(r->bag, sizeof r->bag, "%s/%04d-%lld", r->serial, r->sequence, (long long)r->time);
    snprintf(r->model, sizeof r->model, "%s", model_name[model]);
    snprintf(r->technician, sizeof r->technician, "%s", technician_name[pick(random, 3)]);
    snprintf(r->occasion, sizeof r->occasion, "%s", occasion_name[pick(random, 3)]);
    snprintf(r->note, sizeof r->note, "visit %d; key oil, neck cork checked", number);
    snprintf(r->software, sizeof r->software, "rimglow test");
    r->pads_of_model = TEST_PADS;
    digest_text(random, r->manifest);
    digest_text(random, r->tagmanifest);
    if (r->sequence > 1)
        digest_text(random, r->previous_manifest);
    r->files = 24 * 40;
    r->bytes = 100000000 + pick(random, 100000000);
}

static void make_verdict(test_visit *v)
{
    const char *worst = "sealed";
    for (int i = 0; i < TEST_PADS; i++)
        if (strcmp(v->pad[i].verdict, "leaking") == 0 ||
            (strcmp(v->pad[i].verdict, "undecided") == 0 && strcmp(worst, "sealed") == 0))
            worst = v->pad[i].verdict;
    snprintf(v->row.verdict, sizeof v->row.verdict, "%s", worst);
}

void test_visit_make(test_visit *visit, int number, int total, unsigned seed)
{
    test_random random = {((unsigned)number + 1ull) * 0x9E3779B97F4A7C15ull + seed};
    *visit = (test_visit){0};
    make_head(&visit->row, number, total, &random);
    double leaking = test_uniform(&random) < 0.4 ? 0 : 0.2;
    for (int i = 0; i < TEST_PADS; i++)
        make_pad(visit, i, leaking, &random);
    make_verdict(visit);
    visit->value[0] = (rg_catalogue_value){"mass", "g", "shop scale", 2400 + number % 60, 0.5};
    visit->value[1] = (rg_catalogue_value){"key height of G", "mm", "", 3.1, NAN};
    visit->row.pads = TEST_PADS;
    visit->row.pad = visit->pad;
    visit->row.values = 2;
    visit->row.value = visit->value;
}
