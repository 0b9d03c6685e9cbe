/*
 * Tests of bench_rank.h. Where left is follows from the rim frame (DEVELOPERS.md): bearing 90 points along
 * -Y, and with +X towards the key arm and +Z up that is the left hand of a person at +X who looks at the
 * centre: left = up x forward = Z x (-X) = -Y.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/bench_rank.h"

static rg_pad pad = {.name = "C", .tolerance_mm = 0.025};

static rg_seal_map map_of(int arcs, double area_mm2, double width_mm, double bearing_deg)
{
    rg_seal_map map = {.arcs = arcs};
    for (int i = 0; i < arcs; i++)
        map.arc[i] = (rg_arc){.start_deg = bearing_deg - 20,
                              .end_deg = bearing_deg + 20,
                              .max_bearing_deg = bearing_deg,
                              .max_width_mm = width_mm,
                              .u_max_mm = 0.004,
                              .open_area_mm2 = area_mm2 / (i + 1)};
    return map;
}

static rg_rank_pad of(const rg_seal_map *map, rg_verdict verdict)
{
    return (rg_rank_pad){&pad, map, verdict, false, 2};
}

Test(bench_rank, worst_first)
{
    rg_seal_map wide = map_of(1, 0.2, 0.09, 90), large = map_of(1, 0.4, 0.05, 90),
                twin = map_of(2, 0.2, 0.04, 90), shut = map_of(0, 0, 0, 0),
                small = map_of(1, 0.01, 0.02, 0), wider = map_of(1, 0.2, 0.1, 90);
    const rg_rank_pad given[] = {of(&shut, RG_VERDICT_SEALED),   of(NULL, RG_VERDICT_UNDECIDED),
                                 of(&wide, RG_VERDICT_LEAKING),  of(&small, RG_VERDICT_UNDECIDED),
                                 of(&large, RG_VERDICT_LEAKING), of(NULL, RG_VERDICT_UNDECIDED),
                                 of(&twin, RG_VERDICT_LEAKING),  of(&wider, RG_VERDICT_LEAKING)};
    static const int order[] = {4, 6, 7, 2, 3, 1, 5, 0};
    rg_rank_line line[8];
    rg_bench_rank(given, 8, line);
    for (int i = 0; i < 8; i++)
        cr_expect_eq(line[i].pad, order[i], "place %d: pad %d", i, line[i].pad);
    cr_expect_float_eq(line[1].area_mm2, 0.3, 1e-12); /* 0.2 + 0.1 */
    cr_expect(isnan(line[5].area_mm2) && isnan(line[5].width_mm));
    cr_expect(line[7].area_mm2 == 0 && isnan(line[7].width_mm));
    cr_expect_float_eq(line[0].U_width_mm, 0.008, 1e-12);
}

Test(bench_rank, bearings_in_words)
{
    cr_expect(strstr(rg_rank_where(0), "hinge"));
    cr_expect(strstr(rg_rank_where(359), "hinge"));
    cr_expect_str_eq(rg_rank_where(22), rg_rank_where(338));
    cr_expect_str_eq(rg_rank_where(90), "to the left seen from the key arm");
    cr_expect_str_eq(rg_rank_where(270), "to the right seen from the key arm");
    cr_expect_str_eq(rg_rank_where(180), "opposite the key arm");
    cr_expect(strstr(rg_rank_where(135), "opposite") && strstr(rg_rank_where(135), "left"));
    cr_expect(strstr(rg_rank_where(300), "side") && strstr(rg_rank_where(300), "right"));
    cr_expect(strstr(rg_rank_where(-45), "side") && strstr(rg_rank_where(-45), "right"));
}

Test(bench_rank, a_sentence_says_where_and_what_to_do)
{
    rg_seal_map leak = map_of(2, 0.3, 0.061, 180), open = map_of(1, 0.3, 0.061, 0), unsure = {0};
    rg_rank_pad given[5];
    rg_rank_line line[5];
    open.arc[0].full_circle = true;
    unsure.reasons = 1;
    strcpy(unsure.reason[0], "no frame shows bearings 10..30: go round there");
    given[0] = of(&leak, RG_VERDICT_LEAKING);
    given[1] = of(&open, RG_VERDICT_LEAKING);
    given[2] = of(&unsure, RG_VERDICT_UNDECIDED);
    given[3] = of(NULL, RG_VERDICT_UNDECIDED);
    given[4] = of(&unsure, RG_VERDICT_SEALED);
    rg_bench_rank(given, 5, line);
    cr_expect_str_eq(
        line[0].sentence,
        "open from 160 to 200 degrees and at 1 other place, up to 0.061 +- 0.008 mm at "
        "180 degrees: opposite the key arm. Correct the seat there, then sweep again");
    cr_expect(strstr(line[1].sentence, "open all the way round, up to 0.061"));
    cr_expect_str_eq(line[2].sentence, unsure.reason[0]);
    cr_expect_str_eq(line[3].sentence, "not swept yet");
    cr_expect_str_eq(line[4].sentence, "nothing to do");
    given[0] = (rg_rank_pad){&pad, &unsure, RG_VERDICT_UNDECIDED, true, 2};
    rg_bench_rank(given, 1, line);
    cr_expect(strstr(line[0].sentence, "only a firm finger"));
}
