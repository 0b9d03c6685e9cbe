/*
 * prove.c - make prove: are the stated uncertainties and detection figures
 * true? Rendered sweeps are measured by the ordinary pipeline and compared with
 * what was rendered. See tests/tools/proof/.
 *
 * usage: prove pose N | noise N | full N [SEED] | detection N [SEED [PXMM [CSV]]]
 *              | sealed N [SEED] | check
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "proof/proof.h"

static int number(int argc, char **argv, int i, int otherwise)
{
    return i < argc ? atoi(argv[i]) : otherwise;
}

static int check(void)
{
    int failures = proof_pose(120);
    failures += proof_noise(200);
    return failures;
}

int main(int argc, char **argv)
{
    const char *what = argc > 1 ? argv[1] : "check";
    int n = number(argc, argv, 2, 12), failures;
    uint64_t seed = (uint64_t)number(argc, argv, 3, 1);
    if (strcmp(what, "pose") == 0)
        failures = proof_pose(n);
    else if (strcmp(what, "noise") == 0)
        failures = proof_noise(n);
    else if (strcmp(what, "parts") == 0)
        failures = proof_parts(n);
    else if (strcmp(what, "full") == 0)
        failures = proof_full(n, seed);
    else if (strcmp(what, "detection") == 0)
        failures = proof_detection(n, seed, number(argc, argv, 4, 25), argc > 5 ? argv[5] : NULL);
    else if (strcmp(what, "sealed") == 0)
        failures = proof_sealed(n, seed);
    else if (strcmp(what, "check") == 0)
        failures = check();
    else {
        fprintf(stderr, "prove: no proof of that name: %s\n", what);
        return 64;
    }
    printf("prove: %d figures out of bounds\n", failures);
    return failures ? 1 : 0;
}
