/*
 * Tests of opportunity.h: what a seal map claims against what is true, on maps
 * made by hand.
 */
#include <criterion/criterion.h>
#include <math.h>

#include "rimglow/opportunity.h"

static rg_seal_map map;
static double truth[RG_BINS];
static rg_opportunity out[RG_BINS];

/* Sealed all round, a gap of 0.05 mm at 90..110, unseen at 200..220. */
static void make_map(void)
{
    for (int b = 0; b < RG_BINS; b++) {
        map.bin[b] = (rg_bin){.bearing_deg = b,
                              .width_mm = 0.001,
                              .u_mm = 0.001,
                              .detection_limit_mm = 0.008,
                              .state = RG_BIN_SEALED};
        truth[b] = 0;
    }
    for (int b = 90; b <= 110; b++) {
        map.bin[b].state = RG_BIN_GAP;
        map.bin[b].width_mm = 0.05;
        truth[b] = 0.048;
    }
    for (int b = 200; b <= 220; b++) {
        map.bin[b].state = RG_BIN_UNSEEN;
        map.bin[b].width_mm = NAN;
        map.bin[b].detection_limit_mm = INFINITY;
        truth[b] = 0.02;
    }
}

Test(opportunity, one_every_so_many_degrees)
{
    make_map();
    cr_expect_eq(rg_opportunities(&map, truth, 12, out), 30);
    for (int i = 0; i < 30; i++)
        cr_expect_eq(out[i].bearing_deg, 12 * i);
    cr_expect_eq(rg_opportunities(&map, truth, 1, out), 360);
    cr_expect_eq(rg_opportunities(&map, truth, 7, out), 52);
    cr_expect_eq(rg_opportunities(&map, truth, 360, out), 1);
}

Test(opportunity, the_map_s_word_stands_beside_the_truth)
{
    make_map();
    cr_assert_eq(rg_opportunities(&map, truth, 10, out), 36);
    cr_expect(out[10].seen && out[10].claimed);
    cr_expect_eq(out[10].truth_mm, 0.048);
    cr_expect_eq(out[10].width_mm, 0.05);
    cr_expect(out[5].seen && !out[5].claimed);
    cr_expect_eq(out[5].truth_mm, 0);
    cr_expect(isnan(out[5].width_mm));
    cr_expect_eq(out[5].limit_mm, 0.008);
    cr_expect(!out[20].seen && !out[20].claimed);
    cr_expect_eq(out[20].truth_mm, 0.02);
}

Test(opportunity, what_was_not_found_lies_below_its_limit)
{
    rg_response r;
    make_map();
    rg_opportunities(&map, truth, 10, out);
    cr_assert(rg_opportunity_response(&out[10], &r));
    cr_expect(r.size == 0.048 && r.signal == 0.05 && r.censor == RG_CENSOR_NONE);
    cr_assert(rg_opportunity_response(&out[5], &r));
    cr_expect(r.size == 0 && r.signal == 0.008 && r.censor == RG_CENSOR_BELOW);
    cr_expect_not(rg_opportunity_response(&out[20], &r));
    out[5].limit_mm = INFINITY;
    cr_expect_not(rg_opportunity_response(&out[5], &r));
}
