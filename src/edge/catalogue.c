/*
 * catalogue.c - opening, closing and transactions of the index; SQLite's failures as errors.
 *
 * A file is looked at before anything is changed in it: a database of another program must stay as
 * it is. Files are opened by URI with every special byte encoded, since an SQLite built with
 * SQLITE_USE_URI (Debian's is) would take a name like "file:x?mode=memory" for one.
 */
#include "catalogue_private.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rimglow/memory.h"

enum { WAIT_MS = 10000 };

/* ---------------------------------------------------------------- errors */

static rg_code fault_of_writing(const rg_catalogue *c, const char *cause, rg_error *err)
{
    if (c->read_only)
        return rg_fail(err, RG_NO_INPUT,
                       "%s: was not closed properly and cannot be mended where nothing may be "
                       "written (%s); copy the archive to a disk that can be written",
                       c->path, cause);
    return rg_fail(err, RG_CANT_CREATE,
                   "%s: may not be written (%s); check the rights of the file and of its folder",
                   c->path, cause);
}

static rg_code fault_of_opening(const rg_catalogue *c, const char *cause, rg_error *err)
{
    return rg_fail(
        err, c->read_only ? RG_NO_INPUT : RG_CANT_CREATE,
        "%s: cannot be opened (%s); check the name, and the rights of the file and of its "
        "folder",
        c->path, cause);
}

rg_code rg_catalogue_fault(const rg_catalogue *c, int rc, rg_error *err)
{
    const char *cause = c->db ? sqlite3_errmsg(c->db) : sqlite3_errstr(rc);
    switch (rc & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return rg_fail(err, RG_IO,
                       "%s: another program holds the index (%s); wait until it has ended and try "
                       "again",
                       c->path, cause);
    case SQLITE_FULL:
        return rg_fail(err, RG_IO, "%s: the disk is full (%s); free some space and try again",
                       c->path, cause);
    case SQLITE_IOERR:
        return rg_fail(err, RG_IO,
                       "%s: reading or writing failed (%s); check the disk, then `rimglow archive "
                       "reindex`",
                       c->path, cause);
    case SQLITE_READONLY:
        return fault_of_writing(c, cause, err);
    case SQLITE_CANTOPEN:
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return fault_of_opening(c, cause, err);
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
    case SQLITE_FORMAT:
        return rg_fail(err, RG_BAD_DATA,
                       "%s: is damaged or no index (%s); `rimglow archive reindex` makes it again "
                       "from the bags",
                       c->path, cause);
    case SQLITE_CONSTRAINT:
    case SQLITE_MISMATCH:
    case SQLITE_TOOBIG:
        return rg_fail(err, RG_BAD_DATA,
                       "%s: a row does not fit the index (%s); correct the record it comes from",
                       c->path, cause);
    case SQLITE_NOMEM:
        return rg_fail(err, RG_INTERNAL, "%s: out of memory; close other programs and try again",
                       c->path);
    default:
        return rg_fail(err, RG_INTERNAL,
                       "%s: the index answers %d (%s); try `rimglow archive "
                       "reindex`",
                       c->path, rc, cause);
    }
}

rg_code rg_catalogue_run(rg_catalogue *c, const char *sql, rg_error *err)
{
    int rc = sqlite3_exec(c->db, sql, NULL, NULL, NULL);
    return rc == SQLITE_OK ? RG_OK : rg_catalogue_fault(c, rc, err);
}

/* ---------------------------------------------------------------- opening */

static bool is_plain(char byte)
{
    return (byte >= 'a' && byte <= 'z') || (byte >= 'A' && byte <= 'Z') ||
           (byte >= '0' && byte <= '9') || strchr("-._~/", byte);
}

/* "file:" URI (RFC 3986) of a path, owned by the caller; NULL without memory. An absolute path
 * follows an empty authority, a relative one "./", so that no path is taken for anything else. */
static char *uri_of(const char *path, const char *query)
{
    const char *head = *path == '/' ? "file://" : "file:./";
    size_t used = strlen(head);
    char *uri = rg_alloc(used + 3 * strlen(path) + strlen(query) + 2, 1);
    if (!uri)
        return NULL;
    memcpy(uri, head, used);
    for (const char *p = path; *p; p++) {
        if (is_plain(*p))
            uri[used++] = *p;
        else
            used += (size_t)snprintf(uri + used, 4, "%%%02X", (unsigned char)*p);
    }
    snprintf(uri + used, strlen(query) + 2, "?%s", query);
    return uri;
}

static int configure(sqlite3 *db)
{
    sqlite3_extended_result_codes(db, 1);
    int rc = sqlite3_busy_timeout(db, WAIT_MS);
    if (rc == SQLITE_OK)
        rc = sqlite3_db_config(db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    if (rc == SQLITE_OK)
        rc = sqlite3_db_config(db, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
    if (rc == SQLITE_OK)
        rc = sqlite3_db_config(db, SQLITE_DBCONFIG_ENABLE_FKEY, 1, NULL);
    if (rc == SQLITE_OK)
        rc = sqlite3_exec(db, "PRAGMA synchronous = FULL; PRAGMA cell_size_check = ON", NULL, NULL,
                          NULL);
    return rc;
}

static rg_code connect_with(rg_catalogue *c, const char *query, rg_error *err)
{
    char *uri = uri_of(c->path, query);
    if (!uri)
        return rg_catalogue_fault(c, SQLITE_NOMEM, err);
    sqlite3_close(c->db);
    c->db = NULL;
    int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_URI;
    int rc = sqlite3_open_v2(uri, &c->db, flags, NULL);
    free(uri);
    if (rc == SQLITE_OK)
        rc = configure(c->db);
    if (rc == SQLITE_OK && c->read_only)
        rc = sqlite3_exec(c->db, "PRAGMA query_only = ON", NULL, NULL, NULL);
    return rc == SQLITE_OK ? RG_OK : rg_catalogue_fault(c, rc, err);
}

/* A missing file is one that can be made; anything else must be a regular file. */
static rg_code look_for(const rg_catalogue *c, bool *there, rg_error *err)
{
    struct stat st;
    *there = stat(c->path, &st) == 0;
    if (!*there && errno != ENOENT)
        return fault_of_opening(c, strerror(errno), err);
    if (*there && !S_ISREG(st.st_mode))
        return fault_of_opening(c, "not a regular file", err);
    return RG_OK;
}

/* ---- for writing ---- */

/* What one program has written another must be able to read at the same time; where the file
 * system has no shared memory, SQLite stays with its rollback journal, which is as safe. */
static void use_wal(rg_catalogue *c)
{
    sqlite3_exec(c->db, "PRAGMA journal_mode = WAL", NULL, NULL, NULL);
}

static rg_code open_to_write(rg_catalogue *c, rg_error *err)
{
    bool there;
    rg_code code = look_for(c, &there, err);
    if (code == RG_OK)
        code = connect_with(c, "mode=rwc", err);
    /* SQLite opens what it may not write for reading, without a word. */
    if (code == RG_OK && sqlite3_db_readonly(c->db, "main") == 1)
        code = fault_of_writing(c, "it is read-only", err);
    if (code == RG_OK)
        code = rg_catalogue_migrate(c, err);
    if (code == RG_OK)
        use_wal(c);
    return code;
}

/* ---- for reading ---- */

/* Changes that a crash has left beside the file would be missed by reading the file alone. */
static bool has_unmerged_changes(const rg_catalogue *c)
{
    struct stat st;
    size_t size = strlen(c->path) + sizeof "-journal";
    char *beside = rg_alloc(size, 1);
    bool found = !beside;
    static const char *const end[] = {"-wal", "-journal"};
    for (int i = 0; i < 2 && !found; i++) {
        snprintf(beside, size, "%s%s", c->path, end[i]);
        found = stat(beside, &st) == 0 && st.st_size > 0;
    }
    free(beside);
    return found;
}

static rg_code try_to_read(rg_catalogue *c, const char *query, int *version, rg_error *err)
{
    rg_code code = connect_with(c, query, err);
    return code == RG_OK ? rg_catalogue_identify(c, version, err) : code;
}

/* A connection that may not write leaves SQLite's files of WAL behind when it closes, so one that
 * may is taken, with writing switched off (query_only).
 *
 * WAL needs a file of shared memory beside the index. Where none can be made, nobody writes, so
 * the file can be read as it stands. */
static rg_code identify_to_read(rg_catalogue *c, int *version, rg_error *err)
{
    bool may_write = access(c->path, W_OK) == 0;
    rg_code code = try_to_read(c, may_write ? "mode=rw" : "mode=ro", version, err);
    if (code == RG_OK || !c->db)
        return code;
    int rc = sqlite3_errcode(c->db) & 0xff;
    bool no_room = rc == SQLITE_CANTOPEN || rc == SQLITE_READONLY;
    if (!no_room || has_unmerged_changes(c))
        return code;
    return try_to_read(c, "mode=ro&immutable=1", version, err);
}

/* An older file that may not be written is brought up to date in memory. */
static rg_code migrate_copy(rg_catalogue *c, rg_error *err)
{
    sqlite3 *copy = NULL;
    int rc = sqlite3_open_v2("copy", &copy,
                             SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_MEMORY, NULL);
    sqlite3_backup *backup =
        rc == SQLITE_OK ? sqlite3_backup_init(copy, "main", c->db, "main") : NULL;
    if (backup) {
        sqlite3_backup_step(backup, -1);
        rc = sqlite3_backup_finish(backup);
    }
    if (rc == SQLITE_OK)
        rc = configure(copy);
    if (rc != SQLITE_OK || !backup) {
        rg_code code = rg_fail(err, RG_INTERNAL,
                               "%s: cannot be copied into memory (%s); open the "
                               "archive once where it can be written",
                               c->path, sqlite3_errstr(rc));
        sqlite3_close(copy);
        return code;
    }
    sqlite3_close(c->db);
    c->db = copy;
    return rg_catalogue_migrate(c, err);
}

static rg_code open_to_read(rg_catalogue *c, rg_error *err)
{
    bool there;
    int version = 0;
    rg_code code = look_for(c, &there, err);
    if (code == RG_OK && !there)
        return rg_fail(err, RG_NO_INPUT,
                       "%s: there is no index; name the archive's folder, or make the index with "
                       "`rimglow archive reindex`",
                       c->path);
    if (code == RG_OK)
        code = identify_to_read(c, &version, err);
    if (code != RG_OK)
        return code;
    /* As another program that is just making it leaves it for a moment. */
    if (version == 0)
        return rg_fail(err, RG_NO_INPUT,
                       "%s: is empty; `rimglow archive reindex` makes the index from the bags",
                       c->path);
    return rg_catalogue_is_present(version) ? RG_OK : migrate_copy(c, err);
}

rg_code rg_catalogue_open(const char *path, rg_catalogue_mode mode, rg_catalogue **catalogue,
                          rg_error *err)
{
    *catalogue = NULL;
    rg_catalogue *c = rg_alloc(1, sizeof *c);
    if (c)
        c->path = strdup(path);
    if (!c || !c->path) {
        free(c);
        return rg_fail(err, RG_INTERNAL, "%s: out of memory; close other programs and try again",
                       path);
    }
    c->read_only = mode == RG_CATALOGUE_READ;
    rg_code code = c->read_only ? open_to_read(c, err) : open_to_write(c, err);
    if (code == RG_OK)
        code = rg_catalogue_check_schema(c, err);
    if (code == RG_OK)
        *catalogue = c;
    else
        rg_catalogue_close(c);
    return code;
}

void rg_catalogue_close(rg_catalogue *catalogue)
{
    if (!catalogue)
        return;
    for (int i = 0; i < RG_STATEMENTS; i++)
        sqlite3_finalize(catalogue->kept[i]);
    sqlite3_close(catalogue->db);
    free(catalogue->path);
    free(catalogue);
}

/* ---------------------------------------------------------------- transactions */

rg_code rg_catalogue_begin(rg_catalogue *catalogue, rg_error *err)
{
    if (catalogue->begun)
        return rg_fail(err, RG_INTERNAL, "%s: a transaction is open already", catalogue->path);
    rg_code code = rg_catalogue_run(catalogue, "BEGIN IMMEDIATE", err);
    catalogue->begun = code == RG_OK;
    return code;
}

rg_code rg_catalogue_end(rg_catalogue *catalogue, bool commit, rg_error *err)
{
    if (!catalogue->begun)
        return rg_fail(err, RG_INTERNAL, "%s: no transaction is open", catalogue->path);
    catalogue->begun = false;
    /* After a full disk SQLite may have taken everything back by itself. */
    bool lost = sqlite3_get_autocommit(catalogue->db) != 0;
    if (lost)
        return commit ? rg_fail(err, RG_IO,
                                "%s: an earlier failure has taken all changes back; mend its cause "
                                "and try again",
                                catalogue->path)
                      : RG_OK;
    rg_code code = rg_catalogue_run(catalogue, commit ? "COMMIT" : "ROLLBACK", err);
    if (code != RG_OK)
        sqlite3_exec(catalogue->db, "ROLLBACK", NULL, NULL, NULL);
    return code;
}

rg_code rg_catalogue_hold(rg_catalogue *c, bool *held, rg_error *err)
{
    *held = false;
    if (!sqlite3_get_autocommit(c->db))
        return RG_OK;
    rg_code code = rg_catalogue_run(c, "BEGIN", err);
    *held = code == RG_OK;
    return code;
}

void rg_catalogue_let_go(rg_catalogue *c, bool held)
{
    if (held)
        sqlite3_exec(c->db, "COMMIT", NULL, NULL, NULL);
}
