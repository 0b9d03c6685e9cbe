/*
 * draw_strip.c - the strips of a sweep, one row a frame, on one scale of
 * bearings.
 *
 * A row shows the unwrapped rim between view_low and view_high about the rim
 * plane, light as brightness (sRGB, IEC 61966-2-1, so that equal steps look
 * equal). A ledger under each row says in patterns what every column was
 * taken for: solid black is slot light, an open box is dark and seen, cross
 * hatching is hidden, bars are glare, nothing is out of view. Reading down a
 * bearing shows the rocking: a gap lights up in some rows and not in others.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "draw_private.h"
#include "rimglow/memory.h"

enum {
    PLOT_LEFT = 296,
    PX_PER_DEG = 3,
    PLOT_WIDTH = 360 * PX_PER_DEG,
    STRIP_HEIGHT = 30, /* of the light */
    LEDGER = 8,        /* of the ledger under it */
    ROW = 46,          /* from one row to the next */
    HEADER = 132,
    FOOTER = 96,
    MARGIN = 24
};

static const double view_low = -0.35, view_high = 0.40; /* mm about the rim plane */
static const double full_light = 0.5;                   /* linear light drawn as white */
static const double same_place_deg = 8; /* cameras closer than this stand at one place */

typedef struct row {
    const rg_frame *frame;
    const char *file;
    int index, place;
} row;

typedef struct sheet {
    cairo_t *cr;
    const rg_draw_strip_args *args;
    row *rows;
    int count; /* drawn */
} sheet;

/* ----------------------------------------------------------------- order */

static bool has_strip(const rg_frame *f)
{
    return f->used && f->strip.columns > 0 && f->strip.column && f->strip.light;
}

/* Light was measured, column by column of the strip. */
static bool has_light(const rg_frame *f)
{
    return has_strip(f) && f->light.column && f->light.columns == f->strip.columns;
}

static double finite_or_zero(double x)
{
    return isfinite(x) ? x : 0;
}

static int by_bearing(const void *a, const void *b)
{
    const row *x = a, *y = b;
    bool sx = has_strip(x->frame), sy = has_strip(y->frame);
    if (sx != sy)
        return sx ? -1 : 1;
    double bx = finite_or_zero(x->frame->bearing_deg), by = finite_or_zero(y->frame->bearing_deg);
    if (sx && bx != by)
        return bx < by ? -1 : 1;
    return x->index - y->index;
}

static int by_place(const void *a, const void *b)
{
    const row *x = a, *y = b;
    if (x->place != y->place)
        return x->place - y->place;
    double ex = finite_or_zero(x->frame->elevation_deg),
           ey = finite_or_zero(y->frame->elevation_deg);
    if (has_strip(x->frame) && ex != ey)
        return ex > ey ? -1 : 1;
    return x->index - y->index;
}

/* Frames without a strip come last, in the order given. */
static void order_rows(row *rows, int n)
{
    qsort(rows, (size_t)n, sizeof *rows, by_bearing);
    for (int i = 1; i < n; i++) {
        const rg_frame *f = rows[i].frame, *before = rows[i - 1].frame;
        bool apart =
            finite_or_zero(f->bearing_deg) - finite_or_zero(before->bearing_deg) > same_place_deg;
        rows[i].place =
            rows[i - 1].place + (has_strip(f) != has_strip(before) || (has_strip(f) && apart));
    }
    qsort(rows, (size_t)n, sizeof *rows, by_place);
}

/* ----------------------------------------------------------------- light */

static double plot_x(double bearing_deg)
{
    return PLOT_LEFT + PX_PER_DEG * bearing_deg;
}

/* Strip column for every plot column, -1 where the strip has none. */
static void columns_of(const rg_strip *strip, int at[PLOT_WIDTH])
{
    double reach = fmax(strip->step_deg, 1.0 / PX_PER_DEG);
    double nearest[PLOT_WIDTH];
    for (int x = 0; x < PLOT_WIDTH; x++) {
        at[x] = -1;
        nearest[x] = 0.75 * reach;
    }
    for (int c = 0; c < strip->columns; c++) {
        double b = strip->column[c].bearing_deg;
        if (!isfinite(b))
            continue;
        int first = (int)floor((b - reach) * PX_PER_DEG), last = first + 2 + (int)(2 * reach * 3);
        for (int x = first; x <= last; x++) {
            int wrapped = (x % PLOT_WIDTH + PLOT_WIDTH) % PLOT_WIDTH;
            double d = fabs(rg_angle_between((x + 0.5) / PX_PER_DEG, b));
            if (d < nearest[wrapped]) {
                nearest[wrapped] = d;
                at[wrapped] = c;
            }
        }
    }
}

/* Height of the rim plane in this frame's strip, mm. */
static double rim_height(const sheet *s, const rg_frame *f, int column)
{
    const rg_rim_plane *p = s->args->plane;
    double b = f->strip.column[column].bearing_deg;
    return f->shift_mm + (p && p->found ? rg_rim_plane_height(p, b) : 0);
}

/* The strip's row at a height above the rim plane; -1 outside. */
static int strip_row(const sheet *s, const rg_frame *f, int column, double mm)
{
    double r = (mm + rim_height(s, f, column) - f->strip.low_mm) / f->strip.dz_mm;
    return r >= 0 && r < f->strip.rows - 0.5 ? (int)lround(r) : -1;
}

static double height_at(double y)
{
    return view_high - (view_high - view_low) * y / STRIP_HEIGHT;
}

static unsigned tone_at(const sheet *s, const rg_frame *f, int column, double y)
{
    int r = column < 0 ? -1 : strip_row(s, f, column, height_at(y));
    if (r < 0)
        return 255;
    double light = f->strip.light[(size_t)column * (size_t)f->strip.rows + (size_t)r];
    if (!(light >= 0))
        return isnan(light) ? 255 : 0;
    return (unsigned)lround(255 * rg_linear_to_srgb(fmin(light / full_light, 1)));
}

/* The light as a picture in the row's place. */
static void paint_light(const sheet *s, const rg_frame *f, const int at[PLOT_WIDTH], double top)
{
    cairo_surface_t *grey =
        cairo_image_surface_create(CAIRO_FORMAT_RGB24, PLOT_WIDTH, STRIP_HEIGHT);
    if (cairo_surface_status(grey) == CAIRO_STATUS_SUCCESS) {
        unsigned char *data = cairo_image_surface_get_data(grey);
        size_t stride = (size_t)cairo_image_surface_get_stride(grey);
        for (int y = 0; y < STRIP_HEIGHT; y++)
            for (int x = 0; x < PLOT_WIDTH; x++) {
                uint32_t tone = tone_at(s, f, at[x], y + 0.5), pixel = tone * 0x10101U;
                memcpy(data + (size_t)y * stride + 4 * (size_t)x, &pixel, sizeof pixel);
            }
        cairo_surface_mark_dirty(grey);
    }
    if (cairo_surface_get_type(cairo_get_target(s->cr)) == CAIRO_SURFACE_TYPE_SVG)
        rg_attach_png(grey);
    cairo_set_source_surface(s->cr, grey, PLOT_LEFT, top);
    cairo_paint(s->cr);
    cairo_surface_destroy(grey);
}

/* ------------------------------------------------------- what was found */

static rg_column_state state_at(const rg_frame *f, int column)
{
    if (column < 0)
        return RG_COLUMN_OUTSIDE;
    if (!has_light(f))
        return f->strip.column[column].inside ? RG_COLUMN_DARK : RG_COLUMN_OUTSIDE;
    return f->light.column[column].state;
}

/* Rectangles [top, top + height) over every run of columns in one state. */
static bool state_path(const sheet *s, const rg_frame *f, const int at[PLOT_WIDTH],
                       rg_column_state state, double top, double height)
{
    bool any = false;
    cairo_new_path(s->cr);
    for (int x = 0; x < PLOT_WIDTH;) {
        int end = x;
        while (end < PLOT_WIDTH && state_at(f, at[end]) == state)
            end++;
        if (end > x)
            cairo_rectangle(s->cr, PLOT_LEFT + x, top, end - x, height);
        any = any || end > x;
        x = end > x ? end : x + 1;
    }
    return any;
}

static void draw_ledger(const sheet *s, const rg_frame *f, const int at[PLOT_WIDTH], double top)
{
    cairo_t *cr = s->cr;
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 1);
    if (state_path(s, f, at, RG_COLUMN_DARK, top + 0.5, LEDGER - 1))
        cairo_stroke(cr);
    if (state_path(s, f, at, RG_COLUMN_LIT, top, LEDGER))
        cairo_fill(cr);
    if (state_path(s, f, at, RG_COLUMN_HIDDEN, top, LEDGER))
        rg_fill_pattern(cr, RG_PATTERN_CROSS, 5);
    cairo_set_line_width(cr, 1.6);
    if (state_path(s, f, at, RG_COLUMN_GLARE, top, LEDGER))
        rg_fill_pattern(cr, RG_PATTERN_BARS, 4);
}

/* Hidden and glare again on the light itself, thinly. */
static void veil(const sheet *s, const rg_frame *f, const int at[PLOT_WIDTH], double top)
{
    cairo_set_line_width(s->cr, 0.8);
    rg_grey(s->cr, 1);
    if (state_path(s, f, at, RG_COLUMN_HIDDEN, top, STRIP_HEIGHT))
        rg_fill_pattern(s->cr, RG_PATTERN_CROSS, 10);
    if (state_path(s, f, at, RG_COLUMN_GLARE, top, STRIP_HEIGHT))
        rg_fill_pattern(s->cr, RG_PATTERN_BARS, 8);
}

static double clip_y(double mm)
{
    double y = (view_high - mm) / (view_high - view_low) * STRIP_HEIGHT;
    return fmin(fmax(y, 1), STRIP_HEIGHT - 1);
}

static bool lit_at(const rg_frame *f, int column)
{
    return column >= 0 && f->light.column[column].state == RG_COLUMN_LIT &&
           isfinite(f->light.column[column].bottom_mm) && isfinite(f->light.column[column].top_mm);
}

/* Outline of the slot light, drawn a little wide of it so as to leave it bare. */
static void outline_light(const sheet *s, const rg_frame *f, const int at[PLOT_WIDTH], double top)
{
    for (int x = 0; x < PLOT_WIDTH;) {
        int end = x;
        while (end < PLOT_WIDTH && lit_at(f, at[end]))
            end++;
        if (end == x) {
            x++;
            continue;
        }
        for (int i = x; i < end; i++)
            cairo_line_to(s->cr, PLOT_LEFT + i + 0.5,
                          top + clip_y(f->light.column[at[i]].top_mm) - 2.5);
        for (int i = end - 1; i >= x; i--)
            cairo_line_to(s->cr, PLOT_LEFT + i + 0.5,
                          top + clip_y(f->light.column[at[i]].bottom_mm) + 2.5);
        cairo_close_path(s->cr);
        rg_stroke_cased(s->cr, 1.1);
        x = end;
    }
}

static bool rejected_at(const sheet *s, const rg_frame *f, int column, double y)
{
    int r = column < 0 ? -1 : strip_row(s, f, column, height_at(y));
    return r >= 0 && f->light.mask[(size_t)column * (size_t)f->strip.rows + (size_t)r] == 2;
}

/* Light that was found but is no slot light: hatched black. */
static void hatch_rejected(const sheet *s, const rg_frame *f, const int at[PLOT_WIDTH], double top)
{
    bool any = false;
    cairo_new_path(s->cr);
    for (int y = 0; y < STRIP_HEIGHT; y++)
        for (int x = 0; x < PLOT_WIDTH;) {
            int end = x;
            while (end < PLOT_WIDTH && rejected_at(s, f, at[end], y + 0.5))
                end++;
            if (end > x)
                cairo_rectangle(s->cr, PLOT_LEFT + x, top + y, end - x, 1);
            any = any || end > x;
            x = end > x ? end : x + 1;
        }
    rg_grey(s->cr, 0);
    cairo_set_line_width(s->cr, 1.5);
    if (any)
        rg_fill_pattern(s->cr, RG_PATTERN_DIAGONAL, 4.5);
}

/* ------------------------------------------------------------------ rows */

static void draw_camera(const sheet *s, const rg_frame *f, double top)
{
    double x = plot_x(rg_wrap_degrees(f->bearing_deg));
    if (!isfinite(x))
        return;
    rg_grey(s->cr, 0);
    cairo_move_to(s->cr, x, top - 1);
    cairo_line_to(s->cr, x - 4, top - 7);
    cairo_line_to(s->cr, x + 4, top - 7);
    cairo_close_path(s->cr);
    cairo_fill(s->cr);
}

static void label_row(const sheet *s, const row *w, double top)
{
    char text[96];
    const rg_frame *f = w->frame;
    rg_grey(s->cr, 0);
    rg_font(s->cr, 14, true);
    rg_text(s->cr, MARGIN, top + 13, 0, PLOT_LEFT - MARGIN - 14, rg_draw_name(w->file, "(frame)"));
    rg_font(s->cr, 13.5, false);
    if (has_strip(f)) {
        snprintf(text, sizeof text, "camera at %.0f\u00b0, elevation %+.2f\u00b0", f->bearing_deg,
                 f->elevation_deg);
        rg_text(s->cr, MARGIN, top + 32, 0, PLOT_LEFT - MARGIN - 14, text);
    }
}

static const char *why_no_strip(const rg_frame *f)
{
    if (f->reason[0])
        return f->reason;
    if (f->role == RG_FRAME_WITNESS)
        return "witness: the pad is cracked open to prove and measure the light";
    if (f->role == RG_FRAME_OPEN)
        return "key at rest: taken for the opening, not for the seal";
    return "nothing to show";
}

static void write_reason(const sheet *s, const rg_frame *f, double top)
{
    char text[RG_DRAW_TEXT];
    snprintf(text, sizeof text, "%s%s", f->used ? "" : "NOT USED: ", why_no_strip(f));
    cairo_rectangle(s->cr, PLOT_LEFT + 0.5, top - 0.5, PLOT_WIDTH - 1, STRIP_HEIGHT + LEDGER);
    rg_grey(s->cr, 0.5);
    cairo_set_line_width(s->cr, 1);
    cairo_stroke(s->cr);
    rg_grey(s->cr, 0);
    rg_font(s->cr, 14, false);
    rg_text_wrap(s->cr, PLOT_LEFT + 12, top + 14, PLOT_WIDTH - 24, 18, 2, true, text);
}

static void draw_row(const sheet *s, const row *w, double top)
{
    int at[PLOT_WIDTH];
    const rg_frame *f = w->frame;
    label_row(s, w, top);
    if (!has_strip(f)) {
        write_reason(s, f, top);
        return;
    }
    columns_of(&f->strip, at);
    paint_light(s, f, at, top);
    veil(s, f, at, top);
    if (has_light(f) && f->light.mask)
        hatch_rejected(s, f, at, top);
    if (has_light(f))
        outline_light(s, f, at, top);
    draw_ledger(s, f, at, top + STRIP_HEIGHT);
    draw_camera(s, f, top);
}

/* ------------------------------------------------------- axis and legend */

static void draw_axis(const sheet *s, double y, double bottom)
{
    char text[32];
    rg_font(s->cr, 15, true);
    for (int b = 0; b <= 360; b += 10) {
        double x = plot_x(b);
        rg_grey(s->cr, b % 30 ? 0.85 : 0.6);
        cairo_set_line_width(s->cr, b % 30 ? 0.6 : 1);
        cairo_move_to(s->cr, x, y);
        cairo_line_to(s->cr, x, bottom);
        cairo_stroke(s->cr);
        rg_grey(s->cr, 0);
        cairo_move_to(s->cr, x, y - (b % 30 ? 4 : 9));
        cairo_line_to(s->cr, x, y);
        cairo_stroke(s->cr);
        snprintf(text, sizeof text, "%d\u00b0", b);
        if (b % 30 == 0)
            rg_text(s->cr, x, y - 13, b == 360 ? 0.8 : 0.5, 0, text);
    }
    rg_grey(s->cr, 0);
    cairo_set_line_width(s->cr, 1.4);
    cairo_move_to(s->cr, PLOT_LEFT, y);
    cairo_line_to(s->cr, PLOT_LEFT + PLOT_WIDTH, y);
    cairo_stroke(s->cr);
    rg_font(s->cr, 13.5, false);
    rg_text(s->cr, PLOT_LEFT - 22, y - 13, 1, PLOT_LEFT - MARGIN - 30,
            "bearing, 0\u00b0 = key arm");
}

static void sample_box(cairo_t *cr, double x, double y)
{
    cairo_rectangle(cr, x + 0.5, y - 11.5, 40, 12);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 1);
}

static void legend_words(const sheet *s, double x, double y, const char *text)
{
    rg_font(s->cr, 14, false);
    rg_grey(s->cr, 0);
    rg_text(s->cr, x + 50, y, 0, 0, text);
}

static void legend_photo(const sheet *s, double x, double y)
{
    cairo_t *cr = s->cr;
    cairo_rectangle(cr, x, y - 15, 40, 18);
    rg_grey(cr, 0.3);
    cairo_fill(cr);
    cairo_rectangle(cr, x + 8, y - 9, 24, 5);
    rg_grey(cr, 1);
    cairo_fill(cr);
    cairo_rectangle(cr, x + 5, y - 12, 30, 11);
    rg_stroke_cased(cr, 1.1);
    legend_words(s, x, y, "slot light, outlined");
    x += 225;
    cairo_rectangle(cr, x, y - 15, 40, 18);
    rg_grey(cr, 0.9);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 1.5);
    rg_fill_pattern(cr, RG_PATTERN_DIAGONAL, 4.5);
    legend_words(s, x, y, "light rejected: streak or reflection");
    x += 330;
    cairo_move_to(cr, x + 20, y - 3);
    cairo_line_to(cr, x + 14, y - 12);
    cairo_line_to(cr, x + 26, y - 12);
    cairo_close_path(cr);
    cairo_fill(cr);
    legend_words(s, x - 8, y, "where the camera stood");
}

static void legend_ledger(const sheet *s, double x, double y)
{
    sample_box(s->cr, x, y);
    cairo_fill(s->cr);
    legend_words(s, x, y, "slot light");
    sample_box(s->cr, x + 225, y);
    cairo_stroke(s->cr);
    legend_words(s, x + 225, y, "rim seen, dark");
    sample_box(s->cr, x + 425, y);
    rg_fill_pattern(s->cr, RG_PATTERN_CROSS, 5);
    legend_words(s, x + 425, y, "hidden");
    sample_box(s->cr, x + 555, y);
    cairo_set_line_width(s->cr, 1.6);
    rg_fill_pattern(s->cr, RG_PATTERN_BARS, 4);
    legend_words(s, x + 555, y, "glare");
    legend_words(s, x + 625, y, "nothing drawn: out of view");
}

static void draw_footer(const sheet *s, double y)
{
    char text[64];
    int rest = s->args->count - s->count;
    if (rest > 0) {
        rg_grey(s->cr, 0);
        rg_font(s->cr, 15, true);
        snprintf(text, sizeof text, "+ %d more frames", rest);
        rg_text(s->cr, MARGIN, y + 4, 0, PLOT_LEFT - MARGIN - 20, text);
    }
    rg_font(s->cr, 14, true);
    rg_grey(s->cr, 0);
    rg_text(s->cr, PLOT_LEFT - 20, y + 36, 1, 0, "in the strips");
    legend_photo(s, PLOT_LEFT, y + 36);
    rg_font(s->cr, 14, true);
    rg_grey(s->cr, 0);
    rg_text(s->cr, PLOT_LEFT - 20, y + 68, 1, 0, "in the line below");
    legend_ledger(s, PLOT_LEFT, y + 68);
}

static void draw_header(const sheet *s)
{
    const rg_draw_strip_args *a = s->args;
    double right = RG_STRIP_WIDTH - MARGIN;
    rg_grey(s->cr, 0);
    rg_font(s->cr, 28, true);
    rg_text(s->cr, MARGIN, 46, 0, 720, "The rim, unwrapped, in every frame");
    rg_font(s->cr, 15, false);
    rg_text(s->cr, MARGIN, 72, 0, 860,
            "one row a frame, brightness is light; read down a bearing to see a gap light up and "
            "vanish as the camera rocks");
    rg_font(s->cr, 24, true);
    rg_text(s->cr, right, 44, 1, 420, rg_draw_name(a->pad, "(no name)"));
    rg_font(s->cr, 15, false);
    rg_text(s->cr, right, 68, 1, 420, rg_draw_name(a->serial, "(no serial)"));
    rg_text(s->cr, right, 88, 1, 420, rg_draw_name(a->date, ""));
}

/* ------------------------------------------------------------------ sheet */

static rg_code fill_rows(sheet *s, rg_error *err)
{
    const rg_draw_strip_args *a = s->args;
    int n = a->count > 0 ? a->count : 0;
    s->rows = rg_alloc((size_t)n, sizeof *s->rows);
    if (!s->rows)
        return rg_fail(err, RG_INTERNAL, "no memory for the rows of %d frames", n);
    for (int i = 0; i < n; i++)
        s->rows[i] = (row){&a->frames[i], a->files ? a->files[i] : NULL, i, 0};
    order_rows(s->rows, n);
    s->count = n < RG_STRIP_FRAMES_MAX ? n : RG_STRIP_FRAMES_MAX;
    return RG_OK;
}

static void draw_rows(const sheet *s)
{
    for (int i = 0; i < s->count; i++) {
        double top = HEADER + 12 + (double)ROW * i;
        if (i > 0 && s->rows[i].place != s->rows[i - 1].place) {
            rg_grey(s->cr, 0);
            cairo_set_line_width(s->cr, 1);
            cairo_move_to(s->cr, MARGIN, top - 7.5);
            cairo_line_to(s->cr, PLOT_LEFT + PLOT_WIDTH, top - 7.5);
            cairo_stroke(s->cr);
        }
        draw_row(s, &s->rows[i], top);
    }
}

rg_code rg_draw_strip(const rg_draw_strip_args *args, rg_picture_format format, rg_bytes *out,
                      rg_error *err)
{
    rg_canvas canvas;
    sheet s = {.args = args};
    *out = (rg_bytes){0};
    rg_code code = fill_rows(&s, err);
    double bottom = HEADER + 12 + (double)ROW * s.count;
    if (code == RG_OK)
        code = rg_canvas_open(&canvas, format, RG_STRIP_WIDTH, bottom + FOOTER, err);
    if (code == RG_OK) {
        s.cr = canvas.cr;
        draw_header(&s);
        draw_axis(&s, HEADER, bottom);
        draw_rows(&s);
        draw_footer(&s, bottom);
        code = rg_canvas_close(&canvas, out, err);
    }
    free(s.rows);
    return code;
}
