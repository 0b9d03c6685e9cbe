/*
 * study_table.h - results of studies for people on a terminal, within 80 columns.
 */
#ifndef RIMGLOW_STUDY_TABLE_H
#define RIMGLOW_STUDY_TABLE_H

#include "rimglow/study_run.h"

/* quantity: words for what was studied. place: where the files went, NULL: nowhere. */
void rg_study_print_gauge(const rg_gauge_run *run, const rg_study_options *options,
                          const char *quantity, const char *place);
void rg_study_print_detect(const rg_detect_run *run, const rg_study_options *options,
                           const char *place);

#endif
