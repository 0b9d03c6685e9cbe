/*
 * draw_certificate.h - how a serial left the bench, for customer and inspector: as PDF pages (A4)
 * and as one HTML file that asks for nothing from outside. Rules of draw.h hold.
 *
 * Any text may be NULL, and any bytes. On page 1 and in the pads' rows what is too long ends in
 * "..."; note, reasons, check, set-up values and pads not measured stand in full on the PDF's last
 * pages and in the HTML. RG_BAD_DATA for more than 256 pads, a pad without a map, a tolerance or a
 * coverage factor that is not a positive number.
 */
#ifndef RIMGLOW_DRAW_CERTIFICATE_H
#define RIMGLOW_DRAW_CERTIFICATE_H

#include "rimglow/draw.h"

typedef struct rg_certificate_pad {
    const char *pad, *sweep; /* names */
    const rg_seal_map *map;  /* with verdict, reasons, arcs; needed */
    double tolerance_mm, coverage_factor;
    const char *finger; /* "light", "firm", "35 g", "unstated" */
    const char *station;
    const char *calibration; /* "2026-11-18, held", "2025-01-02, lapsed", "never" */
    bool light_proven;
    int frames_used, frames_given;
} rg_certificate_pad;

typedef struct rg_certificate_value {
    const char *quantity, *unit, *with;
    double value, u; /* u: standard uncertainty, NAN not stated */
} rg_certificate_value;

typedef struct rg_certificate {
    const char *serial, *model, *bag, *time, *technician, *occasion, *note, *software;
    int sequence;
    rg_verdict verdict;
    int reasons;
    const char *const *reason;
    const char *manifest, *tagmanifest; /* hex digests of the bag */
    const char *previous;               /* hex digest of the manifest before, "" for the first */
    const char *signature;              /* "good, key 0123456789abcdef", "unsigned", ... */
    const char *checked;                /* "bag checked 2026-11-25T10:15:00Z: 214 files agree with
                                           their manifest", or the faults in a sentence */
    bool check_passed;
    int pads;
    const rg_certificate_pad *pad;
    int not_swept; /* pads of the model that no sweep covers */
    const char *const *pad_not_swept;
    int values;
    const rg_certificate_value *value;
} rg_certificate;

/* Page 1, for the customer: serial, verdict in shape and words, what was measured and what that
 * means in plain words, what is not proven, table of pads in body order, pads not measured, set-up
 * values, signature line. From page 2: a row for each pad with its ring map, measured limits, what
 * was not seen, arcs, calibration date. Last: the digests, and all lists in full. Each page has
 * its number and the manifest's digest, which can be copied as text. A bag that failed its check
 * says so on each page, on page 1 in the largest letters in place of the verdict and its reasons,
 * and has no line to sign. */
rg_code rg_certificate_pdf(const rg_certificate *certificate, rg_bytes *out, rg_error *err);

/* The same content as one HTML5 file: ring maps as SVG in data: URIs (about 140 kB for each pad),
 * no script, no outside request, every text escaped; prints without its backgrounds. */
rg_code rg_certificate_html(const rg_certificate *certificate, rg_bytes *out, rg_error *err);

#endif
