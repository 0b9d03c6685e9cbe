/*
 * bench_private.h - the parts of a session at the bench.
 */
#ifndef RIMGLOW_APP_BENCH_PRIVATE_H
#define RIMGLOW_APP_BENCH_PRIVATE_H

#include <pthread.h>
#include <time.h>

#include "rimglow/archive.h"
#include "rimglow/bench.h"
#include "rimglow/inspection.h"
#include "rimglow/live.h"

enum { RG_BENCH_FOLDER = 1024, RG_BENCH_NOTE = 200, RG_BENCH_MESSAGE = 640 };

typedef enum rg_bench_role { RG_BENCH_NONE, RG_BENCH_WITNESS, RG_BENCH_CLOSED } rg_bench_role;

/* What became of the frames of this session: given = bad ones aside all that came = passed to the pictures. */
typedef struct rg_bench_account {
    rg_source_counts source;
    uint64_t passed;
    uint64_t offered, kept, left_out, skipped; /* of all sweeps */
} rg_bench_account;

typedef struct rg_bench_pad {
    const rg_pad *pad;
    char replay[RG_BENCH_FOLDER]; /* its recorded sweep; "" none */
    char folder[RG_PLACE_SIZE];   /* of the finished sweep that counts; "" none */
    int sweeps;                   /* begun */
    rg_verdict verdict;           /* of the finished sweep */
    double widest_mm, U_widest_mm, widest_deg;
    int seen, kept;
    char note[RG_BENCH_NOTE];
} rg_bench_pad;

struct rg_bench {
    rg_bench_options options;
    rg_instrument instrument;
    rg_station station;
    rg_bench_pad *pads; /* owned; [instrument.pads] */
    char technician[RG_NAME_SIZE], occasion[64];

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

    /* Between the session thread and those who wish: */
    pthread_t thread;
    pthread_mutex_t door; /* one wish at a time */
    pthread_mutex_t lock; /* of what follows */
    pthread_cond_t wished, answered;
    bool has_wish, has_answer, stopping, ended, finishing;
    rg_bench_wish_kind wish;
    const char *wish_text;
    rg_code answer;
    rg_error answer_err;
};

/* bench_replay.c: finds the recorded sweep of each pad. */
rg_code rg_bench_find_replays(rg_bench *bench, rg_error *err);
/* Up to now. */
rg_bench_account rg_bench_accounts(const rg_bench *bench);

/* bench_aside.c: runs what takes long on a thread of its own, and shows the camera's pictures meanwhile. */
rg_code rg_bench_aside(rg_bench *bench, rg_code (*work)(void *, rg_error *), void *argument,
                       rg_error *err);

/* Passes on one picture if one comes, for nothing but to be looked at. */
void rg_bench_show_next(rg_bench *bench);

/* bench_state.c: the state into the events' feed. */
rg_code rg_bench_publish(rg_bench *bench, rg_error *err);
/* bench_finish.c: archives the finished sweeps and writes the certificate. */
rg_code rg_bench_archive_all(rg_bench *bench, rg_error *err);

#endif
