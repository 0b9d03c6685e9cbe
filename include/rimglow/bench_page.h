/*
 * bench_page.h - what the bench's server answers: page, state, wishes, archive.
 *
 *   GET  /                    the page; /bench.css, /common.js, /bench.js, /worklist.js, /archive, /archive.js,
 *                             /setup, /setup.js, /calibrate, /calibrate.css, /calibrate.js
 *   GET  /stream.mjpg         the camera's pictures as they come, multipart/x-mixed-replace
 *   GET  /events              the state (bench.h) at every change, server-sent events
 *   GET  /api/session         {csrf, version}: csrf goes into the header X-Csrf-Token of each POST
 *   GET  /api/state           the state once
 *   POST /api/role            {"role": "witness" | "closed" | "none"}
 *   POST /api/pad             {"pad": "next" | "previous" | NAME}
 *   POST /api/redo            {}
 *   POST /api/note            {"note": TEXT}
 *   POST /api/finger          {"finger": "light" | "firm" | "unstated" | "35 g"}
 *   POST /api/key             {"key": NAME of a pad whose key closes this one too | ""}: "": its own
 *   POST /api/technician      {"technician": NAME}
 *   POST /api/occasion        {"occasion": WORDS}
 *   POST /api/setup           {"quantity", "value", "unit", "u", "with"}: texts; u and with may be "";
 *                             value "": the quantity is removed. Or {"quantity", "check": "done" | "not done" |
 *                             ""}: somebody looked after it; "": nobody did
 *   POST /api/remark          {"topic", "text"}; text "": it is removed
 *   POST /api/finish          {}: archive and certificate; 202, and the state tells the rest
 *   POST /api/calibrate       {"do": WORD ...}, WORD one of:
 *        "lens"       begin, "board": FILE or "" for the bench's own, "automatic": false to take all by
 *                     hand; "leave": back to the pads
 *        "take"       photograph the board now; "automatic" with "on": by itself or not;
 *        "back"       the last photograph does not count; "skip": the next recorded photograph
 *        "light"      begin, "feeler_mm", "feeler_u_mm", "bearing_deg", "width_mm": numbers, "pad": NAME; the sweep is
 *                     then taken by /api/role
 *        "fit"        end the sweep and fit; "again": another sweep over the same feeler
 *        "write"      the values into the station's file, "station": its name once more
 *   GET  /calibrate/response.svg  of the light calibrated last
 *   GET  /api/archive         ?serial=&verdict=&pad=&technician=: {"inspections": [...]}, newest first
 *   GET  /api/history         ?serial=: {"serial", "sweeps": [...]}, oldest first
 *   GET  /api/visits          {"visits": [{bag, sequence, time, occasion, technician, note, values[]}]} of the
 *                             serial at the bench, newest first: set-up values as in the state
 *   GET  /api/decision        would it be released as it stands, or held, and why (bench.h); archives nothing
 *   GET  /archive/certificate ?bag=: HTML
 *   GET  /archive/history.svg ?serial=&pad=: picture over all visits
 *   GET  /archive/compare.svg ?serial=&pad=&visit=: that visit against the one before it
 *
 * A wish that cannot be granted is 409 with {"error": why}; a body that is none is 400.
 */
#ifndef RIMGLOW_BENCH_PAGE_H
#define RIMGLOW_BENCH_PAGE_H

#include "rimglow/bench.h"
#include "rimglow/server.h"

typedef struct rg_bench_page rg_bench_page; /* opaque */

typedef struct rg_bench_page_options {
    rg_bench *bench;
    const char *listen; /* NULL: 127.0.0.1 */
    int port;
    bool token;
} rg_bench_page_options;

rg_code rg_bench_page_open(const rg_bench_page_options *options, rg_bench_page **page,
                           rg_error *err);
void rg_bench_page_url(const rg_bench_page *page, char *url, size_t size);
void rg_bench_page_close(rg_bench_page *page);

#endif
