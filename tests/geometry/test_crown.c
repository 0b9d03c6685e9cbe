/*
 * Tests of crown.h. Outside values: OpenCV 4.6.0 (solvePnP and refineLM) for
 * the pose from points; true poses of the path-traced sample frames
 * (tests/data/crown/README); ray-cast pictures of known pose
 * (tests/support/crown_picture.h).
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/crown.h"
#include "rimglow/rim.h"
#include "support/crown_picture.h"
#include "support/load.h"

/* ---------------------------------------------------------------- pose from points */

static const rg_lens opencv_lens = {.width = 1920,
                                    .height = 1080,
                                    .fx = 1400.0,
                                    .fy = 1400.0,
                                    .cx = 960.0,
                                    .cy = 540.0,
                                    .k1 = -0.12,
                                    .k2 = 0.08,
                                    .p1 = 0.0006,
                                    .p2 = -0.0004,
                                    .k3 = -0.02};

/* Three tags that do not share a plane: mm, exact px, px disturbed and rounded. */
enum { PNP_POINTS = 12 };
static const rg_vec3 pnp_body[PNP_POINTS] = {
    {-36, 6, 0},
    {-24, 6, 0},
    {-24, -6, 0},
    {-36, -6, 0},
    {24.2679810652, 11, 9.77312123997},
    {35.7320189348, 11, 6.22687876003},
    {35.7320189348, -1, 6.22687876003},
    {24.2679810652, -1, 9.77312123997},
    {-6, 33.8134745303, -7.48442375553},
    {6, 33.8134745303, -7.48442375553},
    {6, 22.1865254697, -4.51557624447},
    {-6, 22.1865254697, -4.51557624447},
};
static const rg_vec2 pnp_exact[PNP_POINTS] = {
    {760.7327457840, 509.4669726692},  {838.4595729907, 515.2714166198},
    {847.3730271506, 437.7298090804},  {769.0185107147, 430.6295561777},
    {1100.1222489340, 553.6395634454}, {1169.4400491609, 562.5441326184},
    {1180.2803495260, 493.6780373536}, {1110.3825362658, 484.5444829091},
    {941.4019029686, 708.1891123120},  {1013.8670185671, 710.5471608735},
    {1017.8076481627, 634.6773806806}, {945.5521661538, 631.0393155608},
};
static const rg_vec2 pnp_disturbed[PNP_POINTS] = {
    {760.73, 509.72},  {838.73, 515.31},  {847.15, 437.44},  {768.93, 430.83},
    {1100.42, 553.76}, {1169.28, 562.24}, {1180.12, 493.80}, {1110.68, 484.74},
    {941.32, 707.90},  {1013.64, 710.59}, {1018.08, 634.93}, {945.55, 630.79},
};

static void expect_pose(const rg_pose *pose, rg_vec3 rotation, rg_vec3 t, double tolerance)
{
    rg_vec3 r = rg_rodrigues_inverse(pose->R);
    cr_expect_lt(rg_vec3_norm(rg_vec3_sub(r, rotation)), tolerance);
    cr_expect_lt(rg_vec3_norm(rg_vec3_sub(pose->t, t)), 100.0 * tolerance);
    cr_expect(rg_mat3_is_rotation(pose->R, 1e-12));
}

Test(crown, exact_points_return_the_pose_they_were_made_with)
{
    rg_pose pose;
    double rms;
    cr_assert_eq(
        rg_pose_from_points(&opencv_lens, pnp_body, pnp_exact, PNP_POINTS, &pose, &rms, NULL),
        RG_OK);
    expect_pose(&pose, rg_vec3_make(0.2, -0.3, 0.1), rg_vec3_make(5.0, -8.0, 220.0), 1e-8);
    cr_assert_lt(rms, 1e-8);
}

Test(crown, disturbed_points_end_in_opencvs_least_squares_minimum)
{
    rg_pose pose;
    double rms;
    cr_assert_eq(
        rg_pose_from_points(&opencv_lens, pnp_body, pnp_disturbed, PNP_POINTS, &pose, &rms, NULL),
        RG_OK);
    expect_pose(&pose, rg_vec3_make(0.1994383002, -0.2982992673, 0.0997009021),
                rg_vec3_make(4.9933807512, -8.0002378421, 220.1445121846), 1e-8);
    cr_assert_float_eq(rms, 0.28471192, 1e-8);
}

Test(crown, four_points_of_one_tag_hold_a_pose)
{
    for (int tag = 0; tag < 3; tag++) {
        rg_pose pose;
        double rms;
        cr_assert_eq(rg_pose_from_points(&opencv_lens, pnp_body + 4 * tag, pnp_exact + 4 * tag, 4,
                                         &pose, &rms, NULL),
                     RG_OK);
        expect_pose(&pose, rg_vec3_make(0.2, -0.3, 0.1), rg_vec3_make(5.0, -8.0, 220.0), 1e-6);
    }
}

Test(crown, five_points_off_one_plane_hold_a_pose)
{
    static const int pick[5] = {0, 2, 5, 7, 9};
    rg_vec3 body[5];
    rg_vec2 pixel[5];
    for (int i = 0; i < 5; i++) {
        body[i] = pnp_body[pick[i]];
        pixel[i] = pnp_exact[pick[i]];
    }
    rg_pose pose;
    double rms;
    cr_assert_eq(rg_pose_from_points(&opencv_lens, body, pixel, 5, &pose, &rms, NULL), RG_OK);
    expect_pose(&pose, rg_vec3_make(0.2, -0.3, 0.1), rg_vec3_make(5.0, -8.0, 220.0), 1e-6);
}

Test(crown, deep_point_sets_are_solved_from_every_side)
{
    for (int i = 0; i < 60; i++) {
        rg_vec3 axis = rg_vec3_make(sin(1.0 * i), cos(2.0 * i), sin(3.0 * i + 1.0));
        rg_pose truth = {rg_rodrigues(rg_vec3_scale(axis, 0.05 * i)), {3.0, -5.0, 110.0}}, pose;
        rg_vec3 body[8];
        rg_vec2 pixel[8];
        for (int k = 0; k < 8; k++) { /* the corners of a box of 40 x 60 x 90 mm */
            body[k] = rg_vec3_make(k & 1 ? 20 : -20, k & 2 ? 30 : -30, k & 4 ? 45 : -45);
            cr_assert(rg_lens_project(&opencv_lens, rg_pose_apply(&truth, body[k]), &pixel[k]));
        }
        double rms;
        cr_assert_eq(rg_pose_from_points(&opencv_lens, body, pixel, 8, &pose, &rms, NULL), RG_OK);
        cr_expect_lt(rms, 1e-6, "turn %d", i);
        cr_expect_lt(rg_vec3_norm(rg_vec3_sub(pose.t, truth.t)), 1e-6, "turn %d", i);
    }
}

Test(crown, points_that_hold_no_pose_are_refused)
{
    rg_pose pose;
    double rms;
    rg_error err = {0};
    cr_assert_eq(rg_pose_from_points(&opencv_lens, pnp_body, pnp_exact, 3, &pose, &rms, &err),
                 RG_BAD_DATA);
    cr_assert(strstr(err.text, "3 points"), "%s", err.text);
    rg_vec3 line[5];
    for (int i = 0; i < 5; i++)
        line[i] = rg_vec3_make(i, 2.0 * i, -i);
    cr_assert_eq(rg_pose_from_points(&opencv_lens, line, pnp_exact, 5, &pose, &rms, &err),
                 RG_BAD_DATA);
    cr_assert(strstr(err.text, "line"), "%s", err.text);
}

/* ---------------------------------------------------------------- the crown itself */

static const rg_crown crown2 = {
    .number = 2, .apothem_mm = 9.5, .tag_size_mm = 8.0, .centre_height_mm = 10.3};
static const rg_crown_limits limits = {
    .max_reprojection_px = 0.5, .min_edges = 4, .min_tag_side_px = 24.0};

Test(crown, faces_look_outwards_at_their_bearings)
{
    for (int j = 0; j < 6; j++) {
        rg_vec3 c[4];
        rg_crown_face(&crown2, j, c);
        rg_vec3 middle = rg_vec3_scale(rg_vec3_add(c[0], c[2]), 0.5);
        cr_assert_float_eq(rg_angle_between(rg_rim_bearing(middle), 60.0 * j), 0.0, 1e-9);
        cr_assert_float_eq(hypot(middle.x, middle.y), 9.5, 1e-12);
        cr_assert_float_eq(middle.z, 10.3, 1e-12);
        /* Reading order: right x down points away from the reader, into the crown. */
        rg_vec3 right = rg_vec3_sub(c[1], c[0]), down = rg_vec3_sub(c[2], c[1]);
        cr_assert_float_eq(rg_vec3_norm(right), 8.0, 1e-12);
        cr_assert_float_eq(down.z, -8.0, 1e-12);
        cr_assert_lt(rg_vec3_dot(rg_vec3_cross(right, down), middle), 0.0);
    }
}

Test(crown, check_names_the_value_that_cannot_be)
{
    cr_assert_eq(rg_crown_check(&crown2, NULL), RG_OK);
    static const struct {
        rg_crown crown;
        const char *word;
    } bad[] = {{{97, 9.5, 8.0, 10.3}, "number"},   {{-1, 9.5, 8.0, 10.3}, "number"},
               {{2, 0.0, 8.0, 10.3}, "apothem"},   {{2, NAN, 8.0, 10.3}, "apothem"},
               {{2, 9.5, 11.0, 10.3}, "tag size"}, {{2, 9.5, 0.0, 10.3}, "tag size"},
               {{2, 9.5, 8.0, INFINITY}, "height"}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        rg_error err = {0};
        cr_assert_eq(rg_crown_check(&bad[i].crown, &err), RG_BAD_DATA);
        cr_assert(strstr(err.text, bad[i].word), "%s", err.text);
    }
}

/* ---------------------------------------------------------------- locating */

static const rg_lens bench_lens = {
    .width = 1280, .height = 720, .fx = 3300.0, .fy = 3300.0, .cx = 639.5, .cy = 359.5};

static rg_tag_list find_tags(const rg_image *image)
{
    rg_tag_options options = {.decimate = 2.0, .refine = true, .max_hamming = 1};
    rg_tag_finder *finder;
    rg_tag_list list;
    uint8_t *grey = malloc((size_t)(image->width * image->height));
    rg_image_luma(image, grey);
    cr_assert_eq(rg_tag_finder_new(&finder, &options, NULL), RG_OK);
    cr_assert_eq(rg_tags_find(finder, grey, image->width, image->height, false, &list, NULL),
                 RG_OK);
    rg_tag_finder_free(finder);
    free(grey);
    return list;
}

static rg_crown_pose locate_with(const rg_crown *crown, const rg_crown_limits *limit,
                                 const rg_lens *lens, const rg_image *image,
                                 const rg_tag_list *tags)
{
    static const double weights[3] = {0.2126, 0.7152, 0.0722};
    rg_linear linear;
    rg_crown_pose result;
    rg_error err = {0};
    cr_assert_eq(rg_linear_new(&linear, 3, 8, weights, NULL), RG_OK);
    rg_code code = rg_crown_locate(crown, limit, lens, image, &linear, tags, &result, &err);
    rg_linear_free(&linear);
    cr_assert_eq(code, RG_OK, "%s", err.text);
    cr_assert((result.state == RG_POSE_OK) == (result.reason[0] == '\0'));
    return result;
}

static rg_crown_pose locate(const rg_image *image)
{
    rg_tag_list tags = find_tags(image);
    return locate_with(&crown2, &limits, &bench_lens, image, &tags);
}

/* Degrees between two rotations. */
static double turn_between(const rg_pose *a, const rg_pose *b)
{
    rg_mat3 d = rg_mat3_mul(a->R, rg_mat3_transpose(b->R));
    return rg_degrees(rg_vec3_norm(rg_rodrigues_inverse(d)));
}

/* Vertical distance, px, of the near rim line under the two poses. */
static double rim_error(const rg_lens *lens, const rg_pose *found, const rg_pose *truth)
{
    double bearing, elevation, distance, worst = 0.0;
    rg_rim_camera(truth, &bearing, &elevation, &distance);
    for (int k = -40; k <= 40; k += 20) {
        rg_rim_view a = rg_rim_look(lens, found, 10.0, 0.0, bearing + k);
        rg_rim_view b = rg_rim_look(lens, truth, 10.0, 0.0, bearing + k);
        worst = fmax(worst, fabs(a.pixel.y - b.pixel.y));
    }
    return worst;
}

/* x^T C^-1 x by Gaussian elimination: how many variances the error is away. */
static double normalised_square(const rg_crown_pose *found, const rg_pose *truth)
{
    rg_mat3 d = rg_mat3_mul(truth->R, rg_mat3_transpose(found->pose.R));
    rg_vec3 q = rg_rodrigues_inverse(d), t = rg_vec3_sub(truth->t, found->pose.t);
    double a[6][6], x[6] = {q.x, q.y, q.z, t.x, t.y, t.z}, sum = 0.0;
    memcpy(a, found->covariance, sizeof a);
    for (int i = 0; i < 6; i++) {
        cr_assert_gt(a[i][i], 0.0, "covariance is not positive");
        sum += x[i] * x[i] / a[i][i];
        for (int r = i + 1; r < 6; r++) {
            double f = a[r][i] / a[i][i];
            x[r] -= f * x[i];
            for (int k = i; k < 6; k++)
                a[r][k] -= f * a[i][k];
        }
    }
    return sum;
}

typedef struct score {
    int frames;
    double rim_sum, square_sum;
} score;

static void check_frame(const char *frame, const rg_pose *truth, score *s)
{
    char path[200];
    snprintf(path, sizeof path, "samples/%s", frame);
    rg_image image = test_decode_file(path);
    rg_crown_pose found = locate(&image);
    rg_image_free(&image);
    cr_assert_eq(found.state, RG_POSE_OK, "%s: %s", frame, found.reason);
    double rim = rim_error(&bench_lens, &found.pose, truth);
    double turn = turn_between(&found.pose, truth);
    cr_expect_lt(rim, 0.2, "%s: rim line %.3f px off", frame, rim);
    cr_expect_lt(turn, 0.1, "%s: turned by %.3f degrees", frame, turn);
    cr_expect(found.edge_sigma_px > 0.6 && found.edge_sigma_px < 0.8, "%s: %.3f", frame,
              found.edge_sigma_px);
    s->frames++;
    s->rim_sum += rim;
    double square = normalised_square(&found, truth);
    /* chi-squared of 6: 99.9 % lie below 22.5 (memory of the tables). */
    cr_expect_lt(square, 22.5, "%s: normalised square %.1f", frame, square);
    s->square_sum += square;
}

/* Reads the next row of poses.txt. */
static bool next_truth(FILE *file, char frame[100], rg_pose *t)
{
    double *v[12] = {&t->R.m[0][0], &t->R.m[0][1], &t->R.m[0][2], &t->R.m[1][0],
                     &t->R.m[1][1], &t->R.m[1][2], &t->R.m[2][0], &t->R.m[2][1],
                     &t->R.m[2][2], &t->t.x,       &t->t.y,       &t->t.z};
    if (fscanf(file, "%99s", frame) != 1)
        return false;
    for (int i = 0; i < 12; i++)
        cr_assert_eq(fscanf(file, "%lf", v[i]), 1);
    return true;
}

Test(crown, sample_frames_give_their_true_pose_and_an_honest_covariance)
{
    FILE *file = fopen("tests/data/crown/poses.txt", "r");
    cr_assert_not_null(file);
    score s = {0};
    char frame[100];
    rg_pose t;
    while (next_truth(file, frame, &t))
        check_frame(frame, &t, &s);
    fclose(file);
    cr_assert_eq(s.frames, 42);
    cr_expect_lt(s.rim_sum / s.frames, 0.08, "mean %.3f px", s.rim_sum / s.frames);
    /* The square has mean 6 when the covariance is right. */
    double square = s.square_sum / s.frames / 6.0;
    cr_expect(square > 0.3 && square < 1.5, "normalised square %.2f", square);
}

static const double ROLL_DEG = 25.0;

static test_crown_scene clean_scene(double bearing, double elevation)
{
    double b = rg_radians(bearing), e = rg_radians(elevation);
    rg_vec3 middle = rg_vec3_make(0.0, 0.0, 8.0);
    rg_vec3 centre =
        rg_vec3_make(90.0 * cos(e) * cos(b), -90.0 * cos(e) * sin(b), 8.0 + 90.0 * sin(e));
    test_crown_scene s = {.crown = crown2,
                          .lens = {.width = 640,
                                   .height = 480,
                                   .fx = 2000.0,
                                   .fy = 2000.0,
                                   .cx = 320.0,
                                   .cy = 240.0,
                                   .k1 = -0.25,
                                   .p1 = 0.002},
                          .pose = test_look_at(centre, middle, ROLL_DEG),
                          .faces = 63,
                          .blur_px = 0.8,
                          .black = 0.02,
                          .white = 0.5,
                          .ground = 0.15};
    return s;
}

Test(crown, clean_pictures_with_distortion_give_the_pose_to_hundredths)
{
    static const double view[][2] = {{0.0, 0.0}, {35.0, 4.0}, {200.0, -8.0}, {285.0, 20.0}};
    for (int i = 0; i < 4; i++) {
        test_crown_scene s = clean_scene(view[i][0], view[i][1]);
        rg_image image = test_crown_picture(&s);
        rg_tag_list tags = find_tags(&image);
        rg_crown_pose found = locate_with(&crown2, &limits, &s.lens, &image, &tags);
        rg_image_free(&image);
        cr_assert_eq(found.state, RG_POSE_OK, "%s", found.reason);
        cr_expect_lt(turn_between(&found.pose, &s.pose), 0.01, "view %d", i);
        cr_expect_lt(rim_error(&s.lens, &found.pose, &s.pose), 0.02, "view %d", i);
        cr_expect_lt(rg_vec3_norm(rg_vec3_sub(found.pose.t, s.pose.t)), 0.01, "view %d", i);
        cr_expect_float_eq(found.black_light, 0.02, 0.003);
        cr_expect_float_eq(found.white_light, 0.5, 0.01);
        /* 0.8 px and the pixel's own width, 1/12 px^2. */
        cr_expect_float_eq(found.edge_sigma_px, sqrt(0.64 + 1.0 / 12.0), 0.03);
    }
}

/* Paints rows from `first` on in one code. */
static void paint_bar(rg_image *image, int first, int rows, uint8_t code)
{
    memset((uint8_t *)image->data + 3 * first * image->width, code,
           (size_t)(3 * rows * image->width));
}

Test(crown, bar_across_the_lower_borders_does_not_drag_the_pose)
{
    static const char name[] = "PE-A-0147/04-C/view_07.jpg";
    FILE *file = fopen("tests/data/crown/poses.txt", "r");
    char frame[100];
    rg_pose truth;
    cr_assert_not_null(file);
    while (next_truth(file, frame, &truth) && strcmp(frame, name) != 0)
        ;
    fclose(file);
    cr_assert_str_eq(frame, name);
    /* The tags end at rows 270 to 285; the paper's code is about 100, the bar's 75. */
    for (int first = 262; first <= 274; first += 4) {
        rg_image image = test_decode_file("samples/PE-A-0147/04-C/view_07.jpg");
        rg_tag_list tags = find_tags(&image);
        paint_bar(&image, first, 60, 75);
        rg_crown_pose found = locate_with(&crown2, &limits, &bench_lens, &image, &tags);
        rg_image_free(&image);
        cr_assert_eq(found.state, RG_POSE_OK, "%s", found.reason);
        cr_expect_lt(rim_error(&bench_lens, &found.pose, &truth), 0.2, "bar at %d: %.2f px", first,
                     rim_error(&bench_lens, &found.pose, &truth));
    }
}

Test(crown, edge_width_adds_a_known_blur_in_quadrature)
{
    rg_image image = test_decode_file("samples/PE-A-0147/04-C/view_07.jpg");
    double sharp = locate(&image).edge_sigma_px;
    test_blur(&image, 1.5);
    rg_crown_pose soft = locate(&image);
    rg_image_free(&image);
    cr_assert_eq(soft.state, RG_POSE_OK, "%s", soft.reason);
    cr_assert_float_eq(soft.edge_sigma_px, hypot(sharp, 1.5), 0.08);
}

/* ---------------------------------------------------------------- refusals */

Test(crown, black_frame_has_no_crown)
{
    rg_image image;
    cr_assert_eq(rg_image_new(&image, 1280, 720, 3, 8, NULL), RG_OK);
    rg_crown_pose found = locate(&image);
    rg_image_free(&image);
    cr_assert_eq(found.state, RG_POSE_NO_CROWN);
}

/* One sample frame with its tags, for refusals that change one thing. */
static void load_case(rg_image *image, rg_tag_list *tags)
{
    *image = test_decode_file("samples/PE-A-0147/04-C/view_07.jpg");
    *tags = find_tags(image);
    cr_assert_geq(tags->count, 2);
}

Test(crown, tags_of_another_crown_name_both_numbers)
{
    rg_image image;
    rg_tag_list tags;
    load_case(&image, &tags);
    rg_crown other = crown2;
    other.number = 31;
    rg_crown_pose found = locate_with(&other, &limits, &bench_lens, &image, &tags);
    rg_image_free(&image);
    cr_assert_eq(found.state, RG_POSE_WRONG_CROWN);
    cr_assert(strstr(found.reason, "crown 2") && strstr(found.reason, "31"), "%s", found.reason);
}

Test(crown, a_second_crown_or_a_tag_seen_twice_is_refused)
{
    rg_image image;
    rg_tag_list tags, two;
    load_case(&image, &tags);
    two = tags;
    two.tag[two.count] = two.tag[0];
    two.tag[two.count++].id = 6 * 5 + 1;
    cr_expect_eq(locate_with(&crown2, &limits, &bench_lens, &image, &two).state,
                 RG_POSE_TWO_CROWNS);
    two = tags;
    two.tag[two.count] = two.tag[0];
    two.tag[two.count++].corner[0].x += 300.0;
    rg_crown_pose found = locate_with(&crown2, &limits, &bench_lens, &image, &two);
    cr_expect_eq(found.state, RG_POSE_TWO_CROWNS);
    cr_expect(strstr(found.reason, "twice"), "%s", found.reason);
    rg_image_free(&image);
}

Test(crown, limits_refuse_with_the_state_they_stand_for)
{
    rg_image image;
    rg_tag_list tags;
    load_case(&image, &tags);
    rg_crown_limits tight = limits;
    tight.max_reprojection_px = 0.01;
    cr_expect_eq(locate_with(&crown2, &tight, &bench_lens, &image, &tags).state,
                 RG_POSE_REPROJECTION);
    tight = limits;
    tight.min_edges = 23;
    cr_expect_eq(locate_with(&crown2, &tight, &bench_lens, &image, &tags).state,
                 RG_POSE_TOO_FEW_EDGES);
    tight = limits;
    tight.min_tag_side_px = 900.0;
    cr_expect_eq(locate_with(&crown2, &tight, &bench_lens, &image, &tags).state,
                 RG_POSE_TOO_FEW_EDGES);
    rg_image_free(&image);
}

Test(crown, pose_that_hangs_on_one_border_is_refused)
{
    /* The key arm hides the lower borders; 25 rows less and the upper ones are gone too. */
    rg_image image = test_decode_file("samples/PE-A-0147/04-C/view_02.jpg");
    const int cut = 25;
    rg_lens lens = bench_lens;
    lens.height -= cut;
    lens.cy -= cut;
    image.height -= cut;
    image.full_height -= cut;
    memmove(image.data, (uint8_t *)image.data + 3 * cut * image.width,
            (size_t)(3 * image.height * image.width));
    rg_tag_list tags = find_tags(&image);
    cr_assert_geq(tags.count, 1);
    rg_crown_pose found = locate_with(&crown2, &limits, &lens, &image, &tags);
    rg_image_free(&image);
    cr_assert_eq(found.state, RG_POSE_TOO_FEW_EDGES);
}

Test(crown, wrong_crown_sizes_do_not_pass_for_a_pose)
{
    rg_image image;
    rg_tag_list tags;
    load_case(&image, &tags);
    rg_crown wrong = crown2;
    wrong.apothem_mm = 10.5;
    cr_expect_neq(locate_with(&wrong, &limits, &bench_lens, &image, &tags).state, RG_POSE_OK);
    rg_image_free(&image);
}

/* One face only, far away through a long lens, filling the picture. */
static test_crown_scene flat_scene(double yaw_deg, double distance)
{
    double b = rg_radians(yaw_deg);
    rg_vec3 middle = rg_vec3_make(9.5, 0.0, 10.3);
    rg_vec3 centre = rg_vec3_make(9.5 + distance * cos(b), -distance * sin(b), 10.3);
    double f = 40.0 * distance;
    test_crown_scene s = {
        .crown = crown2,
        .lens = {.width = 400, .height = 400, .fx = f, .fy = f, .cx = 199.5, .cy = 199.5},
        .pose = test_look_at(centre, middle, 7.0),
        .faces = 1,
        .blur_px = 0.7,
        .black = 0.02,
        .white = 0.5,
        .ground = 0.5};
    return s;
}

Test(crown, one_flat_tag_without_perspective_is_refused_for_its_two_poses)
{
    test_crown_scene s = flat_scene(12.0, 20000.0);
    rg_image image = test_crown_picture(&s);
    rg_tag_list tags = find_tags(&image);
    cr_assert_eq(tags.count, 1);
    rg_crown_pose found = locate_with(&crown2, &limits, &s.lens, &image, &tags);
    rg_image_free(&image);
    cr_assert_eq(found.state, RG_POSE_TOO_FEW_EDGES);
    cr_assert(strstr(found.reason, "two poses"), "%s", found.reason);
}

Test(crown, one_tag_with_perspective_gives_the_right_one_of_its_two_poses)
{
    static const double yaw[] = {-25.0, 12.0, 25.0};
    for (int i = 0; i < 3; i++) {
        test_crown_scene s = flat_scene(yaw[i], 60.0);
        rg_image image = test_crown_picture(&s);
        rg_tag_list tags = find_tags(&image);
        cr_assert_eq(tags.count, 1);
        rg_crown_pose found = locate_with(&crown2, &limits, &s.lens, &image, &tags);
        rg_image_free(&image);
        cr_assert_eq(found.state, RG_POSE_OK, "%s", found.reason);
        cr_assert_lt(turn_between(&found.pose, &s.pose), 0.2);
    }
}

Test(crown, arguments_that_do_not_belong_together_are_errors)
{
    rg_image image;
    rg_tag_list tags;
    load_case(&image, &tags);
    static const double weights[3] = {1.0, 0.0, 0.0};
    rg_linear grey, colour;
    rg_crown_pose found;
    cr_assert_eq(rg_linear_new(&grey, 1, 8, weights, NULL), RG_OK);
    cr_assert_eq(rg_linear_new(&colour, 3, 8, weights, NULL), RG_OK);
    cr_expect_eq(rg_crown_locate(&crown2, &limits, &bench_lens, &image, &grey, &tags, &found, NULL),
                 RG_INTERNAL);
    rg_lens small = bench_lens;
    small.width = 640;
    cr_expect_eq(rg_crown_locate(&crown2, &limits, &small, &image, &colour, &tags, &found, NULL),
                 RG_BAD_DATA);
    rg_crown none = crown2;
    none.number = 500;
    cr_expect_eq(rg_crown_locate(&none, &limits, &bench_lens, &image, &colour, &tags, &found, NULL),
                 RG_BAD_DATA);
    rg_linear_free(&grey);
    rg_linear_free(&colour);
    rg_image_free(&image);
}
