/*
 * edges.h - private to geometry: one dark-to-bright step across a known line,
 * in linear light, to a fraction of a pixel.
 */
#ifndef RIMGLOW_GEOMETRY_EDGES_H
#define RIMGLOW_GEOMETRY_EDGES_H

#include <stdbool.h>

#include "rimglow/image.h"
#include "rimglow/vec.h"

typedef struct rg_edge_light {
    const rg_image *image;
    const rg_linear *linear;
} rg_edge_light;

/* What a search came to, so that the next one about the same place is spared when it would read the very same pixels.
 * All zero: nothing yet. For one picture only. */
typedef struct rg_edge_memo {
    bool filled, along_x, precise, found;
    int first, line, sign, n;
    double x0, sigma, black, step;
} rg_edge_memo;

/* Where to look: at a pixel position, along the outward normal (unit, from
 * dark to bright), at most `inside` and `outside` px away along it. */
typedef struct rg_edge_query {
    rg_vec2 at, normal;
    double inside, outside;
    bool precise;       /* fit the blurred step; else half-level crossing only */
    double contrast;    /* least step / (black + white); 0: that of print on paper */
    rg_edge_memo *memo; /* NULL: none; always asked with one contrast */
} rg_edge_query;

typedef struct rg_edge {
    rg_vec2 pixel;       /* a point on the edge, on a pixel row or column */
    double sigma;        /* Gaussian width along the normal, px; 0 unless precise */
    double black, white; /* linear light on both sides */
} rg_edge;

/* False when there is no clean step of the right sign, or the search leaves
 * the picture. */
bool rg_edge_find(const rg_edge_light *light, const rg_edge_query *query, rg_edge *edge);

#endif
