/*
 * bench_check.h - the self-check of a bench on any sweep: what its frames say
 * about scale, focus, exposure, stray light, movement and coverage, and what to
 * change.
 *
 * It lies above measure because it needs the measured sweep (rim plane, light
 * at the rim, angles) as well as the pictures. Two steps: rg_bench_look turns
 * one picture into facts, and may run in any thread; rg_bench_judge turns the
 * facts of all frames into findings by stated limits.
 */
#ifndef RIMGLOW_BENCH_CHECK_H
#define RIMGLOW_BENCH_CHECK_H

#include "rimglow/crown_check.h"
#include "rimglow/outline.h"
#include "rimglow/pipeline.h"
#include "rimglow/slanted_edge.h"

/* Section [check] of the station. */
typedef struct rg_bench_limits {
    double scale;            /* largest relative error of the scale */
    double diameter_u_mm;    /* standard uncertainty of the rim's stated diameter */
    double outline_top_mm;   /* the chimney's outline is taken from here below the rim plane */
    double outline_depth_mm; /* down to here */
    double outline_reach;    /* and looked for within this share of the radius */
    double proportion;       /* largest relative error of tag edge against apothem */
    double mtf50;            /* least MTF50 of the sweep, cycles per pixel */
    double sharpness;        /* of one frame, as a share of the sweep's */
    double depth;            /* of the farther borders, as a share of the nearer ones' */
    double px_per_mm;        /* least, at the rim */
    double module_px;        /* least size of a tag's module */
    double white_low;        /* paper white, linear light at exposure 1: between this */
    double white_high;       /* and this */
    double contrast;         /* least ratio of paper to ink */
    double clipped;          /* largest share of clipped pixels beside the gap */
    double exposure_error;   /* of the witness's stated exposure, relative */
    double ambient;          /* lamp off: apparent gap, as a share of the tolerance */
    double move_px;          /* largest movement during an exposure */
    double same_mm;          /* frames whose poses differ by less are repeats */
    double same_deg;         /* and by less than this angle */
    double still;            /* scatter of repeats, in standard uncertainties of their poses */
    double covered;          /* least share of the bearings that were well looked at */
    double group_deg;        /* camera bearings nearer than this belong together */
} rg_bench_limits;

enum { RG_BENCH_TONES = 16 }; /* of the histogram: 16 codes each */

typedef enum rg_check_topic {
    RG_CHECK_FRAMES,
    RG_CHECK_SCALE,
    RG_CHECK_PRINT,
    RG_CHECK_FOCUS,
    RG_CHECK_SHARPNESS,
    RG_CHECK_DEPTH,
    RG_CHECK_SAMPLING,
    RG_CHECK_EXPOSURE,
    RG_CHECK_CLIPPING,
    RG_CHECK_WITNESS,
    RG_CHECK_AMBIENT,
    RG_CHECK_VIBRATION,
    RG_CHECK_REPEATS,
    RG_CHECK_COVERAGE,
    RG_CHECK_ROCKING,
    RG_CHECK_TOPICS
} rg_check_topic;

/* What one picture shows. Numbers that it does not show are NAN. */
typedef struct rg_bench_frame {
    rg_frame_role role;
    double exposure;
    bool decoded, crown; /* crown: borders were examined */
    char reason[240];    /* why the crown was not read, or the frame not used */
    double bearing_deg, elevation_deg;
    rg_pose pose;
    double u_place_mm; /* standard uncertainty of the pose across the line of sight */
    rg_crown_sight sight;
    double tag_ratio;          /* tag edge found over stated, apothem as stated */
    int edges;                 /* borders with an MTF */
    double mtf50;              /* median over them, cycles per pixel */
    double far_share;          /* MTF50 of the farther half of them over that of the nearer half */
    double mtf[RG_MTF_POINTS]; /* mean over them */
    double px_per_mm;          /* of Z, at the near side of the rim */
    double module_px;          /* of the tag that faces the camera best */
    rg_outline rim;
    double clipped;               /* share of clipped pixels outside the rim's strip */
    double tones[RG_BENCH_TONES]; /* shares of the picture's pixels */
    unsigned flaws;               /* bit rg_check_topic, set by rg_bench_judge */
} rg_bench_frame;

/* frame: from rg_frame_take on the same bytes (it need not be used). A picture
 * that shows nothing is not an error. Errors: memory, bad setup. */
rg_code rg_bench_look(const rg_setup *setup, const rg_bench_limits *limits, rg_tag_finder *finder,
                      const uint8_t *bytes, size_t size, const rg_frame *frame, rg_bench_frame *out,
                      rg_error *err);

typedef enum rg_check_state {
    RG_CHECK_GOOD,
    RG_CHECK_POOR,
    RG_CHECK_NOT_SHOWN, /* the frames do not say, and should */
    RG_CHECK_NOT_ASKED  /* the frames do not say, and need not */
} rg_check_state;

enum { RG_FINDING_TEXT = 400 };
typedef struct rg_finding {
    rg_check_topic topic;
    rg_check_state state;
    double value, u; /* u: standard uncertainty; NAN where none is stated */
    double limit;
    const char *sense; /* "at least", "at most", or "" */
    const char *unit;
    char text[RG_FINDING_TEXT]; /* what was found and, unless good, what to change */
} rg_finding;

typedef struct rg_bench_check {
    rg_finding finding[RG_CHECK_TOPICS]; /* in the order of the topics */
    rg_check_state state;                /* the worst: poor before not shown before good */
    double mtf50;                        /* median of the closed frames, cycles per pixel */
    double mtf[RG_MTF_POINTS];           /* their mean */
    double px_per_mm;                    /* median */
    double tones[RG_BENCH_TONES];        /* mean over the closed frames */
    bool covered[RG_BINS];               /* bearings that were well looked at */
    bool coverage_known;
} rg_bench_check;

typedef struct rg_bench_sweep {
    const rg_setup *setup;
    const rg_frame *frames; /* after rg_sweep_measure */
    const rg_sweep_result *result;
    const char *const *names; /* [count] */
    int count;
} rg_bench_sweep;

/* look[count] belongs to sweep->frames; its flaws are set. Errors: memory. */
rg_code rg_bench_judge(const rg_bench_sweep *sweep, const rg_bench_limits *limits,
                       rg_bench_frame *look, rg_bench_check *check, rg_error *err);

const char *rg_check_topic_name(rg_check_topic topic); /* "scale" ... */
const char *rg_check_state_name(rg_check_state state); /* "good" "poor" "not shown" "not asked" */

#endif
