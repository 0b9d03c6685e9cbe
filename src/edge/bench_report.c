/*
 * bench_report.c - the bench check as JSON, by jansson.
 */
#include "rimglow/bench_report.h"

#include <jansson.h>

#include "json_values.h"
#include "rimglow/version.h"

static json_t *finding_object(const rg_finding *f)
{
    json_t *o = json_object();
    rg_json_set_text(o, "topic", rg_check_topic_name(f->topic));
    rg_json_set_text(o, "state", rg_check_state_name(f->state));
    rg_json_set_number(o, "value", f->value);
    rg_json_set_number(o, "u", f->u);
    rg_json_set_number(o, "limit", f->limit);
    rg_json_set_text(o, "sense", f->sense);
    rg_json_set_text(o, "unit", f->unit);
    rg_json_set_text(o, "text", f->text);
    return o;
}

static json_t *flaws_array(unsigned flaws)
{
    json_t *a = json_array();
    for (int i = 0; i < RG_CHECK_TOPICS; i++)
        if (flaws >> i & 1u)
            json_array_append_new(a, json_string(rg_check_topic_name((rg_check_topic)i)));
    return a;
}

static json_t *frame_object(const rg_bench_report *r, int i)
{
    const rg_bench_frame *b = &r->look[i];
    bool spread = b->sight.spread_held;
    json_t *o = json_object();
    rg_json_set_text(o, "file", r->files[i]);
    rg_json_set_text(o, "role", r->roles[i]);
    rg_json_set_switch(o, "used", r->frames[i].used);
    rg_json_set_text(o, "reason", b->reason);
    json_object_set_new(o, "bearing_deg", b->crown ? rg_json_number(b->bearing_deg) : json_null());
    json_object_set_new(o, "elevation_deg",
                        b->crown ? rg_json_number(b->elevation_deg) : json_null());
    rg_json_set_number(o, "mtf50", b->mtf50);
    rg_json_set_whole(o, "borders", b->edges);
    rg_json_set_number(o, "far_share", b->far_share);
    json_object_set_new(o, "spread_xx_px2",
                        spread ? rg_json_number(b->sight.spread.xx) : json_null());
    json_object_set_new(o, "spread_yy_px2",
                        spread ? rg_json_number(b->sight.spread.yy) : json_null());
    json_object_set_new(o, "white", b->crown ? rg_json_number(b->sight.white) : json_null());
    json_object_set_new(o, "black", b->crown ? rg_json_number(b->sight.black) : json_null());
    rg_json_set_number(o, "clipped", b->clipped);
    rg_json_set_number(o, "rim_ratio", b->rim.ratio);
    rg_json_set_number(o, "tag_ratio", b->tag_ratio);
    json_object_set_new(o, "flaws", flaws_array(b->flaws));
    return o;
}

static json_t *uncovered(const rg_bench_check *c)
{
    json_t *a = json_array();
    if (!c->coverage_known) {
        json_decref(a);
        return json_null();
    }
    for (int b = 0; b < RG_BINS; b++)
        if (!c->covered[b])
            json_array_append_new(a, json_integer(b));
    return a;
}

rg_code rg_bench_report_one(const rg_bench_report *r, char **text, rg_error *err)
{
    const rg_bench_check *c = r->check;
    json_t *o = rg_json_document("rimglow bench check"), *mtf = json_object();
    json_t *findings = json_array(), *frames = json_array();
    for (int i = 0; i < RG_CHECK_TOPICS; i++)
        json_array_append_new(findings, finding_object(&c->finding[i]));
    for (int i = 0; i < r->count; i++)
        json_array_append_new(frames, frame_object(r, i));
    rg_json_set_number(mtf, "step_cycles_per_px", RG_MTF_STEP);
    json_object_set_new(mtf, "values", rg_json_numbers(c->mtf, RG_MTF_POINTS));
    rg_json_set_text(o, "software", "rimglow " RG_VERSION);
    rg_json_set_text(o, "serial", r->serial);
    rg_json_set_text(o, "pad", r->pad);
    rg_json_set_text(o, "station", r->station);
    rg_json_set_text(o, "folder", r->folder);
    rg_json_set_text(o, "state", rg_check_state_name(c->state));
    json_object_set_new(o, "findings", findings);
    rg_json_set_number(o, "mtf50_cycles_per_px", c->mtf50);
    rg_json_set_number(o, "mtf50_cycles_per_mm", c->mtf50 * c->px_per_mm);
    rg_json_set_number(o, "px_per_mm", c->px_per_mm);
    json_object_set_new(o, "mtf", mtf);
    json_object_set_new(o, "tones", rg_json_numbers(c->tones, RG_BENCH_TONES));
    json_object_set_new(o, "uncovered_bearings", uncovered(c));
    json_object_set_new(o, "frames", frames);
    return rg_json_write(o, RG_JSON_ALL_DIGITS, "the bench check", text, err);
}

rg_code rg_bench_report_all(const char *state, const char *const *folders, const char *const *texts,
                            const rg_error *errors, int count, char **text, rg_error *err)
{
    json_t *o = rg_json_document("rimglow bench checks"), *sweeps = json_array(),
           *failed = json_array();
    for (int i = 0; i < count; i++) {
        json_t *one = texts[i] ? json_loads(texts[i], 0, NULL) : NULL;
        if (one) {
            json_array_append_new(sweeps, one);
            continue;
        }
        json_t *e = json_object();
        rg_json_set_text(e, "folder", folders[i]);
        rg_json_set_whole(e, "code", errors[i].code);
        rg_json_set_text(e, "text", errors[i].text);
        json_array_append_new(failed, e);
    }
    rg_json_set_text(o, "state", state);
    json_object_set_new(o, "sweeps", sweeps);
    json_object_set_new(o, "errors", failed);
    return rg_json_write(o, RG_JSON_ALL_DIGITS, "the bench check", text, err);
}
