/*
 * fuzz_png.c - any bytes as a PNG (see decode_target.h).
 *
 * Nearly every change to a PNG breaks a chunk's CRC and ends at once, so
 * under libFuzzer (tests/fuzz/run.sh defines RG_LIBFUZZER) three of four
 * changed inputs get their CRCs put right and reach the decoder behind them.
 */
#include "decode_target.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    return fuzz_decode(RG_FORMAT_PNG, data, size);
}

#ifdef RG_LIBFUZZER
size_t LLVMFuzzerMutate(uint8_t *data, size_t size, size_t max_size);
size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t max_size, unsigned seed);

static uint32_t crc32_of(const uint8_t *bytes, size_t size)
{
    uint32_t crc = 0xffffffff;
    for (size_t i = 0; i < size; i++) {
        crc ^= bytes[i];
        for (int k = 0; k < 8; k++)
            crc = crc >> 1 ^ (crc & 1 ? 0xedb88320 : 0);
    }
    return ~crc;
}

static void repair_crcs(uint8_t *data, size_t size)
{
    for (size_t place = 8; place + 12 <= size;) {
        uint8_t *p = data + place;
        size_t length = (size_t)p[0] << 24 | (size_t)p[1] << 16 | (size_t)p[2] << 8 | p[3];
        if (length > size - place - 12)
            return;
        uint32_t crc = crc32_of(p + 4, length + 4);
        for (size_t i = 0; i < 4; i++)
            p[8 + length + i] = (uint8_t)(crc >> (24 - 8 * i));
        place += length + 12;
    }
}

size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t max_size, unsigned seed)
{
    size = LLVMFuzzerMutate(data, size, max_size);
    if (seed % 4)
        repair_crcs(data, size);
    return size;
}
#endif
