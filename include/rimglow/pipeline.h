/*
 * pipeline.h - one sweep, from the bytes of its frames to the seal map.
 *
 * The only module that knows all stages; each stage takes the results of the
 * one before. No files, threads or clock here: the caller may hand the
 * frames to rg_frame_take from several threads (one rg_tag_finder each) and
 * calls rg_sweep_measure once, afterwards. The result does not depend on the
 * order in which frames were taken, only on their index.
 */
#ifndef RIMGLOW_PIPELINE_H
#define RIMGLOW_PIPELINE_H

#include "rimglow/crown.h"
#include "rimglow/decode.h"
#include "rimglow/opening.h"
#include "rimglow/place.h"
#include "rimglow/rimlight.h"
#include "rimglow/sealmap.h"
#include "rimglow/verdict.h"
#include "rimglow/witness.h"

/* Every number the measurement rests on; calib/ holds the defaults. */
typedef struct rg_measure_options {
    double code_weights[3]; /* R, G, B codes to luma, sum 1 */
    rg_crown_limits crown;
    rg_tag_options tags;
    double overexposed_light; /* crown paper brighter than this: frame left out */
    double dark_light;        /* crown paper darker than this: frame left out */
    double blur_ratio;        /* frames this many times blurrier than the sharpest are left out */
    double psf_sigma_px;      /* 0: from the crown's borders, or the outlines of pad and chimney */
    double psf_factor;        /* the rim's blur against that of these edges */
    double unproven_radiance; /* of a thin slot, taken when no witness proves it */
    double unproven_u_ln;     /* standard uncertainty of its logarithm */
    double land_reflectance;
    double pad_glow;
    double overhang_mm;     /* pad overhang; 0: (pad - rim) / 2 */
    double overhang_factor; /* how much of it the light sees */
    double shoulder_mm;     /* a bulge of the pad begins so far outside the land */
    rg_strip_options strip;
    rg_rimline_options rimline;
    int mark_every; /* columns between rim marks */
    rg_rimlight_options rimlight;
    rg_witness_options witness;
    rg_rocking_options rocking;
    rg_sealmap_options sealmap; /* tolerance and shortest leak come from the pad */
    rg_opening_options opening;
} rg_measure_options;

typedef struct rg_setup {
    rg_lens lens;
    rg_crown crown;         /* where place says so */
    rg_place_options place; /* where the camera's place comes from; all zero: the crown */
    rg_rim rim;
    rg_measure_options options;
    char light_fault
        [RG_REASON_SIZE]; /* why the light's calibration does not hold; "" when it does */
} rg_setup;

/* RG_BAD_DATA naming the first value that cannot be. */
rg_code rg_setup_check(const rg_setup *setup, rg_error *err);

typedef enum rg_frame_role {
    RG_FRAME_CLOSED,
    RG_FRAME_WITNESS,
    RG_FRAME_DARK, /* lamp off */
    RG_FRAME_OPEN  /* key at rest: never evidence for the seal, so used stays false; for
                      rg_sweep_openings */
} rg_frame_role;

typedef struct rg_frame {
    rg_frame_role role;
    double exposure; /* relative to the closed frames */
    bool used;
    char reason[240];  /* why not used, and the remedy */
    int width, height; /* px, upright */
    rg_place pose;     /* the camera's place: of the cup (crown) or the rim (jig, marks) */
    double bearing_deg, elevation_deg,
        distance_mm;       /* camera, against the rim plane once it is known */
    rg_strip strip;        /* closed and dark frames; owned */
    rg_rimlight light;     /* after rg_sweep_measure; owned */
    double shift_mm;       /* height correction of this frame's pose */
    rg_witness witness;    /* witness frames */
    rg_image luma;         /* open frames that show the crown, until they are measured; owned */
    rg_opening_frame open; /* open frames, after rg_sweep_openings */
} rg_frame;

/* Decodes, finds the crown, unwraps (RG_BAD_DATA for a setup without one). A frame that cannot be used is no
 * error: used = false and reason says why. Errors: memory, bad setup. */
rg_code rg_frame_take(const rg_setup *setup, rg_tag_finder *finder, const uint8_t *bytes,
                      size_t size, rg_frame_role role, double exposure, rg_frame *frame,
                      rg_error *err);
/* The same for a setup whose place is a jig's or marks': given (not NULL then)
 * holds what is stated of this frame. Jig and marks state no exposure: a frame
 * is too dark or too bright only when most of the picture is. The pose is held at
 * the frame's own rim (anchor.h); a witness frame's is not. */
rg_code rg_frame_take_placed(const rg_setup *setup, rg_tag_finder *finder, const uint8_t *bytes,
                             size_t size, rg_frame_role role, double exposure,
                             const rg_place_given *given, rg_frame *frame, rg_error *err);
/* As rg_frame_take, of a live picture: the crown is looked for first about where pose `near` puts it (the last
 * frame's), and in the whole picture when it is not wholly there. The pose is the same within some micrometres, far within
 * its uncertainty, not to the last bit, and another crown elsewhere in the picture goes unnoticed: what is measured for good
 * is taken by rg_frame_take. near may be NULL. */
rg_code rg_frame_take_near(const rg_setup *setup, rg_tag_finder *finder, const uint8_t *bytes,
                           size_t size, rg_frame_role role, double exposure, const rg_pose *near,
                           rg_frame *frame, rg_error *err);
void rg_frame_free(rg_frame *frame);
/* The camera's place is known, whether the frame is used or not. */
bool rg_frame_posed(const rg_frame *frame);
/* A taken frame to be measured without changing it, so that frames can be measured again as more
 * come: everything that rg_sweep_measure changes is the copy's own, the strip is borrowed from `taken`,
 * which must outlive it and must not have been measured itself. rg_frame_return releases what the
 * measurement added. */
rg_frame rg_frame_borrow(const rg_frame *taken);
void rg_frame_return(rg_frame *borrowed);

typedef struct rg_sweep_result {
    rg_seal_map map;
    rg_rim_plane plane;
    rg_evidence evidence;
    double radiance[3]; /* of a thin slot, at exposure 1 */
    double u_ln_radiance;
    double psf_sigma_px; /* of the camera, without the strip's sampling */
    rg_slot_geometry geometry;
} rg_sweep_result;

/* What the fluxes of columns are read with; observe.h. */
typedef struct rg_observe_options {
    double radiance[3];     /* of a thin slot, linear light at exposure 1, by channel */
    double psf_sigma_px;    /* of the camera, without the strip's sampling */
    double code_weights[3]; /* codes to luma */
    double u_slope;         /* standard uncertainty of a slope against the pad */
    double u_height_mm;     /* of the height of one frame's rim line, by its pose */
} rg_observe_options;

/* The slot of this rim and pad, flat. */
rg_slot_geometry rg_setup_slot(const rg_setup *setup);
/* From the result's radiance and blur and the setup's weights. */
rg_observe_options rg_sweep_reading(const rg_setup *setup, const rg_sweep_result *result);
/* The map's bins and arcs, and the pad's bulge, again from the result's own radiance, blur, plane
 * and geometry: a part of rg_sweep_measure, for calibration. No verdict. */
rg_code rg_sweep_merge(const rg_setup *setup, const rg_frame *frames, int count,
                       rg_sweep_result *result, rg_error *err);

/* Takes all frames of the sweep, already taken; fills their light, shift and
 * final angles, and may set used = false (blur). Once for each set of frames. */
rg_code rg_sweep_measure(const rg_setup *setup, rg_frame *frames, int count,
                         rg_sweep_result *result, rg_error *err);

/* How high the open key stands, from the sweep's open frames (opening.h); fills their `open` and
 * final angles and releases their pictures. A sweep without such frames: frames_given = 0, not
 * measured. Once for each set of frames, before or after rg_sweep_measure. */
rg_code rg_sweep_openings(const rg_setup *setup, rg_frame *frames, int count, rg_opening *opening,
                          rg_error *err);

#endif
