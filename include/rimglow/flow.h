/*
 * flow.h - how much air a leak lets out: per arc, per pad, for the whole instrument.
 *
 * Air. Viscosity by Sutherland's law with the constants of the US Standard Atmosphere 1976:
 *   mu = 1.458e-6 T^1.5 / (T + 110.4), Pa s, T in K;   rho = p / (287.052874 T), kg/m3.
 *
 * Slot of width w, length L along the rim, depth t along the flow; pressures add up:
 *   p = 12 mu t q / w^3 + K rho / 2 (q / w)^2,   q = Q / L
 * The first part is plane Poiseuille flow (Batchelor, An Introduction to Fluid Dynamics, 1967, 4.2),
 * the second what the air loses going in and coming out. A long slot loses K = entry_exit_loss
 * (0.5 going in at a sharp edge, 1 coming out; Idelchik, Handbook of Hydraulic Resistance); in a slot as
 * short as it is wide the jet does not touch the walls again and what remains is an orifice,
 * K = 1 / Cd^2. Between them K follows Idelchik's thick-edged orifice (diagram 4-15 of the edition
 * of 2006) over l = t / 2w, depth by hydraulic diameter:
 *   K = K_long + (1 / Cd^2 - K_long) tau(l) / tau(0)
 *   tau = (2.4 - l) 10^-(0.25 + 0.535 l^8 / (0.05 + l^7)), 0 beyond l = 2.4      (from memory)
 * K is solved together with q in closed form. So neither the cubic law nor the orifice alone is taken: at 0.1 mm
 * and 500 Pa the cubic law says 2.2 times too much.
 *
 * Seal map. Each bearing is a slot of its own, one degree long; t is the land's width, and
 * the length is taken at the land's logarithmic mean radius (ro - ri) / ln(ro / ri), with
 * which radial flow between the land's two edges has the formula of a plane slot. The pad's
 * overhang faces no land and adds nothing. The gap is taken as wide at the inner edge as at the outer.
 *
 * Uncertainty holds the widths only. The errors of neighbouring bearings hang together, in
 * the light, the blur and the pose that all share, so they are taken as fully correlated:
 * u(Q) = sum of |dQ/dw| u(w) (JCGM 100, 5.2.2 note 1). Q follows w by up to the third power,
 * so u(Q) / Q is up to 3 u(w) / w, and a first-order u says too little where w is not
 * many u: low and high are Q with every width k u smaller and larger.
 *
 * What was not seen is not measured. Dark bearings add nothing to the flow; their detection limits
 * give `dark`, "at most so much more". Unseen bearings are counted and have no bound.
 */
#ifndef RIMGLOW_FLOW_H
#define RIMGLOW_FLOW_H

#include "rimglow/rim.h"
#include "rimglow/sealmap.h"

typedef struct rg_air {
    double viscosity_pa_s, density_kg_m3;
} rg_air;

typedef struct rg_flow_options {
    double temperature_c;   /* of the air in the instrument, -50 to 100 */
    double ambient_pa;      /* air pressure, 50000 to 120000 */
    double blowing_pa;      /* the pressure at which leaks are stated, 10 to 50000 */
    double discharge;       /* Cd of a sharp-edged orifice, 0.3 to 1 */
    double entry_exit_loss; /* K of a long slot, 0 to 1 / Cd^2 */
    double coverage_factor; /* k of low and high, 1 to 6 */
} rg_flow_options;

/* RG_BAD_DATA with member, value and range. */
rg_code rg_flow_check(const rg_flow_options *options, rg_error *err);

rg_air rg_air_at(double temperature_c, double pressure_pa);

/* Flows in ml/s (1e-6 m3/s), lengths in mm, pressures in Pa; 0 for a width of 0. */
typedef struct rg_slot {
    double width_mm, length_mm, depth_mm;
} rg_slot;
double rg_flow_viscous(const rg_slot *slot, const rg_air *air, double pa); /* the cubic law alone */
double rg_flow_slot(const rg_slot *slot, const rg_air *air, double pa,
                    const rg_flow_options *options);
double rg_flow_orifice(double area_mm2, const rg_air *air, double pa, double discharge);
/* Diameter of the round sharp-edged orifice that lets out as much, mm. */
double rg_flow_orifice_mm(double ml_s, const rg_air *air, double pa, double discharge);

/* A leak at blowing_pa. */
typedef struct rg_leak {
    double ml_s, u_ml_s;
    double low_ml_s, high_ml_s;
    double orifice_mm, orifice_low_mm, orifice_high_mm; /* equivalent orifice */
    double ml_s_kpa;                                    /* conductance: flow by pressure */
} rg_leak;

typedef struct rg_pad_flow {
    rg_leak measured; /* all bearings with a gap */
    rg_leak dark;     /* at most: dark bearings at their limits. ml_s and high_ml_s are the bound,
                         low_ml_s is 0, u_ml_s NAN */
    int gap, sealed, unseen; /* bearings; unseen ones have no bound */
    int arcs;
    rg_leak arc[RG_ARCS_MAX]; /* of the map's arcs, in their order */
} rg_pad_flow;

/* RG_BAD_DATA for options, a rim that rg_rim_check refuses, or a map of another rim. */
rg_code rg_pad_flow_find(const rg_seal_map *map, const rg_rim *rim, const rg_flow_options *options,
                         rg_pad_flow *flow, rg_error *err);

/* Of all pads: side by side at one pressure, flows add up. Errors are taken as fully correlated here
 * too: one station measured them. options as for the pads. */
typedef struct rg_instrument_flow {
    rg_leak measured, dark;
    int gap, sealed, unseen; /* bearings of all pads */
} rg_instrument_flow;
void rg_instrument_flow_sum(const rg_pad_flow *pads, int count, const rg_flow_options *options,
                            rg_instrument_flow *flow);

#endif
