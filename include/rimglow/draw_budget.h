/*
 * draw_budget.h - the uncertainty budget of one gap on a page to print: the
 * result, the table of inputs, and each one's share as a bar (type A solid,
 * type B hatched). One routine for PNG, SVG and PDF, as in draw.h.
 */
#ifndef RIMGLOW_DRAW_BUDGET_H
#define RIMGLOW_DRAW_BUDGET_H

#include "rimglow/draw.h"
#include "rimglow/gap_budget.h"

/* px; as a PDF it fills an A4 page. */
enum { RG_BUDGET_WIDTH = 992, RG_BUDGET_HEIGHT = 1403 };

typedef struct rg_draw_budget_args {
    const rg_gap_budget *budget;
    const char *serial, *pad, *station, *date; /* any may be NULL */
} rg_draw_budget_args;

rg_code rg_draw_budget(const rg_draw_budget_args *args, rg_picture_format format, rg_bytes *out,
                       rg_error *err);

#endif
