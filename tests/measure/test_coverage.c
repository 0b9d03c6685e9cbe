/*
 * Tests of coverage.h on hand-made frames and maps. Levels are those of the samples' truth files (samples/truth:
 * elevations about -0.76, -0.40, 0, 0.38, 0.78 degrees at six bearings). Heights in mm: distance times sine, by hand.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/coverage.h"

static const rg_coverage_options usual = {
    .level_deg = {-0.8, -0.4, 0, 0.4, 0.8}, .near_deg = 0.2, .view_deg = 30};

static rg_frame at(double bearing, double elevation)
{
    return (rg_frame){.role = RG_FRAME_CLOSED,
                      .used = true,
                      .bearing_deg = bearing,
                      .elevation_deg = elevation,
                      .distance_mm = 110};
}

static rg_frame witness(bool used)
{
    return (rg_frame){.role = RG_FRAME_WITNESS, .used = used, .distance_mm = 110};
}

static rg_seal_map map;

static void see(int first, int length)
{
    for (int k = 0; k < length; k++)
        map.bin[(first + k) % RG_BINS].state = RG_BIN_SEALED;
}

static void blind(void)
{
    memset(&map, 0, sizeof map);
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b].state = RG_BIN_UNSEEN;
}

static rg_coverage found;

static void find(const rg_frame *frames, int count, const rg_seal_map *m)
{
    rg_coverage_find(frames, count, m, &usual, &found);
}

static bool says(const char *text, const char *words)
{
    return strstr(text, words) != NULL;
}

/* ---------------------------------------------------------------- what is covered */

Test(coverage, a_frame_visits_the_sectors_about_its_bearing_at_its_level_only)
{
    rg_frame f = at(95, 0.35);
    find(&f, 1, NULL);
    for (int s = 0; s < RG_COVER_SECTORS; s++)
        for (int l = 0; l < RG_COVER_LEVELS; l++) {
            bool expected = l == 3 && s >= 6 && s <= 12; /* middles 65 to 125 */
            cr_expect_eq(found.visited[s][l], expected, "sector %d, level %d", s, l);
        }
}

Test(coverage, bearings_go_on_over_the_seam)
{
    rg_frame f = at(355, 0);
    find(&f, 1, NULL);
    cr_expect(found.visited[2][2], "25 degrees");
    cr_expect_not(found.visited[3][2], "35 degrees");
    cr_expect(found.visited[32][2], "325 degrees");
    cr_expect_not(found.visited[31][2], "315 degrees");
}

Test(coverage, only_closed_frames_that_are_used_visit_and_only_a_used_witness_proves)
{
    rg_frame f[3] = {at(95, 0), at(95, 0), witness(false)};
    f[0].used = false;
    f[1].role = RG_FRAME_DARK;
    find(f, 3, NULL);
    for (int s = 0; s < RG_COVER_SECTORS; s++)
        cr_expect_not(found.visited[s][2]);
    cr_expect_not(found.witness);
    f[2] = witness(true);
    find(f, 3, NULL);
    cr_expect(found.witness);
}

Test(coverage, a_sector_is_seen_when_all_ten_of_its_bearings_are)
{
    blind();
    see(10, 10);
    see(21, 9);
    find(NULL, 0, &map);
    cr_expect(found.seen[1]);
    cr_expect_not(found.seen[2], "bearing 20 is missing");
    cr_expect_eq(found.seen_bearings, 19);
    blind();
    map.bin[5].state = RG_BIN_GAP;
    find(NULL, 0, &map);
    cr_expect_eq(found.seen_bearings, 1, "a gap is seen");
}

/* ---------------------------------------------------------------- words */

Test(coverage, at_first_everything_is_missing_and_the_witness_before_all)
{
    find(NULL, 0, NULL);
    cr_expect_str_eq(found.missing, "a witness: the pad cracked open, lamp on; all bearings, from "
                                    "every height");
}

Test(coverage, what_is_missing_is_named_by_bearing_and_height)
{
    rg_frame f[40];
    int n = 0;
    f[n++] = witness(true);
    for (int b = 15; b < 360; b += 60)
        for (int l = 0; l < RG_COVER_LEVELS; l++)
            if (b != 135 || usual.level_deg[l] >= 0) /* about 135 not from below */
                f[n++] = at(b, usual.level_deg[l]);
    blind();
    see(0, 360);
    find(f, n, &map);
    cr_expect_str_eq(found.missing, "", "%s", found.missing);
    blind();
    see(0, 120);
    see(150, 210);
    find(f, n, &map);
    cr_expect_str_eq(found.missing, "bearings 120..150, from below the rim");
    blind();
    see(10, 340);
    find(f, n, &map);
    cr_expect_str_eq(found.missing, "bearings 350..10, once more, from straight in front");
}

Test(coverage, many_missing_places_are_counted_and_the_text_stays_whole)
{
    blind();
    for (int b = 0; b < 360; b += 40)
        see(b, 20);
    find(NULL, 0, &map);
    cr_expect(says(found.missing, "; and 6 more"), "%s", found.missing);
    cr_expect_lt(strlen(found.missing), RG_COVER_TEXT - 1);
}

/* ---------------------------------------------------------------- guiding */

static char text[RG_COVER_TEXT];

static rg_guide guide(rg_frame f)
{
    return rg_coverage_guide(&f, &found, &usual, text);
}

Test(coverage, a_camera_too_high_or_low_is_told_how_many_mm)
{
    find(NULL, 0, NULL);
    /* 110 mm (sin 2 - sin 0.8 degrees) = 3.8390 - 1.5358 = 2.303 mm */
    cr_expect_eq(guide(at(40, 2)), RG_GUIDE_TOO_HIGH);
    cr_expect_str_eq(text, "camera 2.3 mm too high");
    cr_expect_eq(guide(at(40, -2)), RG_GUIDE_TOO_LOW);
    cr_expect_str_eq(text, "camera 2.3 mm too low");
    cr_expect_eq(guide(at(40, 0.95)), RG_GUIDE_LEVEL, "within near_deg of the highest level");
}

Test(coverage, a_witness_frame_is_judged_by_its_light_not_its_height)
{
    rg_frame f = witness(true);
    f.elevation_deg = -3;
    cr_expect_eq(guide(f), RG_GUIDE_LEVEL);
    cr_expect_str_eq(text, "good; this frame proves the lamp");
    f.used = false;
    strcpy(f.reason, "no light in the gap");
    cr_expect_eq(guide(f), RG_GUIDE_LEVEL);
    cr_expect_str_eq(text, "no light in the gap");
}

Test(coverage, without_a_place_the_reason_is_the_guide)
{
    rg_frame f = at(0, 0);
    f.pose.state = RG_POSE_NO_CROWN;
    f.used = false;
    strcpy(f.reason, "no crown; turn it to the camera");
    cr_expect_eq(guide(f), RG_GUIDE_LOST);
    cr_expect_str_eq(text, "no crown; turn it to the camera");
    rg_frame undecoded = {.reason = "damaged picture data"};
    cr_expect_eq(guide(undecoded), RG_GUIDE_LOST, "a frame that was never looked at");
    f = at(0, 0);
    f.used = false;
    strcpy(f.reason, "overexposed");
    cr_expect_eq(guide(f), RG_GUIDE_LEVEL);
    cr_expect_str_eq(text, "overexposed");
}

Test(coverage, next_comes_the_nearest_height_then_the_nearest_bearing)
{
    rg_frame f[6];
    for (int l = 0; l < 5; l++)
        f[l] = at(15, usual.level_deg[l]);
    find(f, 3, NULL); /* -0.8 -0.4 0 */
    cr_expect_eq(guide(at(15, 0)), RG_GUIDE_LEVEL);
    /* 110 mm sin 0.4 degrees = 0.768 mm */
    cr_expect_str_eq(text, "good; now 0.8 mm higher");
    guide(at(15, 0.4));
    cr_expect_str_eq(text, "hold this height");
    find(f, 5, NULL); /* sectors 345 to 45 are done; next middles 55 and 335 */
    guide(at(25, 0));
    cr_expect_str_eq(text, "good; go on clockwise by 30 degrees to bearing 55");
    guide(at(5, 0));
    cr_expect_str_eq(text, "good; go on anticlockwise by 30 degrees to bearing 335");
}

Test(coverage, what_was_visited_but_is_not_seen_is_gone_back_to)
{
    rg_frame f[36 * 5];
    int n = 0;
    for (int b = 5; b < 360; b += 10)
        for (int l = 0; l < 5; l++)
            f[n++] = at(b, usual.level_deg[l]);
    blind();
    see(30, 350); /* 20..30 is not seen */
    find(f, n, &map);
    guide(at(65, 0));
    cr_expect_str_eq(text, "good; go on anticlockwise by 40 degrees to bearing 25");
    guide(at(26, 0));
    cr_expect_str_eq(text, "good; stay here and rock slowly through the rim plane");
    see(0, 360);
    find(f, n, &map);
    guide(at(26, 0));
    cr_expect_str_eq(text, "good; every bearing is done");
}
