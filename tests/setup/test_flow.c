/*
 * Tests of flow.h. Outside values:
 *   - viscosity and density: US Standard Atmosphere 1976 prints 1.7894e-5 Pa s and 1.2250 kg/m3 at
 *     15 C; CRC Handbook (Lide) as printed in "Fundamentals of Water Treatment Unit Processes",
 *     table B.8; the other temperatures from the formula by a calculator (scipy);
 *   - slots and orifices: worked values by scipy, independent of this code;
 *   - the joint solution again by bisection, radial flow by integrating over the radius.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/flow.h"

static rg_error err;

static const rg_flow_options options = {20, 101325, 1000, 0.6, 1.5, 2};

static void near(double value, double expected, double relative)
{
    cr_expect(fabs(value - expected) <= relative * fabs(expected), "%.9g, expected %.9g", value,
              expected);
}

/* -------------------------------------------------------------------- air */

Test(flow, viscosity_is_sutherlands)
{
    static const double value[][2] = {{-20, 1.6153e-5}, {0, 1.7161e-5},  {15, 1.7894e-5},
                                      {20, 1.8134e-5},  {25, 1.8372e-5}, {40, 1.9076e-5},
                                      {100, 2.1734e-5}};
    for (int i = 0; i < 7; i++)
        near(rg_air_at(value[i][0], 101325).viscosity_pa_s, value[i][1], 0.5e-4 / 1.6);
    near(rg_air_at(20, 101325).viscosity_pa_s, 1.8134059e-5, 1e-7);
}

/* Measured values of the handbook, printed to three digits. */
Test(flow, viscosity_agrees_with_the_handbook)
{
    static const double value[][2] = {
        {0, 17.1e-6}, {18, 18.3e-6}, {27, 18.6e-6}, {40, 19.0e-6}, {54, 19.6e-6}};
    for (int i = 0; i < 5; i++)
        near(rg_air_at(value[i][0], 101325).viscosity_pa_s, value[i][1], 0.02);
}

Test(flow, density_is_that_of_dry_air)
{
    static const double value[][2] = {
        {0, 1.2923}, {15, 1.2250}, {20, 1.2041}, {25, 1.1839}, {40, 1.1272}};
    for (int i = 0; i < 5; i++)
        near(rg_air_at(value[i][0], 101325).density_kg_m3, value[i][1], 0.5e-4);
    near(rg_air_at(20, 101325 / 2.0).density_kg_m3, 1.2041 / 2, 0.5e-4);
}

/* ------------------------------------------------------------------- slot */

Test(flow, cubic_law_meets_the_round_check)
{
    rg_slot slot = {0.050, 10, 1};
    rg_air air = {1.8e-5, 1.2041};
    near(rg_flow_viscous(&slot, &air, 1000), 5.787037, 1e-7);
}

Test(flow, cubic_law_meets_worked_values)
{
    rg_air air = rg_air_at(20, 101325);
    near(rg_flow_viscous(&(rg_slot){0.050, 10, 1}, &air, 1000), 5.744255, 1e-6);
    near(rg_flow_viscous(&(rg_slot){0.050, 10, 1}, &air, 1000) * 60 / 1000, 0.344655, 2e-6);
    near(rg_flow_viscous(&(rg_slot){0.020, 60, 3}, &air, 2000), 1.470529, 1e-6);
    near(rg_flow_viscous(&(rg_slot){0.010, 30, 1}, &air, 981), 0.1352428, 1e-6);
    near(rg_flow_viscous(&(rg_slot){0.100, 20, 0.6}, &air, 500), 76.59, 1e-4);
}

Test(flow, orifice_meets_worked_values)
{
    rg_air air = rg_air_at(20, 101325);
    near(rg_flow_orifice(RG_PI / 4, &air, 1000, 0.6), 19.20542, 1e-6);
    near(rg_flow_orifice(RG_PI, &air, 1000, 0.6), 76.82166, 1e-6);
    near(rg_flow_orifice(RG_PI / 16, &air, 5000, 0.6), 10.73615, 1e-6);
    near(rg_flow_orifice(0.1 * 20, &air, 500, 0.6), 34.58, 2e-4);
}

Test(flow, equivalent_orifice_meets_worked_values)
{
    rg_air air = rg_air_at(20, 101325);
    near(rg_flow_orifice_mm(5.744255, &air, 1000, 0.6), 0.5469, 1e-4);
    near(rg_flow_orifice_mm(1.470529, &air, 2000, 0.6), 0.2327, 3e-4);
    near(rg_flow_orifice_mm(0.1352428, &air, 981, 0.6), 0.0843, 5e-4);
    near(rg_flow_orifice_mm(19.20542, &air, 1000, 0.6), 1, 1e-6);
}

/* 0.1 mm by 20 mm, 0.6 mm deep, 500 Pa. */
Test(flow, wide_slot_is_limited_by_its_entry_and_exit)
{
    rg_slot slot = {0.100, 20, 0.6};
    rg_air air = rg_air_at(20, 101325);
    double joint = rg_flow_slot(&slot, &air, 500, &options);
    near(joint, 34.773, 1.5e-5);
    near(rg_flow_viscous(&slot, &air, 500) / joint, 2.2, 0.01);
}

/* The same pressures by bisection over the flow. */
static double bisected(double w, double l, double t, double mu, double rho, double k, double pa)
{
    double low = 0, high = 1;
    for (int i = 0; i < 200; i++) {
        double q = (low + high) / 2, v = q / (w * l);
        double p = 12 * mu * t * q / (w * w * w * l) + k * rho * v * v / 2;
        *(p > pa ? &high : &low) = q;
    }
    return low * 1e6;
}

Test(flow, joint_solution_is_that_of_bisection)
{
    rg_air air = rg_air_at(30, 95000);
    for (double w = 0.01; w < 0.2; w *= 1.5) {
        rg_slot slot = {w, 7, 1};
        near(rg_flow_slot(&slot, &air, 3000, &options),
             bisected(w * 1e-3, 7e-3, 1e-3, air.viscosity_pa_s, air.density_kg_m3, 1.5, 3000),
             1e-9);
    }
}

Test(flow, thin_slot_is_the_cubic_law)
{
    rg_slot slot = {0.002, 10, 1};
    rg_air air = rg_air_at(20, 101325);
    near(rg_flow_slot(&slot, &air, 1000, &options), rg_flow_viscous(&slot, &air, 1000), 1e-4);
}

Test(flow, slot_without_depth_is_an_orifice)
{
    rg_slot slot = {0.5, 10, 0};
    rg_air air = rg_air_at(20, 101325);
    near(rg_flow_slot(&slot, &air, 1000, &options), rg_flow_orifice(5, &air, 1000, 0.6), 1e-12);
}

/* Idelchik's table beside diagram 4-15, tau over depth by hydraulic diameter (from memory):
 * 0 1.35, 0.4 1.10, 0.6 0.84, 0.8 0.42, 1.0 0.24, 1.6 0.07; K = 1.5 + tau with Cd = 0.592. The
 * formula beside the table leaves it by up to 0.06. */
Test(flow, slot_of_middling_depth_lies_between)
{
    static const double tau[][2] = {
        {0.4, 1.10}, {0.6, 0.84}, {0.8, 0.42}, {1.0, 0.24}, {1.6, 0.07}};
    rg_flow_options o = options;
    o.discharge = 1 / sqrt(1.5 + 1.35);
    rg_air air = {1e-12, 1.2041}; /* no viscosity: K alone */
    for (int i = 0; i < 5; i++) {
        rg_slot slot = {1, 10, 2 * tau[i][0]};
        double v = rg_flow_slot(&slot, &air, 1000, &o) * 1e-6 / 10e-6;
        double k = 1000 / (1.2041 / 2 * v * v);
        cr_expect(fabs(k - 1.5 - tau[i][1]) < 0.07, "l %g: tau %.4f", tau[i][0], k - 1.5);
    }
}

Test(flow, nothing_flows_through_no_gap)
{
    rg_air air = rg_air_at(20, 101325);
    cr_expect_eq(rg_flow_slot(&(rg_slot){0, 10, 1}, &air, 1000, &options), 0);
    cr_expect_eq(rg_flow_viscous(&(rg_slot){0, 10, 1}, &air, 1000), 0);
    cr_expect_eq(rg_flow_orifice_mm(0, &air, 1000, 0.6), 0);
}

/* -------------------------------------------------------------------- pad */

static const rg_rim rim = {18, 20, 23, 5};

/* All dark with a limit of 0.01 mm, and a gap from bearing `from` on over `bins` bearings. */
static rg_seal_map map_with(int from, int bins, double width, double u)
{
    rg_seal_map map = {.rim_outer_diameter_mm = 20};
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b] = (rg_bin){.bearing_deg = b, .detection_limit_mm = 0.01, .frames = 5};
    for (int i = 0; i < bins; i++) {
        rg_bin *bin = &map.bin[(from + i) % RG_BINS];
        bin->width_mm = width;
        bin->u_mm = u;
        bin->lit = 5;
        bin->state = RG_BIN_GAP;
    }
    map.arcs = bins > 0;
    map.arc[0] = (rg_arc){
        .start_deg = (from + 359) % 360 + 0.5, .extent_deg = bins, .full_circle = bins == RG_BINS};
    return map;
}

static rg_pad_flow flow_of(const rg_seal_map *map)
{
    rg_pad_flow flow;
    cr_assert_eq(rg_pad_flow_find(map, &rim, &options, &flow, &err), RG_OK, "%s", err.text);
    return flow;
}

/* Slow flow outwards between two discs, dp/dr = 12 mu Q / (2 pi r w^3), integrated by Simpson's rule. */
Test(flow, thin_gap_all_round_is_radial_flow)
{
    rg_seal_map map = map_with(0, 360, 0.002, 0.0001);
    rg_pad_flow flow = flow_of(&map);
    double mu = rg_air_at(20, 101325).viscosity_pa_s, sum = 0;
    for (int i = 0; i <= 200; i++)
        sum += (i % 200 == 0 ? 1 : i % 2 ? 4 : 2) / (9e-3 + i * 1e-3 / 200);
    sum *= 1e-3 / 200 / 3;
    double expected = 1000 / (12 * mu * sum / (2 * RG_PI * pow(0.002e-3, 3))) * 1e6;
    near(flow.measured.ml_s, expected, 2e-4);
    cr_expect_eq(flow.gap, 360);
    cr_expect_eq(flow.sealed + flow.unseen, 0);
    cr_expect_eq(flow.dark.ml_s, 0);
}

Test(flow, bearings_add_up_as_one_slot)
{
    rg_seal_map map = map_with(350, 30, 0.08, 0.002);
    rg_pad_flow flow = flow_of(&map);
    rg_air air = rg_air_at(20, 101325);
    rg_slot slot = {0.08, 30 * RG_PI / 180 / log(10.0 / 9.0), 1};
    near(flow.measured.ml_s, rg_flow_slot(&slot, &air, 1000, &options), 1e-9);
    near(flow.arc[0].ml_s, flow.measured.ml_s, 1e-12);
    near(flow.measured.ml_s_kpa, flow.measured.ml_s, 1e-12);
    near(rg_flow_orifice(RG_PI / 4 * pow(flow.measured.orifice_mm, 2), &air, 1000, 0.6),
         flow.measured.ml_s, 1e-9);
}

Test(flow, every_arc_has_its_own_share)
{
    rg_seal_map map = map_with(10, 10, 0.05, 0.001), other = map_with(200, 20, 0.05, 0.001);
    memcpy(&map.bin[200], &other.bin[200], 20 * sizeof map.bin[0]);
    map.arc[1] = other.arc[0];
    map.arcs = 2;
    rg_pad_flow flow = flow_of(&map);
    cr_expect_eq(flow.arcs, 2);
    near(flow.arc[0].ml_s * 2, flow.arc[1].ml_s, 1e-9);
    near(flow.arc[0].ml_s + flow.arc[1].ml_s, flow.measured.ml_s, 1e-12);
}

/* A flow with the third power of the width: relative u three times as large; and neighbours
 * with common errors do not average, so thirty bearings have the relative u of one. */
Test(flow, uncertainty_follows_the_cube_and_does_not_average)
{
    rg_seal_map one = map_with(0, 1, 0.002, 0.00004), many = map_with(0, 30, 0.002, 0.00004);
    rg_leak a = flow_of(&one).measured, b = flow_of(&many).measured;
    near(a.u_ml_s / a.ml_s, 3 * 0.02, 2e-3);
    near(b.u_ml_s / b.ml_s, a.u_ml_s / a.ml_s, 1e-9);
    near(b.low_ml_s / b.ml_s, pow(0.96, 3), 1e-3);
    near(b.high_ml_s / b.ml_s, pow(1.04, 3), 1e-3);
    near(b.orifice_high_mm / b.orifice_mm, sqrt(pow(1.04, 3)), 1e-3);
}

Test(flow, gap_no_wider_than_its_uncertainty_may_be_none)
{
    rg_seal_map map = map_with(0, 10, 0.01, 0.006);
    rg_leak leak = flow_of(&map).measured;
    cr_expect_eq(leak.low_ml_s, 0);
    cr_expect_gt(leak.high_ml_s, leak.ml_s);
}

Test(flow, dark_bearings_are_a_bound_and_no_flow)
{
    rg_seal_map map = map_with(0, 0, 0, 0);
    rg_pad_flow flow = flow_of(&map);
    rg_air air = rg_air_at(20, 101325);
    rg_slot slot = {0.01, 2 * RG_PI / log(10.0 / 9.0), 1};
    cr_expect_eq(flow.measured.ml_s, 0);
    cr_expect_eq(flow.sealed, 360);
    near(flow.dark.ml_s, rg_flow_slot(&slot, &air, 1000, &options), 1e-9);
    cr_expect_eq(flow.dark.low_ml_s, 0);
    cr_expect(isnan(flow.dark.u_ml_s));
}

Test(flow, faint_light_on_a_dark_bearing_raises_its_bound)
{
    rg_seal_map map = map_with(0, 0, 0, 0), faint = map;
    for (int b = 0; b < RG_BINS; b++) {
        faint.bin[b].width_mm = 0.012;
        faint.bin[b].u_mm = 0.004;
    }
    rg_pad_flow flow = flow_of(&faint);
    near(flow.dark.ml_s / flow_of(&map).dark.ml_s, 8, 0.05); /* 0.02 against 0.01, thin */
}

Test(flow, unseen_bearings_have_no_bound)
{
    rg_seal_map map = map_with(0, 0, 0, 0);
    for (int b = 100; b < 140; b++) {
        map.bin[b].state = RG_BIN_UNSEEN;
        map.bin[b].width_mm = map.bin[b].u_mm = NAN;
    }
    map.bin[200].detection_limit_mm = INFINITY;
    rg_pad_flow flow = flow_of(&map);
    cr_expect_eq(flow.unseen, 41);
    cr_expect_eq(flow.sealed, 319);
    cr_expect(isfinite(flow.dark.ml_s));
}

Test(flow, pads_add_up_to_the_instrument)
{
    rg_seal_map a = map_with(0, 10, 0.05, 0.002), b = map_with(50, 20, 0.03, 0.002);
    rg_pad_flow pad[2] = {flow_of(&a), flow_of(&b)};
    rg_instrument_flow sum;
    rg_instrument_flow_sum(pad, 2, &options, &sum);
    near(sum.measured.ml_s, pad[0].measured.ml_s + pad[1].measured.ml_s, 1e-12);
    near(sum.measured.u_ml_s, pad[0].measured.u_ml_s + pad[1].measured.u_ml_s, 1e-12);
    /* Areas of orifices add up. */
    near(sum.measured.orifice_mm, hypot(pad[0].measured.orifice_mm, pad[1].measured.orifice_mm),
         1e-9);
    near(sum.dark.ml_s, pad[0].dark.ml_s + pad[1].dark.ml_s, 1e-12);
    cr_expect_eq(sum.gap, 30);
    cr_expect_eq(sum.sealed, 690);
}

Test(flow, instrument_without_pads_lets_nothing_out)
{
    rg_instrument_flow sum;
    rg_instrument_flow_sum(NULL, 0, &options, &sum);
    cr_expect_eq(sum.measured.ml_s, 0);
    cr_expect_eq(sum.measured.orifice_mm, 0);
}

Test(flow, another_rim_is_refused)
{
    rg_seal_map map = map_with(0, 0, 0, 0);
    rg_pad_flow flow;
    map.rim_outer_diameter_mm = 24;
    cr_assert_eq(rg_pad_flow_find(&map, &rim, &options, &flow, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "24 mm") && strstr(err.text, "rim_outer_mm is 20"), "%s", err.text);
}

Test(flow, options_out_of_range_are_refused)
{
    rg_flow_options o = options;
    o.blowing_pa = 0;
    cr_assert_eq(rg_flow_check(&o, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "blowing_pa = 0"), "%s", err.text);
    o = options;
    o.discharge = NAN;
    cr_expect_eq(rg_flow_check(&o, &err), RG_BAD_DATA);
    o = options;
    o.entry_exit_loss = 2.9; /* more than the orifice's own 1 / 0.6^2 = 2.78 */
    cr_expect_eq(rg_flow_check(&o, &err), RG_BAD_DATA);
    cr_expect_eq(rg_flow_check(&options, &err), RG_OK);
}
