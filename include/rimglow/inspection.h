/*
 * inspection.h - one sweep folder, from the disk to results and back to the
 * disk: reads sweep.ini, instrument, station and frames, measures on all
 * cores, and writes seal-map.json and the pictures.
 */
#ifndef RIMGLOW_INSPECTION_H
#define RIMGLOW_INSPECTION_H

#include "rimglow/config.h"
#include "rimglow/pool.h"

typedef struct rg_inspection {
    char folder[1024];       /* as given */
    char name[RG_NAME_SIZE]; /* last part of the folder's path */
    rg_sweep sweep;
    rg_instrument instrument;
    rg_station station;
    rg_setup setup;
    rg_frame *frames; /* owned; [sweep.frames] */
    rg_sweep_result result;
} rg_inspection;

/* Told while frames are taken and pictures drawn; may be NULL. */
typedef struct rg_progress {
    void (*report)(void *context, const char *what, int done, int total);
    void *context;
} rg_progress;

/* Reads the files of a sweep folder (not the frames). On failure *inspection
 * owns nothing. */
rg_code rg_inspection_open(rg_inspection *inspection, const char *folder, rg_error *err);
/* Takes and measures all frames with so many workers (0: all cores). */
rg_code rg_inspection_run(rg_inspection *inspection, int workers, const rg_progress *progress,
                          rg_error *err);
void rg_inspection_close(rg_inspection *inspection);

/* The seal map as JSON, owned by the caller (free()). */
rg_code rg_inspection_json(const rg_inspection *inspection, char **text, rg_error *err);

typedef enum rg_pictures {
    RG_PICTURES_NONE,
    RG_PICTURES_MAP, /* ring map and strip */
    RG_PICTURES_ALL  /* and every frame */
} rg_pictures;

/* Writes OUT/<serial>/<name>/: seal-map.json, ring.svg/.png, strip.svg/.png and
 * frames/<file>.svg/.png. *place (RG_PLACE_SIZE bytes) gets the folder. Each
 * file is written whole or not at all. */
enum { RG_PLACE_SIZE = 1400 };
/* OUT/<serial>/<name>; cut to RG_PLACE_SIZE, which rg_inspection_write refuses. */
void rg_inspection_place(const rg_inspection *inspection, const char *out, char *place);
rg_code rg_inspection_write(const rg_inspection *inspection, const char *out, rg_pictures pictures,
                            const char *date, int workers, const rg_progress *progress, char *place,
                            rg_error *err);

#endif
