/*
 * draw_archive_private.h - shared by draw_archive*.c.
 */
#ifndef RIMGLOW_EDGE_DRAW_ARCHIVE_PRIVATE_H
#define RIMGLOW_EDGE_DRAW_ARCHIVE_PRIVATE_H

#include "draw_plot.h"
#include "rimglow/draw_archive.h"

enum { RG_ARCHIVE_MARGIN = 40, RG_ARCHIVE_BOXES = 1024 };

static const double rg_archive_most_mm = 1000; /* wider "gaps" are drawn at the edge */

/* Kept to what can be drawn; NAN stays. */
double rg_archive_kept(double mm);
/* The same for "%.3f", without a "-0.000". */
double rg_archive_written(double mm);
/* U, kept as well; 0 where there is none. */
double rg_archive_u(double coverage_factor, double u);

/* What the picture shows, then its result in words: large on one line, smaller on two. */
void rg_archive_header(cairo_t *cr, const char *what, const char *result);

/* "pad G of PE-A-0147" with what is known. */
void rg_archive_subject(char text[RG_DRAW_TEXT], const char *serial, const char *pad);

/* Upright lines at round numbers of days; p->x0 and x1 are POSIX days. With words: the dates. */
void rg_archive_date_axis(const rg_plot *p, bool words);
/* "2026-10-02 to 2026-11-25", or the one date. */
void rg_archive_dates(double day0, double day1, char text[32]);
/* Days of POSIX seconds, kept to what a date can be. */
double rg_archive_day(int64_t time);

/* Sealed: ring; leaking: black square; undecided: diamond. With letter: S, L, U in it. */
void rg_archive_mark(cairo_t *cr, rg_verdict verdict, double x, double y, double size, bool letter);

/* Places that words have taken, so that none covers another. */
typedef struct rg_archive_words {
    cairo_t *cr;
    double left, top, right, bottom; /* all must lie within */
    double box[RG_ARCHIVE_BOXES][4];
    int boxes;
} rg_archive_words;
/* False when the box is outside, or taken; takes it otherwise. */
bool rg_archive_take(rg_archive_words *w, double x0, double y0, double x1, double y1);
/* Writes with the current font, baseline y, where there is room; cut to at most max_width. */
bool rg_archive_word(rg_archive_words *w, double x, double y, double anchor, double max_width,
                     const char *text);

/* RG_BAD_DATA for a tolerance or coverage factor that is no positive number. */
rg_code rg_archive_check(double tolerance_mm, double coverage_factor, rg_error *err);

/* Strokes from (x0, y0) to (x1, y1). */
void rg_archive_line(cairo_t *cr, double x0, double y0, double x1, double y1, double width,
                     double dash);

#endif
