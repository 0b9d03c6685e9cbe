/*
 * teach_page.c - the table of what the teaching server answers.
 */
#include "rimglow/teach_page.h"

#include <math.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench_assets.h"
#include "rimglow/memory.h"
#include "rimglow/version.h"
#include "teach_assets.h"
#include "teach_private.h"

const char rg_teach_html[] = "text/html; charset=utf-8", rg_teach_css[] = "text/css; charset=utf-8",
           rg_teach_script[] = "text/javascript; charset=utf-8";

/* ---------------------------------------------------------------- answers */

void rg_teach_reply_fault(rg_reply *reply, const rg_error *err)
{
    unsigned status = err->code == RG_USAGE ? 400 : err->code == RG_NO_INPUT ? 404 : 500;
    rg_reply_error(reply, status, err->text);
}

bool rg_teach_reply_copy(rg_reply *reply, const uint8_t *bytes, size_t size, const char *type)
{
    reply->bytes = malloc(size);
    if (!reply->bytes)
        return false;
    memcpy(reply->bytes, bytes, size);
    reply->size = size;
    reply->type = type;
    return true;
}

json_t *rg_teach_base64(const uint8_t *bytes, size_t size)
{
    size_t room = sodium_base64_encoded_len(size, sodium_base64_VARIANT_ORIGINAL);
    char *text = malloc(room);
    if (!text)
        return NULL;
    sodium_bin2base64(text, room, bytes, size, sodium_base64_VARIANT_ORIGINAL);
    json_t *json = json_stringn_nocheck(text, room - 1);
    free(text);
    return json;
}

json_t *rg_teach_number(double value, int decimals)
{
    double scale = pow(10, decimals);
    return isfinite(value) ? json_real(round(value * scale) / scale) : json_null();
}

json_t *rg_teach_numbers(const double *value, int count, int decimals)
{
    json_t *list = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(list, rg_teach_number(value[i], decimals));
    return list;
}

static void get_session(void *context, const rg_request *request, rg_reply *reply)
{
    const rg_teach_page *p = context;
    (void)request;
    rg_page_reply_json(
        reply, 200,
        json_pack("{s:s, s:s}", "csrf", rg_server_csrf(p->server), "version", rg_version()));
}

/* ---------------------------------------------------------------- table */

/* One more than fits is counted and refused at the start. */
void rg_teach_add(rg_teach_page *page, rg_route route)
{
    if (page->routes < RG_TEACH_ROUTES)
        page->route[page->routes] = route;
    page->routes++;
}

void rg_teach_add_asset(rg_teach_page *page, const char *path, const char *type,
                        const uint8_t *bytes, uint64_t size)
{
    rg_teach_add(page, (rg_route){.path = path,
                                  .kind = RG_ROUTE_ASSET,
                                  .type = type,
                                  .bytes = bytes,
                                  .size = (size_t)size});
}

void rg_teach_add_call(rg_teach_page *page, const char *path, rg_route_kind kind,
                       void (*run)(void *context, const rg_request *request, rg_reply *reply))
{
    rg_teach_add(page, (rg_route){.path = path, .kind = kind, .run = run});
}

static void add_assets(rg_teach_page *p)
{
    rg_teach_add_asset(p, "/", rg_teach_html, rg_asset_teach_html, rg_asset_teach_html_size);
    rg_teach_add_asset(p, "/teach.css", rg_teach_css, rg_asset_teach_css, rg_asset_teach_css_size);
    rg_teach_add_asset(p, "/teach.js", rg_teach_script, rg_asset_teach_js, rg_asset_teach_js_size);
    rg_teach_add_asset(p, "/common.js", rg_teach_script, rg_asset_common_js,
                       rg_asset_common_js_size);
    rg_teach_add_asset(p, "/icon.svg", "image/svg+xml", rg_asset_icon_svg, rg_asset_icon_svg_size);
}

/* Each part of the lessons. */
static rg_code add_parts(rg_teach_page *p, rg_error *err)
{
    add_assets(p);
    rg_teach_add_call(p, "/api/session", RG_ROUTE_DATA, get_session);
    rg_code code = rg_teach_add_try(p, err);
    if (code == RG_OK)
        code = rg_teach_add_lessons(p, err);
    if (code == RG_OK)
        code = rg_teach_add_quiz(p, err);
    if (code == RG_OK)
        code = rg_teach_add_pairs(p, err);
    if (code == RG_OK && p->routes > RG_TEACH_ROUTES)
        code = rg_fail(err, RG_INTERNAL, "%d routes; raise RG_TEACH_ROUTES", p->routes);
    return code;
}

rg_code rg_teach_page_open(const rg_teach_page_options *options, rg_teach_page **page,
                           rg_error *err)
{
    rg_teach_page *p = rg_alloc(1, sizeof *p);
    *page = NULL;
    if (!p)
        return rg_fail(err, RG_INTERNAL, "no memory for the lessons");
    p->options = *options;
    rg_code code = rg_lab_open(&options->lab, &p->lab, err);
    if (code == RG_OK)
        code = add_parts(p, err);
    const rg_server_options server = {.address = options->listen,
                                      .port = options->port,
                                      .token = options->token,
                                      .routes = p->route,
                                      .count = p->routes,
                                      .context = p};
    if (code == RG_OK)
        code = rg_server_start(&server, &p->server, err);
    if (code == RG_OK)
        *page = p;
    else
        rg_teach_page_close(p);
    return code;
}

void rg_teach_page_url(const rg_teach_page *page, char *url, size_t size)
{
    rg_server_url(page->server, url, size);
}

void rg_teach_page_close(rg_teach_page *page)
{
    if (!page)
        return;
    rg_server_stop(page->server);
    rg_teach_close_try(page);
    rg_teach_close_lessons(page);
    rg_teach_close_quiz(page);
    rg_teach_close_pairs(page);
    rg_lab_close(page->lab);
    free(page);
}
