/*
 * server_gate.c - who may ask what.
 *
 * Host (RFC 9110 7.2, 15.5.20), Origin (RFC 6454), Sec-Fetch-Site (W3C Fetch Metadata Request Headers).
 */
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "server_private.h"

rg_code rg_secret_make(rg_secret *secret, rg_error *err)
{
    if (sodium_init() < 0)
        return rg_fail(err, RG_INTERNAL, "libsodium cannot be started: no random numbers");
    randombytes_buf(secret->byte, sizeof secret->byte);
    sodium_bin2hex(secret->text, sizeof secret->text, secret->byte, sizeof secret->byte);
    return RG_OK;
}

bool rg_secret_is(const rg_secret *secret, const char *text, size_t size)
{
    unsigned char byte[RG_SERVER_SECRET];
    size_t got = 0;
    if (!text || size != RG_SECRET_TEXT - 1)
        return false;
    if (sodium_hex2bin(byte, sizeof byte, text, size, NULL, &got, NULL) != 0 || got != sizeof byte)
        return false;
    return sodium_memcmp(byte, secret->byte, sizeof byte) == 0;
}

/* The same name as `local`, whose port may be left out where it is the standard one. */
static bool is_name(const char *host, const char *name, size_t name_size, const char *port,
                    bool standard_port)
{
    if (strncasecmp(host, name, name_size) != 0)
        return false;
    return strcmp(host + name_size, port) == 0 || (standard_port && host[name_size] == 0);
}

static bool is_own_host(const rg_visitor *v)
{
    const char *port = strrchr(v->local, ':');
    if (!port)
        return false;
    if (is_name(v->host, v->local, (size_t)(port - v->local), port, v->standard_port))
        return true;
    return v->loopback && is_name(v->host, "localhost", 9, port, v->standard_port);
}

static bool is_own_origin(const rg_visitor *v)
{
    static const char scheme[] = "http://";
    size_t n = sizeof scheme - 1;
    return strncasecmp(v->origin, scheme, n) == 0 && strcasecmp(v->origin + n, v->host) == 0;
}

static bool is_same_site(const rg_visitor *v, bool typed_in)
{
    return !v->fetch_site || strcmp(v->fetch_site, "same-origin") == 0 ||
           (typed_in && strcmp(v->fetch_site, "none") == 0);
}

static bool is_json(const char *type)
{
    static const char json[] = "application/json";
    size_t n = sizeof json - 1;
    return type && strncasecmp(type, json, n) == 0 &&
           (type[n] == 0 || type[n] == ';' || type[n] == ' ');
}

static bool is_too_long(const char *length)
{
    return length && (strlen(length) > 9 || strtol(length, NULL, 10) > RG_SERVER_BODY);
}

const char *rg_route_allow(const rg_route *route)
{
    return route->kind == RG_ROUTE_CHANGE ? "POST" : "GET, HEAD";
}

static bool is_allowed(const rg_route *route, const char *method)
{
    if (route->kind == RG_ROUTE_CHANGE)
        return strcmp(method, "POST") == 0;
    return strcmp(method, "GET") == 0 || strcmp(method, "HEAD") == 0;
}

static unsigned judge_change(const rg_gate *gate, const rg_visitor *v, const char **why)
{
    *why = "another site's page may change nothing here";
    if ((v->origin && !is_own_origin(v)) || !is_same_site(v, false))
        return 403;
    *why = "the header X-Csrf-Token is missing or of an earlier run: load the page again";
    if (!rg_secret_is(gate->csrf, v->csrf, v->csrf ? strlen(v->csrf) : 0))
        return 403;
    *why = "the body must be application/json";
    if (!is_json(v->type))
        return 415;
    *why = "the body is too large";
    return is_too_long(v->length) ? 413 : 0;
}

static unsigned judge_form(const rg_visitor *v, const char **why)
{
    *why = "exactly one Host header is needed";
    if (v->hosts != 1 || !v->host)
        return 400;
    *why = "the length of the body is stated twice";
    if (v->lengths > 1)
        return 400;
    *why = "the address is too long";
    if (v->target > RG_SERVER_TARGET)
        return 414;
    *why = "this server does not go by that name: use the address that it printed";
    return is_own_host(v) ? 0 : 421;
}

/* The value of the cookie "rimglow". */
static const char *cookie_value(const char *cookies, size_t *size)
{
    static const char name[] = "rimglow=";
    for (const char *at = cookies; at; at = strchr(at, ';')) {
        at += strspn(at, "; ");
        if (strncmp(at, name, sizeof name - 1) == 0) {
            at += sizeof name - 1;
            *size = strcspn(at, "; ");
            return at;
        }
    }
    *size = 0;
    return NULL;
}

unsigned rg_gate_judge(const rg_gate *gate, const rg_visitor *v, const rg_route *route,
                       const char **why)
{
    size_t size;
    unsigned status = judge_form(v, why);
    if (status)
        return status;
    *why = "there is no such page";
    if (!route)
        return 404;
    *why = "this page is not for that method";
    if (!is_allowed(route, v->method))
        return 405;
    *why = "open the address that rimglow bench printed: it holds the token";
    const char *value = cookie_value(v->cookie, &size);
    if (gate->cookie && !rg_secret_is(gate->cookie, value, size))
        return 401;
    if (route->kind == RG_ROUTE_CHANGE)
        return judge_change(gate, v, why);
    *why = "another site's page may not read this";
    return route->kind != RG_ROUTE_ASSET && !is_same_site(v, true) ? 403 : 0;
}
