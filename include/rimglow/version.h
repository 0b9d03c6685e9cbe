/*
 * version.h - the one place where the version stands.
 */
#ifndef RIMGLOW_VERSION_H
#define RIMGLOW_VERSION_H

#define RG_VERSION "0.2.0"

/* RG_VERSION of the library that is linked. */
const char *rg_version(void);

#endif
