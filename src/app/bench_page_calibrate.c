/*
 * bench_page_calibrate.c - calls of the page Calibrate.
 */
#include <stdlib.h>
#include <string.h>

#include "bench_page_private.h"

/* The body goes to the session as it is; only that it is an object is looked at here. */
void rg_page_calibrate(void *context, const rg_request *request, rg_reply *reply)
{
    const rg_bench_page *p = context;
    rg_error err = {0};
    json_t *body = json_loadb(request->body, request->size, JSON_REJECT_DUPLICATES, NULL);
    bool good = json_is_object(body) && json_is_string(json_object_get(body, "do"));
    json_decref(body);
    if (!good) {
        rg_reply_error(reply, 400, "the body must be a JSON object with the text do");
        return;
    }
    if (rg_bench_ask(p->bench, RG_WISH_CALIBRATE, request->body, &err) == RG_OK)
        rg_page_reply_json(reply, 200, json_pack("{s:b}", "ok", 1));
    else if (err.code == RG_BAD_DATA ||
             err.code == RG_NO_INPUT) /* what was asked for is at fault */
        rg_reply_error(reply, 409, err.text);
    else
        rg_page_reply_fault(reply, &err);
}

void rg_page_calibrate_response(void *context, const rg_request *request, rg_reply *reply)
{
    static const char policy[] = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
                                 "frame-ancestors 'none'; base-uri 'none'; form-action 'none'";
    const rg_bench_page *p = context;
    rg_error err = {0};
    uint8_t *svg = NULL;
    size_t size = 0;
    (void)request;
    if (rg_bench_response(p->bench, &svg, &size, &err) != RG_OK)
        rg_page_reply_fault(reply, &err);
    else if (!svg)
        rg_reply_error(reply, 404, "the light has not been calibrated here yet");
    else {
        reply->type = "image/svg+xml";
        reply->policy = policy;
        reply->bytes = svg;
        reply->size = size;
    }
}
