/*
 * server.c - connections, requests and answers by libmicrohttpd.
 *
 * One thread for each connection, so that a reader who takes his time holds up nobody. The library's
 * time-out counts from the last byte, which a client that drips one byte a second never
 * reaches; so each connection has a seat with a deadline, and a watchman cuts those that have passed it.
 * Sockets are cut by shutdown under the lock; the library closes them only after
 * it has told that the connection is over, and then the seat is empty.
 */
#include "rimglow/server.h"

#include <arpa/inet.h>
#include <jansson.h>
#include <microhttpd.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>
#include <time.h>

#include "rimglow/memory.h"
#include "server_private.h"

enum { SEATS = RG_SERVER_CONNECTIONS + 16, BEAT_MS = 4000, SLICE_MS = 200, WATCH_MS = 250 };

typedef struct seat {
    bool taken;
    int fd;
    int64_t deadline; /* ms; 0: none */
} seat;

struct rg_server {
    struct MHD_Daemon *daemon;
    rg_server_options options;
    int port;
    bool loopback;
    char address[64]; /* as in a URL */
    rg_secret csrf, token, cookie;
    pthread_mutex_t lock; /* of the seats */
    seat seat[SEATS];
    pthread_t watchman;
    atomic_bool stopping;
    atomic_int streams;
};

typedef struct asking {
    size_t target;
    bool escaped;             /* its path has a '%' */
    bool begun, refused_late; /* late: the body grew too large */
    const rg_route *route;
    char *body; /* owned */
    size_t size;
} asking;

typedef struct stream {
    rg_server *server;
    const rg_route *route;
    const rg_feed_block *block;
    size_t offset;
    uint64_t after;
    bool begun;
    int64_t sent; /* ms: when the last byte went out */
} stream;

static const char page_policy[] =
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'";

static int64_t now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* ---------------------------------------------------------------- seats */

static int socket_of(struct MHD_Connection *c)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(c, MHD_CONNECTION_INFO_CONNECTION_FD);
    return info ? (int)info->connect_fd : -1;
}

static void take_seat(rg_server *s, struct MHD_Connection *c, void **context)
{
    seat *free_seat = NULL;
    for (int i = 0; !free_seat && i < SEATS; i++)
        if (!s->seat[i].taken)
            free_seat = &s->seat[i];
    if (free_seat)
        *free_seat = (seat){true, socket_of(c), now_ms() + RG_SERVER_SECONDS * 1000L};
    else
        shutdown(socket_of(c), SHUT_RDWR);
    *context = free_seat;
}

static void on_connection(void *cls, struct MHD_Connection *c, void **context,
                          enum MHD_ConnectionNotificationCode what)
{
    rg_server *s = cls;
    pthread_mutex_lock(&s->lock);
    if (what == MHD_CONNECTION_NOTIFY_STARTED)
        take_seat(s, c, context);
    else if (*context)
        ((seat *)*context)->taken = false;
    pthread_mutex_unlock(&s->lock);
}

/* seconds 0: no deadline. */
static void set_deadline(rg_server *s, struct MHD_Connection *c, int seconds)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(c, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    seat *mine = info ? info->socket_context : NULL;
    if (!mine)
        return;
    pthread_mutex_lock(&s->lock);
    mine->deadline = seconds ? now_ms() + (int64_t)seconds * 1000 : 0;
    pthread_mutex_unlock(&s->lock);
}

static void *watch(void *cls)
{
    rg_server *s = cls;
    const struct timespec pause = {0, WATCH_MS * 1000000L};
    while (!atomic_load(&s->stopping)) {
        nanosleep(&pause, NULL);
        int64_t now = now_ms();
        pthread_mutex_lock(&s->lock);
        for (int i = 0; i < SEATS; i++)
            if (s->seat[i].taken && s->seat[i].deadline && now > s->seat[i].deadline) {
                shutdown(s->seat[i].fd, SHUT_RDWR);
                s->seat[i].deadline = 0;
            }
        pthread_mutex_unlock(&s->lock);
    }
    return NULL;
}

/* ---------------------------------------------------------------- answers */

void rg_reply_error(rg_reply *reply, unsigned status, const char *text)
{
    json_t *json = json_pack("{s:s}", "error", text);
    if (!json)
        json = json_pack("{s:s}", "error", "the reason is no UTF-8");
    char *bytes = json ? json_dumps(json, JSON_COMPACT) : NULL;
    json_decref(json);
    free(reply->bytes);
    *reply = (rg_reply){.status = status,
                        .type = "application/json",
                        .bytes = (uint8_t *)bytes,
                        .size = bytes ? strlen(bytes) : 0};
}

static void dress(struct MHD_Response *r, const char *type, const char *policy)
{
    MHD_add_response_header(r, "Content-Type", type);
    MHD_add_response_header(r, "Content-Security-Policy", policy ? policy : page_policy);
    MHD_add_response_header(r, "X-Content-Type-Options", "nosniff");
    MHD_add_response_header(r, "X-Frame-Options", "DENY");
    MHD_add_response_header(r, "Referrer-Policy", "no-referrer");
    MHD_add_response_header(r, "Cross-Origin-Resource-Policy", "same-origin");
    MHD_add_response_header(r, "Cross-Origin-Opener-Policy", "same-origin");
    MHD_add_response_header(r, "Cache-Control", "no-store");
}

static enum MHD_Result send_response(struct MHD_Connection *c, unsigned status,
                                     struct MHD_Response *r)
{
    enum MHD_Result done = MHD_queue_response(c, status, r);
    MHD_destroy_response(r);
    return done;
}

static enum MHD_Result send_reply(struct MHD_Connection *c, rg_reply *reply, const char *allow)
{
    static const char nothing[] = "";
    struct MHD_Response *r =
        reply->bytes
            ? MHD_create_response_from_buffer(reply->size, reply->bytes, MHD_RESPMEM_MUST_FREE)
            : MHD_create_response_from_buffer(0, (void *)nothing, MHD_RESPMEM_PERSISTENT);
    if (!r) {
        free(reply->bytes);
        return MHD_NO;
    }
    dress(r, reply->type ? reply->type : "text/plain; charset=utf-8", reply->policy);
    if (allow)
        MHD_add_response_header(r, "Allow", allow);
    if (reply->status == 503)
        MHD_add_response_header(r, "Retry-After", "5");
    return send_response(c, reply->status, r);
}

static enum MHD_Result refuse(struct MHD_Connection *c, unsigned status, const char *why,
                              const rg_route *route)
{
    rg_reply reply = {0};
    rg_reply_error(&reply, status, why);
    return send_reply(c, &reply, status == 405 && route ? rg_route_allow(route) : NULL);
}

static enum MHD_Result send_asset(struct MHD_Connection *c, const rg_route *route)
{
    struct MHD_Response *r =
        MHD_create_response_from_buffer(route->size, (void *)route->bytes, MHD_RESPMEM_PERSISTENT);
    if (!r)
        return MHD_NO;
    dress(r, route->type, NULL);
    return send_response(c, 200, r);
}

/* The token was right: from now on the cookie is shown. */
static enum MHD_Result let_in(rg_server *s, struct MHD_Connection *c)
{
    char cookie[RG_SECRET_TEXT + 64];
    static const char nothing[] = "";
    struct MHD_Response *r =
        MHD_create_response_from_buffer(0, (void *)nothing, MHD_RESPMEM_PERSISTENT);
    if (!r)
        return MHD_NO;
    snprintf(cookie, sizeof cookie, "rimglow=%s; HttpOnly; SameSite=Strict; Path=/",
             s->cookie.text);
    dress(r, "text/plain; charset=utf-8", NULL);
    MHD_add_response_header(r, "Set-Cookie", cookie);
    MHD_add_response_header(r, "Location", "/");
    return send_response(c, 303, r);
}

/* ---------------------------------------------------------------- streams */

static ssize_t pass_on(stream *st, const uint8_t *bytes, size_t size, char *to, size_t most)
{
    size_t n = size < most ? size : most;
    memcpy(to, bytes, n);
    st->sent = now_ms();
    st->begun = true;
    return (ssize_t)n;
}

static void take_newer(stream *st)
{
    bool still = now_ms() - st->sent > BEAT_MS && !st->route->beat;
    const rg_feed_block *b =
        rg_feed_take(st->route->feed, still ? 0 : st->after, still ? 0 : SLICE_MS);
    st->block = b;
    st->offset = 0;
    if (b)
        st->after = b->number;
}

static ssize_t read_stream(void *cls, uint64_t at, char *to, size_t most)
{
    stream *st = cls;
    (void)at;
    while (!atomic_load(&st->server->stopping)) {
        if (st->block && st->offset < st->block->size) {
            ssize_t n =
                pass_on(st, st->block->bytes + st->offset, st->block->size - st->offset, to, most);
            st->offset += (size_t)n;
            return n;
        }
        rg_feed_give_back(st->route->feed, st->block);
        take_newer(st);
        if (!st->block && st->route->beat && now_ms() - st->sent > BEAT_MS)
            return pass_on(st, (const uint8_t *)st->route->beat, strlen(st->route->beat), to, most);
        /* Nothing was ever to be shown: who asked may be gone, which only sending would tell. */
        if (!st->begun && now_ms() - st->sent > 2L * BEAT_MS)
            break;
    }
    return MHD_CONTENT_READER_END_OF_STREAM;
}

static void free_stream(void *cls)
{
    stream *st = cls;
    rg_feed_give_back(st->route->feed, st->block);
    atomic_fetch_sub(&st->server->streams, 1);
    free(st);
}

static enum MHD_Result send_stream(rg_server *s, struct MHD_Connection *c, const rg_route *route)
{
    if (atomic_fetch_add(&s->streams, 1) >= RG_SERVER_STREAMS) {
        atomic_fetch_sub(&s->streams, 1);
        return refuse(c, 503, "too many viewers: close another window of this page", route);
    }
    stream *st = rg_alloc(1, sizeof *st);
    struct MHD_Response *r = NULL;
    if (st) {
        *st = (stream){.server = s, .route = route, .sent = now_ms()};
        r = MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, (size_t)16 * 1024, read_stream, st,
                                              free_stream);
    }
    if (!r) {
        free(st);
        atomic_fetch_sub(&s->streams, 1);
        return MHD_NO;
    }
    dress(r, route->type, NULL);
    return send_response(c, 200, r);
}

/* ---------------------------------------------------------------- requests */

const char *rg_request_query(const rg_request *request, const char *name)
{
    return MHD_lookup_connection_value((struct MHD_Connection *)request->connection,
                                       MHD_GET_ARGUMENT_KIND, name);
}

typedef struct counts {
    int hosts, lengths;
} counts;

static enum MHD_Result count_header(void *cls, enum MHD_ValueKind kind, const char *key,
                                    const char *value)
{
    counts *n = cls;
    (void)kind;
    (void)value;
    n->hosts += strcasecmp(key, "Host") == 0;
    n->lengths +=
        strcasecmp(key, "Content-Length") == 0 || strcasecmp(key, "Transfer-Encoding") == 0;
    return MHD_YES;
}

static bool name_address(const struct sockaddr *a, char name[RG_HOST_SIZE], bool *loopback)
{
    char text[INET6_ADDRSTRLEN];
    if (a->sa_family == AF_INET) {
        const struct sockaddr_in *in = (const void *)a;
        *loopback = (ntohl(in->sin_addr.s_addr) >> 24) == 127;
        return inet_ntop(AF_INET, &in->sin_addr, text, sizeof text) &&
               snprintf(name, RG_HOST_SIZE, "%s:%d", text, ntohs(in->sin_port)) > 0;
    }
    const struct sockaddr_in6 *in = (const void *)a;
    *loopback = IN6_IS_ADDR_LOOPBACK(&in->sin6_addr);
    return a->sa_family == AF_INET6 && inet_ntop(AF_INET6, &in->sin6_addr, text, sizeof text) &&
           snprintf(name, RG_HOST_SIZE, "[%s]:%d", text, ntohs(in->sin6_port)) > 0;
}

/* local: RG_HOST_SIZE bytes, what the connection came in by; "" when that cannot be told. */
static void find_local(struct MHD_Connection *c, char *local, bool *loopback)
{
    struct sockaddr_storage a;
    socklen_t size = sizeof a;
    *loopback = false;
    if (getsockname(socket_of(c), (struct sockaddr *)&a, &size) != 0 ||
        !name_address((const struct sockaddr *)&a, local, loopback))
        local[0] = 0;
}

static void look_at(struct MHD_Connection *c, const char *method, const asking *r, rg_visitor *v,
                    char *local)
{
    counts n = {0};
    bool loopback;
    MHD_get_connection_values(c, MHD_HEADER_KIND, count_header, &n);
    find_local(c, local, &loopback);
    const char *port = strrchr(local, ':');
#define HEADER(name) MHD_lookup_connection_value(c, MHD_HEADER_KIND, name)
    *v = (rg_visitor){.method = method,
                      .hosts = n.hosts,
                      .lengths = n.lengths,
                      .host = HEADER("Host"),
                      .origin = HEADER("Origin"),
                      .fetch_site = HEADER("Sec-Fetch-Site"),
                      .type = HEADER("Content-Type"),
                      .csrf = HEADER("X-Csrf-Token"),
                      .cookie = HEADER("Cookie"),
                      .length = HEADER("Content-Length"),
                      .target = r->target,
                      .local = local,
                      .loopback = loopback,
                      .standard_port = port && strcmp(port, ":80") == 0};
#undef HEADER
}

static const rg_route *find_route(const rg_server *s, const char *path)
{
    for (int i = 0; i < s->options.count; i++)
        if (strcmp(s->options.routes[i].path, path) == 0)
            return &s->options.routes[i];
    return NULL;
}

static enum MHD_Result run_route(rg_server *s, struct MHD_Connection *c, const asking *r)
{
    const rg_request given = {.body = r->body ? r->body : "", .size = r->size, .connection = c};
    rg_reply reply = {.status = 200, .type = "application/json"};
    r->route->run(s->options.context, &given, &reply);
    set_deadline(s, c, RG_SERVER_ANSWER_SECONDS);
    return send_reply(c, &reply, NULL);
}

static enum MHD_Result answer(rg_server *s, struct MHD_Connection *c, asking *r)
{
    set_deadline(s, c, r->route->kind == RG_ROUTE_STREAM ? 0 : RG_SERVER_ANSWER_SECONDS);
    switch (r->route->kind) {
    case RG_ROUTE_ASSET:
        return send_asset(c, r->route);
    case RG_ROUTE_STREAM:
        return send_stream(s, c, r->route);
    default:
        return run_route(s, c, r);
    }
}

static bool brings_token(const rg_server *s, struct MHD_Connection *c)
{
    const char *token = MHD_lookup_connection_value(c, MHD_GET_ARGUMENT_KIND, "token");
    return s->options.token && rg_secret_is(&s->token, token, token ? strlen(token) : 0);
}

/* Headers are there; a body is not yet. */
static enum MHD_Result begin(rg_server *s, struct MHD_Connection *c, asking *r, const char *url,
                             const char *method)
{
    char local[RG_HOST_SIZE] = "";
    const char *why = "";
    rg_visitor visitor;
    const rg_gate gate = {&s->csrf, s->options.token ? &s->cookie : NULL};
    r->begun = true;
    r->route = r->escaped ? NULL : find_route(s, url); /* "/bench.js%00" would be one */
    look_at(c, method, r, &visitor, local);
    unsigned status = rg_gate_judge(&gate, &visitor, r->route, &why);
    set_deadline(s, c, RG_SERVER_SECONDS);
    if (status == 401 && strcmp(url, "/") == 0 && brings_token(s, c))
        return let_in(s, c);
    if (status)
        return refuse(c, status, why, r->route);
    return r->route->kind == RG_ROUTE_CHANGE ? MHD_YES : answer(s, c, r);
}

/* A body without a stated length may still grow too large: the rest is thrown away, within the deadline. */
static void collect(asking *r, const char *bytes, size_t size)
{
    if (r->refused_late || size > RG_SERVER_BODY - r->size) {
        r->refused_late = true;
        return;
    }
    char *grown = rg_grow(r->body, r->size + size + 1, 1);
    if (!grown) {
        r->refused_late = true;
        return;
    }
    memcpy(grown + r->size, bytes, size);
    r->size += size;
    grown[r->size] = 0;
    r->body = grown;
}

static enum MHD_Result on_request(void *cls, struct MHD_Connection *c, const char *url,
                                  const char *method, const char *version, const char *data,
                                  size_t *size, void **context)
{
    rg_server *s = cls;
    asking *r = *context;
    (void)version;
    if (!r)
        return MHD_NO;
    if (!r->begun)
        return begin(s, c, r, url, method);
    if (*size) {
        collect(r, data, *size);
        *size = 0;
        return MHD_YES;
    }
    return r->refused_late ? refuse(c, 413, "the body is too large", r->route) : answer(s, c, r);
}

static void *on_target(void *cls, const char *target, struct MHD_Connection *c)
{
    asking *r = rg_alloc(1, sizeof *r);
    (void)cls;
    (void)c;
    if (r) {
        r->target = strlen(target);
        r->escaped = memchr(target, '%', strcspn(target, "?")) != NULL;
    }
    return r;
}

static void on_completed(void *cls, struct MHD_Connection *c, void **context,
                         enum MHD_RequestTerminationCode why)
{
    asking *r = *context;
    (void)why;
    if (r)
        free(r->body);
    free(r);
    *context = NULL;
    set_deadline(cls, c, RG_SERVER_SECONDS); /* for the next one */
}

/* ---------------------------------------------------------------- start and stop */

typedef union place {
    struct sockaddr any;
    struct sockaddr_in v4;
    struct sockaddr_in6 v6;
} place;

static rg_code read_address(rg_server *s, place *p, rg_error *err)
{
    const char *text = s->options.address ? s->options.address : "127.0.0.1";
    *p = (place){0};
    if (inet_pton(AF_INET, text, &p->v4.sin_addr) == 1) {
        p->v4.sin_family = AF_INET;
        p->v4.sin_port = htons((uint16_t)s->options.port);
        s->loopback = (ntohl(p->v4.sin_addr.s_addr) >> 24) == 127;
        snprintf(s->address, sizeof s->address, "%.40s", text);
    } else if (inet_pton(AF_INET6, text, &p->v6.sin6_addr) == 1) {
        p->v6.sin6_family = AF_INET6;
        p->v6.sin6_port = htons((uint16_t)s->options.port);
        s->loopback = IN6_IS_ADDR_LOOPBACK(&p->v6.sin6_addr);
        snprintf(s->address, sizeof s->address, "[%.46s]", text);
    } else
        return rg_fail(err, RG_USAGE,
                       "%.60s is no numeric address to listen on; give one like 127.0.0.1", text);
    if (!s->loopback && !s->options.token)
        return rg_fail(err, RG_USAGE, "listening on %.60s needs a token", text);
    return RG_OK;
}

static struct MHD_Daemon *start_daemon(rg_server *s, const place *p)
{
    unsigned flags = MHD_USE_INTERNAL_POLLING_THREAD | MHD_USE_THREAD_PER_CONNECTION |
                     MHD_USE_POLL | MHD_USE_ITC;
    if (p->any.sa_family == AF_INET6)
        flags |= MHD_USE_IPv6;
    return MHD_start_daemon(
        flags, (uint16_t)s->options.port, NULL, NULL, on_request, s, MHD_OPTION_SOCK_ADDR, &p->any,
        MHD_OPTION_CONNECTION_LIMIT, (unsigned)RG_SERVER_CONNECTIONS,
        MHD_OPTION_PER_IP_CONNECTION_LIMIT, (unsigned)RG_SERVER_PER_ADDRESS,
        MHD_OPTION_CONNECTION_TIMEOUT, (unsigned)RG_SERVER_SECONDS,
        MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)RG_SERVER_MEMORY, MHD_OPTION_STRICT_FOR_CLIENT,
        1, MHD_OPTION_URI_LOG_CALLBACK, on_target, s, MHD_OPTION_NOTIFY_COMPLETED, on_completed, s,
        MHD_OPTION_NOTIFY_CONNECTION, on_connection, s, MHD_OPTION_END);
}

static rg_code open_daemon(rg_server *s, rg_error *err)
{
    place p;
    rg_code code = read_address(s, &p, err);
    if (code == RG_OK)
        code = rg_secret_make(&s->csrf, err);
    if (code == RG_OK)
        code = rg_secret_make(&s->token, err);
    if (code == RG_OK)
        code = rg_secret_make(&s->cookie, err);
    if (code != RG_OK)
        return code;
    s->daemon = start_daemon(s, &p);
    const union MHD_DaemonInfo *info =
        s->daemon ? MHD_get_daemon_info(s->daemon, MHD_DAEMON_INFO_BIND_PORT) : NULL;
    if (!info)
        return rg_fail(err, RG_IO,
                       "cannot listen on %s, port %d: another program may hold it; give another "
                       "--port, or 0 for any",
                       s->address, s->options.port);
    s->port = info->port;
    return RG_OK;
}

rg_code rg_server_start(const rg_server_options *options, rg_server **server, rg_error *err)
{
    rg_server *s = rg_alloc(1, sizeof *s);
    *server = NULL;
    if (!s)
        return rg_fail(err, RG_INTERNAL, "no memory for a server");
    s->options = *options;
    pthread_mutex_init(&s->lock, NULL);
    *server = s; /* before the first request: the context may point to it */
    rg_code code = open_daemon(s, err);
    if (code == RG_OK && pthread_create(&s->watchman, NULL, watch, s) != 0)
        code = rg_fail(err, RG_INTERNAL, "no thread for the server");
    if (code == RG_OK)
        return RG_OK;
    *server = NULL;
    if (s->daemon)
        MHD_stop_daemon(s->daemon);
    pthread_mutex_destroy(&s->lock);
    free(s);
    return code;
}

int rg_server_port(const rg_server *server)
{
    return server->port;
}

const char *rg_server_csrf(const rg_server *server)
{
    return server->csrf.text;
}

void rg_server_url(const rg_server *s, char *url, size_t size)
{
    snprintf(url, size, "http://%s:%d/%s%s", s->address, s->port, s->options.token ? "?token=" : "",
             s->options.token ? s->token.text : "");
}

void rg_server_stop(rg_server *s)
{
    if (!s)
        return;
    atomic_store(&s->stopping, true);
    for (int i = 0; i < s->options.count; i++)
        if (s->options.routes[i].feed)
            rg_feed_stop(s->options.routes[i].feed);
    MHD_stop_daemon(s->daemon);
    pthread_join(s->watchman, NULL);
    pthread_mutex_destroy(&s->lock);
    free(s);
}
