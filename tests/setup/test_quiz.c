/*
 * Tests of quiz.h: cases. That they are what they are called is asked of the diagnosis, which knows nothing of how they
 * are drawn; closed forms of tilt and saddle besides.
 */
#include "rimglow/quiz.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "rimglow/digest.h"
#include "rimglow/vec.h"
#include "support/diagnosis.h"
#include "support/quiz.h"
#include "support/shape.h"

static rg_error err;
static rg_quiz_options o;
static rg_quiz_case c;
static rg_quiz_truth t;

static void draw(uint64_t seed, double level, rg_quiz_cause cause, int width_class)
{
    cr_assert_eq(rg_quiz_draw(&o, seed, level, cause, width_class, &c, &err), RG_OK, "%s",
                 err.text);
    rg_quiz_truth_of(&o, &c, &t);
}

static void setup(void)
{
    o = test_quiz_options();
}

TestSuite(quiz, .init = setup);

/* -------------------------------------------------------------------- seeds */

static void put_case(char *text, size_t size)
{
    int n = snprintf(text, size, "%d %llu %g %d %.6f %.6f %g %.6f %g %.6f %g %g %d", c.version,
                     (unsigned long long)c.seed, c.level, c.cause, c.level_mm, c.tilt_mm,
                     c.tilt_bearing_deg, c.saddle_mm, c.saddle_bearing_deg, c.crease_mm,
                     c.crease_bearing_deg, c.crease_half_width_deg, c.facing);
    for (int i = 0; i < c.views; i++)
        n += snprintf(text + n, size - (size_t)n, " %g %g", c.view[i].bearing_deg,
                      c.view[i].elevation_deg);
    snprintf(text + n, size - (size_t)n, " %g %g %g %g %d %g %g %g %llu\n", c.lamp_uneven,
             c.lamp_bearing_deg, c.dim, c.glare, c.streaks, c.streak_azimuth_deg[0],
             c.streak_azimuth_deg[1], c.streak_azimuth_deg[2], (unsigned long long)c.noise);
}

Test(quiz, the_same_seed_is_the_same_case)
{
    char first[1024], second[1024];
    for (uint64_t seed = 0; seed < 200; seed++) {
        draw(seed, 5, RG_QUIZ_CAUSES, -1);
        put_case(first, sizeof first);
        draw(seed + 1, 5, RG_QUIZ_CAUSES, -1);
        put_case(second, sizeof second);
        cr_expect_str_neq(first, second);
        draw(seed, 5, RG_QUIZ_CAUSES, -1);
        put_case(second, sizeof second);
        cr_expect_str_eq(first, second);
    }
}

/* Cases of version 1, frozen: who changes them raises RG_QUIZ_VERSION and this digest. */
Test(quiz, cases_of_this_version_are_frozen)
{
    static char text[200 * 512];
    char hex[RG_DIGEST_TEXT];
    size_t used = 0;
    for (uint64_t seed = 0; seed < 200; seed++) {
        draw(seed * UINT64_C(0x9e3779b97f4a7c15), 1 + (double)(seed % 10), RG_QUIZ_CAUSES, -1);
        put_case(text + used, sizeof text - used);
        used = strlen(text);
    }
    rg_digest digest = rg_digest_of(text, used);
    rg_digest_format(&digest, hex);
    cr_expect_eq(RG_QUIZ_VERSION, 1);
    cr_expect_str_eq(hex, "13a15ee93a01c4dad199500278f2f9651485ef9d2f17ad8f21dcade74db268bb",
                     "%s\n%.600s", hex, text);
}

/* ---------------------------------------------------------------------- pads */

static double signed_gap(double b)
{
    double x = c.level_mm + c.tilt_mm * cos(rg_radians(b - c.tilt_bearing_deg)) +
               c.saddle_mm * cos(2 * rg_radians(b - c.saddle_bearing_deg));
    double d = fabs(fmod(b - c.crease_bearing_deg + 540, 360) - 180);
    if (c.crease_mm > 0 && d < c.crease_half_width_deg)
        x += c.crease_mm * (1 + cos(RG_PI * d / c.crease_half_width_deg)) / 2;
    return x;
}

Test(quiz, a_pad_can_be_and_is_as_wide_as_its_class)
{
    for (uint64_t seed = 0; seed < 3000; seed++) {
        double width[RG_BINS], widest = 0, lowest = INFINITY;
        draw(seed, 1 + (double)(seed % 10), RG_QUIZ_CAUSES, -1);
        rg_quiz_widths(&c, width);
        for (int b = 0; b < RG_BINS; b++) {
            cr_assert_float_eq(width[b], fmax(0, signed_gap(b)), 1e-12);
            widest = fmax(widest, width[b]);
            lowest = fmin(lowest, signed_gap(b));
        }
        cr_expect(lowest >= -o.press_most_mm - 1e-5, "%d: pressed %g", c.cause, lowest);
        cr_expect(widest <= t.widest_mm + 1e-9 && widest >= t.widest_mm * 0.999, "%d: %g %g",
                  c.cause, widest, t.widest_mm);
        cr_expect_eq(t.width_class == 0, c.cause == RG_QUIZ_SEALED);
        cr_expect_eq(rg_quiz_class_of(&o, widest), t.width_class);
        cr_expect(widest == 0 || (widest > o.least_mm * 0.999 && widest < o.widest_mm));
        cr_expect(c.cause == RG_QUIZ_UNIFORM || lowest <= 0, "%d touches nowhere", c.cause);
    }
}

/* The margins of the easiest level: 0.3 of each class. */
Test(quiz, easy_widths_keep_off_the_edges)
{
    for (uint64_t seed = 0; seed < 300; seed++) {
        draw(seed, 1, RG_QUIZ_CAUSES, 3);
        cr_expect(t.widest_mm >= 0.05 + 0.3 * 0.05 - 1e-6 &&
                  t.widest_mm <= 0.10 - 0.3 * 0.05 + 1e-6);
    }
}

/* What the diagnosis calls a noiseless map of the pad. Its rules: diagnosis.h. */
static const char *diagnosed(void)
{
    static rg_seal_map map;
    static rg_diagnosis d;
    double width[RG_BINS];
    rg_diagnosis_options diagnosis = test_diagnosis_options();
    rg_quiz_widths(&c, width);
    map = (rg_seal_map){.rim_outer_diameter_mm = 20};
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b] = test_bin(b, width[b], 0.001, 0.004);
    cr_assert_eq(rg_diagnose(&map, 0.01, NULL, &diagnosis, &d, &err), RG_OK, "%s", err.text);
    return rg_diagnosis_name(&d);
}

Test(quiz, the_diagnosis_agrees_on_the_cause)
{
    enum { EACH = 60 };
    for (int cause = 0; cause < RG_QUIZ_CAUSES; cause++) {
        int same = 0;
        for (uint64_t seed = 0; seed < EACH; seed++) {
            draw(seed, 1 + (double)(seed % 10), (rg_quiz_cause)cause,
                 cause ? 2 + (int)(seed % 4) : 0);
            const char *name = diagnosed();
            bool agreed = cause == RG_QUIZ_SEALED
                              ? strcmp(name, "no fault shown") == 0
                              : strcmp(name, rg_quiz_cause_name((rg_quiz_cause)cause)) == 0;
            same += agreed;
        }
        cr_expect(same >= EACH * 95 / 100, "%s: %d of %d", rg_quiz_cause_name((rg_quiz_cause)cause),
                  same, EACH);
    }
}

Test(quiz, tilts_keep_to_their_side_of_the_hinge)
{
    for (uint64_t seed = 0; seed < 500; seed++) {
        draw(seed, 5, RG_QUIZ_HINGE_THICK, -1);
        cr_expect(fabs(t.bearing_deg[0] - 180) <= 15.5, "%g", t.bearing_deg[0]);
        draw(seed, 5, RG_QUIZ_HINGE_THIN, -1);
        cr_expect(t.bearing_deg[0] <= 15.5 || t.bearing_deg[0] >= 344.5, "%g", t.bearing_deg[0]);
        draw(seed, 5, RG_QUIZ_TILTED, -1);
        double line = fabs(fmod(t.bearing_deg[0] + 90, 180) - 90);
        cr_expect(line >= 26.5, "%g", t.bearing_deg[0]);
    }
}

/* -------------------------------------------------------------------- truth */

/* m + t cos(d) = (m + t) / 2 at the ends of the arc that is at least half as wide. */
Test(quiz, extent_and_tolerance_in_closed_form)
{
    for (uint64_t seed = 0; seed < 200; seed++) {
        draw(seed, 3, RG_QUIZ_TILTED, -1);
        double half = acos((t.widest_mm / 2 - c.level_mm) / c.tilt_mm) * 180 / RG_PI;
        cr_expect_float_eq(t.extent_deg, 2 * half, 0.21);
        cr_expect_float_eq(t.tolerance_deg, fmax(10, half / 2), 0.06);
        cr_expect_float_eq(t.open_deg, 2 * acos(-c.level_mm / c.tilt_mm) * 180 / RG_PI, 1.01);
        draw(seed, 3, RG_QUIZ_SADDLE, -1);
        half = acos((t.widest_mm / 2 - c.level_mm) / c.saddle_mm) * 90 / RG_PI;
        cr_expect_float_eq(t.extent_deg, 2 * half, 0.21);
        cr_expect_eq(t.bearings, 2);
        cr_expect_float_eq(t.bearing_deg[1] - t.bearing_deg[0], 180, 1e-9);
    }
}

/* A ray at elevation e under a pad that stands out by 1.5 mm passes below its edge while tan e < gap / 1.5:
 * 0.02 mm at 0.764 degrees (README: 0.02 mm at 0.8 degrees). */
Test(quiz, the_overhang_hides_from_above)
{
    c = (rg_quiz_case){.cause = RG_QUIZ_UNIFORM, .level_mm = 0.02};
    rg_quiz_truth_of(&o, &c, &t);
    cr_expect_float_eq(t.hides_deg, 0.764, 5e-4);
    cr_expect(t.where == RG_QUIZ_ROUND && t.bearings == 0 && t.width_class == 1);
    cr_expect_eq(t.open_deg, 360);
    cr_expect_eq(t.extent_deg, 360);
}

Test(quiz, an_edge_belongs_to_the_class_below)
{
    char name[RG_QUIZ_CLASS_TEXT];
    cr_expect_eq(rg_quiz_class_of(&o, 0), 0);
    cr_expect_eq(rg_quiz_class_of(&o, 1e-9), 1);
    cr_expect_eq(rg_quiz_class_of(&o, 0.025), 1);
    cr_expect_eq(rg_quiz_class_of(&o, 0.0250001), 2);
    cr_expect_eq(rg_quiz_class_of(&o, 0.2), 4);
    cr_expect_eq(rg_quiz_class_of(&o, 9), 5);
    rg_quiz_class_name(&o, 0, name);
    cr_expect_str_eq(name, "sealed");
    rg_quiz_class_name(&o, 1, name);
    cr_expect_str_eq(name, "up to 0.025 mm");
    rg_quiz_class_name(&o, 5, name);
    cr_expect_str_eq(name, "above 0.2 mm");
}

/* -------------------------------------------------------------------- views */

static double apart(double a, double b)
{
    return fabs(fmod(a - b + 540, 360) - 180);
}

Test(quiz, one_view_can_show_what_there_is)
{
    for (uint64_t seed = 0; seed < 2000; seed++) {
        draw(seed, 1 + (double)(seed % 10), RG_QUIZ_CAUSES, -1);
        const rg_quiz_view *v = &c.view[c.facing];
        double nearest = t.bearings
                             ? fmin(apart(v->bearing_deg, t.bearing_deg[0]),
                                    t.bearings > 1 ? apart(v->bearing_deg, t.bearing_deg[1]) : 360)
                             : 0;
        cr_expect(nearest <= 55.5, "%g", nearest);
        if (t.width_class > 0)
            cr_expect(v->elevation_deg <= 0.8 * t.hides_deg + 1e-9, "%g of %g", v->elevation_deg,
                      t.hides_deg);
        for (int i = 0; i < c.views; i++)
            cr_expect(v->elevation_deg >= 0 && c.view[i].bearing_deg >= 0 &&
                      c.view[i].bearing_deg < 360 && c.view[i].elevation_deg <= 8);
        cr_expect(c.streaks >= 0 && c.streaks <= 3 && c.dim >= 0.4 && c.dim <= 1);
    }
}

Test(quiz, harder_cases_are_harder)
{
    double off[2] = {0}, high[2] = {0}, streaks[2] = {0};
    for (uint64_t seed = 0; seed < 500; seed++)
        for (int hard = 0; hard < 2; hard++) {
            draw(seed, hard ? 10 : 1, RG_QUIZ_TILTED, 4);
            off[hard] += apart(c.view[c.facing].bearing_deg, t.bearing_deg[0]);
            high[hard] += c.view[c.facing].elevation_deg;
            streaks[hard] += c.streaks;
        }
    cr_expect(off[1] > 4 * off[0] && high[1] > 4 * high[0] && streaks[0] == 0 && streaks[1] > 500);
}

/* Which view faces the gap cannot be told from its place in the row. */
Test(quiz, the_facing_view_may_stand_anywhere)
{
    int first[RG_QUIZ_VIEWS_MAX] = {0};
    for (uint64_t seed = 0; seed < 900; seed++) {
        draw(seed, 4, RG_QUIZ_CAUSES, -1);
        first[c.facing]++;
    }
    for (int i = 0; i < 3; i++)
        cr_expect(first[i] > 230 && first[i] < 370, "%d: %d", i, first[i]);
}

/* -------------------------------------------------------------- examination */

Test(quiz, an_examination_is_fixed_and_stratified)
{
    int causes[RG_QUIZ_CAUSES] = {0}, classes[RG_QUIZ_CLASSES_MAX] = {0}, inversions = 0, last = 0;
    for (int i = 0; i < o.exam_cases; i++) {
        rg_quiz_case again;
        cr_assert_eq(rg_quiz_exam_case(&o, 42, i, &c, &err), RG_OK, "%s", err.text);
        cr_assert_eq(rg_quiz_exam_case(&o, 42, i, &again, &err), RG_OK);
        cr_expect_eq(memcmp(&c, &again, sizeof c), 0, "%d", i);
        rg_quiz_truth_of(&o, &c, &t);
        causes[c.cause]++;
        classes[t.width_class]++;
        inversions += (int)c.cause < last;
        last = (int)c.cause;
        cr_expect_eq(c.level, 4);
    }
    for (int i = 0; i < RG_QUIZ_CAUSES; i++)
        cr_expect_eq(causes[i], 4, "%d: %d", i, causes[i]);
    cr_expect_eq(classes[0], 4);
    for (int i = 1; i < o.classes; i++)
        cr_expect(classes[i] >= 3 && classes[i] <= 7, "%d: %d", i, classes[i]);
    cr_expect(inversions > 5, "not shuffled");
}

Test(quiz, examinations_differ_by_seed_and_name_their_settings)
{
    char id[RG_QUIZ_ID], other[RG_QUIZ_ID];
    rg_quiz_case second;
    rg_quiz_exam_case(&o, 42, 3, &c, &err);
    rg_quiz_exam_case(&o, 43, 3, &second, &err);
    cr_expect(memcmp(&c, &second, sizeof c) != 0);
    rg_quiz_exam_id(&o, 42, id);
    cr_expect_eq(strncmp(id, "E-1-28-42-", 10), 0, "%s", id);
    rg_quiz_exam_id(&o, UINT64_MAX, other);
    cr_expect(strstr(other, "-18446744073709551615-"), "%s", other);
    o.window = 30; /* changes no case and no score */
    rg_quiz_exam_id(&o, 42, other);
    cr_expect_str_eq(id, other);
    o.glare[1] = 0.07;
    rg_quiz_exam_id(&o, 42, other);
    cr_expect_str_neq(id, other);
    cr_expect_eq(rg_quiz_exam_case(&o, 42, 28, &c, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "28 cases has no case 29"), "%s", err.text);
    cr_expect_eq(rg_quiz_exam_case(&o, 42, -1, &c, &err), RG_BAD_DATA);
}

/* ----------------------------------------------------------------- refusals */

Test(quiz, what_cannot_be_drawn_is_refused)
{
    cr_expect_eq(rg_quiz_draw(&o, 1, 0.5, RG_QUIZ_CAUSES, -1, &c, &err), RG_BAD_DATA);
    cr_expect_eq(rg_quiz_draw(&o, 1, NAN, RG_QUIZ_CAUSES, -1, &c, &err), RG_BAD_DATA);
    cr_expect_eq(rg_quiz_draw(&o, 1, 11, RG_QUIZ_CAUSES, -1, &c, &err), RG_BAD_DATA);
    cr_expect_eq(rg_quiz_draw(&o, 1, 5, RG_QUIZ_SEALED, 2, &c, &err), RG_BAD_DATA);
    cr_expect_eq(rg_quiz_draw(&o, 1, 5, RG_QUIZ_SADDLE, 0, &c, &err), RG_BAD_DATA);
    cr_expect_eq(rg_quiz_draw(&o, 1, 5, RG_QUIZ_SADDLE, 6, &c, &err), RG_BAD_DATA);
    cr_expect_eq(rg_quiz_draw(&o, 1, 5, (rg_quiz_cause)99, -1, &c, &err), RG_BAD_DATA);
    o.upto_mm[2] = 0.01;
    cr_expect_eq(rg_quiz_draw(&o, 1, 5, RG_QUIZ_CAUSES, -1, &c, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "0.01"), "%s", err.text);
    o = test_quiz_options();
    o.press_most_mm = 0.05;
    cr_expect_eq(rg_quiz_check(&o, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "press_most_mm"), "%s", err.text);
    o = test_quiz_options();
    o.facing_deg[1] = 70;
    cr_expect_eq(rg_quiz_check(&o, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "facing_deg (hard) = 70"), "%s", err.text);
    o = test_quiz_options();
    o.overhang_mm = 0;
    cr_expect_eq(rg_quiz_check(&o, &err), RG_BAD_DATA);
}
