/*
 * synth.c - scenes: their defaults, limits and truth. See synth.h.
 */
#include <math.h>

#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>
#include <stdlib.h>

#include "synth_private.h"

void rg_synth_scene_default(rg_synth_scene *scene)
{
    *scene = (rg_synth_scene){.inner_mm = 9,
                              .outer_mm = 10,
                              .pad_mm = 11.5,
                              .edge_mm = 0.03,
                              .pad_thickness_mm = 1.55,
                              .cup_mm = 11.8,
                              .cup_top_mm = 5.3,
                              .pad = {.level_mm = -0.01, .press_mm = 0.02, .shoulder_mm = 0.35},
                              .crown = 2,
                              .apothem_mm = 9.5,
                              .tag_mm = 8,
                              .tag_height_mm = 10.3,
                              .key = true,
                              .lamp = {4.7, 2.75, 1.3},
                              .wall = 1.2,
                              .land_reflectance = 0.96,
                              .land_shoulder = 0.1,
                              .paper = 0.15,
                              .ink = 0.006,
                              .metal = 0.055,
                              .leather = 0.034,
                              .room = 0.05,
                              .shadow_mm = 0.083,
                              .shadow_blur_mm = 0.02};
}

static rg_code bad(rg_error *err, const char *what, double value, const char *remedy)
{
    return rg_fail(err, RG_BAD_DATA, "rendered scene: %s is %g; %s", what, value, remedy);
}

static rg_code check_sizes(const rg_synth_scene *s, rg_error *err)
{
    if (!(s->inner_mm > 0.5 && s->inner_mm < 200))
        return bad(err, "inner_mm", s->inner_mm, "a radius of 0.5 to 200 mm");
    if (!(s->outer_mm > s->inner_mm && s->outer_mm < 200))
        return bad(err, "outer_mm", s->outer_mm, "it must exceed inner_mm");
    if (!(s->pad_mm > s->outer_mm && s->pad_mm < 300))
        return bad(err, "pad_mm", s->pad_mm, "it must exceed outer_mm");
    if (!(s->cup_mm > 0 && s->cup_mm < 300))
        return bad(err, "cup_mm", s->cup_mm, "a radius of 0 to 300 mm");
    if (!(s->edge_mm >= 0 && s->edge_mm < s->outer_mm - s->inner_mm))
        return bad(err, "edge_mm", s->edge_mm, "at least 0, less than the land is wide");
    if (!(s->apothem_mm > 0 && s->apothem_mm < 300))
        return bad(err, "apothem_mm", s->apothem_mm, "0 to 300 mm");
    if (!(s->tag_mm > 0 && s->tag_mm < 300))
        return bad(err, "tag_mm", s->tag_mm, "0 to 300 mm");
    if (!(fabs(s->tag_height_mm) < 300))
        return bad(err, "tag_height_mm", s->tag_height_mm, "within 300 mm");
    if (s->crown < 0 || s->crown > 96)
        return bad(err, "crown", s->crown, "0 to 96");
    return RG_OK;
}

static rg_code check_light(const rg_synth_scene *s, rg_error *err)
{
    const double light[] = {s->lamp[0], s->lamp[1], s->lamp[2], s->wall, s->paper,
                            s->ink,     s->metal,   s->leather, s->room};
    for (size_t i = 0; i < sizeof light / sizeof *light; i++)
        if (!(light[i] >= 0 && light[i] < 1e6))
            return bad(err, "a light", light[i], "at least 0, below 1e6");
    if (!(s->land_reflectance >= 0 && s->land_reflectance <= 1))
        return bad(err, "land_reflectance", s->land_reflectance, "0 to 1");
    if (!(s->land_shoulder >= 0 && s->land_shoulder <= 1))
        return bad(err, "land_shoulder", s->land_shoulder, "a slope of 0 to 1");
    if (!(s->shadow_blur_mm > 0))
        return bad(err, "shadow_blur_mm", s->shadow_blur_mm, "above 0");
    if (!(fabs(s->lamp_uneven) <= 1))
        return bad(err, "lamp_uneven", s->lamp_uneven, "-1 to 1");
    if (s->streaks < 0 || s->streaks > RG_SYNTH_STREAKS)
        return bad(err, "streaks", s->streaks, "0 to 8");
    for (int i = 0; i < s->streaks; i++)
        if (!(s->streak[i].width_deg > 0 && s->streak[i].light >= 0))
            return bad(err, "a streak's width_deg", s->streak[i].width_deg, "above 0");
    return RG_OK;
}

static rg_code check_pad(const rg_synth_pad *p, rg_error *err)
{
    const double mm[] = {p->level_mm, p->tilt_mm, p->saddle_mm, p->bulge_mm, p->press_mm};
    for (size_t i = 0; i < sizeof mm / sizeof *mm; i++)
        if (!(fabs(mm[i]) <= 10))
            return bad(err, "a length of the pad", mm[i], "within 10 mm");
    if (p->creases < 0 || p->creases > RG_SYNTH_CREASES)
        return bad(err, "creases", p->creases, "0 to 8");
    for (int i = 0; i < p->creases; i++)
        if (!(p->crease[i].half_width_deg > 0 && fabs(p->crease[i].depth_mm) <= 10))
            return bad(err, "a crease's half_width_deg", p->crease[i].half_width_deg, "above 0");
    for (int b = 0; p->local_mm && b < 360; b++)
        if (!(fabs(p->local_mm[b]) <= 10))
            return bad(err, "local_mm", p->local_mm[b], "within 10 mm");
    if (!(p->shoulder_mm > 0))
        return bad(err, "shoulder_mm", p->shoulder_mm, "above 0");
    if (!(fabs(p->askew_x) < 0.2 && fabs(p->askew_y) < 0.2))
        return bad(err, "askew", p->askew_x, "a slope below 0.2");
    return RG_OK;
}

rg_code rg_synth_check(const rg_synth_scene *scene, rg_error *err)
{
    rg_code code = check_sizes(scene, err);
    if (code == RG_OK)
        code = check_light(scene, err);
    if (code == RG_OK)
        code = check_pad(&scene->pad, err);
    return code;
}

/* ------------------------------------------------------------------ pad */

static double local_at(const rg_synth_pad *p, double bearing)
{
    double sum = 0;
    for (int i = 0; i < p->creases; i++) {
        double off = rg_angle_between(bearing, p->crease[i].bearing_deg);
        double share = off / p->crease[i].half_width_deg;
        if (fabs(share) < 1)
            sum += p->crease[i].depth_mm * 0.5 * (1 + cos(RG_PI * share));
    }
    if (p->local_mm) {
        int b = (int)floor(bearing);
        double part = bearing - b;
        sum += (1 - part) * p->local_mm[b % 360] + part * p->local_mm[(b + 1) % 360];
    }
    return sum;
}

static double raw_at_edge(const rg_synth_pad *p, double bearing)
{
    return p->level_mm + p->tilt_mm * cos(rg_radians(bearing - p->tilt_bearing_deg)) +
           p->saddle_mm * cos(2 * rg_radians(bearing - p->saddle_bearing_deg)) +
           local_at(p, bearing);
}

void rg_synth_widths(const rg_synth_scene *scene, double width_mm[360])
{
    for (int b = 0; b < 360; b++)
        width_mm[b] = fmax(raw_at_edge(&scene->pad, b), 0);
}

static double local_of(const synth_world *w, double x, double y)
{
    double f = atan2(-y, x) * (SYNTH_LOCALS / (2 * RG_PI));
    if (f < 0)
        f += SYNTH_LOCALS;
    int i = (int)f;
    if (i >= SYNTH_LOCALS)
        i = SYNTH_LOCALS - 1;
    return w->local[i] + (f - i) * (double)(w->local[i + 1] - w->local[i]);
}

double synth_face(const synth_world *w, double x, double y)
{
    const rg_synth_pad *p = &w->s.pad;
    double raw = p->level_mm + w->grad_x * x + w->grad_y * y + w->saddle_c * (x * x - y * y) -
                 2 * w->saddle_s * x * y;
    if (w->has_local)
        raw += local_of(w, x, y);
    double face = fmax(raw, -p->press_mm);
    if (p->bulge_mm > 0) {
        double out = (sqrt(x * x + y * y) - w->s.outer_mm) / p->shoulder_mm;
        out = fmin(fmax(out, 0), 1);
        face -= p->bulge_mm * out * out * (3 - 2 * out);
    }
    return face;
}

/* ---------------------------------------------------------------- world */

rg_code synth_paper(synth_world *world, rg_error *err)
{
    apriltag_family_t *family = tag36h11_create();
    if (!family)
        return rg_fail(err, RG_INTERNAL, "no memory for the tag family");
    for (int j = 0; j < RG_SYNTH_FACES; j++) {
        image_u8_t *tag = apriltag_to_image(family, RG_SYNTH_FACES * world->s.crown + j);
        for (int y = 0; y < SYNTH_CELLS; y++)
            for (int x = 0; x < SYNTH_CELLS; x++)
                world->paper[j][y][x] = tag->buf[y * tag->stride + x] != 0;
        free(tag->buf);
        free(tag);
    }
    tag36h11_destroy(family);
    return RG_OK;
}

/* The rotation that takes +Z onto a normal by the shortest way. */
static rg_mat3 lean(rg_vec3 normal)
{
    rg_vec3 z = {0, 0, 1}, axis = rg_vec3_cross(z, normal);
    double s = rg_vec3_norm(axis);
    if (s < 1e-12)
        return rg_mat3_identity();
    return rg_rodrigues(rg_vec3_scale(axis, atan2(s, normal.z) / s));
}

/* The crown's frame: on the pad's plane, leaning with the pad and askew on it. */
static rg_pose cup_pose(const rg_synth_scene *s, double grad_x, double grad_y)
{
    return (rg_pose){.R = lean(rg_vec3_make(-grad_x - s->pad.askew_x, -grad_y - s->pad.askew_y, 1)),
                     .t = {0, 0, s->pad.level_mm}};
}

static void gradient(const rg_synth_scene *s, double *x, double *y)
{
    double tilt = s->pad.tilt_mm / s->outer_mm, towards = rg_radians(s->pad.tilt_bearing_deg);
    *x = tilt * cos(towards);
    *y = -tilt * sin(towards);
}

bool rg_synth_tag(const rg_synth_scene *scene, const rg_lens *lens, const rg_pose *camera, int j,
                  rg_vec2 corner[4])
{
    double gx, gy, b = j * RG_PI / 3, half = 0.5 * scene->tag_mm;
    gradient(scene, &gx, &gy);
    rg_pose cup = cup_pose(scene, gx, gy), view = rg_pose_compose(camera, &cup);
    rg_vec3 out = {cos(b), -sin(b), 0}, right = {sin(b), cos(b), 0};
    bool seen = rg_vec3_dot(rg_pose_camera_centre(&view), out) > scene->apothem_mm;
    for (int k = 0; k < 4; k++) {
        double across = k == 1 || k == 2 ? half : -half, up = k < 2 ? half : -half;
        rg_vec3 p =
            rg_vec3_add(rg_vec3_scale(out, scene->apothem_mm), rg_vec3_scale(right, across));
        p.z = scene->tag_height_mm + up;
        seen = rg_lens_project(lens, rg_pose_apply(&view, p), &corner[k]) && seen;
    }
    return seen;
}

rg_code synth_world_make(synth_world *world, const rg_synth_scene *scene, const rg_pose *camera,
                         rg_error *err)
{
    const rg_synth_pad *p = &scene->pad;
    rg_code code = rg_synth_check(scene, err);
    if (code != RG_OK)
        return code;
    double saddle = p->saddle_mm / (scene->outer_mm * scene->outer_mm);
    double twice = 2 * rg_radians(p->saddle_bearing_deg);
    *world = (synth_world){.s = *scene,
                           .saddle_c = saddle * cos(twice),
                           .saddle_s = saddle * sin(twice),
                           .has_local = p->creases > 0 || p->local_mm};
    gradient(scene, &world->grad_x, &world->grad_y);
    for (int i = 0; i <= SYNTH_LOCALS; i++) {
        double bearing = 360.0 * (i % SYNTH_LOCALS) / SYNTH_LOCALS;
        world->local[i] = (float)local_at(p, bearing);
        world->widest = fmax(world->widest, raw_at_edge(p, bearing));
    }
    for (int i = 0; i <= SYNTH_AZIMUTHS; i++)
        world->mirrored[i] = (float)synth_surroundings(2 * RG_PI * i / SYNTH_AZIMUTHS);
    for (int j = 0; j < RG_SYNTH_FACES; j++) {
        world->face_x[j] = cos(j * RG_PI / 3);
        world->face_y[j] = -sin(j * RG_PI / 3);
    }
    world->cup = cup_pose(scene, world->grad_x, world->grad_y);
    world->to_cup = rg_mat3_transpose(world->cup.R);
    world->eye =
        rg_mat3_apply(world->to_cup, rg_vec3_sub(rg_pose_camera_centre(camera), world->cup.t));
    return synth_paper(world, err);
}

/* --------------------------------------------------------------- camera */

rg_pose rg_synth_camera(double bearing_deg, double elevation_deg, double distance_mm, double aim_mm,
                        double roll_deg)
{
    double b = rg_radians(bearing_deg), e = rg_radians(elevation_deg);
    rg_vec3 from = {distance_mm * cos(e) * cos(b), -distance_mm * cos(e) * sin(b),
                    distance_mm * sin(e)};
    rg_vec3 ahead = rg_vec3_sub(rg_vec3_make(0, 0, aim_mm), from);
    ahead = rg_vec3_scale(ahead, 1 / rg_vec3_norm(ahead));
    rg_vec3 right = rg_vec3_cross(ahead, rg_vec3_make(0, 0, 1));
    right = rg_vec3_scale(right, 1 / rg_vec3_norm(right));
    rg_vec3 down = rg_vec3_cross(ahead, right);
    rg_mat3 upright = {
        {{right.x, right.y, right.z}, {down.x, down.y, down.z}, {ahead.x, ahead.y, ahead.z}}};
    rg_pose pose = {
        .R = rg_mat3_mul(rg_rodrigues(rg_vec3_make(0, 0, rg_radians(roll_deg))), upright)};
    pose.t = rg_vec3_scale(rg_mat3_apply(pose.R, from), -1);
    return pose;
}
