/*
 * diagnosis_private.h - shared by diagnosis*.c.
 */
#ifndef RIMGLOW_SETUP_DIAGNOSIS_PRIVATE_H
#define RIMGLOW_SETUP_DIAGNOSIS_PRIVATE_H

#include "rimglow/diagnosis.h"

/* Actions, amounts, order, and what the seal would become. */
void rg_diagnosis_correct(const rg_seal_map *map, const rg_diagnosis_options *options,
                          rg_diagnosis *d);

#endif
