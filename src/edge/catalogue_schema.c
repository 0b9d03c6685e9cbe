/*
 * catalogue_schema.c - the tables of the index and how older files become present ones.
 *
 * script[v - 1] makes version v from version v - 1; version 0 is an empty file. A script that has
 * been released is never changed: a new version is a new script at the end. The number stands in
 * SQLite's user_version, and application_id says whose file it is.
 *
 * A damaged or doctored file may have the right numbers and other tables, so what was opened is
 * compared, statement by statement, with the tables that the scripts make in memory.
 */
#include "catalogue_private.h"

#include <string.h>

/* "RGlw" */
#define APPLICATION_ID 1380412535

static const char tables[] =
    "PRAGMA application_id = 1380412535;"
    "CREATE TABLE serial (serial TEXT NOT NULL PRIMARY KEY) STRICT, WITHOUT ROWID;"
    "CREATE TABLE inspection ("
    " id INTEGER PRIMARY KEY,"
    " bag TEXT NOT NULL UNIQUE CHECK (bag <> ''),"
    " serial TEXT NOT NULL REFERENCES serial (serial),"
    " model TEXT NOT NULL,"
    " sequence INTEGER NOT NULL CHECK (sequence >= 1),"
    " time INTEGER NOT NULL CHECK (time BETWEEN 0 AND 253402300799)," /* 1970 to 9999 */
    " technician TEXT NOT NULL,"
    " occasion TEXT NOT NULL,"
    " note TEXT NOT NULL,"
    " software TEXT NOT NULL,"
    " verdict TEXT NOT NULL CHECK (verdict IN ('sealed', 'leaking', 'undecided')),"
    " pads_of_model INTEGER NOT NULL CHECK (pads_of_model >= 0),"
    " manifest TEXT NOT NULL,"
    " tagmanifest TEXT NOT NULL,"
    " previous_manifest TEXT NOT NULL,"
    " key TEXT NOT NULL,"
    " files INTEGER NOT NULL CHECK (files >= 0),"
    " bytes INTEGER NOT NULL CHECK (bytes >= 0)"
    ") STRICT;"
    "CREATE INDEX inspection_of_serial ON inspection (serial, time, bag);"
    "CREATE TABLE pad ("
    " id INTEGER PRIMARY KEY,"
    " inspection INTEGER NOT NULL REFERENCES inspection (id) ON DELETE CASCADE,"
    " name TEXT NOT NULL CHECK (name <> ''),"
    " pad TEXT NOT NULL,"
    " position INTEGER CHECK (position >= 0),"
    " verdict TEXT NOT NULL CHECK (verdict IN ('sealed', 'leaking', 'undecided')),"
    " finger TEXT NOT NULL,"
    " grams REAL,"
    " tolerance_mm REAL,"
    " seen INTEGER NOT NULL CHECK (seen BETWEEN 0 AND 360),"
    " widest_mm REAL,"
    " u_widest_mm REAL,"
    " widest_deg REAL,"
    " mean_mm REAL,"
    " u_mean_mm REAL,"
    " station TEXT NOT NULL,"
    " calibration_day INTEGER CHECK (calibration_day >= 0),"
    " calibrated INTEGER NOT NULL CHECK (calibrated IN (0, 1)),"
    " radiance REAL,"
    " u_radiance_ln REAL,"
    " psf_sigma_px REAL,"
    " frames_used INTEGER NOT NULL CHECK (frames_used >= 0),"
    " frames_given INTEGER NOT NULL CHECK (frames_given >= 0),"
    " UNIQUE (inspection, name)"
    ") STRICT;"
    "CREATE TABLE arc ("
    " pad INTEGER NOT NULL REFERENCES pad (id) ON DELETE CASCADE,"
    " number INTEGER NOT NULL CHECK (number >= 0),"
    " start_deg REAL,"
    " end_deg REAL,"
    " centre_deg REAL,"
    " extent_deg REAL,"
    " extent_mm REAL,"
    " max_width_mm REAL,"
    " u_max_mm REAL,"
    " max_bearing_deg REAL,"
    " open_area_mm2 REAL,"
    " PRIMARY KEY (pad, number)"
    ") STRICT, WITHOUT ROWID;"
    "CREATE TABLE setup_value ("
    " inspection INTEGER NOT NULL REFERENCES inspection (id) ON DELETE CASCADE,"
    " number INTEGER NOT NULL CHECK (number >= 0),"
    " quantity TEXT NOT NULL,"
    " unit TEXT NOT NULL,"
    " measured_with TEXT NOT NULL,"
    " value REAL,"
    " u REAL,"
    " PRIMARY KEY (inspection, number)"
    ") STRICT, WITHOUT ROWID;"
    "PRAGMA user_version = 1;";

/* For the questions: by date over all serials, and by what a pad was found to be without reading
 * the pads' rows. */
static const char question_indexes[] =
    "CREATE INDEX inspection_by_time ON inspection (time, bag);"
    "CREATE INDEX pad_by_answer ON pad (inspection, pad, verdict, station);"
    "PRAGMA user_version = 2;";

static const char *const script[] = {tables, question_indexes};

enum { PRESENT = (int)(sizeof script / sizeof script[0]) };

bool rg_catalogue_is_present(int version)
{
    return version == PRESENT;
}

static rg_code not_this(const rg_catalogue *c, int64_t id, rg_error *err)
{
    return rg_fail(err, RG_BAD_DATA,
                   "%s: is a database of another program (application id %lld), not the archive's "
                   "index; move it away, then `rimglow archive reindex` makes the index from the "
                   "bags",
                   c->path, (long long)id);
}

static rg_code judge(const rg_catalogue *c, int64_t id, int64_t version, int64_t objects,
                     rg_error *err)
{
    if (id == 0 && version == 0 && objects == 0)
        return RG_OK;
    if (id != APPLICATION_ID)
        return not_this(c, id, err);
    if (version > PRESENT)
        return rg_fail(
            err, RG_BAD_DATA,
            "%s: was written by a newer rimglow (index version %lld, this one knows %d); "
            "use the newer program, or make the index again with `rimglow archive "
            "reindex`",
            c->path, (long long)version, PRESENT);
    if (version < 1)
        return rg_fail(err, RG_BAD_DATA,
                       "%s: the index version %lld does not exist, the file is damaged; `rimglow "
                       "archive reindex` makes it again from the bags",
                       c->path, (long long)version);
    return RG_OK;
}

rg_code rg_catalogue_identify(rg_catalogue *c, int *version, rg_error *err)
{
    static const char sql[] = "SELECT application_id, user_version,"
                              " (SELECT count(*) FROM sqlite_schema)"
                              " FROM pragma_application_id, pragma_user_version";
    rg_binder question = {0};
    bool there = false;
    int rc = sqlite3_prepare_v2(c->db, sql, -1, &question.stmt, NULL);
    rg_code code = rc == SQLITE_OK ? rg_catalogue_step(c, &question, &there, err)
                                   : rg_catalogue_fault(c, rc, err);
    if (code == RG_OK) {
        int64_t found = sqlite3_column_int64(question.stmt, 1);
        code = judge(c, sqlite3_column_int64(question.stmt, 0), found,
                     sqlite3_column_int64(question.stmt, 2), err);
        *version = (int)found;
    }
    sqlite3_finalize(question.stmt);
    return code;
}

/* One version up, in one transaction; another process may have done it meanwhile. */
static rg_code migrate_once(rg_catalogue *c, int *version, rg_error *err)
{
    rg_code code = rg_catalogue_run(c, "BEGIN IMMEDIATE", err);
    if (code != RG_OK)
        return code;
    code = rg_catalogue_identify(c, version, err);
    if (code == RG_OK && *version < PRESENT) {
        code = rg_catalogue_run(c, script[*version], err);
        *version += code == RG_OK;
    }
    if (code == RG_OK)
        code = rg_catalogue_run(c, "COMMIT", err);
    if (code != RG_OK)
        sqlite3_exec(c->db, "ROLLBACK", NULL, NULL, NULL);
    return code;
}

rg_code rg_catalogue_migrate(rg_catalogue *c, rg_error *err)
{
    int version = 0;
    rg_code code = rg_catalogue_identify(c, &version, err);
    while (code == RG_OK && version < PRESENT)
        code = migrate_once(c, &version, err);
    return code;
}

/* ---------------------------------------------------------------- what the tables must be */

/* The SQL of a table or index in the file, compared with what it must be. */
static rg_code compare_object(rg_catalogue *c, sqlite3_stmt *find, const char *name,
                              const char *sql, rg_error *err)
{
    rg_binder question = {.stmt = find};
    bool there = false;
    sqlite3_reset(find);
    question.rc = sqlite3_bind_text(find, 1, name, -1, SQLITE_STATIC);
    rg_code code = rg_catalogue_step(c, &question, &there, err);
    if (code != RG_OK)
        return code;
    const char *found = there ? (const char *)sqlite3_column_text(find, 0) : NULL;
    if (found && strcmp(found, sql) == 0)
        return RG_OK;
    return rg_fail(
        err, RG_BAD_DATA,
        "%s: its part %s is %s; `rimglow archive reindex` makes the index again from the "
        "bags",
        c->path, name, there ? "not as this program makes it" : "missing");
}

static rg_code compare_objects(rg_catalogue *c, sqlite3 *model, rg_error *err)
{
    sqlite3_stmt *all = NULL, *find = NULL;
    rg_code code = RG_OK;
    int rc = sqlite3_prepare_v2(model, "SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL",
                                -1, &all, NULL);
    if (rc == SQLITE_OK)
        rc = sqlite3_prepare_v2(c->db, "SELECT sql FROM sqlite_schema WHERE name = ?", -1, &find,
                                NULL);
    if (rc != SQLITE_OK)
        code = rg_catalogue_fault(c, rc, err);
    while (code == RG_OK && sqlite3_step(all) == SQLITE_ROW)
        code = compare_object(c, find, (const char *)sqlite3_column_text(all, 0),
                              (const char *)sqlite3_column_text(all, 1), err);
    sqlite3_finalize(all);
    sqlite3_finalize(find);
    return code;
}

/* The index has no triggers; a strange one would run with every change. */
static rg_code refuse_triggers(rg_catalogue *c, rg_error *err)
{
    rg_binder question = {0};
    bool there = false;
    int rc =
        sqlite3_prepare_v2(c->db, "SELECT name FROM sqlite_schema WHERE type = 'trigger' LIMIT 1",
                           -1, &question.stmt, NULL);
    rg_code code = rc == SQLITE_OK ? rg_catalogue_step(c, &question, &there, err)
                                   : rg_catalogue_fault(c, rc, err);
    if (code == RG_OK && there)
        code = rg_fail(err, RG_BAD_DATA,
                       "%s: holds a trigger, %.60s, which this program does not make; `rimglow "
                       "archive reindex` makes the index again from the bags",
                       c->path, (const char *)sqlite3_column_text(question.stmt, 0));
    sqlite3_finalize(question.stmt);
    return code;
}

rg_code rg_catalogue_check_schema(rg_catalogue *c, rg_error *err)
{
    sqlite3 *model = NULL;
    int rc = sqlite3_open_v2("model", &model,
                             SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_MEMORY, NULL);
    for (int v = 0; rc == SQLITE_OK && v < PRESENT; v++)
        rc = sqlite3_exec(model, script[v], NULL, NULL, NULL);
    rg_code code = rc == SQLITE_OK ? compare_objects(c, model, err)
                                   : rg_fail(err, RG_INTERNAL, "%s: the tables cannot be made: %s",
                                             c->path, sqlite3_errstr(rc));
    sqlite3_close(model);
    return code == RG_OK ? refuse_triggers(c, err) : code;
}
