/*
 * render.h - sweep folders with known truth, rendered by synth.h from a plan (config_render.h).
 *
 *   OUT/SERIAL/NAME/            frames and sweep.ini, as rimglow inspect takes them
 *   OUT/calib/                  copies of instrument and station file; sweep.ini names these
 *   OUT/truth/SERIAL-NAME.json  gap at 360 bearings, and where the camera was
 *   OUT/SERIAL/NAME.jpg, .png   a single frame, its truth beside it in NAME.json
 *
 * The same plan gives the same bytes, on any number of workers.
 *
 * Truth, one JSON object; lengths in mm, angles in degrees:
 *   format "rimglow rendered truth", serial, folder, pad, finger, sealed, max_gap_mm, max_gap_bearing_deg,
 *   w_mm[360] at bearings 0 to 359, views[] of {file, role, exposure, bearing_deg, elevation_deg, R[3][3], t[3]}
 *   with X_cam = R X_rim + t.
 */
#ifndef RIMGLOW_RENDER_H
#define RIMGLOW_RENDER_H

#include "rimglow/config_render.h"
#include "rimglow/inspection.h"
#include "rimglow/synth.h"

/* What the sweep's camera sees: the pad closed, and the same pad cracked open about its hinge for the
 * witness. Crown and sizes are the pad's. Neither points into sweep or pad. rg_synth_check says whether
 * they can be rendered. */
void rg_render_scene(const rg_render_sweep *sweep, const rg_pad *pad, rg_synth_scene *closed,
                     rg_synth_scene *cracked);

/* A scene as the sweep's camera sees it, before the sensor: blurred, darker outwards, veiled by glare, as the sweep has
 * them. On failure the view owns nothing. */
rg_code rg_render_view(const rg_render_sweep *sweep, const rg_synth_scene *scene,
                       const rg_lens *lens, const rg_pose *camera, rg_synth_view *view,
                       rg_error *err);
/* The lens's part of it alone, for a view that was drawn without glare: what it loses outwards (farthest corner: of the
 * picture of this lens), and its glare. On failure the view is freed. */
rg_code rg_render_lens(const rg_render_sweep *sweep, const rg_lens *lens, rg_synth_view *view,
                       rg_error *err);

/* Renders the sweeps of the plan, or those of them that only names (NULL: all). Whole sweeps or nothing: a
 * folder of that name that is there already is refused (RG_CANT_CREATE) before anything is rendered. */
rg_code rg_render_run(const char *plan_file, const char *const *only, int onlys, const char *out,
                      int workers, const rg_progress *progress, rg_error *err);

#endif
