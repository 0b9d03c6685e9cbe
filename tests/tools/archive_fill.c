/*
 * archive_fill.c - fills an index with invented inspections, for measurements and for trying
 * things out.
 *
 *   archive_fill FILE N [SEED]     N inspections of 24 pads, spread over 13 months
 *
 * Rows that are there stay; the same bag is written again. Exit code 1 and a message on any
 * failure.
 */
#include <stdio.h>
#include <stdlib.h>

#include "rimglow/catalogue.h"
#include "rimglow/text.h"
#include "support/visits.h"

static rg_code fill(rg_catalogue *catalogue, int total, unsigned seed, rg_error *err)
{
    static test_visit visit;
    rg_code code = rg_catalogue_begin(catalogue, err);
    if (code != RG_OK)
        return code;
    for (int i = 0; i < total && code == RG_OK; i++) {
        test_visit_make(&visit, i, total, seed);
        code = rg_catalogue_put(catalogue, &visit.row, err);
    }
    rg_code end = rg_catalogue_end(catalogue, code == RG_OK, code == RG_OK ? err : NULL);
    return code == RG_OK ? end : code;
}

int main(int argc, char **argv)
{
    long total = 0, seed = 1;
    rg_error err = {0};
    rg_catalogue *catalogue = NULL;
    if (argc < 3 || argc > 4 || !rg_parse_int(argv[2], 1, 10000000, &total) ||
        (argc == 4 && !rg_parse_int(argv[3], 0, 1000000000, &seed))) {
        fprintf(stderr, "usage: archive_fill FILE N [SEED]\n");
        return 1;
    }
    rg_code code = rg_catalogue_open(argv[1], RG_CATALOGUE_WRITE, &catalogue, &err);
    if (code == RG_OK)
        code = fill(catalogue, (int)total, (unsigned)seed, &err);
    rg_catalogue_close(catalogue);
    if (code != RG_OK)
        fprintf(stderr, "archive_fill: %s\n", err.text);
    return code == RG_OK ? 0 : 1;
}
