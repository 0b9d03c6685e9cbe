/*
 * pairs.h - photographs of the shop's own archive beside their maps, for teaching, without what is private.
 *
 * A case is one archived sweep with a seal map and at least one closed frame that was used. Its frames are
 * measured again from the bag, so that every picture is drawn on the frame's own pose; the truth that is told is the
 * archived map's: the tool's own result, not a gauge's.
 *
 * Where a case comes from. Before a bag is used it is checked as a whole (rg_bag_check), and its manifest must be the one
 * that the index recorded. What is then read of it must have the digests of that manifest: seal map, record and
 * photographs as bytes in memory, and what is measured by the digests of the measured bytes. Anything else is left out,
 * counted, and said. Nothing is written into the archive.
 *
 * What is taken out. A photograph is made anew from pixels: decoded, cut to the cup and the rim, coded again. So
 * EXIF (owner, camera's serial, place, time), XMP, comments, thumbnails and colour profiles cannot be in it. Pictures are
 * drawn by draw.h without serial, date and names of files; reasons that quote a date, a path or a name of the bag are
 * replaced. A case has a name that tells nothing: the first 40 bits of HMAC-SHA-256 (RFC 2104, FIPS 198-1) of
 * "BAG/SWEEP" in base32 (RFC 4648), under a random key of this archive. The same key gives the same names.
 *
 * What that protects from, and what not. Who sees a case learns neither instrument, owner, technician nor day
 * from names, texts and metadata, and cannot try serials out without the key. It does not hide what the
 * picture itself shows: an engraved serial within the cut, the crown's printed number, a hand, a mirror image in the
 * lacquer. Lacquer and wear, the camera's noise pattern and the measured numbers themselves can be compared with those of
 * another picture or of the archive by somebody who has it. The order of a list is that of the archive. Name of the pad
 * and kind of finger stay: they are the lesson. So look at every picture before it leaves the shop.
 *
 * Not for several threads at once: one rg_pairs belongs to one caller at a time. Memory does not grow with the archive.
 */
#ifndef RIMGLOW_PAIRS_H
#define RIMGLOW_PAIRS_H

#include "rimglow/config_pairs.h"
#include "rimglow/diagnosis.h"
#include "rimglow/draw.h"
#include "rimglow/inspection.h"

enum {
    RG_PAIRS_KEY = 32,   /* bytes */
    RG_PAIRS_NAME = 10,  /* "WA2E-YYOY" */
    RG_PAIRS_CAUSE = 24, /* rg_diagnosis_name */
    RG_PAIRS_TEXT = 240,
    RG_PAIRS_PAGE = 24,   /* cases of a list at most */
    RG_PAIRS_LOOKED = 256 /* sweeps looked at for one list at most */
};

typedef struct rg_pairs rg_pairs; /* opaque: an archive to take cases from */

typedef struct rg_pairs_options {
    const char *archive;
    /* File of the key for the names: 64 hexadecimal digits, made (mode 0600, with its folder) where it is missing. It must not lie in the
     * archive. NULL: a key of this run, so that the names are others next time. */
    const char *key_file;
    int workers; /* 0: all cores */
} rg_pairs_options;

/* calib/pairs.ini and calib/diagnosis.ini are read (calib_file.h). RG_NO_INPUT without an archive; RG_USAGE for a key
 * file within it. On failure *pairs is NULL. */
rg_code rg_pairs_open(const rg_pairs_options *options, rg_pairs **pairs, rg_error *err);
void rg_pairs_close(rg_pairs *pairs);
const rg_pairs_settings *rg_pairs_settings_of(const rg_pairs *pairs);

/* Name of a text under a key. */
void rg_pairs_name(const uint8_t key[RG_PAIRS_KEY], const char *text, char name[RG_PAIRS_NAME]);
/* KEEP/pairs-DIGITS.key, eight hex digits from the archive's real path: a key file for each archive. path: size
 * bytes. */
rg_code rg_pairs_key_path(const char *keep, const char *archive, char *path, size_t size,
                          rg_error *err);

/* ---------------------------------------------------------------- truth */

/* What the archived map says. Nothing in it is private. */
typedef struct rg_pairs_truth {
    char name[RG_PAIRS_NAME];
    char pad[RG_NAME_SIZE];
    char finger[16]; /* "light", "firm", "grams", "unstated" */
    rg_verdict verdict;
    double tolerance_mm, coverage_factor;
    bool gap;                                       /* some bearing stands open */
    double widest_mm, U_mm, widest_deg, extent_deg; /* NANs without a gap; U = k u */
    int size;                                       /* rg_pairs_size_of */
    char cause[RG_PAIRS_CAUSE];                     /* rg_diagnosis_name */
    int kinds;
    rg_fault_kind kind[RG_FAULTS_MAX]; /* of rg_diagnose, each once, by effect */
    int seen;                          /* bearings of 360 */
    int frames_used;                   /* closed ones */
} rg_pairs_truth;

/* Has one answer to "why": a seal without a fault, or a leak of one kind of fault. Undecided maps have none. */
bool rg_pairs_askable(const rg_pairs_truth *truth);

/* 0: no gap; 1: up to the first edge; ... RG_PAIRS_SIZES + 1: above the last. */
int rg_pairs_size_of(const rg_pairs_settings *settings, const rg_pairs_truth *truth);
/* "no gap measured", "up to 0.025 mm", "0.025 to 0.05 mm", ..., "above 0.2 mm". */
enum { RG_PAIRS_SIZE_TEXT = 40 };
void rg_pairs_size_name(const rg_pairs_settings *settings, int size, char text[RG_PAIRS_SIZE_TEXT]);

/* ---------------------------------------------------------------- list */

typedef struct rg_pairs_choice {
    const char *verdict; /* "sealed", "leaking", "undecided"; NULL or "": any */
    const char *cause;   /* a rg_fault_kind_name that is among the kinds, or a rg_diagnosis_name */
    int size;            /* -1: any */
} rg_pairs_choice;

/* Sweeps that were left out of a list or of the files, and why. `first` names bag and file: for the shop's own
 * terminal, not for the trainee's page. */
typedef struct rg_pairs_left_out {
    int damaged; /* sweeps of bags that do not check, or that do not fit the index */
    int bags;    /* of them, bags */
    rg_error first;
} rg_pairs_left_out;

typedef struct rg_pairs_page {
    int count;
    rg_pairs_truth truth[RG_PAIRS_PAGE];
    int next; /* `from` of the next page; -1: that was the last */
    rg_pairs_left_out left_out;
} rg_pairs_page;

/* Cases that fit, oldest first, from the sweep with that number (0) on. A page may hold less than it could, and even
 * nothing, and still not be the last. RG_USAGE for words that are no verdict or cause. */
rg_code rg_pairs_list(rg_pairs *pairs, const rg_pairs_choice *choice, int from, rg_pairs_page *page,
                      rg_error *err);
/* Archived sweeps, cases or not: the numbers that rg_pairs_take and rg_pairs_list know. */
rg_code rg_pairs_count(rg_pairs *pairs, int *count, rg_error *err);

/* ---------------------------------------------------------------- one case */

typedef enum rg_pairs_view_kind {
    RG_PAIRS_LIT,      /* light comes through at the widest place */
    RG_PAIRS_TOO_HIGH, /* the camera looks at the place from the same side, and it is dark */
    RG_PAIRS_TOO_LOW,
    RG_PAIRS_COVERED, /* something stands before the place, or glare lies over it */
    RG_PAIRS_BEHIND,  /* the place is on the other side, or seen along the rim */
    RG_PAIRS_NO_GAP   /* the map shows none: the frame nearest to the rim plane */
} rg_pairs_view_kind;
/* "lit" "too high" "too low" "covered" "behind" "no gap" */
const char *rg_pairs_view_name(rg_pairs_view_kind kind);

enum { RG_PAIRS_IN, RG_PAIRS_OUT, RG_PAIRS_VIEWS };

typedef struct rg_pairs_view {
    bool there;
    rg_pairs_view_kind kind;
    int frame;                         /* of the sweep */
    double bearing_deg, elevation_deg; /* of the camera against the rim */
    double off_deg;                    /* its bearing less the widest place's, -180 to 180; NAN */
    char says[RG_PAIRS_TEXT];          /* a sentence on what is seen, or not */
} rg_pairs_view;

typedef struct rg_pair rg_pair; /* opaque: a case that was measured again, ready to be drawn */

/* RG_NO_INPUT: no case has this name; RG_BAD_DATA: its bag does not check. */
rg_code rg_pair_open(rg_pairs *pairs, const char *name, rg_pair **pair, rg_error *err);
/* The sweep of that number: RG_NO_INPUT behind the last, RG_USAGE where it is no case. */
rg_code rg_pair_open_at(rg_pairs *pairs, int number, rg_pair **pair, rg_error *err);
void rg_pair_free(rg_pair *pair);

const rg_pairs_truth *rg_pair_truth(const rg_pair *pair);
const rg_seal_map *rg_pair_map(const rg_pair *pair); /* without texts of the archive */
const rg_pairs_view *rg_pair_view(const rg_pair *pair, int which);
/* The widest place where the map has it, on the cut photograph of a view, px; false where that is not to be seen.
 * Centres at integers. And the cup's middle: its axis at the rim plane. */
bool rg_pair_point(const rg_pair *pair, int which, rg_vec2 *pixel);
bool rg_pair_middle(const rg_pair *pair, int which, rg_vec2 *pixel);

typedef enum rg_pair_picture {
    RG_PAIR_PHOTO,  /* JPEG, in colour */
    RG_PAIR_MARKED, /* the same with bearings and light marked (draw.h's overlay) */
    RG_PAIR_SCALE, /* with bearings alone, without the case's name: the light is for the trainee to find */
    RG_PAIR_RING, /* ring map; view is not looked at */
    RG_PAIR_STRIP /* strips of all used closed frames */
} rg_pair_picture;

/* format does not count for the photograph. RG_NO_INPUT for a view that is not there. */
rg_code rg_pair_draw(const rg_pair *pair, rg_pair_picture picture, int view,
                     rg_picture_format format, rg_bytes *out, rg_error *err);

/* {"format": "rimglow teaching pair", "version": 1, case, pad, finger, verdict, reasons[], tolerance_mm,
 *  coverage_factor, rim_outer_diameter_mm, widest null | {bearing_deg, width_mm, U_mm, extent_deg}, cause, faults[],
 *  truth (a sentence: whose map it is), views[] of {view "in" | "out", kind, camera_bearing_deg, camera_elevation_deg,
 *  says}, bins[360] of {bearing_deg, width_mm, u_mm, detection_limit_mm, state}, arcs[] of {start_deg, end_deg,
 *  centre_deg, extent_deg, extent_mm, max_width_mm, u_max_mm, max_bearing_deg}}; owned by the caller (free()). */
rg_code rg_pair_json(const rg_pair *pair, char **text, rg_error *err);
/* That sentence. */
extern const char rg_pairs_whose_truth[];

/* ---------------------------------------------------------------- for the quiz */

/* Frames round the pad for a question, so that the camera's place does not tell the answer: one that shows light from
 * the widest place no more obliquely than look_deg of calib/pairs.ini, and the rest spread evenly from there; without a gap any. */
enum { RG_PAIRS_ROUND = 4 };
typedef struct rg_pairs_round {
    int views;     /* wanted, 1 .. RG_PAIRS_ROUND; a sweep may have fewer */
    uint64_t pick; /* any number: which of the frames that serve, and which picture comes first */
} rg_pairs_round;

typedef struct rg_pairs_look {
    double bearing_deg, elevation_deg; /* of the camera */
    rg_bytes photo;                    /* owned; JPEG */
    rg_bytes scale;                    /* owned; PNG, the bearings drawn in, the light not marked */
} rg_pairs_look;

/* The number-th sweep as a case to ask: pictures, and what the archived map says. */
typedef struct rg_pairs_case {
    rg_pairs_truth truth;
    rg_seal_map map;    /* of the archive, without its texts */
    rg_pairs_view view; /* what the pictures show */
    rg_bytes photo;     /* owned; JPEG */
    rg_bytes scale;     /* owned; PNG, the bearings drawn in, the light not marked */
    int looks;          /* of rg_pairs_take_round, which leaves photo and scale empty */
    rg_pairs_look look[RG_PAIRS_ROUND];
    int facing;        /* the look that view describes */
    const char *whose; /* to be said with the answer: rg_pairs_whose_truth */
} rg_pairs_case;
/* What the number-th sweep would be asked about, without its pictures: nothing is measured. Codes of rg_pair_open_at. */
rg_code rg_pairs_truth_at(rg_pairs *pairs, int number, rg_pairs_truth *truth, rg_error *err);
/* Codes of rg_pair_open_at: a quiz takes the next number where it is RG_USAGE or RG_BAD_DATA. */
rg_code rg_pairs_take(rg_pairs *pairs, int number, rg_pairs_case *c, rg_error *err);
rg_code rg_pairs_take_round(rg_pairs *pairs, int number, const rg_pairs_round *round,
                            rg_pairs_case *c, rg_error *err);
rg_code rg_pairs_take_named(rg_pairs *pairs, const char *name, rg_pairs_case *c, rg_error *err);
void rg_pairs_case_free(rg_pairs_case *c);

/* ---------------------------------------------------------------- for handing out */

typedef struct rg_pairs_written {
    int cases;
    bool more; /* there were more than [handing out] most */
    rg_pairs_left_out left_out;
} rg_pairs_written;

/* FOLDER/look-at-these-first.txt, and for each case that fits FOLDER/NAME/: in-view.jpg, in-view-marked.png and .pdf,
 * out-of-view.jpg and so on where there is such a frame, ring.pdf, ring.svg, strip.png, strip.pdf, pair.json. The folder
 * must be new or empty, and not in the archive: RG_USAGE. */
rg_code rg_pairs_write(rg_pairs *pairs, const rg_pairs_choice *choice, const char *folder,
                       const rg_progress *progress, rg_pairs_written *written, rg_error *err);

#endif
