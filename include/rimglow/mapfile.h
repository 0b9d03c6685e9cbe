/*
 * mapfile.h - JSON back in: a seal map that was written by report.h, and the
 * truth of a sample or a made-up gap.
 *
 * Numbers are checked at the door: finite, within what a rim can be, 360 bins in
 * order. A refusal is RG_BAD_DATA with the file, the key and what it should be.
 */
#ifndef RIMGLOW_MAPFILE_H
#define RIMGLOW_MAPFILE_H

#include <stddef.h>

#include "rimglow/digest.h"
#include "rimglow/sealmap.h"

enum { RG_MAPFILE_MAX_BYTES = 4 * 1024 * 1024, RG_MAPFILE_NAME = 128, RG_MAPFILE_FRAMES = 512 };

typedef struct rg_map_file {
    /* Bins with bearing, width, u, detection limit, frames, lit, state and blocked; arcs
     * with all but their unseen ends; verdict and reasons. Uncertainty by parts is not read. */
    rg_seal_map map;
    double tolerance_mm, coverage_factor;
    char serial[RG_MAPFILE_NAME], pad[RG_MAPFILE_NAME];
    /* How it was measured. Texts "" and numbers NAN where the file does not say. */
    char software[RG_MAPFILE_NAME], instrument[RG_MAPFILE_NAME], station[RG_MAPFILE_NAME];
    char finger[16];
    double grams;
    bool light_proven, calibrated;
    double radiance; /* of a thin slot, luminance (IEC 61966-2-1 weights); NAN: not proven */
    double u_ln_radiance, psf_sigma_px;
    int calibration_day, judged_day; /* date.h; -1: never, not said */
    int frames_used, frames_given;   /* closed frames */
    char key[RG_MAPFILE_NAME];       /* pad whose key was pressed; "": its own */
    struct {                         /* of the open key (opening.h) */
        bool given, measured;        /* there are open frames; and an opening was found in them */
        double target_mm, far_mm, u_far_mm, hinge_mm, u_hinge_mm; /* NAN where not measured */
    } opening;
} rg_map_file;

/* The files that were measured, by their digests. */
typedef struct rg_map_inputs {
    rg_digest sweep, instrument, station;
    int frames;
    struct rg_map_input {
        char file[RG_MAPFILE_NAME];
        rg_digest digest; /* zeroed: the frame could not be read */
    } frame[RG_MAPFILE_FRAMES];
} rg_map_inputs;

/* seal-map.json, version 1. label names the file in messages. */
rg_code rg_mapfile_parse(const char *label, const char *text, size_t size, rg_map_file *file,
                         rg_error *err);

/* Of the same file. RG_BAD_DATA when it does not say, as before version 0.2 of the program. */
rg_code rg_mapfile_inputs(const char *label, const char *text, size_t size, rg_map_inputs *inputs,
                          rg_error *err);

/* A JSON object with w_mm[360]: the true gap width at bearings 0 to 359 degrees, mm,
 * 0 to 100 (samples/truth holds some). Other keys are ignored. */
rg_code rg_mapfile_truth(const char *label, const char *text, size_t size, double w_mm[RG_BINS],
                         rg_error *err);

#endif
