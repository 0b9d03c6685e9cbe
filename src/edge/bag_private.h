/*
 * bag_private.h - what the sources of the bag share: names, paths, lines of a manifest, and reading
 * below a folder without ever following a link.
 */
#ifndef RIMGLOW_BAG_PRIVATE_H
#define RIMGLOW_BAG_PRIVATE_H

#include "rimglow/bag.h"

#define BAG_DECLARATION      "bagit.txt"
#define BAG_INFO             "bag-info.txt"
#define BAG_MANIFEST         "manifest-sha256.txt"
#define BAG_TAGMANIFEST      "tagmanifest-sha256.txt"
#define BAG_PAYLOAD          "data"
#define BAG_DECLARATION_TEXT "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"

/* A line of a manifest with its final 0: digest, two blanks, a path in which every byte is
 * encoded. */
enum { BAG_LINE = RG_DIGEST_TEXT + 2 + 3 * RG_BAG_PATH + 1 };

/* ---- bag.c ---- */

/* What is wrong with a path inside a bag, as the end of a sentence; NULL when nothing is. */
const char *rg_bag_path_fault(const char *path);
bool rg_bag_is_payload(const char *path);
/* A copy for people and for JSON: control characters and what is no UTF-8 become '?'. What does not
 * fit loses its beginning, for the end of a path says more. */
void rg_bag_printable(char *to, size_t size, const char *path);
/* Length of the line, which ends with a newline. */
size_t rg_bag_line(char line[BAG_LINE], const char *path, const rg_digest *digest);
/* Decodes %0A, %0D and %25 in place; false when there is another '%'. */
bool rg_bag_decode(char *path);
rg_code rg_bag_no_memory(const char *where, rg_error *err);

/* ---- bag_read.c ---- */

/* A tag file as it is on the disk; text is owned (free()) and ends with a 0. */
typedef struct rg_bag_text {
    char *text;
    size_t size;
    rg_digest digest;
} rg_bag_text;

/* Reads NAME in the open folder root. */
rg_code rg_bag_load(int root, const char *name, rg_bag_text *tag, rg_error *err);
/* Exactly the two lines of version 1.0 and UTF-8. */
rg_code rg_bag_parse_declaration(const char *label, const char *text, size_t size, rg_error *err);
/* Payload-Oxum: false when it is missing or malformed. */
bool rg_bag_parse_oxum(const char *value, uint64_t *bytes, uint64_t *files);

/* ---- bag_tree.c ---- */

typedef enum rg_bag_kind {
    BAG_FILE,
    BAG_LINK,
    BAG_SPECIAL,    /* pipe, socket, device */
    BAG_UNREADABLE, /* a file or folder; the reason is kept */
    BAG_TOO_DEEP,   /* a folder below RG_BAG_DEPTH_MAX, or a path that is too long */
    BAG_EMPTY       /* a folder with nothing in it: no manifest can list it, so nobody sealed it */
} rg_bag_kind;

/* Whatever stands in the bag: files, and folders without any. */
typedef struct rg_bag_item {
    char *path; /* owned */
    rg_bag_kind kind;
    bool moved; /* told as the new place of a missing file */
    int reason; /* errno of BAG_UNREADABLE */
    uint64_t size;
    rg_digest digest;
} rg_bag_item;

typedef struct rg_bag_tree {
    rg_bag_item *item; /* owned; sorted bytewise by path */
    size_t count, room;
    bool payload_folder; /* data/ is there */
    bool cut;            /* there is more than the limit, which was not looked at */
} rg_bag_tree;

/* Opens a path below root component by component; none of them may be a link. -1 and errno. */
int rg_bag_open(int root, const char *path, int flags);
/* 0 when something stands there, otherwise errno; nothing but folders is opened. */
int rg_bag_look(int root, const char *path);
/* Lists everything below root; digests are not made yet. */
rg_code rg_bag_list(int root, const char *label, rg_bag_tree *tree, rg_error *err);
void rg_bag_tree_free(rg_bag_tree *tree);
/* Reads one file again and fills kind, size and digest. */
void rg_bag_hash(int root, rg_bag_item *item);
/* NULL when there is none. */
rg_bag_item *rg_bag_find(const rg_bag_tree *tree, const char *path);
/* fsyncs every folder from this one downwards. */
rg_code rg_bag_sync(const char *folder, rg_error *err);

/* ---- bag_compare.c ---- */

/* One line of the payload manifest against what is there. */
typedef struct rg_bag_match {
    const rg_bag_entry *entry;
    const rg_bag_item *item;     /* NULL: not there */
    bool differs;                /* a regular file of another digest */
    const rg_bag_item *moved_to; /* missing: an unlisted file with its content */
    const struct rg_bag_match
        *held_by; /* differing or missing: the differing file that holds its content */
    struct rg_bag_match *holds; /* differing: whose content it holds now */
    int ring;                   /* files that exchanged contents with this one, 0: none */
    bool visited;
} rg_bag_match;

typedef struct rg_bag_comparison {
    rg_bag_tree *tree;
    rg_bag_match *line;       /* count of them, sorted by path */
    rg_bag_match **by_digest; /* the same by listed digest */
    size_t count;
} rg_bag_comparison;

/* Items that are told as a missing file's new place are marked as moved. False without memory. */
bool rg_bag_compare(rg_bag_tree *tree, const rg_bag_entry *listed, size_t count,
                    rg_bag_comparison *c);
void rg_bag_comparison_free(rg_bag_comparison *c);
bool rg_bag_is_listed(const rg_bag_comparison *c, const char *path);
/* Something below this folder is listed. */
bool rg_bag_is_parent(const rg_bag_comparison *c, const char *folder);
/* In the payload, not listed, and no empty folder. */
bool rg_bag_is_extra(const rg_bag_comparison *c, const rg_bag_item *item);
/* Some line for which this digest is listed; NULL when there is none. */
const rg_bag_match *rg_bag_match_of(const rg_bag_comparison *c, const rg_digest *digest);

#endif
