/*
 * Tests of rg_bag_check (bag.h): every way of tampering with a bag is named, and nothing else.
 */
#include <criterion/criterion.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rimglow/bag.h"
#include "rimglow/file.h"

static char folder[64], bag_folder[128];
static rg_bag_state state;

static void put(const char *name, const char *text)
{
    char path[900];
    rg_error err = {0};
    snprintf(path, sizeof path, "%s/%s", bag_folder, name);
    cr_assert(rg_file_write(path, text, strlen(text), &err) == RG_OK, "%s", err.text);
}

static void make_bag(void)
{
    static const char *const files[][2] = {{"data/a.jpg", "frame of a"},
                                           {"data/b.jpg", "frame of b"},
                                           {"data/c.jpg", "frame of c"},
                                           {"data/d/e.ini", "[sweep]"},
                                           {"data/d/empty", ""}};
    strcpy(folder, "/tmp/rimglow-check-XXXXXX");
    if (!mkdtemp(folder))
        abort();
    snprintf(bag_folder, sizeof bag_folder, "%s/bag", folder);
    rg_bag *bag;
    rg_error err = {0};
    cr_assert(rg_bag_begin(bag_folder, &bag, &err) == RG_OK, "%s", err.text);
    for (int i = 0; i < 5; i++)
        cr_assert(rg_bag_add_bytes(bag, files[i][0], files[i][1], strlen(files[i][1]), NULL) ==
                  RG_OK);
    cr_assert(rg_bag_info(bag, "External-Identifier", "PE-A-0147", NULL) == RG_OK);
    cr_assert(rg_bag_seal(bag, "2026-11-25", NULL, NULL) == RG_OK);
    rg_bag_free(bag);
}

static void remove_bag(void)
{
    char command[200];
    rg_bag_state_free(&state);
    snprintf(command, sizeof command, "chmod -R u+rwx %s; rm -rf %s", folder, folder);
    if (system(command) != 0)
        abort();
}

TestSuite(bag_check, .init = make_bag, .fini = remove_bag);

/* Shell commands in the bag's folder: tampering as anybody would do it. */
static void tamper(const char *what)
{
    char command[1500];
    snprintf(command, sizeof command, "cd '%s' && { %s; }", bag_folder, what);
    cr_assert(system(command) == 0, "%s", what);
}

static void check(void)
{
    rg_error err = {0};
    rg_bag_state_free(&state);
    cr_assert(rg_bag_check(bag_folder, NULL, NULL, &state, &err) == RG_OK, "%s", err.text);
    if (getenv("SHOW_FAULTS"))
        for (int i = 0; i < state.faults && i < 12; i++)
            fprintf(stderr, "  %s: %s: %s\n", rg_bag_fault_name(state.fault[i].kind),
                    state.fault[i].file, state.fault[i].text);
}

static bool has(rg_bag_fault_kind kind, const char *file, const char *text)
{
    for (int i = 0; i < state.faults && i < RG_BAG_FAULTS_MAX; i++)
        if (state.fault[i].kind == kind && strcmp(state.fault[i].file, file) == 0 &&
            strstr(state.fault[i].text, text))
            return true;
    return false;
}

static void expect_only(rg_bag_fault_kind kind, const char *file, const char *text)
{
    check();
    cr_expect(state.faults == 1, "%d faults", state.faults);
    cr_expect(has(kind, file, text), "%s: %s: %s", rg_bag_fault_name(state.fault[0].kind),
              state.fault[0].file, state.fault[0].text);
}

static void rewrite_manifest(void)
{
    tamper("find data -type f | LC_ALL=C sort | xargs sha256sum >manifest-sha256.txt");
}

static void rewrite_tagmanifest(void)
{
    tamper("sha256sum bag-info.txt bagit.txt manifest-sha256.txt >tagmanifest-sha256.txt");
}

Test(bag_check, whole_bag_has_no_fault)
{
    check();
    cr_expect(state.faults == 0 && state.files == 5 && state.bytes == 37);
    rewrite_manifest();
    rewrite_tagmanifest();
    check();
    cr_expect(state.faults == 0, "sha256sum writes the manifests that we write");
}

/* ---- payload ---- */

Test(bag_check, one_changed_byte_is_an_altered_file_of_the_same_size)
{
    put("data/b.jpg", "frame of B");
    expect_only(RG_BAG_ALTERED, "data/b.jpg", "same size (10 bytes), other content");
}

Test(bag_check, longer_and_shorter_files_are_measured_by_payload_oxum)
{
    put("data/b.jpg", "frame of b, painted over");
    expect_only(RG_BAG_ALTERED, "data/b.jpg", "14 bytes longer, 24 now");
    put("data/b.jpg", "frame");
    expect_only(RG_BAG_ALTERED, "data/b.jpg", "5 bytes shorter, 5 now");
    put("data/b.jpg", "");
    expect_only(RG_BAG_ALTERED, "data/b.jpg", "10 bytes shorter, 0 now");
    put("data/b.jpg", "frame");
    put("data/c.jpg", "x");
    check();
    cr_expect(state.faults == 2);
    cr_expect(has(RG_BAG_ALTERED, "data/b.jpg", "other content, 5 bytes now"));
    cr_expect(has(RG_BAG_ALTERED, "data/c.jpg", "other content, 1 bytes now"));
}

Test(bag_check, missing_file_is_named)
{
    tamper("rm data/d/e.ini");
    expect_only(RG_BAG_MISSING, "data/d/e.ini", "not there");
}

Test(bag_check, folder_that_lost_its_files_is_no_fault_of_its_own)
{
    tamper("rm data/d/e.ini data/d/empty");
    check();
    cr_expect(state.faults == 2);
    cr_expect(has(RG_BAG_MISSING, "data/d/e.ini", "") && has(RG_BAG_MISSING, "data/d/empty", ""));
    tamper("mkdir data/d/e data/c data/dd");
    check();
    cr_expect(state.faults == 5);
    cr_expect(has(RG_BAG_EXTRA, "data/d/e", "") && has(RG_BAG_EXTRA, "data/c", "") &&
              has(RG_BAG_EXTRA, "data/dd", ""));
}

Test(bag_check, missing_payload_folder_is_told)
{
    tamper("rm -r data");
    check();
    cr_expect(state.faults == 6 && has(RG_BAG_MALFORMED, "data", "missing"));
    cr_expect(has(RG_BAG_MISSING, "data/a.jpg", ""));
}

Test(bag_check, extra_files_are_named_wherever_they_are)
{
    put("data/d/new.jpg", "new");
    expect_only(RG_BAG_EXTRA, "data/d/new.jpg", "not listed; 3 bytes");
    tamper("rm data/d/new.jpg && cp data/a.jpg data/copy.jpg");
    expect_only(RG_BAG_EXTRA, "data/copy.jpg", "the same as data/a.jpg");
    tamper("rm data/copy.jpg && mkdir -p notes/x && echo hello >notes/x/y.txt");
    expect_only(RG_BAG_EXTRA, "notes/x/y.txt", "not listed");
    tamper("rm -r notes && echo hello >tagmanifest-md5.txt");
    expect_only(RG_BAG_EXTRA, "tagmanifest-md5.txt", "not listed");
    tamper("rm tagmanifest-md5.txt && echo hello >data/.hidden");
    expect_only(RG_BAG_EXTRA, "data/.hidden", "not listed");
    tamper("rm data/.hidden && mkdir data/empty-folder more");
    check();
    cr_expect(state.faults == 2 && has(RG_BAG_EXTRA, "data/empty-folder", "empty folder"));
    cr_expect(has(RG_BAG_EXTRA, "more", "empty folder"));
    put("data/b.jpg", "frame of B");
    check();
    cr_expect(state.faults == 3 && has(RG_BAG_ALTERED, "data/b.jpg", "same size"),
              "an empty folder changes no sum");
}

Test(bag_check, moved_file_is_recognised_by_its_content)
{
    tamper("mv data/a.jpg data/d/other.jpg");
    expect_only(RG_BAG_MOVED, "data/a.jpg", "stands in data/d/other.jpg");
}

Test(bag_check, file_moved_onto_another_is_told_for_both)
{
    tamper("mv data/a.jpg data/b.jpg");
    check();
    cr_expect(state.faults == 2);
    cr_expect(has(RG_BAG_MISSING, "data/a.jpg", "data/b.jpg"));
    cr_expect(has(RG_BAG_ALTERED, "data/b.jpg", "now holds what data/a.jpg held"));
}

Test(bag_check, copy_of_another_file_is_told_as_that)
{
    tamper("cp data/a.jpg data/b.jpg");
    expect_only(RG_BAG_ALTERED, "data/b.jpg", "now holds a copy of data/a.jpg");
}

Test(bag_check, two_exchanged_files_are_swapped)
{
    tamper("mv data/a.jpg x && mv data/d/e.ini data/a.jpg && mv x data/d/e.ini");
    check();
    cr_expect(state.faults == 2);
    cr_expect(has(RG_BAG_SWAPPED, "data/a.jpg", "what data/d/e.ini held, and the other way"));
    cr_expect(has(RG_BAG_SWAPPED, "data/d/e.ini", "what data/a.jpg held, and the other way"));
}

Test(bag_check, empty_files_are_exchanged_like_others_but_hold_nobody_s_content)
{
    tamper("mv data/a.jpg x && mv data/d/empty data/a.jpg && mv x data/d/empty");
    check();
    cr_expect(state.faults == 2);
    cr_expect(has(RG_BAG_SWAPPED, "data/a.jpg", "what data/d/empty held, and the other way"));
    tamper("rm data/d/empty");
    check();
    cr_expect(state.faults == 2 && has(RG_BAG_ALTERED, "data/a.jpg", "other content, 0 bytes"));
    cr_expect(has(RG_BAG_MISSING, "data/d/empty", "the manifest lists it"));
}

Test(bag_check, ring_of_three_is_swapped)
{
    tamper("mv data/a.jpg x && mv data/b.jpg data/a.jpg && mv data/c.jpg data/b.jpg && mv x "
           "data/c.jpg");
    check();
    cr_expect(state.faults == 3);
    cr_expect(has(RG_BAG_SWAPPED, "data/a.jpg", "what data/b.jpg held; 3 files"));
    cr_expect(has(RG_BAG_SWAPPED, "data/b.jpg", "what data/c.jpg held; 3 files"));
    cr_expect(has(RG_BAG_SWAPPED, "data/c.jpg", "what data/a.jpg held; 3 files"));
}

Test(bag_check, chain_of_contents_is_no_ring)
{
    tamper("mv data/b.jpg data/a.jpg && mv data/c.jpg data/b.jpg && echo new >data/c.jpg");
    check();
    cr_expect(state.faults == 3);
    cr_expect(has(RG_BAG_ALTERED, "data/a.jpg", "what data/b.jpg held"));
    cr_expect(has(RG_BAG_ALTERED, "data/b.jpg", "what data/c.jpg held"));
    cr_expect(has(RG_BAG_ALTERED, "data/c.jpg", "4 bytes now"));
}

Test(bag_check, links_pipes_and_folders_are_never_followed_or_opened)
{
    tamper("mv data/a.jpg ../a.jpg && ln -s ../../a.jpg data/a.jpg");
    expect_only(RG_BAG_ALTERED, "data/a.jpg", "symbolic link, which was not followed; a file was");
    tamper("rm data/a.jpg && mv ../a.jpg data/a.jpg && mkfifo data/pipe");
    expect_only(RG_BAG_EXTRA, "data/pipe", "pipe, socket or device, which was not opened");
    tamper("rm data/pipe && rm data/b.jpg && mkfifo data/b.jpg");
    expect_only(RG_BAG_ALTERED, "data/b.jpg", "pipe, socket or device");
    tamper("rm data/b.jpg && printf 'frame of b' >data/b.jpg && mv data/d ../d && ln -s ../../d "
           "data/d");
    check();
    cr_expect(has(RG_BAG_EXTRA, "data/d", "symbolic link"));
    cr_expect(has(RG_BAG_MISSING, "data/d/e.ini", "") && has(RG_BAG_MISSING, "data/d/empty", ""));
    tamper("rm data/d && mv ../d data/d && ln -s /etc data/etc");
    expect_only(RG_BAG_EXTRA, "data/etc", "symbolic link");
    tamper("rm data/etc && rm data/a.jpg && mkdir data/a.jpg && printf 'frame of a' >data/a.jpg/x");
    expect_only(RG_BAG_MOVED, "data/a.jpg", "data/a.jpg/x");
}

Test(bag_check, unreadable_file_is_no_accusation)
{
    uid_t user = geteuid();
    tamper("chmod 755 .. . data data/d && chmod 000 data/a.jpg");
    if (user == 0 && seteuid(65534) != 0)
        cr_skip("cannot give up root here");
    check();
    cr_assert(user == geteuid() || seteuid(user) == 0);
    cr_expect(state.faults == 1 && has(RG_BAG_UNREADABLE, "data/a.jpg", "cannot be read"));
    tamper("chmod 644 data/a.jpg && chmod 000 data/d");
    cr_assert(user != 0 || seteuid(65534) == 0);
    check();
    cr_assert(user == geteuid() || seteuid(user) == 0);
    cr_expect(state.faults == 3 && has(RG_BAG_UNREADABLE, "data/d", "looked into") &&
              has(RG_BAG_UNREADABLE, "data/d/e.ini", "cannot be reached"));
}

Test(bag_check, deep_and_odd_extra_files_are_named_without_harm)
{
    tamper("p=data; for i in $(seq 40); do p=$p/d$i; done; mkdir -p $p; echo x >$p/x");
    check();
    cr_expect(state.faults == 1 && state.fault[0].kind == RG_BAG_EXTRA);
    cr_expect(strstr(state.fault[0].text, "deeper") != NULL);
    tamper("rm -r data/d1 && printf x >\"data/$(printf 'new\\nline\\033[2J\\377')\"");
    expect_only(RG_BAG_EXTRA, "data/new?line?[2J?", "not listed");
    tamper("rm data/new* && p=data; for i in 1 2 3; do p=$p/$(printf %0200d $i); done; mkdir -p "
           "$p; echo x >$p/x");
    check();
    cr_expect(state.faults == 1 && state.fault[0].kind == RG_BAG_EXTRA);
}

/* ---- manifests and tag files ---- */

Test(bag_check, bag_with_a_manifest_written_again_is_recognised)
{
    put("data/b.jpg", "frame of B");
    rewrite_manifest();
    expect_only(RG_BAG_MANIFEST_REWRITTEN, "manifest-sha256.txt",
                "every file fits it: it was written again");
    tamper("rm data/c.jpg");
    rewrite_manifest();
    check();
    cr_expect(state.faults == 2);
    cr_expect(has(RG_BAG_MANIFEST_REWRITTEN, "manifest-sha256.txt", "every file fits it"));
    cr_expect(has(RG_BAG_OXUM, "bag-info.txt", "37 bytes in 5 files, there are 27 in 4"));
}

Test(bag_check, whole_rewriting_is_left_to_chain_and_signature)
{
    rg_bag_tags before, after;
    cr_assert(rg_bag_read_tags(bag_folder, &before, NULL) == RG_OK);
    put("data/b.jpg", "frame of B");
    rewrite_manifest();
    rewrite_tagmanifest();
    check();
    cr_expect(state.faults == 0, "the bag alone cannot know");
    cr_assert(rg_bag_read_tags(bag_folder, &after, NULL) == RG_OK);
    cr_expect(!rg_digest_equal(&before.manifest, &after.manifest));
    cr_expect(!rg_digest_equal(&before.tagmanifest, &after.tagmanifest));
}

Test(bag_check, manifest_that_fits_neither_seal_nor_files_is_told)
{
    put("data/b.jpg", "frame of B");
    rewrite_manifest();
    put("data/c.jpg", "frame of C");
    check();
    cr_expect(state.faults == 2);
    cr_expect(has(RG_BAG_MANIFEST_REWRITTEN, "manifest-sha256.txt", "1 of its files"));
    cr_expect(has(RG_BAG_ALTERED, "data/c.jpg", "same size"));
}

Test(bag_check, manifest_in_another_order_or_form_is_told_as_that)
{
    tamper("sort -r manifest-sha256.txt >x && mv x manifest-sha256.txt");
    expect_only(RG_BAG_MANIFEST_REWRITTEN, "manifest-sha256.txt", "another order or form");
    tamper("sed 's/$/\\r/; y/abcdef/ABCDEF/; s/DAtA/data/; s|DATA/|data/|; s|\\.JPG|.jpg|' "
           "manifest-sha256.txt | head -1 >/dev/null; sed 's/  / \\t /; s/$/\\r/' "
           "manifest-sha256.txt >x && mv x manifest-sha256.txt");
    expect_only(RG_BAG_MANIFEST_REWRITTEN, "manifest-sha256.txt", "another order or form");
    put("data/b.jpg", "frame of B");
    check();
    cr_expect(state.faults == 2 && has(RG_BAG_ALTERED, "data/b.jpg", "same size"));
}

Test(bag_check, damaged_manifest_does_not_accuse_an_intact_payload)
{
    tamper("sed -i '/b.jpg/s/^..../0000/' manifest-sha256.txt");
    expect_only(RG_BAG_MANIFEST_REWRITTEN, "manifest-sha256.txt",
                "the payload is as it was sealed, this list of it was changed, first for "
                "data/b.jpg");
    tamper("sed -i '/c.jpg/d' manifest-sha256.txt");
    expect_only(RG_BAG_MANIFEST_REWRITTEN, "manifest-sha256.txt", "as it was sealed");
    tamper("sed -i '1s/^/z/' manifest-sha256.txt");
    check();
    cr_expect(state.faults == 2);
    cr_expect(has(RG_BAG_MALFORMED, "manifest-sha256.txt", "line 1: is not 64 hexadecimal"));
    cr_expect(has(RG_BAG_MANIFEST_REWRITTEN, "manifest-sha256.txt", "payload itself is as it was"));
    tamper("rm manifest-sha256.txt");
    check();
    cr_expect(has(RG_BAG_MALFORMED, "manifest-sha256.txt", "missing"));
    cr_expect(has(RG_BAG_MANIFEST_REWRITTEN, "manifest-sha256.txt", "payload itself is as it was"));
    put("data/b.jpg", "frame of B");
    check();
    cr_expect(state.faults == 2);
    cr_expect(has(RG_BAG_MANIFEST_REWRITTEN, "manifest-sha256.txt", "cannot be known"));
}

Test(bag_check, edited_tag_files_are_named)
{
    tamper("sed -i 's/0147/0148/' bag-info.txt");
    expect_only(RG_BAG_TAG_ALTERED, "bag-info.txt", "one of the two was changed");
    tamper("sed -i 's/0148/0147/' bag-info.txt && sed -i '/bagit.txt/s/^..../0000/' "
           "tagmanifest-sha256.txt");
    expect_only(RG_BAG_TAG_ALTERED, "bagit.txt", "one of the two was changed");
}

Test(bag_check, missing_and_malformed_tag_files_are_named)
{
    tamper("rm bag-info.txt");
    expect_only(RG_BAG_MALFORMED, "bag-info.txt", "missing");
    tamper("echo no colon >bag-info.txt");
    check();
    cr_expect(state.faults == 2 && has(RG_BAG_MALFORMED, "bag-info.txt", "line 1"));
    tamper("mv bagit.txt ../b && ln -s ../b bagit.txt");
    check();
    cr_expect(has(RG_BAG_MALFORMED, "bagit.txt", "symbolic link"));
    tamper("rm bagit.txt && mkfifo bagit.txt");
    check();
    cr_expect(has(RG_BAG_MALFORMED, "bagit.txt", "no regular file"));
    tamper("rm bagit.txt && printf 'BagIt-Version: 0.97\\nTag-File-Character-Encoding: UTF-8\\n' "
           ">bagit.txt");
    check();
    cr_expect(has(RG_BAG_MALFORMED, "bagit.txt", "BagIt-Version: 1.0") &&
              has(RG_BAG_TAG_ALTERED, "bagit.txt", ""));
}

Test(bag_check, missing_tag_manifest_is_one_fault_and_the_payload_is_still_compared)
{
    tamper("rm tagmanifest-sha256.txt");
    expect_only(RG_BAG_MALFORMED, "tagmanifest-sha256.txt", "missing");
    put("data/b.jpg", "x");
    check();
    cr_expect(state.faults == 2 && has(RG_BAG_ALTERED, "data/b.jpg", ""));
}

Test(bag_check, tag_manifest_must_list_the_core_and_nothing_of_the_payload)
{
    tamper("sed -i '/bagit.txt/d' tagmanifest-sha256.txt");
    expect_only(RG_BAG_MALFORMED, "tagmanifest-sha256.txt", "does not list bagit.txt");
    rewrite_tagmanifest();
    tamper("sha256sum data/a.jpg >>tagmanifest-sha256.txt");
    expect_only(RG_BAG_MALFORMED, "tagmanifest-sha256.txt", "line 4: is a file of data/");
    rewrite_tagmanifest();
    tamper("echo note >note.txt && sha256sum note.txt >>tagmanifest-sha256.txt");
    check();
    cr_expect(state.faults == 0, "a listed tag file of others is in order");
    tamper("echo Note >note.txt");
    expect_only(RG_BAG_TAG_ALTERED, "note.txt", "changed after sealing");
    tamper("rm note.txt");
    expect_only(RG_BAG_MISSING, "note.txt", "tag manifest lists it");
}

Test(bag_check, manifest_that_points_outside_is_refused_and_nothing_is_read)
{
    static const char *const lines[] = {"../../etc/passwd", "/etc/passwd", "data/../../x",
                                        "bagit.txt", "data//x"};
    for (int i = 0; i < 5; i++) {
        char command[200];
        rewrite_manifest();
        snprintf(command, sizeof command, "echo \"$(printf %%064d 0)  %s\" >>manifest-sha256.txt",
                 lines[i]);
        tamper(command);
        check();
        cr_expect(has(RG_BAG_MALFORMED, "manifest-sha256.txt", "line 6"), "%s", lines[i]);
    }
}

Test(bag_check, signature_is_the_one_tag_file_that_need_not_be_listed)
{
    put(RG_BAG_SIGNATURE, "anything");
    check();
    cr_expect(state.faults == 0 && state.signed_file);
    tamper("mv signature-ed25519.txt ../s && ln -s ../s signature-ed25519.txt");
    expect_only(RG_BAG_EXTRA, RG_BAG_SIGNATURE, "symbolic link");
    cr_expect(!state.signed_file);
}

/* RFC 8493 section 2.1.3: what others write may have such names; sha256sum cannot check them. */
Test(bag_check, percent_encoded_names_of_other_writers_are_read)
{
    tamper("printf x >'data/50%' && printf y >\"data/$(printf 'new\\nline')\" && "
           "printf z >\"data/$(printf 'car\\rriage')\"");
    tamper(
        "sha256sum data/*.jpg data/d/* >manifest-sha256.txt && "
        "echo \"$(printf x | sha256sum | cut -c-64)  data/50%25\" >>manifest-sha256.txt && "
        "echo \"$(printf y | sha256sum | cut -c-64)  data/new%0Aline\" >>manifest-sha256.txt && "
        "echo \"$(printf z | sha256sum | cut -c-64)  data/car%0driage\" >>manifest-sha256.txt && "
        "sed -i 's/^Payload-Oxum.*/Payload-Oxum: 40.8/' bag-info.txt");
    rewrite_tagmanifest();
    check();
    cr_expect(state.faults == 0);
}

Test(bag_check, every_fault_is_counted_and_a_thousand_are_kept)
{
    tamper("for i in $(seq 1200); do : >data/extra-$i; done");
    check();
    cr_expect(state.faults == 1200 && has(RG_BAG_EXTRA, "data/extra-1", "not listed; 0 bytes"));
    for (int i = 0; i < RG_BAG_FAULTS_MAX; i++)
        cr_assert(state.fault[i].kind == RG_BAG_EXTRA && state.fault[i].text[0]);
}

/* Whatever order the file system lists them in, no listed file may be called missing. So many files
 * are made in memory only, where there is such a place. */
Test(bag_check, more_files_than_any_bag_holds_hide_nothing)
{
    char memory[] = "/dev/shm/rimglow-check-XXXXXX", command[200];
    if (!mkdtemp(memory))
        cr_skip("no /dev/shm here");
    snprintf(command, sizeof command, "cp -R . %s/bag", memory);
    tamper(command);
    snprintf(bag_folder, sizeof bag_folder, "%s/bag", memory);
    tamper("mkdir data/0 && cd data/0 && seq -f 'x%.0f' 102000 | xargs touch");
    check();
    snprintf(command, sizeof command, "rm -rf %s", memory);
    cr_assert(system(command) == 0);
    cr_expect(state.faults > RG_BAG_FILES_MAX && has(RG_BAG_MALFORMED, "data", "more than 100000"));
    for (int i = 0; i < RG_BAG_FAULTS_MAX; i++)
        cr_expect(state.fault[i].kind != RG_BAG_MISSING, "%s", state.fault[i].file);
}

static void count(void *context, size_t done, size_t total)
{
    size_t *last = context;
    cr_expect(done == *last + 1 && done <= total && total == 9);
    *last = done;
}

Test(bag_check, progress_counts_up_to_the_last_file)
{
    size_t last = 0;
    cr_assert(rg_bag_check(bag_folder, count, &last, &state, NULL) == RG_OK);
    cr_expect(last == 9);
}

Test(bag_check, folder_that_is_none_is_no_input)
{
    rg_error err = {0};
    char path[200];
    snprintf(path, sizeof path, "%s/none", folder);
    cr_expect(rg_bag_check(path, NULL, NULL, &state, &err) == RG_NO_INPUT);
    cr_expect(strstr(err.text, path) != NULL);
    snprintf(path, sizeof path, "%s/bagit.txt", bag_folder);
    cr_expect(rg_bag_check(path, NULL, NULL, &state, NULL) == RG_NO_INPUT);
    rg_bag_tags tags;
    cr_expect(rg_bag_read_tags(path, &tags, NULL) == RG_NO_INPUT);
    tamper("rm bagit.txt");
    cr_expect(rg_bag_read_tags(bag_folder, &tags, &err) == RG_BAD_DATA);
    cr_expect(strstr(err.text, bag_folder) && strstr(err.text, "bagit.txt"), "%s", err.text);
}

Test(bag_check, names_of_faults_are_those_of_the_header)
{
    static const char *const want[] = {"altered",
                                       "missing",
                                       "extra",
                                       "moved",
                                       "swapped",
                                       "manifest rewritten",
                                       "tag file altered",
                                       "malformed",
                                       "sum of sizes wrong",
                                       "unreadable"};
    for (int i = 0; i <= RG_BAG_UNREADABLE; i++)
        cr_expect_str_eq(rg_bag_fault_name((rg_bag_fault_kind)i), want[i]);
}
