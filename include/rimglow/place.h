/*
 * place.h - where the camera stands, whatever tells it: the index crown, a
 * jig, or marks that a person clicked. All three fill one rg_place.
 *
 * With the crown the pose is the CUP's (crown.h). A jig and marks give the
 * pose of the RIM frame: their bearing and elevation are the hole's, and the
 * pad's own tilt against the rim is not seen by them (seat_tilt_deg).
 *
 * A camera before a rim. In the rim frame its centre is
 *   C = d (cos e cos b, -cos e sin b, sin e)         b bearing, e elevation,
 * and X_cam = R (X - C) with R = A(aim) Z(roll) L(b, e): L looks at the rim's
 * centre with the hole's axis upwards, Z turns the picture clockwise by the
 * roll, A is the least rotation that takes the optical axis to the direction
 * (x, y, 1) in which the rim's centre is seen ("aim"). So det R = +1 always.
 *
 * What a picture says (pinhole projection: R. Hartley and A. Zisserman,
 * Multiple View Geometry, 2nd ed. 2004, ch. 6; contour generators: ch. 8):
 *   - A ray from C along the unit direction u passes the hole's axis, seen in
 *     plan, at the signed distance q = (C_x u_y - C_y u_x) / |u_xy| (right +).
 *     It belongs to the outline of the cylinder of radius r when |q| = r: the
 *     plane through the ray along the axis touches the cylinder. Seen in
 *     plan, it touches at b -+ acos(r / D), D = d cos e: NOT at b -+ 90 degrees.
 *   - An end of the rim is where the outline of the land's outer edge meets
 *     the rim plane: |q| = ro, and the ray is at Z = 0 where it is nearest the axis.
 *   - A point of a round edge (radius r, height h) in front: the ray meets the
 *     near wall of the cylinder r at Z = h.
 * The rim's two ends hold scale, centre and roll; the edges before or behind
 * them hold the elevation: at bearing b' an edge stands r sin e cos(b' - b)
 * lower in the view, so its slope by e is r, also at e = 0. The flattening of
 * the ellipse would be blind there. The bearing of a round cup cannot be
 * seen: it is stated.
 *
 * A jig finds its own points: sub-pixel steps (either side the brighter) along
 * the outlines of the chimney under the rim and of the pad above it, whose
 * diameters the instrument file holds, after a search over position, roll and a
 * twentieth of the distance on a small picture. Points of one outline share its
 * errors and weigh as four; the pad's wall, which need not be concentric with the
 * hole, counts half. The height so found is good to some tenths of a millimetre; the
 * rim itself gives the rest (anchor.h). Too few points that agree: refused.
 *
 * Estimate: least squares (GSL, Levenberg-Marquardt) of the residuals in units
 * of their standard uncertainties, the stated elevation of a jig and the
 * height of the cup's edge as further observations with theirs (JCGM 100
 * clause 5; JCGM 102 for the propagation through the Jacobian). Refused when
 * the sum of squares exceeds its 99.9 % point of chi-squared.
 */
#ifndef RIMGLOW_PLACE_H
#define RIMGLOW_PLACE_H

#include "rimglow/crown.h"
#include "rimglow/rim.h"

typedef enum rg_place_source { RG_PLACE_CROWN, RG_PLACE_JIG, RG_PLACE_MARKS } rg_place_source;

const char *rg_place_name(rg_place_source source); /* "crown" "jig" "marks" */

/* What is stated of a whole sweep ([place] of sweep.ini). All u_ are standard
 * uncertainties. All zero: the crown. */
typedef struct rg_place_options {
    rg_place_source source;
    double bearing_u_deg;   /* of every stated bearing, common to all frames */
    double elevation_u_deg; /* jig: of every stated elevation, common to all frames */
    double distance_mm;   /* jig: camera to the hole's centre, to a twentieth: starts the search */
    double outline_u_px;  /* jig: of the outlines found in the picture */
    double click_u_px;    /* of either coordinate of a mark */
    double seat_tilt_deg; /* standard deviation of a pad's tilt against its rim */
    double cup_mm;        /* diameter of the cup's lower edge; 0: no such marks */
    double cup_edge_mm;   /* its height above the rim plane, pad seated */
    double cup_edge_u_mm; /* without the pad's tilt */
} rg_place_options;

typedef enum rg_mark_kind {
    RG_MARK_RIM_LEFT,  /* where the chimney's left outline meets the rim */
    RG_MARK_RIM_RIGHT, /* the same to the right */
    RG_MARK_RIM,       /* any point of the rim's outer edge in front */
    RG_MARK_CUP        /* any point of the cup's lower edge in front */
} rg_mark_kind;

typedef struct rg_mark {
    rg_mark_kind kind;
    rg_vec2 pixel;
} rg_mark;

enum { RG_MARKS_MAX = 12, RG_PLACE_POINTS = 128 };

/* What is stated of one frame. */
typedef struct rg_place_given {
    double bearing_deg;   /* NAN: not stated */
    double elevation_deg; /* NAN: not stated */
    int marks;
    rg_mark mark[RG_MARKS_MAX];
} rg_place_given;

/* One point of the picture that a place rests on. */
typedef struct rg_place_point {
    rg_vec2 pixel;
    bool used;
} rg_place_point;

typedef struct rg_place {
    rg_place_source source;
    rg_pose_state state;
    char reason[240];        /* why not, and what to do; "" when OK */
    rg_pose pose;            /* X_cam = R X_body + t; body: cup (crown) or rim (jig, marks) */
    double covariance[6][6]; /* of (left rotation vector rad, translation mm) */
    double rms_px;           /* of the accepted points */
    double edge_sigma_px;    /* Gaussian width of sharp edges: the PSF; 0: not measured */
    bool light_known;        /* black_light and white_light are: the crown's paper */
    double black_light, white_light;
    int points; /* marks or outline points, for the picture; none with the crown */
    rg_place_point point[RG_PLACE_POINTS];
    rg_crown_pose crown; /* the crown's own result */
} rg_place;

/* RG_BAD_DATA naming the first value that cannot be. */
rg_code rg_place_check(const rg_place_options *options, rg_error *err);

void rg_place_from_crown(const rg_crown_pose *crown, rg_place *place);

/* Jig and marks. psf_known: no need to measure the edges' width. A picture that
 * gives no place is no error: place->state and reason say why. Errors are
 * RG_INTERNAL and RG_BAD_DATA for the source crown or a lens that cannot be. */
rg_code rg_place_locate(const rg_place_options *options, const rg_lens *lens, const rg_rim *rim,
                        const rg_image *image, const rg_linear *linear, const rg_place_given *given,
                        bool psf_known, rg_place *place, rg_error *err);

/* The fit alone: marks, with the elevation as an observation where the
 * options state its uncertainty and the frame its value. */
rg_code rg_place_from_marks(const rg_place_options *options, const rg_lens *lens, const rg_rim *rim,
                            const rg_place_given *given, rg_place *place, rg_error *err);

/* A camera before a rim, as above. */
typedef struct rg_place_view {
    double bearing_deg, elevation_deg, roll_deg, distance_mm;
    rg_vec2 aim; /* x/z and y/z of the rim's centre in the camera frame */
} rg_place_view;

rg_pose rg_place_pose(const rg_place_view *view);
rg_place_view rg_place_view_of(const rg_pose *pose);

/* The point of the outline of the upright cylinder (radius_mm about the axis) at height
 * z_mm, to the left (side -1) or right (+1) of the picture; false when the
 * camera stands within it. */
bool rg_place_outline(const rg_pose *pose, double radius_mm, double z_mm, int side, rg_vec3 *point);

/* Standard uncertainty of the slope of a ray against the body's plane Z = 0, for
 * a ray from that bearing. */
double rg_place_slope_u(const rg_place *place, double bearing_deg);

/* Standard uncertainties, degrees, of the camera's bearing and elevation. */
void rg_place_uncertainty(const rg_place *place, double *u_bearing_deg, double *u_elevation_deg);

/* The pose after a left rotation vector change[0..2] (rad) and a shift change[3..5] (mm). */
rg_pose rg_place_move(const rg_pose *pose, const double change[6]);

#endif
