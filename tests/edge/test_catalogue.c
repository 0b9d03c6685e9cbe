/*
 * Tests of catalogue.h: rows in and out, transactions, files that are not what they should be. The
 * questions are in test_catalogue_find.c. What other programs see is asked with SQLite's own
 * interface.
 */
#include <criterion/criterion.h>
#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "rimglow/catalogue.h"
#include "rimglow/file.h"
#include "support/scene.h"
#include "support/scratch.h"
#include "support/visits.h"

static char folder[TEST_SCRATCH_PATH], path[TEST_SCRATCH_PATH + 32];
static rg_catalogue *catalogue;
static rg_error err;
static test_visit visit;

static void begin(void)
{
    cr_assert(test_scratch_make(folder));
    snprintf(path, sizeof path, "%s/index.sqlite", folder);
}

static void finish(void)
{
    rg_catalogue_close(catalogue);
    catalogue = NULL;
    test_scratch_remove(folder);
}

TestSuite(catalogue, .init = begin, .fini = finish);

static rg_code open_index(rg_catalogue_mode mode)
{
    rg_catalogue_close(catalogue);
    err = (rg_error){0};
    return rg_catalogue_open(path, mode, &catalogue, &err);
}

static void must(rg_code code)
{
    cr_assert_eq(code, RG_OK, "%d: %s", code, err.text);
}

static void put_visits(int from, int to, int total)
{
    for (int i = from; i < to; i++) {
        test_visit_make(&visit, i, total, 7);
        must(rg_catalogue_put(catalogue, &visit.row, &err));
    }
}

static int count_all(void)
{
    int count = -1;
    must(rg_catalogue_count(catalogue, &(rg_catalogue_query){0}, &count, &err));
    return count;
}

static char *dump(void)
{
    char *text = NULL;
    must(rg_catalogue_dump(catalogue, &text, &err));
    return text;
}

/* One number, asked with SQLite alone. */
static long long outside(const char *sql)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *stmt = NULL;
    long long number = -1;
    cr_assert_eq(sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    cr_assert_eq(sqlite3_prepare_v2(db, sql, -1, &stmt, NULL), SQLITE_OK, "%s", sqlite3_errmsg(db));
    if (sqlite3_step(stmt) == SQLITE_ROW)
        number = sqlite3_column_int64(stmt, 0);
    sqlite3_finalize(stmt);
    sqlite3_close(db);
    return number;
}

static int change_outside(const char *sql)
{
    sqlite3 *db = NULL;
    int rc = sqlite3_open(path, &db);
    if (rc == SQLITE_OK)
        rc = sqlite3_exec(db, sql, NULL, NULL, NULL);
    sqlite3_close(db);
    return rc;
}

static bool same_number(double a, double b)
{
    return isnan(a) ? isnan(b) : a == b;
}

/* ---------------------------------------------------------------- rows */

#define SAME_TEXT(field) cr_expect_str_eq(a->field, b->field)
#define SAME_INT(field)                                                                            \
    cr_expect_eq(a->field, b->field, #field ": %lld, %lld", (long long)a->field,                   \
                 (long long)b->field)
#define SAME_REAL(field)                                                                           \
    cr_expect(same_number(a->field, b->field), #field ": %.17g, %.17g", a->field, b->field)

static void expect_same_arc(const rg_catalogue_arc *a, const rg_catalogue_arc *b)
{
    SAME_REAL(start_deg);
    SAME_REAL(end_deg);
    SAME_REAL(centre_deg);
    SAME_REAL(extent_deg);
    SAME_REAL(extent_mm);
    SAME_REAL(max_width_mm);
    SAME_REAL(u_max_mm);
    SAME_REAL(max_bearing_deg);
    SAME_REAL(open_area_mm2);
}

static void expect_same_pad(const rg_catalogue_pad *a, const rg_catalogue_pad *b)
{
    SAME_TEXT(name);
    SAME_TEXT(pad);
    SAME_INT(position);
    SAME_TEXT(verdict);
    SAME_TEXT(finger);
    SAME_REAL(grams);
    SAME_REAL(tolerance_mm);
    SAME_INT(seen);
    SAME_REAL(widest_mm);
    SAME_REAL(u_widest_mm);
    SAME_REAL(widest_deg);
    SAME_REAL(mean_mm);
    SAME_REAL(u_mean_mm);
    SAME_TEXT(station);
    SAME_INT(calibration_day);
    SAME_INT(calibrated);
    SAME_REAL(radiance);
    SAME_REAL(u_radiance_ln);
    SAME_REAL(psf_sigma_px);
    SAME_INT(frames_used);
    SAME_INT(frames_given);
    cr_assert_eq(a->arcs, b->arcs);
    for (int i = 0; i < a->arcs; i++)
        expect_same_arc(&a->arc[i], &b->arc[i]);
}

static void expect_same_value(const rg_catalogue_value *a, const rg_catalogue_value *b)
{
    SAME_TEXT(quantity);
    SAME_TEXT(unit);
    SAME_TEXT(with);
    SAME_REAL(value);
    SAME_REAL(u);
}

static void expect_same(const rg_catalogue_inspection *a, const rg_catalogue_inspection *b)
{
    SAME_TEXT(bag);
    SAME_TEXT(serial);
    SAME_TEXT(model);
    SAME_INT(sequence);
    SAME_INT(time);
    SAME_TEXT(technician);
    SAME_TEXT(occasion);
    SAME_TEXT(note);
    SAME_TEXT(software);
    SAME_TEXT(verdict);
    SAME_INT(pads_of_model);
    SAME_TEXT(manifest);
    SAME_TEXT(tagmanifest);
    SAME_TEXT(previous_manifest);
    SAME_TEXT(key);
    SAME_INT(files);
    SAME_INT(bytes);
    cr_assert_eq(a->pads, b->pads);
    cr_assert_eq(a->values, b->values);
    for (int i = 0; i < a->pads; i++)
        expect_same_pad(&a->pad[i], &b->pad[i]);
    for (int i = 0; i < a->values; i++)
        expect_same_value(&a->value[i], &b->value[i]);
}

static void expect_stored(const rg_catalogue_inspection *row)
{
    rg_catalogue_inspection got;
    must(rg_catalogue_get(catalogue, row->bag, &got, &err));
    expect_same(&got, row);
    rg_catalogue_inspection_free(&got);
}

/* Every member differs from every other, so that no two columns can change places unseen. */
static void make_every_member_different(test_visit *v)
{
    double n = 0.1;
    test_visit_make(v, 3, 10, 7);
    snprintf(v->row.key, sizeof v->row.key, "0123456789abcdef");
    snprintf(v->row.previous_manifest, sizeof v->row.previous_manifest, "%064d", 7);
    v->row.pads_of_model = 23;
    v->row.sequence = 4;
    v->row.files = 4000000000;
    v->row.bytes = 5000000000000;
    rg_catalogue_pad *p = &v->pad[0];
    snprintf(p->finger, sizeof p->finger, "grams");
    double *real[] = {&p->grams,         &p->tolerance_mm, &p->widest_mm, &p->u_widest_mm,
                      &p->widest_deg,    &p->mean_mm,      &p->u_mean_mm, &p->radiance,
                      &p->u_radiance_ln, &p->psf_sigma_px};
    for (size_t i = 0; i < sizeof real / sizeof *real; i++)
        *real[i] = n += 1.0 / 3;
    p->position = 11;
    p->seen = 359;
    p->calibration_day = 20000;
    p->frames_used = 28;
    p->frames_given = 31;
    p->arcs = 2;
    for (int a = 0; a < 2; a++) {
        double *first = &v->arc[0][a].start_deg;
        for (size_t i = 0; i < sizeof v->arc[0][a] / sizeof *first; i++)
            first[i] = n += 1.0 / 7;
    }
    v->pad[1].arcs = 0;
    v->pad[1].position = v->pad[1].calibration_day = -1;
    v->pad[1].calibrated = false;
    v->pad[1].grams = v->pad[1].radiance = v->pad[1].tolerance_mm = NAN;
}

Test(catalogue, every_member_comes_back_as_it_went_in)
{
    must(open_index(RG_CATALOGUE_WRITE));
    make_every_member_different(&visit);
    must(rg_catalogue_put(catalogue, &visit.row, &err));
    expect_stored(&visit.row);
    must(open_index(RG_CATALOGUE_READ));
    expect_stored(&visit.row);
    must(rg_catalogue_check(catalogue, &err));
}

Test(catalogue, columns_hold_what_their_names_say)
{
    must(open_index(RG_CATALOGUE_WRITE));
    make_every_member_different(&visit);
    must(rg_catalogue_put(catalogue, &visit.row, &err));
    cr_expect_eq(outside("SELECT files = 4000000000 AND bytes = 5000000000000 AND sequence = 4 AND "
                         "pads_of_model = 23 AND key = '0123456789abcdef' FROM inspection"),
                 1);
    cr_expect_eq(outside("SELECT count(*) FROM pad WHERE grams IS NULL AND position IS NULL AND "
                         "calibration_day IS NULL AND radiance IS NULL AND calibrated = 0"),
                 1);
    cr_expect_eq(outside("SELECT frames_used * 100 + frames_given FROM pad WHERE finger = 'grams'"),
                 2831);
    cr_expect_eq(outside("SELECT count(*) FROM inspection JOIN serial USING (serial)"), 1);
    cr_expect_eq(outside("SELECT count(*) FROM arc JOIN pad ON pad.id = arc.pad WHERE name = "
                         "'01-high-F' AND start_deg < end_deg"),
                 2);
    cr_expect_eq(outside("PRAGMA user_version"), 2);
    /* WAL: file format 2 in bytes 18 and 19 (SQLite's "Database File Format", 1.3). */
    unsigned char head[20];
    FILE *f = fopen(path, "rb");
    cr_assert(f && fread(head, 1, sizeof head, f) == sizeof head);
    fclose(f);
    cr_expect(head[18] == 2 && head[19] == 2);
}

Test(catalogue, numbers_that_are_not_finite_come_back_as_nan)
{
    must(open_index(RG_CATALOGUE_WRITE));
    test_visit_make(&visit, 0, 1, 7);
    visit.pad[0].radiance = INFINITY;
    visit.pad[0].mean_mm = -INFINITY;
    visit.pad[0].widest_mm = 5e-324;
    visit.pad[0].u_mean_mm = -0.0;
    must(rg_catalogue_put(catalogue, &visit.row, &err));
    rg_catalogue_inspection got;
    must(rg_catalogue_get(catalogue, visit.row.bag, &got, &err));
    cr_expect(isnan(got.pad[0].radiance) && isnan(got.pad[0].mean_mm));
    cr_expect_eq(got.pad[0].widest_mm, 5e-324);
    rg_catalogue_inspection_free(&got);
}

#define INJECTION "'; DROP TABLE inspection; --"

static void fill_text(char *to, size_t size, const char *text)
{
    snprintf(to, size, "%s", text);
}

#define FILL(field, text) fill_text(field, sizeof field, text)

Test(catalogue, texts_that_look_like_sql_are_only_texts)
{
    static const char *const evil[] = {
        INJECTION,
        "\"); DELETE FROM pad; --",
        "x' OR '1'='1",
        "?1 :a @b $c",
        "%s%n%Q",
        "a\nb\tc\\",
        "\xE2\x80\x98quoted\xE2\x80\x99 \xE7\xAA\x93 \xF0\x9F\x8E\xB7",
        "[a-z]?*"};
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(50, 60, 60);
    for (size_t i = 0; i < sizeof evil / sizeof *evil; i++) {
        test_visit_make(&visit, (int)i, 60, 7);
        FILL(visit.row.bag, evil[i]);
        FILL(visit.row.serial, evil[i]);
        FILL(visit.row.model, evil[i]);
        FILL(visit.row.technician, evil[i]);
        FILL(visit.row.occasion, evil[i]);
        FILL(visit.row.note, evil[i]);
        FILL(visit.row.software, evil[i]);
        FILL(visit.row.manifest, evil[i]);
        FILL(visit.row.tagmanifest, evil[i]);
        FILL(visit.row.previous_manifest, evil[i]);
        FILL(visit.row.key, i == 0 ? "'; DROP TABLE--" : "");
        FILL(visit.pad[0].name, evil[i]);
        FILL(visit.pad[0].pad, evil[i]);
        FILL(visit.pad[0].station, evil[i]);
        FILL(visit.pad[0].finger, i == 0 ? "';--" : "light");
        FILL(visit.value[0].quantity, evil[i]);
        FILL(visit.value[0].unit, i == 0 ? "'; DROP" : "g");
        FILL(visit.value[0].with, evil[i]);
        must(rg_catalogue_put(catalogue, &visit.row, &err));
        expect_stored(&visit.row);
        rg_catalogue_list list;
        rg_catalogue_query q = {.serial = visit.row.serial,
                                .model = visit.row.model,
                                .technician = visit.row.technician,
                                .occasion = visit.row.occasion,
                                .station = visit.pad[0].station,
                                .pad = visit.pad[0].pad};
        must(rg_catalogue_find(catalogue, &q, &list, &err));
        cr_expect_eq(list.count, 1, "%s: %d", evil[i], list.count);
        rg_catalogue_list_free(&list);
    }
    cr_expect_eq(count_all(), 10 + (int)(sizeof evil / sizeof *evil));
    must(rg_catalogue_check(catalogue, &err));
    must(rg_catalogue_remove(catalogue, INJECTION, &err));
    cr_expect_eq(count_all(), 9 + (int)(sizeof evil / sizeof *evil));
}

/* RFC 3629: stray, cut, overlong and surrogate bytes are not UTF-8; its own examples are. */
Test(catalogue, bytes_that_are_not_utf8_become_question_marks)
{
    static const struct {
        const char *in, *out;
    } text[] = {{"caf\xE9", "caf?"},
                {"\xC3\xA9t\xC3\xA9", "\xC3\xA9t\xC3\xA9"},
                {"\xC0\xAF", "??"},
                {"\xE0\x80\xAF", "???"},
                {"\xF0\x80\x80\xAF", "????"},
                {"\xED\xA0\x80", "???"},
                {"\xF4\x90\x80\x80", "????"},
                {"\xF4\x8F\xBF\xBF", "\xF4\x8F\xBF\xBF"},
                {"x\xE2\x82", "x??"},
                {"\xE6\x97\xA5\xE6\x9C\xAC\xE8\xAA\x9E", "\xE6\x97\xA5\xE6\x9C\xAC\xE8\xAA\x9E"},
                {"\xFF\xFE", "??"}};
    must(open_index(RG_CATALOGUE_WRITE));
    for (size_t i = 0; i < sizeof text / sizeof *text; i++) {
        rg_catalogue_inspection got;
        test_visit_make(&visit, (int)i, 60, 7);
        FILL(visit.row.note, text[i].in);
        must(rg_catalogue_put(catalogue, &visit.row, &err));
        must(rg_catalogue_get(catalogue, visit.row.bag, &got, &err));
        cr_expect_str_eq(got.note, text[i].out);
        rg_catalogue_inspection_free(&got);
    }
    /* A text that fills its array and was cut within a character by whoever filled it. */
    memset(visit.row.note, 'x', sizeof visit.row.note);
    visit.row.note[sizeof visit.row.note - 2] = '\xC3';
    must(rg_catalogue_put(catalogue, &visit.row, &err));
    cr_expect_eq(outside("SELECT count(*) FROM inspection WHERE length(note) = 1023 AND note LIKE "
                         "'%x?'"),
                 1);
}

Test(catalogue, putting_a_bag_again_replaces_all_of_it)
{
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 5, 20);
    test_visit_make(&visit, 2, 20, 7);
    char bag[sizeof visit.row.bag], old_serial[sizeof visit.row.serial];
    memcpy(bag, visit.row.bag, sizeof bag);
    memcpy(old_serial, visit.row.serial, sizeof old_serial);
    test_visit_make(&visit, 9, 20, 8);
    memcpy(visit.row.bag, bag, sizeof bag);
    FILL(visit.row.serial, "PE-X-0001");
    visit.row.pads = 3;
    visit.row.values = 1;
    must(rg_catalogue_put(catalogue, &visit.row, &err));
    expect_stored(&visit.row);
    cr_expect_eq(count_all(), 5);
    cr_expect_eq(outside("SELECT count(*) FROM pad"), 4 * TEST_PADS + 3);
    cr_expect_eq(outside("SELECT count(*) FROM setup_value"), 4 * 2 + 1);
    cr_expect_eq(outside("SELECT count(*) FROM arc WHERE pad NOT IN (SELECT id FROM pad)"), 0);
    /* A serial that has lost its only visit is gone. */
    cr_expect_eq(outside("SELECT count(*) FROM serial WHERE serial NOT IN (SELECT serial FROM "
                         "inspection)"),
                 0);
    cr_expect_eq(outside("SELECT count(*) FROM serial WHERE serial = 'PE-X-0001'"), 1);
}

Test(catalogue, removing_takes_rows_and_lonely_serials_along)
{
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 4, 20);
    for (int i = 0; i < 4; i++) {
        test_visit_make(&visit, i, 20, 7);
        must(rg_catalogue_remove(catalogue, visit.row.bag, &err));
        cr_expect_eq(count_all(), 3 - i);
        cr_expect_eq(outside("SELECT count(*) FROM pad"), (3 - i) * TEST_PADS);
    }
    cr_expect_eq(outside("SELECT (SELECT count(*) FROM serial) + (SELECT count(*) FROM arc) + "
                         "(SELECT count(*) FROM setup_value)"),
                 0);
    cr_expect_eq(rg_catalogue_remove(catalogue, visit.row.bag, &err), RG_NO_INPUT);
    cr_expect(strstr(err.text, visit.row.bag), "%s", err.text);
    rg_catalogue_inspection got;
    cr_expect_eq(rg_catalogue_get(catalogue, "no/such", &got, &err), RG_NO_INPUT);
    cr_expect(got.pads == 0 && got.pad == NULL);
}

Test(catalogue, rows_that_break_a_rule_are_refused_whole)
{
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 2, 20);
    char *before = dump();
    for (int fault = 0; fault < 8; fault++) {
        test_visit_make(&visit, fault == 7 ? 0 : 5, 20, 7);
        switch (fault) {
        case 0:
            FILL(visit.row.verdict, "fine");
            break;
        case 1:
            FILL(visit.pad[20].verdict, "Sealed");
            break;
        case 2:
            FILL(visit.pad[23].name, visit.pad[0].name);
            break;
        case 3:
            visit.row.bag[0] = 0;
            break;
        case 4:
            visit.row.sequence = 0;
            break;
        case 5:
            visit.pad[3].seen = 361;
            break;
        case 6:
            visit.row.time = -1;
            break;
        default: /* of a bag that is there already */
            visit.pad[9].frames_used = -1;
        }
        err = (rg_error){0};
        cr_expect_eq(rg_catalogue_put(catalogue, &visit.row, &err), RG_BAD_DATA, "fault %d", fault);
        cr_expect(strstr(err.text, path) && strstr(err.text, visit.row.bag), "%s", err.text);
        char *after = dump();
        cr_expect_str_eq(after, before, "fault %d left a trace", fault);
        free(after);
    }
    free(before);
}

Test(catalogue, other_programs_cannot_break_the_keys_unseen)
{
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 2, 20);
    must(rg_catalogue_check(catalogue, &err));
    cr_expect_eq(change_outside("PRAGMA foreign_keys = ON; DELETE FROM serial"), SQLITE_CONSTRAINT);
    cr_expect_eq(change_outside("INSERT INTO pad (inspection, name) VALUES (1, 'x')"),
                 SQLITE_CONSTRAINT);
    cr_expect_eq(change_outside("UPDATE pad SET verdict = 'good'"), SQLITE_CONSTRAINT);
    cr_expect_eq(change_outside("UPDATE pad SET seen = 'many'"), SQLITE_CONSTRAINT);
    must(rg_catalogue_check(catalogue, &err));
    /* SQLite's default is to leave foreign keys unchecked. */
    cr_expect_eq(change_outside("DELETE FROM inspection WHERE id = 1"), SQLITE_OK);
    cr_expect_eq(rg_catalogue_check(catalogue, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "reindex"), "%s", err.text);
}

/* ---------------------------------------------------------------- transactions */

Test(catalogue, what_is_not_committed_is_as_if_it_never_was)
{
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 3, 20);
    char *before = dump();
    must(rg_catalogue_begin(catalogue, &err));
    must(rg_catalogue_clear(catalogue, &err));
    put_visits(5, 12, 20);
    cr_expect_eq(count_all(), 7);
    cr_expect_eq(outside("SELECT count(*) FROM inspection"), 3, "others see the old rows");
    must(rg_catalogue_end(catalogue, false, &err));
    char *after = dump();
    cr_expect_str_eq(after, before);
    free(before);
    free(after);
}

Test(catalogue, a_put_that_fails_leaves_the_others_of_its_transaction)
{
    must(open_index(RG_CATALOGUE_WRITE));
    must(rg_catalogue_begin(catalogue, &err));
    put_visits(0, 3, 20);
    test_visit_make(&visit, 3, 20, 7);
    FILL(visit.pad[23].verdict, "");
    cr_expect_eq(rg_catalogue_put(catalogue, &visit.row, &err), RG_BAD_DATA);
    put_visits(4, 6, 20);
    must(rg_catalogue_end(catalogue, true, &err));
    cr_expect_eq(outside("SELECT count(*) FROM inspection"), 5);
    cr_expect_eq(outside("SELECT count(*) FROM pad"), 5 * TEST_PADS);
}

Test(catalogue, begin_and_end_belong_together)
{
    must(open_index(RG_CATALOGUE_WRITE));
    cr_expect_eq(rg_catalogue_end(catalogue, true, &err), RG_INTERNAL);
    must(rg_catalogue_begin(catalogue, &err));
    cr_expect_eq(rg_catalogue_begin(catalogue, &err), RG_INTERNAL);
    must(rg_catalogue_end(catalogue, true, &err));
    cr_expect_eq(rg_catalogue_end(catalogue, false, &err), RG_INTERNAL);
}

Test(catalogue, closing_without_an_end_takes_all_back)
{
    must(open_index(RG_CATALOGUE_WRITE));
    must(rg_catalogue_begin(catalogue, &err));
    put_visits(0, 3, 20);
    must(open_index(RG_CATALOGUE_WRITE));
    cr_expect_eq(count_all(), 0);
    rg_catalogue_close(NULL);
}

static void expect_child(pid_t child, int signal, int code)
{
    int status = 0;
    cr_assert_eq(waitpid(child, &status, 0), child);
    if (signal)
        cr_assert(WIFSIGNALED(status) && WTERMSIG(status) == signal, "status %x", status);
    else
        cr_assert(WIFEXITED(status) && WEXITSTATUS(status) == code, "status %x", status);
}

/* 0 when these visits went in, for children, which must not use the test's own reports. */
static int put_in_child(int from, int to, int total)
{
    for (int i = from; i < to; i++) {
        test_visit_make(&visit, i, total, 7);
        if (rg_catalogue_put(catalogue, &visit.row, NULL) != RG_OK)
            return 1;
    }
    return 0;
}

Test(catalogue, a_killed_writer_leaves_what_was_committed)
{
    must(open_index(RG_CATALOGUE_WRITE));
    rg_catalogue_close(catalogue);
    catalogue = NULL;
    pid_t child = fork();
    if (child == 0) {
        if (rg_catalogue_open(path, RG_CATALOGUE_WRITE, &catalogue, NULL) != RG_OK ||
            put_in_child(0, 4, 40) != 0 || rg_catalogue_begin(catalogue, NULL) != RG_OK ||
            put_in_child(4, 40, 40) != 0)
            _exit(1);
        raise(SIGKILL);
    }
    expect_child(child, SIGKILL, 0);
    must(open_index(RG_CATALOGUE_READ));
    cr_expect_eq(count_all(), 4);
    must(open_index(RG_CATALOGUE_WRITE));
    cr_expect_eq(count_all(), 4);
    must(rg_catalogue_check(catalogue, &err));
}

Test(catalogue, two_writers_at_once_lose_nothing)
{
    pid_t child[2];
    for (int half = 0; half < 2; half++) {
        child[half] = fork();
        if (child[half] == 0) {
            if (rg_catalogue_open(path, RG_CATALOGUE_WRITE, &catalogue, &err) != RG_OK)
                _exit(2);
            _exit(put_in_child(50 * half, 50 * half + 50, 100));
        }
    }
    for (int half = 0; half < 2; half++)
        expect_child(child[half], 0, 0);
    must(open_index(RG_CATALOGUE_READ));
    cr_expect_eq(count_all(), 100);
    cr_expect_eq(outside("SELECT count(*) FROM pad"), 100 * TEST_PADS);
    must(rg_catalogue_check(catalogue, &err));
}

static int files_in_folder(void)
{
    rg_file_list list;
    must(rg_folder_list(folder, &list, &err));
    int count = (int)list.count;
    rg_file_list_free(&list);
    return count;
}

Test(catalogue, closing_leaves_the_file_alone_in_its_folder)
{
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 3, 20);
    rg_catalogue_close(catalogue);
    cr_expect_eq(files_in_folder(), 1, "after writing");
    catalogue = NULL;
    must(open_index(RG_CATALOGUE_READ));
    cr_expect_eq(count_all(), 3);
    rg_catalogue_close(catalogue);
    catalogue = NULL;
    cr_expect_eq(files_in_folder(), 1, "after reading");
}

Test(catalogue, a_reader_beside_a_writer_sees_whole_inspections)
{
    rg_catalogue *reader = NULL;
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 1, 20);
    must(rg_catalogue_open(path, RG_CATALOGUE_READ, &reader, &err));
    must(rg_catalogue_begin(catalogue, &err));
    put_visits(1, 3, 20);
    int count = 0;
    must(rg_catalogue_count(reader, &(rg_catalogue_query){0}, &count, &err));
    cr_expect_eq(count, 1);
    must(rg_catalogue_end(catalogue, true, &err));
    must(rg_catalogue_count(reader, &(rg_catalogue_query){0}, &count, &err));
    cr_expect_eq(count, 3);
    test_visit_make(&visit, 9, 20, 7);
    cr_expect_neq(rg_catalogue_put(reader, &visit.row, &err), RG_OK, "a reader must not write");
    rg_catalogue_close(reader);
}

/* Waits for the 10 s that the header promises. */
Test(catalogue, a_lock_that_is_never_given_up_is_an_error)
{
    sqlite3 *other = NULL;
    must(open_index(RG_CATALOGUE_WRITE));
    test_visit_make(&visit, 0, 20, 7);
    cr_assert_eq(sqlite3_open(path, &other), SQLITE_OK);
    cr_assert_eq(sqlite3_exec(other, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
    cr_expect_eq(rg_catalogue_put(catalogue, &visit.row, &err), RG_IO);
    cr_expect(strstr(err.text, path) && strstr(err.text, "another program"), "%s", err.text);
    sqlite3_close(other);
    must(rg_catalogue_put(catalogue, &visit.row, &err));
}

Test(catalogue, a_full_disk_is_told_and_harms_nothing)
{
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 2, 400);
    rg_catalogue_close(catalogue);
    catalogue = NULL;
    pid_t child = fork();
    if (child == 0) { /* a limit of the file size stands for the disk's end */
        signal(SIGXFSZ, SIG_IGN);
        setrlimit(RLIMIT_FSIZE, &(struct rlimit){300000, 300000});
        rg_code code = rg_catalogue_open(path, RG_CATALOGUE_WRITE, &catalogue, NULL);
        if (code == RG_OK)
            code = rg_catalogue_begin(catalogue, NULL);
        for (int i = 2; i < 400 && code == RG_OK; i++) {
            test_visit_make(&visit, i, 400, 7);
            code = rg_catalogue_put(catalogue, &visit.row, &err);
        }
        rg_code end = rg_catalogue_end(catalogue, true, &err);
        _exit((code == RG_OK || code == RG_IO) && end == RG_IO ? 0 : 100 + (int)end);
    }
    expect_child(child, 0, 0);
    must(open_index(RG_CATALOGUE_WRITE));
    must(rg_catalogue_check(catalogue, &err));
    cr_expect_eq(count_all(), 2);
}

/* ---------------------------------------------------------------- dump */

Test(catalogue, the_dump_does_not_depend_on_the_order_of_insertion)
{
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 12, 20);
    char *forward = dump();
    must(rg_catalogue_clear(catalogue, &err));
    char *empty = dump();
    cr_expect_str_eq(empty, "");
    for (int i = 11; i >= 0; i--)
        put_visits(i, i + 1, 20);
    put_visits(4, 5, 20);
    char *backward = dump();
    cr_expect_str_eq(backward, forward);
    cr_expect(strlen(forward) > 12 * TEST_PADS * 60);
    free(forward);
    free(backward);
    free(empty);
}

Test(catalogue, the_dump_shows_a_change_of_any_value)
{
    static const char *const change[] = {
        "UPDATE inspection SET note = note || ' ' WHERE id = 2",
        "UPDATE inspection SET bytes = bytes + 1 WHERE id = 3",
        "UPDATE pad SET mean_mm = mean_mm + 1e-17 WHERE id = 5 OR mean_mm = 0",
        "UPDATE pad SET radiance = NULL WHERE id = 40",
        "UPDATE arc SET open_area_mm2 = open_area_mm2 * 1.0000000000000003",
        "UPDATE setup_value SET unit = 'kg' WHERE inspection = 1 AND number = 0",
        "DELETE FROM arc WHERE number = 1",
        "INSERT INTO serial VALUES ('PE-Z-1')",
    };
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 6, 20);
    char *before = dump();
    for (size_t i = 0; i < sizeof change / sizeof *change; i++) {
        cr_assert_eq(change_outside(change[i]), SQLITE_OK, "%s", change[i]);
        char *after = dump();
        cr_expect_str_neq(after, before, "%s", change[i]);
        free(before);
        before = after;
    }
    free(before);
}

/* ---------------------------------------------------------------- files */

Test(catalogue, missing_files_and_folders_are_named)
{
    cr_expect_eq(open_index(RG_CATALOGUE_READ), RG_NO_INPUT);
    cr_expect(strstr(err.text, path) && strstr(err.text, "reindex"), "%s", err.text);
    cr_expect_null(catalogue);
    cr_expect_eq(access(path, F_OK), -1, "reading must not make the file");
    snprintf(path, sizeof path, "%s/no/index.sqlite", folder);
    cr_expect_eq(open_index(RG_CATALOGUE_WRITE), RG_CANT_CREATE);
    cr_expect(strstr(err.text, path), "%s", err.text);
    snprintf(path, sizeof path, "%s", folder);
    cr_expect_eq(open_index(RG_CATALOGUE_WRITE), RG_CANT_CREATE);
    cr_expect_eq(open_index(RG_CATALOGUE_READ), RG_NO_INPUT);
    path[0] = 0;
    cr_expect_eq(open_index(RG_CATALOGUE_READ), RG_NO_INPUT);
    cr_expect_eq(open_index(RG_CATALOGUE_WRITE), RG_CANT_CREATE);
}

/* RFC 3986: '?', '#', '%' and others would end or change the path of a URI. */
Test(catalogue, names_with_special_characters_are_names)
{
    static const char *const name[] = {"a?mode=memory",  "b#c", "d%41e",   "f g", "file:h?i=j",
                                       "\xC3\xA9\xFF'k", "//l", ":memory:"};
    for (size_t i = 0; i < sizeof name / sizeof *name; i++) {
        snprintf(path, sizeof path, "%s/%s", folder, name[i]);
        must(open_index(RG_CATALOGUE_WRITE));
        put_visits(0, 2, 20);
        cr_expect_eq(access(path, F_OK), 0, "%s", name[i]);
        must(open_index(RG_CATALOGUE_READ));
        cr_expect_eq(count_all(), 2);
    }
    cr_assert_eq(chdir(folder), 0);
    for (size_t i = 0; i < sizeof name / sizeof *name; i++) {
        if (name[i][0] == '/')
            continue;
        snprintf(path, sizeof path, "%s", name[i]);
        must(open_index(RG_CATALOGUE_READ));
        cr_expect_eq(count_all(), 2);
    }
}

static void write_file(const void *bytes, size_t size)
{
    must(rg_file_write(path, bytes, size, &err));
}

/* Every question; none may crash, whatever is in the file. */
static void ask_everything(void)
{
    rg_catalogue_list list;
    rg_catalogue_sweeps sweeps;
    rg_catalogue_inspection one;
    char *text = NULL;
    int count;
    rg_catalogue_query all = {0};
    rg_catalogue_find(catalogue, &all, &list, &err);
    for (int i = 0; i < list.count; i++) {
        if (rg_catalogue_get(catalogue, list.row[i].bag, &one, &err) == RG_OK)
            rg_catalogue_inspection_free(&one);
    }
    rg_catalogue_list_free(&list);
    rg_catalogue_sweeps_find(catalogue, &all, &sweeps, &err);
    rg_catalogue_sweeps_free(&sweeps);
    rg_catalogue_count(catalogue, &all, &count, &err);
    rg_catalogue_dump(catalogue, &text, &err);
    free(text);
    rg_catalogue_check(catalogue, &err);
}

Test(catalogue, garbage_is_refused_and_not_touched)
{
    static const char sentence[] = "This is no index, it is a letter to the band.";
    unsigned char noise[4096];
    test_random random = {99};
    for (size_t i = 0; i < sizeof noise; i++)
        noise[i] = (unsigned char)(256 * test_uniform(&random));
    for (int kind = 0; kind < 3; kind++) {
        if (kind == 2)
            memcpy(noise, "SQLite format 3", 16);
        const void *bytes = kind == 0 ? (const void *)sentence : noise;
        size_t size = kind == 0 ? sizeof sentence : sizeof noise, back_size = 0;
        for (int mode = 0; mode < 2; mode++) {
            uint8_t *back = NULL;
            write_file(bytes, size);
            cr_expect_eq(open_index((rg_catalogue_mode)mode), RG_BAD_DATA, "kind %d mode %d: %s",
                         kind, mode, err.text);
            cr_expect(strstr(err.text, path) && strstr(err.text, "reindex"), "%s", err.text);
            must(rg_file_read(path, 10000, &back, &back_size, &err));
            cr_expect(back_size == size && memcmp(back, bytes, size) == 0);
            free(back);
        }
    }
}

Test(catalogue, an_empty_file_is_filled_but_not_read)
{
    write_file("", 0);
    cr_expect_eq(open_index(RG_CATALOGUE_READ), RG_NO_INPUT);
    cr_expect(strstr(err.text, "empty"), "%s", err.text);
    must(open_index(RG_CATALOGUE_WRITE));
    cr_expect_eq(count_all(), 0);
}

Test(catalogue, databases_of_other_programs_stay_as_they_are)
{
    static const char *const sql[] = {
        "CREATE TABLE inspection (id INTEGER)",
        "PRAGMA application_id = 252006673; CREATE TABLE x (y)",
        "PRAGMA user_version = 2; CREATE TABLE x (y)",
        "PRAGMA user_version = 1",
    };
    for (size_t i = 0; i < sizeof sql / sizeof *sql; i++) {
        unlink(path);
        cr_assert_eq(change_outside(sql[i]), SQLITE_OK);
        uint8_t *before = NULL, *after = NULL;
        size_t before_size, after_size;
        must(rg_file_read(path, 1000000, &before, &before_size, &err));
        cr_expect_eq(open_index(RG_CATALOGUE_WRITE), RG_BAD_DATA, "%s", sql[i]);
        cr_expect(strstr(err.text, "another program"), "%s", err.text);
        cr_expect_eq(open_index(RG_CATALOGUE_READ), RG_BAD_DATA);
        must(rg_file_read(path, 1000000, &after, &after_size, &err));
        cr_expect(before_size == after_size && memcmp(before, after, after_size) == 0);
        free(before);
        free(after);
    }
}

Test(catalogue, doctored_tables_are_refused)
{
    static const char endless[] =
        "ALTER TABLE pad RENAME TO p; CREATE VIEW pad AS WITH RECURSIVE n "
        "(id) AS (SELECT 1 UNION ALL SELECT id + 1 FROM n) SELECT * "
        "FROM n";
    static const char *const sql[] = {
        endless,
        "ALTER TABLE pad RENAME COLUMN seen TO looked",
        "DROP TABLE setup_value",
        "DROP INDEX pad_by_answer",
        "CREATE TRIGGER t AFTER INSERT ON pad BEGIN DELETE FROM inspection; END",
        "PRAGMA user_version = -1",
        "PRAGMA user_version = 0",
    };
    for (size_t i = 0; i < sizeof sql / sizeof *sql; i++) {
        unlink(path);
        must(open_index(RG_CATALOGUE_WRITE));
        put_visits(0, 1, 20);
        rg_catalogue_close(catalogue);
        catalogue = NULL;
        cr_assert_eq(change_outside(sql[i]), SQLITE_OK, "%s", sql[i]);
        cr_expect_eq(open_index(RG_CATALOGUE_READ), RG_BAD_DATA, "%s", sql[i]);
        cr_expect(strstr(err.text, "reindex"), "%s", err.text);
        cr_expect_eq(open_index(RG_CATALOGUE_WRITE), RG_BAD_DATA, "%s", sql[i]);
    }
    /* What harms nothing is a person's own business. */
    unlink(path);
    must(open_index(RG_CATALOGUE_WRITE));
    cr_assert_eq(change_outside("CREATE VIEW mine AS SELECT bag FROM inspection; ANALYZE"),
                 SQLITE_OK);
    must(open_index(RG_CATALOGUE_READ));
}

Test(catalogue, a_newer_index_is_left_to_the_newer_program)
{
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 1, 20);
    rg_catalogue_close(catalogue);
    catalogue = NULL;
    cr_assert_eq(change_outside("PRAGMA user_version = 99; CREATE TABLE of_tomorrow (x)"),
                 SQLITE_OK);
    for (int mode = 0; mode < 2; mode++) {
        cr_expect_eq(open_index((rg_catalogue_mode)mode), RG_BAD_DATA);
        cr_expect(strstr(err.text, "newer") && strstr(err.text, "99"), "%s", err.text);
    }
    cr_expect_eq(outside("SELECT count(*) FROM of_tomorrow"), 0);
    cr_expect_eq(outside("PRAGMA user_version"), 99);
}

static uint8_t *whole_index(size_t *size)
{
    uint8_t *bytes = NULL;
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 12, 20);
    rg_catalogue_close(catalogue);
    catalogue = NULL;
    must(rg_file_read(path, 10000000, &bytes, size, &err));
    return bytes;
}

static void expect_no_harm(const void *bytes, size_t size)
{
    test_scratch_remove(folder);
    cr_assert_eq(mkdir(folder, 0700), 0);
    write_file(bytes, size);
    for (int mode = 0; mode < 2; mode++) {
        rg_code code = open_index((rg_catalogue_mode)mode);
        cr_expect(code == RG_OK || code == RG_BAD_DATA, "%d: %s", code, err.text);
        if (code == RG_OK)
            ask_everything();
    }
}

Test(catalogue, a_cut_file_is_damaged_not_a_crash)
{
    size_t size;
    uint8_t *bytes = whole_index(&size);
    static const double part[] = {0.001, 0.01, 0.1, 0.5, 0.9, 0.999};
    for (size_t i = 0; i < sizeof part / sizeof *part; i++)
        expect_no_harm(bytes, (size_t)((double)size * part[i]));
    expect_no_harm(bytes, 100);
    expect_no_harm(bytes, 512);
    write_file(bytes, size / 2);
    rg_code code = open_index(RG_CATALOGUE_READ);
    if (code == RG_OK)
        code = rg_catalogue_check(catalogue, &err);
    cr_expect_eq(code, RG_BAD_DATA);
    cr_expect(strstr(err.text, "reindex"), "%s", err.text);
    free(bytes);
}

Test(catalogue, altered_bytes_are_damage_not_a_crash)
{
    size_t size;
    uint8_t *bytes = whole_index(&size);
    test_random random = {4711};
    for (int i = 0; i < 60; i++) {
        uint8_t kept[64];
        size_t at[64];
        int changes = 1 + i % 64;
        for (int k = 0; k < changes; k++) {
            /* Page headers and the schema's page are where it hurts. */
            double reach = k % 2 ? (double)size : 8192;
            at[k] = (size_t)(reach * test_uniform(&random));
            kept[k] = bytes[at[k]];
            bytes[at[k]] = (uint8_t)(256 * test_uniform(&random));
        }
        expect_no_harm(bytes, size);
        while (changes-- > 0)
            bytes[at[changes]] = kept[changes];
    }
    free(bytes);
}

/* A text of a row is also in an index; where the two differ, questions go wrong without a word. */
Test(catalogue, the_check_finds_rows_that_their_index_does_not_know)
{
    size_t size, at = 0;
    uint8_t *bytes = whole_index(&size);
    size_t n = strlen(visit.row.bag);
    while (at + n < size && memcmp(bytes + at, visit.row.bag, n) != 0)
        at++;
    cr_assert_lt(at + n, size);
    bytes[at + n - 1] ^= 1;
    write_file(bytes, size);
    free(bytes);
    must(open_index(RG_CATALOGUE_READ));
    cr_expect_eq(rg_catalogue_check(catalogue, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "index") && strstr(err.text, "reindex"), "%s", err.text);
}

/* ---------------------------------------------------------------- migration */

/* version-1.sql was made once by the program of version 1 and is never changed. */
static void make_version_1(void)
{
    uint8_t *sql = NULL;
    size_t size;
    must(rg_file_read("tests/data/catalogue/version-1.sql", 1000000, &sql, &size, &err));
    unlink(path);
    cr_assert_eq(change_outside((const char *)sql), SQLITE_OK);
    cr_assert_eq(outside("PRAGMA user_version"), 1);
    free(sql);
}

static void expect_rows_of_version_1(void)
{
    rg_catalogue_inspection got;
    cr_expect_eq(count_all(), 3);
    must(rg_catalogue_get(catalogue, "PE-A-0147/0002-20260310T091500Z", &got, &err));
    cr_expect_str_eq(got.note, "neck cork replaced; \"G\" re-seated");
    cr_expect_str_eq(got.verdict, "leaking");
    cr_assert(got.pads == 2 && got.values == 1 && got.pad[1].arcs == 2);
    cr_expect_str_eq(got.pad[1].pad, "G sharp");
    cr_expect_eq(got.pad[1].arc[1].max_width_mm, 0.041);
    cr_expect(isnan(got.pad[0].widest_mm));
    cr_expect_eq(got.value[0].value, 2431);
    rg_catalogue_inspection_free(&got);
    must(rg_catalogue_check(catalogue, &err));
}

Test(catalogue, a_file_of_version_1_is_brought_up_to_date)
{
    make_version_1();
    must(open_index(RG_CATALOGUE_WRITE));
    expect_rows_of_version_1();
    put_visits(0, 2, 20);
    cr_expect_eq(outside("PRAGMA user_version"), 2);
    cr_expect_eq(outside("SELECT count(*) FROM sqlite_schema WHERE name IN ('inspection_by_time', "
                         "'pad_by_answer')"),
                 2);
}

Test(catalogue, a_file_of_version_1_is_read_without_touching_it)
{
    make_version_1();
    must(open_index(RG_CATALOGUE_READ));
    expect_rows_of_version_1();
    cr_expect_eq(outside("PRAGMA user_version"), 1);
    make_version_1();
    cr_assert_eq(change_outside("PRAGMA journal_mode = WAL"), SQLITE_OK);
    must(open_index(RG_CATALOGUE_READ));
    expect_rows_of_version_1();
    cr_expect_eq(outside("PRAGMA user_version"), 1);
}

Test(catalogue, a_migration_that_fails_leaves_the_old_version)
{
    make_version_1();
    cr_assert_eq(change_outside("CREATE INDEX pad_by_answer ON pad (seen)"), SQLITE_OK);
    cr_expect_neq(open_index(RG_CATALOGUE_WRITE), RG_OK);
    cr_expect_eq(outside("PRAGMA user_version"), 1);
    cr_expect_eq(outside("SELECT count(*) FROM sqlite_schema WHERE name = 'inspection_by_time'"),
                 0);
}

/* ---------------------------------------------------------------- read-only places */

/* Run as nobody where the tests are run by root, whom no rights stop. */
static int read_as_nobody(void)
{
    int count = 0;
    if (geteuid() == 0 && (setgid(65534) != 0 || setuid(65534) != 0))
        return 90;
    if (access(folder, W_OK) == 0)
        return 91;
    rg_code code = rg_catalogue_open(path, RG_CATALOGUE_READ, &catalogue, &err);
    if (code == RG_OK)
        code = rg_catalogue_count(catalogue, &(rg_catalogue_query){.pad = "G sharp"}, &count, &err);
    rg_catalogue_close(catalogue);
    catalogue = NULL;
    return code != RG_OK ? (int)code : count;
}

static void expect_as_nobody(int expected)
{
    cr_assert_eq(chmod(path, 0444), 0);
    cr_assert_eq(chmod(folder, 0555), 0);
    pid_t child = fork();
    if (child == 0)
        _exit(read_as_nobody());
    expect_child(child, 0, expected);
    cr_assert_eq(chmod(folder, 0755), 0);
}

Test(catalogue, a_read_only_folder_is_read)
{
    must(open_index(RG_CATALOGUE_WRITE));
    put_visits(0, 5, 20);
    rg_catalogue_close(catalogue);
    catalogue = NULL;
    expect_as_nobody(5);
    pid_t child = fork(); /* and an older one */
    if (child == 0) {
        make_version_1();
        cr_assert_eq(change_outside("PRAGMA journal_mode = WAL"), SQLITE_OK);
        _exit(0);
    }
    expect_child(child, 0, 0);
    expect_as_nobody(3);
}

Test(catalogue, changes_that_a_crash_left_are_not_passed_over)
{
    pid_t child = fork();
    if (child == 0) {
        if (rg_catalogue_open(path, RG_CATALOGUE_WRITE, &catalogue, NULL) != RG_OK ||
            put_in_child(0, 3, 20) != 0)
            _exit(1);
        raise(SIGKILL);
    }
    expect_child(child, SIGKILL, 0);
    char beside[sizeof path + 8];
    snprintf(beside, sizeof beside, "%s-shm", path);
    cr_assert_eq(unlink(beside), 0);
    expect_as_nobody(RG_NO_INPUT);
    must(open_index(RG_CATALOGUE_WRITE));
    cr_expect_eq(count_all(), 3);
}
