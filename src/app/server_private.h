/*
 * server_private.h - who may ask what: pure rules, apart from sockets so that they can be tested alone.
 */
#ifndef RIMGLOW_APP_SERVER_PRIVATE_H
#define RIMGLOW_APP_SERVER_PRIVATE_H

#include "rimglow/server.h"

enum { RG_HOST_SIZE = 80, RG_SECRET_TEXT = 2 * RG_SERVER_SECRET + 1 };

typedef struct rg_secret {
    unsigned char byte[RG_SERVER_SECRET];
    char text[RG_SECRET_TEXT]; /* hexadecimal */
} rg_secret;
rg_code rg_secret_make(rg_secret *secret, rg_error *err);
/* In constant time. False for NULL. */
bool rg_secret_is(const rg_secret *secret, const char *text, size_t size);

/* A request's headers; NULL: not there. */
typedef struct rg_visitor {
    const char *method;
    int hosts, lengths; /* how many Host, and Content-Length with Transfer-Encoding, there are */
    const char *host, *origin, *fetch_site, *type, *csrf, *cookie, *length;
    size_t target;                /* bytes of the request's target */
    const char *local;            /* "127.0.0.1:8737": what the connection came in by */
    bool loopback, standard_port; /* of that; port 80 may be left out of Host */
} rg_visitor;

typedef struct rg_gate {
    const rg_secret *csrf, *cookie; /* cookie NULL: none is asked for */
} rg_gate;

/* 0 where the request may go on, else the status and why. route NULL: there is none of that path. */
unsigned rg_gate_judge(const rg_gate *gate, const rg_visitor *visitor, const rg_route *route,
                       const char **why);
/* "GET, HEAD" or "POST". */
const char *rg_route_allow(const rg_route *route);

#endif
