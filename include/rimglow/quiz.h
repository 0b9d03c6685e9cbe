/*
 * quiz.h - cases to learn on: a pad with a known gap, what the trainee says of it, and what that is worth.
 *
 * A case is drawn from a seed and a level of difficulty, and from nothing else: the same seed, level, options and
 * RG_QUIZ_VERSION give the same case. The pad's signed gap round the rim is that of shape.h,
 *   s(b) = level + tilt cos(b - tilt_bearing) + saddle cos 2 (b - saddle_bearing) + crease(b),
 * crease(b) a raised cosine, and the gap's width max(0, s). It is always a pad that can be: where it
 * touches, it is pressed no deeper than [pad] press_most_mm of calib/quiz.ini.
 *
 * The trainee says where the gap is widest, how wide it is there (a class), and why. Truth of the cause are
 * the words of diagnosis.h. A bearing is right within half of the gap's extent, the arc round the widest bearing
 * over which the gap is at least half as wide, but always within [score] bearing_least_deg; of a saddle
 * either of its two sides. A uniform gap is widest "all round", a sealed pad "nowhere".
 *
 * Difficulty in practice: transformed up-and-down (H. Levitt, "Transformed up-down methods in psychoacoustics",
 * J. Acoust. Soc. Am. 49 (1971) 467-477): so many right answers in a row make the next case harder, one wrong
 * answer makes it easier. With n in a row the level settles where p^n = 1/2; 2 in a row: 70.7 % right.
 *
 * Examination: a fixed set by its seed. Causes come in turn and the width classes in turn within them, in an order
 * that the seed shuffles. Passed where the share of cases with all three answers right reaches pass_share; the
 * interval of that share is Wilson's (kappa.h).
 *
 * A photograph of an archive has no drawn truth. Its truth is the archived seal map, which the program itself measured: where that
 * is widest, how wide there with U = k u, and the fault that the diagnosis names first. Where an edge of a class lies
 * within U of that width, the classes on both sides of it are right: the map cannot tell them apart. Such a case
 * has no level, is no part of an examination, and is no agreement with an independent truth.
 */
#ifndef RIMGLOW_QUIZ_H
#define RIMGLOW_QUIZ_H

#include <stdbool.h>
#include <stdint.h>

#include "rimglow/diagnosis.h"
#include "rimglow/kappa.h"

enum {
    RG_QUIZ_VERSION = 1, /* rises whenever a seed would give another case */
    RG_QUIZ_CLASSES_MAX = 8,
    RG_QUIZ_VIEWS_MAX = 4,
    RG_QUIZ_CASES_MAX = 200, /* of an examination */
    RG_QUIZ_NAME = 128,      /* bytes of a trainee's name, with the final 0 */
    RG_QUIZ_ID = 64,
    RG_QUIZ_SENTENCE = 240,
    RG_QUIZ_SENTENCES_MAX = 6
};

/* ---- what there is to say ---- */

typedef enum rg_quiz_cause {
    RG_QUIZ_SEALED,
    RG_QUIZ_TILTED, /* beside the hinge's line */
    RG_QUIZ_HINGE_THICK,
    RG_QUIZ_HINGE_THIN,
    RG_QUIZ_SADDLE,
    RG_QUIZ_UNIFORM,
    RG_QUIZ_LOCAL, /* crease of the pad or dent of the rim */
    RG_QUIZ_CAUSES
} rg_quiz_cause;
/* "in contact", and as rg_fault_kind_name says. */
const char *rg_quiz_cause_name(rg_quiz_cause cause);
bool rg_quiz_cause_find(const char *name, rg_quiz_cause *cause);

typedef enum rg_quiz_where {
    RG_QUIZ_NOWHERE,
    RG_QUIZ_AT, /* a bearing */
    RG_QUIZ_ROUND
} rg_quiz_where;
const char *rg_quiz_where_name(rg_quiz_where where); /* "nowhere" "at" "all round" */

/* ---- options: calib/quiz.ini says what each means ---- */

typedef struct rg_quiz_options {
    int classes; /* with "sealed", 3 .. RG_QUIZ_CLASSES_MAX */
    double
        upto_mm[RG_QUIZ_CLASSES_MAX]; /* upper edge of class i; 0 for class 0; the last has none */
    double least_mm, widest_mm;       /* drawn at all */
    double press_most_mm;
    double
        overhang_mm; /* of the pad in use, over the land's outer edge: the caller's, no setting */
    double hinge_deg, hinge_apart_deg; /* a tilt of the hinge; one that is not, beyond both */
    double crease_least_deg, crease_most_deg; /* half widths */
    int views;
    double
        height_share; /* of the elevation that hides the widest place: no higher is a camera that must see it */
    /* Each at the easiest level and at the hardest; between them linear in the level. */
    double facing_deg[2];     /* bearing of the nearest view off the widest place, at most */
    double height_deg[2];     /* its elevation, at most */
    double other_high_deg[2]; /* elevation of the other views, at most */
    double
        inside_share[2]; /* a width keeps off the edges of its class by this share of the class */
    double uneven[2];    /* of the lamp (synth.h), at most */
    double streaks[2];   /* reflections in the chimney, at most */
    double glare[2];     /* share of the light that veils the picture, at most */
    double dim[2];       /* the lamp's radiance, times, at least */
    /* How a reflection looks (synth.h): sigma, linear light at its middle, heights that it covers. */
    double streak_width_deg, streak_light, streak_low_mm, streak_high_mm;
    double bearing_least_deg, extent_share;
    double levels, first_level, first_step, step; /* levels go from 1 to `levels` */
    int right_in_row, coarse_reversals;
    int window; /* cases of a running share */
    int exam_cases;
    double exam_level, pass_share, confidence;
} rg_quiz_options;
/* RG_BAD_DATA for values out of their range or that do not go together. */
rg_code rg_quiz_check(const rg_quiz_options *options, rg_error *err);

/* "sealed", "up to 0.025 mm", ..., "above 0.2 mm". */
enum { RG_QUIZ_CLASS_TEXT = 32 };
void rg_quiz_class_name(const rg_quiz_options *options, int index, char text[RG_QUIZ_CLASS_TEXT]);
/* Class of a width >= 0: an edge belongs to the class below it. */
int rg_quiz_class_of(const rg_quiz_options *options, double width_mm);

/* ---- a case ---- */

typedef struct rg_quiz_view {
    double bearing_deg, elevation_deg; /* of the camera, as in observe.h */
} rg_quiz_view;

typedef struct rg_quiz_case {
    int version;
    uint64_t seed;
    double level; /* 1 .. levels */
    rg_quiz_cause cause;
    double level_mm, tilt_mm, tilt_bearing_deg, saddle_mm, saddle_bearing_deg;
    double crease_mm, crease_bearing_deg, crease_half_width_deg; /* 0 mm: none */
    int views;
    rg_quiz_view view[RG_QUIZ_VIEWS_MAX];
    int facing; /* the view that looks at the widest place most directly */
    double lamp_uneven, lamp_bearing_deg, dim, glare;
    int streaks;
    double streak_azimuth_deg[RG_QUIZ_VIEWS_MAX];
    uint64_t noise; /* seed of the pictures' noise */
} rg_quiz_case;

/* What is so, by the case's numbers. */
typedef struct rg_quiz_truth {
    rg_quiz_cause cause;
    int width_class;
    double widest_mm;
    rg_quiz_where where;
    int bearings; /* 0, 1, or 2 of a saddle */
    double bearing_deg[2];
    double extent_deg;    /* arc of at least half the width, round one of them */
    double open_deg;      /* all bearings with a gap */
    double tolerance_deg; /* of an answer's bearing */
    double
        hides_deg; /* from so far above, the pad's overhang hides the widest place: atan(gap / overhang) */
    /* Of an archived map; 0 of a drawn case. */
    double U_mm;                /* of widest_mm */
    int also_below, also_above; /* so many classes beside width_class are right as well */
} rg_quiz_truth;

/* A case of this level, 1 .. levels. With a cause (or RG_QUIZ_CAUSES: any) and a class (or -1: any); sealed
 * goes with class 0 alone. RG_BAD_DATA for options that do not check or a level out of range. */
rg_code rg_quiz_draw(const rg_quiz_options *options, uint64_t seed, double level,
                     rg_quiz_cause cause, int width_class, rg_quiz_case *c, rg_error *err);
/* Width at the centres of the 360 bearings, as in synth.h, mm. */
void rg_quiz_widths(const rg_quiz_case *c, double width_mm[RG_BINS]);
void rg_quiz_truth_of(const rg_quiz_options *options, const rg_quiz_case *c, rg_quiz_truth *truth);

/* ---- an archived map ---- */

/* false: a kind that the quiz does not ask for (dirt, uneven). Crease and dent are one cause. */
bool rg_quiz_cause_of(rg_fault_kind kind, rg_quiz_cause *cause);
/* What the map says. fault: what its diagnosis names first, NULL: nothing. hides_deg is 0, since the overhang is not known.
 * false where there is no one answer: an undecided map, a leak without a fault that the quiz asks for or
 * without an open bearing, a seal with a fault. */
bool rg_quiz_truth_of_map(const rg_quiz_options *options, const rg_seal_map *map,
                          double coverage_factor, const rg_fault_kind *fault, rg_quiz_truth *truth);

/* ---- an answer ---- */

typedef struct rg_quiz_answer {
    rg_quiz_where where;
    double bearing_deg; /* with RG_QUIZ_AT, 0 .. 360 */
    int width_class;
    rg_quiz_cause cause;
} rg_quiz_answer;
/* RG_BAD_DATA for an answer that is none. */
rg_code rg_quiz_answer_check(const rg_quiz_options *options, const rg_quiz_answer *answer,
                             rg_error *err);

typedef struct rg_quiz_score {
    bool bearing, width, cause; /* right */
    bool all;                   /* all three */
    double
        error_deg; /* clockwise positive, to the nearer side of a saddle; NAN where one of both is no bearing */
    int class_distance; /* answer less the nearest class that is right */
} rg_quiz_score;
void rg_quiz_score_of(const rg_quiz_truth *truth, const rg_quiz_answer *answer,
                      rg_quiz_score *score);

/* What to learn from it: bearing, width, cause and what tells it from the one that was taken for it, and what the
 * camera's height hid. */
typedef struct rg_quiz_words {
    int count;
    char text[RG_QUIZ_SENTENCES_MAX][RG_QUIZ_SENTENCE];
} rg_quiz_words;
void rg_quiz_feedback(const rg_quiz_options *options, const rg_quiz_case *c,
                      const rg_quiz_truth *truth, const rg_quiz_answer *answer,
                      const rg_quiz_score *score, rg_quiz_words *words);
/* The same of an archived map, with U and the edge that it reaches; whose: a sentence on whose map it is. */
void rg_quiz_feedback_of_map(const rg_quiz_options *options, const rg_quiz_truth *truth,
                             const rg_quiz_answer *answer, const rg_quiz_score *score,
                             const char *whose, rg_quiz_words *words);

/* ---- difficulty that follows the trainee ---- */

typedef struct rg_quiz_stairs {
    double level;
    int in_row;    /* right answers since the level changed or since the last wrong one */
    int direction; /* of the last change: 1 harder, -1 easier, 0 none yet */
    int reversals, answered;
} rg_quiz_stairs;
void rg_quiz_stairs_begin(const rg_quiz_options *options, rg_quiz_stairs *stairs);
void rg_quiz_stairs_take(const rg_quiz_options *options, bool right, rg_quiz_stairs *stairs);

/* ---- examination ---- */

/* Case `index` (from 0) of the examination with this seed. */
rg_code rg_quiz_exam_case(const rg_quiz_options *options, uint64_t seed, int index, rg_quiz_case *c,
                          rg_error *err);
/* "E-1-30-42": version, number of cases, seed. What changes the cases otherwise, i.e. the options, stands in the last
 * part, a digest of them: "E-1-30-42-3f9c21ab". */
void rg_quiz_exam_id(const rg_quiz_options *options, uint64_t seed, char id[RG_QUIZ_ID]);

/* ---- results ---- */

/* One answered case, as a trainee's file keeps it (trainee.h). */
typedef struct rg_quiz_entry {
    int64_t time;    /* of the answer, POSIX seconds, UTC */
    int64_t sitting; /* when the examination or the practice began */
    /* Of an examination; in practice "", 0, 0, 0, 0. */
    char exam[RG_QUIZ_ID];
    uint64_t exam_seed;
    int exam_cases, number; /* number: from 1 */
    double pass_share;
    char picture
        [RG_QUIZ_NAME]; /* an archived case: its name, and nothing of `drawn` counts; "" for a drawn one */
    rg_quiz_case drawn;
    rg_quiz_truth truth;
    rg_quiz_answer answer;
    rg_quiz_score score;
    /* What the program's own measurement of the same pictures says. */
    bool tool, tool_judged; /* it was made; it could tell where, how wide and why */
    rg_quiz_answer tool_says;
} rg_quiz_entry;

typedef struct rg_quiz_share {
    int right, of;
    double share, low, high; /* limits by Wilson; NANs for none */
} rg_quiz_share;
rg_quiz_share rg_quiz_share_of(int right, int of, double confidence);

/* Two judges on the same cases. */
typedef struct rg_quiz_agreement {
    char first[RG_QUIZ_NAME],
        second[RG_QUIZ_NAME]; /* "truth", "tool", "archived map" or a trainee's name */
    int cases;
    rg_kappa_table cause_table, width_table; /* [first][second] */
    rg_kappa cause;                          /* equal weights */
    rg_kappa width;                          /* linear weights */
} rg_quiz_agreement;

/* An examination that was taken to its end, or a sitting of practice. */
typedef struct rg_quiz_result {
    char trainee[RG_QUIZ_NAME];
    char exam[RG_QUIZ_ID]; /* "" for practice */
    uint64_t seed;
    double level;
    int64_t sitting_s;    /* as in its entries: tells sittings of one trainee apart */
    int64_t began, ended; /* first and last answer, POSIX seconds, UTC */
    int cases, answered;  /* cases: of the examination */
    double confidence;    /* of all limits, 0 to 1 */
    double pass_share;
    bool complete, passed; /* passed: complete, and all.share reaches pass_share */
    int sitting; /* of this examination, from 1: whoever has seen its results has seen its cases. Counted by
                    rg_quiz_progress_of; otherwise 1, and 0 in practice */
    rg_quiz_share all, bearing, width, cause;
    rg_quiz_share by_cause[RG_QUIZ_CAUSES]; /* all three right, by the true cause */
    int classes;
    char class_name[RG_QUIZ_CLASSES_MAX][RG_QUIZ_CLASS_TEXT];
    rg_quiz_share by_class[RG_QUIZ_CLASSES_MAX]; /* width class right, by the true class */
    double
        median_error_deg; /* of the bearings given where there is one, without sign; NAN without */
    int errors;
    rg_quiz_agreement truth; /* first: truth (archived map), second: the trainee */
    bool has_tool;
    rg_quiz_agreement tool; /* first: tool, second: the trainee */
} rg_quiz_result;

/* Result of entries of one sitting, those of an examination in the order of their numbers. RG_BAD_DATA where they do
 * not belong together (drawn and archived cases do not), or were given under other classes. level is NAN of archived
 * cases. */
rg_code rg_quiz_result_of(const rg_quiz_options *options, const char *trainee,
                          const rg_quiz_entry *entry, int count, rg_quiz_result *result,
                          rg_error *err);

/* All that a trainee answered, for a chart: practice case by case, examinations at their ends. */
typedef struct rg_quiz_point {
    int64_t time;
    int number;                      /* of the answer, from 1 */
    double level;                    /* of the case; NAN of an archived one */
    bool all, bearing, width, cause; /* right */
    bool exam;                       /* answered in an examination */
    bool archived;                   /* against the map of a photograph */
    double share, low,
        high; /* all three right among the last `window` practice cases; NANs before */
} rg_quiz_point;

typedef struct rg_quiz_progress {
    char trainee[RG_QUIZ_NAME];
    double levels, confidence;
    int window; /* cases of a running share */
    int points;
    rg_quiz_point *point; /* owned, in the order of time */
    int exams;
    rg_quiz_result *exam;   /* owned, complete ones, in the order of time */
    rg_quiz_stairs stairs;  /* where practice stands */
    rg_quiz_share practice; /* all drawn practice cases */
    rg_quiz_share archived; /* all archived cases, against their maps */
} rg_quiz_progress;

/* RG_INTERNAL without memory; *progress then owns nothing. */
rg_code rg_quiz_progress_of(const rg_quiz_options *options, const char *trainee,
                            const rg_quiz_entry *entry, int count, rg_quiz_progress *progress,
                            rg_error *err);
void rg_quiz_progress_free(rg_quiz_progress *progress);

/* Agreement of two trainees on the cases of examinations that both answered (same id, same number); each case once,
 * by the first answer. Of one trainee with the truth of drawn cases, with the program's own measurement of drawn cases
 * where it could tell, and with the maps of archived cases, where a width that is right stands as the map's class. */
rg_code rg_quiz_agree(const rg_quiz_options *options, const char *first_name,
                      const rg_quiz_entry *first, int firsts, const char *second_name,
                      const rg_quiz_entry *second, int seconds, rg_quiz_agreement *agreement,
                      rg_error *err);
rg_code rg_quiz_agree_truth(const rg_quiz_options *options, const char *name,
                            const rg_quiz_entry *entry, int count, rg_quiz_agreement *agreement,
                            rg_error *err);
rg_code rg_quiz_agree_tool(const rg_quiz_options *options, const char *name,
                           const rg_quiz_entry *entry, int count, rg_quiz_agreement *agreement,
                           rg_error *err);
rg_code rg_quiz_agree_archive(const rg_quiz_options *options, const char *name,
                              const rg_quiz_entry *entry, int count, rg_quiz_agreement *agreement,
                              rg_error *err);

#endif
