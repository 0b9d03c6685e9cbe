/*
 * Tests of digest.h: examples of FIPS 180-4, NIST's CAVP files (tests/data/crypto), files and
 * copies.
 */
#include <criterion/criterion.h>
#include <ctype.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rimglow/digest.h"
#include "rimglow/file.h"
#include "support/load.h"

static char folder[64];

static void make_folder(void)
{
    strcpy(folder, "/tmp/rimglow-digest-XXXXXX");
    if (!mkdtemp(folder))
        abort();
}

static void remove_folder(void)
{
    char command[200];
    snprintf(command, sizeof command, "chmod -R u+w %s; rm -rf %s", folder, folder);
    if (system(command) != 0)
        abort();
}

TestSuite(digest, .init = make_folder, .fini = remove_folder);

static const char *in_folder(const char *name, char path[128])
{
    snprintf(path, 128, "%s/%s", folder, name);
    return path;
}

static void put(const char *path, const void *bytes, size_t size)
{
    FILE *f = fopen(path, "wb");
    if (!f || fwrite(bytes, 1, size, f) != size || fclose(f) != 0)
        abort();
}

static bool is_digest(const rg_digest *digest, const char *want)
{
    char text[RG_DIGEST_TEXT];
    rg_digest_format(digest, text);
    return strcmp(text, want) == 0;
}

/* The two-block example of FIPS 180-2, appendix B.2, in every cut into two pieces. */
Test(digest, pieces_give_the_digest_of_the_whole)
{
    static const char text[] = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    for (size_t cut = 0; cut < sizeof text; cut++) {
        rg_hasher hasher;
        rg_hasher_begin(&hasher);
        rg_hasher_add(&hasher, text, cut);
        rg_hasher_add(&hasher, text + cut, sizeof text - 1 - cut);
        rg_digest digest = rg_hasher_end(&hasher);
        cr_expect(
            is_digest(&digest, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"),
            "%zu", cut);
    }
}

/* Examples of FIPS 180-4's predecessors and NIST's example values for SHA-256: "", one block, two
 * blocks, a million letters a. */
Test(digest, examples_of_the_standard)
{
    static const struct {
        const char *message, *digest;
    } known[] = {
        {"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
        {"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
        {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
         "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
    };
    for (size_t i = 0; i < 3; i++) {
        rg_digest d = rg_digest_of(known[i].message, strlen(known[i].message));
        cr_expect(is_digest(&d, known[i].digest), "example %zu", i);
    }
    char *million = malloc(1000000), path[128];
    memset(million, 'a', 1000000);
    rg_digest d = rg_digest_of(million, 1000000), of_file;
    uint64_t size = 0;
    cr_expect(is_digest(&d, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"));
    put(in_folder("million", path), million, 1000000);
    cr_assert(rg_digest_file(path, &of_file, &size, NULL) == RG_OK);
    cr_expect(rg_digest_equal(&d, &of_file) && size == 1000000, "many blocks");
    free(million);
}

static size_t from_hex(const char *text, uint8_t *bytes)
{
    size_t n = 0;
    for (unsigned value; isxdigit((unsigned char)text[2 * n]); n++) {
        sscanf(text + 2 * n, "%2x", &value);
        bytes[n] = (uint8_t)value;
    }
    return n;
}

/* Every record "Len = BITS, Msg = HEX, MD = HEX" of a CAVP file; their number. */
static int run_records(const char *path)
{
    int records = 0;
    unsigned long bits = 0;
    test_bytes file = test_load(path);
    char *text = calloc(file.size + 1, 1), *rest = text;
    uint8_t *message = malloc(file.size);
    size_t size = 0;
    memcpy(text, file.data, file.size);
    for (char *line; (line = strtok_r(rest, "\r\n", &rest));) {
        if (sscanf(line, "Len = %lu", &bits) == 1)
            continue;
        if (strncmp(line, "Msg = ", 6) == 0)
            size = from_hex(line + 6, message);
        if (strncmp(line, "MD = ", 5) != 0)
            continue;
        cr_assert(bits == 0 || size == bits / 8, "record %d is read whole", records);
        rg_digest d = rg_digest_of(message, bits / 8);
        cr_expect(is_digest(&d, line + 5), "%s: record of %lu bits", path, bits);
        records++;
    }
    free(message);
    free(text);
    free(file.data);
    return records;
}

Test(digest, short_and_long_messages_of_cavp)
{
    cr_assert(run_records("tests/data/crypto/SHA256ShortMsg.rsp") == 65);
    cr_assert(run_records("tests/data/crypto/SHA256LongMsg-6.rsp") == 6);
}

/* The Secure Hash Algorithm Validation System (SHAVS) of NIST, 2014, section 6.4: each result is
 * the thousandth digest of the three digests before it. */
Test(digest, monte_carlo_of_cavp)
{
    test_bytes file = test_load("tests/data/crypto/SHA256Monte-5.rsp");
    char *text = calloc(file.size + 1, 1), *p;
    uint8_t last[3][32];
    memcpy(text, file.data, file.size);
    cr_assert(from_hex(strstr(text, "Seed = ") + 7, last[2]) == 32);
    int found = 0;
    for (p = text; (p = strstr(p, "MD = ")); p += 5 + 64 + 1, found++) {
        memcpy(last[0], last[2], 32);
        memcpy(last[1], last[2], 32);
        rg_digest d = {{0}};
        for (int i = 0; i < 1000; i++) {
            d = rg_digest_of(last, sizeof last);
            memmove(last[0], last[1], 64);
            memcpy(last[2], d.byte, 32);
        }
        p[5 + 64] = 0;
        cr_expect(is_digest(&d, p + 5), "result %d", found);
    }
    cr_assert(found == 5);
    free(text);
    free(file.data);
}

Test(digest, text_of_a_digest_is_64_digits_and_nothing_else)
{
    static const char good[] = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    char text[80];
    rg_digest d, abc = rg_digest_of("abc", 3), kept = abc;
    cr_assert(rg_digest_parse(good, &d) && rg_digest_equal(&d, &abc));
    for (size_t i = 0; i < 64; i++)
        text[i] = good[i] >= 'a' ? (char)(good[i] - 32) : good[i];
    text[64] = 0;
    cr_assert(rg_digest_parse(text, &d) && rg_digest_equal(&d, &abc), "upper case");
    static const char *const bad[] = {
        "",
        "ba",
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015a",
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad0",
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015a ",
        "ba7816bf8f01cfea414140de5dae222gb00361a396177a9cb410ff61f20015ad",
        "ba:816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_expect(!rg_digest_parse(bad[i], &kept), "%s", bad[i]);
    cr_assert(rg_digest_equal(&kept, &abc), "what was there stays");
    for (size_t i = 0; i < 32; i++) {
        d = abc;
        d.byte[i] ^= 1;
        cr_expect(!rg_digest_equal(&d, &abc), "byte %zu counts", i);
    }
}

Test(digest, what_is_no_regular_file_is_no_input)
{
    char path[128], link[128], pipe[128];
    rg_digest d;
    rg_error err = {0};
    put(in_folder("file", path), "abc", 3);
    cr_assert(symlink("file", in_folder("link", link)) == 0);
    cr_assert(mkfifo(in_folder("pipe", pipe), 0600) == 0);
    cr_expect(rg_digest_file(link, &d, NULL, &err) == RG_NO_INPUT);
    cr_expect(strstr(err.text, "symbolic link") != NULL);
    cr_expect(rg_digest_file(pipe, &d, NULL, NULL) == RG_NO_INPUT);
    cr_expect(rg_digest_file(folder, &d, NULL, NULL) == RG_NO_INPUT);
    cr_expect(rg_digest_file("/nowhere/at/all", &d, NULL, &err) == RG_NO_INPUT);
    cr_expect(strstr(err.text, "/nowhere/at/all") != NULL);
    cr_expect(rg_digest_copy(pipe, in_folder("copy", path), &d, NULL, NULL) == RG_NO_INPUT);
    cr_expect(access(path, F_OK) != 0, "nothing was made");
    cr_expect(rg_digest_copy(link, path, &d, NULL, NULL) == RG_OK, "a copy is of what is meant");
    rg_digest abc = rg_digest_of("abc", 3);
    cr_expect(rg_digest_equal(&d, &abc));
}

Test(digest, copy_is_the_file_and_its_digest)
{
    char from[128], to[128];
    size_t size = 3 * 65536 + 17; /* more than one block and a rest */
    uint8_t *bytes = malloc(size), *back;
    for (size_t i = 0; i < size; i++)
        bytes[i] = (uint8_t)(i * i >> 7);
    put(in_folder("from", from), bytes, size);
    rg_digest d, want = rg_digest_of(bytes, size);
    uint64_t copied = 0;
    umask(022);
    cr_assert(rg_digest_copy(from, in_folder("to", to), &d, &copied, NULL) == RG_OK);
    cr_assert(copied == size && rg_digest_equal(&d, &want));
    cr_assert(rg_file_read(to, size, &back, &size, NULL) == RG_OK);
    cr_assert(size == copied && memcmp(back, bytes, size) == 0);
    struct stat st;
    cr_assert(stat(to, &st) == 0 && (st.st_mode & 0777) == 0644);
    free(back);
    free(bytes);
}

Test(digest, copy_never_writes_over_a_file_or_through_a_link)
{
    char from[128], to[128], link[128];
    rg_digest d;
    rg_error err = {0};
    uint8_t *back;
    size_t size;
    put(in_folder("from", from), "new", 3);
    put(in_folder("to", to), "old", 3);
    cr_expect(rg_digest_copy(from, to, &d, NULL, &err) == RG_CANT_CREATE);
    cr_expect(strstr(err.text, to) != NULL);
    cr_assert(rg_file_read(to, 9, &back, &size, NULL) == RG_OK && memcmp(back, "old", 3) == 0);
    free(back);
    cr_assert(symlink("elsewhere", in_folder("link", link)) == 0);
    cr_expect(rg_digest_copy(from, link, &d, NULL, NULL) == RG_CANT_CREATE);
    cr_expect(access(in_folder("elsewhere", to), F_OK) != 0, "the link was not followed");
}

/* A limit on the size of files stands in for a full disk (setrlimit). */
Test(digest, copy_that_fails_half_way_leaves_nothing)
{
    char from[128], to[128];
    static const uint8_t big[200000];
    rg_digest d;
    rg_error err = {0};
    put(in_folder("from", from), big, sizeof big);
    signal(SIGXFSZ, SIG_IGN);
    struct rlimit limit = {100000, 100000};
    cr_assert(setrlimit(RLIMIT_FSIZE, &limit) == 0);
    cr_assert(rg_digest_copy(from, in_folder("to", to), &d, NULL, &err) == RG_IO);
    cr_expect(strstr(err.text, to) != NULL && strstr(err.text, "free some space") != NULL);
    cr_expect(access(to, F_OK) != 0);
}

/* Files of /proc say that they have 0 bytes and then give more, as a file does that grows while it
 * is read. */
Test(digest, source_that_gives_other_bytes_than_it_said_is_refused)
{
    char to[128];
    rg_error err = {0};
    rg_digest d;
    cr_assert(rg_digest_copy("/proc/self/status", in_folder("to", to), &d, NULL, &err) == RG_IO);
    cr_expect(strstr(err.text, "written to while") != NULL, "%s", err.text);
    cr_expect(access(to, F_OK) != 0, "the copy was removed");
}

/* Not even root can make files in /proc. */
Test(digest, place_that_may_not_be_written_is_named)
{
    char from[128], to[128];
    rg_digest d;
    rg_error err = {0};
    put(in_folder("from", from), "abc", 3);
    cr_expect(rg_digest_copy(from, in_folder("none/to", to), &d, NULL, &err) == RG_CANT_CREATE);
    cr_expect(strstr(err.text, "none/to") != NULL);
    cr_expect(rg_digest_copy(from, "/proc/rimglow", &d, NULL, &err) == RG_CANT_CREATE, "%s",
              err.text);
    cr_expect(strstr(err.text, "may be written") != NULL, "%s", err.text);
}
