/*
 * bench_page.c - the table of what the bench's server answers.
 */
#include "rimglow/bench_page.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench_assets.h"
#include "bench_page_private.h"
#include "rimglow/memory.h"
#include "rimglow/version.h"

enum { FIRST_STATE_MS = 5000, DATA_PREFIX = 6, DATA_SUFFIX = 2 };

void rg_page_reply_json(rg_reply *reply, unsigned status, json_t *json)
{
    char *text = json ? json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(9)) : NULL;
    json_decref(json);
    if (!text) {
        rg_reply_error(reply, 500, "the answer cannot be written as JSON");
        return;
    }
    reply->status = status;
    reply->bytes = (uint8_t *)text;
    reply->size = strlen(text);
}

void rg_page_reply_fault(rg_reply *reply, const rg_error *err)
{
    unsigned status = err->code == RG_NO_INPUT ? 404 : err->code == RG_USAGE ? 409 : 500;
    rg_reply_error(reply, status, err->text);
}

/* ---------------------------------------------------------------- state */

static void get_session(void *context, const rg_request *request, rg_reply *reply)
{
    const rg_bench_page *p = context;
    (void)request;
    rg_page_reply_json(
        reply, 200,
        json_pack("{s:s, s:s}", "csrf", rg_server_csrf(p->server), "version", rg_version()));
}

/* The newest event without its framing. */
static void get_state(void *context, const rg_request *request, rg_reply *reply)
{
    const rg_bench_page *p = context;
    rg_feed *feed = rg_bench_events(p->bench);
    const rg_feed_block *b = rg_feed_take(feed, 0, FIRST_STATE_MS);
    (void)request;
    if (!b) {
        rg_reply_error(reply, 503, "there is no state yet");
        return;
    }
    reply->size = b->size - DATA_PREFIX - DATA_SUFFIX;
    reply->bytes = malloc(reply->size + 1);
    if (reply->bytes)
        memcpy(reply->bytes, b->bytes + DATA_PREFIX, reply->size);
    else
        rg_reply_error(reply, 500, "no memory");
    rg_feed_give_back(feed, b);
}

/* ---------------------------------------------------------------- wishes */

/* The value of one text in the body's object. key NULL: none is needed. */
static bool read_text(const rg_request *request, const char *key, json_t **json, const char **text,
                      rg_reply *reply)
{
    json_error_t fault;
    *text = "";
    *json = json_loadb(request->body, request->size, JSON_REJECT_DUPLICATES, &fault);
    if (json_is_object(*json) && key)
        *text = json_string_value(json_object_get(*json, key));
    if (json_is_object(*json) && *text)
        return true;
    json_decref(*json);
    *json = NULL;
    char why[96];
    snprintf(why, sizeof why, "the body must be a JSON object%s%s", key ? " with the text " : "",
             key ? key : "");
    rg_reply_error(reply, 400, why);
    return false;
}

static void wish(void *context, const rg_request *request, rg_reply *reply, const char *key,
                 rg_bench_wish_kind kind)
{
    const rg_bench_page *p = context;
    json_t *json;
    const char *text;
    rg_error err = {0};
    if (!read_text(request, key, &json, &text, reply))
        return;
    if (rg_bench_ask(p->bench, kind, text, &err) == RG_OK)
        rg_page_reply_json(reply, kind == RG_WISH_FINISH ? 202 : 200, json_pack("{s:b}", "ok", 1));
    else
        rg_page_reply_fault(reply, &err);
    json_decref(json);
}

static void post_role(void *context, const rg_request *request, rg_reply *reply)
{
    wish(context, request, reply, "role", RG_WISH_ROLE);
}

static void post_pad(void *context, const rg_request *request, rg_reply *reply)
{
    wish(context, request, reply, "pad", RG_WISH_PAD);
}

static void post_redo(void *context, const rg_request *request, rg_reply *reply)
{
    wish(context, request, reply, NULL, RG_WISH_REDO);
}

static void post_note(void *context, const rg_request *request, rg_reply *reply)
{
    wish(context, request, reply, "note", RG_WISH_NOTE);
}

static void post_finger(void *context, const rg_request *request, rg_reply *reply)
{
    wish(context, request, reply, "finger", RG_WISH_FINGER);
}

static void post_key(void *context, const rg_request *request, rg_reply *reply)
{
    wish(context, request, reply, "key", RG_WISH_KEY);
}

static void post_technician(void *context, const rg_request *request, rg_reply *reply)
{
    wish(context, request, reply, "technician", RG_WISH_TECHNICIAN);
}

static void post_occasion(void *context, const rg_request *request, rg_reply *reply)
{
    wish(context, request, reply, "occasion", RG_WISH_OCCASION);
}

/* The whole body is the wish's text: the session reads it. */
static void wish_whole(void *context, const rg_request *request, rg_reply *reply,
                       rg_bench_wish_kind kind)
{
    const rg_bench_page *p = context;
    json_t *json;
    const char *text;
    rg_error err = {0};
    if (!read_text(request, NULL, &json, &text, reply))
        return;
    if (rg_bench_ask(p->bench, kind, request->body, &err) == RG_OK)
        rg_page_reply_json(reply, 200, json_pack("{s:b}", "ok", 1));
    else
        rg_page_reply_fault(reply, &err);
    json_decref(json);
}

static void post_setup(void *context, const rg_request *request, rg_reply *reply)
{
    wish_whole(context, request, reply, RG_WISH_SETUP);
}

static void post_remark(void *context, const rg_request *request, rg_reply *reply)
{
    wish_whole(context, request, reply, RG_WISH_REMARK);
}

static void post_finish(void *context, const rg_request *request, rg_reply *reply)
{
    wish(context, request, reply, NULL, RG_WISH_FINISH);
}

/* ---------------------------------------------------------------- table */

static void add(rg_bench_page *p, rg_route route)
{
    if (p->routes < RG_BENCH_ROUTES)
        p->route[p->routes++] = route;
}

static void add_assets(rg_bench_page *p)
{
    static const char html[] = "text/html; charset=utf-8", css[] = "text/css; charset=utf-8",
                      script[] = "text/javascript; charset=utf-8", svg[] = "image/svg+xml";
    const struct {
        const char *path, *type;
        const uint8_t *bytes;
        uint64_t size;
    } row[] = {{"/", html, rg_asset_bench_html, rg_asset_bench_html_size},
               {"/bench.css", css, rg_asset_bench_css, rg_asset_bench_css_size},
               {"/common.js", script, rg_asset_common_js, rg_asset_common_js_size},
               {"/bench.js", script, rg_asset_bench_js, rg_asset_bench_js_size},
               {"/worklist.js", script, rg_asset_worklist_js, rg_asset_worklist_js_size},
               {"/setup", html, rg_asset_setup_html, rg_asset_setup_html_size},
               {"/setup.js", script, rg_asset_setup_js, rg_asset_setup_js_size},
               {"/archive", html, rg_asset_archive_html, rg_asset_archive_html_size},
               {"/archive.js", script, rg_asset_archive_js, rg_asset_archive_js_size},
               {"/calibrate", html, rg_asset_calibrate_html, rg_asset_calibrate_html_size},
               {"/calibrate.css", css, rg_asset_calibrate_css, rg_asset_calibrate_css_size},
               {"/calibrate.js", script, rg_asset_calibrate_js, rg_asset_calibrate_js_size},
               {"/icon.svg", svg, rg_asset_icon_svg, rg_asset_icon_svg_size}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++)
        add(p, (rg_route){.path = row[i].path,
                          .kind = RG_ROUTE_ASSET,
                          .type = row[i].type,
                          .bytes = row[i].bytes,
                          .size = (size_t)row[i].size});
}

static void add_calls(rg_bench_page *p)
{
    static const struct {
        const char *path;
        rg_route_kind kind;
        void (*run)(void *, const rg_request *, rg_reply *);
    } row[] = {{"/api/session", RG_ROUTE_DATA, get_session},
               {"/api/state", RG_ROUTE_DATA, get_state},
               {"/api/archive", RG_ROUTE_DATA, rg_page_archive_list},
               {"/api/history", RG_ROUTE_DATA, rg_page_archive_history},
               {"/api/visits", RG_ROUTE_DATA, rg_page_setup_visits},
               {"/api/decision", RG_ROUTE_DATA, rg_page_setup_decision},
               {"/archive/certificate", RG_ROUTE_DATA, rg_page_archive_certificate},
               {"/archive/history.svg", RG_ROUTE_DATA, rg_page_archive_picture},
               {"/archive/compare.svg", RG_ROUTE_DATA, rg_page_archive_compare},
               {"/calibrate/response.svg", RG_ROUTE_DATA, rg_page_calibrate_response},
               {"/api/calibrate", RG_ROUTE_CHANGE, rg_page_calibrate},
               {"/api/role", RG_ROUTE_CHANGE, post_role},
               {"/api/pad", RG_ROUTE_CHANGE, post_pad},
               {"/api/redo", RG_ROUTE_CHANGE, post_redo},
               {"/api/note", RG_ROUTE_CHANGE, post_note},
               {"/api/finger", RG_ROUTE_CHANGE, post_finger},
               {"/api/key", RG_ROUTE_CHANGE, post_key},
               {"/api/technician", RG_ROUTE_CHANGE, post_technician},
               {"/api/occasion", RG_ROUTE_CHANGE, post_occasion},
               {"/api/setup", RG_ROUTE_CHANGE, post_setup},
               {"/api/remark", RG_ROUTE_CHANGE, post_remark},
               {"/api/finish", RG_ROUTE_CHANGE, post_finish}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++)
        add(p, (rg_route){.path = row[i].path, .kind = row[i].kind, .run = row[i].run});
}

static void add_streams(rg_bench_page *p)
{
    add(p, (rg_route){.path = "/stream.mjpg",
                      .kind = RG_ROUTE_STREAM,
                      .type = rg_bench_picture_type,
                      .feed = rg_bench_pictures(p->bench)});
    add(p, (rg_route){.path = "/events",
                      .kind = RG_ROUTE_STREAM,
                      .type = "text/event-stream; charset=utf-8",
                      .feed = rg_bench_events(p->bench),
                      .beat = ": still here\n\n"});
}

rg_code rg_bench_page_open(const rg_bench_page_options *options, rg_bench_page **page,
                           rg_error *err)
{
    rg_bench_page *p = rg_alloc(1, sizeof *p);
    *page = NULL;
    if (!p)
        return rg_fail(err, RG_INTERNAL, "no memory for the page");
    p->bench = options->bench;
    pthread_mutex_init(&p->archive, NULL);
    add_assets(p);
    add_calls(p);
    add_streams(p);
    const rg_server_options server = {.address = options->listen,
                                      .port = options->port,
                                      .token = options->token,
                                      .routes = p->route,
                                      .count = p->routes,
                                      .context = p};
    rg_code code = rg_server_start(&server, &p->server, err);
    if (code != RG_OK) {
        rg_bench_page_close(p);
        return code;
    }
    *page = p;
    return RG_OK;
}

void rg_bench_page_url(const rg_bench_page *page, char *url, size_t size)
{
    rg_server_url(page->server, url, size);
}

void rg_bench_page_close(rg_bench_page *page)
{
    if (!page)
        return;
    rg_server_stop(page->server);
    pthread_mutex_destroy(&page->archive);
    free(page);
}
