/*
 * server.h - a small HTTP server for the bench page, careful about who asks.
 *
 * Built on libmicrohttpd, one thread for each connection. Pages, data and streams are rows of a table; a
 * path that is no row does not exist, and no path is ever looked up on the disk. What every request has
 * to pass, in this order (RFC 9110, 9112; Fetch Metadata; RFC 6265 for the cookie):
 *
 *   400  not exactly one Host; a body announced in two ways
 *   414  a target above RG_SERVER_TARGET bytes
 *   421  a Host that is neither the address and port that the connection came in by nor, on
 *        the loopback, localhost and the port: a page of another name that points here (DNS rebinding)
 *   404  no such path; 405 with Allow for another method
 *   401  a token is asked for and the cookie does not hold it
 *   403  data or stream asked for by another site's page (Sec-Fetch-Site)
 *   and where something is to change (POST, never GET or HEAD):
 *   403  an Origin other than this server's, or no CSRF value (header X-Csrf-Token)
 *   415  not application/json; 413 more than RG_SERVER_BODY bytes
 *
 * libmicrohttpd itself answers 400 to what is no HTTP and 414 or 431 to what does not
 * fit into RG_SERVER_MEMORY. At most RG_SERVER_CONNECTIONS connections and RG_SERVER_PER_ADDRESS from one
 * address; a request must be there whole RG_SERVER_SECONDS after its connection or the request before it, however
 * slowly it drips; an answer must be taken within RG_SERVER_ANSWER_SECONDS.
 */
#ifndef RIMGLOW_SERVER_H
#define RIMGLOW_SERVER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rimglow/feed.h"
#include "rimglow/status.h"

enum {
    RG_SERVER_CONNECTIONS = 64,
    RG_SERVER_PER_ADDRESS = 16,
    RG_SERVER_STREAMS = 10, /* at one time, of all connections */
    RG_SERVER_SECONDS = 10,
    RG_SERVER_ANSWER_SECONDS = 60,
    RG_SERVER_MEMORY = 32 * 1024, /* of a connection: target and headers */
    RG_SERVER_TARGET = 2048,
    RG_SERVER_BODY = 64 * 1024,
    RG_SERVER_SECRET = 32 /* random bytes of a token */
};

typedef struct rg_server rg_server; /* opaque */

typedef struct rg_request {
    const char *body; /* of a POST, 0 follows; "" otherwise */
    size_t size;
    const void *connection; /* for rg_request_query */
} rg_request;
/* Value of ?name=...; NULL when it is not there. */
const char *rg_request_query(const rg_request *request, const char *name);

typedef struct rg_reply {
    unsigned status; /* 200 */
    const char *type;
    uint8_t *bytes; /* owned by the reply, from malloc; NULL for an empty one */
    size_t size;
    const char *policy; /* Content-Security-Policy; NULL: that of the pages */
} rg_reply;

typedef enum rg_route_kind {
    RG_ROUTE_ASSET,  /* GET: fixed bytes */
    RG_ROUTE_DATA,   /* GET: run */
    RG_ROUTE_CHANGE, /* POST: run */
    RG_ROUTE_STREAM  /* GET: each new block of the feed */
} rg_route_kind;

typedef struct rg_route {
    const char *path;
    rg_route_kind kind;
    const char *type; /* of asset and stream */
    const uint8_t *bytes;
    size_t size;
    void (*run)(void *context, const rg_request *request, rg_reply *reply);
    rg_feed *feed;
    const char *beat; /* sent when the feed keeps still; NULL: its last block again */
} rg_route;

typedef struct rg_server_options {
    const char *address; /* numeric; NULL: 127.0.0.1. Any but the loopback needs a token */
    int port;            /* 0: any free one */
    bool token;
    const rg_route *routes; /* [count], the caller's until rg_server_stop */
    int count;
    void *context;
} rg_server_options;

/* RG_USAGE for an address that is none or needs a token, RG_IO where it cannot listen. */
rg_code rg_server_start(const rg_server_options *options, rg_server **server, rg_error *err);
/* Where to point a browser, with the token: for the terminal, once. */
void rg_server_url(const rg_server *server, char *url, size_t size);
int rg_server_port(const rg_server *server);
/* What X-Csrf-Token must hold, to be handed to the page as data. */
const char *rg_server_csrf(const rg_server *server);
/* Ends all streams and connections, and waits for them. */
void rg_server_stop(rg_server *server);

/* Fills the reply with {"error": text}; text is escaped. */
void rg_reply_error(rg_reply *reply, unsigned status, const char *text);

#endif
