/*
 * bench_photos.h - a folder of board photographs in place of the camera: each is shown over and over until it is
 * done with, as a board that is held still.
 */
#ifndef RIMGLOW_APP_BENCH_PHOTOS_H
#define RIMGLOW_APP_BENCH_PHOTOS_H

#include "rimglow/live.h"

/* JPEGs and PNGs of a folder, by their names' ending. */
rg_code rg_photos_count(const char *folder, int *photos, rg_error *err);

/* In the order of their names, frames_per_second as of rg_source_replay. */
rg_code rg_source_photos(const char *folder, double frames_per_second, rg_source **source,
                         rg_error *err);
/* Of a source made by rg_source_photos: which photograph is shown, 0 for the first; go on to the next. */
int rg_source_photos_at(const rg_source *source);
void rg_source_photos_next(rg_source *source);

#endif
