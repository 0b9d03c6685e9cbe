/*
 * bench_report.c - the bench check as JSON, by jansson.
 */
#include "rimglow/bench_report.h"

#include <jansson.h>
#include <math.h>

#include "json_values.h"
#include "rimglow/version.h"

/* So many digits that mean something. */
static json_t *number(double value)
{
    return rg_json_digits(value, 6);
}

static json_t *numbers(const double *v, int n)
{
    json_t *a = json_array();
    for (int i = 0; i < n; i++)
        json_array_append_new(a, number(v[i]));
    return a;
}

static json_t *finding_object(const rg_finding *f)
{
    json_t *o = json_object();
    json_object_set_new(o, "topic", json_string(rg_check_topic_name(f->topic)));
    json_object_set_new(o, "state", json_string(rg_check_state_name(f->state)));
    json_object_set_new(o, "value", number(f->value));
    json_object_set_new(o, "u", number(f->u));
    json_object_set_new(o, "limit", number(f->limit));
    json_object_set_new(o, "sense", rg_json_text(f->sense));
    json_object_set_new(o, "unit", rg_json_text(f->unit));
    json_object_set_new(o, "text", rg_json_text(f->text));
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
    json_object_set_new(o, "file", rg_json_text(r->files[i]));
    json_object_set_new(o, "role", rg_json_text(r->roles[i]));
    json_object_set_new(o, "used", json_boolean(r->frames[i].used));
    json_object_set_new(o, "reason", rg_json_text(b->reason));
    json_object_set_new(o, "bearing_deg", b->crown ? number(b->bearing_deg) : json_null());
    json_object_set_new(o, "elevation_deg", b->crown ? number(b->elevation_deg) : json_null());
    json_object_set_new(o, "mtf50", number(b->mtf50));
    json_object_set_new(o, "borders", json_integer(b->edges));
    json_object_set_new(o, "far_share", number(b->far_share));
    json_object_set_new(o, "spread_xx_px2", spread ? number(b->sight.spread.xx) : json_null());
    json_object_set_new(o, "spread_yy_px2", spread ? number(b->sight.spread.yy) : json_null());
    json_object_set_new(o, "white", b->crown ? number(b->sight.white) : json_null());
    json_object_set_new(o, "black", b->crown ? number(b->sight.black) : json_null());
    json_object_set_new(o, "clipped", number(b->clipped));
    json_object_set_new(o, "rim_ratio", number(b->rim.ratio));
    json_object_set_new(o, "tag_ratio", number(b->tag_ratio));
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

static rg_code dump(json_t *o, char **text, rg_error *err)
{
    *text = json_dumps(o, JSON_INDENT(1) | JSON_PRESERVE_ORDER);
    json_decref(o);
    return *text ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for the JSON of a bench check");
}

rg_code rg_bench_report_one(const rg_bench_report *r, char **text, rg_error *err)
{
    const rg_bench_check *c = r->check;
    json_t *o = json_object(), *mtf = json_object();
    json_t *findings = json_array(), *frames = json_array();
    for (int i = 0; i < RG_CHECK_TOPICS; i++)
        json_array_append_new(findings, finding_object(&c->finding[i]));
    for (int i = 0; i < r->count; i++)
        json_array_append_new(frames, frame_object(r, i));
    json_object_set_new(mtf, "step_cycles_per_px", number(RG_MTF_STEP));
    json_object_set_new(mtf, "values", numbers(c->mtf, RG_MTF_POINTS));
    json_object_set_new(o, "format", json_string("rimglow bench check"));
    json_object_set_new(o, "version", json_integer(1));
    json_object_set_new(o, "software", json_string("rimglow " RG_VERSION));
    json_object_set_new(o, "serial", rg_json_text(r->serial));
    json_object_set_new(o, "pad", rg_json_text(r->pad));
    json_object_set_new(o, "station", rg_json_text(r->station));
    json_object_set_new(o, "folder", rg_json_text(r->folder));
    json_object_set_new(o, "state", json_string(rg_check_state_name(c->state)));
    json_object_set_new(o, "findings", findings);
    json_object_set_new(o, "mtf50_cycles_per_px", number(c->mtf50));
    json_object_set_new(o, "mtf50_cycles_per_mm", number(c->mtf50 * c->px_per_mm));
    json_object_set_new(o, "px_per_mm", number(c->px_per_mm));
    json_object_set_new(o, "mtf", mtf);
    json_object_set_new(o, "tones", numbers(c->tones, RG_BENCH_TONES));
    json_object_set_new(o, "uncovered_bearings", uncovered(c));
    json_object_set_new(o, "frames", frames);
    return dump(o, text, err);
}

rg_code rg_bench_report_all(const char *state, const char *const *folders, const char *const *texts,
                            const rg_error *errors, int count, char **text, rg_error *err)
{
    json_t *o = json_object(), *sweeps = json_array(), *failed = json_array();
    for (int i = 0; i < count; i++) {
        json_t *one = texts[i] ? json_loads(texts[i], 0, NULL) : NULL;
        if (one) {
            json_array_append_new(sweeps, one);
            continue;
        }
        json_t *e = json_object();
        json_object_set_new(e, "folder", rg_json_text(folders[i]));
        json_object_set_new(e, "code", json_integer(errors[i].code));
        json_object_set_new(e, "text", rg_json_text(errors[i].text));
        json_array_append_new(failed, e);
    }
    json_object_set_new(o, "format", json_string("rimglow bench checks"));
    json_object_set_new(o, "version", json_integer(1));
    json_object_set_new(o, "state", rg_json_text(state));
    json_object_set_new(o, "sweeps", sweeps);
    json_object_set_new(o, "errors", failed);
    return dump(o, text, err);
}
