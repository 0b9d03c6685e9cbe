/*
 * Fuzz target for the three INI parsers. The first byte chooses the parser,
 * the rest is the text. Besides memory errors it stops at a broken promise: a
 * refusal without a text, values outside what the header allows, or a sweep
 * that does not survive being written and read again.
 */
#include <math.h>

#include "fuzz.h"
#include "rimglow/config.h"

static void check_links(const rg_instrument *horn)
{
    for (int i = 0; i < horn->links; i++) {
        const rg_link *link = &horn->link[i];
        require(link->driver >= 0 && link->driver < horn->pads);
        require(link->driven >= 0 && link->driven < horn->pads && link->driven != link->driver);
        require(link->lever_ratio > 0 && link->thread_mm >= 0);
        require(strstr(horn->pad[link->driver].closed_with, horn->pad[link->driven].name) != NULL);
    }
}

/* Every set of notes survives being written and read again; every note finds its holes. */
static void check_holes(const rg_instrument *horn)
{
    static rg_hole hole[RG_PADS_MAX];
    rg_error err = {0};
    rg_code code = rg_instrument_holes("fuzz.ini", horn, hole, &err);
    check_refusal(code, &err);
    for (int i = 0; i < horn->pads && code == RG_OK; i++) {
        char text[RG_PITCH_SET_TEXT];
        rg_pitch_set again;
        rg_pitch_set_text(&hole[i].closed, text, sizeof text);
        require(rg_pitch_set_parse(text, &again, &err) == RG_OK);
        require(memcmp(&again, &hole[i].closed, sizeof again) == 0);
    }
    for (int p = 0; p < RG_PITCHES && code == RG_OK; p++) {
        rg_venting v;
        rg_venting_of(hole, horn->pads, p, &v);
        require(v.holes >= 0 && v.holes <= horn->pads);
    }
}

static void try_instrument(const char *text, size_t size)
{
    rg_error err = {0};
    rg_instrument horn;
    rg_code code = rg_instrument_parse("fuzz.ini", text, size, &horn, &err);
    check_refusal(code, &err);
    require(code == RG_OK || horn.pad == NULL);
    for (int i = 0; i < horn.pads; i++) {
        const rg_pad *pad = &horn.pad[i];
        require(pad->rim.inner_diameter_mm < pad->rim.outer_diameter_mm);
        require(pad->rim.outer_diameter_mm < pad->rim.pad_diameter_mm);
        require(pad->tolerance_mm > 0 && pad->tolerance_mm < pad->opening_mm);
        require(rg_instrument_pad(&horn, pad->name) == pad);
    }
    check_links(&horn);
    check_holes(&horn);
    rg_instrument_free(&horn);
}

static void try_station(const char *text, size_t size)
{
    rg_error err = {0};
    rg_station station;
    rg_code code = rg_station_parse("fuzz.ini", text, size, &station, &err);
    check_refusal(code, &err);
    if (code == RG_OK) {
        const double *w = station.measure.code_weights;
        require(fabs(w[0] + w[1] + w[2] - 1) <= 1e-6);
        require(isfinite(station.lens.fx) && station.measure.strip.step_deg > 0);
    }
}

static void check_place(const rg_sweep *sweep)
{
    rg_error err = {0};
    require(rg_place_check(&sweep->place, &err) == RG_OK);
    for (int i = 0; i < sweep->frames; i++) {
        const rg_place_given *g = &sweep->frame[i].given;
        require(g->marks >= 0 && g->marks <= RG_MARKS_MAX);
        require(sweep->place.source != RG_PLACE_CROWN || (isnan(g->bearing_deg) && g->marks == 0));
        for (int k = 0; k < g->marks; k++) {
            require(isfinite(g->mark[k].pixel.x) && isfinite(g->mark[k].pixel.y));
        }
    }
}

static void try_sweep(const char *text, size_t size)
{
    static const char *const folder[] = {"sweep.ini", "view_00.jpg", "view_01.jpg", "witness.jpg"};
    rg_error err = {0};
    rg_sweep sweep;
    rg_code code = rg_sweep_parse("fuzz.ini", text, size, &sweep, &err);
    check_refusal(code, &err);
    if (code != RG_OK) {
        return;
    }
    check_place(&sweep);
    char *names[4], *written = NULL;
    for (int i = 0; i < 4; i++) {
        names[i] = (char *)(uintptr_t)folder[i];
    }
    code = rg_sweep_expand("fuzz.ini", &sweep, names, 4, &err);
    require(code == RG_OK || code == RG_NO_INPUT || code == RG_BAD_DATA);
    rg_code written_code = rg_sweep_text(&sweep, &written, &err);
    require(written_code == RG_OK || strstr(err.text, "too long for a line") != NULL);
    free(written);
    rg_sweep_free(&sweep);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static fuzz_text *const parser[] = {try_instrument, try_station, try_sweep};
    return fuzz_chosen(parser, sizeof parser / sizeof *parser, data, size);
}
