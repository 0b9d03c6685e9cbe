/*
 * visits.h - inspections of the loan instruments of the invented Port Ellery Municipal Band, as
 * rows of the index. The same number and seed give the same rows.
 */
#ifndef RIMGLOW_TESTS_VISITS_H
#define RIMGLOW_TESTS_VISITS_H

#include "rimglow/catalogue.h"

enum {
    TEST_PADS = 24,
    TEST_ARCS_MAX = 3,                             /* of a pad */
    TEST_VISITS_BEGIN = 1761955200,                /* 2025-11-01T00:00:00Z */
    TEST_VISITS_END = 1761955200 + 395 * 24 * 3600 /* 13 months later */
};

typedef struct test_visit {
    rg_catalogue_inspection row; /* its pads, arcs and values lie here */
    rg_catalogue_pad pad[TEST_PADS];
    rg_catalogue_arc arc[TEST_PADS][TEST_ARCS_MAX];
    rg_catalogue_value value[2];
} test_visit;

/* Visit number of total, spread over the 13 months in this order; seven of each serial. */
void test_visit_make(test_visit *visit, int number, int total, unsigned seed);

#endif
