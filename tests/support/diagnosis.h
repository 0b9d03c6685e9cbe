/*
 * diagnosis.h - the values of calib/diagnosis.ini for tests; tests/edge/test_config_diagnosis.c compares
 * the two.
 */
#ifndef RIMGLOW_TESTS_DIAGNOSIS_H
#define RIMGLOW_TESTS_DIAGNOSIS_H

#include "rimglow/diagnosis.h"

rg_diagnosis_options test_diagnosis_options(void);

#endif
