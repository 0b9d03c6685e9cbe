/*
 * shape.h on seal maps measured from the sample sweeps (tests/data/seal-maps), against the planes that
 * their renderer was given: a rigid pad's gap is max(0, m + t cos(b - at)), read off samples/truth by
 * least squares over its open bearings.
 */
#include <criterion/criterion.h>
#include <gsl/gsl_multifit.h>
#include <math.h>
#include <stdlib.h>

#include "rimglow/mapfile.h"
#include "rimglow/shape.h"
#include "rimglow/vec.h"
#include "support/load.h"
#include "support/shape.h"

static rg_error err;

static rg_shape shape_of(const char *name)
{
    rg_map_file file;
    rg_shape s;
    test_bytes text = test_loadf("tests/data/seal-maps/%s.json", name);
    cr_assert_eq(rg_mapfile_parse(name, (char *)text.data, text.size, &file, &err), RG_OK, "%s",
                 err.text);
    cr_assert_eq(rg_shape_fit(&file.map, &test_shape_options, &s, &err), RG_OK, "%s", err.text);
    free(text.data);
    return s;
}

static void true_plane(const char *name, double plane[3])
{
    double w[RG_BINS], chisq;
    test_bytes text = test_loadf("samples/truth/%s.json", name);
    cr_assert_eq(rg_mapfile_truth(name, (char *)text.data, text.size, w, &err), RG_OK);
    free(text.data);
    size_t n = 0;
    for (int b = 0; b < RG_BINS; b++)
        n += w[b] > 0;
    gsl_matrix *x = gsl_matrix_alloc(n, 3), *cov = gsl_matrix_alloc(3, 3);
    gsl_vector *y = gsl_vector_alloc(n);
    gsl_vector_view c = gsl_vector_view_array(plane, 3);
    gsl_multifit_linear_workspace *work = gsl_multifit_linear_alloc(n, 3);
    n = 0;
    for (int b = 0; b < RG_BINS; b++)
        if (w[b] > 0) {
            gsl_matrix_set(x, n, 0, 1);
            gsl_matrix_set(x, n, 1, cos(rg_radians(b)));
            gsl_matrix_set(x, n, 2, sin(rg_radians(b)));
            gsl_vector_set(y, n++, w[b]);
        }
    gsl_multifit_linear(x, y, &c.vector, cov, &chisq, work);
    cr_assert_lt(sqrt(chisq / (double)n), 1e-5, "the truth is a plane");
    gsl_multifit_linear_free(work);
    gsl_matrix_free(x);
    gsl_matrix_free(cov);
    gsl_vector_free(y);
}

/* Bearing within 3 degrees, size within 10 %, both within their stated U. */
Test(shape_maps, rigid_tilts_are_those_of_the_truth)
{
    static const char *const name[] = {"05-B", "07-G-sharp", "08-G"};
    for (int i = 0; i < 3; i++) {
        double plane[3];
        rg_shape s = shape_of(name[i]);
        true_plane(name[i], plane);
        double size = hypot(plane[1], plane[2]), at = rg_degrees(atan2(plane[2], plane[1]));
        cr_assert_eq(s.state, RG_SHAPE_FITTED, "%s", name[i]);
        cr_expect_eq(s.saddle.state, RG_TERM_NOT_FIXED);
        cr_expect_eq(s.locals, 0);
        cr_expect_lt(fabs(s.tilt.size_mm - size), 0.1 * size, "%s: %g", name[i], s.tilt.size_mm);
        cr_expect_lt(fabs(s.tilt.size_mm - size), 2 * s.tilt.u_size_mm, "%s", name[i]);
        cr_expect_lt(fabs(rg_angle_between(s.tilt.bearing_deg, at)), 3, "%s: %g", name[i],
                     s.tilt.bearing_deg);
        cr_expect_lt(fabs(rg_angle_between(s.tilt.bearing_deg, at)), 2 * s.tilt.u_bearing_deg);
        cr_expect_lt(fabs(s.mean_mm - plane[0]), 2 * s.u_mean_mm, "%s: %g", name[i], s.mean_mm);
        cr_expect_lt(fabs(rg_angle_between(s.contact_deg, at + 180)), 3, "%s", name[i]);
    }
}

/* 0.06 mm over ten degrees at 75. */
Test(shape_maps, crease_is_local)
{
    rg_shape s = shape_of("06-A");
    cr_expect_eq(s.state, RG_SHAPE_LOCAL);
    cr_assert_eq(s.locals, 1);
    cr_expect_lt(fabs(s.local[0].most_bearing_deg - 75), 2);
    cr_expect_lt(fabs(s.local[0].most_mm - 0.06), 0.012);
    cr_expect(isnan(s.tilt.size_mm));
}

Test(shape_maps, sealed_pad_has_no_shape)
{
    rg_shape s = shape_of("04-C");
    cr_expect_eq(s.state, RG_SHAPE_DARK);
    cr_expect_eq(s.locals, 0);
    cr_expect(s.limit_mm > 0.008 && s.limit_mm < 0.02);
}
