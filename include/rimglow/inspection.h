/*
 * inspection.h - one sweep folder, from the disk to results and back to the
 * disk: reads sweep.ini, instrument, station and frames, measures on all
 * cores, and writes seal-map.json and the pictures.
 */
#ifndef RIMGLOW_INSPECTION_H
#define RIMGLOW_INSPECTION_H

#include "rimglow/config.h"
#include "rimglow/digest.h"
#include "rimglow/pool.h"

enum { RG_INPUT_PATH = 1600 };

/* What a sweep.ini cannot know when the sweep was moved, as into an archive. */
typedef struct rg_inspection_given {
    const char *instrument,
        *station;   /* files in place of those that sweep.ini names; may be NULL */
    int judged_day; /* the light's calibration is judged for this day; -1: the day of the frames, or
                       today's where that is not stated */
} rg_inspection_given;

typedef struct rg_inspection {
    char folder[1024];       /* as given */
    char name[RG_NAME_SIZE]; /* last part of the folder's path */
    rg_sweep sweep;
    rg_instrument instrument;
    rg_station station;
    rg_setup setup;
    rg_frame *frames; /* owned; [sweep.frames] */
    rg_sweep_result result;
    rg_opening opening; /* frames_given = 0: no open frames, no heights */
    /* What was measured, bit for bit: */
    char instrument_file[RG_INPUT_PATH], station_file[RG_INPUT_PATH];
    rg_digest sweep_digest, instrument_digest, station_digest;
    rg_digest *frame_digest; /* owned; [sweep.frames], zeroed where a frame could not be read */
    int judged_day;          /* date.h: the day for which the light's calibration was judged */
} rg_inspection;

/* Told while frames are taken and pictures drawn; may be NULL. */
typedef struct rg_progress {
    void (*report)(void *context, const char *what, int done, int total);
    void *context;
} rg_progress;

/* Reads the files of a sweep folder (not the frames). On failure *inspection
 * owns nothing. */
rg_code rg_inspection_open(rg_inspection *inspection, const char *folder, rg_error *err);
rg_code rg_inspection_open_given(rg_inspection *inspection, const char *folder,
                                 const rg_inspection_given *given, rg_error *err);
/* Takes and measures all frames with so many workers (0: all cores). */
rg_code rg_inspection_run(rg_inspection *inspection, int workers, const rg_progress *progress,
                          rg_error *err);
void rg_inspection_close(rg_inspection *inspection);

/* All frames are of the open key: the verdict on the seal is then undecided. */
bool rg_inspection_heights_only(const rg_inspection *inspection);

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
