/*
 * cmd_calibrate_lens.c - rimglow calibrate lens PHOTO... | --corners FILE.csv
 */
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "rimglow/command.h"
#include "rimglow/lensjob.h"
#include "rimglow/memory.h"
#include "rimglow/options.h"
#include "rimglow/text.h"

enum { NOT_ENOUGH = 2 };

const char rg_help_calibrate_lens[] =
    "rimglow calibrate lens [options] PHOTO...\n"
    "rimglow calibrate lens [options] --corners FILE.csv\n"
    "\n"
    "Finds focal length, optical centre and distortion of the camera from 8 to 20\n"
    "photographs of the printed board, says how well they are known, and what to\n"
    "photograph next when that is not enough.\n"
    "\n"
    "How to: print the board at 100 %, glue it to something flat, measure tag and\n"
    "pitch, write them into board.ini. Camera on its stand, focus and zoom as for\n"
    "sweeps and not touched again. Photograph the board so that it fills most of the\n"
    "picture: straight on, tipped 20 to 40 degrees up, down, left and right, and\n"
    "moved into each corner of the picture.\n"
    "\n"
    "Examples:\n"
    "  rimglow calibrate lens board/*.jpg\n"
    "      values, picture and advice; results go to calibration/\n"
    "  rimglow calibrate lens --write calib/bench.ini board/*.jpg\n"
    "      the same, and puts the values into the station's [lens], if good enough\n"
    "  rimglow calibrate lens --corners tests/data/lens/left_corners.csv\n"
    "      corners that another program found: view,x_mm,y_mm,u_px,v_px\n"
    "\n"
    "Options:\n"
    "  -b, --board FILE     board and limits (default: calib/board.ini)\n"
    "      --corners FILE   a list of corners instead of photographs\n"
    "      --size WxH       its picture size, where the file has no \"# size\" line\n"
    "  -w, --write FILE     station file that gets the values\n"
    "  -o, --out DIR        where results go (default: calibration)\n"
    "      --pictures WHAT  all (default) or none\n"
    "      --json           print the result as JSON\n"
    "  -j, --jobs N         workers (default: one for each core)\n"
    "  -q, --quiet          no table and no progress\n"
    "  -h, --help           this text\n"
    "\n"
    "Reading the table: rms is the distance of the marks from their places,\n"
    "sqrt(sum of squares / marks). A photograph far above the others is left out and\n"
    "named; both results are given. lens.png shows where marks have been seen.\n"
    "\n"
    "Exit codes: 0 good enough, 2 more photographs needed (values are given, a\n"
    "station is not written); 64 wrong command line, 65 bad data, 66 a file is\n"
    "missing, 70 internal, 73 an output cannot be made, 74 writing failed.\n";

typedef struct job {
    const char *board, *corners, *size, *write, *out;
    int pictures, workers, photos, width, height;
    bool json, quiet, terminal;
    const char **photo; /* [photos] */
} job;

static int read_size(job *j)
{
    char width[16], height[16], rest[2];
    long w, h;
    if (!j->size)
        return RG_OK;
    if (!j->corners)
        return rg_command_fail(RG_USAGE, "--size goes with --corners; photographs know their size");
    if (sscanf(j->size, "%15[^x]x%15s%1s", width, height, rest) != 2 ||
        !rg_parse_int(width, RG_IMAGE_MIN_SIDE, RG_IMAGE_MAX_SIDE, &w) ||
        !rg_parse_int(height, RG_IMAGE_MIN_SIDE, RG_IMAGE_MAX_SIDE, &h))
        return rg_command_fail(RG_USAGE, "--size %s: write width x height as in 640x480, %d to %d",
                               j->size, RG_IMAGE_MIN_SIDE, RG_IMAGE_MAX_SIDE);
    j->width = (int)w;
    j->height = (int)h;
    return RG_OK;
}

static int read_options(int argc, char **argv, job *j)
{
    static const char *const what[] = {"none", "all", NULL};
    static const char full_name[] = "calibrate lens"; /* for "rimglow ... -h" in messages */
    rg_error err = {0};
    const rg_option options[] = {
        {"board", 'b', RG_OPTION_TEXT, &j->board, 0, 0, NULL},
        {"corners", 0, RG_OPTION_TEXT, &j->corners, 0, 0, NULL},
        {"size", 0, RG_OPTION_TEXT, &j->size, 0, 0, NULL},
        {"write", 'w', RG_OPTION_TEXT, &j->write, 0, 0, NULL},
        {"out", 'o', RG_OPTION_TEXT, &j->out, 0, 0, NULL},
        {"pictures", 0, RG_OPTION_CHOICE, &j->pictures, 0, 0, what},
        {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL},
        {"jobs", 'j', RG_OPTION_WHOLE, &j->workers, 1, 64, NULL},
        {"quiet", 'q', RG_OPTION_SWITCH, &j->quiet, 0, 0, NULL},
    };
    argv[0] = (char *)(uintptr_t)full_name;
    if (rg_options_read(argc, argv, options, (int)(sizeof options / sizeof *options), j->photo,
                        &j->photos, &err) != RG_OK)
        return rg_command_fail((int)err.code, "%s", err.text);
    if (!j->corners && j->photos == 0)
        return rg_command_fail(RG_USAGE, "calibrate lens needs photographs of the board, or "
                                         "--corners; rimglow calibrate lens -h shows examples");
    if (j->corners && j->photos > 0)
        return rg_command_fail(RG_USAGE, "%s: give photographs or --corners, not both",
                               j->photo[0]);
    return read_size(j);
}

static void show_progress(void *context, int done, int total)
{
    job *j = context;
    rg_command_progress(&j->terminal, "photograph", done, total);
}

/* ------------------------------------------------------------------- table */

static void print_views(const rg_lensjob *l)
{
    printf("%-28s %6s %8s\n", "photograph", "marks", "rms px");
    for (int i = 0; i < l->views; i++) {
        const rg_view_fit *v = &l->calibration.view[i];
        char rms[16] = "-";
        if (isfinite(v->rms_px))
            snprintf(rms, sizeof rms, "%.3f", v->rms_px);
        printf("%-28s %6d %8s%s\n", l->view[i].name, l->view[i].corners, rms,
               v->used ? "" : "  left out: does not fit the others");
    }
    for (int i = 0; i < l->unused; i++)
        printf("%-28s not used: %s\n", l->unused_file[i], l->unused_reason[i]);
}

static void print_values(const rg_lens_fit *f)
{
    static const char *const name[RG_LENS_VALUES] = {"fx_px", "fy_px", "cx_px", "cy_px", NULL,
                                                     "k1",    "k2",    "p1",    "p2",    "k3"};
    const rg_lens *l = &f->lens;
    const double value[RG_LENS_VALUES] = {l->fx, l->fy, l->cx, l->cy, 0,
                                          l->k1, l->k2, l->p1, l->p2, l->k3};
    printf("\n%-28s %12s  %s\n", "lens", "value", "standard deviation");
    for (int i = 0; i < RG_LENS_VALUES; i++) {
        if (name[i] && i <= RG_LENS_CY)
            printf("%-28s %12.3f  %.3f\n", name[i], value[i], f->sd[i]);
        else if (name[i] && f->sd[i] > 0)
            printf("%-28s %12.6f  %.6f\n", name[i], value[i], f->sd[i]);
        else if (name[i])
            printf("%-28s %12g  not fitted\n", name[i], value[i]);
    }
}

static void print_summary(const rg_lensjob *l)
{
    const rg_calibration *c = &l->calibration;
    printf("\n%d good photographs, %d marks, rms %.3f px", c->fit.views, c->fit.points,
           c->fit.rms_px);
    if (c->bad_views > 0)
        printf(" (with all %d: rms %.3f px, fx %.2f)", c->all.views, c->all.rms_px, c->all.lens.fx);
    printf("\nfocal length known to %.3f %%; board tipped up to %.0f degrees\n",
           100 * l->review.focal_relative, l->review.largest_tilt_deg);
    printf("\n%s\n", l->review.good ? "GOOD ENOUGH" : "MORE PHOTOGRAPHS NEEDED");
    for (int i = 0; i < l->review.advices; i++)
        printf("  - %s\n", l->review.advice[i]);
}

/* ---------------------------------------------------------------- station */

static void say_written(const job *j, const rg_lensjob *l, const rg_station *old)
{
    char remark[RG_LENSJOB_REMARKS][RG_LENSJOB_REMARK];
    int n = rg_lensjob_remarks(l, j->write, old, remark);
    for (int i = 0; i < n; i++)
        puts(remark[i]);
}

static int write_station(const job *j, const rg_lensjob *l)
{
    rg_station old;
    rg_error err = {0};
    bool say = !j->quiet && !j->json;
    if (!j->write)
        return RG_OK;
    if (!l->review.good) {
        if (say)
            printf("%s was not written: the lens is not known well enough yet\n", j->write);
        return RG_OK;
    }
    if (rg_lensjob_station(l, j->write, &old, &err) != RG_OK)
        return rg_command_fail((int)err.code, "%s", err.text);
    if (say)
        say_written(j, l, &old);
    return RG_OK;
}

static int print_json(const rg_lensjob *l)
{
    char *text = NULL;
    rg_error err = {0};
    if (rg_lensjob_json(l, &text, &err) != RG_OK)
        return rg_command_fail((int)err.code, "%s", err.text);
    puts(text);
    free(text);
    return RG_OK;
}

static int present(const job *j, const rg_lensjob *l)
{
    char date[32] = "";
    time_t now = time(NULL);
    struct tm utc;
    rg_error err = {0};
    if (gmtime_r(&now, &utc))
        strftime(date, sizeof date, "%Y-%m-%d %H:%M UTC", &utc);
    if (!j->quiet && !j->json) {
        print_views(l);
        print_values(&l->calibration.fit);
        print_summary(l);
    }
    if (rg_lensjob_write(l, j->out, j->pictures, date, &err) != RG_OK)
        return rg_command_fail((int)err.code, "%s", err.text);
    if (!j->quiet && !j->json)
        printf("\nresults: %s/lens.json%s\n", j->out,
               j->pictures ? ", lens.png and lens.svg beside it" : "");
    int code = write_station(j, l);
    if (code == RG_OK && j->json)
        code = print_json(l);
    if (code == RG_OK && (fflush(stdout) != 0 || ferror(stdout)))
        return rg_command_fail(RG_IO, "standard output cannot be written; is the disk full?");
    return code != RG_OK ? code : l->review.good ? RG_OK : NOT_ENOUGH;
}

static int run(job *j)
{
    rg_lensjob l;
    rg_error err = {0};
    j->terminal = !j->quiet && isatty(STDERR_FILENO);
    rg_code code = rg_lensjob_open(&l, j->board, &err);
    if (code == RG_OK && j->write)
        code = rg_lensjob_station_check(j->write, &err);
    if (code == RG_OK && j->corners)
        code = rg_lensjob_corners(&l, j->corners, j->width, j->height, &err);
    else if (code == RG_OK)
        code = rg_lensjob_photos(&l, j->photo, j->photos, j->workers, show_progress, j, &err);
    int exit_code = code == RG_OK ? present(j, &l) : rg_command_fail((int)code, "%s", err.text);
    rg_lensjob_close(&l);
    return exit_code;
}

int rg_cmd_calibrate_lens(int argc, char **argv)
{
    job j = {.out = "calibration", .pictures = 1};
    j.photo = rg_alloc((size_t)argc, sizeof *j.photo);
    int code =
        j.photo ? read_options(argc, argv, &j)
                : rg_command_fail(RG_INTERNAL, "out of memory; close other programs and try again");
    if (code == RG_OK)
        code = run(&j);
    free(j.photo);
    return code;
}
