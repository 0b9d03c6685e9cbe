/*
 * live.h - one pad at a time, live: frames come in, coverage and verdict come out, and a sweep folder is
 * written that rimglow inspect reproduces bit for bit.
 *
 * Frames come from a source: a camera, or the frames of a recorded sweep in its place. Every frame that is
 * kept is written untouched into the sweep folder before it counts for the verdict; the verdict is that of
 * rg_sweep_measure over exactly these frames in their order.
 *
 * Threads: rg_live_offer may be called from the thread that captures; it never waits for a measurement
 * (where the engine is busy, frames wait; where as many wait as may, the oldest is skipped, counted). All
 * other functions may be called from any thread; they copy what they give out.
 */
#ifndef RIMGLOW_LIVE_H
#define RIMGLOW_LIVE_H

#include "rimglow/config_capture.h"
#include "rimglow/inspection.h"

/* ---------------------------------------------------------------- sources */

typedef struct rg_source rg_source; /* opaque: camera or replay */

typedef struct rg_source_frame {
    const uint8_t *bytes; /* a whole JPEG or PNG; the source's until the next call */
    size_t size;
    const char *suffix;
    int64_t time_us; /* monotonic */
    uint64_t number; /* of those that this source has given; from 1 */
    double exposure; /* relative: 1 closed, the recorded one in a replay */
    rg_role role;    /* of a replayed frame; a camera does not know: RG_ROLE_CLOSED */
    char note[160];  /* "" or what a camera says: bad frame, pulled out, back again */
} rg_source_frame;

typedef enum rg_source_state {
    RG_SOURCE_FRAME,
    RG_SOURCE_WAIT, /* nothing within the time-out */
    RG_SOURCE_AWAY, /* camera unplugged or failed; it is looked for again at each call */
    RG_SOURCE_END   /* of a recorded sweep */
} rg_source_state;

/* A recorded sweep folder: its frames in the order of sweep.ini, so many a second (0: as fast as they are
 * asked for), over and over when loop is set. */
rg_code rg_source_replay(const char *folder, double frames_per_second, bool loop,
                         rg_source **source, rg_error *err);
/* A camera for this station; path NULL: the first that has the size. */
rg_code rg_source_camera(const char *path, const rg_station *station, rg_source **source,
                         rg_error *err);
rg_source_state rg_source_next(rg_source *source, int timeout_ms, rg_source_frame *frame,
                               rg_error *err);
/* For a witness frame: exposure relative to the closed frames'. Nothing happens in a replay. */
rg_code rg_source_expose(rg_source *source, double relative, rg_error *err);
/* For [taken] of sweep.ini: of a replay what the recorded sweep says, of a camera today's date and what it
 * states itself. */
void rg_source_taken(const rg_source *source, rg_taken *taken);
/* What became of its frames so far. */
typedef struct rg_source_counts {
    uint64_t given;  /* by rg_source_next */
    uint64_t bad;    /* thrown away: damaged, empty, unreadable */
    uint64_t missed; /* by gaps of sequence numbers and time stamps */
    uint64_t away;   /* how often a camera was pulled out, failed, or had changed its settings */
} rg_source_counts;
void rg_source_count(const rg_source *source, rg_source_counts *counts);
void rg_source_close(rg_source *source);

/* ---------------------------------------------------------------- engine */

typedef struct rg_live rg_live; /* opaque */

typedef struct rg_live_job {
    const char *out;                 /* sweeps go to OUT/SERIAL/NAME */
    const char *serial, *pad, *name; /* name of the sweep folder */
    const char *instrument_file, *station_file;
    rg_finger finger;
    double finger_grams;
    const char *key;           /* pad whose key is pressed; NULL, "" or the pad itself: its own */
    double witness_exposure;   /* relative, e.g. 0.2; 0: as the settings say */
    int workers;               /* 0: one for each core */
    const char *settings_file; /* NULL: calib/capture.ini */
    const rg_taken *taken;     /* rg_source_taken; NULL: today, gain and exposure not known */
    const rg_wedge *wedge; /* the pad rests on a feeler: [wedge] of sweep.ini; NULL: it does not */
} rg_live_job;

/* Reads the files, makes the folder (which must not exist, or hold a cut-off run of the same job: that one is
 * renamed NAME.cut-1, -2, ..., since the key has been let go in between and frames of two closings must not be
 * mixed). RG_BAD_DATA for a pad or a key that the instrument has not, RG_CANT_CREATE for a folder
 * that is there already. */
rg_code rg_live_begin(const rg_live_job *job, rg_live **live, rg_error *err);

typedef enum rg_live_want { RG_LIVE_WITNESS, RG_LIVE_CLOSED, RG_LIVE_DONE } rg_live_want;

const char *rg_live_folder(const rg_live *live);
const rg_station *rg_live_station(const rg_live *live);
const rg_capture_settings *rg_live_settings(const rg_live *live);
/* Relative exposure that frames of this role should have: 1, or that of a witness. */
double rg_live_exposure(const rg_live *live, rg_role role);
/* Waits at most timeout_ms until a frame offered now would displace none; for replays. */
bool rg_live_ready(rg_live *live, int timeout_ms);

/* One frame. role: what the key is now. The first failure of a worker (a full disk) is returned by every
 * later call. */
rg_code rg_live_offer(rg_live *live, const rg_source_frame *frame, rg_role role, rg_error *err);

typedef struct rg_live_state {
    uint64_t version; /* grows with every change */
    rg_live_want want;
    int offered, kept, skipped, left_out; /* offered = kept + skipped + left_out + those at work */
    int witnesses, closed, darks;         /* kept, by role */
    char last_reason[240];                /* of the last frame that was left out */
    rg_coverage coverage;
    rg_guide guide;
    char guide_text[RG_COVER_TEXT];
    bool posed; /* of the last frame: */
    double bearing_deg, elevation_deg;
    rg_verdict verdict;                        /* undecided until it is decided */
    bool decided;                              /* sealed or leaking, by the rules of verdict.h */
    double widest_mm, U_widest_mm, widest_deg; /* NAN: none */
    int reasons;
    char reason[RG_REASONS_MAX][RG_REASON_SIZE];
    double
        latency_ms; /* from the frame's arrival to the state that tells of it, of the last frame */
    int measured;   /* kept frames that verdict, coverage and map rest on */
    double measure_ms; /* that the last measurement took */
} rg_live_state;

void rg_live_look(rg_live *live, rg_live_state *state);
/* Waits until version is beyond `after`, at most timeout_ms; false: it is not. */
bool rg_live_wait(rg_live *live, uint64_t after, int timeout_ms, rg_live_state *state);
/* The seal map as it stands; the projected rim line and lit arcs of the last frame, for drawing over it. */
void rg_live_map(rg_live *live, rg_seal_map *map);
typedef struct rg_live_overlay {
    uint64_t frame; /* number of the source's frame */
    int width, height;
    int points;         /* of the rim line, by bearing, every 5 degrees */
    float x[72], y[72]; /* px; NAN where it is out of the picture */
    bool lit[72], hidden[72];
} rg_live_overlay;
bool rg_live_overlay_of(rg_live *live, rg_live_overlay *overlay);

/* Waits for the frames at work, measures all kept frames once more in their order, from the disk, and closes the
 * folder; folder (RG_PLACE_SIZE bytes) gets its path. A sweep without a closed frame is
 * removed (folder is then "", and the verdict undecided). The end of use: offers are refused from here
 * on. */
rg_code rg_live_end(rg_live *live, char *folder, rg_live_state *state, rg_error *err);
/* After rg_live_end, what rimglow inspect would have of the folder; NULL before, or when the sweep was
 * removed. */
const rg_inspection *rg_live_inspection(const rg_live *live);
/* Without rg_live_end before: stops at once; the folder stays as a cut-off run (or is removed when nothing was
 * kept). NULL is safe. */
void rg_live_free(rg_live *live);

#endif
