/*
 * bench_lens_private.h - shared by bench_lens*.c.
 */
#ifndef RIMGLOW_APP_BENCH_LENS_PRIVATE_H
#define RIMGLOW_APP_BENCH_LENS_PRIVATE_H

#include <pthread.h>

#include "bench_lens.h"

enum {
    LENS_SHOTS = RG_CALIBRATION_VIEWS_MAX, /* taken in all, also those that no longer count */
    LENS_TEXT = 400,
    LENS_CORNERS = RG_BOARD_TAGS_MAX * 4,
    LENS_OUTLINE = 32
};

/* A picture on its way. */
typedef struct lens_picture {
    uint8_t *bytes; /* owned */
    size_t size;
    char suffix[4];
    int64_t time_us;
    int photo;
} lens_picture;

/* The board in one picture. */
typedef struct lens_sight {
    int width, height;
    rg_view view;
    rg_corner corner[LENS_CORNERS]; /* view.corner */
    rg_pose pose;                   /* of a board that is not tipped where none was found */
    bool posed;
    rg_vec2 outline[LENS_OUTLINE];
    int outlines;
} lens_sight;

/* A photograph that was taken. */
typedef struct lens_shot {
    char name[32], path[RG_INPUT_PATH];
    rg_board_photo photo; /* owned, unchanged until the end */
    rg_view view;         /* owned corners */
    rg_pose pose;
    int width, height;
    bool back; /* does not count */
    bool bad;  /* left out by the last result */
    double rms_px;
} lens_shot;

struct rg_bench_lens {
    rg_board_config config;
    char board[RG_INPUT_PATH], out[RG_INPUT_PATH], folder[RG_INPUT_PATH];
    rg_lens rough;
    bool recorded;
    rg_tag_finder *finder; /* of the looking thread */
    pthread_t looker, fitter;
    bool looks, fits; /* threads run */

    /* The looking thread's alone: */
    lens_sight now, before;
    int64_t still_since, shown_since;
    int shown;

    pthread_mutex_t lock; /* of what follows */
    pthread_cond_t changed;
    bool stop;
    uint64_t version;
    lens_picture waiting; /* bytes NULL: none */
    bool looking;         /* at a picture */
    bool asked, automatic;
    int passed; /* the recorded picture that was done with last */

    lens_sight seen; /* of the last picture; view.corners 0: no board */
    bool usable, still;
    char why[LENS_TEXT];       /* the last picture cannot be taken */
    char adds[RG_ADVICE_SIZE]; /* what it would bring */
    char told[LENS_TEXT];      /* what became of the last photograph */
    lens_shot *shot;           /* owned, [LENS_SHOTS] */
    int shots;
    uint64_t taken, fitted; /* changes of shot[], and those that the result knows */
    bool fitting;
    rg_lensjob result; /* calibration.view NULL: none */
    char *json;        /* of it */
    int result_of;     /* photographs */
    char fault[LENS_TEXT];
};

void *rg_bench_lens_look(void *lens); /* threads */
void *rg_bench_lens_fit(void *lens);
/* Lock held. */
void rg_bench_lens_tell(rg_bench_lens *lens);
/* Lock held: what the photographs that count cover; further, with one more: NULL none. */
rg_code rg_bench_lens_cover(const rg_bench_lens *lens, const lens_sight *further,
                            rg_lens_review *review, rg_error *err);

#endif
