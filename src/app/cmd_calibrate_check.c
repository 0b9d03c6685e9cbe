/*
 * cmd_calibrate_check.c - rimglow calibrate check SWEEP...
 *
 * Every sweep is measured as by inspect, because light at the rim and the rim's
 * plane are needed; then every picture is looked at once more for what the
 * measurement does not ask.
 */
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "rimglow/bench_report.h"
#include "rimglow/command.h"
#include "rimglow/decode.h"
#include "rimglow/draw_bench.h"
#include "rimglow/file.h"
#include "rimglow/inspection.h"
#include "rimglow/memory.h"
#include "rimglow/options.h"

const char rg_help_calibrate_check[] =
    "rimglow calibrate check [options] SWEEP...\n"
    "\n"
    "Checks the bench on the frames of any sweep: does the printed crown have the\n"
    "stated size, is the picture sharp and rightly exposed, is there stray light,\n"
    "does anything move, was every bearing rocked through the rim plane. Each\n"
    "finding says what was found, its limit ([check] of the station file) and what\n"
    "to change.\n"
    "\n"
    "Examples:\n"
    "  rimglow calibrate check samples/PE-A-0147/08-G\n"
    "      findings on the terminal; a page with MTF curve, tones and frames goes to\n"
    "      inspection/PE-A-0147/08-G/bench-check.png, .svg and .json\n"
    "  rimglow calibrate check --json --pictures none sweeps/* | jq .state\n"
    "      for machines\n"
    "\n"
    "Options:\n"
    "  -o, --out DIR        where results go (default: inspection)\n"
    "      --pictures WHAT  page (default) or none\n"
    "      --json           print one JSON document in place of the table\n"
    "  -j, --jobs N         workers (default: one for each core)\n"
    "  -q, --quiet          no table and no progress\n"
    "  -h, --help           this text\n"
    "\n"
    "Reading the table: ( O ) good, ( ! ) poor, ( ? ) not shown by these frames,\n"
    "( - ) not asked of them. Not shown is not good: a sweep without a frame of the\n"
    "lamp off, for instance, says nothing about stray light. The limits decide no\n"
    "seal: inspect has its own.\n"
    "\n"
    "Exit codes: 0 all good, 1 something is poor, 2 something is not shown and\n"
    "nothing poor; 64 wrong command line, 65 bad data, 66 a file or folder is\n"
    "missing, 70 internal, 73 an output cannot be made, 74 writing failed (disk\n"
    "full).\n";

typedef struct job {
    const char *out;
    int pictures, workers;
    bool json, quiet, terminal;
    int sweeps;
    const char **folder;
    char **text;           /* [sweeps] JSON or NULL */
    rg_error *error;       /* [sweeps] */
    rg_check_state *state; /* [sweeps] */
    char date[32];
} job;

/* One sweep's names, looks and check. */
typedef struct bench {
    rg_inspection in;
    rg_bench_frame *look; /* owned */
    const char **names;   /* owned; [2 frames]: files, then roles */
    rg_tag_finder **finder;
    int workers;
    rg_bench_check check;
    job *job;
} bench;

/* ------------------------------------------------------------------- look */

static rg_code look_job(void *context, int frame, int worker, rg_error *err)
{
    bench *b = context;
    uint8_t *bytes = NULL;
    size_t size = 0;
    rg_error why = {0};
    char *path = rg_path_join(b->in.folder, b->names[frame]);
    if (!path)
        return rg_fail(err, RG_INTERNAL, "no memory for a file name");
    rg_code code = rg_file_read(path, RG_FILE_MAX_BYTES, &bytes, &size, &why);
    /* A file that cannot be read shows nothing; the frame's reason says it. */
    if (code != RG_INTERNAL)
        code = rg_bench_look(&b->in.setup, &b->in.station.check, b->finder[worker],
                             bytes ? bytes : (const uint8_t *)"", size, &b->in.frames[frame],
                             &b->look[frame], err);
    else
        rg_fail(err, code, "%s", why.text);
    free(bytes);
    free(path);
    return code;
}

static void looked(void *context, int done, int total)
{
    const bench *b = context;
    rg_command_progress(&b->job->terminal, "looks", done, total);
}

static rg_code look_all(bench *b, rg_error *err)
{
    int frames = b->in.sweep.frames;
    b->workers = rg_pool_workers(b->job->workers, frames);
    b->finder = rg_alloc((size_t)b->workers, sizeof(rg_tag_finder *));
    rg_code code =
        b->finder ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for %d workers", b->workers);
    for (int i = 0; code == RG_OK && i < b->workers; i++)
        code = rg_tag_finder_new(&b->finder[i], &b->in.setup.options.tags, err);
    if (code == RG_OK)
        code = rg_pool_run(b->workers, frames, look_job, looked, b, err);
    return code;
}

static rg_code check_sweep(bench *b, rg_error *err)
{
    const rg_sweep *s = &b->in.sweep;
    rg_progress progress = {rg_command_progress, &b->job->terminal};
    b->look = rg_alloc((size_t)s->frames, sizeof *b->look);
    b->names = rg_alloc((size_t)s->frames * 2 + 1, sizeof *b->names);
    if (!b->look || !b->names)
        return rg_fail(err, RG_INTERNAL, "no memory for %d frames", s->frames);
    for (int i = 0; i < s->frames; i++) {
        b->names[i] = s->frame[i].file;
        b->names[s->frames + i] = rg_role_name(s->frame[i].role);
    }
    rg_code code = rg_inspection_run(&b->in, b->job->workers, &progress, err);
    if (code == RG_OK)
        code = look_all(b, err);
    rg_bench_sweep sweep = {&b->in.setup, b->in.frames, &b->in.result, b->names, s->frames};
    if (code == RG_OK)
        code = rg_bench_judge(&sweep, &b->in.station.check, b->look, &b->check, err);
    return code;
}

/* ---------------------------------------------------------------- outputs */

static rg_code make_text(const bench *b, char **text, rg_error *err)
{
    const rg_sweep *s = &b->in.sweep;
    rg_bench_report report = {.serial = s->serial,
                              .pad = s->pad,
                              .station = b->in.station.name,
                              .folder = b->in.name,
                              .check = &b->check,
                              .look = b->look,
                              .frames = b->in.frames,
                              .files = b->names,
                              .roles = b->names + s->frames,
                              .count = s->frames};
    return rg_bench_report_one(&report, text, err);
}

static rg_code draw_page(const bench *b, const char *place, rg_error *err)
{
    static const rg_picture_format formats[] = {RG_PICTURE_PNG, RG_PICTURE_SVG};
    char path[RG_PLACE_SIZE + 32];
    rg_draw_bench_args args = {.check = &b->check,
                               .look = b->look,
                               .files = b->names,
                               .count = b->in.sweep.frames,
                               .serial = b->in.sweep.serial,
                               .pad = b->in.sweep.pad,
                               .station = b->in.station.name,
                               .date = b->job->date,
                               .mtf50_limit = b->in.station.check.mtf50};
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < 2; i++) {
        rg_bytes bytes = {0};
        snprintf(path, sizeof path, "%s/bench-check.%s", place, rg_picture_suffix(formats[i]));
        code = rg_draw_bench(&args, formats[i], &bytes, err);
        if (code == RG_OK)
            code = rg_file_write(path, bytes.data, bytes.size, err);
        free(bytes.data);
    }
    return code;
}

/* The text last: where it is, everything is. */
static rg_code write_all(const bench *b, const char *text, char *place, rg_error *err)
{
    char path[RG_PLACE_SIZE + 32];
    rg_inspection_place(&b->in, b->job->out, place);
    rg_code code = rg_folder_make(place, err);
    if (code == RG_OK && b->job->pictures)
        code = draw_page(b, place, err);
    snprintf(path, sizeof path, "%s/bench-check.json", place);
    if (code == RG_OK)
        code = rg_file_write(path, text, strlen(text), err);
    return code;
}

/* Text broken at blanks to lines of 80 columns, each with the given indent. */
static void print_wrapped(const char *text, int indent)
{
    int room = 80 - indent;
    while (*text) {
        int n = (int)strlen(text);
        if (n > room) {
            n = room;
            while (n > 0 && text[n] != ' ')
                n--;
            n = n ? n : room;
        }
        printf("%*s%.*s\n", indent, "", n, text);
        for (text += n; *text == ' ';)
            text++;
    }
}

static void print_table(const bench *b, const char *place)
{
    static const char *const sign[] = {[RG_CHECK_GOOD] = "( O )",
                                       [RG_CHECK_POOR] = "( ! )",
                                       [RG_CHECK_NOT_SHOWN] = "( ? )",
                                       [RG_CHECK_NOT_ASKED] = "( - )"};
    printf("pad %s: bench %s\n", b->in.sweep.pad, rg_check_state_name(b->check.state));
    for (int i = 0; i < RG_CHECK_TOPICS; i++) {
        const rg_finding *f = &b->check.finding[i];
        char value[24] = "-";
        if (f->value == f->value)
            snprintf(value, sizeof value, "%.4g", f->value);
        printf("%s %-10s %-10s %9s   %s %.4g %s\n", sign[f->state], rg_check_topic_name(f->topic),
               rg_check_state_name(f->state), value, f->sense, f->limit, f->unit);
        print_wrapped(f->text, 8);
    }
    printf("        = %s/bench-check.json\n", place);
}

/* ---------------------------------------------------------------- command */

static void close_bench(bench *b)
{
    for (int i = 0; b->finder && i < b->workers; i++)
        rg_tag_finder_free(b->finder[i]);
    free(b->finder);
    free(b->look);
    free(b->names);
    rg_inspection_close(&b->in);
}

static rg_code check_one(job *j, int i, rg_error *err)
{
    char place[RG_PLACE_SIZE] = "";
    bench *b = rg_alloc(1, sizeof *b);
    if (!b)
        return rg_fail(err, RG_INTERNAL, "no memory for a sweep");
    b->job = j;
    rg_code code = rg_inspection_open(&b->in, j->folder[i], err);
    if (code == RG_OK)
        code = check_sweep(b, err);
    if (code == RG_OK)
        code = make_text(b, &j->text[i], err);
    if (code == RG_OK)
        code = write_all(b, j->text[i], place, err);
    if (code == RG_OK) {
        j->state[i] = b->check.state;
        if (!j->quiet && !j->json)
            print_table(b, place);
    } else {
        free(j->text[i]);
        j->text[i] = NULL;
    }
    close_bench(b);
    free(b);
    return code;
}

static int read_options(int argc, char **argv, job *j)
{
    static const char *const what[] = {"none", "page", NULL};
    rg_error err = {0};
    const rg_option options[] = {
        {"out", 'o', RG_OPTION_TEXT, &j->out, 0, 0, NULL},
        {"pictures", 0, RG_OPTION_CHOICE, &j->pictures, 0, 0, what},
        {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL},
        {"jobs", 'j', RG_OPTION_WHOLE, &j->workers, 1, 64, NULL},
        {"quiet", 'q', RG_OPTION_SWITCH, &j->quiet, 0, 0, NULL},
    };
    int count = (int)(sizeof options / sizeof options[0]);
    if (rg_options_read(argc, argv, options, count, j->folder, &j->sweeps, &err) != RG_OK)
        return rg_command_fail((int)err.code, "%s", err.text);
    if (j->sweeps == 0)
        return rg_command_fail(RG_USAGE, "calibrate check needs at least one sweep folder; "
                                         "rimglow calibrate check -h shows examples");
    return RG_OK;
}

static int print_json(const job *j, rg_check_state state, int exit_code)
{
    char *text = NULL;
    rg_error err = {0};
    rg_code code =
        rg_bench_report_all(rg_check_state_name(state), j->folder, (const char *const *)j->text,
                            j->error, j->sweeps, &text, &err);
    if (code != RG_OK)
        return rg_command_fail((int)code, "%s", err.text);
    puts(text);
    free(text);
    return exit_code;
}

static int run(job *j)
{
    static const int code_of[] = {
        [RG_CHECK_GOOD] = 0, [RG_CHECK_POOR] = 1, [RG_CHECK_NOT_SHOWN] = 2};
    rg_check_state worst = RG_CHECK_GOOD;
    int failed = RG_OK;
    time_t now = time(NULL);
    struct tm utc;
    if (gmtime_r(&now, &utc))
        strftime(j->date, sizeof j->date, "%Y-%m-%d %H:%M UTC", &utc);
    j->terminal = !j->quiet && isatty(STDERR_FILENO);
    for (int i = 0; i < j->sweeps; i++) {
        rg_error *e = &j->error[i];
        e->code = check_one(j, i, e);
        if (e->code != RG_OK) {
            rg_command_fail(0, "%s", e->text);
            failed = failed == RG_OK ? (int)e->code : failed;
        } else if (j->state[i] == RG_CHECK_POOR || worst == RG_CHECK_GOOD) {
            worst = j->state[i];
        }
    }
    int exit_code = failed != RG_OK ? failed : code_of[worst];
    if (j->json)
        exit_code = print_json(
            j, failed != RG_OK && worst == RG_CHECK_GOOD ? RG_CHECK_NOT_SHOWN : worst, exit_code);
    if (fflush(stdout) != 0 || ferror(stdout))
        return rg_command_fail(RG_IO, "standard output cannot be written; is the disk full?");
    return exit_code;
}

int rg_cmd_calibrate_check(int argc, char **argv)
{
    job j = {.out = "inspection", .pictures = 1};
    size_t n = (size_t)argc;
    j.folder = rg_alloc(n, sizeof *j.folder);
    j.text = rg_alloc(n, sizeof *j.text);
    j.error = rg_alloc(n, sizeof *j.error);
    j.state = rg_alloc(n, sizeof *j.state);
    int code =
        j.folder && j.text && j.error && j.state
            ? read_options(argc, argv, &j)
            : rg_command_fail(RG_INTERNAL, "out of memory; close other programs and try again");
    if (code == RG_OK)
        code = run(&j);
    for (int i = 0; j.text && i < j.sweeps; i++)
        free(j.text[i]);
    free(j.folder);
    free(j.text);
    free(j.error);
    free(j.state);
    return code;
}
