/*
 * lensreview.c - the rules of lensreview.h.
 */
#include "rimglow/lensreview.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

const char *rg_field_name(int field)
{
    static const char *const name[RG_FIELDS] = {
        "top left corner", "top edge",           "top right corner", "left edge",          "middle",
        "right edge",      "bottom left corner", "bottom edge",      "bottom right corner"};
    return field >= 0 && field < RG_FIELDS ? name[field] : "?";
}

static void advise(rg_lens_review *r, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static void advise(rg_lens_review *r, const char *format, ...)
{
    if (r->advices >= RG_ADVICES_MAX)
        return;
    va_list args;
    va_start(args, format);
    vsnprintf(r->advice[r->advices++], RG_ADVICE_SIZE, format, args);
    va_end(args);
}

static rg_code check_limits(const rg_lens_limits *l, rg_error *err)
{
    bool good = l->min_views >= RG_CALIBRATION_VIEWS_MIN && l->field_views >= 0 &&
                l->corner_reach > 0.0 && l->corner_reach <= 2.0 && l->tilt_deg >= 0.0 &&
                l->tilt_deg < 90.0 && l->tilted_views >= 0 && l->focal_relative > 0.0 &&
                l->max_rms_px > 0.0;
    return good
               ? RG_OK
               : rg_fail(err, RG_BAD_DATA,
                         "lens review: limits of %d views, %d in a field, corner reach %g, tilt %g "
                         "degrees, %d tilted, focal length %g, rms %g px cannot be; correct them",
                         l->min_views, l->field_views, l->corner_reach, l->tilt_deg,
                         l->tilted_views, l->focal_relative, l->max_rms_px);
}

/* --------------------------------------------------------------- what was seen */

static int third(double x, int size)
{
    int k = (int)floor(3.0 * (x + 0.5) / size);
    return k < 0 ? 0 : k > 2 ? 2 : k;
}

static void cover(const rg_lens *lens, const rg_view *v, rg_lens_review *r)
{
    bool seen[RG_FIELDS] = {false};
    for (int i = 0; i < v->corners; i++) {
        rg_vec2 p = v->corner[i].pixel;
        int field = 3 * third(p.y, lens->height) + third(p.x, lens->width);
        r->field_points[field]++;
        seen[field] = true;
        for (int k = 0; k < 4; k++) {
            double x = k % 2 ? lens->width - 0.5 : -0.5, y = k / 2 ? lens->height - 0.5 : -0.5;
            r->corner_distance_px[k] = fmin(r->corner_distance_px[k], hypot(p.x - x, p.y - y));
        }
    }
    for (int f = 0; f < RG_FIELDS; f++)
        r->field_views[f] += seen[f];
}

/* How far the board's normal leans off the optical axis, about each axis. */
static void tilt(const rg_lens_limits *limits, const rg_pose *pose, rg_lens_review *r)
{
    double up_down = fabs(pose->R.m[1][2]), left_right = fabs(pose->R.m[0][2]);
    double limit = sin(rg_radians(limits->tilt_deg));
    r->tipped_up_down += up_down >= limit;
    r->tipped_left_right += left_right >= limit;
    double angle = rg_degrees(acos(fmin(fabs(pose->R.m[2][2]), 1.0)));
    r->largest_tilt_deg = fmax(r->largest_tilt_deg, angle);
}

static void begin_look(const rg_lens_limits *limits, const rg_lens *lens, rg_lens_review *r)
{
    double half = 0.5 * hypot(lens->width, lens->height);
    r->corner_limit_px = limits->corner_reach * half;
    for (int k = 0; k < 4; k++)
        r->corner_distance_px[k] = 2.0 * half;
}

static void look_at(const rg_lens_limits *limits, const rg_lens *lens, const rg_view *view,
                    const rg_pose *pose, rg_lens_review *r)
{
    r->views++;
    cover(lens, view, r);
    tilt(limits, pose, r);
}

static void look(const rg_lens_limits *limits, const rg_view *view, const rg_calibration *c,
                 rg_lens_review *r)
{
    const rg_lens *lens = &c->fit.lens;
    begin_look(limits, lens, r);
    for (int i = 0; i < c->views; i++)
        if (c->view[i].used)
            look_at(limits, lens, &view[i], &c->view[i].pose, r);
    r->focal_relative = fmax(c->fit.sd[RG_LENS_FX] / lens->fx, c->fit.sd[RG_LENS_FY] / lens->fy);
}

/* ---------------------------------------------------------------------- rules */

/* "in the top left corner, in the middle and at the right edge" of the fields in need: the odd
 * ones are edges. */
static void list_fields(const bool need[RG_FIELDS], char *text, size_t size)
{
    int left = 0;
    size_t used = 0;
    for (int f = 0; f < RG_FIELDS; f++)
        left += need[f];
    text[0] = 0;
    for (int f = 0, listed = 0; f < RG_FIELDS && used < size; f++) {
        if (!need[f])
            continue;
        const char *comma = listed == 0 ? "" : listed == left - 1 ? " and " : ", ";
        int n = snprintf(text + used, size - used, "%s%s the %s", comma, f % 2 ? "at" : "in",
                         rg_field_name(f));
        used += n > 0 ? (size_t)n : 0;
        listed++;
    }
}

/* Corners whose field is seen, but no mark near the very corner. */
static void ask_for_corners(const bool need[4], rg_lens_review *r)
{
    static const char *const name[4] = {"top left", "top right", "bottom left", "bottom right"};
    char names[64] = "", far[64] = "";
    int left = 0, corners = 0;
    for (int k = 0; k < 4; k++)
        left += need[k];
    for (int k = 0; k < 4; k++) {
        if (!need[k])
            continue;
        const char *comma = corners == 0 ? "" : corners == left - 1 ? " and " : ", ";
        size_t n = strlen(names), f = strlen(far);
        snprintf(names + n, sizeof names - n, "%s%s", comma, name[k]);
        snprintf(far + f, sizeof far - f, "%s%.0f", comma, r->corner_distance_px[k]);
        corners++;
    }
    if (corners > 0)
        advise(r,
               "take %d more with the board farther into the %s corner%s: marks come within %s px, "
               "%.0f px are good",
               (corners + 1) / 2, names, corners > 1 ? "s" : "", far, r->corner_limit_px);
}

static void ask_for_fields(const rg_lens_limits *limits, rg_lens_review *r)
{
    static const int field_of_corner[4] = {0, 2, 6, 8};
    bool need[RG_FIELDS] = {false}, need_corner[4];
    char text[RG_ADVICE_SIZE];
    int most = 0, fields = 0;
    for (int f = 0; f < RG_FIELDS; f++) {
        int missing = limits->field_views - r->field_views[f];
        need[f] = missing > 0;
        fields += need[f];
        most = missing > most ? missing : most;
    }
    list_fields(need, text, sizeof text);
    if (fields > 4)
        advise(r, "take %d more so that the board fills the picture out to its edges and corners",
               most);
    else if (fields > 0)
        advise(r, "take %d more with the board %s of the picture", most, text);
    for (int k = 0; k < 4; k++)
        need_corner[k] = !need[field_of_corner[k]] && r->corner_distance_px[k] > r->corner_limit_px;
    ask_for_corners(need_corner, r);
}

static void ask_for_tilts(const rg_lens_limits *limits, rg_lens_review *r)
{
    int up = limits->tilted_views - r->tipped_up_down;
    int left = limits->tilted_views - r->tipped_left_right;
    if (up > 0)
        advise(
            r,
            "take %d more with the board's upper or lower edge tipped %.0f to 40 degrees towards "
            "the camera",
            up, limits->tilt_deg);
    if (left > 0)
        advise(r,
               "take %d more with the board's left or right edge tipped %.0f to 40 degrees towards "
               "the camera",
               left, limits->tilt_deg);
}

static void ask_for_views(const rg_lens_limits *limits, rg_lens_review *r)
{
    if (r->views < limits->min_views)
        advise(r, "take %d more: %d of %d good views are there", limits->min_views - r->views,
               r->views, limits->min_views);
}

static void ask_for_sharpness(const rg_lens_limits *limits, const rg_calibration *c,
                              rg_lens_review *r)
{
    rg_error why = {0};
    if (!(r->focal_relative <= limits->focal_relative))
        advise(
            r,
            "take more, nearer and tipped more: the focal length is known to %.2f %%, %.2f %% is "
            "needed",
            100.0 * r->focal_relative, 100.0 * limits->focal_relative);
    if (!(c->fit.rms_px <= limits->max_rms_px))
        advise(
            r,
            "the marks miss their places by %.2f px rms, %.2f px are good: hold board and camera "
            "still, focus, and glue the board to something flat",
            c->fit.rms_px, limits->max_rms_px);
    if (rg_lens_check(&c->fit.lens, &why) != RG_OK)
        advise(r, "take more with the board in the corners: %.140s", why.text);
}

rg_code rg_lens_review_make(const rg_lens_limits *limits, const rg_view *view,
                            const rg_calibration *c, rg_lens_review *review, rg_error *err)
{
    memset(review, 0, sizeof *review);
    rg_code code = check_limits(limits, err);
    if (code != RG_OK)
        return code;
    look(limits, view, c, review);
    ask_for_views(limits, review);
    ask_for_sharpness(limits, c, review);
    ask_for_fields(limits, review);
    ask_for_tilts(limits, review);
    review->good = review->advices == 0;
    return RG_OK;
}

rg_code rg_lens_review_early(const rg_lens_limits *limits, const rg_early_views *early,
                             rg_lens_review *review, rg_error *err)
{
    const rg_lens size = {.width = early->width, .height = early->height};
    memset(review, 0, sizeof *review);
    rg_code code = check_limits(limits, err);
    if (code == RG_OK && (size.width < 1 || size.height < 1))
        code = rg_fail(err, RG_BAD_DATA, "lens review: pictures of %d x %d px cannot be",
                       size.width, size.height);
    if (code != RG_OK)
        return code;
    begin_look(limits, &size, review);
    for (int i = 0; i < early->views; i++)
        look_at(limits, &size, &early->view[i], &early->pose[i], review);
    review->focal_relative = NAN;
    ask_for_views(limits, review);
    ask_for_fields(limits, review);
    ask_for_tilts(limits, review);
    return RG_OK;
}

/* ---------------------------------------------------------------- one more view */

static void name_gain(char text[RG_ADVICE_SIZE], const char *name)
{
    size_t n = strlen(text);
    snprintf(text + n, RG_ADVICE_SIZE - n, "%s%s", n ? ", " : "", name);
}

/* Parts of the picture that were seen too little, or of which nothing near the corner was. */
static void name_places(const rg_lens_limits *limits, const rg_lens_review *now,
                        const rg_lens_review *with, char text[RG_ADVICE_SIZE])
{
    static const char *const corner[4] = {"nearer the top left", "nearer the top right",
                                          "nearer the bottom left", "nearer the bottom right"};
    bool gain[RG_FIELDS];
    int fields = 0;
    for (int f = 0; f < RG_FIELDS; f++) {
        gain[f] =
            now->field_views[f] < limits->field_views && with->field_views[f] > now->field_views[f];
        fields += gain[f];
    }
    if (fields > 4) {
        name_gain(text, "most of the picture");
        return;
    }
    for (int f = 0; f < RG_FIELDS; f++)
        if (gain[f])
            name_gain(text, rg_field_name(f));
    for (int k = 0; k < 4; k++)
        if (now->corner_distance_px[k] > now->corner_limit_px &&
            with->corner_distance_px[k] < now->corner_distance_px[k])
            name_gain(text, corner[k]);
}

bool rg_lens_review_adds(const rg_lens_limits *limits, const rg_lens_review *now,
                         const rg_lens_review *with, char text[RG_ADVICE_SIZE])
{
    text[0] = 0;
    name_places(limits, now, with, text);
    if (now->tipped_up_down < limits->tilted_views && with->tipped_up_down > now->tipped_up_down)
        name_gain(text, "tipped up or down");
    if (now->tipped_left_right < limits->tilted_views &&
        with->tipped_left_right > now->tipped_left_right)
        name_gain(text, "tipped left or right");
    if (!text[0] && now->views < limits->min_views && with->views > now->views)
        name_gain(text, "one more view");
    return text[0] != 0;
}

double rg_view_moved(const rg_view *a, const rg_view *b)
{
    double sum = 0;
    int shared = 0;
    for (int i = 0; i < a->corners; i++)
        for (int k = 0; k < b->corners; k++)
            if (a->corner[i].board.x == b->corner[k].board.x &&
                a->corner[i].board.y == b->corner[k].board.y) {
                sum += hypot(a->corner[i].pixel.x - b->corner[k].pixel.x,
                             a->corner[i].pixel.y - b->corner[k].pixel.y);
                shared++;
                break;
            }
    return shared > 0 ? sum / shared : INFINITY;
}
