/*
 * catalogue_dump.c - the whole content as text, and the check of the file.
 *
 * A line is the table's name and its columns, each quoted as an SQL literal, so that no text can
 * look like another. Row ids are left out: they say only in which order the rows came in.
 */
#include "catalogue_private.h"

#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"

/* The columns of the text, the rows in an order that their content alone gives. */
static const char *const dump_sql[] = {
    "SELECT 'serial', serial FROM serial ORDER BY serial",
    "SELECT 'inspection', " RG_INSPECTION_COLUMNS " FROM inspection ORDER BY bag",
    "SELECT 'pad', bag, " RG_PAD_COLUMNS
    " FROM (SELECT i.bag, p.* FROM inspection i JOIN pad p ON p.inspection = i.id)"
    " ORDER BY bag, name",
    "SELECT 'arc', bag, name, number, " RG_ARC_COLUMNS " FROM (SELECT i.bag, p.name, a.* FROM"
    " inspection i JOIN pad p ON p.inspection = i.id JOIN arc a ON a.pad = p.id)"
    " ORDER BY bag, name, number",
    "SELECT 'value', bag, number, " RG_VALUE_COLUMNS
    " FROM (SELECT i.bag, v.* FROM inspection i JOIN setup_value v ON v.inspection = i.id)"
    " ORDER BY bag, number",
};

/* ---------------------------------------------------------------- numbers */

void rg_catalogue_number(double value, char text[RG_CATALOGUE_NUMBER])
{
    text[0] = 0;
    if (!isfinite(value))
        return;
    for (int digits = 15; digits <= 17; digits++) {
        snprintf(text, RG_CATALOGUE_NUMBER, "%.*g", digits, value);
        if (strtod(text, NULL) == value)
            break;
    }
    const char *sign = localeconv()->decimal_point;
    char *point = strstr(text, sign);
    if (point && strcmp(sign, ".") != 0) {
        size_t n = strlen(sign);
        *point = '.';
        memmove(point + 1, point + n, strlen(point + n) + 1);
    }
}

/* ---------------------------------------------------------------- dump */

static void dump_column(sqlite3_str *to, sqlite3_stmt *row, int column)
{
    char number[RG_CATALOGUE_NUMBER];
    switch (sqlite3_column_type(row, column)) {
    case SQLITE_NULL:
        sqlite3_str_appendall(to, "NULL");
        break;
    case SQLITE_INTEGER:
        sqlite3_str_appendf(to, "%lld", sqlite3_column_int64(row, column));
        break;
    case SQLITE_FLOAT:
        rg_catalogue_number(sqlite3_column_double(row, column), number);
        sqlite3_str_appendall(to, number);
        break;
    default:
        sqlite3_str_appendf(to, "%Q", sqlite3_column_text(row, column));
    }
}

static rg_code dump_table(rg_catalogue *c, const char *sql, sqlite3_str *to, rg_error *err)
{
    rg_binder rows = {0};
    bool there = true;
    int rc = sqlite3_prepare_v2(c->db, sql, -1, &rows.stmt, NULL);
    rg_code code = rc == SQLITE_OK ? RG_OK : rg_catalogue_fault(c, rc, err);
    while (code == RG_OK) {
        code = rg_catalogue_step(c, &rows, &there, err);
        if (code != RG_OK || !there)
            break;
        sqlite3_str_appendall(to, (const char *)sqlite3_column_text(rows.stmt, 0));
        for (int i = 1; i < sqlite3_column_count(rows.stmt); i++) {
            sqlite3_str_appendchar(to, 1, i == 1 ? ' ' : ',');
            dump_column(to, rows.stmt, i);
        }
        sqlite3_str_appendchar(to, 1, '\n');
        if (sqlite3_str_errcode(to) != SQLITE_OK)
            code = rg_catalogue_fault(c, sqlite3_str_errcode(to), err);
    }
    sqlite3_finalize(rows.stmt);
    return code;
}

/* SQLite's memory is its own; what callers free() comes from malloc(). */
static rg_code hand_over(const rg_catalogue *c, sqlite3_str *from, char **text, rg_error *err)
{
    size_t n = (size_t)sqlite3_str_length(from);
    *text = rg_alloc(n + 1, 1);
    if (!*text)
        return rg_catalogue_fault(c, SQLITE_NOMEM, err);
    if (n > 0)
        memcpy(*text, sqlite3_str_value(from), n);
    return RG_OK;
}

rg_code rg_catalogue_dump(rg_catalogue *catalogue, char **text, rg_error *err)
{
    bool held;
    *text = NULL;
    rg_code code = rg_catalogue_hold(catalogue, &held, err);
    if (code != RG_OK)
        return code;
    sqlite3_str *to = sqlite3_str_new(catalogue->db);
    for (size_t i = 0; code == RG_OK && i < sizeof dump_sql / sizeof *dump_sql; i++)
        code = dump_table(catalogue, dump_sql[i], to, err);
    rg_catalogue_let_go(catalogue, held);
    if (code == RG_OK)
        code = hand_over(catalogue, to, text, err);
    sqlite3_free(sqlite3_str_finish(to));
    return code;
}

/* ---------------------------------------------------------------- check */

rg_code rg_catalogue_check(rg_catalogue *catalogue, rg_error *err)
{
    static const char integrity[] = "SELECT integrity_check FROM pragma_integrity_check(1)"
                                    " WHERE integrity_check <> 'ok'";
    static const char keys[] = "SELECT 'a row of ' || \"table\" || ' belongs to no row of ' ||"
                               " parent FROM pragma_foreign_key_check LIMIT 1";
    static const char *const sql[] = {integrity, keys};
    rg_code code = RG_OK;
    for (int i = 0; i < 2 && code == RG_OK; i++) {
        rg_binder found = {0};
        bool there = false;
        int rc = sqlite3_prepare_v2(catalogue->db, sql[i], -1, &found.stmt, NULL);
        code = rc == SQLITE_OK ? rg_catalogue_step(catalogue, &found, &there, err)
                               : rg_catalogue_fault(catalogue, rc, err);
        if (code == RG_OK && there)
            code = rg_fail(err, RG_BAD_DATA,
                           "%s: %.300s; `rimglow archive reindex` makes the index again from the "
                           "bags",
                           catalogue->path, (const char *)sqlite3_column_text(found.stmt, 0));
        sqlite3_finalize(found.stmt);
    }
    return code;
}
