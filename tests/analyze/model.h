/*
 * model.h - what the analysers cannot know; included before each file by make analyze, never by a build.
 */
#ifndef RIMGLOW_TESTS_ANALYZE_MODEL_H
#define RIMGLOW_TESTS_ANALYZE_MODEL_H

#include <string.h>

#include "rimglow/status.h"

/* rg_fail gives the code back that it was given, so a function that fails never gives RG_OK. */
#define rg_fail(err, code, ...) ((void)rg_fail(err, code, __VA_ARGS__), (code))

/* glibc's strerror is thread-safe since 2.32 (strerror(3)); checks go by the letter of POSIX. */
char *rg_model_strerror(int number);
#define strerror(number) rg_model_strerror(number)

#endif
