/*
 * bench.h - an instrument at the bench: its pads one after the other, each swept live (live.h), then all
 * of them archived as one inspection.
 *
 * One thread of the session owns camera and engine; wishes (a key was pressed) are handed to it and
 * answered by it. What it has to show goes into two feeds: pictures, and the state as JSON. Both are ready
 * to be sent: pictures as parts of multipart/x-mixed-replace, states as server-sent events.
 *
 * With recorded sweeps in place of the camera the recording waits for the technician: witness frames
 * come only while the key is said to be cracked open, closed frames only while it is
 * said to be closed.
 *
 * An inspection goes from one bag of the archive to the next, however often the program is ended: finished
 * sweeps below OUT/SERIAL that are in no bag are read back by their seal maps where these are of exactly those
 * frames, and measured again where not; of a pad those after its last archived sweep, and the newest of
 * each finger. A pad that was to be swept again (RG_WISH_REDO) but was not, thus counts again. Set-up
 * values and notes stand in OUT/SERIAL/setup.ini and notes.json, and are read back unless a later bag
 * holds them.
 *
 * State, one JSON object; lengths in mm, angles in degrees, px of the upright picture; what does not exist is
 * null:
 *   version, serial, instrument, technician, archive, occasion,
 *   pad (index of pads, or -1), role "none" | "witness" | "closed", finger {kind, grams},
 *   key (pad whose key is pressed; "": its own), keys[] (pads whose keys close the one at the bench too),
 *   source {state "frame" | "wait" | "away" | "end" | "none", note, replay, waits_for},
 *   message, busy, finished {bag, verdict, certificate} | null,
 *   pads[] of {name, notes, state "open" | "now" | "done", verdict (pad_verdict.h), reason ("only a firm finger
 *     was tried" | null), unmeasured (why a sweep of an earlier run does not count | null),
 *     fingers[] of {finger, grams, key, verdict, widest_mm, U_widest_mm, widest_deg, area_mm2, seen, kept, earlier},
 *     one for each finger and key that the pad was swept by; of the worst of them: widest_mm, U_widest_mm,
 *     widest_deg, seen, kept; sweeps, note},
 *   earlier {pads, first, last "YYYY-MM-DD" | null, bag}: pads read back from earlier runs, dates of their
 *     frames, and the newest bag of the serial,
 *   worklist[] of {pad, name, verdict, area_mm2, width_mm, U_width_mm, bearing_deg, orifice_mm, orifice_low_mm,
 *     orifice_high_mm, unseen, starts_at (note | null), notes (how many | null), sentence, steps[] of {fault, correction,
 *     afterwards}, more}, worst first (bench_rank.h); worklist_fault (why there is no diagnosis | null),
 *   setup {values[] of {quantity, value, u, unit, with}, checks[] of {name, done}, remarks[] of {topic, text}},
 *   live | null: {want "witness" | "closed" | "done", witnesses, offered, kept, skipped, left_out, last_reason,
 *     posed, bearing_deg, elevation_deg, guide "lost" | "level" | "too high" | "too low", guide_text,
 *     verdict, decided, widest_mm, U_widest_mm, widest_deg, reasons[], latency_ms,
 *     coverage {visited[36] (bit l: level l, upwards), seen[36], seen_bearings, witness, missing},
 *     map (360 letters: s sealed, g gap, u unseen)},
 *   overlay | null: {frame, width, height, x[72], y[72], lit[72], hidden[72]}; frame is the X-Frame of its
 *     picture in the stream,
 *   account {given, bad, missed, away, passed, offered, kept, left_out, skipped}: frames of the session, by the source
 *     (live.h), passed to the pictures, and by the engine over all sweeps,
 *   calibration {kind "lens" | "light" | null, station, recorded {photographs, wedge}; and unless kind is null:
 *     written, remarks[],
 *     lens | null: {board, folder, automatic, recorded, photographs[] of {file, used, rms_px}, min_views,
 *       field_views, tilted_views, views, fields[9] of {name, views}, corners[4] (near enough),
 *       tipped_up_down, tipped_left_right, advice[], picture | null: {width, height, tags[] of [x, y ...] (4
 *       corners), outline[] of [x, y]}, usable, still, why, adds, told, result (lens_report.h) | null,
 *       result_of (photographs that it rests on), fitting, fault},
 *     light | null: {pad, folder, feeler_mm, feeler_u_mm, bearing_deg, width_mm, stage "sweep" | "fit" | "done",
 *       fault (why the values should not be used), error (why there are none), result (report.h) | null}}
 *   While a feeler is swept, live and overlay are that sweep's.
 */
#ifndef RIMGLOW_BENCH_H
#define RIMGLOW_BENCH_H

#include "rimglow/config.h"
#include "rimglow/feed.h"

typedef struct rg_bench rg_bench; /* opaque */

typedef struct rg_bench_options {
    const char *instrument_file, *station_file, *serial;
    const char *technician; /* NULL or "": asked by the page */
    const char *occasion;   /* may be NULL */
    const char *camera;     /* NULL: the first that has the size */
    /* [replays] sweep folders, or folders of sweep folders; for calibrations a folder of board photographs
     * and a sweep with [wedge]. */
    const char *const *replay;
    int replays;               /* 0: a camera */
    double rate;               /* of a replay, frames a second; 0: as fast as they are measured */
    const char *settings_file; /* NULL: calib/capture.ini */
    const char *board_file;    /* the printed board for the lens; NULL: calib/board.ini */
    const char *out;           /* sweeps go to OUT/SERIAL/NN-PAD */
    const char *archive, *reports; /* folders of bags and certificates */
    bool fresh;                    /* sweeps of earlier runs that were not archived do not count */
    int workers;
} rg_bench_options;

/* The strings stay the caller's until rg_bench_close. */
rg_code rg_bench_open(const rg_bench_options *options, rg_bench **bench, rg_error *err);
/* Ends the sweep that is being taken, so that its frames are kept. Wishes are refused from then on. */
void rg_bench_stop(rg_bench *bench);
/* After rg_bench_stop, and when nobody reads the feeds any more. */
void rg_bench_close(rg_bench *bench);

rg_feed *rg_bench_pictures(rg_bench *bench);
rg_feed *rg_bench_events(rg_bench *bench);
extern const char rg_bench_picture_type[]; /* of the pictures' stream */

typedef enum rg_bench_wish_kind {
    RG_WISH_ROLE,   /* text: "witness", "closed", "none" */
    RG_WISH_PAD,    /* text: "next", "previous", or a pad's name */
    RG_WISH_REDO,   /* the pad again from the beginning; the old sweep stays on the disk */
    RG_WISH_NOTE,   /* text: of this pad */
    RG_WISH_FINGER, /* text: "light", "firm", "unstated" or "35 g" */
    RG_WISH_KEY, /* text: pad whose key is pressed and closes this one too; "": its own, as after each RG_WISH_PAD */
    RG_WISH_TECHNICIAN, /* text */
    RG_WISH_OCCASION,   /* text */
    RG_WISH_SETUP,      /* text: JSON {quantity, value, unit, u, with}, texts; value "": remove; or
                           {quantity, check "done" | "not done" | ""}: "": remove */
    RG_WISH_REMARK,     /* text: JSON {topic, text}; text "": remove */
    RG_WISH_FINISH,     /* archive; answered at once, the state tells when it is done */
    RG_WISH_CALIBRATE   /* text: a JSON object as bench_page.h says */
} rg_bench_wish_kind;

/* Waits until the session has done it. RG_USAGE: not now, or not that; the text says why. */
rg_code rg_bench_ask(rg_bench *bench, rg_bench_wish_kind kind, const char *text, rg_error *err);

/* Would the instrument be released as it stands? By the rules of calib/release.ini (release.h) from the session's
 * finished sweeps, its values and the earlier visits in the archive. Changes nothing. JSON, free() it:
 *   {preview true, decision "release" | "hold" | null, fault (why it cannot be judged | null), rules, day "YYYY-MM-DD",
 *    reasons[] of {name, state "out of limits" | "undecided" | "not measured", text}, gravest first,
 *    passed, items (how many), pads, swept, taking (a sweep is under way, which does not count yet),
 *    archived (bag that holds all of this | null)}
 * RG_USAGE: not while the instrument is being archived. */
rg_code rg_bench_decision(rg_bench *bench, char **json, rg_error *err);

/* The response of the light as it was calibrated last: an SVG, free() it; *svg NULL: none yet. */
rg_code rg_bench_response(rg_bench *bench, uint8_t **svg, size_t *size, rg_error *err);
/* The archive's folder, and the serial at the bench. */
const char *rg_bench_archive(const rg_bench *bench);
const char *rg_bench_serial(const rg_bench *bench);

#endif
