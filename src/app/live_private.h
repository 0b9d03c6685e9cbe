/*
 * live_private.h - shared by live*.c: the engine's insides, and what a source is.
 *
 * Who writes what: fields under "lock" only with the lock held. Kept frames are never changed once they are in
 * `kept`, so that the measuring thread reads them without the lock. One thread at a time commits frames
 * (`committing`); the fields under "committer" are its own.
 */
#ifndef RIMGLOW_APP_LIVE_PRIVATE_H
#define RIMGLOW_APP_LIVE_PRIVATE_H

#include <pthread.h>

#include "rimglow/live.h"
#include "rimglow/pool.h"

/* ---------------------------------------------------------------- source */

struct rg_source {
    rg_source_state (*next)(rg_source *, int timeout_ms, rg_source_frame *, rg_error *);
    rg_code (*expose)(rg_source *, double relative, rg_error *);
    void (*taken)(const rg_source *, rg_taken *);
    void (*count)(const rg_source *, rg_source_counts *);
    void (*close)(rg_source *);
};

int64_t rg_live_clock_us(void); /* monotonic */
void rg_live_sleep_us(int64_t us);
struct timespec rg_live_deadline(int64_t us); /* from now, monotonic */

/* ---------------------------------------------------------------- engine */

enum { RG_LIVE_WORKERS = 16, RG_LIVE_RING = 2 * RG_LIVE_WORKERS, RG_LIVE_WAITING = 32 };

/* A frame on its way through the engine. */
typedef struct live_item {
    uint64_t number; /* of the frame offered */
    uint64_t source; /* of the source's frame */
    uint8_t *bytes;  /* owned */
    size_t size;
    char suffix[4];
    rg_role role;
    double exposure;
    int64_t arrived_us;
    rg_frame frame; /* owned, until it is kept */
    bool near;      /* frame was looked for about the last pose */
    rg_code code;
    rg_error err;
    rg_live_overlay overlay;
    bool drawn; /* overlay is filled */
} live_item;

typedef struct live_worker {
    rg_live *live;
    rg_tag_finder *finder;
    pthread_t thread;
} live_worker;

struct rg_live {
    /* Fixed once the threads run. */
    char folder[RG_PLACE_SIZE];
    int marker; /* open and locked, -1: none */
    rg_capture_settings settings;
    double witness_exposure;
    rg_station station;
    rg_instrument instrument;
    rg_setup setup;
    int workers; /* that run: those below are joined */
    live_worker worker[RG_LIVE_WORKERS];
    pthread_t measurer, writer;
    bool measurer_runs, writer_runs;

    pthread_mutex_t lock;
    pthread_cond_t changed; /* anything under the lock */
    bool locks_made;

    /* lock */
    bool closing, stop;
    rg_error failure;                    /* the first; code RG_OK: none */
    live_item *waiting[RG_LIVE_WAITING]; /* [waits], the oldest first; owned */
    int waits;
    uint64_t posed; /* number of the newest frame whose pose is `near`; 0: none */
    rg_pose near;
    uint64_t taken, committed; /* sequence numbers of frames at work */
    live_item *ring[RG_LIVE_RING];
    bool committing;
    int kept, written;                  /* written <= kept: on the disk, and so measured */
    rg_frame *frame[RG_FRAMES_MAX];     /* owned; [kept] */
    live_item *to_write[RG_FRAMES_MAX]; /* owned; [kept], NULL below written */
    bool useful[RG_FRAMES_MAX];         /* [measured]: not left out by the measurement */
    rg_rim_plane plane;
    rg_seal_map map;
    rg_live_state state;
    rg_live_overlay overlay;
    bool overlay_there;

    /* writer */
    rg_sweep sweep; /* what sweep.ini says; frame has room for RG_FRAMES_MAX */

    /* committer */
    int unproven; /* witness frames kept that prove nothing */
    bool proven;

    rg_sweep_result *result; /* the measuring thread's */
    rg_inspection inspection;
    bool inspected;
};

/* live_folder.c: the sweep on the disk. */
rg_code rg_live_folder_make(rg_live *live, const rg_live_job *job, rg_error *err);
/* Writes the frames under the names that sweep.ini then has for them, then sweep.ini. */
rg_code rg_live_folder_add(rg_live *live, live_item *const *item, int count, rg_error *err);
/* Closes the marker; with keep the folder is then a finished sweep, else it goes away. */
rg_code rg_live_folder_close(rg_live *live, bool keep, rg_error *err);
/* Gives the lock up and leaves the rest: a cut-off run. */
void rg_live_folder_leave(rg_live *live);

/* live_keep.c: what a frame is worth. */
void rg_live_draw(rg_live *live, live_item *item);
/* "" when the frame is to be kept, else why not (240 bytes). now: with its angles against the rim. */
void rg_live_judge(const rg_live *live, const rg_frame *now, double exposure, char *why);
/* Angles against the rim's plane as far as it is known. */
double rg_live_elevation(const rg_rim_plane *plane, const rg_setup *setup, const rg_frame *frame);

/* live_work.c: the threads. */
rg_code rg_live_start(rg_live *live, int workers, rg_error *err);
void rg_live_stop(rg_live *live);    /* joins all; safe twice */
void rg_live_changed(rg_live *live); /* lock held: next version, wakes everybody */
void rg_live_wants(rg_live *live);   /* lock held */
void rg_live_show_map(rg_live *live, const rg_seal_map *map, const rg_coverage *coverage);
void rg_live_item_free(live_item *item);

#endif
