/*
 * signing.c - Ed25519 keys, signatures and their files, by libsodium (signing.h).
 *
 * Secrets live in memory of sodium_malloc (guarded, kept out of swap where the system allows it) or
 * in buffers that are wiped before they go. A key file is judged by the descriptor it was opened
 * with, so what is judged is what is read.
 */
#include "rimglow/signing.h"

#include <errno.h>
#include <fcntl.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rimglow/file.h"
#include "rimglow/memory.h"

#define SECRET_HEAD  "rimglow secret key 1\n"
#define PUBLIC_HEAD  "rimglow public key 1\n"
#define MESSAGE_HEAD "rimglow bag 1\n"

enum {
    SEED_DIGITS = 2 * crypto_sign_SEEDBYTES,
    KEY_DIGITS = 2 * RG_PUBLIC_KEY,
    SIGNATURE_DIGITS = 2 * RG_SIGNATURE,
    KEY_FILE_MAX = 256,
    MESSAGE_SIZE = sizeof MESSAGE_HEAD - 1 + RG_DIGEST_TEXT - 1 + 1
};

struct rg_secret_key {
    rg_public_key open;
    uint8_t bytes[crypto_sign_SECRETKEYBYTES];
};

static rg_code ready(rg_error *err)
{
    return sodium_init() < 0 ? rg_fail(err, RG_INTERNAL,
                                       "libsodium finds no random numbers on "
                                       "this system; no key can be used")
                             : RG_OK;
}

/* ---- keys ---- */

static void set_id(rg_public_key *key)
{
    char digits[RG_DIGEST_TEXT];
    rg_digest digest = rg_digest_of(key->byte, RG_PUBLIC_KEY);
    rg_digest_format(&digest, digits);
    memcpy(key->id, digits, RG_KEY_ID - 1);
    key->id[RG_KEY_ID - 1] = 0;
}

rg_code rg_key_from_seed(const uint8_t seed[32], rg_secret_key **key, rg_error *err)
{
    *key = NULL;
    rg_code code = ready(err);
    if (code)
        return code;
    rg_secret_key *k = sodium_malloc(sizeof *k);
    if (!k)
        return rg_fail(err, RG_INTERNAL, "no protected memory for a key; close other programs");
    memset(k, 0, sizeof *k);
    crypto_sign_seed_keypair(k->open.byte, k->bytes, seed);
    set_id(&k->open);
    *key = k;
    return RG_OK;
}

const rg_public_key *rg_key_public(const rg_secret_key *key)
{
    return &key->open;
}

void rg_key_free(rg_secret_key *key)
{
    sodium_free(key); /* wipes */
}

void rg_sign_bytes(const rg_secret_key *key, const void *bytes, size_t size,
                   uint8_t signature[RG_SIGNATURE])
{
    crypto_sign_detached(signature, NULL, bytes, size, key->bytes);
}

bool rg_verify_bytes(const rg_public_key *key, const void *bytes, size_t size,
                     const uint8_t signature[RG_SIGNATURE])
{
    return sodium_init() >= 0 &&
           crypto_sign_verify_detached(signature, bytes, size, key->byte) == 0;
}

/* ---- hexadecimal digits ---- */

/* Exactly size bytes from 2 * size digits at text; what follows is not looked at. */
static bool take_bytes(const char *text, uint8_t *bytes, size_t size)
{
    size_t got = 0;
    return strnlen(text, 2 * size) == 2 * size &&
           sodium_hex2bin(bytes, size, text, 2 * size, NULL, &got, NULL) == 0 && got == size;
}

/* ---- key files ---- */

void rg_key_public_text(const rg_public_key *key, char text[RG_SIGNATURE_TEXT])
{
    char digits[KEY_DIGITS + 1];
    sodium_bin2hex(digits, sizeof digits, key->byte, RG_PUBLIC_KEY);
    snprintf(text, RG_SIGNATURE_TEXT, PUBLIC_HEAD "%s\n", digits);
}

/* "HEAD" and the digits, with or without a last line end. */
static bool take_key_text(const char *text, const char *head, uint8_t bytes[32])
{
    size_t n = strlen(head);
    if (strncmp(text, head, n) != 0 || !take_bytes(text + n, bytes, 32))
        return false;
    const char *rest = text + n + 64;
    return *rest == 0 || strcmp(rest, "\n") == 0 || strcmp(rest, "\r\n") == 0;
}

static char *public_path(const char *path)
{
    size_t size = strlen(path) + sizeof ".pub";
    char *name = rg_alloc(size, 1);
    if (name)
        snprintf(name, size, "%s.pub", path);
    return name;
}

static rg_code refuse_existing(const char *path, rg_error *err)
{
    struct stat st;
    if (lstat(path, &st) != 0)
        return RG_OK;
    return rg_fail(err, RG_CANT_CREATE,
                   "%s: stands there already; a key is never written over, choose another name",
                   path);
}

static rg_code sync_folder_of(const char *path, rg_error *err)
{
    char *folder = strdup(path);
    if (!folder)
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", path);
    char *slash = strrchr(folder, '/');
    if (slash)
        slash[slash == folder] = 0;
    rg_code code = rg_folder_sync(slash ? folder : ".", err);
    free(folder);
    return code;
}

static rg_code write_pair(const char *path, const char *public_name, const rg_secret_key *key,
                          const uint8_t seed[crypto_sign_SEEDBYTES], rg_error *err)
{
    char secret[sizeof SECRET_HEAD + SEED_DIGITS + 1], digits[SEED_DIGITS + 1];
    char text[RG_SIGNATURE_TEXT];
    sodium_bin2hex(digits, sizeof digits, seed, crypto_sign_SEEDBYTES);
    int n = snprintf(secret, sizeof secret, SECRET_HEAD "%s\n", digits);
    rg_code code = rg_file_make(path, 0600, secret, (size_t)n, err);
    sodium_memzero(secret, sizeof secret);
    sodium_memzero(digits, sizeof digits);
    if (code)
        return code;
    rg_key_public_text(&key->open, text);
    code = rg_file_make(public_name, 0666, text, strlen(text), err);
    if (code)
        unlink(path);
    return code ? code : sync_folder_of(path, err);
}

static rg_code make_pair(const char *path, const char *public_name, rg_public_key *key,
                         rg_error *err)
{
    uint8_t seed[crypto_sign_SEEDBYTES];
    rg_secret_key *secret = NULL;
    rg_code code = ready(err);
    if (code)
        return code;
    randombytes_buf(seed, sizeof seed);
    code = rg_key_from_seed(seed, &secret, err);
    if (!code)
        code = write_pair(path, public_name, secret, seed, err);
    sodium_memzero(seed, sizeof seed);
    if (!code && key)
        *key = secret->open;
    rg_key_free(secret);
    return code;
}

rg_code rg_key_make(const char *path, rg_public_key *key, rg_error *err)
{
    char *public_name = public_path(path);
    if (!public_name)
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", path);
    rg_code code = refuse_existing(path, err);
    if (!code)
        code = refuse_existing(public_name, err);
    if (!code)
        code = make_pair(path, public_name, key, err);
    free(public_name);
    return code;
}

static rg_code judge_file(const char *path, int fd, rg_error *err)
{
    struct stat st;
    if (fstat(fd, &st) != 0 || !S_ISREG(st.st_mode))
        return rg_fail(err, RG_BAD_DATA, "%s: is not a regular file, so it is no key", path);
    if (st.st_uid != geteuid() && st.st_uid != 0)
        return rg_fail(
            err, RG_BAD_DATA,
            "%s: belongs to another user (number %ju), who can read and change it; use a "
            "key of your own",
            path, (uintmax_t)st.st_uid);
    unsigned mode = (unsigned)st.st_mode & 07777U;
    if (mode != 0600 && mode != 0400)
        return rg_fail(err, RG_BAD_DATA,
                       "%s: has mode %04o, a secret key must have 0600 or 0400; chmod 600 it, and "
                       "make a new key if others may have read it",
                       path, mode);
    return RG_OK;
}

static rg_code read_text(const char *path, int fd, char text[KEY_FILE_MAX], rg_error *err)
{
    size_t got = 0;
    while (got < KEY_FILE_MAX) {
        ssize_t n = read(fd, text + got, KEY_FILE_MAX - got);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return rg_fail(err, RG_NO_INPUT, "%s: cannot be read (%s); check the disk it is on",
                           path, strerror(errno));
        if (n == 0)
            break;
        got += (size_t)n;
    }
    if (got == KEY_FILE_MAX)
        return rg_fail(err, RG_BAD_DATA, "%s: is too long for a key file", path);
    text[got] = 0;
    return RG_OK;
}

static rg_code open_key(const char *path, int *fd, rg_error *err)
{
    /* Without O_NONBLOCK, opening a pipe would wait for its writer. */
    *fd = rg_open(AT_FDCWD, path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOFOLLOW, 0);
    if (*fd >= 0)
        return RG_OK;
    if (errno == ELOOP)
        return rg_fail(err, RG_BAD_DATA, "%s: is a symbolic link; name the secret key file itself",
                       path);
    return rg_fail(err, RG_NO_INPUT,
                   "%s: the key cannot be opened (%s); check the name and that you may read it",
                   path, strerror(errno));
}

rg_code rg_key_read_secret(const char *path, rg_secret_key **key, rg_error *err)
{
    char text[KEY_FILE_MAX];
    uint8_t seed[crypto_sign_SEEDBYTES];
    int fd;
    *key = NULL;
    rg_code code = open_key(path, &fd, err);
    if (code)
        return code;
    code = judge_file(path, fd, err);
    if (!code)
        code = read_text(path, fd, text, err);
    close(fd);
    if (!code && !take_key_text(text, SECRET_HEAD, seed))
        code = rg_fail(
            err, RG_BAD_DATA,
            "%s: is not a secret key of rimglow (\"rimglow secret key 1\" and 64 digits)", path);
    if (!code)
        code = rg_key_from_seed(seed, key, err);
    sodium_memzero(text, sizeof text);
    sodium_memzero(seed, sizeof seed);
    return code;
}

rg_code rg_key_read_public(const char *path, rg_public_key *key, rg_error *err)
{
    uint8_t *text;
    size_t size;
    memset(key, 0, sizeof *key);
    rg_code code = rg_file_read(path, KEY_FILE_MAX, &text, &size, err);
    if (code)
        return code;
    bool good = strlen((const char *)text) == size &&
                take_key_text((const char *)text, PUBLIC_HEAD, key->byte);
    bool secret = strncmp((const char *)text, SECRET_HEAD, strlen(SECRET_HEAD)) == 0;
    sodium_memzero(text, size);
    free(text);
    if (good) {
        set_id(key);
        return RG_OK;
    }
    memset(key, 0, sizeof *key);
    if (secret)
        return rg_fail(err, RG_BAD_DATA,
                       "%s: is a SECRET key; name its public one, %s.pub, and show this to nobody",
                       path, path);
    return rg_fail(err, RG_BAD_DATA,
                   "%s: is not a public key of rimglow (\"rimglow public key 1\" and 64 digits)",
                   path);
}

/* ---- signatures of bags ---- */

static void make_message(const rg_digest *tagmanifest, char message[MESSAGE_SIZE + 1])
{
    char digits[RG_DIGEST_TEXT];
    rg_digest_format(tagmanifest, digits);
    snprintf(message, MESSAGE_SIZE + 1, MESSAGE_HEAD "%s\n", digits);
}

void rg_sign_bag(const rg_secret_key *key, const rg_digest *tagmanifest,
                 char text[RG_SIGNATURE_TEXT])
{
    char message[MESSAGE_SIZE + 1], open[KEY_DIGITS + 1], digest[RG_DIGEST_TEXT];
    char digits[SIGNATURE_DIGITS + 1];
    uint8_t signature[RG_SIGNATURE];
    make_message(tagmanifest, message);
    rg_sign_bytes(key, message, MESSAGE_SIZE, signature);
    sodium_bin2hex(open, sizeof open, key->open.byte, RG_PUBLIC_KEY);
    sodium_bin2hex(digits, sizeof digits, signature, RG_SIGNATURE);
    rg_digest_format(tagmanifest, digest);
    snprintf(text, RG_SIGNATURE_TEXT, "Key: %s\nPublic: %s\nSigned: %s\nSignature: %s\n",
             key->open.id, open, digest, digits);
}

const char *rg_signature_state_name(rg_signature_state state)
{
    static const char *const name[] = {
        [RG_SIGNATURE_GOOD] = "good",
        [RG_SIGNATURE_UNKNOWN] = "unknown key",
        [RG_SIGNATURE_OTHER] = "of another manifest",
        [RG_SIGNATURE_WRONG] = "wrong",
    };
    return (size_t)state < sizeof name / sizeof name[0] ? name[state] : "?";
}

typedef struct signature_file {
    rg_public_key key;
    rg_digest digest;
    uint8_t signature[RG_SIGNATURE];
} signature_file;

/* The value of a line "label: value" of exactly length bytes; *p moves behind the line. */
static bool take_value(const char **p, const char *label, size_t length, char *value)
{
    size_t n = strlen(label);
    if (strncmp(*p, label, n) != 0 || strcspn(*p + n, "\n") != length || (*p)[n + length] != '\n')
        return false;
    memcpy(value, *p + n, length);
    value[length] = 0;
    *p += n + length + 1;
    return true;
}

/* Exactly what rg_sign_bag writes, digits of either case. */
static bool take_signature(const char *text, signature_file *file)
{
    char id[RG_KEY_ID], open[KEY_DIGITS + 1], digest[RG_DIGEST_TEXT];
    char signature[SIGNATURE_DIGITS + 1];
    if (!take_value(&text, "Key: ", RG_KEY_ID - 1, id) ||
        !take_value(&text, "Public: ", KEY_DIGITS, open) ||
        !take_value(&text, "Signed: ", RG_DIGEST_TEXT - 1, digest) ||
        !take_value(&text, "Signature: ", SIGNATURE_DIGITS, signature) || *text)
        return false;
    if (!take_bytes(open, file->key.byte, RG_PUBLIC_KEY) ||
        !rg_digest_parse(digest, &file->digest) ||
        !take_bytes(signature, file->signature, RG_SIGNATURE))
        return false;
    set_id(&file->key);
    return strcmp(file->key.id, id) == 0;
}

static bool is_trusted(const rg_public_key *key, const rg_public_key *trusted, int count)
{
    for (int i = 0; i < count; i++)
        if (sodium_memcmp(key->byte, trusted[i].byte, RG_PUBLIC_KEY) == 0)
            return true;
    return false;
}

rg_signature_state rg_verify_bag(const char *text, size_t size, const rg_digest *tagmanifest,
                                 const rg_public_key *trusted, int trusted_count,
                                 rg_public_key *key)
{
    char copy[RG_SIGNATURE_TEXT] = {0}, message[MESSAGE_SIZE + 1];
    signature_file file;
    if (key)
        memset(key, 0, sizeof *key);
    if (size >= sizeof copy)
        return RG_SIGNATURE_WRONG;
    if (size > 0)
        memcpy(copy, text, size);
    if (strlen(copy) != size || !take_signature(copy, &file))
        return RG_SIGNATURE_WRONG;
    if (key)
        *key = file.key;
    make_message(&file.digest, message);
    if (!rg_verify_bytes(&file.key, message, MESSAGE_SIZE, file.signature))
        return RG_SIGNATURE_WRONG;
    if (!rg_digest_equal(&file.digest, tagmanifest))
        return RG_SIGNATURE_OTHER;
    return is_trusted(&file.key, trusted, trusted_count) ? RG_SIGNATURE_GOOD : RG_SIGNATURE_UNKNOWN;
}
