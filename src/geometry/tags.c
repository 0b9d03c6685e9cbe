/*
 * tags.c - tag36h11 fiducials by libapriltag (E. Olson, "AprilTag: a robust
 * and flexible visual fiducial system", ICRA 2011; J. Wang and E. Olson,
 * "AprilTag 2", IROS 2016).
 *
 * The library puts pixel centres at half integers and wraps its corners from
 * the tag's bottom-left anticlockwise as seen; both are turned into rimglow's
 * convention here. Its results are copied to values at once and released.
 *
 * Tags cut by the picture's edge: the library needs a closed dark outline, so
 * the picture is set into a margin of three rings. Next to the picture the
 * edge's own codes are repeated for some depth, which gives half-cut modules
 * their size back. Then comes the missing black border, but only where the
 * edge cuts a tag: over its dark runs and the bright ones between them that
 * are narrower than the paper between two tags. Beyond that lies paper: the
 * brightest code of the edge nearby, because a margin brighter than the paper
 * would make the paper count as dark. The depths that suit depend on how much
 * is missing, so a few are tried. On the sample frames with 55 more rows cut
 * off (1.7 modules of the nearest tag) this reads a tag in 23 of 25 frames,
 * the plain search in 3.
 */
#include "rimglow/tags.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>

#include "rimglow/memory.h"

enum {
    SIDE_MIN = 16,       /* px after decimation: the library crashes on a few pixels */
    SIDE_MAX = 16384,    /* px, of the picture searched */
    EDGE_ROWS = 3,       /* rows of the edge that are asked for paper and black */
    MARGIN_PER_SIDE = 8, /* the margin is an eighth of the picture's shorter side */
    MARGIN_MIN = 24      /* px */
};

/* Blur (sigma, px of the decimated picture) before outlines are traced there: plain decimation
 * keeps the full noise of single pixels, which frays outlines in dark frames. On the sample
 * frames it halves the time and leaves 2 instead of 7 of 161 frames without a tag. */
static const float DECIMATED_BLUR = 0.8f;

/* Widths of the rings, as parts of the margin; the rest is paper. */
typedef struct rings {
    double edge, border;
} rings;
static const rings attempts[] = {{0.12, 0.0}, {0.12, 0.36}, {0.24, 0.36}};
enum { ATTEMPTS = sizeof attempts / sizeof attempts[0] };

static const double CLOSE_GAP = 0.8; /* of the margin: bright runs within one tag */
static const int MIN_CONTRAST = 20;  /* codes between paper and black */
enum { NOT_DARK = 255 };

struct rg_tag_finder {
    rg_tag_options options;
    apriltag_family_t *family;
    apriltag_detector_t *detector;
    uint8_t *small; /* the reduced picture, kept from search to search; owned */
    size_t room;    /* bytes of it */
};

static rg_code check_options(const rg_tag_options *o, rg_error *err)
{
    static const double allowed[] = {1.0, 1.5, 2.0, 3.0, 4.0};
    bool known = false;
    for (size_t i = 0; i < sizeof allowed / sizeof allowed[0]; i++)
        known = known || o->decimate == allowed[i];
    if (!known)
        return rg_fail(err, RG_BAD_DATA, "tags: decimate is %g; use 1, 1.5, 2, 3 or 4",
                       o->decimate);
    if (o->max_hamming < 0 || o->max_hamming > 2)
        return rg_fail(err, RG_BAD_DATA, "tags: max_hamming is %d; use 0, 1 or 2", o->max_hamming);
    if (!(o->min_margin >= 0.0 && o->min_margin <= 255.0))
        return rg_fail(err, RG_BAD_DATA, "tags: min_margin is %g; use 0 to 255 grey codes",
                       o->min_margin);
    return RG_OK;
}

rg_code rg_tag_finder_new(rg_tag_finder **finder, const rg_tag_options *options, rg_error *err)
{
    *finder = NULL;
    rg_code code = check_options(options, err);
    if (code != RG_OK)
        return code;
    rg_tag_finder *f = rg_alloc(1, sizeof *f);
    if (!f)
        return rg_fail(err, RG_INTERNAL, "tags: out of memory for the tag finder");
    f->options = *options;
    f->family = tag36h11_create();
    f->detector = apriltag_detector_create();
    if (!f->family || !f->detector) {
        rg_tag_finder_free(f);
        return rg_fail(err, RG_INTERNAL, "tags: libapriltag could not be started");
    }
    f->detector->nthreads = 1;
    f->detector->refine_edges = options->refine;
    apriltag_detector_add_family_bits(f->detector, f->family, options->max_hamming);
    *finder = f;
    return RG_OK;
}

void rg_tag_finder_free(rg_tag_finder *finder)
{
    if (!finder)
        return;
    if (finder->detector)
        apriltag_detector_destroy(finder->detector);
    if (finder->family)
        tag36h11_destroy(finder->family);
    free(finder->small);
    free(finder);
}

/* What is searched: codes, and where their first lies in the picture. */
typedef struct view {
    uint8_t *grey;
    int width, height, stride;
    int x0, y0;
    int reduced; /* side of the block of pixels that became one here, 1 or more */
} view;

/* The library's detection in rimglow's convention, in the picture. */
static rg_tag convert(const apriltag_detection_t *d, const view *v)
{
    rg_tag tag = {.id = d->id, .hamming = d->hamming, .margin = (double)d->decision_margin};
    for (int i = 0; i < 4; i++) {
        tag.corner[i].x = d->p[3 - i][0] * v->reduced - 0.5 + v->x0;
        tag.corner[i].y = d->p[3 - i][1] * v->reduced - 0.5 + v->y0;
    }
    return tag;
}

static rg_vec2 middle(const rg_tag *tag)
{
    rg_vec2 m = {0.0, 0.0};
    for (int i = 0; i < 4; i++) {
        m.x += 0.25 * tag->corner[i].x;
        m.y += 0.25 * tag->corner[i].y;
    }
    return m;
}

/* True when the list already holds this tag: same id, centres within half a side. */
static bool known_tag(const rg_tag_list *list, const rg_tag *tag)
{
    rg_vec2 b = middle(tag);
    double side = hypot(tag->corner[1].x - tag->corner[0].x, tag->corner[1].y - tag->corner[0].y);
    side =
        fmax(side, hypot(tag->corner[3].x - tag->corner[0].x, tag->corner[3].y - tag->corner[0].y));
    for (int i = 0; i < list->count; i++) {
        rg_vec2 a = middle(&list->tag[i]);
        if (list->tag[i].id == tag->id && hypot(a.x - b.x, a.y - b.y) < 0.5 * side)
            return true;
    }
    return false;
}

/* One search; tags not yet in the list are added to it. */
static rg_code search(rg_tag_finder *f, const view *v, bool cut, rg_tag_list *list, rg_error *err)
{
    int shorter = v->width < v->height ? v->width : v->height;
    double decimate = v->reduced > 1 ? 1.0 : f->options.decimate;
    if (shorter < SIDE_MIN * decimate)
        return RG_OK; /* too small for the ten modules of a tag */
    f->detector->quad_decimate = (float)decimate;
    f->detector->quad_sigma = v->reduced > 1 || decimate >= 2.0 ? DECIMATED_BLUR : 0.0f;
    image_u8_t image = {
        .width = v->width, .height = v->height, .stride = v->stride, .buf = v->grey};
    zarray_t *found = apriltag_detector_detect(f->detector, &image);
    if (!found)
        return rg_fail(err, RG_INTERNAL, "tags: libapriltag failed on a %d x %d picture", v->width,
                       v->height);
    rg_code code = RG_OK;
    for (int i = 0; i < zarray_size(found) && code == RG_OK; i++) {
        apriltag_detection_t *d;
        zarray_get(found, i, &d);
        rg_tag tag = convert(d, v);
        tag.cut = cut;
        if (tag.hamming > f->options.max_hamming || tag.margin < f->options.min_margin ||
            known_tag(list, &tag))
            continue;
        if (list->count == RG_TAGS_MAX)
            code =
                rg_fail(err, RG_BAD_DATA,
                        "tags: more than %d tags in one picture; cover the others or move closer",
                        RG_TAGS_MAX);
        else
            list->tag[list->count++] = tag;
    }
    apriltag_detections_destroy(found);
    return code;
}

/* The picture inside its margin; filled anew for every attempt. */
typedef struct framed {
    const uint8_t *grey;
    int width, height, margin, stride;
    uint8_t *buffer; /* owned */
    /* Beside every sample of the four edges (top, bottom, left, right): */
    uint8_t *paper; /* owned: code of the paper */
    uint8_t *dark;  /* owned: code of the black of a cut tag, or NOT_DARK */
} framed;

static int side_length(const framed *f, int side)
{
    return side < 2 ? f->width : f->height;
}

static int side_offset(const framed *f, int side)
{
    return side < 2 ? side * f->width : 2 * f->width + (side - 2) * f->height;
}

/* Code of the edge sample i of a side (0 top, 1 bottom, 2 left, 3 right), k rows in. */
static uint8_t edge_code(const framed *f, int side, int i, int k)
{
    int x = side < 2 ? i : side == 2 ? k : f->width - 1 - k;
    int y = side >= 2 ? i : side == 0 ? k : f->height - 1 - k;
    return f->grey[(size_t)y * (size_t)f->width + (size_t)x];
}

/* Brightest and darkest edge code within one margin's length of sample i. */
static void edge_range(const framed *f, int side, int i, uint8_t *least, uint8_t *most)
{
    int n = side_length(f, side);
    int from = i > f->margin ? i - f->margin : 0, to = i + f->margin;
    *least = 255;
    *most = 0;
    for (int j = from; j <= to && j < n; j += 2)
        for (int k = 0; k < EDGE_ROWS; k++) {
            uint8_t c = edge_code(f, side, j, k);
            *most = c > *most ? c : *most;
            *least = c < *least ? c : *least;
        }
}

/* Makes bright runs of at most gap samples between dark ones dark. */
static void close_gaps(uint8_t *dark, int n, int gap)
{
    int last = -1;
    for (int i = 0; i < n; i++) {
        if (dark[i] == NOT_DARK)
            continue;
        if (last >= 0 && i - last - 1 <= gap)
            memset(dark + last + 1, dark[last], (size_t)(i - last - 1));
        last = i;
    }
}

static void study_side(framed *f, int side)
{
    uint8_t *paper = f->paper + side_offset(f, side), *dark = f->dark + side_offset(f, side);
    int n = side_length(f, side);
    for (int i = 0; i < n; i++) {
        uint8_t least;
        edge_range(f, side, i, &least, &paper[i]);
        bool is_dark =
            paper[i] - least > MIN_CONTRAST && edge_code(f, side, i, 1) < (paper[i] + least) / 2;
        dark[i] = is_dark ? least : NOT_DARK;
    }
    close_gaps(dark, n, (int)(CLOSE_GAP * f->margin));
}

static uint8_t margin_code(const framed *f, int x, int y, int edge, int border)
{
    int cx = x < 0 ? 0 : x >= f->width ? f->width - 1 : x;
    int cy = y < 0 ? 0 : y >= f->height ? f->height - 1 : y;
    int ox = abs(x - cx), oy = abs(y - cy), out = ox > oy ? ox : oy;
    if (out <= edge)
        return f->grey[(size_t)cy * (size_t)f->width + (size_t)cx];
    int at = oy >= ox ? side_offset(f, y < 0 ? 0 : 1) + cx : side_offset(f, x < 0 ? 2 : 3) + cy;
    return out <= edge + border && f->dark[at] != NOT_DARK ? f->dark[at] : f->paper[at];
}

static void fill_margin(framed *f, const rings *r)
{
    int m = f->margin, edge = (int)lround(r->edge * m), border = (int)lround(r->border * m);
    for (int y = -m; y < f->height + m; y++) {
        uint8_t *row = f->buffer + (size_t)(y + m) * (size_t)f->stride;
        bool inside = y >= 0 && y < f->height;
        for (int x = -m; x < f->width + m; x++) {
            if (inside && x == 0)
                x = f->width;
            row[x + m] = margin_code(f, x, y, edge, border);
        }
    }
}

static void framed_free(framed *f)
{
    free(f->buffer);
    free(f->paper);
    free(f->dark);
}

static rg_code framed_new(framed *f, const uint8_t *grey, int width, int height, rg_error *err)
{
    int shorter = width < height ? width : height;
    int margin = shorter / MARGIN_PER_SIDE > MARGIN_MIN ? shorter / MARGIN_PER_SIDE : MARGIN_MIN;
    *f = (framed){.grey = grey, .width = width, .height = height, .margin = margin};
    f->stride = width + 2 * margin;
    f->buffer = rg_alloc((size_t)(height + 2 * margin), (size_t)f->stride);
    f->paper = rg_alloc((size_t)(width + height), 2);
    f->dark = rg_alloc((size_t)(width + height), 2);
    if (!f->buffer || !f->paper || !f->dark) {
        framed_free(f);
        return rg_fail(err, RG_INTERNAL, "tags: out of memory for a %d x %d picture", width,
                       height);
    }
    for (int y = 0; y < height; y++)
        memcpy(f->buffer + (size_t)(y + margin) * (size_t)f->stride + margin,
               grey + (size_t)y * (size_t)width, (size_t)width);
    for (int side = 0; side < 4; side++)
        study_side(f, side);
    return RG_OK;
}

static rg_code search_cut(rg_tag_finder *finder, const uint8_t *grey, int width, int height,
                          rg_tag_list *list, rg_error *err)
{
    if (width < EDGE_ROWS || height < EDGE_ROWS)
        return RG_OK;
    framed f;
    rg_code code = framed_new(&f, grey, width, height, err);
    if (code != RG_OK)
        return code;
    for (int i = 0; i < ATTEMPTS && code == RG_OK; i++) {
        fill_margin(&f, &attempts[i]);
        view v = {f.buffer, f.stride, height + 2 * f.margin, f.stride, -f.margin, -f.margin, 1};
        code = search(finder, &v, true, list, err);
    }
    framed_free(&f);
    return code;
}

static rg_code check_size(int width, int height, rg_error *err)
{
    if (width < 1 || height < 1 || width > SIDE_MAX || height > SIDE_MAX)
        return rg_fail(err, RG_BAD_DATA,
                       "tags: picture of %d x %d; sides of 1 to %d px can be used", width, height,
                       SIDE_MAX);
    return RG_OK;
}

rg_code rg_tags_find(rg_tag_finder *finder, const uint8_t *grey, int width, int height,
                     bool complete_edges, rg_tag_list *list, rg_error *err)
{
    /* The library takes a mutable buffer but only reads it. */
    view whole = {(uint8_t *)(uintptr_t)grey, width, height, width, 0, 0, 1};
    list->count = 0;
    rg_code code = check_size(width, height, err);
    if (code == RG_OK)
        code = search(finder, &whole, false, list, err);
    if (code == RG_OK && complete_edges)
        code = search_cut(finder, grey, width, height, list, err);
    return code;
}

/* ---------------------------------------------------------------- large tags */

/* Room for the sums of a row and for the reduced picture behind them. */
static rg_code make_room(rg_tag_finder *f, size_t bytes, rg_error *err)
{
    if (bytes <= f->room)
        return RG_OK;
    free(f->small);
    f->room = 0;
    f->small = rg_alloc(bytes, 1);
    if (!f->small)
        return rg_fail(err, RG_INTERNAL, "tags: out of memory for a picture of %zu bytes", bytes);
    f->room = bytes;
    return RG_OK;
}

static void add_row(const uint8_t *row, int width, uint16_t *sum)
{
    for (int x = 0; x < width; x++)
        sum[x] = (uint16_t)(sum[x] + row[x]);
}

static uint8_t mean_of(const uint16_t *sum, int reduce)
{
    unsigned s = 0, area = (unsigned)(reduce * reduce);
    for (int i = 0; i < reduce; i++)
        s += sum[i];
    return (uint8_t)((s + area / 2) / area);
}

/* Means of blocks: they lose less of a tag, and keep less noise, than every so manieth pixel does. */
static rg_code reduce_view(rg_tag_finder *f, const view *from, int reduce, view *to, rg_error *err)
{
    int width = from->width / reduce, height = from->height / reduce, used = width * reduce;
    size_t sums = (size_t)used * sizeof(uint16_t);
    rg_code code = make_room(f, sums + (size_t)width * (size_t)height, err);
    if (code != RG_OK)
        return code;
    uint16_t *sum = (uint16_t *)(void *)f->small;
    *to = (view){f->small + sums, width, height, width, from->x0, from->y0, reduce};
    for (int y = 0; y < height; y++) {
        const uint8_t *row = from->grey + (size_t)y * (size_t)reduce * (size_t)from->stride;
        memset(sum, 0, sums);
        for (int i = 0; i < reduce; i++)
            add_row(row + (size_t)i * (size_t)from->stride, used, sum);
        for (int x = 0; x < width; x++)
            to->grey[y * width + x] = mean_of(sum + x * reduce, reduce);
    }
    return RG_OK;
}

rg_code rg_tags_find_large(rg_tag_finder *finder, const uint8_t *grey, int width, int height,
                           const int box[4], int reduce, rg_tag_list *list, rg_error *err)
{
    static const int all[4] = {0, 0, SIDE_MAX, SIDE_MAX};
    const int *b = box ? box : all;
    int x0 = b[0] > 0 ? b[0] : 0, x1 = b[2] < width - 1 ? b[2] : width - 1;
    int y0 = b[1] > 0 ? b[1] : 0, y1 = b[3] < height - 1 ? b[3] : height - 1;
    view small;
    list->count = 0;
    rg_code code = check_size(width, height, err);
    if (code == RG_OK && (reduce < 2 || reduce > RG_TAGS_REDUCE_MAX))
        code = rg_fail(err, RG_INTERNAL, "tags: a picture reduced %d times; 2 to %d can be", reduce,
                       (int)RG_TAGS_REDUCE_MAX);
    if (code != RG_OK || x1 - x0 + 1 < reduce || y1 - y0 + 1 < reduce)
        return code;
    size_t first = (size_t)y0 * (size_t)width + (size_t)x0;
    view part = {(uint8_t *)(uintptr_t)grey + first, x1 - x0 + 1, y1 - y0 + 1, width, x0, y0, 1};
    code = reduce_view(finder, &part, reduce, &small, err);
    return code == RG_OK ? search(finder, &small, false, list, err) : code;
}

/* ---------------------------------------------------------------- printing */

static rg_code copy_modules(const image_u8_t *tag, int id,
                            uint8_t module[RG_TAG_MODULES][RG_TAG_MODULES], rg_error *err)
{
    if (!tag)
        return rg_fail(err, RG_INTERNAL, "tags: libapriltag could not draw tag %d", id);
    if (tag->width != RG_TAG_MODULES || tag->height != RG_TAG_MODULES)
        return rg_fail(err, RG_INTERNAL, "tags: libapriltag draws tag %d with %d x %d modules", id,
                       tag->width, tag->height);
    for (int r = 0; r < RG_TAG_MODULES; r++)
        for (int c = 0; c < RG_TAG_MODULES; c++)
            module[r][c] = tag->buf[r * tag->stride + c] != 0;
    return RG_OK;
}

rg_code rg_tag_modules(int id, uint8_t module[RG_TAG_MODULES][RG_TAG_MODULES], rg_error *err)
{
    if (id < 0 || id >= RG_TAG_IDS)
        return rg_fail(err, RG_BAD_DATA, "tags: no tag36h11 has the id %d; ids are 0 to %d", id,
                       RG_TAG_IDS - 1);
    apriltag_family_t *family = tag36h11_create();
    image_u8_t *tag = family ? apriltag_to_image(family, id) : NULL;
    rg_code code = copy_modules(tag, id, module, err);
    if (tag)
        free(tag->buf);
    free(tag);
    if (family)
        tag36h11_destroy(family);
    return code;
}
