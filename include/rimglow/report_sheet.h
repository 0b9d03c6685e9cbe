/*
 * report_sheet.h - what was printed, as JSON for machines.
 *
 * {"format": "rimglow crowns", "version": 1, "software", "paper", "pages", "copies", "files"[],
 *  "px_per_mm", "crowns"[] of {crown, ids[6], title?, apothem_mm, face_mm, crown_tag_mm,
 *  module_mm, module_px, largest_module_mm, largest_module_px, least_cup_diameter_mm,
 *  ring_height_mm, centre_above_lower_edge_mm, crown_centre_height_mm (null: depends on the cup),
 *  instrument_lines[]}}
 *
 * {"format": "rimglow board", "version": 1, "software", "paper", "files"[], "columns", "rows",
 *  "tag_mm", "pitch_mm", "first_id", "last_id", "module_mm", "module_px", "width_mm",
 *  "height_mm" (black edge to black edge)}
 */
#ifndef RIMGLOW_REPORT_SHEET_H
#define RIMGLOW_REPORT_SHEET_H

#include "rimglow/ring.h"

typedef struct rg_report_paper {
    const char *paper;
    const char *const *files; /* [pages of SVG, or 1] */
    int file_count, pages, copies;
    double px_per_mm;
} rg_report_paper;

typedef struct rg_report_crown {
    const rg_ring *ring;
    const char *title;        /* or NULL */
    const char *const *lines; /* of the instrument file */
    int line_count;
} rg_report_crown;

typedef struct rg_report_board {
    int columns, rows;
    double tag_mm, pitch_mm;
    int first_id;
} rg_report_board;

/* Indented JSON text, NUL-terminated, owned by the caller (free()). */
rg_code rg_report_crowns(const rg_report_paper *paper, const rg_report_crown *crown, int count,
                         char **text, rg_error *err);
rg_code rg_report_board_sheet(const rg_report_paper *paper, const rg_report_board *board,
                              char **text, rg_error *err);

#endif
