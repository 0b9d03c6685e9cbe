/*
 * archive_private.h - shared by archive*.c.
 */
#ifndef RIMGLOW_APP_ARCHIVE_PRIVATE_H
#define RIMGLOW_APP_ARCHIVE_PRIVATE_H

#include "rimglow/archive.h"

#define RG_ARCHIVE_INDEX "index.sqlite"

/* Appends "prefix/name". */
rg_code rg_names_add(rg_names *names, const char *prefix, const char *name, rg_error *err);
/* All entries of a folder but "." and ".."; none when it is missing. */
rg_code rg_names_of_folder(const char *path, const char *prefix, rg_names *names, rg_error *err);
rg_code rg_archive_file(const rg_archive *archive, const char *name, char path[RG_ARCHIVE_PATH],
                        rg_error *err);
/* "NNNN-YYYYMMDDTHHMMSSZ" at the end of a bag's path. */
bool rg_bag_name_parse(const char *bag, int *sequence);
/* Opens the index for writing; one that cannot be used is made again from the bags; adds rows for bags
 * that have none. */
rg_code rg_archive_heal(rg_archive *archive, rg_error *err);
/* Newest bag of a serial, "" when there is none. RG_BAD_DATA when the index knows a newer one. */
rg_code rg_archive_newest(const rg_archive *archive, const char *serial, char bag[RG_ARCHIVE_BAG],
                          rg_error *err);
/* The widest bearing with a gap; NULL when there is none. */
const rg_bin *rg_archive_widest(const rg_seal_map *map);
/* Compares two rows; what differs is named. */
bool rg_rows_agree(const rg_catalogue_inspection *a, const rg_catalogue_inspection *b,
                   char what[160]);

#endif
