/*
 * archive.h - the archive on the disk: bags by serial, chained, and an index.
 *
 *   ARCHIVE/rimglow-archive.txt      marks the folder: "rimglow archive 1"
 *   ARCHIVE/lock                     held (flock) by the process that writes
 *   ARCHIVE/incoming/                bags being made; a crash leaves nothing but rubbish here
 *   ARCHIVE/bags/SERIAL/NNNN-YYYYMMDDTHHMMSSZ/    one bag for each inspection (bag.h, record.h)
 *   ARCHIVE/keys/NAME.pub            public keys whose signatures are trusted
 *   ARCHIVE/index.sqlite             made from the bags (catalogue.h), never the only copy
 *
 * A bag becomes part of the archive by one rename; its row follows. A process that dies between
 * the two leaves a bag without a row, which the next writer adds. Each record holds the digests of
 * manifest and tag manifest of the bag before it (sequence - 1) of the same serial: the chain.
 */
#ifndef RIMGLOW_ARCHIVE_H
#define RIMGLOW_ARCHIVE_H

#include <stdbool.h>
#include <stdint.h>

#include "rimglow/bag.h"
#include "rimglow/catalogue.h"
#include "rimglow/draw.h"
#include "rimglow/inspection.h"
#include "rimglow/mapfile.h"
#include "rimglow/record.h"
#include "rimglow/release.h"
#include "rimglow/signing.h"

enum {
    RG_ARCHIVE_FOLDER = 1024,
    RG_ARCHIVE_PATH = 2048,
    RG_ARCHIVE_BAG = 256, /* "SERIAL/NNNN-..." */
    RG_ARCHIVE_KEYS_MAX = 64
};

typedef struct rg_archive {
    char folder[RG_ARCHIVE_FOLDER];
    int lock;                /* -1 when only reading */
    rg_catalogue *catalogue; /* NULL where reading found none that can be used: see index_fault */
    rg_error index_fault;
} rg_archive;

/* Makes the archive when the folder is missing or empty; waits up to 600 s for another writer; throws away
 * what a crash left in incoming/, and adds rows for bags without one. RG_USAGE for a
 * folder that holds something else. */
rg_code rg_archive_open(rg_archive *archive, const char *folder, rg_error *err);
/* Reading only: locks and changes nothing. RG_NO_INPUT when there is no archive. */
rg_code rg_archive_read(rg_archive *archive, const char *folder, rg_error *err);
/* As rg_archive_read, but an index is needed: RG_BAD_DATA, RG_NO_INPUT say to reindex. */
rg_code rg_archive_read_index(rg_archive *archive, const char *folder, rg_error *err);
void rg_archive_close(rg_archive *archive);

/* Names of folders, sorted bytewise. */
typedef struct rg_names {
    char **name; /* owned */
    int count;
} rg_names;
void rg_names_free(rg_names *names);
/* Serials that have bags; bags "SERIAL/NNNN-..." of one serial in order. Folders of other names
 * are given too: verify names them. */
rg_code rg_archive_serials(const rg_archive *archive, rg_names *serials, rg_error *err);
rg_code rg_archive_bags(const rg_archive *archive, const char *serial, rg_names *bags,
                        rg_error *err);
/* What a user wrote - a serial, or SERIAL/NNNN with or without the time, or NNNN-TIME - as the one bag it
 * means: of a serial, its newest. RG_NO_INPUT, or RG_USAGE when it means several. */
rg_code rg_archive_resolve(const rg_archive *archive, const char *word, char bag[RG_ARCHIVE_BAG],
                           rg_error *err);
/* ARCHIVE/bags/BAG/inside; inside may be "". */
rg_code rg_archive_path(const rg_archive *archive, const char *bag, const char *inside,
                        char path[RG_ARCHIVE_PATH], rg_error *err);

rg_code rg_archive_record(const rg_archive *archive, const char *bag, rg_record *record,
                          rg_error *err);
/* Seal map of one sweep of a bag, with its text where text is not NULL (owned by the caller). */
rg_code rg_archive_map(const rg_archive *archive, const char *bag, const char *sweep,
                       rg_map_file *map, char **text, rg_error *err);

/* ---------------------------------------------------------------- index */

/* The row of a bag, from the bag alone. Free with rg_catalogue_inspection_free. */
rg_code rg_archive_row(const rg_archive *archive, const char *bag, rg_catalogue_inspection *row,
                       rg_error *err);
/* The whole index again from the bags, into a new file that replaces the old one. Bags that cannot be read are left
 * out and counted: their first fault is in *why. */
typedef struct rg_reindex_result {
    int bags, unread, lost; /* lost: rows of the old index whose bag is gone */
    char first_lost[RG_ARCHIVE_BAG];
    rg_error why;
} rg_reindex_result;
rg_code rg_archive_reindex(rg_archive *archive, const rg_progress *progress,
                           rg_reindex_result *result, rg_error *err);

/* ---------------------------------------------------------------- add */

typedef struct rg_archive_visit {
    const char *technician, *occasion, *note; /* occasion and note may be "" */
    const char *setup_file;   /* set-up values and checks (config_values.h), or NULL */
    const char *rules_file;   /* rules of release (config_release.h); NULL: calib/release.ini where
                                 there is a setup_file, else no set-up sheet is made */
    const char *results;      /* folder of results of rimglow inspect */
    const rg_secret_key *key; /* NULL: not signed */
    int64_t time;             /* POSIX seconds, UTC */
    bool measure;             /* measure again even where results are there */
    bool overlays;            /* the frames' pictures too */
    int workers;
    const char *const *folder; /* [folders] of sweeps, all of one serial */
    int folders;
} rg_archive_visit;

typedef struct rg_archive_added {
    char bag[RG_ARCHIVE_BAG];
    rg_verdict verdict;
    int pads, measured; /* sweeps; of them measured now */
    uint64_t files, bytes;
    rg_digest manifest, tagmanifest;
    bool setup_sheet; /* one is in the bag; it says: */
    rg_decision setup_decision;
    bool clock_back;      /* the bag before it is later than this one's time */
    rg_error not_indexed; /* the bag is there, but its row could not be written: reindex */
} rg_archive_added;

/* Reads and, where needed, measures the sweeps; then locks the archive and adds one bag. */
rg_code rg_archive_add(const char *folder, const rg_archive_visit *visit,
                       const rg_progress *progress, rg_archive_added *added, rg_error *err);

/* Copies one bag, whole, to FOLDER/SERIAL-BAG, which must not exist, and checks the copy. place
 * (RG_ARCHIVE_PATH bytes) gets the folder. RG_BAD_DATA when the bag itself does not check. */
rg_code rg_archive_hand_over(const rg_archive *archive, const char *bag, const char *folder,
                             char *place, rg_error *err);

/* ---------------------------------------------------------------- verify */

typedef enum rg_archive_fault_kind {
    RG_FAULT_FILE,      /* bag.h's faults; see file_kind */
    RG_FAULT_REWRITTEN, /* the bag's manifest is not the one that others recorded */
    RG_FAULT_CHAIN,     /* a link does not hold */
    RG_FAULT_GONE,      /* a bag that the chain or the index names is not there */
    RG_FAULT_MISPLACED, /* a bag under another name than its own */
    RG_FAULT_SIGNATURE, /* wrong, missing where it must be, or of another manifest */
    RG_FAULT_RECORD,    /* record, bag-info.txt and seal maps do not agree, or cannot be read */
    RG_FAULT_INDEX,     /* the index says something else than the bags */
    RG_FAULT_MEASURED,  /* measured again, the frames give something else */
    RG_FAULT_STRANGE    /* something in the archive that does not belong there */
} rg_archive_fault_kind;
/* "altered" and so on for files (bag.h); "manifest rewritten", "chain broken", "bag missing", "bag
 * misplaced", "signature", "record", "index", "measured again", "not of the archive". */
typedef struct rg_archive_fault {
    rg_archive_fault_kind kind;
    rg_bag_fault_kind file_kind;
    bool remark; /* worth knowing, no fault */
    char bag[RG_ARCHIVE_BAG];
    char file[RG_BAG_PATH]; /* "" for the bag as a whole */
    char text[480];
} rg_archive_fault;
const char *rg_archive_fault_name(const rg_archive_fault *fault);

typedef struct rg_verified_bag {
    char bag[RG_ARCHIVE_BAG];
    size_t files;
    uint64_t bytes;
    rg_digest manifest, tagmanifest;
    char signature[64]; /* "unsigned", "good, key ID", ... */
    int faults;
} rg_verified_bag;

typedef struct rg_verify_options {
    const rg_public_key *trusted; /* NULL: those of ARCHIVE/keys */
    int trusted_count;
    bool measure; /* measure every sweep again from the bag's own files */
    int workers;
    const char *digest; /* 64 digits that some manifest or tag manifest must have, or NULL */
} rg_verify_options;

typedef struct rg_verify_result {
    int bags;
    rg_verified_bag *bag; /* owned */
    int faults, remarks;
    int findings; /* faults and remarks that are kept: at most RG_ARCHIVE_FINDINGS_MAX */
    rg_archive_fault *finding; /* owned */
    char digest_found[RG_ARCHIVE_BAG];
} rg_verify_result;
enum { RG_ARCHIVE_FINDINGS_MAX = 5000 };

/* words: serials or bags; none: everything. A whole chain is checked even when one bag of it is asked for. */
rg_code rg_archive_verify(const rg_archive *archive, const char *const *words, int count,
                          const rg_verify_options *options, const rg_progress *progress,
                          rg_verify_result *result, rg_error *err);
void rg_verify_free(rg_verify_result *result);

/* ---------------------------------------------------------------- certificate */

enum { RG_CERTIFY_PDF = 1, RG_CERTIFY_HTML = 2, RG_CERTIFY_CHECKED = 512 };
typedef struct rg_archive_paper {
    rg_bytes pdf, html;               /* owned; those that were asked for */
    char name[RG_NAME_SIZE + 16];     /* "PE-A-0147-0001", for files */
    char checked[RG_CERTIFY_CHECKED]; /* what the check of the serial's bags came to */
    bool passed;
} rg_archive_paper;

/* Verifies the serial's bags and makes the certificate of one. Where they do not check, the certificate
 * says so in place of every verdict. trusted: one public key, or NULL for those of ARCHIVE/keys. */
rg_code rg_archive_certify(const rg_archive *archive, const char *bag, const rg_public_key *trusted,
                           int formats, const rg_progress *progress, rg_archive_paper *paper,
                           rg_error *err);
void rg_archive_paper_free(rg_archive_paper *paper);
/* FOLDER/NAME.pdf and .html; path gets both. */
rg_code rg_archive_paper_write(const rg_archive_paper *paper, const char *folder,
                               char path[2][RG_ARCHIVE_PATH], rg_error *err);

/* Public keys of ARCHIVE/keys; key[RG_ARCHIVE_KEYS_MAX]. */
rg_code rg_archive_keys(const rg_archive *archive, rg_public_key *key, int *count, rg_error *err);

#endif
