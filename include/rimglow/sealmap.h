/*
 * sealmap.h - the result: 360 bearings of gap width with uncertainty, the
 * arcs of open gap, and the verdict.
 */
#ifndef RIMGLOW_SEALMAP_H
#define RIMGLOW_SEALMAP_H

#include "rimglow/rocking.h"
#include "rimglow/status.h"

enum { RG_BINS = 360, RG_ARCS_MAX = 60, RG_REASONS_MAX = 24, RG_REASON_SIZE = 240 };

typedef enum rg_bin_state { RG_BIN_SEALED, RG_BIN_GAP, RG_BIN_UNSEEN } rg_bin_state;

typedef struct rg_bin {
    double bearing_deg;        /* centre of the bin */
    double width_mm;           /* NAN when unseen */
    double u_mm;               /* standard uncertainty; NAN when unseen */
    double detection_limit_mm; /* INFINITY when no frame showed the bearing */
    int frames;                /* that showed the bearing */
    int lit;                   /* of them, with slot light */
    rg_bin_state state;
    bool blocked;  /* the light is interrupted there, between two openings */
    bool ambient;  /* a dark frame (lamp off) shows light there */
    bool unproven; /* dark, but no witness proves that the lamp was on */
    double tilt;   /* of the pad's face there against the crown's plane, radial, + outwards */
    rg_rocking_fit fit;
} rg_bin;

typedef struct rg_arc {
    /* Clockwise; end < start over the seam. Where the bearings at an end are blocked, it lies anywhere between the
     * last gap and the last blocked bearing: the middle is stated, u is that of an even spread over them
     * (JCGM 100:2008, 4.3.7). All members are finite. */
    double start_deg, end_deg, centre_deg;
    double extent_deg, extent_mm;
    double u_end_deg;                 /* standard uncertainty of either end (rms of both), */
    double u_centre_deg;              /* of the centre: what both ends share moves it less, */
    double u_extent_deg, u_extent_mm; /* and of the extent */
    double max_width_mm, u_max_mm, max_bearing_deg;
    double mean_width_mm, u_mean_mm;
    double open_area_mm2, u_area_mm2;
    bool full_circle; /* no ends: the whole rim stands open */
    bool start_unseen,
        end_unseen; /* the arc runs into bearings that were not seen, blocked ones too */
} rg_arc;

typedef enum rg_verdict { RG_VERDICT_SEALED, RG_VERDICT_LEAKING, RG_VERDICT_UNDECIDED } rg_verdict;

typedef struct rg_seal_map {
    double rim_outer_diameter_mm;
    rg_bin bin[RG_BINS];
    int arcs;
    rg_arc arc[RG_ARCS_MAX];
    rg_verdict verdict;
    int reasons;
    char reason[RG_REASONS_MAX][RG_REASON_SIZE];
} rg_seal_map;

typedef struct rg_sealmap_options {
    double tolerance_mm;     /* largest gap that still seals */
    double min_arc_deg;      /* shortest arc above tolerance that is a leak */
    double arc_floor_mm;     /* arcs end where the width falls below this */
    double gap_sigmas;       /* a gap is this many of its own noise sigmas wide */
    double seen_fraction;    /* of the tolerance: limit at or below it counts as seen */
    double coverage_factor;  /* U = k u */
    double smallest_arc_deg; /* shorter arcs are not listed */
    double bridge_deg;       /* arcs closer than this are one */
    double widest_mm; /* no gap is wider: so far off the pad the rim is looked for; 0: not stated */
    double tilt_prior;         /* standard deviation of a pad's local tilt, slope */
    double tilt_window_deg;    /* bearings over which it is alike, to either side */
    double blocked_factor;     /* openings of so many tolerances on both sides, */
    double blocked_deg;        /* within this distance, between which the light */
    double blocked_share;      /* falls below this share: the slot is blocked there */
    double blocked_margin_deg; /* bearings on either side that the obstacle disturbs */
} rg_sealmap_options;

/* How far the pad's face bulges outside its seat, mm: the value that makes the
 * rocking curves of the lit bearings agree best (a bulge hides light from
 * above and gives it back from below). 0 when fewer than 6 bearings are lit in
 * 3 frames, or when a flat pad explains them nearly as well. */
double rg_sealmap_bulge(const rg_slot_geometry *geometry, const rg_observation *const obs[RG_BINS],
                        const int count[RG_BINS], const rg_rocking_options *rocking);

/* Local radial tilt of the pad's face against the crown's plane, by bearing: the
 * centre of the rocking curves, found over tilt_window_deg of bearing with a
 * prior of tilt_prior about 0. 0 where too little is lit. */
void rg_sealmap_tilts(const rg_slot_geometry *geometry, const rg_observation *const obs[RG_BINS],
                      const int count[RG_BINS], const rg_rocking_options *rocking,
                      const rg_sealmap_options *options, double tilt[RG_BINS]);

/* Observations of all frames, sorted into bins by the caller: obs[b] points
 * to count[b] observations of bin b (bearing b degrees +- 0.5).
 *
 * Where the hole is open on both sides a view near level shows a part of the gap lit and looks out through the rest:
 * the height of light is then no width. What may be missing is bounded view by view from the widest that the far
 * side may be (rg_rocking_through), beginning with anything, as the detection limits are. Where that is more than
 * nothing, the width is that between the edges of light (rg_rocking_edges); where not both edges were seen, width_mm
 * is the middle between what is open for sure and the widest that it may be, at most widest_mm, and U = k u
 * reaches to both: no estimate, an interval. fit.u_through_mm > 0 says so. */
void rg_sealmap_merge(rg_seal_map *map, const rg_slot_geometry *geometry,
                      const rg_observation *const obs[RG_BINS], const int count[RG_BINS],
                      const rg_rocking_options *rocking, const rg_sealmap_options *options);

/* Bins in which a dark frame shows light were not seen: their light is not the
 * lamp's. Sets ambient and UNSEEN; call rg_sealmap_arcs afterwards. */
void rg_sealmap_ambient(rg_seal_map *map, const bool ambient[RG_BINS]);

/* Without a proven lamp darkness says nothing: dark bins become unproven and
 * UNSEEN. Their detection limit stays. */
void rg_sealmap_unproven(rg_seal_map *map);

/* Finds the arcs from the bins (called by merge; separate for tests). */
void rg_sealmap_arcs(rg_seal_map *map, const rg_sealmap_options *options);

const char *rg_bin_state_name(rg_bin_state state); /* "sealed" "gap" "unseen" */
const char *rg_verdict_name(rg_verdict verdict);   /* "sealed" "leaking" "undecided" */
const char *rg_verdict_sign(rg_verdict verdict);   /* "( O )" "( / )" "( ? )" */
/* False for any other word; *verdict is then unchanged. */
bool rg_verdict_parse(const char *word, rg_verdict *verdict);

#endif
