/*
 * Tests of writing a bag (bag.h). The judge of what was written is sha256sum of GNU coreutils,
 * which shares no code with us.
 */
#include <criterion/criterion.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rimglow/bag.h"
#include "rimglow/file.h"

static char folder[64], staging[128], place[128];

static void make_folder(void)
{
    strcpy(folder, "/tmp/rimglow-bag-XXXXXX");
    if (!mkdtemp(folder))
        abort();
    snprintf(staging, sizeof staging, "%s/incoming", folder);
    snprintf(place, sizeof place, "%s/bags/PE-A-0147/0001", folder);
}

static void remove_folder(void)
{
    char command[200];
    snprintf(command, sizeof command, "chmod -R u+w %s; rm -rf %s", folder, folder);
    if (system(command) != 0)
        abort();
}

TestSuite(bag, .init = make_folder, .fini = remove_folder);

/* What a shell command says, run in a folder; its exit code. */
static int shell(const char *where, const char *what, char *out, size_t size)
{
    char command[600];
    snprintf(command, sizeof command, "cd '%s' && LC_ALL=C %s 2>&1", where, what);
    FILE *pipe = popen(command, "r");
    if (!pipe)
        abort();
    size_t n = fread(out, 1, size - 1, pipe);
    out[n] = 0;
    return pclose(pipe);
}

static bool outside_agrees(const char *bag)
{
    char out[8000];
    return shell(bag, "sha256sum --strict --quiet -c manifest-sha256.txt tagmanifest-sha256.txt",
                 out, sizeof out) == 0;
}

static rg_bag *begin(void)
{
    rg_bag *bag;
    rg_error err = {0};
    cr_assert(rg_bag_begin(staging, &bag, &err) == RG_OK, "%s", err.text);
    return bag;
}

static void add(rg_bag *bag, const char *path, const char *text)
{
    rg_error err = {0};
    cr_assert(rg_bag_add_bytes(bag, path, text, strlen(text), &err) == RG_OK, "%s: %s", path,
              err.text);
}

static char *content(const char *bag, const char *name)
{
    char path[400];
    uint8_t *bytes;
    size_t size;
    snprintf(path, sizeof path, "%s/%s", bag, name);
    cr_assert(rg_file_read(path, 1000000, &bytes, &size, NULL) == RG_OK, "%s", path);
    return (char *)bytes;
}

static int faults_of(const char *bag, rg_bag_state *state)
{
    rg_error err = {0};
    cr_assert(rg_bag_check(bag, NULL, NULL, state, &err) == RG_OK, "%s", err.text);
    for (int i = 0; i < state->faults; i++)
        fprintf(stderr, "%s: %s: %s\n", rg_bag_fault_name(state->fault[i].kind),
                state->fault[i].file, state->fault[i].text);
    return state->faults;
}

Test(bag, sealed_and_placed_bag_is_whole_for_us_and_for_sha256sum)
{
    rg_bag *bag = begin();
    rg_digest tagmanifest, manifest, stored, want;
    rg_error err = {0};
    char source[128];
    snprintf(source, sizeof source, "%s/source", folder);
    cr_assert(rg_file_write(source, "frame", 5, NULL) == RG_OK);
    add(bag, "data/sweeps/G/sweep.ini", "[sweep]\n");
    add(bag, "data/inspection.json", "{}");
    add(bag, "data/empty", "");
    cr_assert(rg_bag_add_file(bag, "data/sweeps/G/view_00.jpg", source, &stored, &err) == RG_OK);
    want = rg_digest_of("frame", 5);
    cr_expect(rg_digest_equal(&stored, &want));
    cr_assert(rg_bag_info(bag, "External-Identifier", "PE-A-0147", NULL) == RG_OK);
    cr_assert(rg_bag_info(bag, "Contact-Name", "J\xc3\xb6rg \tat the\nbench", NULL) == RG_OK);
    cr_assert(rg_bag_info(bag, "External-Description", "  ", NULL) == RG_OK);
    manifest = rg_bag_manifest_digest(bag);
    cr_assert(rg_bag_seal(bag, "2026-11-25", &tagmanifest, &err) == RG_OK, "%s", err.text);
    cr_expect(rg_bag_files(bag) == 4 && rg_bag_bytes(bag) == 8 + 2 + 5);
    cr_assert(outside_agrees(staging), "whole before it is placed");
    cr_assert(rg_bag_place(bag, place, &err) == RG_OK, "%s", err.text);
    cr_expect(access(staging, F_OK) != 0);
    cr_assert(outside_agrees(place));
    rg_bag_free(bag);

    rg_bag_state state;
    cr_assert(faults_of(place, &state) == 0);
    cr_expect(state.files == 4 && state.bytes == 15 && !state.signed_file);
    cr_expect(rg_digest_equal(&state.tags.manifest, &manifest));
    cr_expect(rg_digest_equal(&state.tags.tagmanifest, &tagmanifest));
    cr_expect_str_eq(rg_bag_tag(&state.tags, "external-identifier"), "PE-A-0147");
    cr_expect_str_eq(rg_bag_tag(&state.tags, "Contact-Name"), "J\xc3\xb6rg ?at the?bench");
    cr_expect_str_eq(rg_bag_tag(&state.tags, "Bagging-Date"), "2026-11-25");
    cr_expect_str_eq(rg_bag_tag(&state.tags, "Payload-Oxum"), "15.4");
    cr_expect_str_eq(rg_bag_tag(&state.tags, "External-Description"), "");
    rg_bag_state_free(&state);

    rg_bag_tags tags;
    cr_assert(rg_bag_read_tags(place, &tags, NULL) == RG_OK);
    cr_expect(tags.lines == 4 && rg_digest_equal(&tags.tagmanifest, &tagmanifest));
}

/* RFC 8493, sections 2.1.1, 2.1.3, 2.2.1, 2.2.2: the bytes of the tag files. */
Test(bag, tag_files_are_as_the_rfc_writes_them)
{
    rg_bag *bag = begin();
    add(bag, "data/b", "abc");
    add(bag, "data/a/c", "");
    add(bag, "data/B", "abc");
    cr_assert(rg_bag_info(bag, "External-Identifier", "PE-A-0147", NULL) == RG_OK);
    cr_assert(rg_bag_seal(bag, "2026-11-25", NULL, NULL) == RG_OK);
    rg_bag_free(bag);
    char *text = content(staging, "bagit.txt");
    cr_expect_str_eq(text, "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n");
    free(text);
    text = content(staging, "bag-info.txt");
    cr_expect_str_eq(text, "External-Identifier: PE-A-0147\nBagging-Date: 2026-11-25\n"
                           "Payload-Oxum: 6.3\n");
    free(text);
    text = content(staging, "manifest-sha256.txt");
    cr_expect_str_eq(text,
                     "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad  data/B\n"
                     "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855  data/a/c\n"
                     "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad  data/b\n");
    free(text);
    char out[400];
    text = content(staging, "tagmanifest-sha256.txt");
    shell(staging, "sha256sum bag-info.txt bagit.txt manifest-sha256.txt", out, sizeof out);
    cr_expect_str_eq(text, out);
    free(text);
}

Test(bag, odd_names_are_kept_and_checked_by_sha256sum)
{
    char deep[RG_BAG_PATH] = "data", longest[RG_BAG_PATH] = "data/", component[256];
    memset(component, 'n', 255);
    component[255] = 0;
    strcat(longest, component);
    strcat(longest, "/");
    strncat(longest, component, RG_BAG_PATH - 1 - strlen(longest));
    for (int i = 0; i < RG_BAG_DEPTH_MAX - 1; i++)
        strcat(deep, "/d");
    const char *const names[] = {"data/with blanks  and one at the end ",
                                 "data/-leading",
                                 "data/-rf/--help",
                                 "data/~root",
                                 "data/*binary",
                                 "data/\xc3\xa9\xe2\x99\xad\xf0\x9f\x8e\xb7",
                                 "data/e\xcc\x81",
                                 "data/back\\slash\\n",
                                 "data/\\",
                                 "data/quote'\"$(x)`y`",
                                 "data/data/data",
                                 "data/..hidden",
                                 "data/...",
                                 "data/bagit.txt",
                                 longest,
                                 deep};
    int count = sizeof names / sizeof names[0];
    rg_bag *bag = begin();
    for (int i = 0; i < count; i++)
        add(bag, names[i], names[i]);
    cr_assert(rg_bag_seal(bag, "2026-11-25", NULL, NULL) == RG_OK);
    rg_bag_free(bag);
    cr_expect(outside_agrees(staging));
    rg_bag_state state;
    cr_expect(faults_of(staging, &state) == 0);
    cr_expect((int)state.files == count);
    rg_bag_state_free(&state);
}

Test(bag, names_that_leave_the_bag_or_that_sha256sum_would_not_find_are_refused)
{
    char deep[RG_BAG_PATH] = "data", name[400] = "data/", path[RG_BAG_PATH + 10] = "data/x";
    for (int i = 0; i < RG_BAG_DEPTH_MAX; i++)
        strcat(deep, "/d");
    memset(name + 5, 'n', 256);
    while (strlen(path) < RG_BAG_PATH)
        strcat(path, "/x");
    const char *const bad[] = {
        "",          "data",      "data/",     "/data/a",           "/etc/passwd",   "data//a",
        "data/./a",  "data/../a", "data/a/..", "../data/a",         "other/a",       "datax/a",
        "bagit.txt", "data/a\nb", "data/a\rb", "data/50%",          "data/a\tb",     "data/\x1b[2J",
        "data/\x7f", "data/\xff", "data/\xc3", "data/\xed\xa0\x80", "data/\xc0\xaf", deep,
        name,        path};
    rg_bag *bag = begin();
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        rg_error err = {0};
        cr_expect(rg_bag_add_bytes(bag, bad[i], "x", 1, &err) == RG_BAD_DATA, "%s", bad[i]);
        cr_expect(strstr(err.text, "rename the file") != NULL, "%s", err.text);
    }
    cr_expect(rg_bag_files(bag) == 0);
    rg_bag_free(bag);
    char out[200];
    shell(folder, "find . -mindepth 1 | sort", out, sizeof out);
    cr_expect_str_eq(out, "./incoming\n./incoming/data\n");
}

Test(bag, name_is_used_once_and_a_file_is_no_folder)
{
    rg_bag *bag = begin();
    add(bag, "data/a", "first");
    cr_expect(rg_bag_add_bytes(bag, "data/a", "second", 6, NULL) == RG_BAD_DATA);
    cr_expect(rg_bag_add_bytes(bag, "data/a/b", "second", 6, NULL) == RG_BAD_DATA);
    add(bag, "data/c/d", "x");
    cr_expect(rg_bag_add_bytes(bag, "data/c", "second", 6, NULL) == RG_BAD_DATA);
    cr_assert(rg_bag_seal(bag, "2026-11-25", NULL, NULL) == RG_OK);
    rg_bag_free(bag);
    char *text = content(staging, "data/a");
    cr_expect_str_eq(text, "first");
    free(text);
    cr_expect(outside_agrees(staging));
}

Test(bag, labels_and_values_are_checked)
{
    rg_bag *bag = begin();
    char value[RG_BAG_VALUE + 1];
    memset(value, 'v', sizeof value);
    value[RG_BAG_VALUE] = 0;
    static const char *const bad[] = {"",     "a:b",          " a",           "a ",
                                      "a\nb", "Payload-Oxum", "bagging-date", "\xc3\xa4"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_expect(rg_bag_info(bag, bad[i], "x", NULL) == RG_BAD_DATA, "%s", bad[i]);
    cr_expect(rg_bag_info(bag, "Long", value, NULL) == RG_BAD_DATA);
    value[RG_BAG_VALUE - 1] = 0;
    cr_expect(rg_bag_info(bag, "Long", value, NULL) == RG_OK);
    for (int i = 1; i < RG_BAG_INFO_MAX - 2; i++)
        cr_expect(rg_bag_info(bag, "More", "x", NULL) == RG_OK);
    cr_expect(rg_bag_info(bag, "More", "x", NULL) == RG_BAD_DATA);
    add(bag, "data/a", "x");
    cr_assert(rg_bag_seal(bag, "2026-11-25", NULL, NULL) == RG_OK);
    rg_bag_free(bag);
    rg_bag_tags tags;
    cr_assert(rg_bag_read_tags(staging, &tags, NULL) == RG_OK);
    cr_expect(tags.lines == RG_BAG_INFO_MAX);
    cr_expect_str_eq(rg_bag_tag(&tags, "Long"), value);
}

Test(bag, steps_out_of_order_are_refused)
{
    rg_bag *bag = begin();
    cr_expect(rg_bag_place(bag, place, NULL) == RG_INTERNAL, "not sealed");
    cr_expect(rg_bag_sign_file(bag, RG_BAG_SIGNATURE, "x", NULL) == RG_INTERNAL);
    cr_expect(rg_bag_seal(bag, "2026-11-25", NULL, NULL) == RG_BAD_DATA, "empty");
    add(bag, "data/a", "x");
    cr_expect(rg_bag_seal(bag, "25.11.2026", NULL, NULL) == RG_BAD_DATA);
    cr_assert(rg_bag_seal(bag, "2026-11-25", NULL, NULL) == RG_OK);
    cr_expect(rg_bag_seal(bag, "2026-11-25", NULL, NULL) == RG_INTERNAL);
    cr_expect(rg_bag_add_bytes(bag, "data/b", "x", 1, NULL) == RG_INTERNAL);
    cr_expect(rg_bag_info(bag, "Label", "x", NULL) == RG_INTERNAL);
    cr_expect(rg_bag_sign_file(bag, "../x", "x", NULL) == RG_BAD_DATA);
    cr_expect(rg_bag_sign_file(bag, "bagit.txt", "x", NULL) == RG_CANT_CREATE);
    cr_expect(rg_bag_sign_file(bag, RG_BAG_SIGNATURE, "x", NULL) == RG_OK);
    cr_assert(rg_bag_place(bag, place, NULL) == RG_OK);
    cr_expect(rg_bag_place(bag, place, NULL) == RG_INTERNAL);
    rg_bag_free(bag);
    rg_bag_state state;
    cr_expect(faults_of(place, &state) == 0 && state.signed_file);
    rg_bag_state_free(&state);
}

Test(bag, staging_folder_must_be_new)
{
    rg_bag *bag;
    rg_error err = {0};
    cr_assert(rg_folder_make(staging, NULL) == RG_OK);
    cr_expect(rg_bag_begin(staging, &bag, &err) == RG_CANT_CREATE && !bag);
    cr_expect(strstr(err.text, staging) != NULL);
    cr_expect(rg_bag_begin("/tmp/rimglow-none/such", &bag, NULL) == RG_CANT_CREATE && !bag);
}

static rg_bag *sealed(void)
{
    rg_bag *bag = begin();
    add(bag, "data/a", "evidence");
    cr_assert(rg_bag_seal(bag, "2026-11-25", NULL, NULL) == RG_OK);
    return bag;
}

static void expect_refused_place(rg_bag *bag, const char *where, const char *cause)
{
    rg_error err = {0};
    rg_code code = rg_bag_place(bag, where, &err);
    cr_expect(code == RG_CANT_CREATE, "%d %s", (int)code, err.text);
    cr_expect(strstr(err.text, cause) && strstr(err.text, staging) && strstr(err.text, "whole"),
              "%s", err.text);
    cr_expect(outside_agrees(staging));
}

Test(bag, place_that_is_taken_stays_as_it_is_and_the_bag_stays_whole)
{
    rg_bag *bag = sealed();
    cr_assert(rg_folder_make(place, NULL) == RG_OK);
    expect_refused_place(bag, place, "stands there already"); /* even an empty folder */
    rmdir(place);
    cr_assert(rg_file_write(place, "x", 1, NULL) == RG_OK);
    expect_refused_place(bag, place, place);
    unlink(place);
    cr_assert(symlink("/nowhere", place) == 0);
    expect_refused_place(bag, place, place);
    unlink(place);
    cr_expect(rg_bag_place(bag, place, NULL) == RG_OK);
    rg_bag_free(bag);
}

Test(bag, place_that_cannot_be_reached_is_named)
{
    rg_bag *bag = sealed();
    char below[200];
    snprintf(below, sizeof below, "%s/file", folder);
    cr_assert(rg_file_write(below, "x", 1, NULL) == RG_OK);
    strcat(below, "/sub/bag");
    expect_refused_place(bag, below, "file");
    expect_refused_place(bag, "/proc/rimglow/bag", "/proc/rimglow");
    struct stat here, shm;
    if (stat(folder, &here) == 0 && stat("/dev/shm", &shm) == 0 && here.st_dev != shm.st_dev) {
        char other[100];
        snprintf(other, sizeof other, "/dev/shm/rimglow-%ld", (long)getpid());
        expect_refused_place(bag, other, "on one disk");
        cr_expect(access(other, F_OK) != 0);
    }
    rg_bag_free(bag);
}

/* A limit on the size of files stands in for a full disk (setrlimit). */
Test(bag, full_disk_is_told_and_leaves_no_half_file)
{
    rg_bag *bag = begin();
    static const char big[100000];
    char source[128], out[200];
    rg_error err = {0};
    snprintf(source, sizeof source, "%s/source", folder);
    cr_assert(rg_file_write(source, big, sizeof big, NULL) == RG_OK);
    signal(SIGXFSZ, SIG_IGN);
    struct rlimit limit = {5000, 5000};
    cr_assert(setrlimit(RLIMIT_FSIZE, &limit) == 0);
    cr_expect(rg_bag_add_file(bag, "data/a.jpg", source, NULL, &err) == RG_IO);
    cr_expect(strstr(err.text, "data/a.jpg") && strstr(err.text, "free some space"), "%s",
              err.text);
    cr_expect(rg_bag_add_bytes(bag, "data/new/folder/b.jpg", big, sizeof big, NULL) == RG_IO);
    cr_expect(rg_bag_files(bag) == 0);
    rg_bag_free(bag);
    shell(staging, "find . -mindepth 1", out, sizeof out);
    cr_expect_str_eq(out, "./data\n", "no file and no folder made for it");
}

/* Root writes where permissions forbid it, so the test gives that up (user 65534, "nobody"). */
Test(bag, folder_that_may_not_be_written_is_told)
{
    rg_bag *bag = begin();
    rg_error err = {0};
    char data[200];
    snprintf(data, sizeof data, "%s/data", staging);
    cr_assert(chmod(data, 0500) == 0 && chmod(folder, 0755) == 0);
    uid_t user = geteuid();
    if (user == 0 && seteuid(65534) != 0)
        cr_skip("cannot give up root here");
    rg_code code = rg_bag_add_bytes(bag, "data/a", "x", 1, &err);
    cr_assert(user == geteuid() || seteuid(user) == 0);
    cr_expect(code == RG_CANT_CREATE, "%s", err.text);
    cr_expect(strstr(err.text, "data/a") && strstr(err.text, "may be written"), "%s", err.text);
    rg_bag_free(bag);
}

Test(bag, removal_takes_everything_and_follows_nothing)
{
    char out[200];
    rg_error err = {0};
    cr_assert(
        shell(folder,
              "mkdir -p incoming/a/b/c outside && echo x >outside/kept && echo x "
              ">incoming/a/b/f && ln -s ../../outside incoming/a/link && ln -s ../outside/kept "
              "incoming/file && mkfifo incoming/pipe && for i in $(seq 300); do echo "
              ">incoming/a/b/c/$i; done",
              out, sizeof out) == 0);
    cr_assert(rg_bag_remove(staging, &err) == RG_OK, "%s", err.text);
    shell(folder, "find . -mindepth 1 | sort", out, sizeof out);
    cr_expect_str_eq(out, "./outside\n./outside/kept\n");
    cr_expect(rg_bag_remove(staging, NULL) == RG_OK, "missing is no failure");
    cr_assert(symlink("outside", staging) == 0);
    cr_expect(rg_bag_remove(staging, &err) == RG_CANT_CREATE, "a link is not followed");
    snprintf(out, sizeof out, "%s/outside/kept", folder);
    cr_expect(access(out, F_OK) == 0);
    cr_expect(rg_bag_remove(out, NULL) == RG_CANT_CREATE, "nor is a file a bag");
}
