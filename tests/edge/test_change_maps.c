/*
 * change.h on seal maps measured from the sample sweeps (tests/data/seal-maps), against the gaps that
 * their renderer was given (samples/truth).
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "rimglow/change.h"
#include "rimglow/mapfile.h"
#include "support/load.h"

enum { MAPS = 5 };
static const char *const name[MAPS] = {"04-C", "05-B", "06-A", "07-G-sharp", "08-G"};
static rg_map_file map[MAPS];
static double truth[MAPS][RG_BINS];
static rg_error err;

static void load(void)
{
    for (int i = 0; i < MAPS; i++) {
        test_bytes text = test_loadf("tests/data/seal-maps/%s.json", name[i]);
        cr_assert_eq(rg_mapfile_parse(name[i], (char *)text.data, text.size, &map[i], &err), RG_OK,
                     "%s", err.text);
        free(text.data);
        text = test_loadf("samples/truth/%s.json", name[i]);
        cr_assert_eq(rg_mapfile_truth(name[i], (char *)text.data, text.size, truth[i], &err), RG_OK,
                     "%s", err.text);
        free(text.data);
    }
}

TestSuite(change_maps, .init = load);

static rg_change between(int before, int after, double turn_u_deg)
{
    rg_change_options o = {.coverage_factor = 2, .turn_u_deg = turn_u_deg, .min_arc_deg = 6};
    rg_change c;
    cr_assert_eq(rg_change_find(&map[before].map, &map[after].map, &o, &c, &err), RG_OK, "%s",
                 err.text);
    return c;
}

/* Two sweeps of one gap, 0.15 mm wide: nothing has changed and the crown stood alike. */
Test(change_maps, two_sweeps_of_one_gap_show_no_change)
{
    for (int turned = 0; turned < 2; turned++) {
        rg_change c = between(4, 3, turned ? 1.5 : 0);
        cr_expect_eq(c.overall, RG_CHANGE_NONE);
        cr_expect_eq(c.arcs, 0);
        cr_expect_gt(c.comparable, 180);
        cr_expect_lt(fabs(c.mean_change_mm), 0.002);
        cr_expect_lt(fabs(c.turn_deg), 1);
    }
}

/* U_d of 95 % without a turn: the true change lies within in 95 % of the bearings of each pair. */
Test(change_maps, true_changes_lie_within_their_uncertainty)
{
    for (int a = 0; a < MAPS; a++)
        for (int b = 0; b < MAPS; b++) {
            rg_change c = between(a, b, 0);
            int within = 0;
            for (int k = 0; k < RG_BINS; k++)
                within +=
                    fabs(c.bin[k].change_mm - (truth[b][k] - truth[a][k])) <= 2 * c.bin[k].u_mm;
            cr_expect_geq(within, 0.95 * c.comparable, "%s to %s: %d of %d", name[a], name[b],
                          within, c.comparable);
        }
}

/* Every arc that is called is one in truth, and at its largest change of the right size. */
Test(change_maps, arcs_are_where_the_gaps_differ)
{
    int arcs = 0;
    for (int a = 0; a < MAPS; a++)
        for (int b = 0; b < MAPS; b++) {
            rg_change c = between(a, b, 1.5);
            for (int i = 0; i < c.arcs; i++, arcs++) {
                int k = (int)c.arc[i].most_bearing_deg;
                double d = truth[b][k] - truth[a][k];
                cr_expect_eq(c.arc[i].state, d > 0 ? RG_CHANGE_GREW : RG_CHANGE_SHRANK);
                cr_expect(fabs(c.arc[i].most_mm - d) <= 2 * c.arc[i].u_most_mm, "%s to %s: %g, %g",
                          name[a], name[b], c.arc[i].most_mm, d);
            }
        }
    cr_expect_geq(arcs, 20);
}

/* A crease of 0.06 mm over nine degrees, where the pad sealed before. */
Test(change_maps, new_crease_is_found)
{
    rg_change c = between(0, 2, 1.5);
    cr_assert_eq(c.arcs, 1);
    cr_expect_eq(c.overall, RG_CHANGE_GREW);
    cr_expect(fabs(c.arc[0].most_mm - 0.06) < 0.01 && fabs(c.arc[0].most_bearing_deg - 75) <= 2);
    cr_expect(isnan(c.turn_deg), "no gap before");
    c = between(2, 0, 1.5);
    cr_expect_eq(c.overall, RG_CHANGE_SHRANK);
}
