/*
 * digest.h - SHA-256 (FIPS 180-4) of bytes and of files, by nettle, which uses the processor's own SHA
 * instructions where there are any. All functions may be called from any thread.
 */
#ifndef RIMGLOW_DIGEST_H
#define RIMGLOW_DIGEST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rimglow/status.h"

enum { RG_DIGEST_SIZE = 32, RG_DIGEST_TEXT = 65 };

typedef struct rg_digest {
    uint8_t byte[RG_DIGEST_SIZE];
} rg_digest;

rg_digest rg_digest_of(const void *bytes, size_t size);
/* Of bytes that come piece by piece: begin, add as often as wanted, end. A plain value that owns nothing. */
typedef struct rg_hasher {
    union {
        uint64_t aligned;
        uint8_t byte[128];
    } state; /* nettle's */
} rg_hasher;
void rg_hasher_begin(rg_hasher *hasher);
void rg_hasher_add(rg_hasher *hasher, const void *bytes, size_t size);
rg_digest rg_hasher_end(rg_hasher *hasher);

bool rg_digest_equal(const rg_digest *a, const rg_digest *b);
/* 64 lower-case hexadecimal digits. */
void rg_digest_format(const rg_digest *digest, char text[RG_DIGEST_TEXT]);
/* Exactly 64 hexadecimal digits of either case, ended by 0; false for anything else. */
bool rg_digest_parse(const char *text, rg_digest *digest);

/* Of what is left to read of an open file, in blocks; name is used in error texts. RG_NO_INPUT when
 * reading fails. */
rg_code rg_digest_stream(int fd, const char *name, rg_digest *digest, uint64_t *size,
                         rg_error *err);
/* Of a regular file; *size (may be NULL) gets its bytes. RG_NO_INPUT when it is missing, not a
 * regular file (a symbolic link is none) or unreadable. */
rg_code rg_digest_file(const char *path, rg_digest *digest, uint64_t *size, rg_error *err);
/* Copies a regular file (a symbolic link is followed) into a new one (mode 0666 & ~umask; refused
 * when it exists), fsyncs it, and gives the digest of what was read and written. A file that grew,
 * shrank or was written to meanwhile is refused. On failure the new file is removed. RG_NO_INPUT,
 * RG_CANT_CREATE, RG_IO as rg_file_refusal. */
rg_code rg_digest_copy(const char *from, const char *to, rg_digest *digest, uint64_t *size,
                       rg_error *err);

#endif
