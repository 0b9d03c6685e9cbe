/*
 * exif.c - the orientation tag of an EXIF block.
 *
 * EXIF is a TIFF file (TIFF 6.0, 1992; CIPA DC-008): byte order "II" or "MM",
 * the number 42, the offset of directory 0; a directory is a count and
 * entries of 12 bytes (tag, type, count, value). Only tag 274 of type SHORT
 * and count 1 is looked for. Reading beyond the end sets a flag that is
 * checked once.
 */
#include "rimglow/decode.h"

enum { TAG_ORIENTATION = 274, TYPE_SHORT = 3, ENTRY_BYTES = 12 };

struct reader {
    const uint8_t *bytes;
    size_t size;
    bool big_endian, past_end;
};

static uint32_t read_at(struct reader *r, size_t offset, size_t bytes)
{
    if (offset > r->size || bytes > r->size - offset) {
        r->past_end = true;
        return 0;
    }
    uint32_t v = 0;
    for (size_t i = 0; i < bytes; i++)
        v = v << 8 | r->bytes[offset + (r->big_endian ? i : bytes - 1 - i)];
    return v;
}

/* The value of the orientation entry, 0 when the directory has none. */
static uint32_t find_orientation(struct reader *r, size_t directory)
{
    uint32_t entries = read_at(r, directory, 2);
    for (uint32_t i = 0; i < entries && !r->past_end; i++) {
        size_t entry = directory + 2 + (size_t)ENTRY_BYTES * i;
        if (read_at(r, entry, 2) != TAG_ORIENTATION)
            continue;
        bool one_short = read_at(r, entry + 2, 2) == TYPE_SHORT && read_at(r, entry + 4, 4) == 1;
        return one_short ? read_at(r, entry + 8, 2) : 0;
    }
    return 0;
}

int rg_exif_orientation(const uint8_t *tiff, size_t size)
{
    if (size < 8 || tiff[0] != tiff[1] || (tiff[0] != 'I' && tiff[0] != 'M'))
        return 1;
    struct reader r = {tiff, size, tiff[0] == 'M', false};
    if (read_at(&r, 2, 2) != 42)
        return 1;
    uint32_t v = find_orientation(&r, read_at(&r, 4, 4));
    return !r.past_end && v >= 1 && v <= 8 ? (int)v : 1;
}
