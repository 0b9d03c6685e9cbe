/*
 * lab.h - a laboratory of one pad: drawn by synth.h as a camera in the hand would see it, and measured
 * as photographs are.
 *
 * A case says what is wrong with the pad, how hard a finger presses, how the lamp lies and where the camera
 * is. A look is one closed frame of it. It passes through rg_frame_take and rg_sweep_measure with the
 * station's and the instrument's own values, so a lesson can promise nothing that the bench would not keep:
 * one view proves no seal, a leak that is seen is a leak, views add up as the camera is rocked, and from above a
 * thin gap is dark.
 *
 * Picture: the station's lens, its pixels scaled and a part cut out of them, so that the pad fills it
 * (calib/teach.ini). Lengths of the station that stand for pixels (row_mm, inlier_mm) are scaled with it, as
 * calib/README.md asks.
 *
 * Finger: the pad's face sinks by per_100g_mm for each 100 g above light_grams, evenly: a linear spring,
 * invented for teaching.
 *
 * Witness: for a look, that of the same lamp over a pad without faults, cracked open by witness_mm: some hundredths
 * of a millimetre do not change what the wide gap shows, and it need not be drawn again when only the face
 * changes. Light adds up, so another brightness is a sum of what was drawn before. A whole sweep has its own
 * pad's witness.
 *
 * A lab may be used by several threads at a time; a hand by one at a time. The same case gives the
 * same bytes, on any number of workers.
 */
#ifndef RIMGLOW_LAB_H
#define RIMGLOW_LAB_H

#include "rimglow/config_render.h"
#include "rimglow/config_teach.h"

typedef struct rg_lab rg_lab; /* opaque */

/* NULL: calib/alto-loan.ini, calib/bench.ini, calib/teach.ini where calib_file.h finds them; the pad of the
 * plan that the settings name. */
typedef struct rg_lab_options {
    const char *instrument_file, *station_file, *settings_file, *pad;
    int workers; /* of one look or sweep; 0: one for each core */
} rg_lab_options;

/* Errors name the file. RG_USAGE for a pad that the instrument does not have, or that bears no crown. */
rg_code rg_lab_open(const rg_lab_options *options, rg_lab **lab, rg_error *err);
void rg_lab_close(rg_lab *lab);

const rg_teach_settings *rg_lab_settings(const rg_lab *lab);
/* Its limits are the instrument's; its crown that of the plan's pad. */
const rg_pad *rg_lab_pad(const rg_lab *lab);
const char *rg_lab_instrument(const rg_lab *lab); /* name, as in the file */
/* What looks are measured with. */
const rg_setup *rg_lab_setup(const rg_lab *lab);

typedef struct rg_lab_case {
    /* Level, tilt, saddle, creases, press, bulge, lamp and streaks count; level_mm is that under a light
     * finger. Camera's noise and blur, and the places of a whole sweep, too. */
    rg_render_sweep face;
    double grams;       /* finger */
    double bearing_deg; /* camera */
    double elevation_deg, distance_mm, roll_deg;
    bool witness; /* false: none was taken, nothing proves the lamp */
    uint64_t seed;
} rg_lab_case;

/* A good pad under a light finger, seen level from bearing 90: seed 1. */
void rg_lab_start(const rg_lab *lab, rg_lab_case *c);
/* The same with the values of sliders (config_teach.h), [RG_TEACH_SLIDERS]. RG_USAGE names one that is out of
 * its range. */
rg_code rg_lab_from_sliders(const rg_lab *lab, const double *value, rg_lab_case *c, rg_error *err);
/* True gap at the 360 bearings, mm, under this finger. */
void rg_lab_widths(const rg_lab *lab, const rg_lab_case *c, double width_mm[RG_BINS]);

/* The views that a hand has collected of one pad: what a look adds to. A hand lets go of them when the case's
 * face, force or lamp is another. */
typedef struct rg_lab_hand rg_lab_hand; /* opaque */
rg_code rg_lab_hand_new(rg_lab_hand **hand, rg_error *err);
void rg_lab_hand_free(rg_lab_hand *hand);
/* Lets go of all views. */
void rg_lab_hand_empty(rg_lab_hand *hand);

/* How long the parts took by the wall, ms. */
typedef struct rg_lab_times {
    double render, expose, take, measure, all;
    bool witness; /* a witness was drawn too */
} rg_lab_times;

typedef struct rg_lab_look {
    uint8_t *jpeg; /* owned */
    size_t jpeg_size;
    uint8_t *strip; /* owned: JPEG of the unrolled strip, upright, columns as in frame.strip; NULL
                       where the frame cannot be used */
    size_t strip_size;
    rg_frame frame;         /* owned; measured: pose, light by column */
    rg_sweep_result result; /* of witness and all views of the hand, or of this view alone */
    int views;              /* measured together */
    double true_mm[RG_BINS];
    double
        flux_mm; /* mean over the columns nearest to the camera's bearing that are dark or lit; NAN:
                       none is */
    rg_lab_times ms;
} rg_lab_look;

/* hand: NULL, or the views to add to. RG_USAGE for a case that cannot be drawn. */
rg_code rg_lab_look_at(rg_lab *lab, rg_lab_hand *hand, const rg_lab_case *c, rg_lab_look *look,
                       rg_error *err);
void rg_lab_look_free(rg_lab_look *look);

/* Told after each frame of a whole sweep, one at a time, from any thread; false ends it. */
typedef struct rg_lab_watch {
    bool (*go_on)(void *context, int done, int total);
    void *context;
} rg_lab_watch;

typedef struct rg_lab_sweep {
    rg_sweep_result result; /* all zero where it was cancelled */
    int frames, used;       /* closed ones */
    bool cancelled;
    double true_mm[RG_BINS];
    double ms;
} rg_lab_sweep;

/* A whole rocking sweep round the pad, by the places and the unsteady hand of the plan; the case's own
 * camera does not count. Takes seconds. */
rg_code rg_lab_sweep_round(rg_lab *lab, const rg_lab_case *c, const rg_lab_watch *watch,
                           rg_lab_sweep *sweep, rg_error *err);

#endif
