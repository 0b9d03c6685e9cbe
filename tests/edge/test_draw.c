/*
 * Pictures: every format is produced and reads back, what must be told apart
 * differs in black and white, nothing is cut, and nothing in a result makes
 * drawing fail.
 *
 * Outside values: PNG files are read back by libpng (through decode.h); A4 is
 * 210 x 297 mm = 595.28 x 841.89 pt (ISO 216); where bearing 90 must appear
 * follows from "clockwise from the top"; a camera on the rim plane that looks
 * at the axis sees the rim point facing it in the middle of the picture
 * (pinhole, no distortion).
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "edge/drawing.h"
#include "rimglow/decode.h"
#include "rimglow/draw.h"

enum { FORMATS = 3 };

TestSuite(draw, .fini = test_release_fonts);

/* --------------------------------------------------------------- reading */

static rg_image decoded(rg_bytes bytes)
{
    rg_image image = {0};
    rg_error err = {0};
    cr_assert_eq(rg_decode(bytes.data, bytes.size, &image, &err), RG_OK, "%s", err.text);
    return image;
}

static int tone(const rg_image *m, int x, int y)
{
    return ((const uint8_t *)m->data)[(size_t)y * (size_t)m->width + (size_t)x];
}

/* One channel: there is no colour that a print could lose. */
static void expect_grey(const rg_image *m)
{
    cr_assert_eq(m->channels, 1);
    cr_assert_eq(m->depth, 8);
}

static void expect_white_border(const rg_image *m, int border)
{
    for (int y = 0; y < m->height; y++)
        for (int x = 0; x < m->width; x++) {
            bool edge =
                x < border || y < border || x >= m->width - border || y >= m->height - border;
            cr_assert(!edge || tone(m, x, y) == 255, "ink at %d, %d: something is cut", x, y);
        }
}

/* Tags open and close in order; attributes hold no stray '<'. */
static void expect_well_formed(rg_bytes svg)
{
    char open[64][24];
    int depth = 0;
    const char *p = (const char *)svg.data;
    cr_assert(strlen(p) == svg.size, "a zero byte in the SVG");
    while ((p = strchr(p, '<')) != NULL) {
        const char *end = strchr(p, '>');
        cr_assert_not_null(end);
        cr_assert(!memchr(p + 1, '<', (size_t)(end - p - 1)));
        char name[24];
        cr_assert_eq(sscanf(p + 1, "%23[^ \n/>]", name) == 1 || p[1] == '/', 1);
        if (p[1] == '/') {
            cr_assert_gt(depth, 0);
            depth--;
            cr_assert(strncmp(open[depth], p + 2, strlen(open[depth])) == 0, "%s", open[depth]);
        } else if (p[1] != '?' && end[-1] != '/') {
            cr_assert_lt(depth, 64);
            memcpy(open[depth++], name, sizeof name);
        }
        p = end;
    }
    cr_assert_eq(depth, 0);
}

static void expect_file(rg_picture_format format, rg_bytes b)
{
    cr_assert_not_null(b.data);
    if (format == RG_PICTURE_PNG) {
        rg_image m = decoded(b);
        rg_image_free(&m);
    } else if (format == RG_PICTURE_SVG) {
        cr_assert(strstr((const char *)b.data, "<svg") != NULL);
        expect_well_formed(b);
    } else {
        cr_assert(b.size > 100 && memcmp(b.data, "%PDF-", 5) == 0);
        cr_assert(memcmp(b.data + b.size - 6, "%%EOF", 5) == 0);
    }
}

/* ----------------------------------------------------------- a seal map */

static rg_seal_map *sealed_map(void)
{
    rg_seal_map *map = calloc(1, sizeof *map);
    map->rim_outer_diameter_mm = 20;
    for (int b = 0; b < RG_BINS; b++)
        map->bin[b] = (rg_bin){.bearing_deg = b,
                               .width_mm = 0.002,
                               .u_mm = 0.002,
                               .detection_limit_mm = 0.008,
                               .frames = 9,
                               .state = RG_BIN_SEALED};
    return map;
}

/* A gap of one width from first to last, as bins and as an arc. */
static void open_gap(rg_seal_map *map, int first, int last, double width)
{
    for (int b = first; b <= last; b++) {
        rg_bin *bin = &map->bin[b % RG_BINS];
        bin->width_mm = width;
        bin->state = RG_BIN_GAP;
    }
    map->arc[map->arcs++] = (rg_arc){.start_deg = first - 0.5,
                                     .end_deg = last + 0.5,
                                     .centre_deg = (first + last) / 2.0,
                                     .extent_deg = last - first + 1,
                                     .max_width_mm = width,
                                     .u_max_mm = 0.002,
                                     .max_bearing_deg = (first + last) / 2.0};
    map->verdict = RG_VERDICT_LEAKING;
}

static void hide(rg_seal_map *map, int first, int last)
{
    for (int b = first; b <= last; b++)
        map->bin[b % RG_BINS] = (rg_bin){.bearing_deg = b % RG_BINS,
                                         .width_mm = NAN,
                                         .u_mm = NAN,
                                         .detection_limit_mm = INFINITY,
                                         .state = RG_BIN_UNSEEN};
}

static rg_draw_ring_args ring_of(const rg_seal_map *map)
{
    return (rg_draw_ring_args){map, "PE-A-0147", "G", "2026-11-25 10:40", 0.025, 2};
}

static rg_bytes drawn_ring(const rg_seal_map *map, rg_picture_format format)
{
    rg_bytes b;
    rg_error err = {0};
    rg_draw_ring_args args = ring_of(map);
    cr_assert_eq(rg_draw_ring(&args, format, &b, &err), RG_OK, "%s", err.text);
    return b;
}

static rg_image ring_pixels(const rg_seal_map *map)
{
    rg_bytes b = drawn_ring(map, RG_PICTURE_PNG);
    rg_image m = decoded(b);
    free(b.data);
    return m;
}

/* Where two pictures differ: number of pixels and their centroid. */
typedef struct change {
    int count;
    double x, y;
} change;

static change compare(const rg_image *a, const rg_image *b, int top, int bottom)
{
    change c = {0};
    cr_assert(a->width == b->width && a->height == b->height);
    for (int y = top; y < bottom; y++)
        for (int x = 0; x < a->width; x++)
            if (tone(a, x, y) != tone(b, x, y)) {
                c.count++;
                c.x += x;
                c.y += y;
            }
    c.x /= c.count ? c.count : 1;
    c.y /= c.count ? c.count : 1;
    return c;
}

static int dark_pixels(const rg_image *m, int x0, int y0, int x1, int y1)
{
    int n = 0;
    for (int y = y0; y < y1; y++)
        for (int x = x0; x < x1; x++)
            n += tone(m, x, y) < 64;
    return n;
}

/* Middle of the ring, found from the picture: the rim's bold circle is the
 * same in every direction, so the plot's own symmetry axis is the page's. */
static const int middle_x = RG_RING_WIDTH / 2;

/* ---------------------------------------------------------------- ring */

Test(draw, ring_is_produced_in_every_format)
{
    rg_seal_map *map = sealed_map();
    open_gap(map, 170, 230, 0.15);
    hide(map, 10, 40);
    for (int f = 0; f < FORMATS; f++) {
        rg_bytes b = drawn_ring(map, (rg_picture_format)f);
        expect_file((rg_picture_format)f, b);
        free(b.data);
    }
    rg_image m = ring_pixels(map);
    cr_assert(m.width == RG_RING_WIDTH && m.full_height == RG_RING_HEIGHT);
    rg_image_free(&m);
    free(map);
}

Test(draw, ring_fills_an_a4_page)
{
    rg_seal_map *map = sealed_map();
    rg_bytes b = drawn_ring(map, RG_PICTURE_PDF);
    double width = 0, height = 0;
    for (size_t i = 0; i + 40 < b.size; i++)
        if (memcmp(b.data + i, "/MediaBox [", 11) == 0)
            cr_assert_eq(sscanf((char *)b.data + i, "/MediaBox [ 0 0 %lf %lf", &width, &height), 2);
    cr_assert_float_eq(width, 595.28, 0.5);
    cr_assert_float_eq(height, 841.89, 0.5);
    free(b.data);
    free(map);
}

/* Equal bytes within one second would not prove it. */
Test(draw, pdf_holds_no_time)
{
    rg_seal_map *map = sealed_map();
    rg_bytes b = drawn_ring(map, RG_PICTURE_PDF);
    int dates = 0;
    for (size_t i = 0; i + 40 < b.size; i++)
        if (memcmp(b.data + i, "Date (", 6) == 0) {
            cr_assert(memcmp(b.data + i + 6, "1970", 4) == 0);
            dates++;
        }
    cr_assert_leq(dates, 2);
    free(b.data);
    free(map);
}

Test(draw, pictures_are_grey)
{
    rg_seal_map *map = sealed_map();
    open_gap(map, 170, 230, 0.15);
    hide(map, 10, 40);
    rg_image m = ring_pixels(map);
    expect_grey(&m);
    rg_image_free(&m);
    free(map);
}

/* The widest gap sets the scale; it is the same in both pictures. */
Test(draw, wider_gap_covers_more_black)
{
    int dark[2];
    for (int i = 0; i < 2; i++) {
        rg_seal_map *map = sealed_map();
        open_gap(map, 250, 290, 0.20);
        open_gap(map, 70, 110, i ? 0.12 : 0.06);
        rg_image m = ring_pixels(map);
        dark[i] = dark_pixels(&m, middle_x + 100, 500, middle_x + 290, 680);
        rg_image_free(&m);
        free(map);
    }
    cr_assert_gt(dark[1], 1.5 * dark[0]);
}

Test(draw, bearings_run_clockwise_from_the_top)
{
    static const double right[] = {0, 1, 0, -1}, down[] = {-1, 0, 1, 0};
    rg_seal_map *map = sealed_map();
    map->verdict = RG_VERDICT_LEAKING;
    open_gap(map, 45, 45, 0.2); /* sets the scale */
    rg_image before = ring_pixels(map);
    double x[4], y[4];
    for (int q = 0; q < 4; q++) {
        rg_seal_map copy = *map;
        for (int b = -6; b <= 6; b++)
            copy.bin[(90 * q + b + RG_BINS) % RG_BINS].width_mm = 0.1;
        rg_image m = ring_pixels(&copy);
        change c = compare(&before, &m, 180, 920);
        cr_assert_gt(c.count, 300);
        x[q] = c.x;
        y[q] = c.y;
        rg_image_free(&m);
    }
    double cx = (x[0] + x[1] + x[2] + x[3]) / 4, cy = (y[0] + y[1] + y[2] + y[3]) / 4;
    for (int q = 0; q < 4; q++) {
        cr_assert_gt((x[q] - cx) * right[q] + (y[q] - cy) * down[q], 100, "quarter %d", q);
        cr_assert_lt(fabs((x[q] - cx) * down[q] - (y[q] - cy) * right[q]), 40, "quarter %d", q);
    }
    rg_image_free(&before);
    free(map);
}

/* Picture with one detection limit all round; width + U is 0.006 mm. */
static rg_image with_limit(double limit_mm)
{
    rg_seal_map *map = sealed_map();
    for (int b = 0; b < RG_BINS; b++)
        map->bin[b].detection_limit_mm = limit_mm;
    rg_image m = ring_pixels(map);
    free(map);
    return m;
}

/* Does the number in the middle of the ring differ? */
static bool other_number(double limit_a, double limit_b)
{
    rg_image a = with_limit(limit_a), b = with_limit(limit_b);
    bool differs = false;
    for (int y = 560; y < 605; y++)
        for (int x = middle_x - 80; x < middle_x + 80; x++)
            differs = differs || tone(&a, x, y) != tone(&b, x, y);
    rg_image_free(&a);
    rg_image_free(&b);
    return differs;
}

Test(draw, a_sealed_pad_claims_no_less_than_its_detection_limit)
{
    cr_expect(other_number(0.005, 0.008), "0.006 against 0.008");
    cr_expect(other_number(0.008, 0.011), "0.008 against 0.011");
    cr_expect_not(other_number(0.003, 0.005), "0.006 both: width + U");
}

Test(draw, unseen_looks_unlike_sealed)
{
    rg_seal_map *map = sealed_map();
    rg_image sealed = ring_pixels(map);
    hide(map, 70, 110);
    rg_image unseen = ring_pixels(map);
    int before = dark_pixels(&sealed, middle_x + 150, 520, middle_x + 270, 660);
    int after = dark_pixels(&unseen, middle_x + 150, 520, middle_x + 270, 660);
    cr_assert_gt(after, before + 500);
    rg_image_free(&sealed);
    rg_image_free(&unseen);
    free(map);
}

Test(draw, blocked_looks_unlike_unseen)
{
    rg_seal_map *map = sealed_map();
    hide(map, 70, 110);
    rg_image unseen = ring_pixels(map);
    for (int b = 70; b <= 110; b++)
        map->bin[b].blocked = true;
    rg_image blocked = ring_pixels(map);
    cr_assert_gt(compare(&unseen, &blocked, 500, 680).count, 1000);
    cr_assert_gt(dark_pixels(&blocked, middle_x + 150, 520, middle_x + 270, 660), 500);
    rg_image_free(&unseen);
    rg_image_free(&blocked);
    free(map);
}

Test(draw, verdicts_differ_without_reading)
{
    int dark[3];
    rg_seal_map *map = sealed_map();
    rg_image m[3];
    for (int v = 0; v < 3; v++) {
        map->verdict = (rg_verdict)v;
        m[v] = ring_pixels(map);
        dark[v] = dark_pixels(&m[v], 30, 30, 660, 170);
    }
    cr_assert_gt(dark[RG_VERDICT_LEAKING], 3 * dark[RG_VERDICT_SEALED]);
    cr_assert_gt(dark[RG_VERDICT_LEAKING], 3 * dark[RG_VERDICT_UNDECIDED]);
    /* The symbols alone, left of the words. */
    int symbol = 0;
    for (int y = 45; y < 155; y++)
        for (int x = 50; x < 170; x++)
            symbol += (tone(&m[0], x, y) < 128) != (tone(&m[2], x, y) < 128);
    cr_assert_gt(symbol, 800);
    for (int v = 0; v < 3; v++)
        rg_image_free(&m[v]);
    free(map);
}

Test(draw, tolerance_moves_its_circle)
{
    rg_seal_map *map = sealed_map();
    open_gap(map, 250, 290, 0.20);
    rg_draw_ring_args args = ring_of(map);
    rg_image m[2];
    for (int i = 0; i < 2; i++) {
        rg_bytes b;
        args.tolerance_mm = i ? 0.08 : 0.04;
        cr_assert_eq(rg_draw_ring(&args, RG_PICTURE_PNG, &b, NULL), RG_OK);
        m[i] = decoded(b);
        free(b.data);
    }
    /* Right and left of the rim, clear of the scale's numbers. */
    cr_assert_gt(compare(&m[0], &m[1], 560, 620).count, 200);
    rg_image_free(&m[0]);
    rg_image_free(&m[1]);
    free(map);
}

static void fill_reasons(rg_seal_map *map, const char *text)
{
    for (map->reasons = 0; map->reasons < RG_REASONS_MAX; map->reasons++)
        for (size_t k = 0; k + 1 < RG_REASON_SIZE; k++)
            map->reason[map->reasons][k] = text[k % strlen(text)];
}

Test(draw, long_texts_and_many_arcs_are_not_cut_by_the_edge)
{
    char name[400];
    rg_seal_map *map = sealed_map();
    static const char *const words[] = {"sweep again at bearings 10..20 ", "unbreakable"};
    for (int i = 0; i < RG_ARCS_MAX; i++)
        open_gap(map, 6 * i, 6 * i + 2, 0.03 + 0.002 * ((7 * i) % 60));
    memset(name, 'W', sizeof name - 1);
    name[sizeof name - 1] = 0;
    for (int i = 0; i < 2; i++) {
        fill_reasons(map, words[i]);
        rg_draw_ring_args args = {map, name, name, name, 0.025, 2};
        rg_bytes b;
        cr_assert_eq(rg_draw_ring(&args, RG_PICTURE_PNG, &b, NULL), RG_OK);
        rg_image m = decoded(b);
        expect_white_border(&m, 12);
        rg_image_free(&m);
        free(b.data);
    }
    free(map);
}

Test(draw, ring_of_nothing_seen_is_drawn)
{
    rg_seal_map *map = sealed_map(), *empty = calloc(1, sizeof *empty);
    hide(map, 0, 359);
    map->verdict = RG_VERDICT_UNDECIDED;
    for (int f = 0; f < FORMATS; f++) {
        rg_bytes b = drawn_ring(map, (rg_picture_format)f);
        expect_file((rg_picture_format)f, b);
        free(b.data);
        b = drawn_ring(empty, (rg_picture_format)f);
        expect_file((rg_picture_format)f, b);
        free(b.data);
    }
    rg_image m = ring_pixels(map);
    cr_assert_gt(dark_pixels(&m, middle_x - 280, 310, middle_x + 280, 870), 8000);
    expect_white_border(&m, 12);
    rg_image_free(&m);
    free(map);
    free(empty);
}

Test(draw, impossible_numbers_are_drawn_all_the_same)
{
    static const double value[] = {NAN, INFINITY, -INFINITY, 1e300, -5, 1e-300, 0, 3000};
    rg_seal_map *map = sealed_map();
    for (int b = 0; b < RG_BINS; b++) {
        map->bin[b].width_mm = value[b % 8];
        map->bin[b].u_mm = value[b / 8 % 8];
        map->bin[b].detection_limit_mm = value[b / 3 % 8];
        map->bin[b].state = (rg_bin_state)(b % 3);
    }
    for (map->arcs = 0; map->arcs < RG_ARCS_MAX; map->arcs++) {
        double v = value[map->arcs % 8], w = value[map->arcs / 8];
        map->arc[map->arcs] = (rg_arc){.start_deg = v,
                                       .end_deg = w,
                                       .centre_deg = v,
                                       .extent_deg = w,
                                       .extent_mm = v,
                                       .max_width_mm = w,
                                       .u_max_mm = v,
                                       .max_bearing_deg = w,
                                       .mean_width_mm = v,
                                       .open_area_mm2 = w};
    }
    for (int f = 0; f < FORMATS; f++) {
        rg_bytes b = drawn_ring(map, (rg_picture_format)f);
        expect_file((rg_picture_format)f, b);
        free(b.data);
    }
    free(map);
}

Test(draw, texts_of_any_bytes_are_drawn)
{
    static const char *const text[] = {NULL,
                                       "",
                                       "\xff\xfe\x80",
                                       "\xc3",
                                       "\xe2\x82",
                                       "\xed\xa0\x80",
                                       "a\nb\tc\x01\x7f",
                                       "\xf0\x9f\x8e\xb7 sax",
                                       "\xef\xbf\xbf<&\">"};
    rg_seal_map *map = sealed_map();
    map->verdict = RG_VERDICT_UNDECIDED;
    for (size_t i = 0; i < sizeof text / sizeof *text; i++) {
        rg_draw_ring_args args = {map, text[i], text[i], text[i], 0.025, 2};
        if (text[i])
            snprintf(map->reason[0], RG_REASON_SIZE, "%s", text[i]);
        map->reasons = 1;
        for (int f = 0; f < FORMATS; f++) {
            rg_bytes b;
            rg_error err = {0};
            cr_assert_eq(rg_draw_ring(&args, (rg_picture_format)f, &b, &err), RG_OK, "%zu: %s", i,
                         err.text);
            expect_file((rg_picture_format)f, b);
            free(b.data);
        }
    }
    free(map);
}

Test(draw, ring_refuses_a_tolerance_or_factor_that_cannot_be)
{
    static const double bad[] = {0, -0.1, NAN, INFINITY};
    rg_seal_map *map = sealed_map();
    for (int i = 0; i < 8; i++) {
        rg_draw_ring_args args = ring_of(map);
        rg_error err = {0};
        rg_bytes b = {(uint8_t *)1, 1};
        *(i < 4 ? &args.tolerance_mm : &args.coverage_factor) = bad[i % 4];
        cr_assert_eq(rg_draw_ring(&args, RG_PICTURE_SVG, &b, &err), RG_BAD_DATA);
        cr_assert(strstr(err.text, i < 4 ? "tolerance" : "coverage factor") != NULL);
        cr_assert(b.data == NULL && b.size == 0);
    }
    free(map);
}

/* ------------------------------------------------------------ a frame */

static const rg_rim_plane flat = {.found = true};

/* The camera on the rim plane, looking at the axis from a bearing. */
static rg_pose pose_from(double bearing, double distance)
{
    rg_vec3 out = rg_rim_direction(bearing), z = rg_vec3_scale(out, -1);
    rg_vec3 y = {0, 0, -1}, x = rg_vec3_cross(y, z);
    return (rg_pose){.R = {{{x.x, x.y, x.z}, {y.x, y.y, y.z}, {z.x, z.y, z.z}}},
                     .t = {0, 0, distance}};
}

static rg_setup setup_of(int width, int height)
{
    return (rg_setup){.lens = {.width = width,
                               .height = height,
                               .fx = 3300.0 / 1280 * width,
                               .fy = 3300.0 / 1280 * width,
                               .cx = (width - 1) / 2.0,
                               .cy = (height - 1) / 2.0},
                      .crown = {2, 9.5, 8, 10.3},
                      .rim = {18, 20, 23, 5}};
}

enum { COLUMNS = 401, ROWS = 81 };

/* A frame from a bearing, dark, with a faintly lit chimney. */
static rg_frame frame_from(double bearing)
{
    rg_frame f = {.used = true, .bearing_deg = bearing, .width = 1280, .height = 720};
    f.pose.state = RG_POSE_OK;
    f.pose.pose = pose_from(bearing, 100);
    f.strip = (rg_strip){COLUMNS, ROWS, -0.6, 0.015, 0.25, NULL, NULL};
    f.strip.column = calloc(COLUMNS, sizeof *f.strip.column);
    f.strip.light = calloc((size_t)COLUMNS * ROWS, sizeof *f.strip.light);
    f.light.columns = COLUMNS;
    f.light.column = calloc(COLUMNS, sizeof *f.light.column);
    f.light.mask = calloc((size_t)COLUMNS * ROWS, 1);
    for (int c = 0; c < COLUMNS; c++) {
        f.strip.column[c].bearing_deg = rg_wrap_degrees(bearing + 50 - 0.25 * c);
        f.strip.column[c].inside = true;
        f.light.column[c].state = RG_COLUMN_DARK;
        f.light.column[c].bottom_mm = f.light.column[c].top_mm = NAN;
        for (int r = 0; r < ROWS; r++)
            f.strip.light[c * ROWS + r] = r < ROWS / 2 ? 0.03F : 0.005F;
    }
    return f;
}

/* Sets columns within half degrees of the frame's own bearing. */
static void set_state(rg_frame *f, double half, rg_column_state state)
{
    for (int c = 0; c < COLUMNS; c++) {
        rg_column_light *l = &f->light.column[c];
        if (fabs(rg_angle_between(f->strip.column[c].bearing_deg, f->bearing_deg)) > half)
            continue;
        l->state = state;
        l->bottom_mm = state == RG_COLUMN_LIT ? 0 : NAN;
        l->top_mm = state == RG_COLUMN_LIT ? 0.1 : NAN;
    }
}

static void reject_light(rg_frame *f, double half)
{
    for (int c = 0; c < COLUMNS; c++)
        for (int r = 30; r < 40; r++)
            if (fabs(rg_angle_between(f->strip.column[c].bearing_deg, f->bearing_deg)) <= half)
                f->light.mask[c * ROWS + r] = 2;
}

static rg_bytes drawn_strip(const rg_frame *frames, int count, rg_picture_format format)
{
    rg_bytes b;
    rg_error err = {0};
    rg_draw_strip_args args = {frames, NULL, count, &flat, "PE-A-0147", "G", "2026-11-25"};
    cr_assert_eq(rg_draw_strip(&args, format, &b, &err), RG_OK, "%s", err.text);
    return b;
}

static rg_image strip_pixels(const rg_frame *frames, int count)
{
    rg_bytes b = drawn_strip(frames, count, RG_PICTURE_PNG);
    rg_image m = decoded(b);
    free(b.data);
    return m;
}

/* --------------------------------------------------------------- strips */

Test(draw, strips_are_produced_in_every_format)
{
    rg_frame f[3] = {
        frame_from(350), frame_from(120), {.reason = "no crown in the picture: light it"}};
    set_state(&f[0], 8, RG_COLUMN_LIT);
    set_state(&f[1], 8, RG_COLUMN_HIDDEN);
    for (int k = 0; k < FORMATS; k++) {
        rg_bytes b = drawn_strip(f, 3, (rg_picture_format)k);
        expect_file((rg_picture_format)k, b);
        free(b.data);
    }
    rg_image m = strip_pixels(f, 3);
    cr_assert_eq(m.width, RG_STRIP_WIDTH);
    expect_grey(&m);
    expect_white_border(&m, 8);
    rg_image_free(&m);
    rg_frame_free(&f[0]);
    rg_frame_free(&f[1]);
}

Test(draw, strips_stand_at_their_bearing)
{
    double x[3];
    for (int i = 0; i < 3; i++) {
        rg_frame f = frame_from(90 + 60 * i);
        rg_image dark = strip_pixels(&f, 1);
        set_state(&f, 5, RG_COLUMN_LIT);
        rg_image lit = strip_pixels(&f, 1);
        change c = compare(&dark, &lit, 0, dark.height);
        cr_assert_gt(c.count, 100);
        x[i] = c.x;
        rg_image_free(&dark);
        rg_image_free(&lit);
        rg_frame_free(&f);
    }
    cr_assert_float_eq(x[2] - x[1], x[1] - x[0], 2);
    cr_assert_gt(x[1] - x[0], 100);
}

Test(draw, column_states_differ_in_the_strip)
{
    rg_image m[5];
    for (int s = 0; s < 5; s++) {
        rg_frame f = frame_from(180);
        set_state(&f, 10, (rg_column_state)s);
        m[s] = strip_pixels(&f, 1);
        rg_frame_free(&f);
    }
    for (int a = 0; a < 5; a++)
        for (int b = 0; b < a; b++)
            cr_assert_gt(compare(&m[a], &m[b], 0, m[a].height).count, 80, "states %d %d", a, b);
    for (int s = 0; s < 5; s++)
        rg_image_free(&m[s]);
}

Test(draw, rejected_light_is_marked_in_the_strip)
{
    rg_frame f = frame_from(180);
    rg_image plain = strip_pixels(&f, 1);
    reject_light(&f, 10);
    rg_image marked = strip_pixels(&f, 1);
    cr_assert_gt(compare(&plain, &marked, 0, plain.height).count, 60);
    rg_image_free(&plain);
    rg_image_free(&marked);
    rg_frame_free(&f);
}

Test(draw, strips_do_not_depend_on_the_order_of_frames)
{
    rg_frame f[3] = {frame_from(40), frame_from(42), frame_from(200)};
    f[0].elevation_deg = -0.5;
    f[1].elevation_deg = 0.5;
    rg_frame turned[3] = {f[2], f[1], f[0]};
    rg_bytes a = drawn_strip(f, 3, RG_PICTURE_PNG), b = drawn_strip(turned, 3, RG_PICTURE_PNG);
    cr_assert(a.size == b.size && memcmp(a.data, b.data, a.size) == 0);
    free(a.data);
    free(b.data);
    for (int i = 0; i < 3; i++)
        rg_frame_free(&f[i]);
}

Test(draw, strips_of_none_and_of_too_many_frames_are_drawn)
{
    enum { MANY = RG_STRIP_FRAMES_MAX + 20 };
    rg_frame *f = calloc(MANY, sizeof *f);
    rg_image none = strip_pixels(f, 0), one = strip_pixels(f, 1), many = strip_pixels(f, MANY);
    cr_assert_gt(one.height, none.height);
    cr_assert_eq(many.height - none.height, RG_STRIP_FRAMES_MAX * (one.height - none.height));
    expect_white_border(&many, 8);
    rg_image_free(&none);
    rg_image_free(&one);
    rg_image_free(&many);
    free(f);
}

Test(draw, strip_of_impossible_numbers_is_drawn)
{
    rg_frame f = frame_from(180);
    f.bearing_deg = f.elevation_deg = f.shift_mm = NAN;
    for (int c = 0; c < COLUMNS; c++) {
        f.strip.column[c].bearing_deg = c % 3 ? 1e9 : NAN;
        f.light.column[c].state = RG_COLUMN_LIT;
        f.light.column[c].top_mm = c % 2 ? INFINITY : 1e30;
        f.light.column[c].bottom_mm = -1e30;
    }
    for (int k = 0; k < FORMATS; k++) {
        rg_bytes b = drawn_strip(&f, 1, (rg_picture_format)k);
        expect_file((rg_picture_format)k, b);
        free(b.data);
    }
    rg_frame_free(&f);
}

/* -------------------------------------------------------------- overlays */

static rg_image photo(int width, int height, int channels, int depth)
{
    rg_image m;
    cr_assert_eq(rg_image_new(&m, width, height, channels, depth, NULL), RG_OK);
    memset(m.data, 0x50, (size_t)width * (size_t)height * (size_t)(channels * depth / 8));
    return m;
}

static rg_bytes drawn_overlay(const rg_image *image, const rg_frame *f, rg_picture_format format)
{
    rg_bytes b;
    rg_error err = {0};
    rg_setup setup = setup_of(image->width, image->full_height);
    rg_draw_overlay_args args = {image, &setup, f, &flat, "view_07.jpg"};
    cr_assert_eq(rg_draw_overlay(&args, format, &b, &err), RG_OK, "%s", err.text);
    return b;
}

static rg_image overlay_pixels(const rg_image *image, const rg_frame *f)
{
    rg_bytes b = drawn_overlay(image, f, RG_PICTURE_PNG);
    rg_image m = decoded(b);
    free(b.data);
    return m;
}

Test(draw, overlay_is_produced_in_every_format_and_depth)
{
    static const int channels[] = {1, 3, 1, 3}, depth[] = {8, 8, 16, 16};
    rg_frame f = frame_from(0);
    set_state(&f, 8, RG_COLUMN_LIT);
    for (int i = 0; i < 4; i++) {
        rg_image image = photo(640, 360, channels[i], depth[i]);
        for (int k = 0; k < FORMATS; k++) {
            rg_bytes b = drawn_overlay(&image, &f, (rg_picture_format)k);
            expect_file((rg_picture_format)k, b);
            free(b.data);
        }
        rg_image_free(&image);
    }
    rg_frame_free(&f);
}

Test(draw, overlay_is_scaled_down_to_its_width)
{
    rg_frame f = {.reason = "too dark"};
    rg_image large = photo(1920, 1080, 1, 8), small = photo(64, 48, 1, 8);
    rg_image a = overlay_pixels(&large, &f), b = overlay_pixels(&small, &f);
    cr_assert_eq(a.width, RG_OVERLAY_WIDTH);
    int photo_height = RG_OVERLAY_WIDTH * 1080 / 1920;
    cr_assert(a.height > photo_height && a.height < photo_height + 150);
    cr_assert_lt(b.width, RG_OVERLAY_WIDTH);
    cr_assert_gt(b.width, 300, "no room for the texts");
    expect_grey(&a);
    rg_image_free(&large);
    rg_image_free(&small);
    rg_image_free(&a);
    rg_image_free(&b);
}

/* The camera looks at bearing 90 from there, so light at 90 is in the middle
 * of the picture, whose own middle is seen where the dark picture begins. */
Test(draw, light_facing_the_camera_is_drawn_in_the_middle)
{
    rg_image image = photo(1280, 720, 1, 8);
    rg_frame f = frame_from(90);
    rg_image dark = overlay_pixels(&image, &f);
    set_state(&f, 4, RG_COLUMN_LIT);
    rg_image lit = overlay_pixels(&image, &f);
    int top = 0;
    while (tone(&dark, dark.width / 2, top) == 255)
        top++; /* the frame line round the photograph, or a letter above it */
    change c = compare(&dark, &lit, 0, top + 62 + 540);
    cr_assert_gt(c.count, 50);
    cr_assert_float_eq(c.x, (lit.width - 1) / 2.0, 3);
    for (int side = 0; side < 2; side++) {
        rg_frame g = frame_from(90);
        for (int i = 0; i < COLUMNS; i++)
            if (fabs(rg_angle_between(g.strip.column[i].bearing_deg, side ? 110 : 70)) < 4)
                g.light.column[i] = (rg_column_light){.state = RG_COLUMN_LIT, .top_mm = 0.1};
        rg_image m = overlay_pixels(&image, &g);
        change d = compare(&dark, &m, 0, 540);
        /* Clockwise from above: growing bearings lie to the left. */
        cr_assert(side ? d.x < c.x - 50 : d.x > c.x + 50, "%g against %g", d.x, c.x);
        rg_image_free(&m);
        rg_frame_free(&g);
    }
    rg_image_free(&dark);
    rg_image_free(&lit);
    rg_image_free(&image);
    rg_frame_free(&f);
}

Test(draw, column_states_differ_on_the_overlay)
{
    rg_image image = photo(1280, 720, 1, 8), m[6];
    for (int s = 0; s < 6; s++) {
        rg_frame f = frame_from(180);
        if (s < 5)
            set_state(&f, 15, (rg_column_state)s);
        else
            reject_light(&f, 15);
        m[s] = overlay_pixels(&image, &f);
        rg_frame_free(&f);
    }
    for (int a = 0; a < 6; a++)
        for (int b = 0; b < a; b++)
            cr_assert_gt(compare(&m[a], &m[b], 0, m[a].height).count, 60, "states %d %d", a, b);
    for (int s = 0; s < 6; s++)
        rg_image_free(&m[s]);
    rg_image_free(&image);
}

Test(draw, overlay_shows_what_a_jig_s_place_rests_on_and_no_crown)
{
    rg_image image = photo(1280, 720, 3, 8);
    rg_frame crown = frame_from(30), jig = frame_from(30), more = frame_from(30);
    jig.pose.source = more.pose.source = RG_PLACE_JIG;
    more.pose.points = 2;
    more.pose.point[0] = (rg_place_point){{200, 600}, true};
    more.pose.point[1] = (rg_place_point){{1000, 600}, false};
    rg_image a = overlay_pixels(&image, &crown), b = overlay_pixels(&image, &jig),
             c = overlay_pixels(&image, &more);
    int faces = 0, cross = 0, ring = 0, elsewhere = 0;
    /* The photograph is 960 px wide there, below a caption of 62 px. */
    for (int y = 64; y < 62 + 540; y++)
        for (int x = 0; x < 960; x++) {
            bool left = hypot(x - 150.4, y - 512.4) < 12, right = hypot(x - 750.4, y - 512.4) < 12;
            bool differs = tone(&b, x, y) != tone(&c, x, y);
            faces += tone(&a, x, y) != tone(&b, x, y);
            cross += differs && left;
            ring += differs && right;
            elsewhere += differs && !left && !right;
        }
    cr_expect_gt(faces, 300, "a crown is drawn where the place comes from one: %d", faces);
    cr_expect(cross > 15 && ring > 15, "%d and %d pixels", cross, ring);
    cr_expect_eq(elsewhere, 0);
    rg_image_free(&a);
    rg_image_free(&b);
    rg_image_free(&c);
    rg_frame_free(&crown);
    rg_frame_free(&jig);
    rg_frame_free(&more);
    rg_image_free(&image);
}

Test(draw, frame_that_was_not_used_says_so_in_a_box)
{
    rg_image image = photo(1280, 720, 3, 8);
    rg_frame used = {.used = true, .pose.state = RG_POSE_NO_CROWN}, not_used = used;
    not_used.used = false;
    snprintf(not_used.reason, sizeof not_used.reason, "blurred: hold still or focus");
    rg_image a = overlay_pixels(&image, &used), b = overlay_pixels(&image, &not_used);
    int white = 0;
    for (int y = 100; y < 560; y++)
        for (int x = 0; x < b.width; x++)
            white += tone(&b, x, y) == 255 && tone(&a, x, y) != 255;
    cr_assert_gt(white, 20000);
    rg_image_free(&a);
    rg_image_free(&b);
    rg_image_free(&image);
}

Test(draw, overlay_of_impossible_numbers_is_drawn)
{
    rg_image image = photo(320, 200, 1, 8);
    rg_frame f = frame_from(0), g = frame_from(0);
    f.pose.pose.t = (rg_vec3){NAN, INFINITY, -1};
    g.pose.pose.t.z = 1e-9; /* the camera on the axis */
    g.shift_mm = NAN;
    set_state(&g, 30, RG_COLUMN_LIT);
    reject_light(&g, 30);
    for (int k = 0; k < FORMATS; k++) {
        rg_bytes b = drawn_overlay(&image, &f, (rg_picture_format)k);
        expect_file((rg_picture_format)k, b);
        free(b.data);
        b = drawn_overlay(&image, &g, (rg_picture_format)k);
        expect_file((rg_picture_format)k, b);
        free(b.data);
    }
    rg_frame_free(&f);
    rg_frame_free(&g);
    rg_image_free(&image);
}

Test(draw, overlay_refuses_a_picture_without_pixels)
{
    rg_image none = {.width = 100, .full_height = 100, .channels = 1, .depth = 8};
    rg_setup setup = setup_of(100, 100);
    rg_frame f = {.used = true};
    rg_draw_overlay_args args = {&none, &setup, &f, &flat, "view_07.jpg"};
    rg_bytes b;
    rg_error err = {0};
    cr_assert_eq(rg_draw_overlay(&args, RG_PICTURE_PNG, &b, &err), RG_BAD_DATA);
    cr_assert(strstr(err.text, "view_07.jpg") != NULL);
    cr_assert_null(b.data);
}

/* ---------------------------------------------------------- all pictures */

Test(draw, same_arguments_give_the_same_bytes)
{
    rg_seal_map *map = sealed_map();
    rg_image image = photo(640, 360, 3, 8);
    rg_frame f = frame_from(30);
    open_gap(map, 170, 230, 0.15);
    set_state(&f, 8, RG_COLUMN_LIT);
    for (int k = 0; k < FORMATS; k++) {
        rg_bytes first[3], again;
        rg_picture_format format = (rg_picture_format)k;
        for (int pass = 0; pass < 2; pass++)
            for (int p = 0; p < 3; p++) {
                again = p == 0   ? drawn_ring(map, format)
                        : p == 1 ? drawn_strip(&f, 1, format)
                                 : drawn_overlay(&image, &f, format);
                if (pass == 0) {
                    first[p] = again;
                    continue;
                }
                cr_assert_eq(first[p].size, again.size, "picture %d format %d", p, k);
                cr_assert(memcmp(first[p].data, again.data, again.size) == 0, "picture %d, %s", p,
                          rg_picture_suffix(format));
                free(first[p].data);
                free(again.data);
            }
    }
    rg_image_free(&image);
    rg_frame_free(&f);
    free(map);
}

Test(draw, svg_holds_the_photograph)
{
    rg_image image = photo(640, 360, 3, 8);
    rg_frame f = frame_from(30);
    rg_bytes b = drawn_overlay(&image, &f, RG_PICTURE_SVG);
    cr_assert(strstr((const char *)b.data, "data:image/png;base64,") != NULL);
    free(b.data);
    rg_frame_free(&f);
    rg_image_free(&image);
}

/* ------------------------------------------------ calibration of the light */

static rg_wedge_result wedge;

/* A wedge of 0.1 mm read too wide by `error`. */
static rg_draw_light_args light_page(double error)
{
    memset(&wedge, 0, sizeof wedge);
    for (int b = 0; b < RG_BINS; b++) {
        double gap = 0.05 * (1 + cos((b - 180) * RG_PI / 180));
        wedge.bin[b] = (rg_wedge_bin){true, gap, gap, gap + error, 1.5 * gap};
    }
    wedge.nodes = RG_WEDGE_NODES;
    for (int i = 0; i < RG_WEDGE_NODES; i++)
        wedge.node[i] = (rg_wedge_node){0.1 * i / RG_WEDGE_NODES, 0.15 * i / RG_WEDGE_NODES,
                                        0.1 * i / RG_WEDGE_NODES, 20};
    for (int e = 0; e < RG_WEDGE_ELEVATIONS; e++) {
        wedge.elevation_deg[e] = -1 + 2.0 * e / (RG_WEDGE_ELEVATIONS - 1);
        for (int a = 0; a < RG_WEDGE_AMBIENTS; a++)
            wedge.detection_mm[a][e] = 0.01 * (a + 1);
    }
    wedge.rms_mm = 0.002;
    wedge.worst_mm = 0.006;
    return (rg_draw_light_args){.result = &wedge,
                                .blade = {0.1, 0.001, 180, 3},
                                .station = "demo bench",
                                .date = "2026-11-18"};
}

static rg_image light_picture(const rg_draw_light_args *args)
{
    rg_bytes png = {0};
    rg_error err = {0};
    cr_assert_eq(rg_draw_light(args, RG_PICTURE_PNG, &png, &err), RG_OK, "%s", err.text);
    rg_image m = decoded(png);
    free(png.data);
    return m;
}

Test(draw, light_page_is_produced_in_every_format_and_nothing_is_cut)
{
    rg_draw_light_args args = light_page(0);
    for (int f = 0; f < FORMATS; f++) {
        rg_bytes one = {0}, two = {0};
        cr_assert_eq(rg_draw_light(&args, (rg_picture_format)f, &one, NULL), RG_OK);
        cr_assert_eq(rg_draw_light(&args, (rg_picture_format)f, &two, NULL), RG_OK);
        cr_assert(one.size == two.size && memcmp(one.data, two.data, one.size) == 0, "format %d",
                  f);
        free(one.data);
        free(two.data);
    }
    rg_image m = light_picture(&args);
    expect_grey(&m);
    expect_white_border(&m, 8);
    rg_image_free(&m);
}

/* Rows of ink in the residuals' panel: dots stand where the error puts them. */
static double ink_row(const rg_image *m, int y0, int y1)
{
    double sum = 0, weight = 0;
    for (int y = y0; y < y1; y++)
        for (int x = 130; x < 900; x++)
            if (tone(m, x, y) < 60) {
                sum += y;
                weight++;
            }
    return weight > 0 ? sum / weight : NAN;
}

Test(draw, residuals_above_the_gap_stand_higher_on_the_light_page)
{
    rg_draw_light_args args = light_page(0.003);
    rg_image high = light_picture(&args);
    args = light_page(-0.003);
    rg_image low = light_picture(&args);
    cr_expect_lt(ink_row(&high, 750, 930), ink_row(&low, 750, 930) - 20);
    rg_image_free(&high);
    rg_image_free(&low);
}

Test(draw, light_page_of_impossible_numbers_is_drawn_or_refused)
{
    rg_draw_light_args args = light_page(NAN);
    wedge.worst_mm = NAN;
    for (int k = 0; k < RG_WEDGE_VALUES; k++)
        wedge.value[k] = wedge.u[k] = k % 2 ? INFINITY : NAN;
    wedge.node[3].flux_mm = INFINITY;
    wedge.detection_mm[0][0] = INFINITY;
    args.station = "\xff\xfe";
    args.date = NULL;
    rg_image m = light_picture(&args);
    rg_image_free(&m);
    rg_bytes out = {0};
    args.blade.thickness_mm = NAN;
    cr_expect_eq(rg_draw_light(&args, RG_PICTURE_SVG, &out, NULL), RG_BAD_DATA);
    cr_expect_null(out.data);
}
