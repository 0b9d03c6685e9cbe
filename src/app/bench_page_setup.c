/*
 * bench_page_setup.c - set-up values of earlier visits of the serial at the bench, and what the rules would decide.
 * Reads only.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "archive_command.h"
#include "bench_page_private.h"
#include "rimglow/archive.h"

enum { VISITS = 20 };

static json_t *value_json(const rg_record_value *v)
{
    return json_pack("{s:s, s:f, s:o, s:s, s:s}", "quantity", v->quantity, "value", v->value, "u",
                     isfinite(v->u) ? json_real(v->u) : json_null(), "unit", v->unit, "with",
                     v->with);
}

static json_t *visit_json(const rg_record *r)
{
    char when[32];
    json_t *values = json_array();
    rg_archive_when(r->time, when);
    for (int i = 0; i < r->values; i++)
        json_array_append_new(values, value_json(&r->value[i]));
    return json_pack("{s:s, s:i, s:s, s:s, s:s, s:s, s:o}", "bag", r->bag, "sequence", r->sequence,
                     "time", when, "occasion", r->occasion, "technician", r->technician, "note",
                     r->note, "values", values);
}

/* A bag whose record cannot be read is told by its name; rimglow archive verify says more. */
static json_t *one_visit(const rg_archive *archive, const char *bag)
{
    rg_record record;
    rg_error err = {0};
    if (rg_archive_record(archive, bag, &record, &err) != RG_OK)
        return json_pack("{s:s, s:s, s:[]}", "bag", bag, "unread", err.text, "values");
    json_t *json = visit_json(&record);
    rg_record_free(&record);
    return json;
}

static json_t *visits(const rg_archive *archive, const char *serial, rg_error *err)
{
    rg_names bags;
    if (rg_archive_bags(archive, serial, &bags, err) != RG_OK)
        return NULL;
    json_t *list = json_array();
    for (int i = bags.count - 1; i >= 0 && i >= bags.count - VISITS; i--)
        json_array_append_new(list, one_visit(archive, bags.name[i]));
    rg_names_free(&bags);
    return json_pack("{s:o}", "visits", list);
}

void rg_page_setup_visits(void *context, const rg_request *request, rg_reply *reply)
{
    rg_bench_page *p = context;
    rg_archive archive;
    rg_error err = {0};
    (void)request;
    pthread_mutex_lock(&p->archive);
    json_t *json = NULL;
    if (rg_archive_read(&archive, rg_bench_archive(p->bench), &err) == RG_OK) {
        err = (rg_error){0};
        json = visits(&archive, rg_bench_serial(p->bench), &err);
        rg_archive_close(&archive);
    } else if (err.code == RG_NO_INPUT) { /* no archive yet: no visits */
        json = json_pack("{s:[]}", "visits");
    }
    pthread_mutex_unlock(&p->archive);
    if (json)
        rg_page_reply_json(reply, 200, json);
    else
        rg_page_reply_fault(reply, &err);
}

void rg_page_setup_decision(void *context, const rg_request *request, rg_reply *reply)
{
    rg_bench_page *p = context;
    rg_error err = {0};
    char *text = NULL;
    (void)request;
    pthread_mutex_lock(&p->archive);
    rg_code code = rg_bench_decision(p->bench, &text, &err);
    pthread_mutex_unlock(&p->archive);
    if (code != RG_OK) {
        rg_page_reply_fault(reply, &err);
        return;
    }
    reply->status = 200;
    reply->bytes = (uint8_t *)text;
    reply->size = strlen(text);
}
