/*
 * ring.c - sizes of a paper ring (regular hexagon: Euclid, Elements IV.15).
 */
#include "rimglow/ring.h"

#include <math.h>
#include <stddef.h>

#include "rimglow/vec.h"

static const double STEPS = 10.0; /* per mm: sizes chosen here can be read off a calliper */
static const double NEARLY = 1e-9;

static const double LINE = 0.2; /* mm: a printed cut or fold line, half of it on either face */

static double face_width(double apothem_mm)
{
    return 2.0 * apothem_mm * tan(RG_PI / 6.0);
}

static double largest_module(double face_mm)
{
    return (face_mm - LINE) / RG_TAG_MODULES;
}

/* Downwards to a whole number of steps. */
static double whole_steps(double mm)
{
    return floor(mm * STEPS + NEARLY) / STEPS;
}

static rg_code check_white(const rg_ring *ring, rg_error *err)
{
    if (ring->module_mm <= ring->largest_module_mm + NEARLY)
        return RG_OK;
    return rg_fail(err, RG_BAD_DATA,
                   "crown %d: tags of %g mm leave less than a module of white on faces of %.2f mm "
                   "(apothem %g mm); the largest tag there is %.2f mm",
                   ring->crown.number, ring->crown.tag_size_mm, ring->face_mm,
                   ring->crown.apothem_mm, RG_TAG_BORDER_MODULES * ring->largest_module_mm);
}

/* Everything that follows from apothem and tag. */
static rg_code fill(const rg_ring_rules *rules, rg_ring *ring, rg_error *err)
{
    rg_code code = rg_crown_check(&ring->crown, err);
    if (code != RG_OK)
        return code;
    ring->face_mm = face_width(ring->crown.apothem_mm);
    ring->largest_module_mm = largest_module(ring->face_mm);
    ring->module_mm = ring->crown.tag_size_mm / RG_TAG_BORDER_MODULES;
    double least = 2.0 * (ring->crown.apothem_mm / cos(RG_PI / 6.0) + rules->edge_mm);
    ring->least_cup_mm = ceil(least * STEPS - NEARLY) / STEPS;
    ring->foot_mm = rules->foot_mm;
    ring->band_mm = rules->band_mm;
    ring->tab_mm = fmin(rules->tab_mm, 0.8 * ring->face_mm);
    ring->centre_mm = 0.5 * LINE + ring->foot_mm + 0.5 * RG_TAG_MODULES * ring->module_mm;
    ring->height_mm = ring->centre_mm + 0.5 * RG_TAG_MODULES * ring->module_mm + ring->band_mm;
    return check_white(ring, err);
}

rg_code rg_ring_for_apothem(const rg_ring_rules *rules, int number, double apothem_mm,
                            double tag_mm, rg_ring *ring, rg_error *err)
{
    *ring = (rg_ring){.crown = {.number = number, .apothem_mm = apothem_mm}};
    double largest = RG_TAG_BORDER_MODULES * largest_module(face_width(apothem_mm));
    double chosen = fmin(whole_steps(largest), rules->tag_max_mm);
    if (tag_mm == 0.0 && !(chosen > 0.0))
        return rg_fail(err, RG_BAD_DATA,
                       "crown %d: an apothem of %g mm leaves no room for tags; give a larger one",
                       number, apothem_mm);
    ring->crown.tag_size_mm = tag_mm != 0.0 ? tag_mm : chosen;
    return fill(rules, ring, err);
}

rg_code rg_ring_for_cup(const rg_ring_rules *rules, int number, double cup_diameter_mm,
                        double tag_mm, rg_ring *ring, rg_error *err)
{
    double apothem = whole_steps(cos(RG_PI / 6.0) * (0.5 * cup_diameter_mm - rules->edge_mm));
    *ring = (rg_ring){0};
    if (!(apothem > 0.0))
        return rg_fail(err, RG_BAD_DATA,
                       "crown %d: a cup of %g mm leaves no room for a ring that stays %g mm inside "
                       "its edge; give the cup's diameter in mm",
                       number, cup_diameter_mm, rules->edge_mm);
    return rg_ring_for_apothem(rules, number, apothem, tag_mm, ring, err);
}

rg_code rg_ring_for_crown(const rg_ring_rules *rules, const rg_crown *crown, rg_ring *ring,
                          rg_error *err)
{
    *ring = (rg_ring){.crown = *crown};
    rg_code code = fill(rules, ring, err);
    if (code == RG_OK && crown->centre_height_mm < ring->centre_mm)
        return rg_fail(err, RG_BAD_DATA,
                       "crown %d: tag centres at %g mm above the rim put the ring's lower edge, "
                       "%.2f mm below them, under the rim plane; measure the height again or make "
                       "the tag or the foot smaller",
                       crown->number, crown->centre_height_mm, ring->centre_mm);
    return code;
}

rg_code rg_ring_stand(rg_ring *ring, double cup_top_mm, rg_error *err)
{
    if (!(cup_top_mm >= 0.0 && cup_top_mm <= 100.0))
        return rg_fail(err, RG_BAD_DATA,
                       "crown %d: a cup's top %g mm above the rim; give 0 to 100 mm",
                       ring->crown.number, cup_top_mm);
    ring->crown.centre_height_mm = cup_top_mm + ring->centre_mm;
    return RG_OK;
}

rg_code rg_module_check(const char *what, double module_mm, double min_px, double px_per_mm,
                        rg_error *err)
{
    double px = module_mm * px_per_mm;
    if (px >= min_px - NEARLY)
        return RG_OK;
    return rg_fail(
        err, RG_BAD_DATA,
        "%s: tags of %.2f mm have modules of %.3f mm, %.1f px at %g px per mm; %g px are "
        "needed to read them: bring the camera nearer (%.1f px per mm or more) or use "
        "tags of %.1f mm or more, which need a larger face",
        what, RG_TAG_BORDER_MODULES * module_mm, module_mm, px, px_per_mm, min_px,
        ceil(STEPS * min_px / module_mm) / STEPS,
        ceil(STEPS * RG_TAG_BORDER_MODULES * min_px / px_per_mm) / STEPS);
}

int rg_ring_face_at(int i)
{
    return (3 + RG_RING_FACES - i) % RG_RING_FACES;
}

int rg_ring_pieces(const rg_ring *ring, double width_mm)
{
    static const int pieces[] = {1, 2, 3, 6};
    for (size_t i = 0; i < sizeof pieces / sizeof *pieces; i++)
        if (RG_RING_FACES / pieces[i] * ring->face_mm + ring->tab_mm <= width_mm)
            return pieces[i];
    return 0;
}
