/*
 * diagnosis.h - why a pad leaks, and what to do: faults with evidence and confidence, corrections
 * in the trade's terms and hundredths of a mm, and what the seal would become after each.
 *
 * From the shape of shape.h (signed gap s = mean + tilt + saddle, local places) a fault is named when
 *   tilt     differs from 0 (Wald, chi-square, 2 degrees of freedom, p < significance) and is at
 *            least fault_share tolerances. Within hinge_deg of bearing 180 the pad touches at the key
 *            arm first: thick at the hinge; of 0: thin at the hinge (common practice, no source)
 *   saddle   likewise; the cup is bent or the rim is not level: a map cannot tell which
 *   uniform  the lowest place of s stands above contact by more than k u and fault_share tolerances:
 *            the key does not come down. A pad that touches somewhere has come down
 *   local    an opening that the shape leaves over (K u by Bonferroni, shape.h): a crease of the pad or
 *            a dent of the rim. A second pad on the same rim tells: a dent stays where it is
 *   dirt     blocked or dark between two openings, or two local openings with a short contact
 *            between them: something lifts the pad. A tilt whose widest side lies within dirt_deg of
 *            it is its work and no fault of its own
 *   uneven   single bearings off the shape by more than K u that are none of these
 *
 * Confidence of a fault: 1 - p of the test that named it; for the hinge times the normal probability
 * that the bearing lies within hinge_deg; a blocked slot: the normal probability that the shape
 * stands open there, NAN without a shape. Of the whole: the product. It says how surely the fault is
 * in the map, not that the map is right.
 *
 * What the seal would become: s without the corrected term, amounts rounded to round_mm as one would
 * take them; if nothing touches any more the key comes down until something does; clipped at 0. Local
 * openings not yet corrected stay as far above the shape as they are. Unseen bearings are
 * taken to follow the shape: only a new sweep shows a seal.
 */
#ifndef RIMGLOW_DIAGNOSIS_H
#define RIMGLOW_DIAGNOSIS_H

#include "rimglow/shape.h"

enum { RG_FAULTS_MAX = 16, RG_SENTENCE_SIZE = 320, RG_SENTENCES_MAX = 4 * RG_FAULTS_MAX + 8 };

/* calib/diagnosis.ini says what each means and where it comes from. */
typedef struct rg_diagnosis_options {
    rg_shape_options shape;
    double fault_share;     /* of the tolerance: smaller terms are no fault */
    double hinge_deg;       /* a tilt this near to the line through the hinge is the hinge's */
    double dirt_deg;        /* a tilt this near to something in the slot is its work */
    double twin_deg;        /* longest contact between two openings that something lifts */
    double same_deg;        /* two local openings this near are one, on two pads */
    double round_mm;        /* corrections are whole multiples of it */
    double shim_most_mm;    /* up to it a shim, beyond it bending */
    double replace_most_mm; /* a local opening wider than it is not pressed out */
} rg_diagnosis_options;

typedef enum rg_fault_kind {
    RG_FAULT_TILT,
    RG_FAULT_HINGE_THICK,
    RG_FAULT_HINGE_THIN,
    RG_FAULT_SADDLE,
    RG_FAULT_UNIFORM,
    RG_FAULT_LOCAL, /* crease of the pad or dent of the rim */
    RG_FAULT_CREASE,
    RG_FAULT_DENT,
    RG_FAULT_DIRT,
    RG_FAULT_UNEVEN
} rg_fault_kind;
/* "tilted" "thick at the hinge" "thin at the hinge" "saddle" "uniform" "crease or dent" "crease"
 * "rim dent" "dirt" "uneven" */
const char *rg_fault_kind_name(rg_fault_kind kind);

typedef enum rg_action {
    RG_ACTION_HALF_SHIM, /* half-moon shim behind the pad at that side */
    RG_ACTION_BEND,      /* bend arm or cup */
    RG_ACTION_LET_DOWN,  /* whole shim, or free what holds the key up */
    RG_ACTION_LEVEL,     /* rim or cup */
    RG_ACTION_RESEAT,    /* float or press */
    RG_ACTION_REPLACE,   /* the pad */
    RG_ACTION_LEVEL_RIM, /* lift a dent */
    RG_ACTION_CLEAN
} rg_action;
const char *rg_action_name(rg_action action); /* "half shim" "bend" "let down" ... */

typedef enum rg_test_kind {
    RG_TEST_CHI2,   /* Wald's chi-square, 2 degrees of freedom */
    RG_TEST_NORMAL, /* so many standard uncertainties, among `among` bearings (Bonferroni) */
    RG_TEST_LIGHT   /* the light is interrupted between two openings */
} rg_test_kind;

typedef enum rg_outlook {
    RG_OUTLOOK_WITHIN,   /* widest + k u within the tolerance */
    RG_OUTLOOK_ABOVE,    /* widest - k u above it */
    RG_OUTLOOK_UNDECIDED /* between */
} rg_outlook;
const char *rg_outlook_name(rg_outlook outlook); /* "within" "above" "undecided" */

/* What the seal would be. */
typedef struct rg_forecast {
    double widest_mm, u_widest_mm, widest_deg;
    rg_outlook outlook;
} rg_forecast;

typedef struct rg_fault {
    rg_fault_kind kind;
    double size_mm, u_size_mm;         /* amplitude of tilt or saddle; else gap; NAN: not known */
    double bearing_deg, u_bearing_deg; /* widest side, high axis of a saddle, middle of a place; NAN
                                          for a uniform gap */
    double extent_deg;                 /* of a place; NAN for the others */
    double confidence;                 /* 0 to 1; NAN: not told */
    rg_test_kind test;
    double statistic;
    int among;
    double effect_mm; /* most that correcting it alone takes off the gap anywhere */
    rg_action action;
    double amount_mm;       /* across the rim, side against opposite side; of a place its gap */
    rg_forecast afterwards; /* with this and all faults before it corrected */
} rg_fault;

typedef enum rg_diagnosis_class {
    RG_DIAGNOSIS_ONE,     /* one kind of fault: that of fault[0] */
    RG_DIAGNOSIS_MIXED,   /* several kinds */
    RG_DIAGNOSIS_NONE,    /* nothing beyond what the tolerance allows shows */
    RG_DIAGNOSIS_UNCLEAR, /* a gap beyond the tolerance that none of the faults explains */
    RG_DIAGNOSIS_UNSEEN   /* nothing was seen */
} rg_diagnosis_class;

typedef struct rg_diagnosis {
    rg_diagnosis_class found;
    double confidence; /* product over the faults; NAN without any, or where one is not told */
    double tolerance_mm, coverage_factor;
    rg_shape shape;
    rg_forecast now; /* as measured */
    int faults;      /* by effect, largest first */
    rg_fault fault[RG_FAULTS_MAX];
    double predicted_mm[RG_BINS]; /* after all corrections; where nothing is known 0 */
} rg_diagnosis;

/* One or two words for the whole: rg_fault_kind_name, "mixed", "no fault shown", "unclear", "unseen". */
const char *rg_diagnosis_name(const rg_diagnosis *diagnosis);

/* other_pad: the shape of a map of the same rim with another pad, or NULL. RG_BAD_DATA for options out
 * of their range. */
rg_code rg_diagnose(const rg_seal_map *map, double tolerance_mm, const rg_shape *other_pad,
                    const rg_diagnosis_options *options, rg_diagnosis *diagnosis, rg_error *err);

/* The diagnosis in sentences: what was seen, then for each fault what it is, what it rests on, the
 * correction, and the seal afterwards. */
typedef enum rg_sentence_kind {
    RG_SENTENCE_SUMMARY,
    RG_SENTENCE_FAULT,
    RG_SENTENCE_EVIDENCE,
    RG_SENTENCE_CORRECTION,
    RG_SENTENCE_AFTERWARDS,
    RG_SENTENCE_REMARK
} rg_sentence_kind;

typedef struct rg_sentences {
    int count;
    struct {
        rg_sentence_kind kind;
        int fault; /* index, -1: of the whole */
        char text[RG_SENTENCE_SIZE];
    } line[RG_SENTENCES_MAX];
} rg_sentences;

void rg_diagnosis_sentences(const rg_diagnosis *diagnosis, rg_sentences *sentences);

#endif
