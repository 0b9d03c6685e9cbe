/*
 * placefit.h - private to geometry: the least-squares fit behind place.h.
 */
#ifndef RIMGLOW_GEOMETRY_PLACEFIT_H
#define RIMGLOW_GEOMETRY_PLACEFIT_H

#include "rimglow/place.h"

typedef enum rg_sight_kind {
    RG_SIGHT_LEFT,  /* on the left outline of the cylinder of that radius */
    RG_SIGHT_RIGHT, /* on the right one */
    RG_SIGHT_LEVEL, /* at that height where the ray is nearest the axis */
    RG_SIGHT_EDGE   /* at that height on the near wall of the cylinder */
} rg_sight_kind;

typedef struct rg_sight {
    rg_sight_kind kind;
    rg_vec2 pixel;
    double radius_mm, height_mm;
    double u_px;   /* standard uncertainty; 0 leaves it out */
    bool on_cup;   /* its height shares the cup edge's error */
    double misfit; /* out: px */
} rg_sight;

typedef struct rg_place_prior {
    double elevation_deg, u_elevation_rad; /* u 0: not stated */
    double u_bearing_rad;
    double u_cup_mm; /* of the height that all sights on the cup share; > 0 */
} rg_place_prior;

typedef struct rg_place_result {
    rg_place_view view;
    double covariance[6][6]; /* as in rg_place */
    double chi2;             /* with the priors */
    int freedom;             /* degrees of freedom */
} rg_place_result;

/* From the start in result->view (its bearing stays). RG_BAD_DATA when the
 * sights do not hold a place. */
rg_code rg_placefit(const rg_lens *lens, rg_sight *sight, int n, const rg_place_prior *prior,
                    rg_place_result *result, rg_error *err);

#endif
