/*
 * Tests of regulation.h: heights put in by hand, a key that is set as advised and measured again, drawn
 * errors against the stated U.
 */
#include "rimglow/regulation.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "support/keys.h"
#include "support/scene.h"

static rg_regulation r;
static rg_error err;

static rg_key_cup open_cup(const char *pad, double mean, double u)
{
    rg_key_cup c = {.pad = pad,
                    .seating = {.press = RG_PRESS_LIGHT,
                                .state = RG_SEATING_OPEN,
                                .verdict = RG_VERDICT_LEAKING,
                                .mean_mm = mean}};
    c.seating.covariance[0][0] = u * u;
    return c;
}

static rg_key_cup closed_cup(const char *pad, double limit)
{
    return (rg_key_cup){.pad = pad,
                        .seating = {.press = RG_PRESS_LIGHT,
                                    .state = RG_SEATING_CONTACT,
                                    .verdict = RG_VERDICT_SEALED,
                                    .limit_mm = limit}};
}

static rg_key_link screw(const char *driver, const char *driven)
{
    return (rg_key_link){driver, driven, "adjusting screw", RG_KEY_SCREW, 0.8, 0.5};
}

static void find(const char *key, const rg_key_cup *cup, int cups, const rg_key_link *link,
                 int links)
{
    cr_assert_eq(
        rg_regulation_find(key, cup, cups, link, links, &test_regulation_options, &r, &err), RG_OK,
        "%s", err.text);
}

static bool says(const char *word)
{
    for (int i = 0; i < r.advice.lines; i++)
        if (strstr(r.advice.line[i], word))
            return true;
    return false;
}

/* By hand: 0.1 mm at a ratio of 0.8 is 0.125 mm at the screw, a quarter turn of 0.5 mm pitch. U:
 * 2 sqrt(0.003^2 + 0.004^2) = 0.01; at the screw sqrt((0.01 / 0.8)^2 + (0.2 0.125)^2) = 0.02795. */
Test(regulation, a_driven_cup_that_stands_off)
{
    rg_key_cup cup[] = {open_cup("F", 0.01, 0.003), open_cup("F sharp", 0.11, 0.004)};
    rg_key_link link = screw("F", "F sharp");
    find("F", cup, 2, &link, 1);
    const rg_link_result *l = &r.link[0];
    cr_assert_eq(r.links, 1);
    cr_expect_eq(l->state, RG_REGULATION_DRIVER_FIRST);
    cr_expect_float_eq(l->difference_mm, 0.1, 1e-12);
    cr_expect_float_eq(l->U_mm, 0.01, 1e-12);
    cr_expect_float_eq(l->adjuster_mm, 0.125, 1e-12);
    cr_expect_float_eq(l->U_adjuster_mm, sqrt(pow(0.0125, 2) + pow(0.025, 2)), 1e-12);
    cr_expect_float_eq(l->turns, 0.25, 1e-12);
    cr_expect_float_eq(l->step_turns, 0.25, 1e-12);
    cr_expect_float_eq(l->after_mm, 0, 1e-12);
    cr_expect_float_eq(l->U_after_mm, sqrt(0.01 * 0.01 + 0.02 * 0.02), 1e-12);
    cr_expect(!l->at_least && r.first == 0 && !r.cup[1].with_first);
    cr_expect_float_eq(r.cup[1].stand_off_mm, 0.1, 1e-12);
    cr_expect(says("F closes before F sharp, which stands off by 0.100 \u00b1 0.010 mm: turn the "
                   "adjusting screw in by 1/4 turn"));
}

Test(regulation, a_driven_cup_that_holds_the_driver_off)
{
    rg_key_cup cup[] = {open_cup("F", 0.12, 0.003), closed_cup("F sharp", 0.008)};
    rg_key_link link = screw("F", "F sharp");
    find("F", cup, 2, &link, 1);
    cr_expect_eq(r.link[0].state, RG_REGULATION_DRIVEN_FIRST);
    cr_expect_float_eq(r.link[0].difference_mm, -0.12, 1e-12);
    cr_expect(r.link[0].at_least, "the closed cup may be pressed in");
    cr_expect_eq(r.first, 1);
    cr_expect(says("F sharp closes before F, which stands off by at least 0.120"));
    cr_expect(says("turn the adjusting screw out by 1/4 turn (0.30"));
    cr_expect(says("After that F sharp stands 0.020"));
}

Test(regulation, together_only_when_both_are_sealed)
{
    rg_key_cup cup[] = {closed_cup("F", 0.008), closed_cup("F sharp", 0.006)};
    rg_key_link link = screw("F", "F sharp");
    find("F", cup, 2, &link, 1);
    cr_expect_eq(r.link[0].state, RG_REGULATION_TOGETHER);
    cr_expect_float_eq(r.link[0].U_mm, 0.01, 1e-12); /* hypot(0.008, 0.006) */
    cr_expect(says("close together, within 0.010 mm; both are sealed"));
    cup[1].seating.verdict = RG_VERDICT_UNDECIDED;
    find("F", cup, 2, &link, 1);
    cr_expect_eq(r.link[0].state, RG_REGULATION_NOT_TOLD);
    cr_expect(!says("together") && says("F sharp is not sealed"));
    cup[0] = open_cup("F", 0.05, 0.004);
    cup[1] = open_cup("F sharp", 0.052, 0.004);
    find("F", cup, 2, &link, 1);
    cr_expect_eq(r.link[0].state, RG_REGULATION_NOT_TOLD, "both open by the same amount");
    cup[1].seating.state = RG_SEATING_UNSEEN;
    find("F", cup, 2, &link, 1);
    cr_expect_eq(r.link[0].state, RG_REGULATION_NOT_MEASURED);
    cr_expect(isnan(r.link[0].difference_mm) && says("not measured") && !says("together"));
}

Test(regulation, different_or_unstated_fingers_are_not_compared)
{
    rg_key_cup cup[] = {open_cup("F", 0.01, 0.003), open_cup("F sharp", 0.11, 0.004)};
    rg_key_link link = screw("F", "F sharp");
    cup[1].seating.press = RG_PRESS_FIRM;
    find("F", cup, 2, &link, 1);
    cr_expect(r.link[0].state == RG_REGULATION_NOT_MEASURED && isnan(r.cup[1].stand_off_mm));
    cr_expect(r.advice.lines == 1 && says("not measured"));
    cup[0].seating.press = cup[1].seating.press = RG_PRESS_UNSTATED;
    find("F", cup, 2, &link, 1);
    cr_expect_eq(r.link[0].state, RG_REGULATION_NOT_MEASURED);
    cup[0].seating.press = cup[1].seating.press = RG_PRESS_FIRM;
    find("F", cup, 2, &link, 1);
    cr_expect(r.link[0].state == RG_REGULATION_DRIVER_FIRST && says("firm finger, which bends"));
}

Test(regulation, a_driven_cup_without_a_sweep_is_named)
{
    rg_key_cup cup = open_cup("F", 0.01, 0.003);
    rg_key_link link = screw("F", "F sharp");
    find("F", &cup, 1, &link, 1);
    cr_expect(r.link[0].state == RG_REGULATION_NOT_MEASURED && r.link[0].driven == -1);
    cr_expect(says("F sharp was not swept"));
}

Test(regulation, corks_and_arms_in_their_own_steps)
{
    rg_key_cup cup[] = {open_cup("E", 0, 0.003), open_cup("G sharp", 0.1, 0.003)};
    rg_key_link link = {"E", "G sharp", "cork under the arm", RG_KEY_CORK, 0.8, 0};
    find("E", cup, 2, &link, 1);
    cr_expect_float_eq(r.link[0].step_mm, 0.15, 1e-12); /* 0.125 in steps of 0.05: 2.5, up */
    cr_expect_float_eq(r.link[0].after_mm, 0.1 - 0.15 * 0.8, 1e-12);
    cr_expect(isnan(r.link[0].turns) && says("make the cork under the arm thicker by 0.15 mm"));
    cr_expect(says("0.020") && says("below E"));
    link.kind = RG_KEY_BEND;
    cup[1].seating.mean_mm = -0.1;
    find("E", cup, 2, &link, 1);
    cr_expect(says("bend the cork under the arm so that it gives 0.15 mm less"));
    link = (rg_key_link){"E", "G sharp", "", RG_KEY_SCREW, 0.8, 0};
    find("E", cup, 2, &link, 1);
    cr_expect(isnan(r.link[0].turns) && says("pitch is not known"));
}

Test(regulation, a_fault_below_half_a_step_is_called_too_fine)
{
    rg_key_cup cup[] = {open_cup("F", 0, 0.002), open_cup("F sharp", 0.02, 0.002)};
    rg_key_link link = screw("F", "F sharp");
    find("F", cup, 2, &link, 1);
    cr_expect(r.link[0].state == RG_REGULATION_DRIVER_FIRST && r.link[0].too_fine);
    cr_expect(r.link[0].step_mm == 0 && says("less than can be set by hand"));
    cr_expect_float_eq(r.link[0].after_mm, 0.02, 1e-12);
}

Test(regulation, turns_are_told_as_fractions)
{
    rg_key_link link = screw("F", "F sharp");
    const struct {
        double mm;
        const char *text;
    } row[] = {{0.05, "in by 1/8 turn"}, {0.15, "in by 3/8 turn"},    {0.2, "in by 1/2 turn"},
               {0.4, "in by 1 turn ("},  {0.55, "in by 1 3/8 turns"}, {0.8, "in by 2 turns"}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        rg_key_cup cup[] = {open_cup("F", 0, 0.002), open_cup("F sharp", row[i].mm, 0.002)};
        find("F", cup, 2, &link, 1);
        cr_expect(says(row[i].text), "%g: %s", row[i].mm, r.advice.line[0]);
    }
}

/* ------------------------------------------------------------------ chains */

Test(regulation, links_of_other_keys_are_left_out_and_chains_are_followed)
{
    rg_key_cup cup[] = {open_cup("E", 0, 0.002), open_cup("F sharp", 0.1, 0.002),
                        open_cup("G sharp", 0.3, 0.002)};
    rg_key_link link[] = {screw("F sharp", "G sharp"), screw("A", "C"), screw("E", "F sharp")};
    find("E", cup, 3, link, 3);
    cr_assert_eq(r.links, 2);
    cr_expect(r.link[0].link == 2 && r.link[1].link == 0, "from the key outwards");
    cr_expect_float_eq(r.link[0].difference_mm, 0.1, 1e-12);
    cr_expect_float_eq(r.link[1].difference_mm, 0.2, 1e-12);
    cr_expect(says("Work from key E outwards"));
}

Test(regulation, two_ways_to_one_cup_are_told)
{
    rg_key_cup cup[] = {open_cup("E", 0, 0.002), open_cup("F sharp", 0, 0.002),
                        open_cup("G sharp", 0.1, 0.002)};
    rg_key_link link[] = {screw("E", "F sharp"), screw("E", "G sharp"),
                          screw("F sharp", "G sharp")};
    find("E", cup, 3, link, 3);
    cr_assert_eq(r.links, 3);
    cr_expect(says("G sharp is reached by way of E and of F sharp: set both"));
}

Test(regulation, what_cannot_be_is_refused)
{
    rg_key_cup cup[] = {open_cup("E", 0, 0.002), open_cup("F", 0.1, 0.002)};
    rg_key_link circle[] = {screw("E", "F"), screw("F", "E")}, self = screw("E", "E"),
                bad = screw("E", "F");
    rg_regulation_options o = test_regulation_options;
    cr_expect_eq(rg_regulation_find("E", cup, 2, circle, 2, &test_regulation_options, &r, &err),
                 RG_BAD_DATA);
    cr_expect(strstr(err.text, "leads back to itself") != NULL, "%s", err.text);
    cr_expect_eq(r.links, 0);
    cr_expect_eq(rg_regulation_find("E", cup, 2, &self, 1, &test_regulation_options, &r, &err),
                 RG_BAD_DATA);
    bad.lever_ratio = 0;
    cr_expect_eq(rg_regulation_find("E", cup, 2, &bad, 1, &test_regulation_options, &r, &err),
                 RG_BAD_DATA);
    cr_expect(strstr(err.text, "lever ratio 0") != NULL);
    cup[1].pad = "E";
    cr_expect_eq(rg_regulation_find("E", cup, 2, NULL, 0, &test_regulation_options, &r, &err),
                 RG_BAD_DATA);
    cr_expect_eq(rg_regulation_find("E", cup, 0, NULL, 0, &test_regulation_options, &r, &err),
                 RG_BAD_DATA);
    o.turn_step = 0;
    cr_expect_eq(rg_regulation_find("E", cup, 1, NULL, 0, &o, &r, &err), RG_BAD_DATA);
}

/* A key of three cups in a chain, as a rigid thing: heights follow from what the screws say.
 * height(F) = 0 above the stop, height of a driven cup = height of its driver + play - ratio * screw. The
 * advice comes from heights with drawn errors, the screws are turned by it, and the true differences
 * that are left are compared with what was stated. The true lever ratio is drawn, too. */
typedef struct chain {
    double height[3], ratio[2];
} chain;

static void set_screw(chain *c, int link, double mm)
{
    for (int i = link + 1; i < 3; i++)
        c->height[i] -= mm * c->ratio[link];
}

Test(regulation, set_as_advised_a_key_closes_as_stated)
{
    enum { KEYS = 3000 };
    static const char *const name[] = {"E", "F sharp", "G sharp"};
    rg_key_link link[] = {screw("E", "F sharp"), screw("F sharp", "G sharp")};
    test_random random = {4711};
    int inside = 0, judged = 0;
    double u = 0.004;
    for (int n = 0; n < KEYS; n++) {
        chain c = {.ratio = {0.8 * (1 + 0.1 * test_normal(&random)),
                             0.8 * (1 + 0.1 * test_normal(&random))}};
        rg_key_cup cup[3];
        for (int i = 0; i < 3; i++) {
            c.height[i] = 0.2 * test_normal(&random);
            cup[i] = open_cup(name[i], c.height[i] + u * test_normal(&random), u);
        }
        find("E", cup, 3, link, 2);
        for (int i = 0; i < 2; i++)
            set_screw(&c, i, r.link[i].step_mm);
        for (int i = 0; i < 2; i++) {
            double left = c.height[i + 1] - c.height[i];
            judged++;
            inside += fabs(left - r.link[i].after_mm) <= r.link[i].U_after_mm;
        }
    }
    /* k = 2: 95.4 %, with four binomial standard deviations. */
    double share = (double)inside / judged;
    cr_expect(fabs(share - 0.9545) < 4 * sqrt(0.9545 * 0.0455 / judged), "%.4f", share);
}

/* Two cups at one height: a difference is claimed as rarely as k = 2 promises. */
Test(regulation, no_difference_is_seldom_called_one)
{
    enum { KEYS = 4000 };
    rg_key_link link = screw("F", "F sharp");
    test_random random = {99};
    int alarms = 0;
    for (int n = 0; n < KEYS; n++) {
        rg_key_cup cup[] = {open_cup("F", 0.05 + 0.003 * test_normal(&random), 0.003),
                            open_cup("F sharp", 0.05 + 0.006 * test_normal(&random), 0.006)};
        find("F", cup, 2, &link, 1);
        alarms += r.link[0].state >= RG_REGULATION_DRIVER_FIRST;
    }
    double share = (double)alarms / KEYS;
    cr_expect(fabs(share - 0.0455) < 4 * sqrt(0.0455 * 0.9545 / KEYS), "%.4f", share);
}
