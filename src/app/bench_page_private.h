/*
 * bench_page_private.h - the page's server and its archive part.
 */
#ifndef RIMGLOW_APP_BENCH_PAGE_PRIVATE_H
#define RIMGLOW_APP_BENCH_PAGE_PRIVATE_H

#include <jansson.h>
#include <pthread.h>

#include "rimglow/bench_page.h"

enum { RG_BENCH_ROUTES = 48 };

struct rg_bench_page {
    rg_bench *bench;
    rg_server *server;
    rg_route route[RG_BENCH_ROUTES];
    int routes;
    pthread_mutex_t archive; /* one reader of the archive at a time */
};

/* Takes the reference. */
void rg_page_reply_json(rg_reply *reply, unsigned status, json_t *json);
void rg_page_reply_fault(rg_reply *reply, const rg_error *err);

/* bench_page_archive.c; context: rg_bench_page. */
void rg_page_archive_list(void *context, const rg_request *request, rg_reply *reply);
void rg_page_archive_history(void *context, const rg_request *request, rg_reply *reply);
void rg_page_archive_picture(void *context, const rg_request *request, rg_reply *reply);
void rg_page_archive_compare(void *context, const rg_request *request, rg_reply *reply);
void rg_page_archive_certificate(void *context, const rg_request *request, rg_reply *reply);

/* bench_page_setup.c; context: rg_bench_page. */
void rg_page_setup_visits(void *context, const rg_request *request, rg_reply *reply);
void rg_page_setup_decision(void *context, const rg_request *request, rg_reply *reply);
/* bench_page_calibrate.c; context: rg_bench_page. */
void rg_page_calibrate(void *context, const rg_request *request, rg_reply *reply);
void rg_page_calibrate_response(void *context, const rg_request *request, rg_reply *reply);

#endif
