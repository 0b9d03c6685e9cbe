/*
 * prove.c - make prove: are the stated uncertainties and detection figures
 * true? Rendered sweeps are measured by the ordinary pipeline and compared with
 * what was rendered. See tests/tools/proof/.
 *
 * usage: prove traced | pose N | noise N | parts N | full N [SEED]
 *              | detection N [SEED [PX_PER_MM [NAME]]] | sealed N [SEED]
 *              | check (small numbers, about 80 s) | all (about an hour of one core)
 *
 * traced is part of make accuracy, not of check.
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
    return proof_pose(100) + proof_noise(200) + proof_parts(11) + proof_detection(2, 1, 25, NULL) +
           proof_sealed(5, 1);
}

static int all(void)
{
    return proof_traced() + proof_pose(400) + proof_noise(200) + proof_parts(21) +
           proof_full(200, 1) + proof_detection(60, 1, 25, "build/detection-25") +
           proof_detection(30, 2, 30, "build/detection-30") + proof_sealed(500, 1);
}

static int run(const char *what, int n, uint64_t seed, int argc, char **argv)
{
    if (strcmp(what, "traced") == 0)
        return proof_traced();
    if (strcmp(what, "pose") == 0)
        return proof_pose(n);
    if (strcmp(what, "noise") == 0)
        return proof_noise(n);
    if (strcmp(what, "parts") == 0)
        return proof_parts(n);
    if (strcmp(what, "full") == 0)
        return proof_full(n, seed);
    if (strcmp(what, "detection") == 0)
        return proof_detection(n, seed, number(argc, argv, 4, 25), argc > 5 ? argv[5] : NULL);
    if (strcmp(what, "sealed") == 0)
        return proof_sealed(n, seed);
    if (strcmp(what, "check") == 0)
        return check();
    return strcmp(what, "all") == 0 ? all() : -1;
}

int main(int argc, char **argv)
{
    const char *what = argc > 1 ? argv[1] : "check";
    setvbuf(stdout, NULL, _IOLBF, 0);
    int failures =
        run(what, number(argc, argv, 2, 12), (uint64_t)number(argc, argv, 3, 1), argc, argv);
    if (failures < 0) {
        fprintf(stderr, "prove: no proof of that name: %s\n", what);
        return 64;
    }
    printf("prove: %d figures out of bounds\n", failures);
    return failures ? 1 : 0;
}
