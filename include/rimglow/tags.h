/*
 * tags.h - tag36h11 fiducials: ids and first corners, by libapriltag.
 *
 * Corners are only starting values: the library's corner error reaches 0.2 px
 * (crown.h fits the borders itself). Coordinates are in rimglow's convention
 * (pixel centres at integers). Corner order: the tag's own top-left,
 * top-right, bottom-right, bottom-left, as a reader of the upright tag sees it.
 *
 * A tag cut by the picture's edge: the picture is searched again with a
 * white margin, and with the missing black border completed, so that a tag
 * that lost less than about one module and a half still gives its id; such a tag has cut = true and
 * its corners on the cut side are guesses.
 *
 * One finder serves one thread at a time; make one per thread.
 */
#ifndef RIMGLOW_TAGS_H
#define RIMGLOW_TAGS_H

#include <stdbool.h>
#include <stdint.h>

#include "rimglow/status.h"
#include "rimglow/vec.h"

enum { RG_TAGS_MAX = 64 };

typedef struct rg_tag {
    int id;            /* 0..586 */
    int hamming;       /* corrected bits */
    double margin;     /* decision margin, grey codes */
    bool cut;          /* found only with the completed margin */
    rg_vec2 corner[4]; /* px */
} rg_tag;

typedef struct rg_tag_list {
    int count;
    rg_tag tag[RG_TAGS_MAX];
} rg_tag_list;

typedef struct rg_tag_options {
    double decimate;   /* 1, 1.5, 2, 3, 4: search on a picture smaller by this factor */
    bool refine;       /* let the library move corners along gradients */
    int max_hamming;   /* 0..2; 1 suits the crown */
    double min_margin; /* grey codes; 0 accepts all */
} rg_tag_options;

typedef struct rg_tag_finder rg_tag_finder;

/* Made with new, released with free (NULL is safe). */
rg_code rg_tag_finder_new(rg_tag_finder **finder, const rg_tag_options *options, rg_error *err);
void rg_tag_finder_free(rg_tag_finder *finder);

/* grey: width x height codes, row-major. Finds tags in the picture as it is;
 * with complete_edges also those cut by its edge. More than RG_TAGS_MAX tags
 * are refused. No tag is not an error: list->count is 0. */
rg_code rg_tags_find(rg_tag_finder *finder, const uint8_t *grey, int width, int height,
                     bool complete_edges, rg_tag_list *list, rg_error *err);

/* Finds large tags quickly: in a picture made smaller, each block of reduce x reduce px (2 to RG_TAGS_REDUCE_MAX) by its
 * mean. A module of the tag should come out at 3 px or more. In a part of the picture, box {x0, y0, x1, y1} in px,
 * inclusive, clipped to the picture, or in all of it (NULL); corners are those of the whole picture, and less precise by
 * as much as the picture is smaller. Small tags, those that reach to the box's sides, and some of the others are missed:
 * what this finds is there, what it does not find may be there too. */
enum { RG_TAGS_REDUCE_MAX = 16 };
rg_code rg_tags_find_large(rg_tag_finder *finder, const uint8_t *grey, int width, int height,
                           const int box[4], int reduce, rg_tag_list *list, rg_error *err);

/* The printed pattern of a tag, as libapriltag's own table of the family has
 * it: module[row][column] from the upright tag's top left, 0 black, 1 white.
 * The outermost ring is the white that belongs to every tag, the next one the
 * black border, the 6 x 6 in the middle the code. RG_BAD_DATA for an id that
 * the family does not have. */
enum { RG_TAG_IDS = 587, RG_TAG_MODULES = 10, RG_TAG_BORDER_MODULES = 8 };
rg_code rg_tag_modules(int id, uint8_t module[RG_TAG_MODULES][RG_TAG_MODULES], rg_error *err);

#endif
