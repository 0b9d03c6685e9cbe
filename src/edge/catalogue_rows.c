/*
 * catalogue_rows.c - inspections in and out of the tables.
 *
 * Every value is bound, never written into SQL. A change is a savepoint of its own within the
 * transaction, so that one that fails half way leaves nothing behind and the others stay.
 */
#include "catalogue_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/text.h"

static const char *const sql_of[RG_STATEMENTS] = {
    [RG_SQL_ADD_SERIAL] = "INSERT INTO serial (serial) VALUES (?) ON CONFLICT DO NOTHING",
    [RG_SQL_DROP_SERIAL] = "DELETE FROM serial WHERE serial = ?1"
                           " AND NOT EXISTS (SELECT 1 FROM inspection WHERE serial = ?1)",
    [RG_SQL_SERIAL_OF] = "SELECT serial FROM inspection WHERE bag = ?",
    [RG_SQL_ADD_INSPECTION] = "INSERT INTO inspection (" RG_INSPECTION_COLUMNS
                              ") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    [RG_SQL_DROP_INSPECTION] = "DELETE FROM inspection WHERE bag = ?",
    [RG_SQL_ADD_PAD] =
        "INSERT INTO pad (inspection, " RG_PAD_COLUMNS
        ") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    [RG_SQL_ADD_ARC] = "INSERT INTO arc (pad, number, " RG_ARC_COLUMNS
                       ") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    [RG_SQL_ADD_VALUE] = "INSERT INTO setup_value (inspection, number, " RG_VALUE_COLUMNS
                         ") VALUES (?, ?, ?, ?, ?, ?, ?)",
    [RG_SQL_GET_INSPECTION] = "SELECT id, " RG_INSPECTION_COLUMNS " FROM inspection WHERE bag = ?",
    [RG_SQL_GET_PADS] = "SELECT id, " RG_PAD_COLUMNS " FROM pad WHERE inspection = ? ORDER BY id",
    [RG_SQL_GET_ARCS] = "SELECT " RG_ARC_COLUMNS " FROM arc WHERE pad = ? ORDER BY number",
    [RG_SQL_GET_VALUES] =
        "SELECT " RG_VALUE_COLUMNS " FROM setup_value WHERE inspection = ? ORDER BY number",
    [RG_SQL_PAD_VERDICTS] = "SELECT verdict, pad FROM pad WHERE inspection = ? ORDER BY pad",
};

/* ---------------------------------------------------------------- binding */

rg_code rg_catalogue_kept(rg_catalogue *c, rg_statement which, rg_binder *to, rg_error *err)
{
    sqlite3_stmt **kept = &c->kept[which];
    *to = (rg_binder){0};
    if (!*kept) {
        int rc =
            sqlite3_prepare_v3(c->db, sql_of[which], -1, SQLITE_PREPARE_PERSISTENT, kept, NULL);
        if (rc != SQLITE_OK)
            return rg_catalogue_fault(c, rc, err);
    }
    sqlite3_reset(*kept);
    sqlite3_clear_bindings(*kept);
    to->stmt = *kept;
    return RG_OK;
}

static void note(rg_binder *to, int rc)
{
    if (to->rc == SQLITE_OK)
        to->rc = rc;
}

void rg_bind_text(rg_binder *to, const char *text, size_t size)
{
    size_t n = strnlen(text, size ? size - 1 : 0);
    char *clean = sqlite3_malloc64(n + 1);
    to->at++;
    if (!clean) {
        note(to, SQLITE_NOMEM);
        return;
    }
    memcpy(clean, text, n);
    clean[n] = 0;
    for (char *p = clean; *p;) {
        size_t length = rg_utf8_length(p, 4);
        if (length == 0)
            *p = '?';
        p += length ? length : 1;
    }
    note(to, sqlite3_bind_text64(to->stmt, to->at, clean, n, sqlite3_free, SQLITE_UTF8));
}

void rg_bind_int(rg_binder *to, int64_t value)
{
    note(to, sqlite3_bind_int64(to->stmt, ++to->at, value));
}

void rg_bind_null(rg_binder *to)
{
    note(to, sqlite3_bind_null(to->stmt, ++to->at));
}

void rg_bind_real(rg_binder *to, double value)
{
    if (isfinite(value))
        note(to, sqlite3_bind_double(to->stmt, ++to->at, value));
    else
        rg_bind_null(to);
}

/* -1 is "not known". */
static void bind_known(rg_binder *to, int value)
{
    if (value >= 0)
        rg_bind_int(to, value);
    else
        rg_bind_null(to);
}

rg_code rg_catalogue_step(rg_catalogue *c, rg_binder *bound, bool *there, rg_error *err)
{
    int rc = bound->rc == SQLITE_OK ? sqlite3_step(bound->stmt) : bound->rc;
    *there = rc == SQLITE_ROW;
    return rc == SQLITE_ROW || rc == SQLITE_DONE ? RG_OK : rg_catalogue_fault(c, rc, err);
}

rg_code rg_catalogue_execute(rg_catalogue *c, rg_binder *bound, rg_error *err)
{
    bool there;
    rg_code code = rg_catalogue_step(c, bound, &there, err);
    sqlite3_reset(bound->stmt);
    return code;
}

/* ---------------------------------------------------------------- reading */

const char *rg_take_borrowed(rg_reader *from)
{
    const char *text = (const char *)sqlite3_column_text(from->stmt, from->at++);
    return text ? text : "";
}

/* What does not fit (only in a file made by others) is cut between characters. */
void rg_take_text(rg_reader *from, char *to, size_t size)
{
    const char *text = rg_take_borrowed(from);
    if (rg_copy_text(to, size, text))
        return;
    size_t n = size - 1;
    while (n > 0 && ((unsigned char)text[n] & 0xC0) == 0x80)
        n--;
    to[n] = 0;
}

int rg_take_int(rg_reader *from, int if_null)
{
    int at = from->at++;
    bool null = sqlite3_column_type(from->stmt, at) == SQLITE_NULL;
    return null ? if_null : sqlite3_column_int(from->stmt, at);
}

int64_t rg_take_long(rg_reader *from)
{
    return sqlite3_column_int64(from->stmt, from->at++);
}

double rg_take_real(rg_reader *from)
{
    int at = from->at++;
    bool null = sqlite3_column_type(from->stmt, at) == SQLITE_NULL;
    return null ? NAN : sqlite3_column_double(from->stmt, at);
}

#define BIND(to, field)   rg_bind_text(to, field, sizeof(field))
#define TAKE(from, field) rg_take_text(from, field, sizeof(field))

/* ---------------------------------------------------------------- one row and its struct */

static void bind_inspection(rg_binder *to, const rg_catalogue_inspection *i)
{
    BIND(to, i->bag);
    BIND(to, i->serial);
    BIND(to, i->model);
    rg_bind_int(to, i->sequence);
    rg_bind_int(to, i->time);
    BIND(to, i->technician);
    BIND(to, i->occasion);
    BIND(to, i->note);
    BIND(to, i->software);
    BIND(to, i->verdict);
    rg_bind_int(to, i->pads_of_model);
    BIND(to, i->manifest);
    BIND(to, i->tagmanifest);
    BIND(to, i->previous_manifest);
    BIND(to, i->key);
    rg_bind_int(to, i->files);
    rg_bind_int(to, i->bytes);
}

void rg_take_inspection(rg_reader *from, rg_catalogue_inspection *to)
{
    TAKE(from, to->bag);
    TAKE(from, to->serial);
    TAKE(from, to->model);
    to->sequence = rg_take_int(from, 0);
    to->time = rg_take_long(from);
    TAKE(from, to->technician);
    TAKE(from, to->occasion);
    TAKE(from, to->note);
    TAKE(from, to->software);
    TAKE(from, to->verdict);
    to->pads_of_model = rg_take_int(from, 0);
    TAKE(from, to->manifest);
    TAKE(from, to->tagmanifest);
    TAKE(from, to->previous_manifest);
    TAKE(from, to->key);
    to->files = rg_take_long(from);
    to->bytes = rg_take_long(from);
}

static void bind_pad(rg_binder *to, const rg_catalogue_pad *p)
{
    BIND(to, p->name);
    BIND(to, p->pad);
    bind_known(to, p->position);
    BIND(to, p->verdict);
    BIND(to, p->finger);
    rg_bind_real(to, p->grams);
    rg_bind_real(to, p->tolerance_mm);
    rg_bind_int(to, p->seen);
    rg_bind_real(to, p->widest_mm);
    rg_bind_real(to, p->u_widest_mm);
    rg_bind_real(to, p->widest_deg);
    rg_bind_real(to, p->mean_mm);
    rg_bind_real(to, p->u_mean_mm);
    BIND(to, p->station);
    bind_known(to, p->calibration_day);
    rg_bind_int(to, p->calibrated);
    rg_bind_real(to, p->radiance);
    rg_bind_real(to, p->u_radiance_ln);
    rg_bind_real(to, p->psf_sigma_px);
    rg_bind_int(to, p->frames_used);
    rg_bind_int(to, p->frames_given);
}

static void take_pad(rg_reader *from, rg_catalogue_pad *to)
{
    TAKE(from, to->name);
    TAKE(from, to->pad);
    to->position = rg_take_int(from, -1);
    TAKE(from, to->verdict);
    TAKE(from, to->finger);
    to->grams = rg_take_real(from);
    to->tolerance_mm = rg_take_real(from);
    to->seen = rg_take_int(from, 0);
    to->widest_mm = rg_take_real(from);
    to->u_widest_mm = rg_take_real(from);
    to->widest_deg = rg_take_real(from);
    to->mean_mm = rg_take_real(from);
    to->u_mean_mm = rg_take_real(from);
    TAKE(from, to->station);
    to->calibration_day = rg_take_int(from, -1);
    to->calibrated = rg_take_int(from, 0) != 0;
    to->radiance = rg_take_real(from);
    to->u_radiance_ln = rg_take_real(from);
    to->psf_sigma_px = rg_take_real(from);
    to->frames_used = rg_take_int(from, 0);
    to->frames_given = rg_take_int(from, 0);
}

static void bind_arc(rg_binder *to, const rg_catalogue_arc *a)
{
    rg_bind_real(to, a->start_deg);
    rg_bind_real(to, a->end_deg);
    rg_bind_real(to, a->centre_deg);
    rg_bind_real(to, a->extent_deg);
    rg_bind_real(to, a->extent_mm);
    rg_bind_real(to, a->max_width_mm);
    rg_bind_real(to, a->u_max_mm);
    rg_bind_real(to, a->max_bearing_deg);
    rg_bind_real(to, a->open_area_mm2);
}

static void take_arc(rg_reader *from, rg_catalogue_arc *to)
{
    to->start_deg = rg_take_real(from);
    to->end_deg = rg_take_real(from);
    to->centre_deg = rg_take_real(from);
    to->extent_deg = rg_take_real(from);
    to->extent_mm = rg_take_real(from);
    to->max_width_mm = rg_take_real(from);
    to->u_max_mm = rg_take_real(from);
    to->max_bearing_deg = rg_take_real(from);
    to->open_area_mm2 = rg_take_real(from);
}

static void bind_value(rg_binder *to, const rg_catalogue_value *v)
{
    BIND(to, v->quantity);
    BIND(to, v->unit);
    BIND(to, v->with);
    rg_bind_real(to, v->value);
    rg_bind_real(to, v->u);
}

static void take_value(rg_reader *from, rg_catalogue_value *to)
{
    TAKE(from, to->quantity);
    TAKE(from, to->unit);
    TAKE(from, to->with);
    to->value = rg_take_real(from);
    to->u = rg_take_real(from);
}

/* ---------------------------------------------------------------- changes */

static rg_code open_change(rg_catalogue *c, rg_error *err)
{
    if (!c->begun)
        return rg_catalogue_run(c, "BEGIN IMMEDIATE", err);
    if (sqlite3_get_autocommit(c->db))
        return rg_fail(err, RG_IO,
                       "%s: an earlier failure has taken all changes back; mend its cause and try "
                       "again",
                       c->path);
    return rg_catalogue_run(c, "SAVEPOINT change", err);
}

/* Ends what open_change began; a failure of the change itself keeps its text. */
static rg_code close_change(rg_catalogue *c, rg_code code, rg_error *err)
{
    if (code == RG_OK) {
        code = rg_catalogue_run(c, c->begun ? "RELEASE change" : "COMMIT", err);
        if (code == RG_OK)
            return RG_OK;
    }
    sqlite3_exec(c->db, c->begun ? "ROLLBACK TO change; RELEASE change" : "ROLLBACK", NULL, NULL,
                 NULL);
    return code;
}

static rg_code drop_serial(rg_catalogue *c, const char *serial, size_t size, rg_error *err)
{
    rg_binder to;
    rg_code code = rg_catalogue_kept(c, RG_SQL_DROP_SERIAL, &to, err);
    if (code != RG_OK)
        return code;
    rg_bind_text(&to, serial, size);
    return rg_catalogue_execute(c, &to, err);
}

/* Removes an inspection with all its rows, and its serial when it was the last of it. */
static rg_code drop(rg_catalogue *c, const char *bag, size_t size, bool *there, rg_error *err)
{
    rg_binder to;
    char serial[RG_CATALOGUE_NAME] = "";
    rg_code code = rg_catalogue_kept(c, RG_SQL_SERIAL_OF, &to, err);
    if (code != RG_OK)
        return code;
    rg_bind_text(&to, bag, size);
    code = rg_catalogue_step(c, &to, there, err);
    if (code == RG_OK && *there)
        rg_take_text(&(rg_reader){.stmt = to.stmt}, serial, sizeof serial);
    sqlite3_reset(to.stmt);
    if (code != RG_OK || !*there)
        return code;
    code = rg_catalogue_kept(c, RG_SQL_DROP_INSPECTION, &to, err);
    if (code != RG_OK)
        return code;
    rg_bind_text(&to, bag, size);
    code = rg_catalogue_execute(c, &to, err);
    return code == RG_OK ? drop_serial(c, serial, sizeof serial, err) : code;
}

static rg_code add_arcs(rg_catalogue *c, const rg_catalogue_pad *pad, int64_t pad_id, rg_error *err)
{
    rg_binder to;
    rg_code code = RG_OK;
    for (int i = 0; i < pad->arcs && code == RG_OK; i++) {
        code = rg_catalogue_kept(c, RG_SQL_ADD_ARC, &to, err);
        if (code != RG_OK)
            return code;
        rg_bind_int(&to, pad_id);
        rg_bind_int(&to, i);
        bind_arc(&to, &pad->arc[i]);
        code = rg_catalogue_execute(c, &to, err);
    }
    return code;
}

static rg_code add_pads(rg_catalogue *c, const rg_catalogue_inspection *inspection, int64_t id,
                        rg_error *err)
{
    rg_binder to;
    rg_code code = RG_OK;
    for (int i = 0; i < inspection->pads && code == RG_OK; i++) {
        code = rg_catalogue_kept(c, RG_SQL_ADD_PAD, &to, err);
        if (code != RG_OK)
            return code;
        rg_bind_int(&to, id);
        bind_pad(&to, &inspection->pad[i]);
        code = rg_catalogue_execute(c, &to, err);
        if (code == RG_OK)
            code = add_arcs(c, &inspection->pad[i], sqlite3_last_insert_rowid(c->db), err);
    }
    return code;
}

static rg_code add_values(rg_catalogue *c, const rg_catalogue_inspection *inspection, int64_t id,
                          rg_error *err)
{
    rg_binder to;
    rg_code code = RG_OK;
    for (int i = 0; i < inspection->values && code == RG_OK; i++) {
        code = rg_catalogue_kept(c, RG_SQL_ADD_VALUE, &to, err);
        if (code != RG_OK)
            return code;
        rg_bind_int(&to, id);
        rg_bind_int(&to, i);
        bind_value(&to, &inspection->value[i]);
        code = rg_catalogue_execute(c, &to, err);
    }
    return code;
}

static rg_code add(rg_catalogue *c, const rg_catalogue_inspection *inspection, rg_error *err)
{
    rg_binder to;
    rg_code code = rg_catalogue_kept(c, RG_SQL_ADD_SERIAL, &to, err);
    if (code != RG_OK)
        return code;
    BIND(&to, inspection->serial);
    code = rg_catalogue_execute(c, &to, err);
    if (code == RG_OK)
        code = rg_catalogue_kept(c, RG_SQL_ADD_INSPECTION, &to, err);
    if (code != RG_OK)
        return code;
    bind_inspection(&to, inspection);
    code = rg_catalogue_execute(c, &to, err);
    int64_t id = sqlite3_last_insert_rowid(c->db);
    if (code == RG_OK)
        code = add_pads(c, inspection, id, err);
    return code == RG_OK ? add_values(c, inspection, id, err) : code;
}

rg_code rg_catalogue_put(rg_catalogue *catalogue, const rg_catalogue_inspection *inspection,
                         rg_error *err)
{
    bool there;
    rg_code code = open_change(catalogue, err);
    if (code != RG_OK)
        return code;
    code = drop(catalogue, inspection->bag, sizeof inspection->bag, &there, err);
    if (code == RG_OK)
        code = add(catalogue, inspection, err);
    if (code == RG_BAD_DATA)
        rg_fail_prefix(err, inspection->bag);
    return close_change(catalogue, code, err);
}

rg_code rg_catalogue_remove(rg_catalogue *catalogue, const char *bag, rg_error *err)
{
    bool there = false;
    rg_code code = open_change(catalogue, err);
    if (code != RG_OK)
        return code;
    code = drop(catalogue, bag, strlen(bag) + 1, &there, err);
    if (code == RG_OK && !there)
        code = rg_fail(err, RG_NO_INPUT, "%s: has no inspection %s; check the name of the bag",
                       catalogue->path, bag);
    return close_change(catalogue, code, err);
}

rg_code rg_catalogue_clear(rg_catalogue *catalogue, rg_error *err)
{
    rg_code code = open_change(catalogue, err);
    if (code != RG_OK)
        return code;
    code = rg_catalogue_run(catalogue,
                            "DELETE FROM arc; DELETE FROM setup_value; DELETE FROM pad;"
                            "DELETE FROM inspection; DELETE FROM serial",
                            err);
    return close_change(catalogue, code, err);
}

/* ---------------------------------------------------------------- one inspection */

/* Room for one more element of an array that doubles. */
static rg_code more_room(const rg_catalogue *c, void **array, int count, size_t size, rg_error *err)
{
    if (count & (count - 1))
        return RG_OK;
    void *grown = rg_grow(*array, (size_t)(count ? 2 * (size_t)count : 1), size);
    if (!grown)
        return rg_catalogue_fault(c, SQLITE_NOMEM, err);
    *array = grown;
    return RG_OK;
}

/* Takes one row into what owns it. */
typedef rg_code take_row(rg_catalogue *c, rg_reader *row, void *owner, rg_error *err);

static rg_code each_row(rg_catalogue *c, rg_statement which, int64_t id, take_row *take,
                        void *owner, rg_error *err)
{
    rg_binder to;
    bool there = true;
    rg_code code = rg_catalogue_kept(c, which, &to, err);
    if (code != RG_OK)
        return code;
    rg_bind_int(&to, id);
    while (code == RG_OK) {
        code = rg_catalogue_step(c, &to, &there, err);
        if (code != RG_OK || !there)
            break;
        code = take(c, &(rg_reader){.stmt = to.stmt}, owner, err);
    }
    sqlite3_reset(to.stmt);
    return code;
}

static rg_code get_arc(rg_catalogue *c, rg_reader *row, void *owner, rg_error *err)
{
    rg_catalogue_pad *pad = owner;
    void *arcs = (void *)pad->arc;
    rg_code code = more_room(c, &arcs, pad->arcs, sizeof *pad->arc, err);
    pad->arc = arcs;
    if (code == RG_OK)
        take_arc(row, (rg_catalogue_arc *)arcs + pad->arcs++);
    return code;
}

static rg_code get_pad(rg_catalogue *c, rg_reader *row, void *owner, rg_error *err)
{
    rg_catalogue_inspection *i = owner;
    rg_code code = more_room(c, (void **)&i->pad, i->pads, sizeof *i->pad, err);
    if (code != RG_OK)
        return code;
    rg_catalogue_pad *pad = &i->pad[i->pads++];
    *pad = (rg_catalogue_pad){0};
    int64_t pad_id = rg_take_long(row);
    take_pad(row, pad);
    return each_row(c, RG_SQL_GET_ARCS, pad_id, get_arc, pad, err);
}

static rg_code get_value(rg_catalogue *c, rg_reader *row, void *owner, rg_error *err)
{
    rg_catalogue_inspection *i = owner;
    rg_code code = more_room(c, (void **)&i->value, i->values, sizeof *i->value, err);
    if (code == RG_OK)
        take_value(row, &i->value[i->values++]);
    return code;
}

static rg_code get(rg_catalogue *c, const char *bag, rg_catalogue_inspection *i, rg_error *err)
{
    rg_binder to;
    bool there = false;
    int64_t id = 0;
    rg_code code = rg_catalogue_kept(c, RG_SQL_GET_INSPECTION, &to, err);
    if (code != RG_OK)
        return code;
    rg_bind_text(&to, bag, strlen(bag) + 1);
    code = rg_catalogue_step(c, &to, &there, err);
    if (code == RG_OK && there) {
        rg_reader row = {.stmt = to.stmt};
        id = rg_take_long(&row);
        rg_take_inspection(&row, i);
    }
    sqlite3_reset(to.stmt);
    if (code == RG_OK && !there)
        code = rg_fail(err, RG_NO_INPUT, "%s: has no inspection %s; check the name of the bag",
                       c->path, bag);
    if (code == RG_OK)
        code = each_row(c, RG_SQL_GET_PADS, id, get_pad, i, err);
    return code == RG_OK ? each_row(c, RG_SQL_GET_VALUES, id, get_value, i, err) : code;
}

rg_code rg_catalogue_get(rg_catalogue *catalogue, const char *bag,
                         rg_catalogue_inspection *inspection, rg_error *err)
{
    bool held;
    *inspection = (rg_catalogue_inspection){0};
    rg_code code = rg_catalogue_hold(catalogue, &held, err);
    if (code != RG_OK)
        return code;
    code = get(catalogue, bag, inspection, err);
    rg_catalogue_let_go(catalogue, held);
    if (code != RG_OK)
        rg_catalogue_inspection_free(inspection);
    return code;
}

void rg_catalogue_inspection_free(rg_catalogue_inspection *inspection)
{
    for (int i = 0; i < inspection->pads; i++)
        free((void *)inspection->pad[i].arc);
    free(inspection->pad);
    free(inspection->value);
    *inspection = (rg_catalogue_inspection){0};
}
