/*
 * pairs_private.h - shared by pairs*.c.
 */
#ifndef RIMGLOW_APP_PAIRS_PRIVATE_H
#define RIMGLOW_APP_PAIRS_PRIVATE_H

#include "rimglow/archive.h"
#include "rimglow/pairs.h"

/* SLOTS: pictures of a case, the pair first. */
enum { RG_PAIRS_CHECKED = 64, RG_PAIRS_SLOTS = RG_PAIRS_VIEWS + RG_PAIRS_ROUND };

struct rg_pairs {
    char archive[RG_ARCHIVE_FOLDER];
    rg_pairs_settings settings;
    rg_diagnosis_options diagnosis;
    uint8_t key[RG_PAIRS_KEY];
    int workers;
    /* Bags that were found whole, the latest of them: a bag is read once for all its sweeps. What is read
     * later still has to fit the manifest that is kept here. */
    struct rg_pairs_checked {
        char bag[RG_ARCHIVE_BAG];
        rg_digest manifest;
    } checked[RG_PAIRS_CHECKED];
    int checked_next;
};

/* ---- pairs_bag.c: reading by a manifest that was checked ---- */

typedef struct rg_sealed_bag {
    const rg_archive *archive;
    char bag[RG_ARCHIVE_BAG];
    rg_bag_entry *entry; /* owned */
    size_t entries;
} rg_sealed_bag;

/* RG_BAD_DATA: the bag is damaged, gone, or not the one that the index recorded. */
rg_code rg_sealed_open(rg_pairs *pairs, const rg_archive *archive, const char *bag,
                       rg_sealed_bag *sealed, rg_error *err);
void rg_sealed_close(rg_sealed_bag *sealed);
/* The digest is the one that the manifest lists for this path. */
rg_code rg_sealed_fits(const rg_sealed_bag *sealed, const char *inside, const rg_digest *digest,
                       rg_error *err);
/* A file of the bag, whole and as sealed; bytes: free(), one 0 follows. */
rg_code rg_sealed_read(const rg_sealed_bag *sealed, const char *inside, size_t limit,
                       uint8_t **bytes, size_t *size, rg_error *err);

/* ---- pairs_truth.c: one sweep of a bag ---- */

typedef struct rg_pairs_sweep {
    rg_sealed_bag bag;
    rg_record record;             /* owned */
    const rg_record_sweep *sweep; /* of the record */
    rg_map_file file;
    rg_pairs_truth truth;
} rg_pairs_sweep;

/* RG_USAGE: the sweep is no case. *sweep: NULL on failure. */
rg_code rg_pairs_sweep_open(rg_pairs *pairs, const rg_archive *archive, const char *bag,
                            const char *name, rg_pairs_sweep **sweep, rg_error *err);
void rg_pairs_sweep_close(rg_pairs_sweep *sweep);
/* The text quotes something that is not to be told: a date, a path, a name of the bag's record or files. */
bool rg_pairs_is_private(const rg_pairs_sweep *sweep, const char *text);

/* ---- pairs_view.c: which frames, and where in them ---- */

typedef struct rg_pairs_cut {
    int x0, y0, width, height; /* of the photograph, px */
} rg_pairs_cut;

void rg_pairs_choose(const rg_inspection *inspection, const rg_pairs_truth *truth, double look_deg,
                     rg_pairs_view view[RG_PAIRS_VIEWS]);
/* In the order in which they are shown; their number is returned. *facing: the one that shows the widest place. */
int rg_pairs_choose_round(const rg_inspection *inspection, const rg_pairs_truth *truth,
                          double look_deg, const rg_pairs_round *round,
                          rg_pairs_view view[RG_PAIRS_ROUND], int *facing);
/* The rectangle of cup, crown and rim in a picture of this size; false: they are not in it. */
bool rg_pairs_cut_of(const rg_setup *setup, const rg_frame *frame,
                     const rg_pairs_settings *settings, int width, int height, rg_pairs_cut *cut);
/* That part of a decoded picture, 8 bits, RGB; owned by the caller. */
rg_code rg_pairs_cut_image(const rg_image *image, const rg_pairs_cut *cut, rg_image *part,
                           rg_error *err);

/* ---- pairs_case.c ---- */

struct rg_pair {
    rg_pairs_truth truth;
    rg_seal_map map;
    rg_inspection inspection; /* owned */
    int quality;
    rg_pairs_view view[RG_PAIRS_SLOTS];
    rg_pairs_cut cut[RG_PAIRS_SLOTS];
    rg_image photo[RG_PAIRS_SLOTS]; /* owned; cut */
    int looks, facing;              /* behind the pair; facing: of them */
};

/* round: NULL for the pair alone. */
rg_code rg_pairs_measure(rg_pairs *pairs, const rg_archive *archive, const char *bag,
                         const char *name, const rg_pairs_round *round, rg_pair **pair,
                         rg_error *err);

/* pairs.c: the sweep of that number; codes of rg_pair_open_at. */
rg_code rg_pairs_measure_at(rg_pairs *pairs, int number, const rg_pairs_round *round,
                            rg_pair **pair, rg_error *err);

#endif
