/*
 * bench_lens_json.c - what the lens looks like so far, as JSON (bench.h).
 */
#include <math.h>

#include "bench_lens_private.h"
#include "bench_private.h"

static json_t *tenths(double value)
{
    return isfinite(value) ? json_real(round(value * 10) / 10) : json_null();
}

static json_t *point(rg_vec2 p)
{
    return json_pack("[o, o]", tenths(p.x), tenths(p.y));
}

/* Tags by fours of their corners. */
static json_t *picture_json(const lens_sight *s)
{
    json_t *tags = json_array(), *outline = json_array();
    if (s->width < 1) {
        json_decref(tags);
        json_decref(outline);
        return json_null();
    }
    for (int i = 0; i + 3 < s->view.corners; i += 4) {
        json_t *tag = json_array();
        for (int k = 0; k < 4; k++)
            json_array_append_new(tag, point(s->corner[i + k].pixel));
        json_array_append_new(tags, tag);
    }
    for (int i = 0; i < s->outlines; i++)
        json_array_append_new(outline, point(s->outline[i]));
    return json_pack("{s:i, s:i, s:o, s:o}", "width", s->width, "height", s->height, "tags", tags,
                     "outline", outline);
}

static json_t *shots_json(const rg_bench_lens *l)
{
    json_t *list = json_array();
    for (int i = 0; i < l->shots; i++) {
        const lens_shot *s = &l->shot[i];
        if (!s->back)
            json_array_append_new(
                list, json_pack("{s:s, s:b, s:o}", "file", s->name, "used", !s->bad, "rms_px",
                                isfinite(s->rms_px) ? json_real(round(s->rms_px * 1e3) / 1e3)
                                                    : json_null()));
    }
    return list;
}

static json_t *fields_json(const rg_lens_review *r)
{
    json_t *list = json_array();
    for (int f = 0; f < RG_FIELDS; f++)
        json_array_append_new(
            list, json_pack("{s:s, s:i}", "name", rg_field_name(f), "views", r->field_views[f]));
    return list;
}

/* The result's advice, or what can be said before there is one. */
static json_t *advice_json(const rg_bench_lens *l, const rg_lens_review *early)
{
    const rg_lens_review *r = l->json ? &l->result.review : early;
    json_t *list = json_array();
    for (int i = 0; i < r->advices; i++)
        json_array_append_new(list, rg_bench_words(r->advice[i]));
    return list;
}

static json_t *cover_json(const rg_bench_lens *l)
{
    const rg_lens_limits *limits = &l->config.enough;
    rg_lens_review r;
    json_t *corners = json_array();
    bool known = rg_bench_lens_cover(l, NULL, &r, NULL) == RG_OK;
    if (!known) /* before the first picture */
        r = (rg_lens_review){0};
    for (int k = 0; k < 4; k++)
        json_array_append_new(corners,
                              json_boolean(known && r.corner_distance_px[k] <= r.corner_limit_px));
    return json_pack("{s:i, s:i, s:i, s:i, s:o, s:o, s:i, s:i, s:o}", "min_views",
                     limits->min_views, "field_views", limits->field_views, "tilted_views",
                     limits->tilted_views, "views", r.views, "fields", fields_json(&r), "corners",
                     corners, "tipped_up_down", r.tipped_up_down, "tipped_left_right",
                     r.tipped_left_right, "advice", advice_json(l, &r));
}

static json_t *state_json(const rg_bench_lens *l)
{
    json_t *result = l->json ? json_loads(l->json, 0, NULL) : NULL;
    return json_pack("{s:o, s:o, s:b, s:b, s:o, s:o, s:b, s:b, s:o, s:o, s:o, s:o, s:i, s:b, s:o}",
                     "board", rg_bench_words(l->board), "folder", rg_bench_words(l->folder),
                     "automatic", l->automatic, "recorded", l->recorded, "photographs",
                     shots_json(l), "picture", picture_json(&l->seen), "usable", l->usable, "still",
                     l->still, "why", rg_bench_words(l->why), "adds", rg_bench_words(l->adds),
                     "told", rg_bench_words(l->told), "result", result ? result : json_null(),
                     "result_of", l->result_of, "fitting", l->fitting || l->taken != l->fitted,
                     "fault", rg_bench_words(l->fault));
}

json_t *rg_bench_lens_json(rg_bench_lens *l)
{
    pthread_mutex_lock(&l->lock);
    json_t *json = state_json(l), *cover = cover_json(l);
    pthread_mutex_unlock(&l->lock);
    if (json && cover)
        json_object_update(json, cover);
    json_decref(cover);
    return json;
}
