/*
 * trainee.c - trainees' files: names, reading, durable appending.
 *
 * A file is only ever added to. What an interruption may leave is a last line without its newline: it goes to FILE.torn,
 * fsynced, before it is cut off, so that every byte is on the disk at any moment.
 */
#include "rimglow/trainee.h"

#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rimglow/digest.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"
#include "trainee_private.h"

static const char ending[] = ".jsonl", torn_ending[] = ".torn";

/* -------------------------------------------------------------------- names */

/* Code point of a UTF-8 sequence of that length, which rg_utf8_length has judged. */
static unsigned code_point(const unsigned char *p, size_t length)
{
    static const unsigned first[] = {0, 0x7F, 0x1F, 0x0F, 0x07};
    unsigned point = p[0] & first[length];
    for (size_t i = 1; i < length; i++)
        point = point << 6 | (p[i] & 0x3Fu);
    return point;
}

/* Control characters (C0, DEL, C1), line and paragraph separators, and the marks of bidirectional writing (Unicode
 * Standard Annex 9), which make a name look like another. */
static bool is_hidden(unsigned point)
{
    return point < 0x20 || (point >= 0x7F && point < 0xA0) || point == 0x061C ||
           (point >= 0x200B && point <= 0x200F) || (point >= 0x2028 && point <= 0x202E) ||
           (point >= 0x2060 && point <= 0x206F) || point == 0xFEFF;
}

rg_code rg_trainee_check_name(const char *name, rg_error *err)
{
    size_t size = strlen(name);
    if (size == 0 || name[0] == ' ' || name[size - 1] == ' ')
        return rg_fail(err, RG_USAGE,
                       "a trainee's name is missing or stands between blanks; type it without "
                       "them");
    if (size >= RG_QUIZ_NAME)
        return rg_fail(err, RG_USAGE, "a trainee's name has %zu bytes; %d are the most", size,
                       RG_QUIZ_NAME - 1);
    for (size_t i = 0, length; i < size; i += length) {
        length = rg_utf8_length(name + i, size - i);
        if (length == 0 || is_hidden(code_point((const unsigned char *)name + i, length)))
            return rg_fail(err, RG_USAGE,
                           "byte %zu of a trainee's name is no letter that can be seen; type it "
                           "in UTF-8 without control characters",
                           i + 1);
    }
    return RG_OK;
}

void rg_trainee_file(const char *name, char file[RG_TRAINEE_FILE])
{
    enum { SLUG = 40 };
    char slug[SLUG + 1] = "", hex[RG_DIGEST_TEXT];
    for (size_t i = 0; i < SLUG && name[i]; i++) {
        char c = name[i];
        bool kept = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
        slug[i] = kept ? c : '-';
        slug[i + 1] = 0;
    }
    rg_digest digest = rg_digest_of(name, strlen(name));
    rg_digest_format(&digest, hex);
    snprintf(file, RG_TRAINEE_FILE, "%s-%.8s%s", slug, hex, ending);
}

static char *path_of(const char *folder, const char *name, const char *more)
{
    char file[RG_TRAINEE_FILE + sizeof torn_ending];
    rg_trainee_file(name, file);
    strcat(file, more);
    return rg_path_join(folder, file);
}

/* ------------------------------------------------------------------ reading */

void rg_trainee_free(rg_trainee *trainee)
{
    free(trainee->entry);
    *trainee = (rg_trainee){0};
}

static rg_code parse_head(const char *label, const char *text, size_t size, rg_trainee *t,
                          rg_error *err)
{
    json_error_t e;
    json_t *root = size <= RG_TRAINEE_LINE ? json_loadb(text, size, 0, &e) : NULL;
    const char *format = json_string_value(json_object_get(root, "format"));
    const json_t *called = json_object_get(root, "trainee");
    const char *name = json_string_value(called);
    rg_code code = RG_OK;
    if (!format || strcmp(format, "rimglow trainee") != 0 ||
        json_integer_value(json_object_get(root, "version")) != 1 || !name ||
        json_string_length(called) != strlen(name))
        code = rg_fail(err, RG_BAD_DATA,
                       "%s, line 1: is not the head of a trainee's file of version 1; name another "
                       "folder",
                       label);
    else if (rg_trainee_check_name(name, err) != RG_OK) {
        rg_fail_prefix(err, label);
        code = RG_BAD_DATA;
    } else
        rg_copy_text(t->name, sizeof t->name, name);
    json_decref(root);
    return code;
}

static rg_code add_entry(const char *label, int line, const char *text, size_t size, rg_trainee *t,
                         rg_error *err)
{
    char where[RG_ERROR_TEXT / 2];
    if (t->count >= RG_TRAINEE_ENTRIES_MAX)
        return rg_fail(err, RG_BAD_DATA,
                       "%s: has more than %d answered cases; move the file to another folder and "
                       "begin a new one",
                       label, RG_TRAINEE_ENTRIES_MAX);
    if ((t->count & (t->count - 1)) == 0) { /* room doubles */
        size_t room = t->count ? 2 * (size_t)t->count : 1;
        rg_quiz_entry *more = rg_grow(t->entry, room, sizeof *more);
        if (!more)
            return rg_fail(err, RG_INTERNAL, "%s: out of memory", label);
        t->entry = more;
    }
    snprintf(where, sizeof where, "%s, line %d", label, line);
    rg_code code = rg_trainee_parse_line(where, text, size, &t->entry[t->count], err);
    t->count += code == RG_OK;
    return code;
}

static rg_code parse_lines(const char *label, const char *text, size_t size, rg_trainee *t,
                           rg_error *err)
{
    rg_code code = RG_OK;
    size_t at = 0;
    for (int line = 1; at < size && code == RG_OK; line++) {
        const char *stop = memchr(text + at, '\n', size - at);
        if (!stop) { /* cut short; whole but for its newline it counts */
            rg_quiz_entry whole;
            bool counts =
                line > 1 && rg_trainee_parse_line("", text + at, size - at, &whole, NULL) == RG_OK;
            if (counts)
                return add_entry(label, line, text + at, size - at, t, err);
            t->torn = size - at;
            return RG_OK;
        }
        size_t length = (size_t)(stop - (text + at));
        code = line == 1 ? parse_head(label, text + at, length, t, err)
                         : add_entry(label, line, text + at, length, t, err);
        at += length + 1;
    }
    return code;
}

rg_code rg_trainee_parse(const char *label, const char *text, size_t size, rg_trainee *trainee,
                         rg_error *err)
{
    *trainee = (rg_trainee){0};
    if (size > RG_TRAINEE_MAX_BYTES)
        return rg_fail(err, RG_BAD_DATA, "%s: has %zu bytes, more than the limit of %d", label,
                       size, RG_TRAINEE_MAX_BYTES);
    rg_code code = parse_lines(label, text, size, trainee, err);
    if (code != RG_OK)
        rg_trainee_free(trainee);
    return code;
}

static rg_code read_path(const char *path, rg_trainee *trainee, rg_error *err)
{
    uint8_t *bytes;
    size_t size;
    rg_code code = rg_file_read(path, RG_TRAINEE_MAX_BYTES, &bytes, &size, err);
    if (code == RG_OK)
        code = rg_trainee_parse(path, (const char *)bytes, size, trainee, err);
    free(bytes);
    return code;
}

static bool is_missing(const char *path)
{
    struct stat st;
    return lstat(path, &st) != 0 && errno == ENOENT;
}

rg_code rg_trainee_read(const char *folder, const char *name, rg_trainee *trainee, rg_error *err)
{
    *trainee = (rg_trainee){0};
    rg_code code = rg_trainee_check_name(name, err);
    if (code != RG_OK)
        return code;
    char *path = path_of(folder, name, "");
    if (!path)
        return rg_fail(err, RG_INTERNAL, "out of memory for the results of %s", name);
    if (!is_missing(path))
        code = read_path(path, trainee, err);
    if (code == RG_OK && trainee->name[0] && strcmp(trainee->name, name) != 0) {
        code = rg_fail(err, RG_BAD_DATA, "%s: holds the results of %s, not of %s; give it its name",
                       path, trainee->name, name);
        rg_trainee_free(trainee);
    }
    if (code == RG_OK)
        rg_copy_text(trainee->name, sizeof trainee->name, name);
    free(path);
    return code;
}

static bool is_trainees(const char *file)
{
    size_t size = strlen(file), tail = sizeof ending - 1;
    return size > tail && strcmp(file + size - tail, ending) == 0;
}

static rg_code read_all(const char *folder, const rg_file_list *list, rg_trainee *all, int *count,
                        rg_error *err)
{
    rg_code code = RG_OK;
    for (size_t i = 0; i < list->count && code == RG_OK; i++) {
        if (!is_trainees(list->name[i]))
            continue;
        if (*count >= RG_TRAINEES_MAX)
            return rg_fail(err, RG_BAD_DATA, "%s: holds more than %d trainees", folder,
                           RG_TRAINEES_MAX);
        char *path = rg_path_join(folder, list->name[i]);
        code = path ? read_path(path, &all[*count], err)
                    : rg_fail(err, RG_INTERNAL, "%s: out of memory", folder);
        free(path);
        if (code == RG_OK && all[*count].name[0]) /* a file whose head is torn is nobody's yet */
            ++*count;
    }
    return code;
}

rg_code rg_trainee_all(const char *folder, rg_trainee **trainees, int *count, rg_error *err)
{
    rg_file_list list = {0};
    *trainees = NULL;
    *count = 0;
    if (is_missing(folder))
        return RG_OK;
    rg_code code = rg_folder_list(folder, &list, err);
    rg_trainee *all = code == RG_OK ? rg_alloc(RG_TRAINEES_MAX, sizeof *all) : NULL;
    if (code == RG_OK && !all)
        code = rg_fail(err, RG_INTERNAL, "%s: out of memory", folder);
    if (code == RG_OK)
        code = read_all(folder, &list, all, count, err);
    rg_file_list_free(&list);
    if (code == RG_OK) {
        *trainees = all;
        return RG_OK;
    }
    for (int i = 0; i < *count; i++)
        rg_trainee_free(&all[i]);
    free(all);
    *count = 0;
    return code;
}

/* ---------------------------------------------------------------- appending */

typedef struct appending {
    const char *folder, *name;
    char *path;
    int fd;
    off_t size; /* of whole lines */
} appending;

/* The name of a file that was empty may be new: it is made to last. */
static rg_code open_file(appending *a, rg_error *err)
{
    rg_code code = rg_folder_make(a->folder, err);
    if (code != RG_OK)
        return code;
    a->fd = rg_open(AT_FDCWD, a->path,
                    O_RDWR | O_APPEND | O_CREAT | O_NOFOLLOW | O_CLOEXEC | O_NONBLOCK, 0666);
    struct stat st;
    if (a->fd < 0)
        return rg_file_refusal(a->path, errno, err);
    if (fstat(a->fd, &st) != 0 || !S_ISREG(st.st_mode))
        return rg_fail(err, RG_CANT_CREATE, "%s: is not a regular file; move it away", a->path);
    while (flock(a->fd, LOCK_EX) != 0)
        if (errno != EINTR)
            return rg_file_refusal(a->path, errno, err);
    if (fstat(a->fd, &st) != 0)
        return rg_file_refusal(a->path, errno, err);
    a->size = st.st_size;
    return a->size == 0 ? rg_folder_sync(a->folder, err) : RG_OK;
}

/* All bytes, or the file as it was. */
static rg_code add_bytes(appending *a, const char *bytes, size_t size, rg_error *err)
{
    if (a->size + (off_t)size > RG_TRAINEE_MAX_BYTES)
        return rg_fail(err, RG_BAD_DATA,
                       "%s: would pass its limit of %d bytes; move it to another folder and begin "
                       "a new one",
                       a->path, RG_TRAINEE_MAX_BYTES);
    if (rg_write_all(a->fd, bytes, size) && rg_fsync(a->fd) == 0) {
        a->size += (off_t)size;
        return RG_OK;
    }
    int reason = errno;
    if (ftruncate(a->fd, a->size) != 0 || rg_fsync(a->fd) != 0)
        return rg_fail(err, RG_IO,
                       "%s: could not be written (%s) nor put back; the last line is cut short",
                       a->path, strerror(reason));
    return rg_file_refusal(a->path, reason, err);
}

/* FILE.torn gets the bytes and a newline. */
static rg_code keep_aside(const appending *a, const char *bytes, size_t size, rg_error *err)
{
    char *path = path_of(a->folder, a->name, torn_ending);
    if (!path)
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", a->path);
    int fd = rg_open(AT_FDCWD, path, O_WRONLY | O_APPEND | O_CREAT | O_NOFOLLOW | O_CLOEXEC, 0666);
    bool kept =
        fd >= 0 && rg_write_all(fd, bytes, size) && rg_write_all(fd, "\n", 1) && rg_fsync(fd) == 0;
    rg_code code = kept ? rg_folder_sync(a->folder, err) : rg_file_refusal(path, errno, err);
    if (fd >= 0)
        close(fd);
    free(path);
    return code;
}

/* What an interruption left: a whole last line gets its newline, a piece of one goes aside. */
static rg_code mend(appending *a, size_t *aside, rg_error *err)
{
    rg_trainee before;
    uint8_t *bytes;
    size_t size;
    rg_code code = rg_file_read(a->path, RG_TRAINEE_MAX_BYTES, &bytes, &size, err);
    if (code != RG_OK)
        return code;
    code = rg_trainee_parse(a->path, (const char *)bytes, size, &before, err);
    if (code == RG_OK && before.name[0] && strcmp(before.name, a->name) != 0)
        code = rg_fail(err, RG_BAD_DATA, "%s: holds the results of %s; give the file its name",
                       a->path, before.name);
    if (code == RG_OK && before.torn > 0) {
        size_t whole = size - before.torn;
        code = keep_aside(a, (const char *)bytes + whole, before.torn, err);
        if (code == RG_OK && (ftruncate(a->fd, (off_t)whole) != 0 || rg_fsync(a->fd) != 0))
            code = rg_file_refusal(a->path, errno, err);
        a->size = (off_t)whole;
        *aside = before.torn;
    } else if (code == RG_OK && size > 0 && bytes[size - 1] != '\n')
        code = add_bytes(a, "\n", 1, err);
    rg_trainee_free(&before);
    free(bytes);
    return code;
}

static rg_code append_line(appending *a, const char *line, size_t *aside, rg_error *err)
{
    char *head = NULL;
    rg_code code = open_file(a, err);
    if (code == RG_OK && a->size > 0)
        code = mend(a, aside, err);
    if (code == RG_OK && a->size == 0) {
        code = rg_trainee_head(a->name, &head, err);
        if (code == RG_OK)
            code = add_bytes(a, head, strlen(head), err);
        free(head);
    }
    return code == RG_OK ? add_bytes(a, line, strlen(line), err) : code;
}

rg_code rg_trainee_append(const char *folder, const char *name, const rg_quiz_entry *entry,
                          size_t *aside, rg_error *err)
{
    char *line = NULL;
    size_t torn = 0;
    rg_code code = rg_trainee_check_name(name, err);
    if (code == RG_OK)
        code = rg_trainee_line(entry, &line, err);
    if (code == RG_OK) {
        appending a = {folder, name, path_of(folder, name, ""), -1, 0};
        code = a.path ? append_line(&a, line, &torn, err)
                      : rg_fail(err, RG_INTERNAL, "out of memory for the results of %s", name);
        if (a.fd >= 0)
            close(a.fd); /* gives up the lock */
        free(a.path);
    }
    free(line);
    if (aside)
        *aside = torn;
    return code;
}
