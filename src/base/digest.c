/*
 * digest.c - SHA-256 by nettle, files in blocks (digest.h).
 *
 * A copy is hashed while it is made: the digest is of the very bytes that were handed to write(),
 * not of a second reading that could differ.
 */
#include "rimglow/digest.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <nettle/sha2.h>
#include <sodium.h>
#include <stdalign.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rimglow/file.h"

enum { BLOCK_BYTES = 64 * 1024 };

/* ---- bytes and digits ---- */

static_assert(sizeof(struct sha256_ctx) <= sizeof(rg_hasher),
              "nettle's state has room in a hasher");
static_assert(alignof(struct sha256_ctx) <= alignof(rg_hasher), "and is aligned in it");

static struct sha256_ctx *state_of(rg_hasher *hasher)
{
    return (struct sha256_ctx *)(void *)&hasher->state;
}

void rg_hasher_begin(rg_hasher *hasher)
{
    sha256_init(state_of(hasher));
}

void rg_hasher_add(rg_hasher *hasher, const void *bytes, size_t size)
{
    sha256_update(state_of(hasher), size, bytes);
}

rg_digest rg_hasher_end(rg_hasher *hasher)
{
    rg_digest digest;
    sha256_digest(state_of(hasher), RG_DIGEST_SIZE, digest.byte);
    return digest;
}

rg_digest rg_digest_of(const void *bytes, size_t size)
{
    rg_hasher hasher;
    rg_hasher_begin(&hasher);
    rg_hasher_add(&hasher, bytes, size);
    return rg_hasher_end(&hasher);
}

bool rg_digest_equal(const rg_digest *a, const rg_digest *b)
{
    return memcmp(a->byte, b->byte, RG_DIGEST_SIZE) == 0;
}

void rg_digest_format(const rg_digest *digest, char text[RG_DIGEST_TEXT])
{
    sodium_bin2hex(text, RG_DIGEST_TEXT, digest->byte, RG_DIGEST_SIZE);
}

bool rg_digest_parse(const char *text, rg_digest *digest)
{
    rg_digest found;
    size_t bytes = 0;
    if (strlen(text) != RG_DIGEST_TEXT - 1 ||
        sodium_hex2bin(found.byte, RG_DIGEST_SIZE, text, RG_DIGEST_TEXT - 1, NULL, &bytes, NULL) !=
            0 ||
        bytes != RG_DIGEST_SIZE)
        return false;
    *digest = found;
    return true;
}

/* ---- files ---- */

typedef enum pump_end { PUMP_DONE, PUMP_READ_FAILED, PUMP_WRITE_FAILED } pump_end;

/* Reads in to its end; every block goes into the digest and, unless out is -1, to out. Why it
 * failed is in errno. */
static pump_end pump(int in, int out, rg_digest *digest, uint64_t *size)
{
    uint8_t block[BLOCK_BYTES];
    rg_hasher hasher;
    rg_hasher_begin(&hasher);
    *size = 0;
    for (;;) {
        ssize_t n = read(in, block, sizeof block);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return PUMP_READ_FAILED;
        if (n == 0)
            break;
        rg_hasher_add(&hasher, block, (size_t)n);
        if (out >= 0 && !rg_write_all(out, block, (size_t)n))
            return PUMP_WRITE_FAILED;
        *size += (uint64_t)n;
    }
    *digest = rg_hasher_end(&hasher);
    return PUMP_DONE;
}

static rg_code read_failed(const char *path, int reason, rg_error *err)
{
    return rg_fail(err, RG_NO_INPUT, "%s: cannot be read (%s); check the disk it is on", path,
                   strerror(reason));
}

/* links: 0, or O_NOFOLLOW to refuse a symbolic link. */
static rg_code open_source(const char *path, int links, int *fd, struct stat *st, rg_error *err)
{
    /* Without O_NONBLOCK, opening a pipe would wait for its writer. */
    *fd = rg_open(AT_FDCWD, path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | links, 0);
    if (*fd < 0 && errno == ELOOP)
        return rg_fail(err, RG_NO_INPUT,
                       "%s: is a symbolic link, which is not followed; put the file itself there",
                       path);
    if (*fd < 0)
        return rg_fail(err, RG_NO_INPUT,
                       "%s: cannot be opened (%s); check the name and that you may read it", path,
                       strerror(errno));
    if (fstat(*fd, st) == 0 && S_ISREG(st->st_mode))
        return RG_OK;
    close(*fd);
    return rg_fail(err, RG_NO_INPUT, "%s: is not a regular file; name a file", path);
}

rg_code rg_digest_stream(int fd, const char *name, rg_digest *digest, uint64_t *size, rg_error *err)
{
    uint64_t bytes;
    if (pump(fd, -1, digest, &bytes) != PUMP_DONE)
        return read_failed(name, errno, err);
    if (size)
        *size = bytes;
    return RG_OK;
}

rg_code rg_digest_file(const char *path, rg_digest *digest, uint64_t *size, rg_error *err)
{
    int fd;
    struct stat st;
    rg_code code = open_source(path, O_NOFOLLOW, &fd, &st, err);
    if (code)
        return code;
    code = rg_digest_stream(fd, path, digest, size, err);
    close(fd);
    return code;
}

static bool same_state(int fd, const struct stat *before, uint64_t bytes)
{
    struct stat now;
    return fstat(fd, &now) == 0 && (uint64_t)now.st_size == bytes &&
           now.st_size == before->st_size && now.st_mtim.tv_sec == before->st_mtim.tv_sec &&
           now.st_mtim.tv_nsec == before->st_mtim.tv_nsec;
}

static rg_code fill_copy(int in, const struct stat *before, const char *from, int out,
                         const char *to, rg_digest *digest, uint64_t *size, rg_error *err)
{
    switch (pump(in, out, digest, size)) {
    case PUMP_READ_FAILED:
        return read_failed(from, errno, err);
    case PUMP_WRITE_FAILED:
        return rg_file_refusal(to, errno, err);
    case PUMP_DONE:
        break;
    }
    if (!same_state(in, before, *size))
        return rg_fail(err, RG_IO,
                       "%s: was written to while it was copied; try again when nothing uses it",
                       from);
    return rg_fsync(out) == 0 ? RG_OK : rg_file_refusal(to, errno, err);
}

rg_code rg_digest_copy(const char *from, const char *to, rg_digest *digest, uint64_t *size,
                       rg_error *err)
{
    int in;
    struct stat before;
    uint64_t bytes = 0;
    rg_code code = open_source(from, 0, &in, &before, err);
    if (code)
        return code;
    int out = rg_open(AT_FDCWD, to, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
    if (out < 0) {
        int reason = errno;
        close(in);
        return rg_file_refusal(to, reason, err);
    }
    code = fill_copy(in, &before, from, out, to, digest, &bytes, err);
    close(in);
    if (rg_close(out) != 0 && !code)
        code = rg_file_refusal(to, errno, err);
    if (code)
        unlink(to);
    else if (size)
        *size = bytes;
    return code;
}
