/*
 * table.h - the readable table on the terminal: one row per pad, its reasons
 * and the frames that were left out below it.
 */
#ifndef RIMGLOW_TABLE_H
#define RIMGLOW_TABLE_H

#include <stdbool.h>

#include "rimglow/config.h"

enum { RG_TABLE_PLACE = 1400, RG_TABLE_FRAMES = 8, RG_TABLE_LINE = 400 };

typedef struct rg_table_row {
    char name[RG_NAME_SIZE];
    rg_verdict verdict;
    int seen;              /* bearings */
    double width_mm, u_mm; /* widest gap and U there; NAN when none was measured */
    double bearing_deg;
    int arcs;
    int frames_used, frames_given; /* closed */
    int reasons;
    char reason[RG_REASONS_MAX][RG_REASON_SIZE];
    bool heights;      /* open frames were given */
    bool heights_only; /* and no others: nothing was looked at of the seal */
    rg_opening opening;
    double target_mm, coverage_factor;
    int left_out; /* frames not used; the first few are named */
    char frame[RG_TABLE_FRAMES][RG_TABLE_LINE];
    char place[RG_TABLE_PLACE]; /* where the results went */
} rg_table_row;

void rg_table_fill(rg_table_row *row, const char *pad, const rg_sweep_result *result,
                   const rg_frame *frames, int count, const rg_sealmap_options *options);
/* The opening of the open key; nothing without open frames. */
void rg_table_heights(rg_table_row *row, const rg_opening *opening, double target_mm,
                      double coverage_factor, bool heights_only);
/* Names the frames that were left out, and why; an open frame that was used for heights is none. */
void rg_table_frames(rg_table_row *row, const rg_sweep *sweep, const rg_frame *frames);

/* Prints a row to stdout, with the heading before the first. */
void rg_table_print(const rg_table_row *row, bool inch, bool first);

/* The closing lines over all rows. */
void rg_table_close(const rg_table_row *rows, const rg_error *errors, int count,
                    const char *verdict);

#endif
