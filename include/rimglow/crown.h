/*
 * crown.h - the pose of the cup from its index crown.
 *
 * The crown is a hexagonal paper ring on the cup: face j points outwards at
 * bearing 60 j and bears tag36h11 number 6 k + j (k: crown number), black
 * border edge tag_size, upright, centred at height centre_height above the
 * rim plane when the pad's plane is the rim plane. The pose found here is the
 * CUP's (crown frame = rim frame of a pad seated flat): X_cam = R X_cup + t.
 *
 * Method: libapriltag's ids and corners start a pose; the four border edges
 * of EVERY tag of the crown that faces the camera are then projected and
 * searched for, along their normals, in the full-resolution linear picture
 * (step-edge by the zero of the blurred-edge model, not by grey codes); the
 * normal distances of all edge points feed one joint Gauss-Newton step with
 * robust weights, repeated until the pose is still. Points hidden
 * by the key arm, a post or the picture's edge are found as outliers.
 */
#ifndef RIMGLOW_CROWN_H
#define RIMGLOW_CROWN_H

#include "rimglow/image.h"
#include "rimglow/lens.h"
#include "rimglow/tags.h"

typedef struct rg_crown {
    int number;              /* k, 0..96 */
    double apothem_mm;       /* axis to face */
    double tag_size_mm;      /* black-border edge */
    double centre_height_mm; /* tag centre above the rim plane */
} rg_crown;

typedef struct rg_crown_limits {
    double max_reprojection_px; /* rms of the accepted edge points; more is refused */
    int min_edges;              /* tag borders with enough points, over all tags */
    double min_tag_side_px;     /* smaller tags are not used */
    bool
        sure_only; /* refuse a pose that the tags do not lead to at once: for a first, quick look */
} rg_crown_limits;

typedef enum rg_pose_state {
    RG_POSE_OK,
    RG_POSE_NO_CROWN,     /* no tag at all */
    RG_POSE_WRONG_CROWN,  /* tags of another crown only */
    RG_POSE_TWO_CROWNS,   /* tags of this and of another crown, or one id twice */
    RG_POSE_REPROJECTION, /* rms above the limit */
    RG_POSE_NOT_A_ROTATION,
    RG_POSE_TOO_FEW_EDGES,
    RG_POSE_BLURRED, /* edge width far above the sharpest frame's: see edge_sigma_px */
    /* Without a crown (place.h): */
    RG_POSE_NO_OUTLINE,   /* the outlines of pad and chimney were not found */
    RG_POSE_UNDETERMINED, /* the marks do not hold a place, or contradict each other */
    RG_POSE_NO_BLUR       /* no sharp edge from which the camera's blur could be measured */
} rg_pose_state;

typedef struct rg_crown_pose {
    rg_pose_state state;
    char reason[240];        /* why not, and what to do; "" when OK */
    rg_pose pose;            /* X_cam = R X_cup + t */
    double covariance[6][6]; /* of (left rotation vector rad, translation mm) */
    double rms_px;           /* normal distance of the accepted edge points */
    int points, points_rejected;
    int tags_seen;        /* ids of this crown decoded */
    int edges_used;       /* borders that carried accepted points */
    double edge_sigma_px; /* median Gaussian width of the border edges: the PSF (sigma, px) */
    double black_light, white_light; /* median linear light beside the borders, 0..1 */
} rg_crown_pose;

/* The four corners (tag order) of face j in the cup frame, mm. */
void rg_crown_face(const rg_crown *crown, int j, rg_vec3 corner[4]);

/* The box {x0, y0, x1, y1}, px, inclusive, that holds the tags of all faces seen from `pose`, with the white that
 * belongs to them; may reach beyond the picture. False: no face is seen. */
bool rg_crown_box(const rg_crown *crown, const rg_lens *lens, const rg_pose *pose, int box[4]);

/* RG_BAD_DATA for values no crown can have (names the first). */
rg_code rg_crown_check(const rg_crown *crown, rg_error *err);

/* Finds the pose. tags: from rg_tags_find on the same picture. A picture in
 * which the crown cannot be used is NOT an error: result->state says so and
 * the return is RG_OK. Errors are RG_INTERNAL and impossible arguments. */
rg_code rg_crown_locate(const rg_crown *crown, const rg_crown_limits *limits, const rg_lens *lens,
                        const rg_image *image, const rg_linear *linear, const rg_tag_list *tags,
                        rg_crown_pose *result, rg_error *err);

/* Pose from exact point pairs (n >= 4, not collinear): DLT or homography
 * start, then Levenberg-Marquardt on the reprojection error. Used to start
 * rg_crown_locate and checked on its own. *rms_px per point (sqrt(SSE/n)). */
rg_code rg_pose_from_points(const rg_lens *lens, const rg_vec3 *body, const rg_vec2 *pixel, int n,
                            rg_pose *pose, double *rms_px, rg_error *err);

#endif
