/*
 * setup_work.h - private to app: the work-up of rimglow setup on the terminal, as JSON and as pictures.
 */
#ifndef RIMGLOW_APP_SETUP_WORK_H
#define RIMGLOW_APP_SETUP_WORK_H

#include "rimglow/workup.h"

void rg_setup_print_work(const rg_workup *workup);
/* One document on standard output: the sheet with the work as its "work". */
rg_code rg_setup_print_json(const char *sheet, const char *work, rg_error *err);
/* FOLDER/heights.png, .svg and FOLDER/closings-PAD.png, .svg, where there is something to draw. */
rg_code rg_setup_draw_work(const rg_workup *workup, const char *serial, const char *folder,
                           rg_error *err);

#endif
