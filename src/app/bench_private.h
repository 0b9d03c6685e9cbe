/*
 * bench_private.h - the parts of a session at the bench.
 */
#ifndef RIMGLOW_APP_BENCH_PRIVATE_H
#define RIMGLOW_APP_BENCH_PRIVATE_H

#include <pthread.h>
#include <time.h>

#include "rimglow/archive.h"
#include "rimglow/bench.h"
#include "rimglow/bench_rank.h"
#include "rimglow/config_values.h"
#include "rimglow/draw.h"
#include "rimglow/inspection.h"
#include "rimglow/live.h"
#include "rimglow/mapfile.h"
#include "rimglow/setup_load.h"

enum { RG_BENCH_FOLDER = 1024, RG_BENCH_NOTE = 200, RG_BENCH_MESSAGE = 640, RG_BENCH_RESULTS = 12 };

typedef enum rg_bench_role { RG_BENCH_NONE, RG_BENCH_WITNESS, RG_BENCH_CLOSED } rg_bench_role;

/* What became of the frames of this session: given = bad ones aside all that came = passed to the pictures. */
typedef struct rg_bench_account {
    rg_source_counts source;
    uint64_t passed;
    uint64_t offered, kept, left_out, skipped; /* of all sweeps */
} rg_bench_account;

/* A finished sweep that counts. */
typedef struct rg_bench_result {
    char folder[RG_PLACE_SIZE];
    rg_finger finger;
    double grams;           /* 0 unless finger is grams */
    char key[RG_NAME_SIZE]; /* pad whose key was pressed; "": its own */
    rg_verdict verdict;
    double widest_mm, U_widest_mm, widest_deg, area_mm2;
    double coverage_factor;
    int seen, kept;
    bool earlier;      /* read back from an earlier run */
    int day;           /* of its frames, date.h; -1: not stated */
    rg_map_file *file; /* owned; as seal-map.json has it */
} rg_bench_result;

typedef struct rg_bench_pad {
    const rg_pad *pad;
    char replay[RG_BENCH_FOLDER]; /* its recorded sweep; "" none */
    int sweeps;                   /* begun or read back */
    int results;
    rg_bench_result
        result[RG_BENCH_RESULTS];    /* one for each finger and key, in the order of sweeping */
    char unmeasured[RG_REASON_SIZE]; /* why a sweep of an earlier run does not count; "" */
    char note[RG_BENCH_NOTE];
} rg_bench_pad;

/* What was found of earlier runs. */
typedef struct rg_bench_earlier {
    int pads;                 /* with sweeps that count */
    int first_day, last_day;  /* of them; -1: none states it */
    char bag[RG_ARCHIVE_BAG]; /* newest of the serial; "" none */
} rg_bench_earlier;

enum { RG_BENCH_REMARKS = 16, RG_BENCH_TOPIC = 48, RG_BENCH_NOTES = 1000 /* of the record */ };

/* Set-up of this visit: measured values, and remarks that are no numbers. */
typedef struct rg_bench_setup {
    rg_measured_value value[RG_VALUES_MAX];
    int values;
    struct rg_bench_remark {
        char topic[RG_BENCH_TOPIC], text[RG_BENCH_NOTE];
    } remark[RG_BENCH_REMARKS];
    int remarks;
} rg_bench_setup;

/* What to do, worst pad first. */
typedef struct rg_bench_worklist {
    bool due;                  /* a sweep was finished or dropped since it was made */
    rg_rank_line *line;        /* owned; [instrument.pads] */
    char fault[RG_ERROR_TEXT]; /* why the lines hold no diagnosis; "" */
} rg_bench_worklist;

struct rg_bench {
    rg_bench_options options;
    rg_instrument instrument;
    rg_digest instrument_digest;
    rg_station station;
    rg_bench_pad *pads; /* owned; [instrument.pads] */
    char technician[RG_NAME_SIZE], occasion[64];
    rg_bench_earlier earlier;
    rg_bench_setup setup;
    rg_workup_settings workup; /* these two as they were at the start */
    rg_setup_rules rules;
    rg_bench_worklist worklist;
    /* Recorded: a folder of board photographs, a sweep over a feeler and what it says; "" none. */
    char photos[RG_BENCH_FOLDER], wedge_folder[RG_BENCH_FOLDER], wedge_pad[RG_NAME_SIZE];
    rg_wedge wedge;

    /* The session thread's alone: */
    int at; /* index of the pad */
    rg_source *source;
    rg_source_state source_state;
    char source_note[RG_BENCH_MESSAGE];
    rg_source_frame held; /* of a replay: pulled, not yet passed on; size 0: none */
    rg_live *live;        /* NULL until the first frame is wanted */
    rg_live_state state;
    rg_bench_role role;
    rg_finger finger;
    double grams;
    char key[RG_NAME_SIZE]; /* pad whose key is pressed; "": that of the pad at the bench */
    char message[RG_BENCH_MESSAGE];
    bool busy, finish_due, changed;
    bool fresh;   /* a sweep was finished since the last bag */
    time_t tried; /* monotonic s: a camera was looked for */
    time_t told;  /* monotonic s: the accounts were told last */
    uint64_t told_passed;
    char bag[RG_ARCHIVE_BAG]; /* "" until it is archived */
    rg_verdict bag_verdict;
    bool certificate;
    uint64_t version;
    rg_bench_account past; /* without the source and the sweep that are open */
    rg_feed *pictures, *events;
    struct rg_bench_calibration *calibration; /* bench_calibrate.c; NULL: pads are swept */

    /* Between the session thread and those who wish: */
    pthread_t thread;
    pthread_mutex_t door; /* one wish at a time */
    pthread_mutex_t lock; /* of what follows */
    pthread_cond_t wished, answered;
    bool has_wish, has_answer, stopping, ended, finishing;
    rg_bench_wish_kind wish;
    const char *wish_text;
    struct rg_bench_evidence *wish_evidence; /* NULL: a wish; else only a look, to be filled */
    rg_code answer;
    rg_error answer_err;
    rg_bytes response; /* picture of the light's calibration; data NULL: none */
};

/* bench_replay.c: finds the recorded sweep of each pad. */
rg_code rg_bench_find_replays(rg_bench *bench, rg_error *err);
/* Up to now. */
rg_bench_account rg_bench_accounts(const rg_bench *bench);
/* A sweep that was not ended as a pad's. */
void rg_bench_account_sweep(rg_bench *bench, const rg_live_state *ended);

/* bench_aside.c: runs what takes long on a thread of its own, and shows the camera's pictures meanwhile. */
rg_code rg_bench_aside(rg_bench *bench, rg_code (*work)(void *, rg_error *), void *argument,
                       rg_error *err);

/* Passes on one picture if one comes, for nothing but to be looked at. */
void rg_bench_show_next(rg_bench *bench);

/* bench_state.c: the state into the events' feed. */
rg_code rg_bench_publish(rg_bench *bench, rg_error *err);
/* Text that may come from anywhere as JSON. */
struct json_t *rg_bench_words(const char *text);
/* bench_finish.c: archives the finished sweeps and writes the certificate. */
rg_code rg_bench_archive_all(rg_bench *bench, rg_error *err);

/* bench_result.c */
/* A sweep of pad `at` is finished: writes its results beside its frames, and keeps them in place of an older
 * sweep by the same finger and key. */
rg_code rg_bench_keep(rg_bench *bench, int at, const rg_inspection *inspection, rg_error *err);
/* The same for a sweep whose seal map is known. */
rg_code rg_bench_keep_map(rg_bench *bench, int at, const rg_inspection *inspection,
                          const rg_map_file *map, bool earlier, rg_error *err);
/* The same for one that was measured just now. */
rg_code rg_bench_keep_measured(rg_bench *bench, int at, const rg_inspection *inspection,
                               bool earlier, rg_error *err);
/* How a pad is closed. */
typedef struct rg_bench_press {
    rg_finger finger;
    double grams;    /* 0 unless finger is grams */
    const char *key; /* "": its own */
} rg_bench_press;
bool rg_bench_has_room(const rg_bench_pad *pad, const rg_bench_press *press);
void rg_bench_drop(rg_bench *bench, int at, const rg_bench_press *press);
void rg_bench_results_free(rg_bench_pad *pad);
/* By pad_verdict.h. */
rg_verdict rg_bench_pad_verdict(const rg_bench_pad *pad, bool *only_firm);
/* The sweep that the pad's verdict rests on most; NULL without one. */
const rg_bench_result *rg_bench_pad_worst(const rg_bench_pad *pad);
int rg_bench_swept(const rg_bench *bench); /* pads with results */

/* bench_work.c: the work list again, where it is due. */
void rg_bench_work(rg_bench *bench);

/* bench_decision.c: what the session has to show for a release, as a copy. */
typedef struct rg_bench_evidence {
    int sweeps;
    rg_map_file *map; /* owned; [sweeps], of a pad in the order of sweeping */
    int *pad, *day;   /* owned; [sweeps]: index of the pad; date of its frames, -1: not stated */
    rg_bench_setup *setup;    /* owned */
    char bag[RG_ARCHIVE_BAG]; /* "" unless all of this is archived */
    bool taking;              /* a sweep is under way, which is not among these */
} rg_bench_evidence;
/* On the session's thread. On failure *evidence owns nothing. */
rg_code rg_bench_evidence_take(const rg_bench *bench, rg_bench_evidence *evidence, rg_error *err);
void rg_bench_evidence_free(rg_bench_evidence *evidence);
/* bench.c: as rg_bench_ask, but changes nothing and tells nobody. */
rg_code rg_bench_ask_evidence(rg_bench *bench, rg_bench_evidence *evidence, rg_error *err);

/* bench_visits.c: what the archive has of this serial. */
typedef struct rg_bench_visits {
    rg_archive archive;
    bool open;
    rg_names bags;
    rg_record *record; /* owned; [count] */
    int count;
} rg_bench_visits;
/* No archive is no visit. A bag that cannot be read is left out, and said on stderr. */
rg_code rg_bench_visits_read(const rg_bench *bench, rg_bench_visits *visits, rg_error *err);
void rg_bench_visits_free(rg_bench_visits *visits);
/* Is exactly this sweep - its sweep.ini and its frames - in one of the bags? */
bool rg_bench_visits_have(const rg_bench_visits *visits, const rg_inspection *inspection);

/* bench_key.c: does the key of pad `by` close pad `at` too (closed_with of the instrument's file)? */
bool rg_bench_closes(const rg_bench *bench, int by, int at);
/* Its own for "", else that of a pad whose key closes the one at the bench. */
rg_code rg_bench_find_key(const rg_bench *bench, const char *text, char key[RG_NAME_SIZE],
                          rg_error *err);

/* bench_resume.c: the finished sweeps of earlier runs that are in no bag yet. */
rg_code rg_bench_resume(rg_bench *bench, rg_error *err);
/* OUT/SERIAL/NN-PAD, with -2, -3... after the highest that is finished; i more. */
void rg_bench_sweep_name(const rg_bench *bench, int at, int more, char name[RG_NAME_SIZE]);
/* Is there a cut-off run of that name? */
bool rg_bench_is_cut(const rg_bench *bench, const char *name);

/* bench_setup.c: set-up and notes, in OUT/SERIAL/setup.ini and notes.json. */
rg_code rg_bench_setup_load(rg_bench *bench, const rg_bench_visits *visits, rg_error *err);
/* text: JSON {quantity, value, unit, u, with}, all texts; value "" removes. */
rg_code rg_bench_set_value(rg_bench *bench, const char *text, rg_error *err);
/* text: JSON {topic, text}; text "" removes. */
rg_code rg_bench_set_remark(rg_bench *bench, const char *text, rg_error *err);
rg_code rg_bench_set_note(rg_bench *bench, rg_bench_pad *pad, const char *text, rg_error *err);
/* "C: felt worn; corks: new", what goes into the record; returns its length, which may be beyond what fits. */
size_t rg_bench_join_notes(const rg_bench *bench, char note[RG_BENCH_NOTES]);
/* Path of setup.ini, or NULL without values. */
const char *rg_bench_setup_file(const rg_bench *bench, char path[RG_PLACE_SIZE]);
/* bench.c: opens what frames are to come from now; a camera that is open stays so. */
rg_code rg_bench_open_source(rg_bench *bench, rg_error *err);

/* bench_calibrate.c; all on the session's thread. */
rg_code rg_bench_calibrate(rg_bench *bench, const char *json, rg_error *err);
/* Which wishes can be granted during a calibration. */
bool rg_bench_calibration_allows(const rg_bench *bench, rg_bench_wish_kind kind, rg_error *err);
/* Opens what was recorded for it in place of the camera. */
rg_code rg_bench_calibration_replay(rg_bench *bench, rg_error *err);
/* True: the frame was for the calibration. */
bool rg_bench_calibration_takes(rg_bench *bench, const rg_source_frame *frame);
void rg_bench_calibration_step(rg_bench *bench);
void rg_bench_calibration_end(rg_bench *bench);
struct json_t *rg_bench_calibration_json(const rg_bench *bench);

#endif
