/*
 * draw_study_private.h - shared by draw_study*.c.
 */
#ifndef RIMGLOW_EDGE_DRAW_STUDY_PRIVATE_H
#define RIMGLOW_EDGE_DRAW_STUDY_PRIVATE_H

#include "draw_plot.h"
#include "rimglow/draw_study.h"

enum { RG_STUDY_MARGIN = 40 };

/* Title, a line below it and the table's name at the right. */
void rg_study_header(cairo_t *cr, const char *title, const char *below, const char *table);

#endif
