/*
 * cmd_calibrate_light.c - rimglow calibrate light SWEEP
 */
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "rimglow/command.h"
#include "rimglow/lightjob.h"
#include "rimglow/options.h"

const char rg_help_calibrate_light[] =
    "rimglow calibrate light [options] SWEEP\n"
    "\n"
    "Finds out what the light of a thin gap means at this bench, from one sweep of a\n"
    "pad that rests on a feeler strip. The strip lifts the pad on one side: opposite\n"
    "it the pad touches, and in between stands every gap from zero to the strip's\n"
    "thickness, each at a known bearing.\n"
    "\n"
    "What you need: a good pad with a crown on its cup, the leak light, and one\n"
    "feeler strip of 0.08 to 0.15 mm, a few mm wide.\n"
    "  1. Measure the strip with a micrometer, five times; the number engraved on it\n"
    "     is not good enough. Note mean and scatter.\n"
    "  2. Lay it between pad and rim, straight towards the hole's middle, where the\n"
    "     key arm does not hide it. Close the key with a rubber band.\n"
    "  3. Sweep as always: six bearings or more, rocking slowly through the rim\n"
    "     plane, and a witness frame at a shorter exposure.\n"
    "  4. Add to sweep.ini:\n"
    "       [wedge]\n"
    "       feeler_mm = 0.100     ; by micrometer\n"
    "       feeler_u_mm = 0.001   ; its standard uncertainty\n"
    "       bearing_deg = 180     ; of the strip; 0 is at the key arm\n"
    "       width_mm = 3.0        ; of the strip\n"
    "\n"
    "Examples:\n"
    "  rimglow calibrate light samples/wedge\n"
    "      shows the response; pictures go to calibration/light/\n"
    "  rimglow calibrate light samples/wedge --write calib/bench.ini\n"
    "      and puts the values into the station file; its comments stay\n"
    "\n"
    "Options:\n"
    "  -w, --write FILE   station file that gets the values (only if they are good)\n"
    "  -o, --out DIR      where results go (default: calibration/light)\n"
    "      --json         print the calibration as JSON\n"
    "  -j, --jobs N       workers (default: one for each core)\n"
    "  -q, --quiet        no table and no progress\n"
    "  -h, --help         this text\n"
    "\n"
    "The calibration belongs to one lens, aperture, gain, distance and lamp. Say gain\n"
    "and exposure under [taken] in sweep.ini: sweeps at another exposure are scaled,\n"
    "at another gain refused. Never look into the leak light; keep a hot lamp away\n"
    "from pads and lacquer.\n"
    "\n"
    "Exit codes: 0 good, 1 not good (the station file stays as it is); 64 wrong\n"
    "command line, 65 bad data, 66 a file is missing, 70 internal, 73/74 cannot\n"
    "write.\n";

typedef struct job {
    const char *folder, *write, *out;
    int workers;
    bool json, quiet, terminal;
    rg_lightjob light;
} job;

static int read_options(int argc, char **argv, job *j)
{
    rg_error err = {0};
    const char *operand[64];
    int count = 0;
    const rg_option options[] = {{"write", 'w', RG_OPTION_TEXT, &j->write, 0, 0, NULL},
                                 {"out", 'o', RG_OPTION_TEXT, &j->out, 0, 0, NULL},
                                 {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL},
                                 {"jobs", 'j', RG_OPTION_WHOLE, &j->workers, 1, 64, NULL},
                                 {"quiet", 'q', RG_OPTION_SWITCH, &j->quiet, 0, 0, NULL}};
    if (argc > 60)
        return rg_command_fail(RG_USAGE, "calibrate light takes one sweep folder");
    if (rg_options_read(argc, argv, options, (int)(sizeof options / sizeof options[0]), operand,
                        &count, &err) != RG_OK)
        return rg_command_fail((int)err.code, "%s", err.text);
    if (count != 1)
        return rg_command_fail(RG_USAGE,
                               "calibrate light takes one sweep folder, not %d; "
                               "rimglow calibrate light -h shows examples",
                               count);
    j->folder = operand[0];
    return RG_OK;
}

/* ---------------------------------------------------------------- results */

static void print_values(const rg_wedge_result *r)
{
    printf("%-20s %9s %9s %9s\n", "value", "was", "is", "u");
    for (int k = 0; k < RG_WEDGE_VALUES; k++)
        printf("%-20s %9.3f %9.3f %9.3f\n", rg_wedge_value_key((rg_wedge_value)k), r->before[k],
               r->value[k], r->u[k]);
    printf("\nslot depth %.2f mm, blur %.2f px, %.1f px/mm; full scale at %.3f, reached by %.0f %% "
           "of the lit columns\n",
           r->depth_mm, r->psf_sigma_px, r->px_per_mm, r->full_scale, 100 * r->clipped_share);
    printf("residual %.4f mm rms (was %.4f), worst %+.4f mm at %.0f; reading = %+.4f mm + %.3f gap "
           "(u %.4f mm, %.3f)\n",
           r->rms_mm, r->rms_before_mm, r->worst_mm, r->worst_bearing_deg, r->offset_mm, r->slope,
           r->u_offset_mm, r->u_slope);
    printf("slot model: u %.4f mm and %.3f of the width\n", r->floor_mm, r->relative);
}

static void print_response(const rg_wedge_result *r)
{
    printf("\n%10s %14s %14s %10s\n", "gap, mm", "light alone", "calibrated", "bearings");
    for (int i = 0; i < r->nodes; i++)
        printf("%10.4f %14.4f %14.4f %10d\n", r->node[i].width_mm, r->node[i].flux_mm,
               r->node[i].reading_mm, r->node[i].bearings);
    printf("\nsmallest gap that one frame shows by noise and geometry alone, mm\n%-22s",
           "elevation, degrees");
    for (int e = 0; e < RG_WEDGE_ELEVATIONS; e++)
        printf("%8.2f", r->elevation_deg[e]);
    for (int a = 0; a < RG_WEDGE_AMBIENTS; a++) {
        printf("\nroom light +%-10.2f", r->ambient[a]);
        for (int e = 0; e < RG_WEDGE_ELEVATIONS; e++)
            printf("%8.4f", r->detection_mm[a][e]);
    }
    puts("");
}

static void print_table(const job *j, bool written)
{
    const rg_lightjob *l = &j->light;
    printf("Calibration of the light of \"%s\" from %s: %d bearings in %d frames\n\n",
           l->in.station.name, j->folder, l->result.bearings, l->result.frames);
    print_values(&l->result);
    print_response(&l->result);
    printf("\n%s", l->fault ? "NOT GOOD: " : "good");
    puts(l->fault ? l->fault : "");
    printf("= %s/response.png, .svg, .pdf, light.json\n", j->out);
    if (written)
        printf("= %s has the new values\n", j->write);
    else if (!l->fault)
        puts("  (nothing was written to a station file; --write FILE does)");
}

static rg_code measure(job *j, rg_error *err)
{
    rg_progress progress = {rg_command_progress, &j->terminal};
    rg_code code = rg_lightjob_run(&j->light, j->workers, &progress, err);
    if (j->terminal)
        fputs("                       \r", stderr);
    return code;
}

static rg_code calibrate(job *j, rg_error *err)
{
    char *json = NULL;
    const rg_lightjob *l = &j->light;
    rg_code code = measure(j, err);
    if (code == RG_OK)
        code = rg_lightjob_json(l, &json, err);
    if (code == RG_OK)
        code = rg_lightjob_write(l, j->out, json, err);
    if (code == RG_OK && j->write && !l->fault)
        code = rg_lightjob_station(l, j->write, err);
    if (code == RG_OK && j->json)
        puts(json);
    else if (code == RG_OK && !j->quiet)
        print_table(j, j->write && !l->fault);
    free(json);
    return code;
}

int rg_cmd_calibrate_light(int argc, char **argv)
{
    job j = {.out = "calibration/light"};
    rg_error err = {0};
    int exit_code = read_options(argc, argv, &j);
    if (exit_code != RG_OK)
        return exit_code;
    j.terminal = !j.quiet && isatty(STDERR_FILENO);
    rg_code code = rg_lightjob_open(&j.light, j.folder, &err);
    if (code == RG_OK) {
        code = calibrate(&j, &err);
        rg_lightjob_close(&j.light);
    }
    if (code != RG_OK)
        return rg_command_fail((int)code, "%s", err.text);
    if (fflush(stdout) != 0 || ferror(stdout))
        return rg_command_fail(RG_IO, "standard output cannot be written; is the disk full?");
    if (j.light.fault && (j.json || j.quiet))
        rg_command_fail(0, "%s: %s", j.folder, j.light.fault);
    return j.light.fault ? 1 : 0;
}
