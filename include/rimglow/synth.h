/*
 * synth.h - pictures of a pad cup over a lit tone hole with known truth.
 *
 * A renderer that stands on its own feet: it includes nothing of crown, rim,
 * strip, light, width or rocking, only the lens's forward projection (see
 * tests/check_layers.sh), so that an error of the measurement cannot cancel
 * itself out. Everything is in the rim frame (+Z outwards, +X to the key arm,
 * bearing b clockwise from outside: direction (cos b, -sin b, 0)), mm.
 *
 * Method: a ray for every pixel corner finds what the pixel shows; pixels
 * that an edge crosses get a grid of rays, those at the rim line a fine comb
 * of them with every jump of light bisected. A ray that gets under the pad is
 * followed through the slot: it ends on the pad's overhang, on the chimney,
 * on the land (which mirrors a share of it onwards), on the pad's face over
 * the land (lit through the slot, see below), on the pad's lit face or the
 * lit far wall inside the hole, on the rounded edge of the far land (which throws it
 * up to the pad), in the far slot, or in the dark room behind.
 * Small boxes of constant light are then convolved EXACTLY with Gaussian and
 * pixel aperture, so that nothing depends on where an edge falls in a pixel.
 *
 * Light on the pad's face at depth x into a slot of height g, or at -x over the hole: the share of
 * the cosine-weighted half space that sees the bright hole under the land's
 * edge, F(t) = (1 - 1 / sqrt(1 + t^2)) / 2 with t = g / x (an element and an endless strip at
 * right angles to it: J. R. Howell, "A catalog of radiation heat transfer configuration factors",
 * cited from memory), plus what the land mirrors: rho (F(2 t) - F(t)).
 *
 * A land is not flat to its last tenth of a millimetre. Its outer half leans outwards, by land_shoulder at the
 * edge and not at all in its middle; rays that come from above are mirrored by twice that, up to the pad's face over the land,
 * which is dark: so a thin gap seen from above dies sooner than behind a flat mirror. Found on
 * path-traced frames (05-B and the wedge of samples/), as was `wall`; prove traced holds all five sweeps against it.
 *
 * Not modelled from first principles: the contact shadow on the chimney under
 * the pad, the room's light, and the streaks. Shadow and brightness follow
 * the look of path-traced frames. No depth of field, no colour filter array.
 *
 * Camera: full-well photon noise and read noise (both Gaussian) by channel in
 * linear light, clipping, sRGB (IEC 61966-2-1), 8 bits, JPEG with 4:2:0.
 */
#ifndef RIMGLOW_SYNTH_H
#define RIMGLOW_SYNTH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rimglow/image.h"
#include "rimglow/lens.h"

enum { RG_SYNTH_CREASES = 8, RG_SYNTH_STREAKS = 8, RG_SYNTH_FACES = 6 };

/* A raised-cosine gap: depth (1 + cos(pi (b - bearing) / half_width)) / 2. */
typedef struct rg_synth_crease {
    double bearing_deg, half_width_deg, depth_mm;
} rg_synth_crease;

/* The pad's face above the rim plane:
 *   raw(r, b) = level + tilt (r/ro) cos(b - tilt_bearing)
 *             + saddle (r/ro)^2 cos 2(b - saddle_bearing) + creases + local(b)
 *   face = max(raw, -press) - bulge seat(r), never below the land on the land
 * seat rises from 0 at the land's outer edge to 1 `shoulder` outside it. The
 * gap's width is w(b) = max(0, raw(ro, b)). */
typedef struct rg_synth_pad {
    double level_mm, tilt_mm, tilt_bearing_deg, saddle_mm, saddle_bearing_deg;
    int creases;
    rg_synth_crease crease[RG_SYNTH_CREASES];
    const double *local_mm; /* [360], linear between degrees; NULL: none; not owned */
    double press_mm;        /* how deep the land sinks into the pad where it touches, >= 0 */
    double bulge_mm, shoulder_mm;
    /* Crown and cup against the pad's plane: slopes of a pad that lies askew. */
    double askew_x, askew_y;
    double feeler_mm, feeler_width_mm, feeler_bearing_deg; /* 0 mm: none */
} rg_synth_pad;

/* A lamp's mirror image on the vertical walls: a Gaussian in the azimuth of
 * the reflected ray, so it moves with the view. */
typedef struct rg_synth_streak {
    double azimuth_deg;     /* of the lamp, as a bearing */
    double width_deg;       /* sigma */
    double light;           /* linear light at its middle */
    double low_mm, high_mm; /* heights that it covers */
} rg_synth_streak;

typedef struct rg_synth_scene {
    double inner_mm, outer_mm, pad_mm;           /* radii: land, land, pad */
    double edge_mm;                              /* rounding of the land's outer edge */
    double pad_thickness_mm, cup_mm, cup_top_mm; /* pad's visible height; cup's radius and top */
    rg_synth_pad pad;
    int crown;                                /* number k: tags 6 k + j */
    double apothem_mm, tag_mm, tag_height_mm; /* as in a station's instrument file */
    /* Printing errors: how far each tag's borders lie outwards of their place, mm: left,
     * right, bottom, top. */
    double border_mm[RG_SYNTH_FACES][4];
    bool key;           /* key arm, hinge rod and posts are there */
    double lamp[3];     /* radiance of the pad's lit face, linear light at exposure 1 */
    double wall;        /* radiance of the hole's far wall as a share of it */
    double lamp_uneven; /* the wall's light: 1 + lamp_uneven cos(b - lamp_bearing) */
    double lamp_bearing_deg;
    double land_reflectance;          /* at grazing incidence, 0..1 */
    double land_shoulder;             /* slope of its outer edge, outwards; 0 from its middle on */
    double paper, ink;                /* crown, linear light */
    double metal, leather;            /* chimney and cup, pad; linear light */
    double room;                      /* background, linear light */
    double shadow_mm, shadow_blur_mm; /* contact shadow under the pad's face, its sigma */
    int streaks;
    rg_synth_streak streak[RG_SYNTH_STREAKS];
} rg_synth_scene;

/* A pad of 23 mm on a land of 18..20 mm, sealed, with crown 2, lit like the
 * path-traced sample frames. */
void rg_synth_scene_default(rg_synth_scene *scene);

/* RG_BAD_DATA naming the first value that cannot be rendered. */
rg_code rg_synth_check(const rg_synth_scene *scene, rg_error *err);

/* True gap at the centres of the 360 bearings, mm. */
void rg_synth_widths(const rg_synth_scene *scene, double width_mm[360]);

/* X_cam = R X_rim + t of a camera at this bearing, elevation and distance from
 * the rim's centre that looks at height aim_mm on the axis, upright but for a
 * roll (degrees). */
rg_pose rg_synth_camera(double bearing_deg, double elevation_deg, double distance_mm, double aim_mm,
                        double roll_deg);

/* Where the four corners of face j's tag (top left, top right, bottom right,
 * bottom left) fall in the picture; false when the face looks away. */
bool rg_synth_tag(const rg_synth_scene *scene, const rg_lens *lens, const rg_pose *camera, int j,
                  rg_vec2 corner[4]);

/* The picture before the sensor, and the truth of this view. */
typedef struct rg_synth_view {
    int width, height;
    float *light;                  /* owned; [3][height][width], linear light, not clipped */
    rg_pose rim, cup;              /* X_cam = R X + t of the rim frame and of the crown's frame */
    bool tag_seen[RG_SYNTH_FACES]; /* faces the camera; may be hidden in part */
    rg_vec2 tag_corner[RG_SYNTH_FACES][4]; /* top left, top right, bottom right, bottom left */
} rg_synth_view;

/* Light without noise, blurred by a Gaussian of sigma_px (0.3..4) beside the
 * pixel aperture. glare: share of all light that is spread evenly over the
 * picture (0..0.5). RG_BAD_DATA for an impossible scene or lens, RG_INTERNAL
 * without memory; the view then owns nothing. */
rg_code rg_synth_render(const rg_synth_scene *scene, const rg_lens *lens, const rg_pose *camera,
                        double sigma_px, double glare, rg_synth_view *view, rg_error *err);
void rg_synth_view_free(rg_synth_view *view);

/* A lens with the ways that its pixels look, for many pictures; several threads may use it at a time. */
typedef struct rg_synth_eye rg_synth_eye; /* opaque */
rg_code rg_synth_eye_new(rg_synth_eye **eye, const rg_lens *lens, rg_error *err);
void rg_synth_eye_free(rg_synth_eye *eye);

/* The same on several threads: begin, then band 0..bands-1 (1 or more), each once, from any threads
 * at a time; when all are done, end, which frees the drawing whatever it returns. The light is the same
 * to the last bit for any number of bands. Where a band fails, abandon the drawing. The eye and the
 * scene's local_mm must live until then. */
typedef struct rg_synth_drawing rg_synth_drawing; /* opaque */
rg_code rg_synth_begin(const rg_synth_scene *scene, const rg_synth_eye *eye, const rg_pose *camera,
                       double sigma_px, double glare, int bands, rg_synth_drawing **drawing,
                       rg_error *err);
rg_code rg_synth_band(rg_synth_drawing *drawing, int band, rg_error *err);
rg_code rg_synth_end(rg_synth_drawing *drawing, rg_synth_view *view, rg_error *err);
void rg_synth_abandon(rg_synth_drawing *drawing);

/* What the lens takes from the light of a picture that it drew, before glare (0 above) and sensor:
 * cos(theta)^power, theta the field angle by the pinhole; 4 is the law of a plain lens (M. Reiss, "The cos4
 * law of illumination", J. Opt. Soc. Am. 35 (1945) 283-288), 0 a lens that makes up for it; times
 * 1 - loss r^2 for what mounts and stops cut off, r being 1 in the farthest corner (first term of the even polynomial of
 * S. J. Kim and M. Pollefeys, IEEE PAMI 30 (2008) 562-576). power 0..16, loss 0 to below 1: RG_BAD_DATA
 * otherwise, or where lens and picture differ in size. Sources cited from memory. */
rg_code rg_synth_vignette(rg_synth_view *view, const rg_lens *lens, double power, double loss,
                          rg_error *err);
/* The glare of rg_synth_render, for a picture drawn without. */
void rg_synth_veil(rg_synth_view *view, double glare);

/* The sensor, with its tables. */
typedef struct rg_synth_sensor rg_synth_sensor;
/* full_well: electrons at saturation, >= 100; read_noise: electrons, >= 0;
 * both 0: no noise. */
rg_code rg_synth_sensor_new(rg_synth_sensor **sensor, double full_well, double read_noise,
                            rg_error *err);
void rg_synth_sensor_free(rg_synth_sensor *sensor);

/* 8-bit sRGB codes, 3 channels; rg_image_free. The same seed gives the same
 * picture. exposure > 0 multiplies the light. */
rg_code rg_synth_expose(const rg_synth_sensor *sensor, const rg_synth_view *view, double exposure,
                        uint64_t seed, rg_image *image, rg_error *err);
/* JPEG (quality 1..100, chroma at half resolution), or PNG, which keeps every code; bytes: free(). */
rg_code rg_synth_jpeg(const rg_image *image, int quality, uint8_t **bytes, size_t *size,
                      rg_error *err);
rg_code rg_synth_png(const rg_image *image, uint8_t **bytes, size_t *size, rg_error *err);

#endif
