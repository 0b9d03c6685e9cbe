/*
 * results.h - results of rimglow inspect on the disk, taken again when they are of exactly these files.
 */
#ifndef RIMGLOW_RESULTS_H
#define RIMGLOW_RESULTS_H

#include "rimglow/inspection.h"
#include "rimglow/mapfile.h"

typedef struct rg_results {
    char place[RG_PLACE_SIZE]; /* folder of seal-map.json and the pictures */
    char *text;                /* owned: seal-map.json */
    size_t size;
    rg_map_file map;
    rg_map_inputs inputs;
} rg_results;

/* Looks in OUT/<serial>/<name> (results->place is set in any case). *current: there are results, of exactly
 * this sweep.ini, instrument, station and frames by their digests, and of this version of the program.
 * Otherwise they own nothing. A failure is RG_INTERNAL; unreadable results are just not current. */
rg_code rg_results_find(const rg_inspection *inspection, const char *out, rg_results *results,
                        bool *current, rg_error *err);
/* Reads what stands in results->place, whatever it is of. On failure they own nothing. */
rg_code rg_results_read(rg_results *results, rg_error *err);
void rg_results_free(rg_results *results);

#endif
