/*
 * boardview.h - the calibration board in a photograph, and the lens from
 * several of them.
 *
 * libapriltag says which tags are there and roughly where; its own corners are
 * up to 0.2 px off (tags.h). Here the four border lines of every tag are
 * searched for in the full-size linear picture, point by point across the
 * edge (the blurred step edge of crown.h), and a corner is where two lines
 * meet.
 *
 * A lens with distortion bends the borders: half a pixel over a tag of 60 px
 * near the corner of a wide-angle picture. So lines are fitted where the lens
 * found so far makes them straight, and calibration and lines are repeated
 * until the corners stand still. The photographs are not needed again for this.
 */
#ifndef RIMGLOW_BOARDVIEW_H
#define RIMGLOW_BOARDVIEW_H

#include "rimglow/board.h"
#include "rimglow/calibration.h"
#include "rimglow/image.h"
#include "rimglow/tags.h"

enum { RG_BOARD_BORDER_POINTS = 24 };

typedef struct rg_board_limits {
    double min_tag_side_px; /* tags with a shorter side are not used, 48 or more */
    double max_line_px;     /* rms of a border's points about its line; more refuses the tag */
    int min_tags;           /* fewer usable tags: the photograph is not used */
} rg_board_limits;

typedef struct rg_tag_borders {
    int id;
    int count[4]; /* points found on the top, right, bottom, left border */
    rg_vec2 point[4][RG_BOARD_BORDER_POINTS]; /* px */
} rg_tag_borders;

/* What one photograph shows of the board. */
typedef struct rg_board_photo {
    bool used;
    char reason[240]; /* why not, and what to do; "" when used */
    int width, height;
    int tags_read;        /* ids of this board that were read */
    double edge_sigma_px; /* median width of the borders: the camera's blur (sigma, px) */
    int tags;             /* with all four borders */
    rg_tag_borders *tag;  /* owned, [tags] */
} rg_board_photo;

/* tags: from rg_tags_find on the same picture. A photograph that cannot be
 * used is no error: photo->used says so. RG_BAD_DATA for impossible limits or
 * board, RG_INTERNAL without memory. */
rg_code rg_board_photo_new(rg_board_photo *photo, const rg_board *board,
                           const rg_board_limits *limits, const rg_image *image,
                           const rg_linear *linear, const rg_tag_list *tags, rg_error *err);
void rg_board_photo_free(rg_board_photo *photo);

/* Corners of the tags, border lines fitted where `lens` makes them straight
 * (NULL: in the picture as it is). corner: room for 4 photo->tags. Returns
 * their number; tags whose borders are not straight within max_line_px are
 * left out. */
int rg_board_photo_corners(const rg_board_photo *photo, const rg_board *board,
                           const rg_board_limits *limits, const rg_lens *lens, rg_corner *corner);

/* Lens and corners from photographs, in turns. name[i] names photo[i];
 * photographs that are not used are left out of view[], whose corners belong
 * to the caller (rg_views_free). view: room for `photos`. RG_BAD_DATA as
 * rg_calibrate says, and for photographs of different size. */
rg_code rg_board_calibrate(const rg_board *board, const rg_board_limits *limits,
                           const rg_board_photo *photo, const char *const *name, int photos,
                           const rg_calibration_options *options, rg_view *view, int *views,
                           rg_calibration *result, rg_error *err);
/* Frees the corners of all views and zeroes them. */
void rg_views_free(rg_view *view, int views);

#endif
