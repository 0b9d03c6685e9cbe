/*
 * catalogue_find.c - questions to the index.
 *
 * The WHERE clause is put together from constant pieces alone; what was asked for is bound. A text
 * with '*' becomes a GLOB pattern in which SQLite's other special characters are put into
 * brackets, where they stand for themselves.
 */
#include "catalogue_private.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"

enum { SQL_MAX = 2048, ASKED_MAX = 16 };

typedef struct asked {
    const char *text; /* borrowed; NULL: a number */
    int64_t number;
} asked;

typedef struct question {
    char sql[SQL_MAX];
    int parts;
    asked part[ASKED_MAX];
} question;

/* ---------------------------------------------------------------- building */

/* The pieces are constants of this file, whose sum fits. */
static void append(question *q, const char *constant)
{
    size_t used = strlen(q->sql);
    snprintf(q->sql + used, sizeof q->sql - used, "%s", constant);
}

static bool is_asked(const char *text)
{
    return text && *text;
}

static void ask_text(question *q, const char *column, const char *text)
{
    if (!is_asked(text))
        return;
    append(q, " AND ");
    append(q, column);
    append(q, strchr(text, '*') ? " GLOB ?" : " = ?");
    q->part[q->parts++] = (asked){.text = text};
}

static void ask_number(question *q, const char *constant, int64_t number)
{
    append(q, constant);
    q->part[q->parts++] = (asked){.number = number};
}

static void ask_inspection(question *q, const rg_catalogue_query *query)
{
    append(q, " WHERE 1");
    ask_text(q, "i.serial", query->serial);
    ask_text(q, "i.model", query->model);
    ask_text(q, "i.technician", query->technician);
    ask_text(q, "i.occasion", query->occasion);
    ask_text(q, "i.verdict", query->verdict);
    if (query->since)
        ask_number(q, " AND i.time >= ?", query->since);
    if (query->until)
        ask_number(q, " AND i.time < ?", query->until);
}

static void ask_pad(question *q, const rg_catalogue_query *query)
{
    ask_text(q, "p.pad", query->pad);
    ask_text(q, "p.verdict", query->pad_verdict);
    ask_text(q, "p.station", query->station);
}

/* Inspections with a pad that is all that was asked for. */
static void ask_some_pad(question *q, const rg_catalogue_query *query)
{
    if (!is_asked(query->pad) && !is_asked(query->pad_verdict) && !is_asked(query->station))
        return;
    append(q, " AND EXISTS (SELECT 1 FROM pad p WHERE p.inspection = i.id");
    ask_pad(q, query);
    append(q, ")");
}

static void ask_page(question *q, const rg_catalogue_query *query)
{
    if (query->limit <= 0 && query->offset <= 0)
        return;
    ask_number(q, " LIMIT ?", query->limit > 0 ? query->limit : -1);
    ask_number(q, " OFFSET ?", query->offset > 0 ? query->offset : 0);
}

/* ---------------------------------------------------------------- binding */

/* Owned by the caller (free()); NULL without memory. */
static char *glob_of(const char *text)
{
    char *glob = rg_alloc(strlen(text) + 1, 3), *to = glob;
    for (const char *p = text; glob && *p; p++) {
        if (*p == '?' || *p == '[') {
            *to++ = '[';
            *to++ = *p;
            *to++ = ']';
        } else if (*p != '*' || p == text || p[-1] != '*') {
            *to++ = *p;
        }
    }
    return glob;
}

static void bind_asked_text(rg_binder *to, const char *text)
{
    if (!strchr(text, '*')) {
        rg_bind_text(to, text, strlen(text) + 1);
        return;
    }
    char *glob = glob_of(text);
    if (glob)
        rg_bind_text(to, glob, strlen(glob) + 1);
    else
        to->rc = SQLITE_NOMEM;
    free(glob);
}

/* The statement, bound; finalized by the caller. */
static rg_code prepare(rg_catalogue *c, const question *q, rg_binder *to, rg_error *err)
{
    *to = (rg_binder){0};
    int rc = sqlite3_prepare_v2(c->db, q->sql, -1, &to->stmt, NULL);
    if (rc != SQLITE_OK)
        return rg_catalogue_fault(c, rc, err);
    for (int i = 0; i < q->parts; i++) {
        if (q->part[i].text)
            bind_asked_text(to, q->part[i].text);
        else
            rg_bind_int(to, q->part[i].number);
    }
    return RG_OK;
}

/* ---------------------------------------------------------------- inspections */

static void ask_for_rows(question *q, const rg_catalogue_query *query, bool oldest_first)
{
    append(q, "SELECT i.id, " RG_INSPECTION_COLUMNS " FROM inspection i");
    ask_inspection(q, query);
    ask_some_pad(q, query);
    append(q, oldest_first ? " ORDER BY i.time, i.bag" : " ORDER BY i.time DESC, i.bag DESC");
    ask_page(q, query);
}

/* Room for one row more in all arrays of the list. */
static bool widen(rg_catalogue_list *list)
{
    if (list->count & (list->count - 1))
        return true;
    if (list->count > INT_MAX / 2)
        return false;
    size_t n = list->count ? 2 * (size_t)list->count : 1;
    void *row = rg_grow(list->row, n, sizeof *list->row);
    list->row = row ? row : list->row;
    int **column[] = {&list->leaking, &list->undecided, &list->sealed, &list->swept};
    bool ok = row != NULL;
    for (int i = 0; i < 4; i++) {
        int *grown = rg_grow(*column[i], n, sizeof **column[i]);
        *column[i] = grown ? grown : *column[i];
        ok = ok && grown;
    }
    return ok;
}

/* Counts sweeps by verdict, and different pads; rows come in the order of pads. */
static rg_code count_pads(rg_catalogue *c, int64_t id, rg_catalogue_list *list, int at,
                          rg_error *err)
{
    rg_binder to;
    bool there = true;
    char before[RG_CATALOGUE_NAME];
    rg_code code = rg_catalogue_kept(c, RG_SQL_PAD_VERDICTS, &to, err);
    if (code != RG_OK)
        return code;
    rg_bind_int(&to, id);
    list->leaking[at] = list->undecided[at] = list->sealed[at] = list->swept[at] = 0;
    while ((code = rg_catalogue_step(c, &to, &there, err)) == RG_OK && there) {
        char pad[RG_CATALOGUE_NAME];
        rg_reader row = {.stmt = to.stmt};
        const char *verdict = rg_take_borrowed(&row);
        int *of = strcmp(verdict, "leaking") == 0  ? list->leaking
                  : strcmp(verdict, "sealed") == 0 ? list->sealed
                                                   : list->undecided;
        of[at]++;
        rg_take_text(&row, pad, sizeof pad);
        if (list->swept[at] == 0 || strcmp(pad, before) != 0)
            list->swept[at]++;
        memcpy(before, pad, sizeof before);
    }
    sqlite3_reset(to.stmt);
    return code;
}

static rg_code take_row(rg_catalogue *c, sqlite3_stmt *stmt, rg_catalogue_list *list, rg_error *err)
{
    if (!widen(list))
        return rg_catalogue_fault(c, SQLITE_NOMEM, err);
    rg_reader row = {.stmt = stmt};
    rg_catalogue_inspection *to = &list->row[list->count];
    *to = (rg_catalogue_inspection){0};
    int64_t id = rg_take_long(&row);
    rg_take_inspection(&row, to);
    return count_pads(c, id, list, list->count++, err);
}

static rg_code find(rg_catalogue *c, const rg_catalogue_query *query, rg_catalogue_list *list,
                    rg_error *err)
{
    question q = {0};
    rg_binder to;
    bool there = true;
    ask_for_rows(&q, query, query->oldest_first);
    rg_code code = prepare(c, &q, &to, err);
    while (code == RG_OK) {
        code = rg_catalogue_step(c, &to, &there, err);
        if (code != RG_OK || !there)
            break;
        code = take_row(c, to.stmt, list, err);
    }
    sqlite3_finalize(to.stmt);
    return code;
}

rg_code rg_catalogue_find(rg_catalogue *catalogue, const rg_catalogue_query *query,
                          rg_catalogue_list *list, rg_error *err)
{
    bool held;
    *list = (rg_catalogue_list){0};
    rg_code code = rg_catalogue_hold(catalogue, &held, err);
    if (code != RG_OK)
        return code;
    code = find(catalogue, query, list, err);
    rg_catalogue_let_go(catalogue, held);
    if (code != RG_OK)
        rg_catalogue_list_free(list);
    return code;
}

void rg_catalogue_list_free(rg_catalogue_list *list)
{
    free(list->row);
    free(list->leaking);
    free(list->undecided);
    free(list->sealed);
    free(list->swept);
    *list = (rg_catalogue_list){0};
}

rg_code rg_catalogue_count(rg_catalogue *catalogue, const rg_catalogue_query *query, int *count,
                           rg_error *err)
{
    question q = {0};
    rg_binder to;
    bool there = false;
    *count = 0;
    append(&q, "SELECT count(*) FROM inspection i");
    ask_inspection(&q, query);
    ask_some_pad(&q, query);
    rg_code code = prepare(catalogue, &q, &to, err);
    if (code == RG_OK)
        code = rg_catalogue_step(catalogue, &to, &there, err);
    if (code == RG_OK && there)
        *count = sqlite3_column_int(to.stmt, 0);
    sqlite3_finalize(to.stmt);
    return code;
}

/* ---------------------------------------------------------------- sweeps */

enum { TEXTS = 8 };

/* While rows come in, the block of texts may move: their places are kept as offsets. */
typedef struct sweeps_builder {
    rg_catalogue_sweeps *result;
    char *texts; /* owned */
    size_t used, room;
    size_t (*offset)[TEXTS]; /* owned; of each row */
} sweeps_builder;

static const char **text_of(rg_catalogue_sweep *row, int which)
{
    const char **member[TEXTS] = {&row->bag,  &row->serial,  &row->model,   &row->pad,
                                  &row->name, &row->verdict, &row->station, &row->finger};
    return member[which];
}

static bool add_text(sweeps_builder *b, const char *text, size_t *offset)
{
    size_t n = strlen(text) + 1;
    if (b->used + n > b->room) {
        size_t room = 2 * b->room + n + 4096;
        char *grown = rg_grow(b->texts, room, 1);
        if (!grown)
            return false;
        b->texts = grown;
        b->room = room;
    }
    memcpy(b->texts + b->used, text, n);
    *offset = b->used;
    b->used += n;
    return true;
}

static bool widen_sweeps(sweeps_builder *b)
{
    int count = b->result->count;
    if (count & (count - 1))
        return true;
    if (count > INT_MAX / 2)
        return false;
    size_t n = count ? 2 * (size_t)count : 1;
    void *row = rg_grow(b->result->row, n, sizeof *b->result->row);
    b->result->row = row ? row : b->result->row;
    void *offset = rg_grow(b->offset, n, sizeof *b->offset);
    b->offset = offset ? offset : b->offset;
    return row && offset;
}

/* A text that the row before has too, as most of an inspection, is stored once. */
static bool take_texts(sweeps_builder *b, rg_reader *row)
{
    int at = b->result->count;
    for (int t = 0; t < TEXTS; t++) {
        const char *text = rg_take_borrowed(row);
        const char *before = at > 0 ? b->texts + b->offset[at - 1][t] : NULL;
        if (before && strcmp(before, text) == 0)
            b->offset[at][t] = b->offset[at - 1][t];
        else if (!add_text(b, text, &b->offset[at][t]))
            return false;
    }
    return true;
}

static void take_numbers(rg_catalogue_sweep *to, rg_reader *row)
{
    to->sequence = rg_take_int(row, 0);
    to->position = rg_take_int(row, -1);
    to->time = rg_take_long(row);
    to->tolerance_mm = rg_take_real(row);
    to->widest_mm = rg_take_real(row);
    to->u_widest_mm = rg_take_real(row);
    to->widest_deg = rg_take_real(row);
    to->mean_mm = rg_take_real(row);
    to->u_mean_mm = rg_take_real(row);
    to->radiance = rg_take_real(row);
    to->u_radiance_ln = rg_take_real(row);
    to->psf_sigma_px = rg_take_real(row);
    to->calibration_day = rg_take_int(row, -1);
    to->seen = rg_take_int(row, 0);
}

static rg_code take_sweep(rg_catalogue *c, sqlite3_stmt *stmt, sweeps_builder *b, rg_error *err)
{
    rg_reader row = {.stmt = stmt};
    if (!widen_sweeps(b))
        return rg_catalogue_fault(c, SQLITE_NOMEM, err);
    b->result->row[b->result->count] = (rg_catalogue_sweep){0};
    if (!take_texts(b, &row))
        return rg_catalogue_fault(c, SQLITE_NOMEM, err);
    take_numbers(&b->result->row[b->result->count++], &row);
    return RG_OK;
}

static void ask_for_sweeps(question *q, const rg_catalogue_query *query)
{
    append(q,
           "SELECT i.bag, i.serial, i.model, p.pad, p.name, p.verdict, p.station, p.finger,"
           " i.sequence, p.position, i.time, p.tolerance_mm, p.widest_mm, p.u_widest_mm,"
           " p.widest_deg, p.mean_mm, p.u_mean_mm, p.radiance, p.u_radiance_ln, p.psf_sigma_px,"
           " p.calibration_day, p.seen FROM inspection i CROSS JOIN pad p ON p.inspection = i.id");
    ask_inspection(q, query);
    ask_pad(q, query);
    append(q, " ORDER BY i.time, i.bag, p.id");
    ask_page(q, query);
}

static rg_code find_sweeps(rg_catalogue *c, const rg_catalogue_query *query, sweeps_builder *b,
                           rg_error *err)
{
    question q = {0};
    rg_binder to;
    bool there = true;
    ask_for_sweeps(&q, query);
    rg_code code = prepare(c, &q, &to, err);
    while (code == RG_OK) {
        code = rg_catalogue_step(c, &to, &there, err);
        if (code != RG_OK || !there)
            break;
        code = take_sweep(c, to.stmt, b, err);
    }
    sqlite3_finalize(to.stmt);
    return code;
}

rg_code rg_catalogue_sweeps_find(rg_catalogue *catalogue, const rg_catalogue_query *query,
                                 rg_catalogue_sweeps *sweeps, rg_error *err)
{
    *sweeps = (rg_catalogue_sweeps){0};
    sweeps_builder b = {.result = sweeps};
    rg_code code = find_sweeps(catalogue, query, &b, err);
    sweeps->texts = b.texts;
    if (code != RG_OK)
        rg_catalogue_sweeps_free(sweeps);
    for (int i = 0; i < sweeps->count; i++)
        for (int t = 0; t < TEXTS; t++)
            *text_of(&sweeps->row[i], t) = b.texts + b.offset[i][t];
    free(b.offset);
    return code;
}

void rg_catalogue_sweeps_free(rg_catalogue_sweeps *sweeps)
{
    free(sweeps->row);
    free(sweeps->texts);
    *sweeps = (rg_catalogue_sweeps){0};
}

/* ---------------------------------------------------------------- one after the other */

static rg_code visit_bag(rg_catalogue *c, const char *bag, rg_catalogue_visit *visit, void *context,
                         rg_error *err)
{
    rg_catalogue_inspection inspection;
    rg_code code = rg_catalogue_get(c, bag, &inspection, err);
    if (code != RG_OK)
        return code;
    code = visit(context, &inspection, err);
    rg_catalogue_inspection_free(&inspection);
    return code;
}

static rg_code each(rg_catalogue *c, const rg_catalogue_query *query, rg_catalogue_visit *visit,
                    void *context, rg_error *err)
{
    question q = {0};
    rg_binder to;
    bool there = true;
    append(&q, "SELECT bag FROM inspection i");
    ask_inspection(&q, query);
    ask_some_pad(&q, query);
    append(&q,
           query->oldest_first ? " ORDER BY i.time, i.bag" : " ORDER BY i.time DESC, i.bag DESC");
    ask_page(&q, query);
    rg_code code = prepare(c, &q, &to, err);
    while (code == RG_OK) {
        code = rg_catalogue_step(c, &to, &there, err);
        if (code != RG_OK || !there)
            break;
        code = visit_bag(c, (const char *)sqlite3_column_text(to.stmt, 0), visit, context, err);
    }
    sqlite3_finalize(to.stmt);
    return code;
}

rg_code rg_catalogue_each(rg_catalogue *c, const rg_catalogue_query *query,
                          rg_catalogue_visit *visit, void *context, rg_error *err)
{
    bool held;
    rg_code code = rg_catalogue_hold(c, &held, err);
    if (code != RG_OK)
        return code;
    code = each(c, query, visit, context, err);
    rg_catalogue_let_go(c, held);
    return code;
}
