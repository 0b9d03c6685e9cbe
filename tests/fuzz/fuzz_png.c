/*
 * fuzz_png.c - any bytes as a PNG (see decode_target.h).
 */
#include "decode_target.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    return fuzz_decode(RG_FORMAT_PNG, data, size);
}
