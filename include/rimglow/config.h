/*
 * config.h - what people edit: instrument, station and sweep files (INI).
 *
 * All lengths in mm, angles in degrees, '.' as the decimal sign. Every
 * default stands in calib/, none in code: a missing key is an error that
 * names file, section, key and where to look it up (rg_pad names some that mean
 * "not stated" instead). Unknown keys are errors
 * too (a misspelt tolerance must not be ignored). Two values that contradict
 * each other are refused and both are named.
 *
 * Format: UTF-8, "[section]", "key = value"; a comment begins with ';' or '#'
 * at the start of a line, after a blank or after the '='. A line may have 197
 * bytes without its comment; a longer one is refused by number, never cut.
 * Every refusal is RG_BAD_DATA with "LABEL, line N: [SECTION] KEY = VALUE:
 * reason; remedy".
 */
#ifndef RIMGLOW_CONFIG_H
#define RIMGLOW_CONFIG_H

#include <stdbool.h>
#include <stddef.h>

#include "rimglow/bench_check.h"
#include "rimglow/gap_budget.h"
#include "rimglow/notes.h"
#include "rimglow/pipeline.h"
#include "rimglow/ring.h"
#include "rimglow/wedge.h"

enum {
    RG_NAME_SIZE = 128,
    RG_PADS_MAX = 64,
    RG_LINKS_MAX = 64,
    RG_FRAMES_MAX = 512,
    RG_CONFIG_MAX_BYTES = 1024 * 1024,
    RG_NOTES_SIZE = 240
};

/* Where a pad's dimensions come from. */
typedef enum rg_dimensions {
    RG_DIMENSIONS_UNSTATED,
    RG_DIMENSIONS_MEASURED,
    RG_DIMENSIONS_PUBLISHED,
    RG_DIMENSIONS_MEMORY,
    RG_DIMENSIONS_INVENTED
} rg_dimensions;

/* One pad of an instrument: section [pad NAME], from the top of the body down.
 * A key that [pad NAME] does not give is taken from [every pad].
 *
 * crown = none: the cup is too small for a crown; the other crown keys may then be
 * left out, number is -1 and the rest of crown 0.
 *
 * rest, role, dimensions, opening_tolerance_mm, opens and vents may be left out, in contrast to
 * all others: files that were archived before they existed stay evidence. Nothing is guessed then, the
 * values say "not stated", and what rests on them is not judged. Lists of notes are kept as
 * text here, and read by rg_instrument_holes: old files may hold other texts. */
typedef struct rg_pad {
    char name[RG_NAME_SIZE];
    rg_rim rim;
    rg_crown crown;
    double tolerance_mm;             /* largest gap that still seals */
    double min_arc_deg;              /* shortest arc that counts as a leak */
    double opening_mm;               /* target opening at the far side */
    double opening_tolerance_mm;     /* target band to either side; 0: not stated */
    rg_rest rest;                    /* open or closed */
    rg_hole_role role;               /* tone or vent */
    rg_dimensions dimensions;        /* measured, published, memory or invented */
    char closed_with[RG_NOTES_SIZE]; /* pads closed by the same key, comma separated */
    char notes[RG_NOTES_SIZE];       /* notes that need this pad closed (pitch.h) */
    char opens[RG_NOTES_SIZE];       /* notes for which its key opens it */
    char vents[RG_NOTES_SIZE];       /* notes in which it is open as a register vent only */
} rg_pad;

typedef enum rg_adjuster { RG_ADJUSTER_SCREW, RG_ADJUSTER_CORK, RG_ADJUSTER_BEND } rg_adjuster;

/* Section [link DRIVER > DRIVEN]: the key of DRIVER also closes DRIVEN, through something that can be
 * adjusted. DRIVEN stands in closed_with of DRIVER. All four keys must be there. */
typedef struct rg_link {
    int driver, driven;          /* indices of pads */
    char adjuster[RG_NAME_SIZE]; /* in words, such as "screw on the arm of F sharp" */
    rg_adjuster kind;            /* screw, cork or bend */
    double lever_ratio; /* movement of the driven pad's centre by movement at the adjuster */
    double thread_mm;   /* pitch of the screw's thread; 0: none or not known */
} rg_link;

typedef struct rg_instrument {
    char name[RG_NAME_SIZE];
    int pads;
    rg_pad *pad; /* owned */
    int links;
    rg_link *link; /* owned */
} rg_instrument;

/* When and how the light was calibrated: section [calibration]. */
typedef struct rg_light_calibration {
    int day;        /* see date.h; -1: never */
    int valid_days; /* 0: until the bench is changed */
    double gain;    /* of the camera, as it states it; 0: not stated */
    double exposure_s;
} rg_light_calibration;

/* The camera, and every number the measurement rests on. The tolerance and the
 * shortest leak in measure.sealmap are the pad's: rg_config_setup sets them. */
typedef struct rg_station {
    char name[RG_NAME_SIZE];
    rg_lens lens;
    rg_measure_options measure;
    rg_light_calibration light;
    rg_wedge_options wedge;       /* section [wedge]: how a calibration is made */
    rg_bench_limits check;        /* of rimglow calibrate check */
    rg_gap_budget_options budget; /* of rimglow budget */
} rg_station;

typedef enum rg_role { RG_ROLE_WITNESS, RG_ROLE_CLOSED, RG_ROLE_DARK, RG_ROLE_OPEN } rg_role;
typedef enum rg_finger {
    RG_FINGER_UNSTATED,
    RG_FINGER_LIGHT,
    RG_FINGER_FIRM,
    RG_FINGER_GRAMS
} rg_finger;

typedef struct rg_sweep_frame {
    char file[RG_NAME_SIZE]; /* a safe name inside the sweep folder, or until rg_sweep_expand one
                                with a '*' that stands for any text */
    rg_role role;
    double exposure;      /* relative, > 0: the same unit for all frames of a sweep */
    rg_place_given given; /* with a jig or marks: bearing, elevation, marks; NAN where not given */
} rg_sweep_frame;

/* A sweep taken with the pad resting on a feeler of known thickness. */
typedef struct rg_wedge {
    bool present;                  /* section [wedge] is there */
    double feeler_mm, feeler_u_mm; /* thickness by micrometer, and its standard uncertainty */
    double bearing_deg, width_mm;  /* of the feeler: its middle and its width */
} rg_wedge;

/* When and how the frames were taken; what is not known is -1 or 0. */
typedef struct rg_taken {
    bool present;      /* section [taken] is there */
    int day;           /* see date.h */
    double gain;       /* of the camera, as it states it */
    double exposure_s; /* of a frame whose exposure is 1 */
} rg_taken;

/* sweep.ini:
 *
 *   [sweep]
 *   serial = PE-A-0147
 *   instrument = ../../../calib/alto-loan.ini
 *   station = ../../../calib/bench.ini
 *   pad = G
 *   crown = 2
 *   finger = light                     ; or firm, unstated, 35 g
 *   key = F                            ; optional: pad whose key was pressed, its own without
 *
 *   [frames]
 *   witness.jpg = witness, exposure 0.2
 *   view_*.jpg = closed                ; exposure 1 unless it says otherwise
 *
 *   [taken]                            ; optional
 *   date = 2026-11-25                  ; or none
 *   gain = 0                           ; as the camera states it; 0: not known
 *   exposure_s = 0                     ; of a frame with exposure 1; 0: not known
 *
 * Frames lie in the sweep's own folder. Paths of instrument and station are relative to the sweep
 * folder or absolute. Exposures are relative to each other; frames with the
 * same lamp, f-number and gain are scaled by them. Frames of the open key alone
 * make a sweep for key heights; any other sweep needs a closed frame. [wedge] is optional.
 *
 * Without a crown (place.h), the key crown may be left out, and:
 *
 *   [place]
 *   source = jig              ; crown (as without this section), jig or marks
 *   bearing_u_deg = 0.1       ; standard uncertainty of every stated bearing, 0 to 30
 *   elevation_u_deg = 0.03    ; jig: of every stated elevation, 0.001 to 10
 *   distance_mm = 110         ; jig: camera to tone hole, within a twentieth, 20 to 5000
 *   outline_u_px = 0.5        ; jig: of outlines found in the picture, 0.05 to 20
 *   click_u_px = 0.5          ; of either coordinate of a mark, 0.05 to 20; a jig without
 *                             ; marks needs none
 *   seat_tilt_deg = 0.5       ; standard deviation of a pad's tilt against its rim, 0 to 5
 *   cup_mm = 24               ; with marks on the cup: diameter of its lower edge,
 *   cup_edge_mm = 1.4         ; that edge's height above the rim, pad seated,
 *   cup_edge_u_mm = 0.05      ; and its standard uncertainty
 *
 *   [frames]                  ; each file its own line (open frames excepted)
 *   view_01.jpg = closed, bearing 30, elevation -0.4    ; marks: no elevation
 *
 *   [marks]                   ; px, centres at integers, of the upright picture
 *   view_01.jpg = rim 412.5 388 871 390.2 640 392, cup 640 355 520 356
 *
 * rim: first the left, then the right end, where the chimney's outline meets the rim's
 * outer edge; further points lie anywhere on that edge between them. cup: points
 * of the cup's lower edge in front. At most 12 in all. source = marks needs two or
 * more besides the ends, in every frame but open ones. With a jig, marks are for
 * frames whose outlines are not clear; the two ends are enough there. */
typedef struct rg_sweep {
    char serial[RG_NAME_SIZE], pad[RG_NAME_SIZE];
    char instrument_path[512], station_path[512];
    int crown_number; /* must agree with the instrument's; -1: none, with a jig or marks */
    rg_place_options place;
    rg_finger finger;
    double finger_grams;    /* with RG_FINGER_GRAMS */
    char key[RG_NAME_SIZE]; /* pad whose key was pressed; "": its own */
    rg_wedge wedge;
    rg_taken taken;
    int frames;
    rg_sweep_frame *frame; /* owned */
} rg_sweep;

/* label names the file in messages; text is read up to size and need not end
 * with a 0. On failure the struct owns nothing; freeing it is allowed. */
rg_code rg_instrument_parse(const char *label, const char *text, size_t size,
                            rg_instrument *instrument, rg_error *err);
void rg_instrument_free(rg_instrument *instrument);
/* NULL when the instrument has no such pad. */
const rg_pad *rg_instrument_pad(const rg_instrument *instrument, const char *name);
/* Its pads as holes (notes.h), by place. holes: [RG_PADS_MAX]; names are borrowed from the
 * instrument. RG_BAD_DATA "LABEL: [pad NAME] ..." for lists of notes that cannot be read or
 * contradict each other. */
rg_code rg_instrument_holes(const char *label, const rg_instrument *instrument, rg_hole *holes,
                            rg_error *err);

/* "not stated" and the words of the file. */
const char *rg_rest_name(rg_rest rest);
const char *rg_hole_role_name(rg_hole_role role);
const char *rg_dimensions_name(rg_dimensions dimensions);
const char *rg_adjuster_name(rg_adjuster kind);

rg_code rg_station_parse(const char *label, const char *text, size_t size, rg_station *station,
                         rg_error *err);

/* Why the light's calibration does not hold on this day: never made, lapsed, or
 * later than the frames (where their date is stated: a clock may be wrong). ""
 * when it holds. text: RG_REASON_SIZE bytes. */
void rg_station_light_fault(const rg_station *station, int day, bool stated, char *text);
/* RG_BAD_DATA when the frames were taken at another gain than the calibration's:
 * noise and response are then others. Scales the radiance that is taken
 * without a witness by the exposure. Where either is not stated, nothing
 * happens. label names the sweep's file. */
rg_code rg_station_match(rg_station *station, const char *label, const rg_taken *taken,
                         rg_error *err);
/* How index crowns are printed: calib/sheet.ini. */
rg_code rg_sheet_parse(const char *label, const char *text, size_t size, rg_ring_rules *rules,
                       rg_error *err);

/* What rg_frame_take and rg_sweep_measure need for this pad at this station. */
void rg_config_setup(const rg_station *station, const rg_pad *pad, rg_setup *setup);

rg_code rg_sweep_parse(const char *label, const char *text, size_t size, rg_sweep *sweep,
                       rg_error *err);
void rg_sweep_free(rg_sweep *sweep);
/* Replaces every frame whose file has a '*' by the names it covers, in the
 * order given (rg_folder_list sorts them); a name listed in full keeps its own
 * line. To be called once before the frames are read. RG_NO_INPUT for a
 * pattern that covers nothing, RG_BAD_DATA for two that cover one file; the
 * sweep is then unchanged. */
rg_code rg_sweep_expand(const char *label, rg_sweep *sweep, char *const names[], size_t count,
                        rg_error *err);
/* The text of a sweep.ini for this sweep; free() it. Values that rg_sweep_parse would refuse are
 * refused here with the same text. */
rg_code rg_sweep_text(const rg_sweep *sweep, char **text, rg_error *err);

const char *rg_role_name(rg_role role);
const char *rg_finger_name(rg_finger finger);

#endif
