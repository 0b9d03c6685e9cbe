/*
 * teach_pairs.c - photographs of the shop's archive beside their maps (pairs.h), for the page.
 *
 *   GET  /pairs, /pairs.js, /pairs.css
 *   GET  /api/pairs/choices  {archive (is there one), verdicts[], causes[], sizes[]}
 *   GET  /api/pairs          ?verdict=&cause=&size=&from=: {cases[], next (from of the next page, or null),
 *                            left_out {sweeps, bags}}; size: its place in sizes[]
 *   GET  /api/pair           ?case=NAME: as rg_pair_json
 *   GET  /pairs/photo.jpg    ?case=NAME&view=in|out, and /pairs/marked.png
 *   GET  /pairs/ring.svg     ?case=NAME, and /pairs/strip.png
 *
 * Without an archive all but the page and its choices are 404. No answer names a serial, a bag or a file, not even one
 * that says what is wrong: who teaches asks rimglow archive verify.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/pairs.h"
#include "rimglow/text.h"
#include "teach_assets.h"
#include "teach_private.h"

enum { KEPT = 8, FILES = 7, KEY_PATH = 4096 };

/* The pictures of a case, as they are asked for one after the other. */
typedef struct kept {
    char name[RG_PAIRS_NAME];
    unsigned long used;   /* when, counted by requests; 0: empty */
    rg_bytes file[FILES]; /* owned */
} kept;

struct rg_teach_pairs {
    rg_pairs *pairs; /* owned; NULL: no archive was handed over */
    pthread_mutex_t lock;
    unsigned long requests;
    kept kept[KEPT];
};

typedef struct picture {
    const char *path, *view, *type;
    rg_pair_picture picture;
    int which;
    rg_picture_format format;
} picture;

/* The last file of a kept case is its JSON. */
static const picture pictures[FILES - 1] = {
    {"/pairs/photo.jpg", "in", "image/jpeg", RG_PAIR_PHOTO, RG_PAIRS_IN, RG_PICTURE_PNG},
    {"/pairs/photo.jpg", "out", "image/jpeg", RG_PAIR_PHOTO, RG_PAIRS_OUT, RG_PICTURE_PNG},
    {"/pairs/marked.png", "in", "image/png", RG_PAIR_MARKED, RG_PAIRS_IN, RG_PICTURE_PNG},
    {"/pairs/marked.png", "out", "image/png", RG_PAIR_MARKED, RG_PAIRS_OUT, RG_PICTURE_PNG},
    {"/pairs/ring.svg", "", "image/svg+xml", RG_PAIR_RING, 0, RG_PICTURE_SVG},
    {"/pairs/strip.png", "", "image/png", RG_PAIR_STRIP, 0, RG_PICTURE_PNG},
};

/* ---------------------------------------------------------------- answers */

static rg_teach_pairs *of(void *context)
{
    return ((rg_teach_page *)context)->pairs;
}

/* The program's own sentence may name a bag or a file. */
static void reply_fault(rg_reply *reply, const rg_error *err)
{
    if (err->code == RG_USAGE)
        rg_reply_error(reply, 400, err->text);
    else if (err->code == RG_NO_INPUT)
        rg_reply_error(reply, 404, "the archive has no such case or picture");
    else if (err->code == RG_BAD_DATA)
        rg_reply_error(reply, 409,
                       "this case is left out: its bag does not check; rimglow archive verify "
                       "tells more");
    else
        rg_reply_error(reply, 500, "the archive cannot be read");
}

static json_t *case_json(const rg_pairs *pairs, const rg_pairs_truth *t)
{
    char size[RG_PAIRS_SIZE_TEXT];
    rg_pairs_size_name(rg_pairs_settings_of(pairs), t->size, size);
    return json_pack("{s:s, s:s, s:s, s:s, s:o, s:o, s:o, s:s}", "case", t->name, "pad", t->pad,
                     "verdict", rg_verdict_name(t->verdict), "size", size, "widest_mm",
                     rg_teach_number(t->widest_mm, 4), "U_mm", rg_teach_number(t->U_mm, 4),
                     "widest_deg", rg_teach_number(t->widest_deg, 1), "cause", t->cause);
}

static void reply_page(const rg_pairs *pairs, const rg_pairs_page *page, rg_reply *reply)
{
    json_t *cases = json_array();
    for (int i = 0; i < page->count; i++)
        json_array_append_new(cases, case_json(pairs, &page->truth[i]));
    rg_page_reply_json(reply, 200,
                       json_pack("{s:o, s:o, s:{s:i, s:i}}", "cases", cases, "next",
                                 page->next < 0 ? json_null() : json_integer(page->next),
                                 "left_out", "sweeps", page->left_out.damaged, "bags",
                                 page->left_out.bags));
}

/* ---------------------------------------------------------------- list */

static json_t *causes(void)
{
    static const char *const whole[] = {"mixed", "unclear", "unseen", "no fault shown"};
    json_t *list = json_array();
    for (int k = RG_FAULT_TILT; k <= RG_FAULT_UNEVEN; k++)
        json_array_append_new(list, json_string(rg_fault_kind_name((rg_fault_kind)k)));
    for (size_t i = 0; i < sizeof whole / sizeof *whole; i++)
        json_array_append_new(list, json_string(whole[i]));
    return list;
}

static json_t *sizes(const rg_pairs *pairs)
{
    json_t *list = json_array();
    for (int i = 0; pairs && i <= RG_PAIRS_SIZES + 1; i++) {
        char text[RG_PAIRS_SIZE_TEXT];
        rg_pairs_size_name(rg_pairs_settings_of(pairs), i, text);
        json_array_append_new(list, json_string(text));
    }
    return list;
}

static void get_choices(void *context, const rg_request *request, rg_reply *reply)
{
    const rg_teach_pairs *s = of(context);
    (void)request;
    rg_page_reply_json(reply, 200,
                       json_pack("{s:b, s:[s,s,s], s:o, s:o}", "archive", s->pairs != NULL,
                                 "verdicts", "leaking", "sealed", "undecided", "causes", causes(),
                                 "sizes", sizes(s->pairs)));
}

static rg_code read_number(const rg_request *request, const char *name, long low, long high,
                           long missing, long *value, rg_error *err)
{
    const char *text = rg_request_query(request, name);
    *value = missing;
    if (!text || !text[0] || rg_parse_int(text, low, high, value))
        return RG_OK;
    return rg_fail(err, RG_USAGE, "%s: a whole number from %ld to %ld is needed", name, low, high);
}

static rg_code list(rg_teach_pairs *s, const rg_request *request, rg_pairs_page *page,
                    rg_error *err)
{
    long size = -1, from = 0;
    rg_code code = read_number(request, "size", 0, RG_PAIRS_SIZES + 1, -1, &size, err);
    if (code == RG_OK)
        code = read_number(request, "from", 0, 100000000, 0, &from, err);
    const rg_pairs_choice choice = {.verdict = rg_request_query(request, "verdict"),
                                    .cause = rg_request_query(request, "cause"),
                                    .size = (int)size};
    return code == RG_OK ? rg_pairs_list(s->pairs, &choice, (int)from, page, err) : code;
}

static void get_list(void *context, const rg_request *request, rg_reply *reply)
{
    rg_teach_pairs *s = of(context);
    rg_error err = {0};
    rg_pairs_page *page = rg_alloc(1, sizeof *page);
    rg_code code = page ? RG_OK : rg_fail(&err, RG_INTERNAL, "no memory for a list");
    if (code == RG_OK && !s->pairs)
        code = rg_fail(&err, RG_NO_INPUT, "no archive");
    if (code == RG_OK) {
        pthread_mutex_lock(&s->lock);
        code = list(s, request, page, &err);
        pthread_mutex_unlock(&s->lock);
    }
    if (code == RG_OK)
        reply_page(s->pairs, page, reply);
    else
        reply_fault(reply, &err);
    free(page);
}

/* ---------------------------------------------------------------- one case */

static void drop(kept *k)
{
    for (int i = 0; i < FILES; i++)
        free(k->file[i].data);
    *k = (kept){0};
}

static rg_code draw_all(const rg_pair *pair, kept *k, rg_error *err)
{
    char *text = NULL;
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < FILES - 1; i++)
        if (!pictures[i].view[0] || rg_pair_view(pair, pictures[i].which)->there)
            code = rg_pair_draw(pair, pictures[i].picture, pictures[i].which, pictures[i].format,
                                &k->file[i], err);
    if (code == RG_OK)
        code = rg_pair_json(pair, &text, err);
    if (code == RG_OK)
        k->file[FILES - 1] = (rg_bytes){(uint8_t *)text, strlen(text)};
    return code;
}

static rg_code make(rg_teach_pairs *s, const char *name, kept *k, rg_error *err)
{
    rg_pair *pair;
    drop(k);
    rg_code code = rg_pair_open(s->pairs, name, &pair, err);
    if (code == RG_OK)
        code = draw_all(pair, k, err);
    rg_pair_free(pair);
    if (code == RG_OK)
        rg_copy_text(k->name, sizeof k->name, name);
    else
        drop(k);
    return code;
}

/* The case among those that are kept; else in the place of the one that was not asked for longest. */
static rg_code find(rg_teach_pairs *s, const char *name, kept **found, rg_error *err)
{
    kept *oldest = &s->kept[0];
    *found = NULL;
    for (int i = 0; i < KEPT; i++) {
        if (s->kept[i].used && strcmp(s->kept[i].name, name) == 0)
            *found = &s->kept[i];
        if (s->kept[i].used < oldest->used)
            oldest = &s->kept[i];
    }
    rg_code code = *found ? RG_OK : make(s, name, oldest, err);
    if (code != RG_OK)
        return code;
    *found = *found ? *found : oldest;
    (*found)->used = ++s->requests;
    return RG_OK;
}

static rg_code copy(const rg_bytes *file, const char *type, rg_reply *reply, rg_error *err)
{
    if (!file->data)
        return rg_fail(err, RG_NO_INPUT, "no such picture");
    if (!rg_teach_reply_copy(reply, file->data, file->size, type))
        return rg_fail(err, RG_INTERNAL, "no memory for a picture");
    return RG_OK;
}

/* file: of a kept case; FILES: none is meant. */
static void answer(rg_teach_pairs *s, const rg_request *request, int file, const char *type,
                   rg_reply *reply)
{
    rg_error err = {0};
    kept *k;
    const char *name = rg_request_query(request, "case");
    rg_code code = s->pairs && name && file < FILES
                       ? RG_OK
                       : rg_fail(&err, RG_NO_INPUT, "no archive, no case, or no such picture");
    if (code == RG_OK) {
        pthread_mutex_lock(&s->lock);
        code = find(s, name, &k, &err);
        if (code == RG_OK)
            code = copy(&k->file[file], type, reply, &err);
        pthread_mutex_unlock(&s->lock);
    }
    if (code != RG_OK)
        reply_fault(reply, &err);
}

static void get_case(void *context, const rg_request *request, rg_reply *reply)
{
    answer(of(context), request, FILES - 1, reply->type, reply);
}

static void get_picture(void *context, const rg_request *request, rg_reply *reply, const char *path)
{
    const char *view = rg_request_query(request, "view");
    int file = FILES;
    for (int i = 0; i < FILES - 1; i++)
        if (strcmp(pictures[i].path, path) == 0 &&
            (!pictures[i].view[0] || (view && strcmp(pictures[i].view, view) == 0)))
            file = i;
    /* cppcheck-suppress arrayIndexOutOfBoundsCond ; the loop ends before FILES - 1 */
    answer(of(context), request, file, file < FILES ? pictures[file].type : NULL, reply);
}

static void get_photo(void *context, const rg_request *request, rg_reply *reply)
{
    get_picture(context, request, reply, "/pairs/photo.jpg");
}

static void get_marked(void *context, const rg_request *request, rg_reply *reply)
{
    get_picture(context, request, reply, "/pairs/marked.png");
}

static void get_ring(void *context, const rg_request *request, rg_reply *reply)
{
    get_picture(context, request, reply, "/pairs/ring.svg");
}

static void get_strip(void *context, const rg_request *request, rg_reply *reply)
{
    get_picture(context, request, reply, "/pairs/strip.png");
}

/* ---------------------------------------------------------------- routes */

static void add_routes(rg_teach_page *page)
{
    rg_teach_add_asset(page, "/pairs", rg_teach_html, rg_asset_pairs_html,
                       rg_asset_pairs_html_size);
    rg_teach_add_asset(page, "/pairs.js", rg_teach_script, rg_asset_pairs_js,
                       rg_asset_pairs_js_size);
    rg_teach_add_asset(page, "/pairs.css", rg_teach_css, rg_asset_pairs_css,
                       rg_asset_pairs_css_size);
    rg_teach_add_call(page, "/api/pairs/choices", RG_ROUTE_DATA, get_choices);
    rg_teach_add_call(page, "/api/pairs", RG_ROUTE_DATA, get_list);
    rg_teach_add_call(page, "/api/pair", RG_ROUTE_DATA, get_case);
    rg_teach_add_call(page, "/pairs/photo.jpg", RG_ROUTE_DATA, get_photo);
    rg_teach_add_call(page, "/pairs/marked.png", RG_ROUTE_DATA, get_marked);
    rg_teach_add_call(page, "/pairs/ring.svg", RG_ROUTE_DATA, get_ring);
    rg_teach_add_call(page, "/pairs/strip.png", RG_ROUTE_DATA, get_strip);
}

/* Where results of trainees are kept, the key of the names is kept too: they speak of the same cases next time. */
rg_code rg_teach_pairs_open(const rg_teach_page_options *options, rg_pairs **pairs, rg_error *err)
{
    char key[KEY_PATH];
    rg_code code = RG_OK;
    *pairs = NULL;
    if (options->trainees)
        code = rg_pairs_key_path(options->trainees, options->archive, key, sizeof key, err);
    const rg_pairs_options o = {.archive = options->archive,
                                .key_file = options->trainees ? key : NULL,
                                .workers = options->lab.workers};
    return code == RG_OK ? rg_pairs_open(&o, pairs, err) : code;
}

rg_code rg_teach_add_pairs(rg_teach_page *page, rg_error *err)
{
    rg_teach_pairs *s = rg_alloc(1, sizeof *s);
    if (!s)
        return rg_fail(err, RG_INTERNAL, "no memory for the archive's photographs");
    pthread_mutex_init(&s->lock, NULL);
    page->pairs = s;
    add_routes(page);
    return page->options.archive ? rg_teach_pairs_open(&page->options, &s->pairs, err) : RG_OK;
}

void rg_teach_close_pairs(rg_teach_page *page)
{
    rg_teach_pairs *s = page->pairs;
    if (!s)
        return;
    for (int i = 0; i < KEPT; i++)
        drop(&s->kept[i]);
    rg_pairs_close(s->pairs);
    pthread_mutex_destroy(&s->lock);
    free(s);
    page->pairs = NULL;
}
