/*
 * draw_certificate_pages.h - private to the certificate's PDF: a run of A4 pages, mm.
 */
#ifndef RIMGLOW_EDGE_DRAW_CERTIFICATE_PAGES_H
#define RIMGLOW_EDGE_DRAW_CERTIFICATE_PAGES_H

#include "draw_certificate_private.h"

#define RG_CERT_WIDTH  210.0
#define RG_CERT_HEIGHT 297.0
#define RG_CERT_LEFT   16.0
#define RG_CERT_RIGHT  (RG_CERT_WIDTH - RG_CERT_LEFT)
#define RG_CERT_ROOM   (RG_CERT_RIGHT - RG_CERT_LEFT)
#define RG_CERT_BOTTOM 278.0 /* of the content; the foot stands below */

typedef struct rg_cert_pages {
    cairo_t *cr;
    rg_canvas *canvas;
    const rg_certificate *c;
    int page;        /* from 1 */
    int pages;       /* of the drawing before; 0 in the first, which only counts */
    int record_page; /* where the lists stand in full; likewise */
} rg_cert_pages;

/* Ends the page with its foot and begins the next with its head; returns the first free y. */
double rg_cert_next_page(rg_cert_pages *p);
void rg_cert_foot(const rg_cert_pages *p);

/* The text's first line in the font that is set: what fits the room, up to a newline; of the last
 * line all that follows comes along, for rg_text to shorten. Returns the rest. */
const char *rg_cert_line(cairo_t *cr, const char *text, double room, bool last,
                         char line[RG_DRAW_TEXT]);
/* At most `most` such lines, the last with an ellipsis if it must. Returns how many; draw false
 * only counts. Texts of any length. */
int rg_cert_wrap(cairo_t *cr, double x, double y, double room, double step, int most, bool draw,
                 const char *text);
void rg_cert_heading_line(cairo_t *cr, double x, double y, const char *text);
/* The verdict as on the ring's page: black when leaking, dashed when undecided. */
void rg_cert_verdict_box(cairo_t *cr, rg_verdict verdict, double x, double y, double width,
                         double height);

void rg_cert_first_page(rg_cert_pages *p);
void rg_cert_rows(rg_cert_pages *p);   /* begins its own pages */
void rg_cert_record(rg_cert_pages *p); /* likewise; what did not fit before, in full */

#endif
