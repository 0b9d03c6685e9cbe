/*
 * build_facts.h - what this program was built from and runs with, for reports of faults.
 */
#ifndef RIMGLOW_BUILD_FACTS_H
#define RIMGLOW_BUILD_FACTS_H

#include <stddef.h>

/* Lines, each ended by a newline: compiler, language standard, processor, checks that are compiled in; then the
 * libraries, with the version that runs (libjpeg-turbo: that it was compiled for). No date and no path: the
 * same source gives the same text. Cut to fit; 1024 bytes are enough. */
void rg_build_facts(char *text, size_t size);

#endif
