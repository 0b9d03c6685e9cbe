/*
 * Tests of render.h: the same plan gives the same bytes, each frame has noise of its own, and what the plan and the
 * station say of exposure and lens is what the pictures show. Small pictures, so that a frame takes milliseconds.
 */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/crown.h"
#include "rimglow/decode.h"
#include "rimglow/file.h"
#include "rimglow/pipeline.h"
#include "rimglow/render.h"
#include "rimglow/rim.h"
#include "support/load.h"
#include "support/scratch.h"
#include "support/setup.h"

enum { WIDTH = 320, HEIGHT = 180, FACES = 6 };
static char scratch[TEST_SCRATCH_PATH];
static rg_error err;

static void write_file(const char *name, const char *text)
{
    char path[256];
    snprintf(path, sizeof path, "%s/%s", scratch, name);
    cr_assert_eq(rg_file_write(path, text, strlen(text), &err), RG_OK, "%s", err.text);
}

/* text, which is freed, with the rest of each line that begins with "KEY = " replaced; free(). */
static char *set(char *text, const char *key, const char *value)
{
    char begin[64];
    snprintf(begin, sizeof begin, "\n%s = ", key);
    char *at = strstr(text, begin);
    cr_assert_not_null(at, "%s", key);
    size_t head = (size_t)(at - text) + strlen(begin), size = strlen(text) + strlen(value) + 1;
    char *changed = calloc(1, size), *rest = strchr(at + 1, '\n');
    cr_assert(changed && rest);
    snprintf(changed, size, "%.*s%s%s", (int)head, text, value, rest);
    free(text);
    return changed;
}

/* A wide lens with barrel distortion, close to the pad; what it sees differs from a pinhole's by some pixels. */
static void write_station(const char *focal_px)
{
    char *text = test_text("calib/bench.ini");
    text = set(text, "width_px", "320");
    text = set(text, "height_px", "180");
    text = set(text, "fx_px", focal_px);
    text = set(text, "fy_px", focal_px);
    text = set(text, "cx_px", "159.5");
    text = set(text, "cy_px", "89.5");
    text = set(text, "k1", "-0.5");
    write_file("bench.ini", text);
    free(text);
}

/* The sample plan with still hand and one bearing, and its first two sweeps of pad G. */
static char *plan_text(void)
{
    char *text = test_text("samples/render/PE-A-0152.ini");
    char *end = strstr(text, "[sweep 04-C-open]");
    cr_assert_not_null(end);
    *end = '\0';
    text = set(text, "instrument", "alto-loan.ini");
    text = set(text, "station", "bench.ini");
    text = set(text, "posts", "no"); /* they hide tags */
    text = set(text, "bearings", "1");
    text = set(text, "elevations_deg", "0.4, 0.4");
    text = set(text, "distance_mm", "62");
    text = set(text, "bearing_spread_deg", "0");
    text = set(text, "elevation_spread_deg", "0");
    text = set(text, "distance_spread_mm", "0");
    return set(text, "roll_spread_deg", "0");
}

static void begin(void)
{
    cr_assert(test_scratch_make(scratch));
    char *text = test_text("calib/alto-loan.ini");
    write_file("alto-loan.ini", text);
    free(text);
    write_station("400");
}

static void end(void)
{
    test_scratch_remove(scratch);
}

TestSuite(render, .init = begin, .fini = end);

/* Renders the plan, which is freed, into a folder of this name. */
static void render(char *plan, const char *out, int workers)
{
    char file[256], folder[256];
    write_file("plan.ini", plan);
    free(plan);
    snprintf(file, sizeof file, "%s/plan.ini", scratch);
    snprintf(folder, sizeof folder, "%s/%s", scratch, out);
    cr_assert_eq(rg_render_run(file, NULL, 0, folder, workers, NULL, &err), RG_OK, "%s", err.text);
}

static test_bytes file_of(const char *out, const char *sweep, const char *name)
{
    return test_loadf("%s/%s/PE-A-0152/%s/%s", scratch, out, sweep, name);
}

/* Whether two rendered files are the same. */
static bool alike(const char *out_a, const char *sweep_a, const char *name_a, const char *out_b,
                  const char *sweep_b, const char *name_b)
{
    test_bytes a = file_of(out_a, sweep_a, name_a), b = file_of(out_b, sweep_b, name_b);
    bool same = a.size == b.size && memcmp(a.data, b.data, a.size) == 0;
    free(a.data);
    free(b.data);
    return same;
}

Test(render, the_same_plan_gives_the_same_bytes_on_any_number_of_workers)
{
    static const char *const name[] = {"witness.jpg", "view_00.jpg", "view_01.jpg", "sweep.ini"};
    render(plan_text(), "one", 1);
    render(plan_text(), "four", 4);
    for (size_t i = 0; i < sizeof name / sizeof *name; i++) {
        cr_expect(alike("one", "08-G-light", name[i], "four", "08-G-light", name[i]), "%s",
                  name[i]);
        cr_expect(alike("one", "08-G-firm", name[i], "four", "08-G-firm", name[i]), "%s", name[i]);
    }
}

/* The two views are of one place, so nothing but noise can tell them apart. */
Test(render, each_frame_has_noise_of_its_own)
{
    render(plan_text(), "a", 2);
    cr_expect_not(alike("a", "08-G-light", "view_00.jpg", "a", "08-G-light", "view_01.jpg"));
    render(set(plan_text(), "seed", "153"), "b", 2);
    cr_expect_not(alike("a", "08-G-light", "view_00.jpg", "b", "08-G-light", "view_00.jpg"),
                  "the seed changes it");
}

Test(render, sweeps_that_differ_by_name_alone_differ_in_noise)
{
    char *both = plan_text(), *second = strstr(both, "[sweep 08-G-firm]");
    cr_assert_not_null(second);
    strcpy(second, "[sweep x]\npad = G\n[sweep y]\npad = G\n");
    render(both, "a", 2);
    cr_expect_not(alike("a", "x", "view_00.jpg", "a", "y", "view_00.jpg"));
}

static rg_image picture_of(const char *out, const char *name)
{
    rg_image m;
    test_bytes file = file_of(out, "08-G-firm", name);
    static const double weight[3] = {0.299, 0.587, 0.114};
    cr_assert_eq(rg_decode_luma(file.data, file.size, weight, &m, &err), RG_OK, "%s", err.text);
    free(file.data);
    return m;
}

/* IEC 61966-2-1, section 5.2. */
static double linear_of(int code)
{
    double v = code / 255.0;
    return v <= 0.04045 ? v / 12.92 : pow((v + 0.055) / 1.055, 2.4);
}

/* Light of the second picture against the first's, where neither is near saturation. */
static double light_ratio(const rg_image *a, const rg_image *b)
{
    const uint8_t *p = a->data, *q = b->data;
    double first = 0, second = 0;
    for (int i = 0; i < a->width * a->height; i++)
        if (p[i] < 245 && q[i] < 245) {
            first += linear_of(p[i]);
            second += linear_of(q[i]);
        }
    return second / first;
}

Test(render, the_witness_is_exposed_as_the_plan_says)
{
    static const char *const exposure[] = {"0.2", "0.4"}, *const out[] = {"a", "b"};
    rg_image witness[2], view[2];
    for (int i = 0; i < 2; i++) {
        render(set(plan_text(), "witness_exposure", exposure[i]), out[i], 2);
        witness[i] = picture_of(out[i], "witness.jpg");
        view[i] = picture_of(out[i], "view_00.jpg");
    }
    cr_expect_float_eq(light_ratio(&witness[0], &witness[1]), 2, 0.06, "%g",
                       light_ratio(&witness[0], &witness[1]));
    cr_expect_float_eq(light_ratio(&view[0], &view[1]), 1, 0.01, "a closed frame's is 1");
    for (int i = 0; i < 2; i++) {
        char line[64];
        test_bytes ini = file_of(out[i], "08-G-firm", "sweep.ini");
        snprintf(line, sizeof line, "witness.jpg = witness, exposure %s", exposure[i]);
        char *text = calloc(1, ini.size + 1);
        memcpy(text, ini.data, ini.size);
        cr_expect(strstr(text, line) != NULL, "%s", text);
        free(text);
        free(ini.data);
        rg_image_free(&witness[i]);
        rg_image_free(&view[i]);
    }
}

/* Where the truth says the camera was: X_cam = R X_rim + t. */
static rg_pose camera_of(const char *out, int view)
{
    rg_pose pose = {0};
    test_bytes file = test_loadf("%s/%s/truth/PE-A-0152-08-G-firm.json", scratch, out);
    json_t *o = json_loadb((const char *)file.data, file.size, 0, NULL);
    const json_t *v = json_array_get(json_object_get(o, "views"), (size_t)view);
    double t[3];
    cr_assert_not_null(v);
    for (size_t i = 0; i < 3; i++) {
        const json_t *row = json_array_get(json_object_get(v, "R"), i);
        for (size_t k = 0; k < 3; k++)
            pose.R.m[i][k] = json_number_value(json_array_get(row, k));
        t[i] = json_number_value(json_array_get(json_object_get(v, "t"), i));
    }
    pose.t = rg_vec3_make(t[0], t[1], t[2]);
    json_decref(o);
    free(file.data);
    return pose;
}

/* Brown's model (D. C. Brown, Photogrammetric Engineering 37 (1971) 855-866) with k1 alone, written out here. */
static rg_vec2 seen_at(const rg_pose *camera, double focal_px, rg_vec3 p)
{
    double c[3], t[3] = {camera->t.x, camera->t.y, camera->t.z}, x[3] = {p.x, p.y, p.z};
    for (int i = 0; i < 3; i++) {
        c[i] = t[i];
        for (int k = 0; k < 3; k++)
            c[i] += camera->R.m[i][k] * x[k];
    }
    double u = c[0] / c[2], v = c[1] / c[2], stretch = 1 - 0.5 * (u * u + v * v);
    return (rg_vec2){159.5 + focal_px * u * stretch, 89.5 + focal_px * v * stretch};
}

/* Each tag that libapriltag finds, against the place where the stated lens puts it; the number of tags. */
static int check_tags(const char *out, double focal_px)
{
    rg_setup setup;
    rg_tag_finder *finder;
    rg_tag_list tags;
    test_setup(&setup); /* pad G with crown 2 */
    rg_image m = picture_of(out, "view_00.jpg");
    rg_pose camera = camera_of(out, 1);
    cr_assert(m.width == WIDTH && m.height == HEIGHT, "%d x %d", m.width, m.height);
    cr_assert_eq(rg_tag_finder_new(&finder, &setup.options.tags, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_tags_find(finder, m.data, m.width, m.height, false, &tags, &err), RG_OK);
    for (int i = 0; i < tags.count; i++) {
        rg_vec3 corner[4];
        rg_crown_face(&setup.crown, tags.tag[i].id % FACES, corner);
        for (int k = 0; k < 4; k++) {
            rg_vec2 want = seen_at(&camera, focal_px, corner[k]), is = tags.tag[i].corner[k];
            cr_expect_lt(hypot(want.x - is.x, want.y - is.y), 1,
                         "tag %d corner %d: %g, %g, not %g, %g", i, k, is.x, is.y, want.x, want.y);
        }
    }
    rg_tag_finder_free(finder);
    rg_image_free(&m);
    return tags.count;
}

Test(render, the_camera_is_the_stations_lens_where_the_truth_says_it_was)
{
    render(plan_text(), "wide", 2);
    cr_expect_geq(check_tags("wide", 400), 2);
    write_station("480");
    render(plan_text(), "long", 2);
    cr_expect_geq(check_tags("long", 480), 1);
}

/* The crown stands on the cup: of every pad that bears one, in every instrument file, the black border ends above
 * the drawn cup. */
Test(render, the_cup_hides_no_tag)
{
    static const char *const names[] = {"alto",    "tenor",    "baritone",
                                        "soprano", "clarinet", "flute"};
    const rg_render_sweep face = {.lamp = 1};
    int crowns = 0;
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char path[80];
        rg_instrument instrument;
        rg_synth_scene closed, cracked;
        snprintf(path, sizeof path, "calib/%s-loan.ini", names[i]);
        char *text = test_text(path);
        cr_assert_eq(rg_instrument_parse(path, text, strlen(text), &instrument, &err), RG_OK);
        free(text);
        for (int k = 0; k < instrument.pads; k++) {
            if (instrument.pad[k].crown.number < 0)
                continue;
            rg_render_scene(&face, &instrument.pad[k], &closed, &cracked);
            cr_expect_lt(closed.cup_top_mm, closed.tag_height_mm - 0.5 * closed.tag_mm, "%s %s",
                         names[i], instrument.pad[k].name);
            crowns++;
        }
        rg_instrument_free(&instrument);
    }
    cr_expect_gt(crowns, 60);
}
