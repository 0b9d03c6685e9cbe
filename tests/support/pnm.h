/*
 * pnm.h - the checksum of a picture as a portable anymap.
 */
#ifndef RIMGLOW_TESTS_PNM_H
#define RIMGLOW_TESTS_PNM_H

#include "rimglow/image.h"

/* The first 16 hexadecimal digits of the SHA-256, by the system's sha256sum,
 * of an 8-bit picture as PGM or PPM ("P5\nW H\n255\n" and the samples). */
void test_pnm_sha256(const rg_image *image, char digits[17]);

#endif
