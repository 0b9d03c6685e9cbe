/*
 * config_board.h - the calibration board's file (calib/board.ini): the board
 * as printed, how it is looked for, what is fitted, and when that is good
 * enough. Format and refusals as in config.h.
 */
#ifndef RIMGLOW_CONFIG_BOARD_H
#define RIMGLOW_CONFIG_BOARD_H

#include <stddef.h>

#include "rimglow/boardview.h"
#include "rimglow/lensreview.h"

/* How photographs are taken by themselves, live; decides nothing about a calibration. */
typedef struct rg_board_live {
    double still_px;    /* mean movement of the marks from picture to picture: held still */
    double still_s;     /* for so long */
    double max_blur_px; /* width of the borders (sigma) */
    double moved_part;  /* mean distance of the marks from every earlier photograph, part of the
                           picture's diagonal */
} rg_board_live;

typedef struct rg_board_config {
    rg_board board;
    rg_tag_options tags;
    rg_board_limits limits;
    rg_calibration_options options;
    bool k3; /* in the file; options.model.radial is 3 with it, else 2 */
    rg_lens_limits enough;
    rg_board_live live;
} rg_board_config;

/* label names the file in messages. */
rg_code rg_board_config_parse(const char *label, const char *text, size_t size,
                              rg_board_config *config, rg_error *err);

#endif
