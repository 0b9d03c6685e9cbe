/*
 * ring.h - an index crown as paper: its sizes for a given cup, and the flat
 * strip that folds into it.
 *
 * The ring is a regular hexagon: a face is 2 a tan 30 deg wide (a: apothem),
 * its corners lie a / cos 30 deg from the axis. A ring for a cup is inscribed
 * in it: the corners stay edge_mm inside the cup's edge, so that the whole
 * lower edge stands on the cup. Upwards from that edge come half a printed line, the foot, one
 * module of white, the tag, one module of white, and a band for words. A tag
 * needs one module of white all round (E. Olson, "AprilTag", ICRA 2011; the
 * family's total width of 10 in libapriltag), so a face has room for ten
 * modules and the printed line of 0.2 mm, half of which lies on either face.
 *
 * The strip, printed side up, upper edge up: bearings grow clockwise as seen
 * looking down on the cup, and whoever stands outside before a face looks the
 * other way, so they grow to the LEFT. Face 0 lies inside the strip and the
 * glued seam between faces 4 and 3, away from the key arm.
 */
#ifndef RIMGLOW_RING_H
#define RIMGLOW_RING_H

#include "rimglow/crown.h"

enum { RG_RING_FACES = 6 };

/* calib/sheet.ini */
typedef struct rg_ring_rules {
    double edge_mm;       /* corners stay this far inside the cup's edge */
    double tag_max_mm;    /* no larger black border is chosen by itself */
    double foot_mm;       /* white below the tag's own */
    double band_mm;       /* above the tag's own white */
    double tab_mm;        /* glue tab */
    double min_module_px; /* smaller modules are refused */
    double px_per_mm;     /* the station's scale where none is stated */
} rg_ring_rules;

typedef struct rg_ring {
    rg_crown crown;           /* centre_height_mm: 0 when nobody has stated the cup's height */
    double face_mm;           /* width of a face */
    double module_mm;         /* of the tags: an eighth of the border's edge */
    double largest_module_mm; /* that a face has room for */
    double least_cup_mm; /* diameter of the smallest cup that it stands on, upwards to a tenth */
    double foot_mm, band_mm, tab_mm;
    double centre_mm; /* tag centres above the ring's lower edge */
    double height_mm; /* of the whole ring */
} rg_ring;

/* The ring for a cup of this diameter: the largest apothem that fits, in whole
 * tenths of a millimetre, and with tag_mm 0 the largest tag that fits, in
 * whole tenths and at most tag_max_mm. RG_BAD_DATA for a cup or a tag that
 * leaves no room (says how much there is). */
rg_code rg_ring_for_cup(const rg_ring_rules *rules, int number, double cup_diameter_mm,
                        double tag_mm, rg_ring *ring, rg_error *err);
/* The ring of a given apothem; tag_mm as above. */
rg_code rg_ring_for_apothem(const rg_ring_rules *rules, int number, double apothem_mm,
                            double tag_mm, rg_ring *ring, rg_error *err);
/* The ring of a crown as an instrument file states it. RG_BAD_DATA also when
 * the stated height would put the ring's lower edge below the rim plane. */
rg_code rg_ring_for_crown(const rg_ring_rules *rules, const rg_crown *crown, rg_ring *ring,
                          rg_error *err);

/* States the height of the cup's top above the rim plane with the pad seated:
 * the tags' centres then stand at cup_top_mm + centre_mm. */
rg_code rg_ring_stand(rg_ring *ring, double cup_top_mm, rg_error *err);

/* RG_BAD_DATA when a module of this size has fewer than min_px pixels at this
 * scale (a face seen head-on); the text says which scale or tag would do.
 * what: begins the text, such as "crown 2". */
rg_code rg_module_check(const char *what, double module_mm, double min_px, double px_per_mm,
                        rg_error *err);

/* Face at place i of the strip, 0 (left) to 5. */
int rg_ring_face_at(int i);
/* In how many pieces (1, 2, 3 or 6) of equally many faces, each with a glue
 * tab, the strip fits this width; 0 when one face does not. */
int rg_ring_pieces(const rg_ring *ring, double width_mm);

#endif
