/*
 * file.h - whole files in and whole files out.
 *
 * rg_file_write leaves either the old file or the new one, whole: it writes
 * "NAME.part-<unique>" beside the target, fsyncs it, renames it over the
 * target and fsyncs the folder; on any failure the part file is removed.
 */
#ifndef RIMGLOW_FILE_H
#define RIMGLOW_FILE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rimglow/status.h"

/* Reads a regular file of at most limit bytes. *bytes is owned by the caller
 * (free()); one 0 byte follows the data. RG_NO_INPUT when it is missing, not
 * a regular file or unreadable; RG_BAD_DATA when larger than limit. */
rg_code rg_file_read(const char *path, size_t limit, uint8_t **bytes, size_t *size, rg_error *err);

/* RG_CANT_CREATE when the folder refuses it, RG_IO when writing fails. */
rg_code rg_file_write(const char *path, const void *bytes, size_t size, rg_error *err);

/* A new file with all of bytes, fsynced (its folder is not); refused when something stands there,
 * be it a dangling link. mode: of open(2), less the umask. On failure the new file is removed.
 * Codes as of rg_file_refusal. */
rg_code rg_file_make(const char *path, unsigned mode, const void *bytes, size_t size,
                     rg_error *err);
/* The error for a file or folder that could not be made or written, from errno: a full disk is
 * RG_IO ("free some space"), a place that may not be written RG_CANT_CREATE. */
rg_code rg_file_refusal(const char *path, int reason, rg_error *err);

/* fsyncs a folder, so that names made, removed or renamed in it last. A file system that cannot do
 * that (EINVAL) is no failure. */
rg_code rg_folder_sync(const char *path, rg_error *err);

/* Makes a folder and its missing parents (mode 0777 & ~umask), and fsyncs the folder above each new
 * one. */
rg_code rg_folder_make(const char *path, rg_error *err);

/* Names of the regular files of a folder, sorted bytewise, without those that
 * begin with '.'. RG_BAD_DATA above RG_FOLDER_MAX_FILES. */
enum { RG_FOLDER_MAX_FILES = 4096 };
typedef struct rg_file_list {
    char **name;
    size_t count;
} rg_file_list;
rg_code rg_folder_list(const char *path, rg_file_list *list, rg_error *err);
void rg_file_list_free(rg_file_list *list);

/* read(2) until the block is full or the file ends, and write(2) until everything is written,
 * interruptions aside. -1 and false: errno says why. */
long rg_read_up_to(int fd, void *to, size_t size);
/* openat(2) (folder: AT_FDCWD, or a folder's descriptor), fsync(2) and close(2) that a signal does not end: the first
 * two are called again after EINTR. close() has closed by then (Linux), and is no failure. */
int rg_open(int folder, const char *path, int flags, unsigned mode);
int rg_fsync(int fd);
int rg_close(int fd);
bool rg_write_all(int fd, const void *bytes, size_t size);

/* "folder/name" in memory owned by the caller (free()), NULL without memory. */
char *rg_path_join(const char *folder, const char *name);

#endif
