/*
 * starved.c - rimglow itself, linked so that our own code's allocations can be made to fail: for the walks of
 * tests/cli/test_out_of_memory.sh under the sanitizers, where nothing can be preloaded. Settings as in
 * tests/shim/alloc.c. LeakSanitizer looks at each child as it ends.
 */
#define ALLOC_WRAPPED
#include "shim/alloc.c"

#include "rimglow/command.h"

int main(int argc, char **argv)
{
    return rg_command_main(argc, argv);
}
