/*
 * capture_screen.h - what rimglow capture shows while frames are taken, as text: on a terminal one area that is
 * written over, elsewhere a line now and then. Pure functions of the state.
 */
#ifndef RIMGLOW_CAPTURE_SCREEN_H
#define RIMGLOW_CAPTURE_SCREEN_H

#include "rimglow/live.h"

enum { RG_SCREEN_TEXT = 6000, RG_SCREEN_LINES = 23, RG_SCREEN_WIDTH = 79 };

typedef struct rg_screen {
    const rg_live_state *state;
    const rg_seal_map *map;
    const double *level_deg; /* [RG_COVER_LEVELS] */
    const char *serial, *pad;
    const char *now; /* what the person is asked to do */
    rg_source_counts source;
    const char *note; /* what the source says, or "" */
    const char *keys; /* which keys do what, or "" */
} rg_screen;

/* RG_SCREEN_LINES lines of at most RG_SCREEN_WIDTH columns, each ended by a newline. */
void rg_screen_text(const rg_screen *screen, char text[RG_SCREEN_TEXT]);
/* One line, without a newline. */
void rg_screen_line(const rg_live_state *state, char *text, size_t size);

#endif
