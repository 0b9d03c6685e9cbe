/*
 * disk.h - a model of a disk that loses power: what was never fsynced is gone.
 *
 * Kept is, for each file that was changed, its content as of its last fsync (a new file:
 * nothing), and for each folder the names that came, went or moved since its last fsync. Cutting
 * the power puts all of it back. Stricter than most file systems: an fsync of a file does not
 * keep its name (POSIX asks for an fsync of the folder), and a rename between two folders is kept
 * only when both were fsynced. Renames are whole or not at all, as journalled file systems have
 * them.
 *
 * Limits: content changed through mmap() is not seen (files ending in -shm, which SQLite makes
 * anew after a crash, are left alone on purpose); modes, owners and times are not modelled; within
 * one file, content that was not fsynced comes back old, new or as a beginning of the new, never
 * as a mixture of blocks; an fsync that fails keeps the pages for the next one, which Linux does
 * not promise; what other processes wrote, also earlier ones, counts as kept. No function sets
 * errno.
 */
#ifndef TESTS_SHIM_DISK_H
#define TESTS_SHIM_DISK_H

#include <stdbool.h>
#include <stddef.h>

typedef enum disk_change_kind {
    DISK_CREATE, /* also a new link */
    DISK_MKDIR,
    DISK_REMOVE, /* of a file or a folder */
    DISK_RENAME
} disk_change_kind;

typedef struct disk_change disk_change;

/* Before the call: keeps what is needed to take it back; the second pair is for renames. NULL:
 * nothing to keep (the call will fail). */
disk_change *disk_prepare(disk_change_kind kind, int folder, const char *path, int to_folder,
                          const char *to, unsigned rename_flags);
/* After the call. */
void disk_done(disk_change *change, bool succeeded);

/* Before content is changed through the descriptor. */
void disk_will_write(int fd);
/* A file or a folder was fsynced. */
void disk_synced(int fd);
void disk_all_synced(void);

typedef enum disk_loss {
    DISK_LOSE_ALL,     /* contents and names */
    DISK_LOSE_CONTENT, /* names were written in time, contents were not */
    DISK_LOSE_NAMES,   /* the other way round */
    DISK_LOSE_SOME     /* names from some moment on, some contents; the seed chooses */
} disk_loss;

/* Puts the disk back. Each thing put back is told. */
void disk_cut_power(disk_loss loss, unsigned long seed, void (*told)(const char *text));

#endif
