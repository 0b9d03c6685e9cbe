/*
 * keys_report.h - regulation, finger force and repeatability as JSON. Lengths in mm, forces in grams,
 * angles in degrees; what does not exist is null. Texts are owned by the caller (free()).
 */
#ifndef RIMGLOW_KEYS_REPORT_H
#define RIMGLOW_KEYS_REPORT_H

#include "rimglow/force.h"
#include "rimglow/regulation.h"
#include "rimglow/repeat.h"

/* {"format": "rimglow regulation", "version": 1, key, same_finger, closes_first, cups[] of {pad, measured,
 * stand_off_mm, U_mm, at_least, with_first}, links[] of {driver, driven, adjuster, kind, state,
 * difference_mm, U_mm, at_least, adjuster_mm, U_adjuster_mm, turns, U_turns, step_mm, step_turns,
 * too_fine, after_mm, U_after_mm}, advice[]}
 * link: the links that were given to rg_regulation_find. */
rg_code rg_keys_report_regulation(const char *key, const rg_regulation *regulation,
                                  const rg_key_link *link, char **text, rg_error *err);

/* {"format": "rimglow finger force", "version": 1, pad, verdict, reason, sweeps[] of {finger, grams, verdict,
 * widest_mm, u_widest_mm}, gaps[] of {start_deg, end_deg, extent_deg, most_mm, u_most_mm,
 * most_bearing_deg, open_sweep, closed_sweep, leak}, force {state, force_g, u_g, low_g, high_g, leaks_g,
 * seals_g}, line {points, a_mm, b_mm_per_g, u_a_mm, u_b_mm_per_g, covariance, chi2, p, holds} | null,
 * yielding {sinks_mm_per_100g, U_mm_per_100g, tilts, tilt_q, tilt_p, soft}, advice[]}
 * open_sweep and closed_sweep are places in sweeps[], from 0. */
rg_code rg_keys_report_force(const char *pad, const rg_force_sweep *sweep, int sweeps,
                             const rg_force *force, char **text, rg_error *err);

/* {"format": "rimglow repeatability", "version": 1, pad, closings, sealed, unseen, tilts, same_finger, state,
 * widest | mean | tilt {mean_mm, variance_mm2, noise_mm2, sd_mm, negative, low_mm, high_mm, df, p} | null
 * (tilt without mean_mm), tilt_mean_mm[2], tilt_test {q, df, p} | null, axis {told, p, bearing_deg, u_deg,
 * along_mm, across_mm} | null, drift {mm, U_mm, p} | null, advice[]} */
rg_code rg_keys_report_repeat(const char *pad, const rg_repeat *repeat, char **text, rg_error *err);

#endif
