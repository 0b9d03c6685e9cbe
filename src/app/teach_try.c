/*
 * teach_try.c - what the pages ask of the lab.
 *
 *   GET /api/lab       pad, limits, sliders {NAME: {low, high, step, start}}, sizes and heights of the lessons
 *   GET /api/look      ?page=ID&NAME=VALUE...: one view and what it shows. Sliders that are not
 *                      given stand at their start. alone=yes: this view alone; otherwise views of the
 *                      same pad by the same page add up; fresh=yes: earlier ones are forgotten.
 *                      witness=no: none was taken
 *   GET /api/sweep     ?page=ID&NAME=VALUE...: a whole sweep of that pad, in the background: {running: true,
 *                      done, total} until it is done, then what it says. Asking about another pad, or looking
 *                      at one, ends it
 *
 * ID: up to 32 letters and digits, made up by each page. 400 for any other, and for values out of
 * range. The newest 16 pages are remembered.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/text.h"
#include "teach_assets.h"
#include "teach_private.h"

enum { PAGES = 16, ID = 33 };

/* One page in a browser. A sweep of it waits while it looks. */
typedef struct visitor {
    char id[ID];
    unsigned long seen; /* when, counted by requests */
    int users;          /* requests that hold it */
    bool busy;          /* one of them looks */
    rg_lab_hand *hand;  /* owned; the looker's */
    /* The sweep: */
    int round; /* one of an earlier round is cancelled */
    bool due, wanted;
    double value[RG_TEACH_SLIDERS]; /* of its pad */
    rg_lab_case of;
    int done, total;
    char *said; /* owned: the answer, once it is done */
} visitor;

struct rg_teach_try {
    rg_lab *lab;
    pthread_mutex_t lock; /* of all that follows */
    pthread_cond_t rest;  /* somebody has stopped looking */
    pthread_cond_t work;  /* a sweep is due, or it ends */
    pthread_t sweeper;    /* one sweep at a time */
    bool sweeping, over;
    unsigned long requests;
    visitor visitor[PAGES];
};

/* ---------------------------------------------------------------- visitors */

static bool read_id(const rg_request *request, char id[ID])
{
    const char *given = rg_request_query(request, "page");
    static const char allowed[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789";
    return given && given[0] && strspn(given, allowed) == strlen(given) &&
           rg_copy_text(id, ID, given);
}

static visitor *known(rg_teach_try *t, const char *id)
{
    for (int i = 0; i < PAGES; i++)
        if (strcmp(t->visitor[i].id, id) == 0)
            return &t->visitor[i];
    return NULL;
}

/* The place of the one that was here longest ago. */
static visitor *place_for(rg_teach_try *t, const char *id)
{
    visitor *oldest = NULL;
    for (int i = 0; i < PAGES; i++) {
        visitor *v = &t->visitor[i];
        if (v->users == 0 && (!oldest || v->seen < oldest->seen))
            oldest = v;
    }
    if (!oldest)
        return NULL;
    rg_lab_hand_free(oldest->hand);
    free(oldest->said);
    *oldest = (visitor){0};
    rg_copy_text(oldest->id, ID, id);
    return oldest;
}

/* Holds the page's visitor until leave(); NULL with the answer written. */
static visitor *enter(rg_teach_try *t, const rg_request *request, rg_reply *reply)
{
    char id[ID];
    rg_error err = {0};
    if (!read_id(request, id)) {
        rg_reply_error(reply, 400, "page=ID is needed: 1 to 32 letters and digits");
        return NULL;
    }
    pthread_mutex_lock(&t->lock);
    visitor *v = known(t, id);
    v = v ? v : place_for(t, id);
    bool ok = v && (v->hand || rg_lab_hand_new(&v->hand, &err) == RG_OK);
    if (ok) {
        v->users++;
        v->seen = ++t->requests;
    }
    pthread_mutex_unlock(&t->lock);
    if (!ok)
        rg_reply_error(reply, 503, "too many pages ask at once; try again");
    return ok ? v : NULL;
}

static void leave(rg_teach_try *t, visitor *v)
{
    pthread_mutex_lock(&t->lock);
    v->users--;
    pthread_mutex_unlock(&t->lock);
}

/* ---------------------------------------------------------------- sliders */

static bool read_sliders(const rg_lab *lab, const rg_request *request, double *value,
                         rg_reply *reply)
{
    for (int i = 0; i < RG_TEACH_SLIDERS; i++) {
        const char *text = rg_request_query(request, rg_teach_slider_name((rg_teach_slider)i));
        value[i] = rg_lab_settings(lab)->slider[i].start;
        if (!text || rg_parse_double(text, &value[i]))
            continue;
        rg_reply_error(reply, 400, "a slider's value is no number");
        return false;
    }
    return true;
}

static bool read_case(const rg_lab *lab, const rg_request *request, double *value, rg_lab_case *c,
                      rg_reply *reply)
{
    rg_error err = {0};
    if (!read_sliders(lab, request, value, reply))
        return false;
    if (rg_lab_from_sliders(lab, value, c, &err) == RG_OK) {
        const char *witness = rg_request_query(request, "witness");
        c->witness = !witness || strcmp(witness, "no") != 0;
        return true;
    }
    rg_teach_reply_fault(reply, &err);
    return false;
}

static bool same_pad(const double *a, const double *b)
{
    for (int i = 0; i < RG_TEACH_SLIDERS; i++)
        if (a[i] != b[i] && i != RG_TEACH_ELEVATION && i != RG_TEACH_CAMERA)
            return false;
    return true;
}

/* ---------------------------------------------------------------- what is told */

static json_t *slider_json(const rg_teach_settings *s)
{
    json_t *all = json_object();
    for (int i = 0; i < RG_TEACH_SLIDERS; i++) {
        const rg_teach_range *r = &s->slider[i];
        json_object_set_new(all, rg_teach_slider_name((rg_teach_slider)i),
                            json_pack("{s:f, s:f, s:f, s:f}", "low", r->low, "high", r->high,
                                      "step", r->step, "start", r->start));
    }
    return all;
}

static void get_lab(void *context, const rg_request *request, rg_reply *reply)
{
    const rg_teach_page *p = context;
    const rg_teach_settings *s = rg_lab_settings(p->lab);
    const rg_pad *pad = rg_lab_pad(p->lab);
    const rg_setup *setup = rg_lab_setup(p->lab);
    (void)request;
    rg_page_reply_json(
        reply, 200,
        json_pack("{s:s, s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:i, s:i, s:o, s:o, s:o}",
                  "instrument", rg_lab_instrument(p->lab), "pad", pad->name, "tolerance_mm",
                  pad->tolerance_mm, "min_arc_deg", pad->min_arc_deg, "inner_mm",
                  0.5 * pad->rim.inner_diameter_mm, "outer_mm", 0.5 * pad->rim.outer_diameter_mm,
                  "pad_mm", 0.5 * pad->rim.pad_diameter_mm, "reflectance",
                  setup->options.land_reflectance, "glow", setup->options.pad_glow,
                  "coverage_factor", setup->options.sealmap.coverage_factor, "width", s->width,
                  "height", s->height, "sliders", slider_json(s), "sizes_mm",
                  rg_teach_numbers(s->size_mm, s->sizes, 4), "elevations_deg",
                  rg_teach_numbers(s->elevation_deg, s->elevations, 3)));
}

static json_t *reasons_json(const rg_seal_map *map)
{
    json_t *list = json_array();
    for (int i = 0; i < map->reasons; i++)
        json_array_append_new(list, json_string(map->reason[i]));
    return list;
}

/* Per bearing: state as a letter, s g u; width, its u and the detection limit, mm. */
static json_t *map_json(const rg_seal_map *map)
{
    char state[RG_BINS + 1] = "";
    double width[RG_BINS], u[RG_BINS], limit[RG_BINS];
    for (int i = 0; i < RG_BINS; i++) {
        const rg_bin *b = &map->bin[i];
        state[i] = rg_bin_state_name(b->state)[0];
        width[i] = b->width_mm;
        u[i] = b->u_mm;
        limit[i] = b->detection_limit_mm;
    }
    return json_pack("{s:s, s:s, s:o, s:s, s:o, s:o, s:o}", "verdict",
                     rg_verdict_name(map->verdict), "sign", rg_verdict_sign(map->verdict),
                     "reasons", reasons_json(map), "state", state, "width_mm",
                     rg_teach_numbers(width, RG_BINS, 4), "u_mm", rg_teach_numbers(u, RG_BINS, 4),
                     "limit_mm", rg_teach_numbers(limit, RG_BINS, 4));
}

/* What this view saw, a letter for each bearing: outside (.), hidden, glare, dark, lit. */
static json_t *seen_json(const rg_frame *frame)
{
    char seen[RG_BINS + 1];
    memset(seen, '.', RG_BINS);
    seen[RG_BINS] = 0;
    for (int i = 0; i < frame->light.columns; i++) {
        int b = (int)lround(frame->strip.column[i].bearing_deg) % RG_BINS;
        char letter = ".hgdl"[frame->light.column[i].state];
        seen[b] = seen[b] == 'l' ? 'l' : letter;
    }
    return json_string(seen);
}

static json_t *strip_json(const rg_lab_look *k)
{
    const rg_strip *s = &k->frame.strip;
    if (!k->strip)
        return json_null();
    return json_pack("{s:o, s:f, s:f, s:f, s:f}", "jpeg", rg_teach_base64(k->strip, k->strip_size),
                     "first_deg", s->column[0].bearing_deg, "last_deg",
                     s->column[s->columns - 1].bearing_deg, "low_mm", s->low_mm, "high_mm",
                     rg_strip_height(s, s->rows - 1));
}

static json_t *times_json(const rg_lab_times *ms)
{
    return json_pack("{s:o, s:o, s:o, s:o, s:o, s:b}", "render", rg_teach_number(ms->render, 1),
                     "expose", rg_teach_number(ms->expose, 1), "take", rg_teach_number(ms->take, 1),
                     "measure", rg_teach_number(ms->measure, 1), "all", rg_teach_number(ms->all, 1),
                     "witness", ms->witness);
}

static json_t *look_json(const rg_lab_look *k)
{
    return json_pack("{s:o, s:o, s:b, s:s, s:o, s:o, s:o, s:i, s:o, s:o, s:o}", "jpeg",
                     rg_teach_base64(k->jpeg, k->jpeg_size), "strip", strip_json(k), "used",
                     k->frame.used, "reason", k->frame.reason, "seen", seen_json(&k->frame), "map",
                     map_json(&k->result.map), "true_mm", rg_teach_numbers(k->true_mm, RG_BINS, 4),
                     "views", k->views, "flux_mm", rg_teach_number(k->flux_mm, 5), "elevation_deg",
                     rg_teach_number(k->frame.elevation_deg, 2), "ms", times_json(&k->ms));
}

/* ---------------------------------------------------------------- looking */

static void forget_sweep(visitor *v)
{
    v->round++;
    v->due = v->wanted = false;
    v->done = v->total = 0;
    free(v->said);
    v->said = NULL;
}

/* One look of a page at a time; a sweep of another pad is over. */
static void begin_look(rg_teach_try *t, visitor *v, const double *value)
{
    pthread_mutex_lock(&t->lock);
    while (v->busy)
        pthread_cond_wait(&t->rest, &t->lock);
    v->busy = true;
    if (!same_pad(v->value, value))
        forget_sweep(v);
    pthread_mutex_unlock(&t->lock);
}

static void end_look(rg_teach_try *t, visitor *v)
{
    pthread_mutex_lock(&t->lock);
    v->busy = false;
    pthread_cond_broadcast(&t->rest);
    pthread_mutex_unlock(&t->lock);
}

static void get_look(void *context, const rg_request *request, rg_reply *reply)
{
    rg_teach_page *p = context;
    double value[RG_TEACH_SLIDERS];
    rg_lab_case c;
    rg_lab_look look;
    rg_error err = {0};
    bool alone = rg_request_query(request, "alone"), fresh = rg_request_query(request, "fresh");
    if (!read_case(p->lab, request, value, &c, reply))
        return;
    visitor *v = enter(p->trying, request, reply);
    if (!v)
        return;
    begin_look(p->trying, v, value);
    if (fresh)
        rg_lab_hand_empty(v->hand);
    rg_code code = rg_lab_look_at(p->lab, alone ? NULL : v->hand, &c, &look, &err);
    end_look(p->trying, v);
    leave(p->trying, v);
    if (code != RG_OK) {
        rg_teach_reply_fault(reply, &err);
        return;
    }
    rg_page_reply_json(reply, 200, look_json(&look));
    rg_lab_look_free(&look);
}

/* ---------------------------------------------------------------- sweeping */

typedef struct ride {
    rg_teach_try *t;
    visitor *v;
    int round;
} ride;

/* Looks go first: a page's sweep waits while it looks. */
static bool go_on(void *context, int done, int total)
{
    const ride *r = context;
    pthread_mutex_lock(&r->t->lock);
    while (r->v->busy && r->v->round == r->round && !r->t->over)
        pthread_cond_wait(&r->t->rest, &r->t->lock);
    bool yes = r->v->round == r->round && !r->t->over;
    if (yes) {
        r->v->done = done;
        r->v->total = total;
    }
    pthread_mutex_unlock(&r->t->lock);
    return yes;
}

static json_t *sweep_json(const rg_lab_sweep *s)
{
    return json_pack("{s:b, s:o, s:o, s:i, s:i, s:o}", "running", 0, "map",
                     map_json(&s->result.map), "true_mm", rg_teach_numbers(s->true_mm, RG_BINS, 4),
                     "frames", s->frames, "used", s->used, "ms", rg_teach_number(s->ms, 0));
}

static char *sweep_text(rg_code code, const rg_lab_sweep *s, const rg_error *err)
{
    json_t *json =
        code == RG_OK ? sweep_json(s) : json_pack("{s:b, s:s}", "running", 0, "error", err->text);
    char *text = json ? json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(9)) : NULL;
    json_decref(json);
    return text;
}

/* With the lock held, which is let go of while it sweeps. */
static void sweep_for(rg_teach_try *t, visitor *v)
{
    ride r = {t, v, v->round};
    const rg_lab_watch watch = {go_on, &r};
    const rg_lab_case c = v->of;
    rg_lab_sweep sweep;
    rg_error err = {0};
    v->due = false;
    v->users++;
    pthread_mutex_unlock(&t->lock);
    rg_code code = rg_lab_sweep_round(t->lab, &c, &watch, &sweep, &err);
    char *text = sweep.cancelled ? NULL : sweep_text(code, &sweep, &err);
    pthread_mutex_lock(&t->lock);
    v->users--;
    if (v->round != r.round) {
        free(text);
        return;
    }
    v->said = text;
    v->wanted = text != NULL; /* without memory it is tried again when it is asked for */
}

static visitor *next_due(rg_teach_try *t)
{
    visitor *first = NULL;
    for (int i = 0; i < PAGES; i++)
        if (t->visitor[i].due && (!first || t->visitor[i].seen < first->seen))
            first = &t->visitor[i];
    return first;
}

static void *sweep_all(void *context)
{
    rg_teach_try *t = context;
    pthread_mutex_lock(&t->lock);
    while (!t->over) {
        visitor *v = next_due(t);
        if (v)
            sweep_for(t, v);
        else
            pthread_cond_wait(&t->work, &t->lock);
    }
    pthread_mutex_unlock(&t->lock);
    return NULL;
}

/* What is said of this pad's sweep, which begins when nobody has wanted it yet; "" while it runs. */
static char *ask_sweep(rg_teach_try *t, visitor *v, const double *value, const rg_lab_case *c,
                       int *done, int *total)
{
    pthread_mutex_lock(&t->lock);
    if (!v->wanted || !same_pad(v->value, value) || v->of.witness != c->witness) {
        forget_sweep(v);
        memcpy(v->value, value, sizeof v->value);
        v->of = *c;
        v->due = v->wanted = true;
        pthread_cond_signal(&t->work);
    }
    *done = v->done;
    *total = v->total;
    char *said = v->said ? strdup(v->said) : strdup("");
    pthread_mutex_unlock(&t->lock);
    return said;
}

static void get_sweep(void *context, const rg_request *request, rg_reply *reply)
{
    const rg_teach_page *p = context;
    double value[RG_TEACH_SLIDERS];
    rg_lab_case c;
    int done, total;
    if (!read_case(p->lab, request, value, &c, reply))
        return;
    visitor *v = enter(p->trying, request, reply);
    if (!v)
        return;
    char *said = ask_sweep(p->trying, v, value, &c, &done, &total);
    leave(p->trying, v);
    if (!said) {
        rg_reply_error(reply, 500, "no memory");
    } else if (said[0]) {
        reply->bytes = (uint8_t *)said;
        reply->size = strlen(said);
    } else {
        free(said);
        rg_page_reply_json(
            reply, 200, json_pack("{s:b, s:i, s:i}", "running", 1, "done", done, "total", total));
    }
}

/* ---------------------------------------------------------------- table */

static void add_assets(rg_teach_page *p)
{
    rg_teach_add_asset(p, "/try", rg_teach_html, rg_asset_try_html, rg_asset_try_html_size);
    rg_teach_add_asset(p, "/try.js", rg_teach_script, rg_asset_try_js, rg_asset_try_js_size);
    rg_teach_add_asset(p, "/sizes", rg_teach_html, rg_asset_sizes_html, rg_asset_sizes_html_size);
    rg_teach_add_asset(p, "/sizes.js", rg_teach_script, rg_asset_sizes_js, rg_asset_sizes_js_size);
    rg_teach_add_asset(p, "/vanish", rg_teach_html, rg_asset_vanish_html,
                       rg_asset_vanish_html_size);
    rg_teach_add_asset(p, "/vanish.js", rg_teach_script, rg_asset_vanish_js,
                       rg_asset_vanish_js_size);
}

rg_code rg_teach_add_try(rg_teach_page *page, rg_error *err)
{
    rg_teach_try *t = rg_alloc(1, sizeof *t);
    if (!t)
        return rg_fail(err, RG_INTERNAL, "no memory for the lessons");
    pthread_mutex_init(&t->lock, NULL);
    pthread_cond_init(&t->work, NULL);
    pthread_cond_init(&t->rest, NULL);
    t->lab = page->lab;
    page->trying = t;
    add_assets(page);
    rg_teach_add_call(page, "/api/lab", RG_ROUTE_DATA, get_lab);
    rg_teach_add_call(page, "/api/look", RG_ROUTE_DATA, get_look);
    rg_teach_add_call(page, "/api/sweep", RG_ROUTE_DATA, get_sweep);
    t->sweeping = pthread_create(&t->sweeper, NULL, sweep_all, t) == 0;
    return t->sweeping ? RG_OK : rg_fail(err, RG_INTERNAL, "no thread for sweeps");
}

void rg_teach_close_try(rg_teach_page *page)
{
    rg_teach_try *t = page->trying;
    if (!t)
        return;
    pthread_mutex_lock(&t->lock);
    t->over = true;
    pthread_cond_broadcast(&t->work);
    pthread_cond_broadcast(&t->rest);
    pthread_mutex_unlock(&t->lock);
    if (t->sweeping)
        pthread_join(t->sweeper, NULL);
    for (int i = 0; i < PAGES; i++) {
        rg_lab_hand_free(t->visitor[i].hand);
        free(t->visitor[i].said);
    }
    pthread_mutex_destroy(&t->lock);
    pthread_cond_destroy(&t->work);
    pthread_cond_destroy(&t->rest);
    free(t);
    page->trying = NULL;
}
