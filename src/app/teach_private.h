/*
 * teach_private.h - the server of rimglow teach, and its parts. Each part adds its rows to the table of
 * routes, keeps what it needs in a struct of its own, and lets go of it at the end.
 */
#ifndef RIMGLOW_APP_TEACH_PRIVATE_H
#define RIMGLOW_APP_TEACH_PRIVATE_H

#include "bench_page_private.h" /* rg_page_reply_json */
#include "rimglow/pairs.h"
#include "rimglow/teach_page.h"

enum { RG_TEACH_ROUTES = 96 };

typedef struct rg_teach_try rg_teach_try;         /* teach_try.c */
typedef struct rg_teach_lessons rg_teach_lessons; /* teach_lessons.c */
typedef struct rg_teach_quiz rg_teach_quiz;       /* teach_quiz_private.h */
typedef struct rg_teach_pairs rg_teach_pairs;     /* teach_pairs.c */

struct rg_teach_page {
    rg_teach_page_options options;
    rg_lab *lab; /* owned */
    rg_server *server;
    rg_route route[RG_TEACH_ROUTES];
    int routes;
    /* Owned, each by its part's file; NULL while the part is not there. */
    rg_teach_try *trying;
    rg_teach_lessons *lessons;
    rg_teach_quiz *quiz;
    rg_teach_pairs *pairs;
};

extern const char rg_teach_html[], rg_teach_css[], rg_teach_script[]; /* media types */

/* run's context is the rg_teach_page. RG_INTERNAL when the server starts with more than RG_TEACH_ROUTES. */
void rg_teach_add(rg_teach_page *page, rg_route route);
void rg_teach_add_asset(rg_teach_page *page, const char *path, const char *type,
                        const uint8_t *bytes, uint64_t size);
void rg_teach_add_call(rg_teach_page *page, const char *path, rg_route_kind kind,
                       void (*run)(void *context, const rg_request *request, rg_reply *reply));

/* 400 for RG_USAGE, 404 for RG_NO_INPUT, 500 otherwise. */
void rg_teach_reply_fault(rg_reply *reply, const rg_error *err);
/* Answers with a copy of what is kept; false without memory, and nothing is answered yet. */
bool rg_teach_reply_copy(rg_reply *reply, const uint8_t *bytes, size_t size, const char *type);
/* The bytes in base64 (RFC 4648), as a JSON string; NULL without memory. */
json_t *rg_teach_base64(const uint8_t *bytes, size_t size);
/* Numbers rounded to so many decimals; null for what is not finite. */
json_t *rg_teach_number(double value, int decimals);
json_t *rg_teach_numbers(const double *value, int count, int decimals);

rg_code rg_teach_add_try(rg_teach_page *page, rg_error *err);
void rg_teach_close_try(rg_teach_page *page);
rg_code rg_teach_add_quiz(rg_teach_page *page, rg_error *err);
void rg_teach_close_quiz(rg_teach_page *page);
rg_code rg_teach_add_pairs(rg_teach_page *page, rg_error *err);
/* The archive of these options as cases; it must be one. */
rg_code rg_teach_pairs_open(const rg_teach_page_options *options, rg_pairs **pairs, rg_error *err);
void rg_teach_close_pairs(rg_teach_page *page);
rg_code rg_teach_add_lessons(rg_teach_page *page, rg_error *err);
void rg_teach_close_lessons(rg_teach_page *page);

#endif
