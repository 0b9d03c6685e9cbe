/*
 * draw_certificate_private.h - what the certificate's PDF and HTML share: the figures of a pad,
 * and the sentences, so that both say the same in the same words.
 */
#ifndef RIMGLOW_EDGE_DRAW_CERTIFICATE_PRIVATE_H
#define RIMGLOW_EDGE_DRAW_CERTIFICATE_PRIVATE_H

#include "draw_private.h"
#include "rimglow/draw_certificate.h"
#include "rimglow/light.h"

enum { RG_CERT_TEXT = 1024, RG_CERT_RUNS = RG_BINS / 2 + 1 };

/* What a pad's seal map says in few figures. */
typedef struct rg_cert_facts {
    int seen;              /* bearings of 360 */
    const rg_bin *widest;  /* the widest gap; NULL when none was found */
    double bound_mm;       /* no gap is wider where seen; NAN when nothing was seen */
    double limit_worst_mm; /* detection limit over the bearings seen; NAN when none */
    double limit_median_mm;
    int runs; /* of unseen bearings */
    rg_run run[RG_CERT_RUNS];
} rg_cert_facts;

void rg_cert_find(const rg_certificate_pad *pad, rg_cert_facts *facts);

typedef char rg_cert_text[RG_CERT_TEXT];

/* Texts of a pad, each ended by 0 and cut to fit. */
void rg_cert_widest(const rg_certificate_pad *pad, const rg_cert_facts *facts, rg_cert_text text);
void rg_cert_widest_short(const rg_certificate_pad *pad, const rg_cert_facts *facts,
                          rg_cert_text text);
void rg_cert_limit(const rg_cert_facts *facts, rg_cert_text text);
void rg_cert_seen(const rg_certificate_pad *pad, const rg_cert_facts *facts, rg_cert_text text);
void rg_cert_unseen(const rg_cert_facts *facts, int most, rg_cert_text text);
void rg_cert_arc(const rg_certificate_pad *pad, const rg_arc *arc, rg_cert_text text);
/* The arcs with the widest first; returns their number. */
int rg_cert_arcs(const rg_seal_map *map, const rg_arc *order[RG_ARCS_MAX]);
/* The text with each "+-" as one sign; returns it. */
const char *rg_cert_signs(const char *from, rg_cert_text text);
void rg_cert_conditions(const rg_certificate_pad *pad, rg_cert_text text);
void rg_cert_station(const rg_certificate_pad *pad, rg_cert_text text);

/* "( O )", "( / )", "( ? )": as in the table on the terminal. */
const char *rg_cert_sign(rg_verdict verdict);
const char *rg_cert_word(rg_verdict verdict); /* "SEALED" */
extern const char rg_cert_failed_word[];      /* "EVIDENCE DOES NOT CHECK" */

/* Sentences of the first page. */
void rg_cert_counts(const rg_certificate *c, rg_cert_text text); /* "21 of 23 pads measured: ..." */
void rg_cert_result(const rg_certificate *c, rg_cert_text text); /* what the verdict says */
void rg_cert_meaning(const rg_certificate *c, rg_cert_text text); /* what sealed means here */
extern const char rg_cert_method[];
extern const char rg_cert_not_proven[];
extern const char rg_cert_legend[];
void rg_cert_value(const rg_certificate_value *v, rg_cert_text text); /* "2431 g (u = 0.5 g)" */
void rg_cert_heading(const rg_certificate *c, rg_cert_text text); /* "PE-A-0147, inspection 2" */

/* RG_BAD_DATA names the pad that cannot be drawn. */
rg_code rg_cert_check(const rg_certificate *c, rg_error *err);
rg_draw_ring_args rg_cert_ring(const rg_certificate *c, int pad);

#endif
