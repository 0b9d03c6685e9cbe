/*
 * lightjob.h - a calibration of the light from disk to disk: the sweep of a pad on a feeler strip to
 * a result, its pictures, and a station's file.
 */
#ifndef RIMGLOW_LIGHTJOB_H
#define RIMGLOW_LIGHTJOB_H

#include "rimglow/date.h"
#include "rimglow/draw.h"
#include "rimglow/inspection.h"

typedef struct rg_lightjob {
    rg_inspection in;     /* of the sweep */
    rg_wedge_blade blade; /* as its [wedge] says */
    rg_wedge_result result;
    const char *fault;       /* why it should not be used; NULL: it should */
    char date[RG_DATE_TEXT]; /* the day of the sweep, or today where that is not stated */
} rg_lightjob;

/* Opens the sweep's folder. On failure the job owns nothing. */
rg_code rg_lightjob_open(rg_lightjob *job, const char *folder, rg_error *err);
/* Measures the sweep and fits. RG_BAD_DATA where the folder has no [wedge], and as
 * rg_wedge_calibrate says. progress may be NULL. */
rg_code rg_lightjob_run(rg_lightjob *job, int workers, const rg_progress *progress, rg_error *err);
void rg_lightjob_close(rg_lightjob *job);

/* The result as JSON; free() it. */
rg_code rg_lightjob_json(const rg_lightjob *job, char **text, rg_error *err);
rg_code rg_lightjob_draw(const rg_lightjob *job, rg_picture_format format, rg_bytes *picture,
                         rg_error *err);
/* Writes response.png, .svg, .pdf and light.json (the text of rg_lightjob_json) into a folder, which is
 * made. */
rg_code rg_lightjob_write(const rg_lightjob *job, const char *folder, const char *json,
                          rg_error *err);

/* Puts the values into a station's file; every other byte stays. Nothing is written unless the new file
 * reads back. RG_USAGE for a calibration with a fault. */
rg_code rg_lightjob_station(const rg_lightjob *job, const char *station_file, rg_error *err);

#endif
