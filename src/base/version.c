/*
 * version.c - the version as a function, for whoever links the library.
 */
#include "rimglow/version.h"

const char *rg_version(void)
{
    return RG_VERSION;
}
