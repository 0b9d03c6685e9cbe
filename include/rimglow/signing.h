/*
 * signing.h - Ed25519 (RFC 8032) signatures of bags with a shop key, by libsodium.
 *
 * Secret key file: text, "rimglow secret key 1", then the 32-byte seed as 64 hexadecimal
 * digits. It must be a regular file of mode 0600 or 0400 that belongs to the user (or root), or it
 * is refused. Public key file NAME.pub: "rimglow public key 1", 64 digits. The key's id is the
 * first 16 digits of the SHA-256 of the public key.
 *
 * Signature file of a bag (bag.h): lines "Key: ID", "Public: 64 digits", "Signed: SHA-256 of
 * tagmanifest-sha256.txt", "Signature: 128 digits". The signed message is the text
 * "rimglow bag 1\n" followed by the tag manifest's digest as 64 lower-case digits and "\n".
 * The public key in the file proves nothing by itself: a trusted one must be given.
 */
#ifndef RIMGLOW_SIGNING_H
#define RIMGLOW_SIGNING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rimglow/digest.h"

enum { RG_KEY_ID = 17, RG_PUBLIC_KEY = 32, RG_SIGNATURE = 64, RG_SIGNATURE_TEXT = 512 };

typedef struct rg_public_key {
    uint8_t byte[RG_PUBLIC_KEY];
    char id[RG_KEY_ID];
} rg_public_key;

typedef struct rg_secret_key rg_secret_key; /* opaque; wiped when freed */

/* New pair: path (0600) and path.pub, fsynced, never over anything that stands there
 * (RG_CANT_CREATE). On failure neither is left. key may be NULL. */
rg_code rg_key_make(const char *path, rg_public_key *key, rg_error *err);
/* RG_NO_INPUT when it cannot be opened; RG_BAD_DATA when it is a link, of another mode or owner, or
 * no key. */
rg_code rg_key_read_secret(const char *path, rg_secret_key **key, rg_error *err);
const rg_public_key *rg_key_public(const rg_secret_key *key);
void rg_key_free(rg_secret_key *key);
/* Links are followed: a public key is no secret. */
rg_code rg_key_read_public(const char *path, rg_public_key *key, rg_error *err);
/* Text of a public key file. */
void rg_key_public_text(const rg_public_key *key, char text[RG_SIGNATURE_TEXT]);

/* The plain primitive (RFC 8032 section 5.1), for tests against its vectors and for what
 * follows. */
void rg_sign_bytes(const rg_secret_key *key, const void *bytes, size_t size,
                   uint8_t signature[RG_SIGNATURE]);
bool rg_verify_bytes(const rg_public_key *key, const void *bytes, size_t size,
                     const uint8_t signature[RG_SIGNATURE]);
/* From a 32-byte seed. */
rg_code rg_key_from_seed(const uint8_t seed[32], rg_secret_key **key, rg_error *err);

/* Text of the signature file. */
void rg_sign_bag(const rg_secret_key *key, const rg_digest *tagmanifest,
                 char text[RG_SIGNATURE_TEXT]);

typedef enum rg_signature_state {
    RG_SIGNATURE_GOOD,    /* by one of the trusted keys, of this tag manifest */
    RG_SIGNATURE_UNKNOWN, /* valid, by a key that is not trusted */
    RG_SIGNATURE_OTHER,   /* valid, but of another tag manifest */
    RG_SIGNATURE_WRONG    /* not valid, or the file is malformed */
} rg_signature_state;

/* "good", "unknown key", "of another manifest", "wrong". */
const char *rg_signature_state_name(rg_signature_state state);

/* Strict: the four lines as rg_sign_bag writes them, digits of either case. key (may be NULL) gets
 * the public key that is named in the text, zeroed where malformed. */
rg_signature_state rg_verify_bag(const char *text, size_t size, const rg_digest *tagmanifest,
                                 const rg_public_key *trusted, int trusted_count,
                                 rg_public_key *key);

#endif
