/*
 * fuzz_jpeg.c - any bytes as a JPEG (see decode_target.h).
 */
#include "decode_target.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    return fuzz_decode(RG_FORMAT_JPEG, data, size);
}
