/*
 * lensjob.h - a lens calibration from disk to disk: photographs of the board,
 * or a list of corners, to a result, its pictures, and a station's file.
 */
#ifndef RIMGLOW_LENSJOB_H
#define RIMGLOW_LENSJOB_H

#include "rimglow/config.h"
#include "rimglow/config_board.h"
#include "rimglow/corners.h"
#include "rimglow/lens_report.h"
#include "rimglow/pool.h"

typedef struct rg_lensjob {
    rg_board_config config;
    int photos;              /* 0 with a list of corners */
    const char *const *file; /* borrowed, [photos] */
    rg_board_photo *photo;   /* owned, [photos] */
    rg_view *view;           /* owned, with their corners; [views] */
    int views;
    rg_calibration calibration; /* owned */
    rg_lens_review review;
    int unused;                 /* photographs without a usable board */
    const char **unused_file;   /* owned, names borrowed */
    const char **unused_reason; /* owned, texts borrowed */
} rg_lensjob;

/* Reads the board's file; NULL: board.ini where calib_file.h finds it. */
rg_code rg_lensjob_open(rg_lensjob *job, const char *board_file, rg_error *err);
/* Frees everything; safe on a zeroed job. */
void rg_lensjob_close(rg_lensjob *job);

/* Looks at every photograph (on all cores for workers 0), then calibrates.
 * RG_NO_INPUT for a file that is missing; a photograph that cannot be decoded
 * or shows no usable board is left out with a reason. */
rg_code rg_lensjob_photos(rg_lensjob *job, const char *const *file, int photos, int workers,
                          rg_job_done *done, void *context, rg_error *err);
/* What one photograph shows, for rg_lensjob_seen. bytes that are no picture, or show no usable board, are no error:
 * photo->used says so. Owned by the caller (rg_board_photo_free). One finder, made with config.tags, for
 * each thread. */
rg_code rg_lensjob_look(const rg_board_config *config, rg_tag_finder *finder, const uint8_t *bytes,
                        size_t size, rg_board_photo *photo, rg_error *err);
/* Calibrates from photographs that were looked at before, all of them used; name[i] is what
 * photo[i] is called. The same values as rg_lensjob_photos on their files in this order. */
rg_code rg_lensjob_seen(rg_lensjob *job, const rg_board_photo *photo, const char *const *name,
                        int photos, rg_error *err);
/* Calibrates from a list of corners; width and height 0: as the file says. */
rg_code rg_lensjob_corners(rg_lensjob *job, const char *file, int width, int height, rg_error *err);

/* Writes lens.json and, with pictures, lens.png and lens.svg into a folder,
 * which is made. date: on the picture, may be NULL. */
rg_code rg_lensjob_write(const rg_lensjob *job, const char *folder, bool pictures, const char *date,
                         rg_error *err);
/* The result as JSON; free() it. */
rg_code rg_lensjob_json(const rg_lensjob *job, char **text, rg_error *err);

/* Puts picture size and lens values into [lens] of a station's file, in place;
 * every other byte stays. Nothing is written unless the new file reads back.
 * *old gets the station as it was. RG_USAGE while the lens is not known well enough. */
rg_code rg_lensjob_station(const rg_lensjob *job, const char *station_file, rg_station *old,
                           rg_error *err);
/* What a person has to look at after that; returns how many texts there are. */
enum { RG_LENSJOB_REMARKS = 3, RG_LENSJOB_REMARK = 400 };
int rg_lensjob_remarks(const rg_lensjob *job, const char *station_file, const rg_station *old,
                       char remark[RG_LENSJOB_REMARKS][RG_LENSJOB_REMARK]);
/* Whether that file can be read as a station, to be known before the work. */
rg_code rg_lensjob_station_check(const char *station_file, rg_error *err);

#endif
