/*
 * bench_light.h - the light, after the sweep over a feeler: ends the sweep, fits, and writes, by the functions of
 * `rimglow calibrate light`, on a thread of its own.
 */
#ifndef RIMGLOW_APP_BENCH_LIGHT_H
#define RIMGLOW_APP_BENCH_LIGHT_H

#include "rimglow/lightjob.h"
#include "rimglow/live.h"

typedef struct rg_bench_light rg_bench_light; /* opaque */

/* Takes the sweep over, on success only. Results go to the sweep's folder, below result. */
rg_code rg_bench_light_start(rg_live *sweep, int workers, rg_bench_light **light, rg_error *err);
/* Waits for the thread. *sweep gets what came of the sweep's frames; unchanged where light is NULL. */
void rg_bench_light_close(rg_bench_light *light, rg_live_state *sweep);

typedef struct rg_bench_light_state {
    bool done;
    rg_code code; /* of the fit */
    rg_error err;
    const char *fault;  /* why the values should not be used; NULL: they should */
    const char *json;   /* of the result, NULL: none; light's until it is closed */
    const char *folder; /* the sweep's */
} rg_bench_light_state;
void rg_bench_light_look(rg_bench_light *light, rg_bench_light_state *state);
/* Once it is done. RG_USAGE for values that should not be used. */
rg_code rg_bench_light_write(rg_bench_light *light, const char *station_file, rg_error *err);
/* Once it is done: the response as SVG, given away. */
rg_bytes rg_bench_light_picture(rg_bench_light *light);

#endif
