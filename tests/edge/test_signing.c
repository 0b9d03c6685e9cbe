/*
 * Tests of signing.h: RFC 8032 section 7.1 and the vectors of the ed25519 software
 * (tests/data/crypto), key files, and signatures of bags.
 */
#include <criterion/criterion.h>
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rimglow/file.h"
#include "rimglow/signing.h"
#include "support/load.h"

static char folder[64], key_path[100], public_path[110];

static void make_folder(void)
{
    strcpy(folder, "/tmp/rimglow-sign-XXXXXX");
    if (!mkdtemp(folder))
        abort();
    snprintf(key_path, sizeof key_path, "%s/shop", folder);
    snprintf(public_path, sizeof public_path, "%s/shop.pub", folder);
}

static void remove_folder(void)
{
    char command[200];
    snprintf(command, sizeof command, "chmod -R u+w %s; rm -rf %s", folder, folder);
    if (system(command) != 0)
        abort();
}

TestSuite(signing, .init = make_folder, .fini = remove_folder);

static size_t from_hex(const char *text, uint8_t *bytes)
{
    size_t n = 0;
    for (unsigned value; isxdigit((unsigned char)text[2 * n]); n++) {
        sscanf(text + 2 * n, "%2x", &value);
        bytes[n] = (uint8_t)value;
    }
    return n;
}

/* ---- the primitive ---- */

/* RFC 8032 section 7.1, TEST 1 to 3: secret key, public key, message, signature. */
static const char *const rfc8032[][4] = {
    {"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
     "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
     "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9"
     "b46bd25bf5f0595bbe24655141438e7a100b"},
    {"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
     "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
     "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f1"
     "1d8c387b2eaeb4302aeeb00d291612bb0c00"},
    {"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
     "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
     "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984d"
     "c6594a7c15e9716ed28dc027beceea1ec40a"},
};

static void expect_vector(const char *seed_hex, const char *public_hex, const char *message_hex,
                          const char *signature_hex)
{
    uint8_t seed[64], open[32], message[1100], want[128], signature[RG_SIGNATURE];
    rg_secret_key *key;
    cr_assert(from_hex(seed_hex, seed) >= 32 && from_hex(public_hex, open) == 32);
    size_t size = from_hex(message_hex, message);
    cr_assert(from_hex(signature_hex, want) >= 64);
    cr_assert(rg_key_from_seed(seed, &key, NULL) == RG_OK);
    const rg_public_key *own = rg_key_public(key);
    cr_expect(memcmp(own->byte, open, 32) == 0, "public key of %s", public_hex);
    rg_sign_bytes(key, message, size, signature);
    cr_expect(memcmp(signature, want, 64) == 0, "signature by %s", public_hex);
    cr_expect(rg_verify_bytes(own, message, size, signature));
    signature[size % 64] ^= 1;
    cr_expect(!rg_verify_bytes(own, message, size, signature), "one bit of the signature");
    signature[size % 64] ^= 1;
    message[size] = 0;
    cr_expect(!rg_verify_bytes(own, message, size + 1, signature), "one byte more");
    rg_key_free(key);
}

Test(signing, vectors_of_rfc_8032)
{
    for (int i = 0; i < 3; i++)
        expect_vector(rfc8032[i][0], rfc8032[i][1], rfc8032[i][2], rfc8032[i][3]);
}

Test(signing, vectors_of_the_ed25519_software)
{
    test_bytes file = test_load("tests/data/crypto/ed25519-sign.input");
    char *text = calloc(file.size + 1, 1), *rest = text;
    int lines = 0;
    memcpy(text, file.data, file.size);
    for (char *line; (line = strtok_r(rest, "\n", &rest)); lines++) {
        char *field[4], *p = line;
        for (int i = 0; i < 4; i++) {
            field[i] = p;
            p = strchr(p, ':');
            cr_assert(p != NULL);
            *p++ = 0;
        }
        expect_vector(field[0], field[1], field[2], field[3]);
    }
    cr_expect(lines == 64);
    free(text);
    free(file.data);
}

/* Section 5.1.7 wants S below the group's order: S plus the order would verify without that
 * check. */
Test(signing, signature_with_s_beyond_the_order_is_refused)
{
    static const uint8_t order[32] = {0xed, 0xd3, 0xf5, 0x5c, 0x1a, 0x63, 0x12, 0x58,       0xd6,
                                      0x9c, 0xf7, 0xa2, 0xde, 0xf9, 0xde, 0x14, [31] = 0x10};
    uint8_t signature[64];
    rg_public_key key;
    from_hex(rfc8032[1][1], key.byte);
    from_hex(rfc8032[1][3], signature);
    cr_assert(rg_verify_bytes(&key, "\x72", 1, signature));
    for (int i = 0, carry = 0; i < 32; i++) {
        int sum = signature[32 + i] + order[i] + carry;
        signature[32 + i] = (uint8_t)sum;
        carry = sum >> 8;
    }
    cr_expect(!rg_verify_bytes(&key, "\x72", 1, signature));
}

/* ---- key files ---- */

static void put(const char *path, const char *text, mode_t mode)
{
    unlink(path);
    cr_assert(rg_file_make(path, 0600, text, strlen(text), NULL) == RG_OK);
    cr_assert(chmod(path, mode) == 0);
}

static char *content(const char *path)
{
    uint8_t *bytes;
    size_t size;
    cr_assert(rg_file_read(path, 10000, &bytes, &size, NULL) == RG_OK);
    return (char *)bytes;
}

Test(signing, new_pair_is_written_read_and_fits)
{
    rg_public_key made, read;
    rg_secret_key *secret;
    rg_error err = {0};
    struct stat st;
    umask(0);
    cr_assert(rg_key_make(key_path, &made, &err) == RG_OK, "%s", err.text);
    cr_assert(stat(key_path, &st) == 0 && (st.st_mode & 07777) == 0600);
    cr_assert(rg_key_read_secret(key_path, &secret, &err) == RG_OK, "%s", err.text);
    cr_assert(rg_key_read_public(public_path, &read, &err) == RG_OK, "%s", err.text);
    cr_expect(memcmp(&made, &read, sizeof made) == 0);
    cr_expect(memcmp(&made, rg_key_public(secret), sizeof made) == 0);
    char *text = content(key_path), shown[RG_SIGNATURE_TEXT], id[RG_DIGEST_TEXT];
    cr_expect(strncmp(text, "rimglow secret key 1\n", 21) == 0 && strlen(text) == 21 + 64 + 1);
    free(text);
    text = content(public_path);
    rg_key_public_text(&made, shown);
    cr_expect_str_eq(text, shown);
    cr_expect(strncmp(text, "rimglow public key 1\n", 21) == 0 && strlen(text) == 21 + 64 + 1);
    free(text);
    rg_digest digest = rg_digest_of(made.byte, 32);
    rg_digest_format(&digest, id);
    cr_expect(strlen(made.id) == 16 && strncmp(made.id, id, 16) == 0);
    rg_key_free(secret);
    rg_key_free(NULL);
}

Test(signing, two_new_keys_differ)
{
    rg_public_key first, second;
    char other[120];
    snprintf(other, sizeof other, "%s-2", key_path);
    cr_assert(rg_key_make(key_path, &first, NULL) == RG_OK);
    cr_assert(rg_key_make(other, &second, NULL) == RG_OK);
    cr_expect(memcmp(first.byte, second.byte, 32) != 0);
}

Test(signing, key_is_never_written_over)
{
    rg_error err = {0};
    put(key_path, "mine", 0600);
    cr_expect(rg_key_make(key_path, NULL, &err) == RG_CANT_CREATE);
    cr_expect(strstr(err.text, "never written over") != NULL);
    char *text = content(key_path);
    cr_expect_str_eq(text, "mine");
    free(text);
    unlink(key_path);
    put(public_path, "mine", 0644);
    cr_expect(rg_key_make(key_path, NULL, NULL) == RG_CANT_CREATE);
    cr_expect(access(key_path, F_OK) != 0, "no secret key without its public one");
    unlink(public_path);
    cr_assert(symlink("elsewhere", key_path) == 0);
    cr_expect(rg_key_make(key_path, NULL, NULL) == RG_CANT_CREATE);
    cr_expect(rg_key_make("/proc/rimglow", NULL, &err) == RG_CANT_CREATE);
    cr_expect(strstr(err.text, "/proc/rimglow") != NULL);
}

static const char *refusal(const char *path)
{
    static rg_error err;
    rg_secret_key *key = (rg_secret_key *)&err;
    err.text[0] = 0;
    rg_code code = rg_key_read_secret(path, &key, &err);
    cr_expect(code != RG_OK && key == NULL, "%s", path);
    rg_key_free(key);
    return err.text;
}

Test(signing, key_that_others_may_read_or_own_is_refused)
{
    static const mode_t bad[] = {0644, 0640, 0604,  0660,  0602, 0700,
                                 0610, 0601, 04600, 01600, 0200};
    rg_secret_key *key;
    cr_assert(rg_key_make(key_path, NULL, NULL) == RG_OK);
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        cr_assert(chmod(key_path, bad[i]) == 0);
        if (geteuid() == 0 || bad[i] != 0200)
            cr_expect(strstr(refusal(key_path), "chmod 600"), "%04o", (unsigned)bad[i]);
    }
    cr_assert(chmod(key_path, 0400) == 0);
    cr_assert(rg_key_read_secret(key_path, &key, NULL) == RG_OK);
    rg_key_free(key);
    char link[120];
    snprintf(link, sizeof link, "%s/link", folder);
    cr_assert(symlink(key_path, link) == 0);
    cr_expect(strstr(refusal(link), "symbolic link"));
    cr_expect(strstr(refusal(folder), "not a regular file"));
    unlink(link);
    cr_assert(mkfifo(link, 0600) == 0);
    cr_expect(strstr(refusal(link), "not a regular file"));
    if (geteuid() == 0 && chown(key_path, 65534, 65534) == 0)
        cr_expect(strstr(refusal(key_path), "another user"));
}

Test(signing, file_that_is_no_key_is_refused)
{
    static const char good[] =
        "rimglow secret key 1\n9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60\n";
    char text[400], long_text[2000];
    rg_secret_key *key;
    put(key_path, good, 0600);
    cr_assert(rg_key_read_secret(key_path, &key, NULL) == RG_OK);
    uint8_t want[32];
    from_hex(rfc8032[0][1], want);
    cr_expect(memcmp(rg_key_public(key)->byte, want, 32) == 0, "RFC 8032 test 1");
    rg_key_free(key);
    static const size_t cut[] = {0, 5, 20, 21, 22, 84};
    for (size_t i = 0; i < 6; i++) {
        strcpy(text, good);
        text[cut[i]] = 0;
        put(key_path, text, 0600);
        cr_expect(strstr(refusal(key_path), "not a secret key"), "%zu bytes", cut[i]);
    }
    strcpy(text, good);
    text[30] = 'g';
    put(key_path, text, 0600);
    cr_expect(strstr(refusal(key_path), "not a secret key"));
    snprintf(text, sizeof text, "%s0", good);
    put(key_path, text, 0600);
    cr_expect(strstr(refusal(key_path), "not a secret key"), "something after it");
    memset(long_text, 'a', sizeof long_text);
    long_text[sizeof long_text - 1] = 0;
    put(key_path, long_text, 0600);
    cr_expect(strstr(refusal(key_path), "too long"));
    cr_expect(strstr(refusal("/nowhere/key"), "/nowhere/key"));
}

Test(signing, secret_key_in_place_of_a_public_one_is_told)
{
    rg_public_key key;
    rg_error err = {0};
    cr_assert(rg_key_make(key_path, NULL, NULL) == RG_OK);
    cr_expect(rg_key_read_public(key_path, &key, &err) == RG_BAD_DATA);
    cr_expect(strstr(err.text, "SECRET") != NULL);
    cr_expect(key.id[0] == 0);
    put(public_path, "rimglow public key 1\n123", 0644);
    cr_expect(rg_key_read_public(public_path, &key, &err) == RG_BAD_DATA);
    cr_expect(rg_key_read_public("/nowhere/key", &key, NULL) == RG_NO_INPUT);
}

/* ---- signatures of bags ---- */

static rg_secret_key *test_key(int n)
{
    uint8_t seed[32];
    rg_secret_key *key;
    from_hex(rfc8032[n][0], seed);
    cr_assert(rg_key_from_seed(seed, &key, NULL) == RG_OK);
    return key;
}

Test(signing, signature_file_says_what_was_signed)
{
    rg_secret_key *key = test_key(0);
    rg_digest digest = rg_digest_of("abc", 3);
    char text[RG_SIGNATURE_TEXT], want[400];
    rg_sign_bag(key, &digest, text);
    /* The key's id: printf d75a...511a | xxd -r -p | sha256sum. */
    snprintf(want, sizeof want,
             "Key: 21fe31dfa154a261\nPublic: %s\nSigned: "
             "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\n"
             "Signature: ",
             rfc8032[0][1]);
    cr_expect(strncmp(text, want, strlen(want)) == 0, "%s", text);
    cr_expect(strlen(text) == strlen(want) + 128 + 1);
    static const char message[] =
        "rimglow bag 1\nba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\n";
    uint8_t signature[64];
    from_hex(text + strlen(want), signature);
    cr_expect(rg_verify_bytes(rg_key_public(key), message, strlen(message), signature));
    rg_key_free(key);
}

Test(signing, states_of_a_signature)
{
    rg_secret_key *key = test_key(0), *other = test_key(1);
    rg_digest digest = rg_digest_of("abc", 3), changed = rg_digest_of("abd", 3);
    rg_public_key trusted[2] = {*rg_key_public(other), *rg_key_public(key)}, found;
    char text[RG_SIGNATURE_TEXT];
    rg_sign_bag(key, &digest, text);
    size_t n = strlen(text);
    cr_expect(rg_verify_bag(text, n, &digest, trusted, 2, &found) == RG_SIGNATURE_GOOD);
    cr_expect(memcmp(&found, rg_key_public(key), sizeof found) == 0);
    cr_expect(rg_verify_bag(text, n, &digest, trusted, 1, NULL) == RG_SIGNATURE_UNKNOWN);
    cr_expect(rg_verify_bag(text, n, &digest, NULL, 0, NULL) == RG_SIGNATURE_UNKNOWN);
    cr_expect(rg_verify_bag(text, n, &changed, trusted, 2, NULL) == RG_SIGNATURE_OTHER);
    cr_expect(rg_verify_bag(text, n - 1, &digest, trusted, 2, &found) == RG_SIGNATURE_WRONG);
    cr_expect(found.id[0] == 0, "zeroed where malformed");
    strcpy(text + n, "x");
    cr_expect(rg_verify_bag(text, n + 1, &digest, trusted, 2, NULL) == RG_SIGNATURE_WRONG);
    strcpy(text + n, "\n");
    cr_expect(rg_verify_bag(text, n + 1, &digest, trusted, 2, NULL) == RG_SIGNATURE_WRONG);
    cr_expect(rg_verify_bag(text, 1 << 20, &digest, trusted, 2, NULL) == RG_SIGNATURE_WRONG);
    cr_expect(rg_verify_bag("", 0, &digest, trusted, 2, NULL) == RG_SIGNATURE_WRONG);
    rg_key_free(key);
    rg_key_free(other);
}

/* A changed digit anywhere, a line taken from another signature, another order: nothing passes. */
Test(signing, every_changed_character_breaks_the_signature)
{
    rg_secret_key *key = test_key(0), *other = test_key(1);
    rg_digest digest = rg_digest_of("abc", 3);
    rg_public_key trusted = *rg_key_public(key);
    char text[RG_SIGNATURE_TEXT], forged[RG_SIGNATURE_TEXT];
    rg_sign_bag(key, &digest, text);
    size_t n = strlen(text);
    for (size_t i = 0; i < n; i++) {
        char kept = text[i];
        text[i] = kept == '0' ? '1' : '0';
        cr_expect(rg_verify_bag(text, n, &digest, &trusted, 1, NULL) == RG_SIGNATURE_WRONG,
                  "character %zu", i);
        text[i] = kept;
    }
    rg_sign_bag(other, &digest, forged);
    cr_expect(rg_verify_bag(forged, n, &digest, &trusted, 1, NULL) == RG_SIGNATURE_UNKNOWN);
    /* the trusted key's name over another's signature */
    memcpy(forged, text, (size_t)(strstr(text, "Signed") - text));
    cr_expect(rg_verify_bag(forged, n, &digest, &trusted, 1, NULL) == RG_SIGNATURE_WRONG);
    rg_key_free(key);
    rg_key_free(other);
}

Test(signing, names_of_states_are_those_of_the_header)
{
    cr_expect_str_eq(rg_signature_state_name(RG_SIGNATURE_GOOD), "good");
    cr_expect_str_eq(rg_signature_state_name(RG_SIGNATURE_UNKNOWN), "unknown key");
    cr_expect_str_eq(rg_signature_state_name(RG_SIGNATURE_OTHER), "of another manifest");
    cr_expect_str_eq(rg_signature_state_name(RG_SIGNATURE_WRONG), "wrong");
}
