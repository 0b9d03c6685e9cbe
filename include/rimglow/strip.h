/*
 * strip.h - the rim unwrapped: bearing along, height up.
 *
 * The vertical cylinder through the land's outer edge is unwrapped as the
 * camera sees it: column c is one bearing, row r one height Z above the
 * pad's plane (crown frame), the value the linear light there. The rim line
 * is a nearly straight line across the strip (rimline.h finds it).
 *
 * Bilinear sampling adds, averaged over phase, a variance of 1/6 px^2 along
 * each picture axis to the camera's point spread (second moment of the
 * triangle x(1 - x) summed over its two taps, averaged over x in 0..1).
 */
#ifndef RIMGLOW_STRIP_H
#define RIMGLOW_STRIP_H

#include "rimglow/image.h"
#include "rimglow/lens.h"
#include "rimglow/rim.h"

#define RG_BILINEAR_VARIANCE_PX2 (1.0 / 6.0)

typedef struct rg_strip_options {
    double step_deg;          /* column spacing, 0.05..2 */
    double low_mm, high_mm;   /* heights covered, relative to the pad's plane */
    double dz_mm;             /* row spacing */
    double max_obliquity_deg; /* bearings seen more obliquely are left out */
} rg_strip_options;

typedef struct rg_strip_column {
    double bearing_deg;   /* [0, 360) */
    double slope;         /* tan of the ray's elevation above the pad's plane, + camera above */
    double obliquity_rad; /* ray against the outward radius, in the plane, signed */
    double px_per_mm;     /* of Z */
    bool inside;          /* every sample lies in the picture */
} rg_strip_column;

/* Owned by the caller; release with rg_strip_free. */
typedef struct rg_strip {
    int columns, rows;
    double low_mm, dz_mm, step_deg;
    rg_strip_column *column; /* [columns], ascending from the left of the view */
    float *light;            /* [columns][rows], NAN outside the picture */
} rg_strip;

/* RG_BAD_DATA naming the first option out of range. */
rg_code rg_strip_check(const rg_strip_options *options, rg_error *err);

/* RG_BAD_DATA for options out of range (named) and when the rim is not in
 * view at all. plane: channel 0 is used. pose: X_cam = R X_cup + t. */
rg_code rg_strip_new(rg_strip *strip, const rg_plane *plane, const rg_lens *lens,
                     const rg_pose *pose, const rg_rim *rim, const rg_strip_options *options,
                     rg_error *err);
void rg_strip_free(rg_strip *strip);

/* The picture rectangle that the strip will read: x0, y0, width, height, with
 * a margin of 2 px; RG_BAD_DATA when it lies outside the picture. */
rg_code rg_strip_extent(const rg_lens *lens, const rg_pose *pose, const rg_rim *rim,
                        const rg_strip_options *options, int box[4], rg_error *err);

static inline double rg_strip_height(const rg_strip *strip, int row)
{
    return strip->low_mm + row * strip->dz_mm;
}

#endif
