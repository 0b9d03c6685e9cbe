/*
 * studyfile.c - CSV to the rows of a study.
 *
 * The text is copied once and cut in place: cells are pointers into the copy. A
 * quoted cell ends in its own line; a line break within quotes is nearly always a
 * forgotten quote, and is refused as such.
 */
#include "rimglow/studyfile.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/text.h"

typedef enum column {
    PART,
    PERSON,
    REPEAT,
    VALUE_MM,
    VALUE_DEG,
    REFERENCE,
    SWEEP,
    SIZE,
    HIT,
    SIGNAL,
    TRUTH,
    NOTE,
    COLUMNS
} column;

static const char *const column_name[COLUMNS] = {"part",      "person",       "repeat", "value_mm",
                                                 "value_deg", "reference_mm", "sweep",  "size_mm",
                                                 "hit",       "signal",       "truth",  "note"};

static const bool of_gauge[COLUMNS] = {
    [PART] = true,      [PERSON] = true,    [REPEAT] = true, [VALUE_MM] = true,
    [VALUE_DEG] = true, [REFERENCE] = true, [SWEEP] = true,  [NOTE] = true};
static const bool of_detect[COLUMNS] = {
    [SWEEP] = true, [SIZE] = true, [HIT] = true, [SIGNAL] = true, [TRUTH] = true, [NOTE] = true};

typedef struct reader {
    const char *label;
    char *text, *at; /* owned copy; what is still to be read */
    int line;
    char separator;
    const bool *known;  /* columns of this kind of study */
    int place[COLUMNS]; /* cell of a column, -1: not given */
    int columns, cells; /* of the header; of the present row */
    char *cell[RG_STUDY_COLUMNS_MAX];
    int rows;
    rg_error *err;
} reader;

/* ----------------------------------------------------------------- text */

static rg_code fail_line(const reader *r, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static rg_code fail_line(const reader *r, const char *format, ...)
{
    char reason[RG_ERROR_TEXT];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(reason, sizeof reason, format, arguments);
    va_end(arguments);
    return rg_fail(r->err, RG_BAD_DATA, "%s, line %d: %s", r->label, r->line, reason);
}

static const char *cell_of(const reader *r, column c)
{
    return r->place[c] >= 0 ? r->cell[r->place[c]] : "";
}

static rg_code fail_cell(const reader *r, column c, const char *reason)
{
    return rg_fail(r->err, RG_BAD_DATA, "%s, line %d, %s = %.60s: %s", r->label, r->line,
                   column_name[c], cell_of(r, c), reason);
}

static rg_code check_line(const reader *r, const char *line)
{
    for (const char *p = line; *p;) {
        unsigned char c = (unsigned char)*p;
        size_t n = rg_utf8_length(p, 4);
        if (n == 0)
            return fail_line(r, "byte 0x%02X is not UTF-8; save the file with the encoding UTF-8",
                             c);
        if ((c < ' ' && c != '\t') || c == 127)
            return fail_line(r, "control character %d; save the file as plain text", c);
        p += n;
    }
    return RG_OK;
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

/* The next line that holds something, cut off; NULL at the end. */
static char *next_line(reader *r)
{
    while (*r->at) {
        char *line = r->at, *end = line + strcspn(line, "\n");
        r->at = *end ? end + 1 : end;
        *end = 0;
        r->line++;
        size_t length = (size_t)(end - line);
        if (length > 0 && line[length - 1] == '\r')
            line[length - 1] = 0;
        char *first = line;
        while (is_blank(*first))
            first++;
        /* A row of separators alone is what spreadsheets leave of an empty row. */
        if (*first != '#' && first[strspn(first, ",; \t")] != 0)
            return line;
    }
    return NULL;
}

static char *trimmed(char *start)
{
    while (is_blank(*start))
        start++;
    size_t n = strlen(start);
    while (n > 0 && is_blank(start[n - 1]))
        start[--n] = 0;
    return start;
}

/* A quoted cell, unescaped in place; *next behind it, NULL without a closing quote. */
static char *quoted(char *open, char **next)
{
    char *to = open, *from = open + 1;
    while (*from && !(from[0] == '"' && from[1] != '"')) {
        if (*from == '"')
            from++;
        *to++ = *from++;
    }
    *next = *from == '"' ? from + 1 : NULL;
    *to = 0;
    return open;
}

static rg_code cut_cells(reader *r, char *line)
{
    r->cells = 0;
    for (char *p = line; p;) {
        char *next, *start = p;
        if (r->cells == RG_STUDY_COLUMNS_MAX)
            return fail_line(r, "more than %d cells; leave columns out", RG_STUDY_COLUMNS_MAX);
        while (*start == ' ')
            start++;
        if (*start == '"') {
            start = quoted(start, &next);
            if (!next)
                return fail_line(r, "a quote is opened and not closed; close it in the same line");
            next += strspn(next, " ");
            if (*next && *next != r->separator)
                return fail_line(r,
                                 "text behind a closing quote: %.40s; double a quote that belongs "
                                 "to the text",
                                 next);
        } else {
            next = strchr(p, r->separator);
            next = next ? next : p + strlen(p);
        }
        bool last = *next == 0;
        *next = 0;
        r->cell[r->cells++] = trimmed(start);
        p = last ? NULL : next + 1;
    }
    return RG_OK;
}

/* --------------------------------------------------------------- header */

static char most_common(const char *line)
{
    static const char candidate[] = {',', ';', '\t'};
    char best = ',';
    int most = 0;
    for (size_t i = 0; i < sizeof candidate; i++) {
        int n = 0;
        for (const char *p = line; *p; p++)
            n += *p == candidate[i];
        if (n > most) {
            most = n;
            best = candidate[i];
        }
    }
    return best;
}

static void list_columns(const bool *known, char *to, size_t size)
{
    size_t used = 0;
    to[0] = 0;
    for (int c = 0; c < COLUMNS; c++)
        if (known[c] && used < size) {
            int n = snprintf(to + used, size - used, "%s%s", used ? ", " : "", column_name[c]);
            used += n > 0 ? (size_t)n : 0;
        }
}

static rg_code place_column(reader *r, int cell)
{
    char names[200];
    for (int c = 0; c < COLUMNS; c++) {
        if (!r->known[c] || strcmp(r->cell[cell], column_name[c]) != 0)
            continue;
        if (r->place[c] >= 0)
            return fail_line(r, "the column %s is given twice; remove one", column_name[c]);
        r->place[c] = cell;
        return RG_OK;
    }
    list_columns(r->known, names, sizeof names);
    return fail_line(r, "unknown column \"%.60s\"; the first row names the columns, of %s",
                     r->cell[cell], names);
}

static rg_code read_header(reader *r)
{
    char *line = next_line(r);
    if (!line)
        return rg_fail(r->err, RG_BAD_DATA,
                       "%s: the file is empty; the first row names the columns", r->label);
    r->separator = most_common(line);
    rg_code code = check_line(r, line);
    if (code == RG_OK)
        code = cut_cells(r, line);
    for (int i = 0; code == RG_OK && i < r->cells; i++)
        code = place_column(r, i);
    r->columns = r->cells;
    return code;
}

static rg_code open_reader(const char *label, const char *text, size_t size, const bool *known,
                           reader *r, rg_error *err)
{
    *r = (reader){.label = label, .known = known, .err = err};
    for (int c = 0; c < COLUMNS; c++)
        r->place[c] = -1;
    if (size > RG_STUDY_MAX_BYTES)
        return rg_fail(err, RG_BAD_DATA,
                       "%s: %zu bytes are more than the %d of a study; it is probably "
                       "another file",
                       label, size, RG_STUDY_MAX_BYTES);
    if (size > 0 && memchr(text, 0, size))
        return rg_fail(err, RG_BAD_DATA,
                       "%s: a byte 0, so it is not plain text; save it as CSV with "
                       "the encoding UTF-8",
                       label);
    r->text = rg_alloc(size + 1, 1);
    if (!r->text)
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", label);
    if (size > 0)
        memcpy(r->text, text, size);
    r->at = r->text;
    if (strncmp(r->at, "\xEF\xBB\xBF", 3) == 0)
        r->at += 3;
    return read_header(r);
}

static rg_code need(const reader *r, column c, const char *why)
{
    if (r->place[c] >= 0)
        return RG_OK;
    return rg_fail(r->err, RG_BAD_DATA, "%s: the column %s is missing; %s", r->label,
                   column_name[c], why);
}

/* The next row, cut into cells; *there false at the end. */
static rg_code next_row(reader *r, bool *there)
{
    char *line = next_line(r);
    *there = line != NULL;
    if (!line)
        return RG_OK;
    if (r->rows++ == RG_STUDY_ROWS_MAX)
        return fail_line(r, "more than %d rows; split the study", RG_STUDY_ROWS_MAX);
    rg_code code = check_line(r, line);
    if (code == RG_OK)
        code = cut_cells(r, line);
    if (code == RG_OK && r->cells != r->columns)
        code = fail_line(r,
                         "%d cells, but the first row names %d columns; give every cell, and put "
                         "text that holds a separator in quotes",
                         r->cells, r->columns);
    return code;
}

/* ---------------------------------------------------------------- cells */

static rg_code take_number(const reader *r, column c, double low, double high, double *value)
{
    char reason[160];
    if (rg_parse_double(cell_of(r, c), value) && *value >= low && *value <= high)
        return RG_OK;
    snprintf(reason, sizeof reason,
             "a number from %g to %g with a point as the decimal sign is needed", low, high);
    return fail_cell(r, c, reason);
}

static rg_code take_text(const reader *r, column c, char *to, size_t size)
{
    if (!cell_of(r, c)[0])
        return fail_line(r, "the cell %s is empty; fill it in", column_name[c]);
    if (!rg_copy_text(to, size, cell_of(r, c))) {
        char reason[80];
        snprintf(reason, sizeof reason, "longer than %zu bytes; shorten it", size - 1);
        return fail_cell(r, c, reason);
    }
    return RG_OK;
}

/* Room for one more element. */
static rg_code grow(const reader *r, void **array, int count, size_t size)
{
    if (count & (count - 1))
        return RG_OK;
    void *more = rg_grow(*array, (size_t)(count ? 2 * count : 1), size);
    if (!more)
        return rg_fail(r->err, RG_INTERNAL, "%s: out of memory", r->label);
    *array = more;
    return RG_OK;
}

/* ---------------------------------------------------------------- gauge */

static rg_code gauge_columns(const reader *r, rg_gauge_file *f)
{
    static const column input[] = {[RG_GAUGE_VALUES_MM] = VALUE_MM,
                                   [RG_GAUGE_VALUES_DEG] = VALUE_DEG,
                                   [RG_GAUGE_SWEEPS] = SWEEP};
    int given = 0;
    rg_code code = need(r, PART, "it names what was measured");
    if (code == RG_OK)
        code = need(r, PERSON,
                    "it names who measured; with one person write the same name in every row");
    if (code == RG_OK)
        code = need(r, REPEAT, "it numbers the repeats of the same person on the same part");
    for (int i = 0; i < 3; i++)
        if (r->place[input[i]] >= 0) {
            f->input = (rg_gauge_input)i;
            given++;
        }
    if (code == RG_OK && given != 1)
        code = rg_fail(r->err, RG_BAD_DATA,
                       "%s: %s of the columns value_mm, value_deg and sweep is "
                       "there; give exactly one",
                       r->label, given ? "more than one" : "none");
    if (code == RG_OK && f->input == RG_GAUGE_VALUES_DEG && r->place[REFERENCE] >= 0)
        code = rg_fail(r->err, RG_BAD_DATA,
                       "%s: reference_mm belongs to widths, not to value_deg; "
                       "remove the column",
                       r->label);
    return code;
}

/* Index of a name among those seen so far, which it joins when new. */
static rg_code take_level(const reader *r, column c, char names[][RG_STUDY_NAME], int *count,
                          int *level)
{
    char name[RG_STUDY_NAME];
    rg_code code = take_text(r, c, name, sizeof name);
    if (code != RG_OK)
        return code;
    for (*level = 0; *level < *count && strcmp(names[*level], name) != 0;)
        (*level)++;
    if (*level < *count)
        return RG_OK;
    if (*count == RG_STUDY_LEVELS) {
        char reason[80];
        snprintf(reason, sizeof reason, "more than %d different ones; split the study",
                 RG_STUDY_LEVELS);
        return fail_cell(r, c, reason);
    }
    memcpy(names[(*count)++], name, sizeof name);
    return RG_OK;
}

static rg_code gauge_value(const reader *r, const rg_gauge_file *f, rg_gauge_row *row)
{
    if (f->input == RG_GAUGE_VALUES_MM)
        return take_number(r, VALUE_MM, -1000, 1000, &row->value);
    if (f->input == RG_GAUGE_VALUES_DEG)
        return take_number(r, VALUE_DEG, -360, 720, &row->value);
    return take_text(r, SWEEP, row->sweep, sizeof row->sweep);
}

static rg_code gauge_row(const reader *r, rg_gauge_file *f, rg_gauge_row *row)
{
    *row = (rg_gauge_row){.line = r->line, .value = NAN, .reference_mm = NAN};
    rg_code code = take_level(r, PART, f->part, &f->parts, &row->part);
    if (code == RG_OK)
        code = take_level(r, PERSON, f->person, &f->persons, &row->person);
    if (code == RG_OK)
        code = take_text(r, REPEAT, row->repeat_name, sizeof row->repeat_name);
    if (code == RG_OK)
        code = gauge_value(r, f, row);
    if (code == RG_OK && cell_of(r, REFERENCE)[0])
        code = take_number(r, REFERENCE, 0, 1000, &row->reference_mm);
    return code;
}

static int by_design(const void *a, const void *b)
{
    const rg_gauge_row *x = a, *y = b;
    return x->part != y->part       ? x->part - y->part
           : x->person != y->person ? x->person - y->person
                                    : x->line - y->line;
}

/* A row pasted twice would pass for a repeat without any scatter. */
static rg_code check_twice(const reader *r, const rg_gauge_file *f)
{
    for (int i = 1; i < f->rows; i++)
        for (int k = i - f->row[i].repeat; k < i; k++)
            if (strcmp(f->row[k].repeat_name, f->row[i].repeat_name) == 0)
                return rg_fail(r->err, RG_BAD_DATA,
                               "%s, line %d: part %s, person %s, repeat %s is already in line %d; "
                               "number the repeats or remove one row",
                               r->label, f->row[i].line, f->part[f->row[i].part],
                               f->person[f->row[i].person], f->row[i].repeat_name, f->row[k].line);
    return RG_OK;
}

/* Sorts the rows into the design and numbers the repeats. */
static rg_code check_balance(const reader *r, rg_gauge_file *f)
{
    if (f->rows == 0)
        return rg_fail(r->err, RG_BAD_DATA,
                       "%s: no row below the names of the columns; add the values", r->label);
    qsort(f->row, (size_t)f->rows, sizeof *f->row, by_design);
    for (int i = 0; i < f->rows; i++) {
        const rg_gauge_row *before = i ? &f->row[i - 1] : NULL;
        bool same = before && before->part == f->row[i].part && before->person == f->row[i].person;
        f->row[i].repeat = same ? before->repeat + 1 : 0;
        if (f->row[i].repeat >= f->repeats)
            f->repeats = f->row[i].repeat + 1;
    }
    for (int i = 0; i < f->parts * f->persons; i++) {
        int count = 0, part = i / f->persons, person = i % f->persons;
        for (int k = 0; k < f->rows; k++)
            count += f->row[k].part == part && f->row[k].person == person;
        if (count != f->repeats)
            return rg_fail(
                r->err, RG_BAD_DATA,
                "%s: part %s by person %s has %d of %d repeats; every person must measure "
                "every part equally often",
                r->label, f->part[part], f->person[person], count, f->repeats);
    }
    return RG_OK;
}

/* A part has one true width. */
static rg_code check_references(const reader *r, const rg_gauge_file *f)
{
    for (int i = 1; i < f->rows; i++) {
        const rg_gauge_row *a = &f->row[i - 1], *b = &f->row[i];
        bool differ = isnan(a->reference_mm) != isnan(b->reference_mm) ||
                      (!isnan(a->reference_mm) && a->reference_mm != b->reference_mm);
        if (a->part == b->part && differ)
            return rg_fail(
                r->err, RG_BAD_DATA,
                "%s, lines %d and %d: part %s has different reference_mm; give the same in "
                "every row of a part",
                r->label, a->line < b->line ? a->line : b->line,
                a->line < b->line ? b->line : a->line, f->part[a->part]);
    }
    return RG_OK;
}

static rg_code read_gauge(reader *r, rg_gauge_file *f)
{
    bool there = true;
    rg_code code = gauge_columns(r, f);
    while (code == RG_OK && there) {
        code = next_row(r, &there);
        if (code != RG_OK || !there)
            break;
        code = grow(r, (void **)&f->row, f->rows, sizeof *f->row);
        if (code == RG_OK)
            code = gauge_row(r, f, &f->row[f->rows]);
        f->rows += code == RG_OK;
    }
    if (code == RG_OK)
        code = check_balance(r, f);
    if (code == RG_OK)
        code = check_references(r, f);
    return code == RG_OK ? check_twice(r, f) : code;
}

rg_code rg_gauge_file_parse(const char *label, const char *text, size_t size, rg_gauge_file *file,
                            rg_error *err)
{
    reader r;
    *file = (rg_gauge_file){0};
    rg_code code = open_reader(label, text, size, of_gauge, &r, err);
    if (code == RG_OK)
        code = read_gauge(&r, file);
    free(r.text);
    if (code != RG_OK)
        rg_gauge_file_free(file);
    return code;
}

void rg_gauge_file_free(rg_gauge_file *file)
{
    free(file->row);
    *file = (rg_gauge_file){0};
}

/* --------------------------------------------------------------- detect */

static rg_code detect_columns(const reader *r, rg_detect_file *f)
{
    bool size = r->place[SIZE] >= 0, sweep = r->place[SWEEP] >= 0;
    bool hit = r->place[HIT] >= 0, signal = r->place[SIGNAL] >= 0, truth = r->place[TRUTH] >= 0;
    if (size && hit && !signal && !sweep && !truth)
        f->input = RG_DETECT_HITS;
    else if (size && signal && !hit && !sweep && !truth)
        f->input = RG_DETECT_SIGNALS;
    else if (sweep && truth && !size && !hit && !signal)
        f->input = RG_DETECT_SWEEPS;
    else
        return rg_fail(r->err, RG_BAD_DATA,
                       "%s: the columns must be size_mm and hit, or size_mm and "
                       "signal, or sweep and truth",
                       r->label);
    return RG_OK;
}

static rg_code take_hit(const reader *r, bool *hit)
{
    const char *cell = cell_of(r, HIT);
    *hit = strcmp(cell, "1") == 0 || strcmp(cell, "yes") == 0;
    if (*hit || strcmp(cell, "0") == 0 || strcmp(cell, "no") == 0)
        return RG_OK;
    return fail_cell(r, HIT, "write 1 (found) or 0 (missed)");
}

static rg_code take_signal(const reader *r, rg_detect_row *row)
{
    const char *cell = cell_of(r, SIGNAL), *number = cell;
    row->censor = *cell == '<' ? RG_CENSOR_BELOW : *cell == '>' ? RG_CENSOR_ABOVE : RG_CENSOR_NONE;
    if (row->censor != RG_CENSOR_NONE)
        number++;
    if (rg_parse_double(number, &row->signal) && fabs(row->signal) <= 1e12)
        return RG_OK;
    return fail_cell(r, SIGNAL,
                     "write a number with a point as the decimal sign; <0.01 when it lies "
                     "below, >0.5 when it lies above a limit");
}

static rg_code take_truth(const reader *r, rg_detect_row *row)
{
    const char *cell = cell_of(r, TRUTH);
    if (!rg_parse_double(cell, &row->truth_mm))
        return take_text(r, TRUTH, row->truth, sizeof row->truth);
    return take_number(r, TRUTH, 0, 100, &row->truth_mm);
}

static rg_code detect_row(const reader *r, const rg_detect_file *f, rg_detect_row *row)
{
    *row = (rg_detect_row){.line = r->line, .size_mm = NAN, .signal = NAN, .truth_mm = NAN};
    if (f->input == RG_DETECT_SWEEPS) {
        rg_code code = take_text(r, SWEEP, row->sweep, sizeof row->sweep);
        return code == RG_OK ? take_truth(r, row) : code;
    }
    rg_code code = take_number(r, SIZE, 0, 1000, &row->size_mm);
    if (code != RG_OK)
        return code;
    return f->input == RG_DETECT_HITS ? take_hit(r, &row->hit) : take_signal(r, row);
}

static rg_code read_detect(reader *r, rg_detect_file *f)
{
    bool there = true;
    rg_code code = detect_columns(r, f);
    while (code == RG_OK && there) {
        code = next_row(r, &there);
        if (code != RG_OK || !there)
            break;
        code = grow(r, (void **)&f->row, f->rows, sizeof *f->row);
        if (code == RG_OK)
            code = detect_row(r, f, &f->row[f->rows]);
        f->rows += code == RG_OK;
    }
    if (code == RG_OK && f->rows == 0)
        code = rg_fail(r->err, RG_BAD_DATA,
                       "%s: no row below the names of the columns; add the targets", r->label);
    return code;
}

rg_code rg_detect_file_parse(const char *label, const char *text, size_t size, rg_detect_file *file,
                             rg_error *err)
{
    reader r;
    *file = (rg_detect_file){0};
    rg_code code = open_reader(label, text, size, of_detect, &r, err);
    if (code == RG_OK)
        code = read_detect(&r, file);
    free(r.text);
    if (code != RG_OK)
        rg_detect_file_free(file);
    return code;
}

void rg_detect_file_free(rg_detect_file *file)
{
    free(file->row);
    *file = (rg_detect_file){0};
}
