/*
 * printing.h - what the printing commands (crown, board) share: options,
 * the sheet file, the station's scale, and files for pages.
 */
#ifndef RIMGLOW_PRINTING_H
#define RIMGLOW_PRINTING_H

#include <stdbool.h>

#include "rimglow/draw_sheet.h"
#include "rimglow/options.h"
#include "rimglow/report_sheet.h"

enum { RG_PRINT_FILES_MAX = 200, RG_PRINTING_OPTIONS = 7 };

typedef struct rg_printing {
    /* Options; NULL: not given. */
    const char *out, *sheet, *scale, *station, *distance;
    int paper; /* rg_paper */
    bool json;
    /* Filled by rg_printing_prepare. */
    rg_ring_rules rules;
    double px_per_mm;
    rg_picture_format format;
    /* Filled by rg_printing_write. */
    char *file[RG_PRINT_FILES_MAX]; /* owned */
    int files, pages;
} rg_printing;

/* The options that both commands have, into option[RG_PRINTING_OPTIONS]. */
void rg_printing_options(rg_printing *printing, rg_option *option);

/* The value of an option that is a number. RG_USAGE names it and its range. */
rg_code rg_printing_number(const char *option, const char *text, double low, double high,
                           double *value, rg_error *err);

/* Reads the sheet file and the scale; the ending of out decides the format. */
rg_code rg_printing_prepare(rg_printing *printing, rg_error *err);

typedef rg_code rg_printing_draw(const void *args, rg_picture_format format, int page,
                                 rg_bytes *out, rg_error *err);
/* One PDF of all pages, or an SVG for each: NAME.svg when there is one page,
 * else NAME-1.svg, NAME-2.svg, ... All are drawn before the first is written. */
rg_code rg_printing_write(rg_printing *printing, int pages, rg_printing_draw *draw,
                          const void *args, rg_error *err);
void rg_printing_free(rg_printing *printing);

/* For the JSON answer; borrows from printing. */
rg_report_paper rg_printing_report(const rg_printing *printing, int copies);

/* Prints the text, and frees it; or the error. Returns the exit code. */
int rg_printing_answer(rg_code code, char *text, const rg_error *err);

#endif
