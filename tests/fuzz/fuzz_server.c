/*
 * Fuzz target for the gate of the bench's server. The first byte holds what is counted or known of the connection, the
 * second the kind of the path; then come lines: method, Host, Origin, Sec-Fetch-Site, Content-Type, X-Csrf-Token,
 * Cookie, Content-Length; an empty line is a header that is not there. Who gets through must have shown what server.h
 * asks for, checked here by other means.
 */
#include "fuzz.h"

#include <ctype.h>
#include <stdio.h>

#include "../../src/app/server_private.h"

enum { LINES = 8 };
enum { ONE_HOST = 1, TWO_LENGTHS = 2, LOOPBACK = 4, STANDARD_PORT = 8, TOKEN = 16, LONG = 32 };

static rg_secret secret_of(uint8_t first)
{
    rg_secret s;
    for (size_t i = 0; i < sizeof s.byte; i++) {
        s.byte[i] = (uint8_t)(first + i);
        snprintf(s.text + 2 * i, 3, "%02x", s.byte[i]);
    }
    return s;
}

static bool same_digits(const char *a, const char *b, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (tolower((unsigned char)a[i]) != b[i])
            return false;
    return true;
}

static bool holds(const char *text, const rg_secret *secret)
{
    size_t n = sizeof secret->text - 1;
    for (; text && strlen(text) >= n; text++)
        if (same_digits(text, secret->text, n))
            return true;
    return false;
}

static void check_passed(const rg_gate *gate, const rg_visitor *v, const rg_route *route)
{
    bool change = route && route->kind == RG_ROUTE_CHANGE;
    require(route && v->hosts == 1 && v->host && v->lengths <= 1 && v->target <= RG_SERVER_TARGET);
    require(strcmp(v->method, change ? "POST" : "GET") == 0 ||
            (!change && strcmp(v->method, "HEAD") == 0));
    require(!gate->cookie || holds(v->cookie, gate->cookie));
    require(tolower((unsigned char)v->host[0]) == (v->host[0] == '1' ? '1' : 'l'));
    require(v->loopback || v->host[0] == '1');
    if (!change)
        return;
    require(holds(v->csrf, gate->csrf) && v->type && tolower((unsigned char)v->type[0]) == 'a');
    require(!v->origin || strstr(v->origin, "://"));
    require(!v->length || strtod(v->length, NULL) <= RG_SERVER_BODY);
    require(!v->fetch_site || strcmp(v->fetch_site, "same-origin") == 0);
}

static void judge(const uint8_t head[2], const char *const line[LINES])
{
    const rg_secret csrf = secret_of(0x10), cookie = secret_of(0x80);
    const rg_gate gate = {&csrf, head[0] & TOKEN ? &cookie : NULL};
    const rg_route route = {.path = "/x", .kind = (rg_route_kind)(head[1] % 4)};
    const rg_visitor v = {.method = line[0] ? line[0] : "",
                          .hosts = head[0] & ONE_HOST ? 1 : 2,
                          .lengths = head[0] & TWO_LENGTHS ? 2 : 1,
                          .host = line[1],
                          .origin = line[2],
                          .fetch_site = line[3],
                          .type = line[4],
                          .csrf = line[5],
                          .cookie = line[6],
                          .length = line[7],
                          .target = head[0] & LONG ? RG_SERVER_TARGET + 1 : 20,
                          .local = "192.0.2.1:8737",
                          .loopback = (head[0] & LOOPBACK) != 0,
                          .standard_port = (head[0] & STANDARD_PORT) != 0};
    const char *why = NULL;
    const rg_route *found = head[1] % 5 == 4 ? NULL : &route;
    unsigned status = rg_gate_judge(&gate, &v, found, &why);
    require(status == 0 || (status >= 400 && status <= 421 && why && why[0]));
    if (status == 0)
        check_passed(&gate, &v, found);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *line[LINES] = {NULL};
    if (size < 2)
        return 0;
    char *text = calloc(size, 1), *at = text;
    if (!text)
        return 0;
    memcpy(text, data + 2, size - 2);
    for (int i = 0; i < LINES && at; i++) {
        char *end = strchr(at, '\n');
        if (end)
            *end = 0;
        line[i] = at[0] ? at : NULL;
        at = end ? end + 1 : NULL;
    }
    judge(data, line);
    free(text);
    return 0;
}
