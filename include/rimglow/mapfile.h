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

#include "rimglow/sealmap.h"

enum { RG_MAPFILE_MAX_BYTES = 4 * 1024 * 1024, RG_MAPFILE_NAME = 128 };

typedef struct rg_map_file {
    /* Bins with bearing, width, u, detection limit, frames, lit and state; arcs
     * with all but their unseen ends. Uncertainty by parts, reasons and frames are not read. */
    rg_seal_map map;
    double tolerance_mm, coverage_factor;
    char serial[RG_MAPFILE_NAME], pad[RG_MAPFILE_NAME];
} rg_map_file;

/* seal-map.json, version 1. label names the file in messages. */
rg_code rg_mapfile_parse(const char *label, const char *text, size_t size, rg_map_file *file,
                         rg_error *err);

/* A JSON object with w_mm[360]: the true gap width at bearings 0 to 359 degrees, mm,
 * 0 to 100 (samples/truth holds some). Other keys are ignored. */
rg_code rg_mapfile_truth(const char *label, const char *text, size_t size, double w_mm[RG_BINS],
                         rg_error *err);

#endif
