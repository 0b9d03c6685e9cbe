/*
 * Tests of file.h on a folder of their own.
 */
#include <criterion/criterion.h>
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rimglow/file.h"

static char folder[64];

static void make_folder(void)
{
    strcpy(folder, "/tmp/rimglow-file-XXXXXX");
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

TestSuite(file, .init = make_folder, .fini = remove_folder);

static char *in_folder(const char *name)
{
    return rg_path_join(folder, name);
}

static int count_entries(void)
{
    rg_file_list list;
    cr_assert(rg_folder_list(folder, &list, NULL) == RG_OK);
    int n = (int)list.count;
    rg_file_list_free(&list);
    return n;
}

Test(file, bytes_written_are_bytes_read)
{
    char *path = in_folder("a.bin");
    uint8_t bytes[] = {0, 1, 255, 0, 10};
    cr_assert(rg_file_write(path, bytes, sizeof bytes, NULL) == RG_OK);
    uint8_t *back;
    size_t size;
    cr_assert(rg_file_read(path, 5, &back, &size, NULL) == RG_OK);
    cr_assert(size == 5);
    cr_assert(memcmp(back, bytes, 5) == 0);
    cr_assert(back[5] == 0, "one 0 byte follows");
    free(back);
    cr_assert(count_entries() == 1, "no part file is left");
    free(path);
}

Test(file, new_content_replaces_the_old_whole)
{
    char *path = in_folder("a.txt");
    rg_file_write(path, "a long first content", 20, NULL);
    cr_assert(rg_file_write(path, "short", 5, NULL) == RG_OK);
    uint8_t *back;
    size_t size;
    rg_file_read(path, 100, &back, &size, NULL);
    cr_assert(strcmp((char *)back, "short") == 0);
    free(back);
    free(path);
}

Test(file, part_file_of_a_dead_process_is_no_obstacle)
{
    char *path = in_folder("a.txt"), part[200];
    snprintf(part, sizeof part, "%s.part-%ld-0", path, (long)getpid());
    rg_file_write(part, "left over", 9, NULL);
    cr_assert(rg_file_write(path, "new", 3, NULL) == RG_OK);
    cr_assert(count_entries() == 2);
    free(path);
}

Test(file, mode_follows_the_umask)
{
    char *path = in_folder("a.txt");
    mode_t old = umask(027);
    rg_file_write(path, "x", 1, NULL);
    umask(old);
    struct stat st;
    stat(path, &st);
    cr_assert((int)(st.st_mode & 0777) == 0640);
    free(path);
}

Test(file, folder_that_is_not_there_cannot_take_a_file)
{
    char *path = in_folder("none/a.txt");
    rg_error err = {0};
    cr_assert(rg_file_write(path, "x", 1, &err) == RG_CANT_CREATE);
    cr_assert(strstr(err.text, "none/a.txt") != NULL);
    free(path);
}

Test(file, target_that_is_a_folder_stays_and_no_part_file_is_left)
{
    char *path = in_folder("sub");
    cr_assert(rg_folder_make(path, NULL) == RG_OK);
    cr_assert(rg_file_write(path, "x", 1, NULL) == RG_CANT_CREATE);
    cr_assert(count_entries() == 0);
    free(path);
}

/* A limit on the size of files stands in for a full disk (setrlimit). */
Test(file, write_that_fails_half_way_keeps_the_old_file)
{
    char *path = in_folder("a.bin");
    rg_file_write(path, "old", 3, NULL);
    signal(SIGXFSZ, SIG_IGN);
    struct rlimit limit = {1000, 1000};
    cr_assert(setrlimit(RLIMIT_FSIZE, &limit) == 0);
    static const uint8_t big[5000];
    rg_error err = {0};
    cr_assert(rg_file_write(path, big, sizeof big, &err) == RG_IO);
    cr_assert(strstr(err.text, "a.bin") != NULL);
    uint8_t *back;
    size_t size;
    cr_assert(rg_file_read(path, 100, &back, &size, NULL) == RG_OK);
    cr_assert(strcmp((char *)back, "old") == 0);
    cr_assert(count_entries() == 1, "no part file is left");
    free(back);
    free(path);
}

Test(file, missing_file_folder_and_pipe_are_no_input)
{
    uint8_t *bytes;
    size_t size;
    char *missing = in_folder("missing"), *pipe = in_folder("pipe");
    cr_assert(rg_file_read(missing, 9, &bytes, &size, NULL) == RG_NO_INPUT);
    cr_assert(rg_file_read(folder, 9, &bytes, &size, NULL) == RG_NO_INPUT);
    cr_assert(mkfifo(pipe, 0600) == 0);
    cr_assert(rg_file_read(pipe, 9, &bytes, &size, NULL) == RG_NO_INPUT);
    cr_assert(bytes == NULL);
    free(missing);
    free(pipe);
}

Test(file, file_above_the_limit_is_bad_data)
{
    char *path = in_folder("a.bin");
    rg_file_write(path, "123456", 6, NULL);
    uint8_t *bytes;
    size_t size;
    cr_assert(rg_file_read(path, 5, &bytes, &size, NULL) == RG_BAD_DATA);
    cr_assert(bytes == NULL);
    free(path);
}

Test(file, empty_file_is_read)
{
    char *path = in_folder("empty");
    cr_assert(rg_file_write(path, NULL, 0, NULL) == RG_OK);
    uint8_t *bytes;
    size_t size = 5;
    cr_assert(rg_file_read(path, 5, &bytes, &size, NULL) == RG_OK);
    cr_assert(size == 0);
    free(bytes);
    free(path);
}

Test(file, missing_parents_are_made_and_existing_ones_are_no_error)
{
    char *path = in_folder("a/b//c/");
    struct stat st;
    cr_assert(rg_folder_make(path, NULL) == RG_OK);
    cr_assert(stat(path, &st) == 0);
    cr_assert(rg_folder_make(path, NULL) == RG_OK);
    free(path);
    char *file = in_folder("file"), *below = in_folder("file/sub");
    rg_file_write(file, "x", 1, NULL);
    cr_assert(rg_folder_make(file, NULL) == RG_CANT_CREATE);
    cr_assert(rg_folder_make(below, NULL) == RG_CANT_CREATE);
    free(file);
    free(below);
}

Test(file, listing_is_sorted_by_bytes_without_folders_and_hidden_files)
{
    static const char *const names[] = {"b.jpg", "B.jpg", "a10.jpg", "a2.jpg", ".hidden"};
    for (int i = 0; i < 5; i++) {
        char *path = in_folder(names[i]);
        rg_file_write(path, "x", 1, NULL);
        free(path);
    }
    char *sub = in_folder("aa-folder");
    rg_folder_make(sub, NULL);
    free(sub);
    rg_file_list list;
    cr_assert(rg_folder_list(folder, &list, NULL) == RG_OK);
    cr_assert(list.count == 4);
    cr_assert(strcmp(list.name[0], "B.jpg") == 0);
    cr_assert(strcmp(list.name[1], "a10.jpg") == 0);
    cr_assert(strcmp(list.name[2], "a2.jpg") == 0);
    cr_assert(strcmp(list.name[3], "b.jpg") == 0);
    rg_file_list_free(&list);
    rg_file_list_free(&list);
    cr_assert(rg_folder_list("/nowhere/at/all", &list, NULL) == RG_NO_INPUT);
}

Test(file, folder_of_too_many_files_is_refused)
{
    for (int i = 0; i <= RG_FOLDER_MAX_FILES; i++) {
        char name[40], *path;
        snprintf(name, sizeof name, "%05d", i);
        path = in_folder(name);
        FILE *f = fopen(path, "w");
        if (!f)
            abort();
        fclose(f);
        free(path);
    }
    rg_file_list list;
    cr_assert(rg_folder_list(folder, &list, NULL) == RG_BAD_DATA);
    cr_assert(list.count == 0);
}

Test(file, path_is_joined_with_one_slash)
{
    static const char *const want[][3] = {{"a", "b", "a/b"}, {"a/", "b", "a/b"}, {"", "b", "b"}};
    for (int i = 0; i < 3; i++) {
        char *p = rg_path_join(want[i][0], want[i][1]);
        cr_assert(strcmp(p, (char *)want[i][2]) == 0);
        free(p);
    }
}

Test(file, refusals_say_what_to_do)
{
    static const struct {
        int reason;
        rg_code code;
        const char *remedy;
    } known[] = {
        {ENOSPC, RG_IO, "free some space"},
        {EDQUOT, RG_IO, "free some space"},
        {EFBIG, RG_IO, "free some space"},
        {EROFS, RG_CANT_CREATE, "may be written"},
        {EACCES, RG_CANT_CREATE, "may be written"},
        {ENOENT, RG_CANT_CREATE, "may be written"},
        {EEXIST, RG_CANT_CREATE, "another name"},
        {ENAMETOOLONG, RG_CANT_CREATE, "shorter name"},
        {EIO, RG_IO, "check the disk"},
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        rg_error err = {0};
        cr_expect(rg_file_refusal("a/b", known[i].reason, &err) == known[i].code);
        cr_expect(strncmp(err.text, "a/b: ", 5) == 0 && strstr(err.text, known[i].remedy), "%s",
                  err.text);
    }
}

Test(file, new_file_is_made_once_with_its_mode)
{
    char *path = in_folder("key");
    struct stat st;
    umask(022);
    cr_assert(rg_file_make(path, 0600, "abc", 3, NULL) == RG_OK);
    cr_assert(stat(path, &st) == 0 && (st.st_mode & 07777) == 0600 && st.st_size == 3);
    cr_assert(rg_file_make(path, 0600, "xyz", 3, NULL) == RG_CANT_CREATE);
    cr_assert(rg_folder_sync(folder, NULL) == RG_OK);
    cr_assert(rg_folder_sync(path, NULL) != RG_OK);
    free(path);
}
