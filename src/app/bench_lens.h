/*
 * bench_lens.h - the lens, live: pictures come in, photographs of the board are taken from them, and the lens is
 * calibrated from those again and again.
 *
 * One thread looks for the board in the newest picture, another one calibrates; whoever calls waits for neither.
 * The photographs lie untouched in a folder of their own; `rimglow calibrate lens FOLDER/photo_*` gives the
 * values that are shown here, which lie in FOLDER/result. All functions may be called from one thread.
 */
#ifndef RIMGLOW_APP_BENCH_LENS_H
#define RIMGLOW_APP_BENCH_LENS_H

#include <jansson.h>

#include "rimglow/lensjob.h"
#include "rimglow/live.h"

typedef struct rg_bench_lens rg_bench_lens; /* opaque */

typedef struct rg_bench_lens_options {
    const char *board_file; /* NULL or "": calib/board.ini */
    const char *out;        /* photographs go to OUT/lens-DATE */
    rg_lens rough;          /* the station's: tilts are told by it until there is a result */
    bool recorded;          /* pictures of a folder, shown until they are done with */
} rg_bench_lens_options;

rg_code rg_bench_lens_open(const rg_bench_lens_options *options, rg_bench_lens **lens,
                           rg_error *err);
/* Ends both threads. Photographs stay; a folder is made with the first of them. */
void rg_bench_lens_close(rg_bench_lens *lens);

/* photo: which recorded picture this is, -1 of a camera. */
void rg_bench_lens_offer(rg_bench_lens *lens, const rg_source_frame *frame, int photo);
/* A picture waits or is being looked at. */
bool rg_bench_lens_busy(rg_bench_lens *lens);
/* Whether the recorded picture is done with: taken, or there is nothing to take it for. */
bool rg_bench_lens_passed(rg_bench_lens *lens, int photo);
/* Grows with every change of what there is to see. */
uint64_t rg_bench_lens_version(rg_bench_lens *lens);

/* A photograph from the next picture, whether it is new or not. */
void rg_bench_lens_take(rg_bench_lens *lens);
void rg_bench_lens_automatic(rg_bench_lens *lens, bool on);
/* The last photograph does not count; its file goes to FOLDER/back. */
rg_code rg_bench_lens_back(rg_bench_lens *lens, rg_error *err);
/* As rg_lensjob_station and rg_lensjob_remarks; RG_USAGE while there is no result of all photographs. */
rg_code rg_bench_lens_write(rg_bench_lens *lens, const char *station_file,
                            char remark[RG_LENSJOB_REMARKS][RG_LENSJOB_REMARK], int *remarks,
                            rg_error *err);
/* As bench.h has it; NULL without memory. */
json_t *rg_bench_lens_json(rg_bench_lens *lens);

#endif
