/*
 * bench_page_archive.c - the archive on the bench's server: list, history, certificate. Reads only.
 */
#define _XOPEN_SOURCE 700 /* mkdtemp */

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "archive_command.h"
#include "bench_page_private.h"
#include "rimglow/draw_archive.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

enum { ROWS = 200 };

static const char certificate_policy[] =
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; "
    "base-uri 'none'; form-action 'none'";

static json_t *number(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

/* NULL for what was not asked, so that it chooses nothing. */
static const char *asked(const rg_request *request, const char *name)
{
    const char *text = rg_request_query(request, name);
    return text && text[0] ? text : NULL;
}

/* ---------------------------------------------------------------- list */

static json_t *inspection_json(const rg_catalogue_list *l, int i)
{
    const rg_catalogue_inspection *r = &l->row[i];
    char when[32];
    rg_archive_when(r->time, when);
    return json_pack("{s:s, s:s, s:s, s:i, s:s, s:s, s:s, s:s, s:s, s:i, s:i, s:i, s:i, s:i}",
                     "bag", r->bag, "serial", r->serial, "model", r->model, "sequence", r->sequence,
                     "time", when, "technician", r->technician, "occasion", r->occasion, "note",
                     r->note, "verdict", r->verdict, "pads_of_model", r->pads_of_model, "swept",
                     l->swept[i], "leaking", l->leaking[i], "undecided", l->undecided[i], "sealed",
                     l->sealed[i]);
}

static rg_code list(const rg_archive *archive, const rg_request *request, rg_reply *reply,
                    rg_error *err)
{
    const rg_catalogue_query query = {.serial = asked(request, "serial"),
                                      .verdict = asked(request, "verdict"),
                                      .pad = asked(request, "pad"),
                                      .technician = asked(request, "technician"),
                                      .limit = ROWS};
    rg_catalogue_list l = {0};
    int all = 0;
    rg_code code = rg_catalogue_find(archive->catalogue, &query, &l, err);
    if (code == RG_OK)
        code = rg_catalogue_count(archive->catalogue, &query, &all, err);
    if (code == RG_OK) {
        json_t *rows = json_array();
        for (int i = 0; i < l.count; i++)
            json_array_append_new(rows, inspection_json(&l, i));
        rg_page_reply_json(reply, 200, json_pack("{s:i, s:o}", "all", all, "inspections", rows));
    }
    rg_catalogue_list_free(&l);
    return code;
}

/* ---------------------------------------------------------------- history */

static json_t *sweep_json(const rg_catalogue_sweep *r)
{
    char when[32];
    rg_archive_when(r->time, when);
    return json_pack("{s:s, s:s, s:s, s:s, s:i, s:s, s:i, s:o, s:o, s:o, s:o}", "bag", r->bag,
                     "pad", r->pad, "verdict", r->verdict, "time", when, "sequence", r->sequence,
                     "finger", r->finger, "seen", r->seen, "widest_mm", number(r->widest_mm),
                     "u_widest_mm", number(r->u_widest_mm), "widest_deg", number(r->widest_deg),
                     "tolerance_mm", number(r->tolerance_mm));
}

static rg_code find_sweeps(const rg_archive *archive, const rg_request *request,
                           rg_catalogue_sweeps *sweeps, rg_error *err)
{
    const rg_catalogue_query query = {.serial = asked(request, "serial"),
                                      .pad = asked(request, "pad")};
    if (!query.serial || strchr(query.serial, '*'))
        return rg_fail(err, RG_USAGE, "one serial is needed");
    rg_code code = rg_catalogue_sweeps_find(archive->catalogue, &query, sweeps, err);
    if (code == RG_OK && sweeps->count == 0)
        code = rg_fail(err, RG_NO_INPUT, "no such sweeps in the archive");
    return code;
}

static rg_code history(const rg_archive *archive, const rg_request *request, rg_reply *reply,
                       rg_error *err)
{
    rg_catalogue_sweeps sweeps = {0};
    rg_code code = find_sweeps(archive, request, &sweeps, err);
    if (code == RG_OK) {
        json_t *rows = json_array();
        for (int i = 0; i < sweeps.count; i++)
            json_array_append_new(rows, sweep_json(&sweeps.row[i]));
        rg_page_reply_json(reply, 200, json_pack("{s:o}", "sweeps", rows));
    }
    rg_catalogue_sweeps_free(&sweeps);
    return code;
}

static rg_code draw(const rg_catalogue_sweeps *s, rg_reply *reply, rg_error *err)
{
    rg_archive_settings settings;
    rg_bytes bytes = {0};
    rg_history_point *point = rg_alloc((size_t)s->count, sizeof *point);
    if (!point)
        return rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", s->count);
    for (int i = 0; i < s->count; i++) {
        const rg_catalogue_sweep *r = &s->row[i];
        point[i] = (rg_history_point){
            r->time, r->widest_mm, r->u_widest_mm, r->mean_mm, r->u_mean_mm, r->seen, 0, NULL};
        point[i].verdict = RG_VERDICT_UNDECIDED;
        rg_verdict_parse(r->verdict, &point[i].verdict);
    }
    rg_code code = rg_archive_settings_load(NULL, &settings, err);
    const rg_draw_history_args args = {.point = point,
                                       .count = s->count,
                                       .serial = s->row[0].serial,
                                       .pad = s->row[0].pad,
                                       .tolerance_mm = s->row[s->count - 1].tolerance_mm,
                                       .coverage_factor =
                                           code == RG_OK ? settings.change.coverage_factor : 0};
    if (code == RG_OK)
        code = rg_draw_history(&args, RG_PICTURE_SVG, &bytes, err);
    free(point);
    reply->type = "image/svg+xml";
    reply->bytes = bytes.data;
    reply->size = bytes.size;
    reply->policy = certificate_policy;
    return code;
}

static rg_code picture(const rg_archive *archive, const rg_request *request, rg_reply *reply,
                       rg_error *err)
{
    rg_catalogue_sweeps sweeps = {0};
    if (!asked(request, "pad") || strchr(asked(request, "pad"), '*'))
        return rg_fail(err, RG_USAGE, "one pad is needed");
    rg_code code = find_sweeps(archive, request, &sweeps, err);
    if (code == RG_OK)
        code = draw(&sweeps, reply, err);
    rg_catalogue_sweeps_free(&sweeps);
    return code;
}

/* ---------------------------------------------------------------- two visits */

typedef struct pair {
    rg_map_file map[2];
    char label[2][80];
    rg_change change;
    rg_archive_settings settings;
} pair;

/* The last sweep of the visit, and the last one before that visit. */
static bool find_pair(const rg_catalogue_sweeps *s, int visit, const rg_catalogue_sweep *found[2])
{
    found[0] = found[1] = NULL;
    for (int i = 0; i < s->count; i++) {
        if (s->row[i].sequence < visit)
            found[0] = &s->row[i];
        if (s->row[i].sequence == visit)
            found[1] = &s->row[i];
    }
    return found[0] && found[1];
}

static rg_code load_pair(const rg_archive *archive, const rg_catalogue_sweep *const found[2],
                         pair *p, rg_error *err)
{
    rg_code code = rg_archive_settings_load(NULL, &p->settings, err);
    for (int i = 0; code == RG_OK && i < 2; i++) {
        char when[32];
        rg_archive_when(found[i]->time, when);
        snprintf(p->label[i], sizeof p->label[i], "visit %d, %s", found[i]->sequence, when);
        code = rg_archive_map(archive, found[i]->bag, found[i]->name, &p->map[i], NULL, err);
    }
    if (code == RG_OK)
        code = rg_change_find(&p->map[0].map, &p->map[1].map, &p->settings.change, &p->change, err);
    return code;
}

static rg_code draw_pair(const pair *p, const rg_catalogue_sweep *after, rg_reply *reply,
                         rg_error *err)
{
    rg_bytes bytes = {0};
    const rg_draw_change_args args = {.before = &p->map[0].map,
                                      .after = &p->map[1].map,
                                      .change = &p->change,
                                      .serial = after->serial,
                                      .pad = after->pad,
                                      .before_label = p->label[0],
                                      .after_label = p->label[1],
                                      .tolerance_mm = p->map[1].tolerance_mm,
                                      .coverage_factor = p->settings.change.coverage_factor};
    rg_code code = rg_draw_change(&args, RG_PICTURE_SVG, &bytes, err);
    reply->type = "image/svg+xml";
    reply->bytes = bytes.data;
    reply->size = bytes.size;
    reply->policy = certificate_policy;
    return code;
}

static rg_code compare(const rg_archive *archive, const rg_request *request, rg_reply *reply,
                       rg_error *err)
{
    const char *visit = asked(request, "visit");
    const rg_catalogue_sweep *found[2];
    rg_catalogue_sweeps sweeps = {0};
    long number = 0;
    if (!asked(request, "pad") || strchr(asked(request, "pad"), '*') || !visit ||
        !rg_parse_int(visit, 1, 1000000, &number))
        return rg_fail(err, RG_USAGE, "one pad and the number of a visit are needed");
    pair *p = rg_alloc(1, sizeof *p);
    rg_code code = p ? find_sweeps(archive, request, &sweeps, err)
                     : rg_fail(err, RG_INTERNAL, "no memory to compare");
    if (code == RG_OK && !find_pair(&sweeps, (int)number, found))
        code = rg_fail(err, RG_NO_INPUT, "no visit before that one has a sweep of this pad");
    if (code == RG_OK)
        code = load_pair(archive, found, p, err);
    if (code == RG_OK)
        code = draw_pair(p, found[1], reply, err);
    rg_catalogue_sweeps_free(&sweeps);
    free(p);
    return code;
}

/* ---------------------------------------------------------------- certificate */

/* Where the evidence does not check, the certificate itself says so. */
static rg_code certificate(const rg_archive *archive, const rg_request *request, rg_reply *reply,
                           rg_error *err)
{
    char bag[RG_ARCHIVE_BAG];
    const char *word = asked(request, "bag");
    rg_archive_paper paper = {0};
    if (!word)
        return rg_fail(err, RG_USAGE, "which inspection? ?bag=SERIAL/NUMBER");
    rg_code code = rg_archive_resolve(archive, word, bag, err);
    if (code == RG_OK)
        code = rg_archive_certify(archive, bag, NULL, RG_CERTIFY_HTML, NULL, &paper, err);
    reply->bytes = paper.html.data;
    reply->size = paper.html.size;
    paper.html = (rg_bytes){0};
    rg_archive_paper_free(&paper);
    reply->type = "text/html; charset=utf-8";
    reply->policy = certificate_policy;
    return code;
}

/* ---------------------------------------------------------------- routes */

typedef rg_code question(const rg_archive *archive, const rg_request *request, rg_reply *reply,
                         rg_error *err);

static void ask(rg_bench_page *p, question *q, const rg_request *request, rg_reply *reply)
{
    rg_archive archive;
    rg_error err = {0};
    pthread_mutex_lock(&p->archive);
    rg_code code = rg_archive_read_index(&archive, rg_bench_archive(p->bench), &err);
    if (code == RG_OK) {
        code = q(&archive, request, reply, &err);
        rg_archive_close(&archive);
    }
    pthread_mutex_unlock(&p->archive);
    if (code != RG_OK)
        rg_page_reply_fault(reply, &err);
}

void rg_page_archive_list(void *context, const rg_request *request, rg_reply *reply)
{
    ask(context, list, request, reply);
}

void rg_page_archive_history(void *context, const rg_request *request, rg_reply *reply)
{
    ask(context, history, request, reply);
}

void rg_page_archive_picture(void *context, const rg_request *request, rg_reply *reply)
{
    ask(context, picture, request, reply);
}

void rg_page_archive_compare(void *context, const rg_request *request, rg_reply *reply)
{
    ask(context, compare, request, reply);
}

void rg_page_archive_certificate(void *context, const rg_request *request, rg_reply *reply)
{
    rg_bench_page *p = context;
    rg_archive archive;
    rg_error err = {0};
    pthread_mutex_lock(&p->archive);
    rg_code code = rg_archive_read(&archive, rg_bench_archive(p->bench), &err);
    if (code == RG_OK) {
        code = certificate(&archive, request, reply, &err);
        rg_archive_close(&archive);
    }
    pthread_mutex_unlock(&p->archive);
    if (code != RG_OK)
        rg_page_reply_fault(reply, &err);
}
