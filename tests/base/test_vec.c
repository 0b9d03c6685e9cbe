/*
 * Tests of vec.h. Outside values: the camera rotation published by Z. Zhang
 * for view 1 of his calibration data (A flexible new technique for camera
 * calibration, Microsoft Research, 2000; result file of the data set), and
 * the rotation vector of OpenCV 4.6.0's own sample calibration. Matrices of
 * quarter and third turns are written down by hand.
 */
#include <criterion/criterion.h>
#include <math.h>

#include "rimglow/vec.h"

/* view 1, six printed digits; determinant +1 by construction of a camera */
static const rg_pose zhang_1 = {{{{0.992759, -0.026319, 0.117201},
                                  {0.0139247, 0.994339, 0.105341},
                                  {-0.11931, -0.102947, 0.987505}}},
                                {-3.84019, 3.65164, 12.791}};

static void assert_matrix(rg_mat3 a, rg_mat3 b, double tolerance)
{
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            cr_assert(fabs(a.m[i][j] - b.m[i][j]) <= tolerance, "element %d %d", i, j);
}

Test(vec, published_rotation_is_a_rotation_within_its_digits)
{
    cr_assert(rg_mat3_is_rotation(zhang_1.R, 3e-6));
    cr_assert(!(rg_mat3_is_rotation(zhang_1.R, 1e-9)));
}

Test(vec, mirror_is_no_rotation)
{
    rg_mat3 mirror = rg_mat3_identity();
    mirror.m[2][2] = -1;
    cr_assert(!(rg_mat3_is_rotation(mirror, 1e-6)));
    rg_mat3 nan = rg_mat3_identity();
    nan.m[0][1] = NAN;
    cr_assert(!(rg_mat3_is_rotation(nan, 1e-6)));
}

Test(vec, published_rotation_survives_its_rotation_vector)
{
    rg_vec3 v = rg_rodrigues_inverse(zhang_1.R);
    assert_matrix(rg_rodrigues(v), zhang_1.R, 2e-6);
    /* the angle from the trace of the published matrix: 2 cos t = trace - 1 */
    double trace = 0.992759 + 0.994339 + 0.987505;
    cr_assert(fabs(rg_vec3_norm(v) - (acos((trace - 1) / 2))) <= 2e-5);
}

Test(vec, rotation_vector_gives_the_matrix_of_opencv)
{
    rg_mat3 want = {{{0.950580617906091, -0.12733457491763, -0.283164960565074},
                     {0.06803131640494, 0.975290308953046, -0.210191705950743},
                     {0.302932713402637, 0.180540076694398, 0.935754803277919}}};
    assert_matrix(rg_rodrigues(rg_vec3_make(0.2, -0.3, 0.1)), want, 2e-15);
}

Test(vec, quarter_turns_follow_the_right_hand)
{
    /* x to y about z, y to z about x, z to x about y */
    rg_mat3 z = {{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}}, x = {{{1, 0, 0}, {0, 0, -1}, {0, 1, 0}}},
            y = {{{0, 0, 1}, {0, 1, 0}, {-1, 0, 0}}};
    assert_matrix(rg_rodrigues(rg_vec3_make(0, 0, RG_PI / 2)), z, 1e-15);
    assert_matrix(rg_rodrigues(rg_vec3_make(RG_PI / 2, 0, 0)), x, 1e-15);
    assert_matrix(rg_rodrigues(rg_vec3_make(0, RG_PI / 2, 0)), y, 1e-15);
    /* a third of a turn about (1,1,1) permutes the axes */
    double k = 2 * RG_PI / 3 / sqrt(3);
    rg_mat3 cyclic = {{{0, 0, 1}, {1, 0, 0}, {0, 1, 0}}};
    assert_matrix(rg_rodrigues(rg_vec3_make(k, k, k)), cyclic, 1e-15);
}

Test(vec, rotation_vectors_round_trip_up_to_half_a_turn)
{
    static const double angle[] = {0, 1e-12, 1e-7, 0.99e-4, 1.01e-4, 0.3, 1.6, 3.0, RG_PI - 1e-7};
    static const rg_vec3 axis[] = {{1, 0, 0}, {0, -1, 0}, {0, 0, 1}, {0.6, 0, -0.8}, {2, -3, 6}};
    for (int a = 0; a < 9; a++)
        for (int k = 0; k < 5; k++) {
            rg_vec3 v = rg_vec3_scale(axis[k], angle[a] / rg_vec3_norm(axis[k]));
            rg_mat3 r = rg_rodrigues(v);
            cr_assert(rg_mat3_is_rotation(r, 1e-14));
            rg_vec3 d = rg_vec3_sub(rg_rodrigues_inverse(r), v);
            cr_assert(rg_vec3_norm(d) < 1e-9, "angle %g axis %d", angle[a], k);
        }
}

Test(vec, half_turn_keeps_its_axis)
{
    rg_mat3 r = rg_rodrigues(rg_vec3_make(0, RG_PI * 0.6, RG_PI * 0.8));
    rg_vec3 v = rg_rodrigues_inverse(r);
    cr_assert(fabs(rg_vec3_norm(v) - RG_PI) <= 1e-12);
    cr_assert(fabs(fabs(v.y) - (RG_PI * 0.6)) <= 1e-7);
    cr_assert(fabs(v.y * v.z - (RG_PI * RG_PI * 0.48)) <= 1e-6);
}

Test(vec, camera_centre_maps_to_the_origin)
{
    rg_vec3 c = rg_pose_camera_centre(&zhang_1);
    /* the printed digits leave R orthogonal to about 1e-6 only */
    cr_assert(rg_vec3_norm(rg_pose_apply(&zhang_1, c)) < 1e-4);
}

Test(vec, pose_and_inverse_compose_to_identity)
{
    rg_pose p = {rg_rodrigues(rg_vec3_make(0.2, -0.3, 0.1)), {5, -8, 220}};
    rg_pose q = rg_pose_inverse(&p), i = rg_pose_compose(&p, &q);
    assert_matrix(i.R, rg_mat3_identity(), 1e-15);
    cr_assert(rg_vec3_norm(i.t) < 1e-12);
    rg_vec3 x = {1, 2, 3}, y = rg_pose_apply(&q, rg_pose_apply(&p, x));
    cr_assert(rg_vec3_norm(rg_vec3_sub(x, y)) < 1e-12);
}

Test(vec, composition_applies_the_right_one_first)
{
    rg_pose turn = {rg_rodrigues(rg_vec3_make(0, 0, RG_PI / 2)), {0, 0, 0}};
    rg_pose shift = {rg_mat3_identity(), {1, 0, 0}};
    rg_pose both = rg_pose_compose(&turn, &shift);
    rg_vec3 p = rg_pose_apply(&both, rg_vec3_make(0, 0, 0));
    cr_assert(fabs(p.y - 1.0) <= 1e-15); /* shifted to x = 1, then turned to y = 1 */
    cr_assert(fabs(p.x - 0.0) <= 1e-15);
}

Test(vec, cross_product_and_determinant_of_a_worked_example)
{
    /* (1,2,3) x (4,5,6) = (-3,6,-3); det of rows (2,0,1),(1,3,2),(1,1,1) = 0, by hand */
    rg_vec3 c = rg_vec3_cross(rg_vec3_make(1, 2, 3), rg_vec3_make(4, 5, 6));
    cr_assert(c.x == -3 && c.y == 6 && c.z == -3);
    rg_mat3 m = {{{2, 0, 1}, {1, 3, 2}, {1, 1, 1}}}, n = {{{2, 0, 1}, {1, 3, 2}, {1, 1, 4}}};
    cr_assert(rg_mat3_det(m) == 0);
    cr_assert(rg_mat3_det(n) == 18);
}

Test(vec, angles_wrap_at_the_seam)
{
    cr_assert(rg_wrap_degrees(360) == 0);
    cr_assert(rg_wrap_degrees(-30) == 330);
    cr_assert(rg_wrap_degrees(725) == 5);
    cr_assert(rg_wrap_degrees(-1e-20) < 360);
    cr_assert(rg_angle_between(10, 350) == 20);
    cr_assert(rg_angle_between(350, 10) == -20);
    cr_assert(rg_angle_between(180, 0) == -180);
    cr_assert(fabs(rg_degrees(rg_radians(57.3)) - 57.3) <= 1e-13);
}
