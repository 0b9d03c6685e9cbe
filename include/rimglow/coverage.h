/*
 * coverage.h - while frames are being taken: what of the rim has been covered, what is missing, and
 * where to move the camera. Pure functions of frames and seal map; the verdict alone decides when a pad
 * is done.
 */
#ifndef RIMGLOW_COVERAGE_H
#define RIMGLOW_COVERAGE_H

#include "rimglow/pipeline.h"

enum { RG_COVER_SECTORS = 36, RG_COVER_LEVELS = 5, RG_COVER_TEXT = 240 };

typedef struct rg_coverage_options {
    double level_deg[RG_COVER_LEVELS]; /* elevations to be visited, upwards: -0.8 -0.4 0 0.4 0.8 */
    double near_deg;                   /* a frame this near to a level has visited it */
    double view_deg;                   /* a frame counts for bearings so far to either side */
} rg_coverage_options;

typedef struct rg_coverage {
    bool visited[RG_COVER_SECTORS][RG_COVER_LEVELS]; /* sector s: bearings 10 s to 10 s + 10 */
    bool seen[RG_COVER_SECTORS];                     /* every bearing of it is seen in the map */
    int seen_bearings;                               /* of 360 */
    bool witness;                                    /* a witness proves the lamp */
    char missing[RG_COVER_TEXT]; /* in words: "bearings 20..40, from below the rim" or "" */
} rg_coverage;

/* map may be NULL before the first measurement. */
void rg_coverage_find(const rg_frame *frames, int count, const rg_seal_map *map,
                      const rg_coverage_options *options, rg_coverage *coverage);

typedef enum rg_guide {
    RG_GUIDE_LOST,     /* no crown in view: why in text */
    RG_GUIDE_LEVEL,    /* within the levels to be visited */
    RG_GUIDE_TOO_HIGH, /* above them */
    RG_GUIDE_TOO_LOW
} rg_guide;

/* For the frame that was taken last: where the camera is, and in words where it should go. text:
 * RG_COVER_TEXT bytes. A witness frame is never too high or low: its cup stands askew. */
rg_guide rg_coverage_guide(const rg_frame *frame, const rg_coverage *coverage,
                           const rg_coverage_options *options, char *text);

#endif
