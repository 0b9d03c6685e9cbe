/*
 * Sheets are measured as a user would measure a print: rendered at 600 dpi by
 * poppler and librsvg, then ruler, folds, cuts and tags are looked for in the
 * pixels. What they must be comes from elsewhere: a ruler of 50 mm is 50 mm;
 * paper sizes are ISO 216 and ANSI/ASME Y14.1; a hexagon's side is 2 a tan 30
 * degrees (Euclid); ids are read by libapriltag; and where a face and its tag
 * must be once the strip is folded is rg_crown_face, which the measurement of
 * poses uses.
 *
 * A pixel is 0.042 mm. Edges of filled areas are good to half of that, because
 * the renderers draw them with greys (poppler in steps of a quarter pixel and
 * through a gamma); poppler moves strokes to whole pixels.
 *
 * release only: tests/cli/test_crown.sh draws such sheets under the sanitizers, test_calibrate_lens.sh boards
 */
#include <criterion/criterion.h>
#include <criterion/logging.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "edge/drawing.h"
#include "rimglow/draw_sheet.h"
#include "support/print.h"

static const double FILLED = 0.021;  /* mm: half a pixel */
static const double STROKED = 0.043; /* mm: a pixel */

TestSuite(draw_sheet, .fini = test_release_fonts, .timeout = 300);

static const rg_ring_rules rules = {.edge_mm = 0.5,
                                    .tag_max_mm = 11,
                                    .foot_mm = 0,
                                    .band_mm = 2.4,
                                    .tab_mm = 7,
                                    .min_module_px = 5,
                                    .px_per_mm = 30};

static rg_draw_crown crown_for(int number, double cup_mm, double foot_mm)
{
    rg_ring_rules r = rules;
    rg_error err = {0};
    rg_draw_crown c = {.title = "a test"};
    r.foot_mm = foot_mm;
    cr_assert_eq(rg_ring_for_cup(&r, number, cup_mm, 0, &c.ring, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_ring_stand(&c.ring, 5.3, &err), RG_OK, "%s", err.text);
    return c;
}

static rg_bytes drawn(const rg_draw_crowns_args *args, rg_picture_format format, int page)
{
    rg_error err = {0};
    rg_bytes b;
    cr_assert_eq(rg_draw_crowns(args, format, page, &b, &err), RG_OK, "%s", err.text);
    return b;
}

/* The page as pixels, by the other program that belongs to its format. */
static test_print printed(const rg_draw_crowns_args *args, rg_picture_format format, int page)
{
    rg_bytes b = drawn(args, format, page);
    test_print p = format == RG_PICTURE_PDF ? test_print_pdf(b.data, b.size, page + 1)
                                            : test_print_svg(b.data, b.size);
    free(b.data);
    return p;
}

static test_print printed_board(const rg_draw_board_args *args, rg_picture_format format)
{
    rg_error err = {0};
    rg_bytes b;
    cr_assert_eq(rg_draw_board(args, format, &b, &err), RG_OK, "%s", err.text);
    if (format == RG_PICTURE_PDF) {
        cr_expect(test_pdf_is_sound(b.data, b.size));
        cr_expect_eq(test_pdf_pages(b.data, b.size), 1);
    }
    test_print p = format == RG_PICTURE_PDF ? test_print_pdf(b.data, b.size, 1)
                                            : test_print_svg(b.data, b.size);
    free(b.data);
    return p;
}

/* -------------------------------------------------------------------- paper */

static void expect_paper(const test_print *p, rg_paper paper, bool lying)
{
    double w = paper == RG_PAPER_A4 ? 210 : 215.9, h = paper == RG_PAPER_A4 ? 297 : 279.4;
    cr_expect_float_eq(p->width * 25.4 / TEST_PRINT_DPI, lying ? h : w, 0.06);
    cr_expect_float_eq(p->height * 25.4 / TEST_PRINT_DPI, lying ? w : h, 0.06);
}

/* No ink in the margin that printers do not reach. */
static void expect_white_margin(const test_print *p)
{
    const int margin = (int)test_print_px(5);
    for (int y = 0; y < p->height; y++)
        for (int x = 0; x < p->width; x++) {
            bool inside =
                x > margin && y > margin && x < p->width - margin && y < p->height - margin;
            if (!inside && p->grey[(size_t)y * (size_t)p->width + (size_t)x] != 255)
                cr_assert_fail("ink at %.1f, %.1f mm", test_print_mm(x), test_print_mm(y));
        }
}

/* ------------------------------------------------------------------- rulers */

/* First row of the page with a dark run of 45 to 55 mm; *x0, *x1 its ends. */
static int baseline(const test_print *p, int *x0, int *x1)
{
    for (int y = p->height - 1; y > 0; y--) {
        int run = 0;
        for (int x = 0; x <= p->width; x++) {
            if (x < p->width && p->grey[(size_t)y * (size_t)p->width + (size_t)x] < 128) {
                run++;
                continue;
            }
            if (run > test_print_px(45) && run < test_print_px(55)) {
                *x0 = x - run;
                *x1 = x;
                return y;
            }
            run = 0;
        }
    }
    return -1;
}

/* A ruler whose ticks stand above its line: 51 of them, a mm apart, the outer
 * ones the longest. */
static void expect_ruler(const test_print *p, const char *which)
{
    enum { MANY = 200 };
    double tick[MANY];
    int x0 = 0, x1 = 0, y = baseline(p, &x0, &x1);
    cr_assert_gt(y, 0, "%s: no line of about 50 mm", which);
    int margin = (int)test_print_px(1);
    int at = y - (int)test_print_px(1.2);
    int n = test_print_lines(p, x0 - margin, x1 + margin, at, 4, 0.3, tick, MANY);
    cr_assert_eq(n, 51, "%s: %d ticks", which, n);
    double zero = test_print_mm(tick[0]);
    for (int i = 0; i < n; i++)
        cr_expect_float_eq(test_print_mm(tick[i]) - zero, i, FILLED, "%s, tick %d: %.3f mm", which,
                           i, test_print_mm(tick[i]) - zero);
    at = y - (int)test_print_px(5);
    n = test_print_lines(p, x0 - margin, x1 + margin, at, 4, 0.3, tick, MANY);
    cr_assert_eq(n, 2, "%s: %d end marks", which, n);
    cr_expect_float_eq(test_print_mm(tick[1]) - test_print_mm(tick[0]), 50.0, FILLED);
    at = y - (int)test_print_px(3.2);
    n = test_print_lines(p, x0 - margin, x1 + margin, at, 4, 0.3, tick, MANY);
    cr_expect_eq(n, 6, "%s: %d marks of 10 mm", which, n);
}

static void expect_rulers(const test_print *p)
{
    test_print turned = test_print_transposed(p);
    expect_ruler(p, "ruler across");
    expect_ruler(&turned, "ruler upwards");
    test_print_free(&turned);
}

/* ---------------------------------------------------------------------- tags */

/* A tag's black border, mm on the page, from its four edges. */
typedef struct border {
    int id;
    double left, right, top, bottom;
} border;

static border measure_border(const test_print *p, const test_print *turned, const rg_tag *tag)
{
    double x = 0, y = 0, side = 0;
    for (int i = 0; i < 4; i++) {
        x += tag->corner[i].x / 4;
        y += tag->corner[i].y / 4;
    }
    side = tag->corner[1].x - tag->corner[0].x;
    cr_assert(side > 0 && fabs(tag->corner[1].y - tag->corner[0].y) < 0.05 * side,
              "tag %d is not upright", tag->id);
    /* Between the middle of the border's modules and the white outside there is one edge each. */
    double in = side * 7 / 16;
    return (border){.id = tag->id,
                    .left = test_print_mm(test_print_edge(p, x - in, y, -1)),
                    .right = test_print_mm(test_print_edge(p, x + in, y, +1)),
                    .top = test_print_mm(test_print_edge(turned, y - in, x, -1)),
                    .bottom = test_print_mm(test_print_edge(turned, y + in, x, +1))};
}

/* By rows, then by columns. */
static int in_reading_order(const void *a, const void *b)
{
    const border *p = a, *q = b;
    if (fabs(p->top - q->top) > 1)
        return p->top < q->top ? -1 : 1;
    return p->left < q->left ? -1 : p->left > q->left;
}

static int measure_borders(const test_print *p, const test_print *turned,
                           border out[TEST_PRINT_TAGS])
{
    test_print_tags *tags = calloc(1, sizeof *tags);
    test_print_find(p, tags);
    int count = tags->count;
    for (int i = 0; i < count; i++)
        out[i] = measure_border(p, turned, &tags->tag[i]);
    free(tags);
    qsort(out, (size_t)count, sizeof *out, in_reading_order);
    return count;
}

/* The page is white from the border outwards for nearly a module. */
static void expect_quiet(const test_print *p, const border *b)
{
    double module = (b->right - b->left) / 8, reach = 0.93 * module, skirt = 0.06;
    int x0 = (int)test_print_px(b->left - reach), x1 = (int)test_print_px(b->right + reach);
    int y0 = (int)test_print_px(b->top - reach), y1 = (int)test_print_px(b->bottom + reach);
    for (int y = y0; y <= y1; y++)
        for (int x = x0; x <= x1; x++) {
            double mx = test_print_mm(x), my = test_print_mm(y);
            bool tag = mx > b->left - skirt && mx < b->right + skirt && my > b->top - skirt &&
                       my < b->bottom + skirt;
            if (!tag && p->grey[(size_t)y * (size_t)p->width + (size_t)x] <= 250)
                cr_assert_fail("tag %d: ink beside it at %.2f, %.2f mm", b->id, mx, my);
        }
}

/* Every change of code along the rows of modules lies on the grid of modules:
 * no seams between them, no half modules. */
static void expect_grid(const test_print *p, const border *b)
{
    double module = (b->right - b->left) / 8;
    for (int row = 0; row < 8; row++) {
        double y = test_print_px(b->top + (row + 0.5) * module), x = test_print_px(b->left) + 2;
        int edges = 0;
        for (; edges < 9; edges++) {
            x = test_print_edge(p, x, y, +1);
            double at = (test_print_mm(x) - b->left) / module;
            cr_assert_float_eq(at, round(at), FILLED / module, "tag %d, row %d: an edge at %.3f",
                               b->id, row, at);
            if (round(at) == 8)
                break;
            x += 1;
        }
        cr_assert_lt(edges, 9);
    }
}

static void expect_tag(const test_print *p, const border *b, double size_mm)
{
    cr_expect_float_eq(b->right - b->left, size_mm, FILLED, "tag %d: %.3f mm wide", b->id,
                       b->right - b->left);
    cr_expect_float_eq(b->bottom - b->top, size_mm, FILLED, "tag %d: %.3f mm high", b->id,
                       b->bottom - b->top);
    expect_quiet(p, b);
    expect_grid(p, b);
}

/* --------------------------------------------------------------------- strip */

/* A piece of a strip as it lies on the page, measured; mm. */
typedef struct piece {
    int faces;
    border tag[6];
    double fold[7]; /* left cut, folds; the last one begins the tab */
    double top, bottom;
} piece;

/* Row of the first line at or below y in the column x. */
static double line_beyond(const test_print *turned, double x, double y, int step)
{
    double near = test_print_edge(turned, test_print_px(y), test_print_px(x), step);
    double far = test_print_edge(turned, near + step, test_print_px(x), step);
    return test_print_mm(0.5 * (near + far));
}

static void measure_piece(const test_print *p, const test_print *turned, const border *tag,
                          int faces, piece *s)
{
    enum { MANY = 40 };
    double line[MANY];
    double pitch = tag[1].left - tag[0].left, middle = 0.5 * (tag[0].top + tag[0].bottom);
    s->faces = faces;
    memcpy(s->tag, tag, (size_t)faces * sizeof *tag);
    /* Cuts: above and below, beside the tag where no words are. */
    double clear = 0.5 * (tag[0].right + tag[1].left) - 0.35;
    s->top = line_beyond(turned, clear, middle, -1);
    s->bottom = line_beyond(turned, clear, middle, +1);
    /* Left cut, at the tag's height. */
    double left = test_print_edge(p, test_print_px(tag[0].left) - 3, test_print_px(middle), -1);
    double far = test_print_edge(p, left - 1, test_print_px(middle), -1);
    s->fold[0] = test_print_mm(0.5 * (left + far));
    /* Folds: dashes below the lower cut. */
    int y = (int)test_print_px(s->bottom + 0.3), rows = (int)test_print_px(2.5);
    int x0 = (int)test_print_px(s->fold[0] + 0.6 * pitch);
    int x1 = (int)test_print_px(tag[faces - 1].right + 0.6 * pitch);
    int n = test_print_lines(p, x0, x1, y, rows, 0.25, line, MANY);
    cr_assert_eq(n, faces, "%d fold lines below the strip of tag %d", n, tag[0].id);
    for (int i = 0; i < faces; i++)
        s->fold[i + 1] = test_print_mm(line[i]);
}

/* The strip as measured: sizes, order, no line at the tags' height. */
static void expect_piece(const test_print *p, const piece *s, const rg_ring *ring, int first)
{
    static const int order[] = {3, 2, 1, 0, 5, 4};
    const double side = 2 * ring->crown.apothem_mm * tan(30 * RG_PI / 180);
    cr_expect_float_eq(s->bottom - s->top, ring->height_mm, STROKED);
    for (int i = 0; i < s->faces; i++) {
        const border *b = &s->tag[i];
        cr_expect_eq(b->id, 6 * ring->crown.number + order[first + i], "place %d: tag %d",
                     first + i, b->id);
        cr_expect_float_eq(s->fold[i + 1] - s->fold[i], side, STROKED, "face %d: %.3f mm wide",
                           first + i, s->fold[i + 1] - s->fold[i]);
        cr_expect_float_eq(0.5 * (b->left + b->right), 0.5 * (s->fold[i] + s->fold[i + 1]),
                           STROKED);
        cr_expect_float_eq(s->bottom - 0.5 * (b->top + b->bottom), ring->centre_mm, STROKED);
        expect_tag(p, b, ring->crown.tag_size_mm);
        /* From one tag's height to the next tag: white paper all the way. */
        if (i + 1 < s->faces)
            for (double y = b->top + 0.1; y < b->bottom - 0.1; y += 0.1) {
                double next = test_print_edge(p, test_print_px(b->right) + 3, test_print_px(y), 1);
                cr_assert_float_eq(test_print_mm(next), s->tag[i + 1].left, 0.05,
                                   "a line between tags");
            }
    }
}

/* Folds the measured strip backwards by 60 degrees at each fold and compares
 * every corner of every tag with where the measurement of poses expects it.
 *
 * Seen from above, +X to the right and +Y up. Whoever looks at a face from
 * outside, +Z up, against its outward normal (cos t, sin t), has the direction
 * (-sin t, cos t) at the right hand. So going right along the printed strip
 * leads anticlockwise round the ring, and each fold turns the normal by +60
 * degrees. The face with the arm's mark looks along +X. */
static void expect_folded(const piece *part, int parts, const rg_crown *crown, double centre_mm)
{
    double corner_x[8] = {0}, corner_y[8] = {0}, middle_x = 0, middle_y = 0, worst = 0;
    int k = 0;
    for (int n = 0; n < parts; n++)
        for (int i = 0; i < part[n].faces; i++, k++) {
            double t = (k - 3) * 60 * RG_PI / 180, w = part[n].fold[i + 1] - part[n].fold[i];
            corner_x[k + 1] = corner_x[k] - w * sin(t);
            corner_y[k + 1] = corner_y[k] + w * cos(t);
        }
    cr_assert_eq(k, 6);
    cr_expect_float_eq(corner_x[6], 0, 0.05, "the ring does not close: %.3f", corner_x[6]);
    cr_expect_float_eq(corner_y[6], 0, 0.05, "the ring does not close: %.3f", corner_y[6]);
    for (int i = 0; i < 6; i++) {
        middle_x += corner_x[i] / 6;
        middle_y += corner_y[i] / 6;
    }
    k = 0;
    for (int n = 0; n < parts; n++)
        for (int i = 0; i < part[n].faces; i++, k++) {
            const piece *s = &part[n];
            const border *b = &s->tag[i];
            const double along[] = {b->left, b->right, b->right, b->left};
            const double down[] = {b->top, b->top, b->bottom, b->bottom};
            double t = (k - 3) * 60 * RG_PI / 180;
            rg_vec3 expected[4];
            rg_crown_face(crown, b->id - 6 * crown->number, expected);
            for (int c = 0; c < 4; c++) {
                double right = along[c] - s->fold[i];
                rg_vec3 at = {corner_x[k] - middle_x - right * sin(t),
                              corner_y[k] - middle_y + right * cos(t),
                              s->bottom - down[c] + crown->centre_height_mm - centre_mm};
                worst = fmax(worst, rg_vec3_norm(rg_vec3_sub(at, expected[c])));
            }
        }
    cr_log_info("folded: farthest corner %.3f mm from its place", worst);
    cr_expect_lt(worst, 0.05, "a folded corner is %.3f mm from its place", worst);
}

static void expect_crowns(const rg_draw_crowns_args *args, rg_picture_format format, int page,
                          int first_crown, int crowns)
{
    border tag[TEST_PRINT_TAGS];
    test_print p = printed(args, format, page), turned = test_print_transposed(&p);
    expect_paper(&p, args->paper, false);
    expect_white_margin(&p);
    expect_rulers(&p);
    int count = measure_borders(&p, &turned, tag), used = 0;
    cr_assert_eq(count, 6 * crowns, "%d tags on the page", count);
    for (int c = first_crown; c < first_crown + crowns; c++) {
        const rg_ring *ring = &args->crown[c].ring;
        double room = (args->paper == RG_PAPER_A4 ? 210 : 215.9) - 2 * RG_SHEET_MARGIN_MM;
        int parts = rg_ring_pieces(ring, room);
        piece part[6];
        for (int n = 0; n < parts; n++, used += 6 / parts) {
            measure_piece(&p, &turned, tag + used, 6 / parts, &part[n]);
            expect_piece(&p, &part[n], ring, n * 6 / parts);
        }
        expect_folded(part, parts, &ring->crown, ring->centre_mm);
    }
    test_print_free(&turned);
    test_print_free(&p);
}

static void expect_small_medium_large(rg_paper paper, rg_picture_format format)
{
    const rg_draw_crown list[] = {crown_for(1, 12, 0), crown_for(2, 23, 0), crown_for(40, 38, 0)};
    const rg_draw_crowns_args args = {.crown = list, .count = 3, .copies = 1, .paper = paper};
    int pages = 0;
    cr_assert_eq(rg_draw_crowns_pages(&args, &pages, NULL), RG_OK);
    cr_assert_eq(pages, 1);
    expect_crowns(&args, format, 0, 0, 3);
}

Test(draw_sheet, crowns_on_a4_pdf_measure_and_fold_as_they_must)
{
    expect_small_medium_large(RG_PAPER_A4, RG_PICTURE_PDF);
}

Test(draw_sheet, crowns_on_letter_pdf_measure_and_fold_as_they_must)
{
    expect_small_medium_large(RG_PAPER_LETTER, RG_PICTURE_PDF);
}

Test(draw_sheet, crowns_on_a4_svg_measure_and_fold_as_they_must)
{
    expect_small_medium_large(RG_PAPER_A4, RG_PICTURE_SVG);
}

Test(draw_sheet, crowns_on_letter_svg_measure_and_fold_as_they_must)
{
    expect_small_medium_large(RG_PAPER_LETTER, RG_PICTURE_SVG);
}

Test(draw_sheet, a_ring_too_long_for_the_paper_comes_in_parts_that_fold_to_one_ring)
{
    const rg_draw_crown list[] = {crown_for(96, 80, 4)};
    const rg_draw_crowns_args args = {.crown = list, .count = 1, .copies = 1};
    cr_assert_eq(rg_ring_pieces(&list[0].ring, 190), 2);
    expect_crowns(&args, RG_PICTURE_PDF, 0, 0, 1);
}

Test(draw_sheet, a_foot_lifts_the_tags_by_its_height)
{
    const rg_draw_crown list[] = {crown_for(0, 23, 3)};
    const rg_draw_crowns_args args = {.crown = list, .count = 1, .copies = 1};
    rg_draw_crown without = crown_for(0, 23, 0);
    cr_assert_float_eq(list[0].ring.centre_mm - without.ring.centre_mm, 3, 1e-9);
    expect_crowns(&args, RG_PICTURE_PDF, 0, 0, 1);
}

Test(draw_sheet, copies_go_on_to_further_pages_with_rulers_on_each)
{
    const rg_draw_crown list[] = {crown_for(7, 23, 0)};
    rg_draw_crowns_args args = {.crown = list, .count = 1, .copies = 6};
    int pages = 0;
    cr_assert_eq(rg_draw_crowns_pages(&args, &pages, NULL), RG_OK);
    cr_assert_eq(pages, 2);
    rg_bytes b = drawn(&args, RG_PICTURE_PDF, 0);
    cr_expect(test_pdf_is_sound(b.data, b.size));
    cr_expect_eq(test_pdf_pages(b.data, b.size), 2);
    free(b.data);
    border tag[TEST_PRINT_TAGS];
    int tags = 0;
    for (int page = 0; page < pages; page++) {
        test_print p = printed(&args, RG_PICTURE_PDF, page), turned = test_print_transposed(&p);
        expect_rulers(&p);
        tags += measure_borders(&p, &turned, tag);
        test_print_free(&turned);
        test_print_free(&p);
    }
    cr_expect_eq(tags, 36);
}

Test(draw_sheet, the_same_sheet_gives_the_same_bytes)
{
    const rg_draw_crown list[] = {crown_for(2, 23, 0), crown_for(3, 38, 0)};
    const rg_draw_crowns_args args = {.crown = list, .count = 2, .copies = 3};
    for (int format = RG_PICTURE_SVG; format <= RG_PICTURE_PDF; format++) {
        rg_bytes a = drawn(&args, (rg_picture_format)format, 0);
        rg_bytes b = drawn(&args, (rg_picture_format)format, 0);
        cr_assert_eq(a.size, b.size);
        cr_expect_arr_eq(a.data, b.data, a.size);
        free(a.data);
        free(b.data);
    }
}

/* -------------------------------------------------------------------- refusals */

Test(draw_sheet, a_crown_too_large_for_the_paper_is_refused)
{
    rg_draw_crown list[] = {crown_for(5, 300, 0)};
    const rg_draw_crowns_args args = {.crown = list, .count = 1, .copies = 1};
    rg_error err = {0};
    rg_bytes b = {0};
    cr_assert_eq(rg_ring_pieces(&list[0].ring, 190), 6);
    cr_assert_eq(rg_ring_for_cup(&rules, 5, 450, 0, &list[0].ring, NULL), RG_OK);
    cr_assert_eq(rg_draw_crowns(&args, RG_PICTURE_PDF, 0, &b, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "do not fit on A4") != NULL, "%s", err.text);
    cr_expect_null(b.data);
}

Test(draw_sheet, no_crown_no_copy_and_too_many_are_refused)
{
    const rg_draw_crown list[] = {crown_for(5, 23, 0)};
    const int bad[][2] = {{0, 1}, {98, 1}, {1, 0}, {1, 25}, {-1, 1}, {1, -1}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        const rg_draw_crowns_args args = {.crown = list, .count = bad[i][0], .copies = bad[i][1]};
        int pages;
        cr_expect_eq(rg_draw_crowns_pages(&args, &pages, NULL), RG_BAD_DATA);
    }
}

Test(draw_sheet, a_sheet_is_no_png)
{
    const rg_draw_crown list[] = {crown_for(5, 23, 0)};
    const rg_draw_crowns_args args = {.crown = list, .count = 1, .copies = 1};
    rg_bytes b = {0};
    cr_expect_eq(rg_draw_crowns(&args, RG_PICTURE_PNG, 0, &b, NULL), RG_INTERNAL);
    cr_expect_null(b.data);
}

/* ---------------------------------------------------------------------- board */

static void expect_board(const rg_draw_board_args *args, rg_picture_format format, bool lying)
{
    border tag[TEST_PRINT_TAGS];
    test_print p = printed_board(args, format), turned = test_print_transposed(&p);
    expect_paper(&p, args->paper, lying);
    expect_white_margin(&p);
    expect_rulers(&p);
    int count = measure_borders(&p, &turned, tag);
    cr_assert_eq(count, args->columns * args->rows, "%d tags", count);
    for (int r = 0, i = 0; r < args->rows; r++)
        for (int c = 0; c < args->columns; c++, i++) {
            cr_expect_eq(tag[i].id, args->first_id + r * args->columns + c);
            cr_expect_float_eq(tag[i].left - tag[0].left, c * args->pitch_mm, FILLED);
            cr_expect_float_eq(tag[i].top - tag[0].top, r * args->pitch_mm, FILLED);
            expect_tag(&p, &tag[i], args->tag_mm);
        }
    test_print_free(&turned);
    test_print_free(&p);
}

Test(draw_sheet, a_board_measures_as_it_must_on_both_papers_and_formats)
{
    rg_draw_board_args args = {
        .columns = 9, .rows = 7, .tag_mm = 4.8, .pitch_mm = 6.4, .first_id = 400};
    for (int paper = RG_PAPER_A4; paper <= RG_PAPER_LETTER; paper++)
        for (int format = RG_PICTURE_SVG; format <= RG_PICTURE_PDF; format++) {
            args.paper = (rg_paper)paper;
            expect_board(&args, (rg_picture_format)format, false);
        }
}

Test(draw_sheet, a_wide_board_lies_on_its_side)
{
    rg_draw_board_args args = {
        .columns = 7, .rows = 5, .tag_mm = 20, .pitch_mm = 26, .first_id = 552};
    expect_board(&args, RG_PICTURE_PDF, true);
    args.paper = RG_PAPER_LETTER;
    expect_board(&args, RG_PICTURE_SVG, false);
}

Test(draw_sheet, a_board_that_does_not_fit_or_has_no_ids_is_refused)
{
    rg_error err = {0};
    rg_bytes b = {0};
    rg_draw_board_args args = {
        .columns = 7, .rows = 5, .tag_mm = 24, .pitch_mm = 40, .first_id = 400};
    cr_assert_eq(rg_draw_board(&args, RG_PICTURE_PDF, &b, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "264.0 x 184.0 mm") != NULL, "%s", err.text);
    cr_expect_null(b.data);
    args.pitch_mm = 30;
    args.tag_mm = 20;
    args.columns = 5;
    args.rows = 4;
    args.first_id = 570;
    cr_assert_eq(rg_draw_board(&args, RG_PICTURE_PDF, &b, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "587") != NULL, "%s", err.text);
    cr_expect_null(b.data);
    args.columns = 0;
    cr_assert_eq(rg_draw_board(&args, RG_PICTURE_SVG, &b, &err), RG_BAD_DATA);
}
