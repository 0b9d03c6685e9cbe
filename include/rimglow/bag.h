/*
 * bag.h - BagIt bags (RFC 8493, version 1.0): a folder of payload files with SHA-256
 * manifests that standard tools check (sha256sum -c manifest-sha256.txt).
 *
 * A bag is filled in a staging folder and takes its place by one rename:
 *
 *   rg_bag_begin, rg_bag_add..., rg_bag_seal     STAGING is a whole bag, all fsynced
 *   rg_bag_place                                 rename to its place, folders fsynced
 *
 * Whatever happens before the rename leaves nothing in the place. Sealed are bagit.txt,
 * bag-info.txt, manifest-sha256.txt (payload, sorted bytewise) and tagmanifest-sha256.txt
 * (the three before). A signature (signing.h) is a further tag file that no manifest lists,
 * since it signs the tag manifest.
 *
 * Paths inside a bag use '/', are relative and UTF-8, have no empty, "." or ".." component, and no
 * control character but CR and LF, which RFC 8493 2.1.3 encodes in manifests, with '%', as %0D, %0A
 * and %25. Such encoded names are understood when reading. When writing they are refused: sha256sum
 * looks for a name as it stands in the manifest and would call the file missing. All other names,
 * with blanks, a backslash or a leading '-' for instance, are found by it. Symbolic links are never
 * followed.
 */
#ifndef RIMGLOW_BAG_H
#define RIMGLOW_BAG_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rimglow/digest.h"

enum {
    RG_BAG_PATH = 512,         /* bytes of a path inside the bag, with the final 0 */
    RG_BAG_NAME = 256,         /* bytes of one component of it, with the final 0 */
    RG_BAG_DEPTH_MAX = 32,     /* components of a path */
    RG_BAG_FILES_MAX = 100000, /* payload files */
    RG_BAG_TAG_MAX_BYTES = 64 * 1024 * 1024,
    RG_BAG_LABEL = 64,
    RG_BAG_VALUE = 512,
    RG_BAG_INFO_MAX = 64
};

#define RG_BAG_SIGNATURE "signature-ed25519.txt" /* optional tag file */

typedef struct rg_bag_entry {
    char *path; /* owned; decoded, "data/sweeps/G/view_00.jpg" */
    rg_digest digest;
    uint64_t size; /* 0 in a manifest that was read */
} rg_bag_entry;

/* ---------------------------------------------------------------- writing */

typedef struct rg_bag rg_bag;

/* Makes the folder (its parent must exist, it must not). */
rg_code rg_bag_begin(const char *staging, rg_bag **bag, rg_error *err);
/* path: below data/ and with it, e.g. "data/sweeps/G/sweep.ini". Missing folders are made.
 * RG_BAD_DATA for an unsafe path or one that is there already; codes of rg_digest_copy and
 * rg_file_make otherwise. A failure leaves no file and no new folder. digest (may be NULL) gets
 * what was stored. */
rg_code rg_bag_add_file(rg_bag *bag, const char *path, const char *from, rg_digest *digest,
                        rg_error *err);
rg_code rg_bag_add_bytes(rg_bag *bag, const char *path, const void *bytes, size_t size,
                         rg_error *err);
/* Line of bag-info.txt, in the order of the calls. Payload-Oxum and Bagging-Date are the bag's own.
 * Control characters of the value, and what is no UTF-8, become '?'; a longer value is refused. An
 * empty value gives no line, which reads the same. The label: printable ASCII without ':'. */
rg_code rg_bag_info(rg_bag *bag, const char *label, const char *value, rg_error *err);
/* Digest of the payload manifest as it will be written. */
rg_digest rg_bag_manifest_digest(const rg_bag *bag);
/* Writes the tag files and fsyncs every file and folder. RG_BAD_DATA when nothing was added.
 * bagging_date: YYYY-MM-DD. tagmanifest (may be NULL) gets the digest of tagmanifest-sha256.txt. */
rg_code rg_bag_seal(rg_bag *bag, const char *bagging_date, rg_digest *tagmanifest, rg_error *err);
/* A further tag file (the signature), after sealing and before placing. */
rg_code rg_bag_sign_file(rg_bag *bag, const char *name, const char *text, rg_error *err);
/* Renames the sealed staging folder to place, which must not exist, makes place's missing parents
 * first, and fsyncs the folders on both sides. RG_CANT_CREATE: nothing was put in the place, and
 * the text names both folders and says that the staged bag is whole. RG_IO: the bag stands in its
 * place, but a folder could not be fsynced. Callers of one archive hold its lock;
 * even without, nothing but an empty folder made in the same moment could be replaced. */
rg_code rg_bag_place(rg_bag *bag, const char *place, rg_error *err);
uint64_t rg_bag_bytes(const rg_bag *bag);
size_t rg_bag_files(const rg_bag *bag);
/* Frees the memory; what is on the disk stays. */
void rg_bag_free(rg_bag *bag);

/* Removes a folder with everything in it, without following links. Missing is no failure. */
rg_code rg_bag_remove(const char *folder, rg_error *err);

/* ---------------------------------------------------------------- reading */

typedef struct rg_bag_info_line {
    char label[RG_BAG_LABEL], value[RG_BAG_VALUE];
} rg_bag_info_line;

typedef struct rg_bag_tags {
    int lines;
    rg_bag_info_line line[RG_BAG_INFO_MAX];
    rg_digest manifest, tagmanifest; /* of the two files as they are on the disk */
} rg_bag_tags;

/* bagit.txt, bag-info.txt and the digests, without touching the payload. RG_NO_INPUT when the
 * folder or a file cannot be opened, RG_BAD_DATA when a tag file is missing or malformed. */
rg_code rg_bag_read_tags(const char *folder, rg_bag_tags *tags, rg_error *err);
/* The first value of this label (of either case), "" when there is none. */
const char *rg_bag_tag(const rg_bag_tags *tags, const char *label);

/* The parsers alone, for tests and fuzzing. entries: owned, free with rg_bag_entries_free. A
 * manifest with an unsafe path, a doubled path, a malformed line or digest is refused by line
 * number. */
rg_code rg_bag_parse_manifest(const char *label, const char *text, size_t size,
                              rg_bag_entry **entries, size_t *count, rg_error *err);
void rg_bag_entries_free(rg_bag_entry *entries, size_t count);
rg_code rg_bag_parse_info(const char *label, const char *text, size_t size, rg_bag_tags *tags,
                          rg_error *err);

/* ---------------------------------------------------------------- checking */

typedef enum rg_bag_fault_kind {
    RG_BAG_ALTERED,            /* a payload file is not what the manifest says */
    RG_BAG_MISSING,            /* listed, not there */
    RG_BAG_EXTRA,              /* there, not listed (payload or tag file) */
    RG_BAG_MOVED,              /* a missing file's content stands under an unlisted name */
    RG_BAG_SWAPPED,            /* listed files hold each other's content */
    RG_BAG_MANIFEST_REWRITTEN, /* the payload manifest is not the one that the tag manifest
                                  lists; without this fault the manifest is intact */
    RG_BAG_TAG_ALTERED,        /* another listed tag file is not what the tag manifest lists */
    RG_BAG_MALFORMED,          /* a tag file is missing or cannot be read as RFC 8493 says */
    RG_BAG_OXUM,               /* Payload-Oxum disagrees with the payload, and no other fault
                                  of the payload explains it */
    RG_BAG_UNREADABLE          /* there, but the disk or the permissions do not let it be read */
} rg_bag_fault_kind;

/* "altered", "missing", "extra", "moved", "swapped", "manifest rewritten", "tag file altered",
 * "malformed", "sum of sizes wrong", "unreadable". */
const char *rg_bag_fault_name(rg_bag_fault_kind kind);

typedef struct rg_bag_fault {
    rg_bag_fault_kind kind;
    char file[RG_BAG_PATH]; /* inside the bag; control characters as '?' */
    /* What was found: "same size (10 bytes), other content", "12 bytes shorter, 40 now", "now holds
     * what data/... held, and the other way round", "the same entries as when it was sealed, in
     * another order or form", "the payload is as it was sealed, this list of it was changed, first
     * for data/...", "... every file fits it: it was written again after files were changed ..." */
    char text[400];
} rg_bag_fault;

typedef struct rg_bag_state {
    rg_bag_tags tags; /* zeroed where malformed */
    size_t files;     /* payload files that were there */
    uint64_t bytes;
    bool signed_file;           /* RG_BAG_SIGNATURE is there */
    int faults;                 /* all that were found; the first RG_BAG_FAULTS_MAX are kept */
    struct rg_bag_fault *fault; /* owned */
} rg_bag_state;

enum { RG_BAG_FAULTS_MAX = 1000 };

/* Told the files done of all; may be NULL. */
typedef void rg_bag_progress(void *context, size_t done, size_t total);

/* Reads everything again, each payload file once. Faults of the bag are no error: the result lists
 * them, those of tag files first, then the payload by path, then what is extra. RG_NO_INPUT when
 * the folder cannot be opened. A folder with nothing in it is RG_BAG_EXTRA, unless files are
 * listed below it. Pipes and devices are never opened, and folders deeper than RG_BAG_DEPTH_MAX
 * not entered.
 *
 * Where the payload still gives the manifest that was sealed, only the manifest is at fault. A bag
 * whose manifests were all written again has no fault in itself: that shows in what vouches for the
 * tag manifest from outside (chain, index, signature). */
rg_code rg_bag_check(const char *folder, rg_bag_progress *progress, void *context,
                     rg_bag_state *state, rg_error *err);
void rg_bag_state_free(rg_bag_state *state);

#endif
