/*
 * build_facts.c - compiler and libraries. See build_facts.h.
 */
#include "rimglow/build_facts.h"

#include <cairo.h>
#include <gsl/gsl_version.h>
#include <jansson.h>
#include <jconfig.h>
#include <microhttpd.h>
#include <nettle/version.h>
#include <png.h>
#include <sodium.h>
#include <sqlite3.h>
#include <stdio.h>

#define WORD(x)   #x
#define EXPAND(x) WORD(x)

#ifdef __clang__
#define COMPILER "clang " __clang_version__
#else
#define COMPILER "gcc " __VERSION__
#endif

#if defined(__x86_64__)
#define PROCESSOR "x86-64"
#elif defined(__aarch64__)
#define PROCESSOR "AArch64"
#else
#define PROCESSOR "another processor"
#endif

#ifdef __SANITIZE_ADDRESS__
#define CHECKS ", address and undefined-behaviour sanitizers"
#else
#define CHECKS ""
#endif

void rg_build_facts(char *text, size_t size)
{
    snprintf(text, size,
             "built with %s, C %ld, for %s%s\n"
             "libjpeg-turbo %s, libpng %s, GSL %s, cairo %s\n"
             "jansson %s, SQLite %s, libsodium %s, nettle %d.%d, libmicrohttpd %s\n",
             COMPILER, (long)__STDC_VERSION__, PROCESSOR, CHECKS, EXPAND(LIBJPEG_TURBO_VERSION),
             png_get_libpng_ver(NULL), gsl_version, cairo_version_string(), jansson_version_str(),
             sqlite3_libversion(), sodium_version_string(), nettle_version_major(),
             nettle_version_minor(), MHD_get_version());
}
