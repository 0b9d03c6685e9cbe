/*
 * rim.c - where the tone-hole rim lies in the picture and how it is seen.
 *
 * A point of the rim line at bearing b is (r cos b, -r sin b, z). Its image
 * and the image's derivative along Z come from the lens model by the chain
 * rule. The ray from the point to the camera gives elevation (above the rim
 * plane) and obliquity (in that plane, from the outward radius).
 *
 * The ellipse of a circle in perspective: with H = K [r1 r2 z r3 + t] the
 * circle's dual conic diag(r^2, r^2, -1) goes to H diag(r^2, r^2, -1) H^T
 * (Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, result 2.14).
 * For an ellipse of centre c and shape S (boundary x = c + S^(1/2) u) the
 * dual conic is proportional to [S - c c^T, -c; -c^T, -1], from which both
 * are read off; this stays sound when the circle is seen edge on.
 */
#include "rimglow/rim.h"

#include <math.h>

rg_code rg_rim_check(const rg_rim *rim, rg_error *err)
{
    if (!(rim->inner_diameter_mm > 0.0 && rim->inner_diameter_mm < 200.0))
        return rg_fail(err, RG_BAD_DATA,
                       "rim: inner diameter %g mm; give a value between 0 and 200 mm",
                       rim->inner_diameter_mm);
    if (!(rim->outer_diameter_mm > rim->inner_diameter_mm && rim->outer_diameter_mm < 200.0))
        return rg_fail(err, RG_BAD_DATA,
                       "rim: outer diameter %g mm; it must be above the inner diameter %g mm and "
                       "below 200 mm",
                       rim->outer_diameter_mm, rim->inner_diameter_mm);
    if (!(rim->pad_diameter_mm > rim->inner_diameter_mm && rim->pad_diameter_mm < 200.0))
        return rg_fail(err, RG_BAD_DATA,
                       "rim: pad diameter %g mm; a pad must be wider than the hole (%g mm) and "
                       "below 200 mm",
                       rim->pad_diameter_mm, rim->inner_diameter_mm);
    if (!(rim->cup_height_mm >= 0.0 && rim->cup_height_mm < 100.0))
        return rg_fail(err, RG_BAD_DATA,
                       "rim: cup height %g mm; give 0 when unknown, else a value below 100 mm",
                       rim->cup_height_mm);
    return RG_OK;
}

rg_vec3 rg_rim_direction(double bearing_deg)
{
    double b = rg_radians(bearing_deg);
    return rg_vec3_make(cos(b), -sin(b), 0.0);
}

double rg_rim_bearing(rg_vec3 point)
{
    return rg_wrap_degrees(rg_degrees(atan2(-point.y, point.x)));
}

/* d(pixel)/d(Z) of the body frame at a camera-frame point. */
static rg_vec2 pixels_per_z(const rg_lens *lens, const rg_pose *pose, rg_vec3 c)
{
    double j[4];
    rg_vec2 n = {c.x / c.z, c.y / c.z};
    rg_lens_forward_jacobian(lens, n, j);
    double dx = (pose->R.m[0][2] - n.x * pose->R.m[2][2]) / c.z;
    double dy = (pose->R.m[1][2] - n.y * pose->R.m[2][2]) / c.z;
    return (rg_vec2){j[0] * dx + j[1] * dy, j[2] * dx + j[3] * dy};
}

rg_rim_view rg_rim_look(const rg_lens *lens, const rg_pose *pose, double radius_mm, double z_mm,
                        double bearing_deg)
{
    rg_rim_view view = {0};
    rg_vec3 radial = rg_rim_direction(bearing_deg);
    rg_vec3 along = rg_vec3_make(radial.y, -radial.x, 0.0); /* d(radial)/d(bearing) */
    rg_vec3 point = rg_vec3_make(radius_mm * radial.x, radius_mm * radial.y, z_mm);
    rg_vec3 ray = rg_vec3_sub(rg_pose_camera_centre(pose), point);
    double outward = rg_vec3_dot(ray, radial), across = rg_vec3_dot(ray, along);

    view.distance_mm = rg_vec3_norm(ray);
    view.elevation_deg = rg_degrees(atan2(ray.z, hypot(ray.x, ray.y)));
    view.obliquity_deg = rg_degrees(atan2(across, outward));
    rg_vec3 camera = rg_pose_apply(pose, point);
    if (!rg_lens_project(lens, camera, &view.pixel))
        return view;
    view.in_front = outward > 0.0;
    view.up = pixels_per_z(lens, pose, camera);
    view.px_per_mm = hypot(view.up.x, view.up.y);
    return view;
}

void rg_rim_camera(const rg_pose *pose, double *bearing_deg, double *elevation_deg,
                   double *distance_mm)
{
    rg_vec3 c = rg_pose_camera_centre(pose);
    *bearing_deg = rg_rim_bearing(c);
    *elevation_deg = rg_degrees(atan2(c.z, hypot(c.x, c.y)));
    *distance_mm = rg_vec3_norm(c);
}

bool rg_rim_hit_cylinder(const rg_lens *lens, const rg_pose *pose, double radius_mm, rg_vec2 pixel,
                         double *bearing_deg, double *z_mm)
{
    rg_vec3 ray;
    if (!rg_lens_ray(lens, pixel, &ray))
        return false;
    rg_vec3 c = rg_pose_camera_centre(pose);
    rg_vec3 d = rg_mat3_apply(rg_mat3_transpose(pose->R), ray);
    double a = d.x * d.x + d.y * d.y;
    double b = c.x * d.x + c.y * d.y;
    double q = c.x * c.x + c.y * c.y - radius_mm * radius_mm;
    double disc = b * b - a * q;
    if (!(a > 1e-12 && disc >= 0.0))
        return false;
    double s = (-b - sqrt(disc)) / a; /* the nearer wall: the camera's side */
    if (!(s > 0.0))
        return false;
    rg_vec3 hit = rg_vec3_add(c, rg_vec3_scale(d, s));
    *bearing_deg = rg_rim_bearing(hit);
    *z_mm = hit.z;
    return true;
}

/* H = K [r1 r2 z r3 + t]. */
static rg_mat3 plane_homography(const rg_lens *lens, const rg_pose *pose, double z)
{
    rg_mat3 h;
    for (int i = 0; i < 3; i++) {
        h.m[i][0] = pose->R.m[i][0];
        h.m[i][1] = pose->R.m[i][1];
    }
    rg_vec3 o = rg_pose_apply(pose, rg_vec3_make(0.0, 0.0, z));
    h.m[0][2] = o.x;
    h.m[1][2] = o.y;
    h.m[2][2] = o.z;
    rg_mat3 k = {{{lens->fx, 0.0, lens->cx}, {0.0, lens->fy, lens->cy}, {0.0, 0.0, 1.0}}};
    return rg_mat3_mul(k, h);
}

rg_code rg_rim_ellipse(const rg_lens *lens, const rg_pose *pose, double radius_mm, double z_mm,
                       rg_ellipse *ellipse, rg_error *err)
{
    rg_mat3 h = plane_homography(lens, pose, z_mm);
    double nearest = h.m[2][2] - radius_mm * hypot(h.m[2][0], h.m[2][1]);
    if (!(nearest > 0.0))
        return rg_fail(err, RG_BAD_DATA,
                       "rim: the circle of radius %g mm reaches %.3g mm in front of the camera's "
                       "plane; it must lie wholly before the camera",
                       radius_mm, nearest);
    double q[3] = {radius_mm * radius_mm, radius_mm * radius_mm, -1.0}, dual[3][3];
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) {
            dual[i][j] = 0.0;
            for (int k = 0; k < 3; k++)
                dual[i][j] += h.m[i][k] * q[k] * h.m[j][k];
        }
    double w = dual[2][2]; /* negative: the circle is wholly before the camera */
    double cx = dual[0][2] / w, cy = dual[1][2] / w;
    double sxx = cx * cx - dual[0][0] / w, syy = cy * cy - dual[1][1] / w;
    double sxy = cx * cy - dual[0][1] / w;
    double mean = 0.5 * (sxx + syy), spread = hypot(0.5 * (sxx - syy), sxy);
    double angle = rg_degrees(0.5 * atan2(2.0 * sxy, sxx - syy));
    ellipse->centre = (rg_vec2){cx, cy};
    ellipse->semi_major = sqrt(fmax(mean + spread, 0.0));
    ellipse->semi_minor = sqrt(fmax(mean - spread, 0.0));
    ellipse->angle_deg = angle < 0.0 ? angle + 180.0 : angle;
    return RG_OK;
}
