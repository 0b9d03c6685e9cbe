/*
 * setup_sheet.h - the set-up sheet of one instrument as plain data: the decision with every item
 * (release.h), and what changed since earlier visits. Made by the program, drawn by draw_setup.h,
 * written by setup_report.h.
 *
 * A change of a value is d = now - then, u_d^2 = u_now^2 + u_then^2 (JCGM 100, 5.1.2, independent;
 * what both visits share is counted twice). It is shown where |d| > k u_d; else "no change shown",
 * which is no proof that nothing changed. Pads: change.h.
 */
#ifndef RIMGLOW_SETUP_SHEET_H
#define RIMGLOW_SETUP_SHEET_H

#include "rimglow/change.h"
#include "rimglow/release.h"

typedef enum rg_service_state {
    RG_SERVICE_UNKNOWN, /* not measured at both visits, no uncertainty, or units that do not convert */
    RG_SERVICE_SAME,    /* no change shown */
    RG_SERVICE_MORE,
    RG_SERVICE_LESS
} rg_service_state;
/* "not comparable", "no change shown", "more", "less"; of a pad's gap "wider", "narrower". */
const char *rg_service_state_name(rg_service_state state, bool pad);

/* One quantity, or one pad, now against one earlier visit. NAN: does not exist. */
typedef struct rg_service_line {
    bool pad;
    char name[RG_RELEASE_NAME], unit[RG_RELEASE_UNIT];
    int sequence, day;       /* of the earlier visit */
    double then, now;        /* of a pad: the widest gap */
    double change, u_change; /* of a pad: where it changed most, else the mean over the rim */
    double bearing_deg;      /* of a pad: where that is; NAN for the mean */
    rg_service_state state;
} rg_service_line;

/* then and now in the unit of `now`. */
void rg_service_value(const rg_release_value *then, const rg_release_value *now, double k,
                      rg_service_line *line);
/* From a comparison of two seal maps; widest gaps NAN where there is none. */
void rg_service_pad(const rg_change *change, double then_mm, double now_mm, rg_service_line *line);

/* What to do: one sentence under its subject; those of one subject follow each other. */
enum { RG_SETUP_SUBJECT = 160, RG_SETUP_SENTENCE = 800 };
typedef struct rg_setup_work {
    char subject[RG_SETUP_SUBJECT], sentence[RG_SETUP_SENTENCE];
} rg_setup_work;

/* All texts borrowed, none NULL. */
typedef struct rg_setup_sheet {
    const char *serial, *model, *bag, *technician, *occasion, *note, *software;
    const char *rules, *values; /* names of the files; values: "as archived" */
    const char *rules_sha256;   /* 64 digits, or "" */
    const char *time;           /* of the visit, "2026-11-25T10:15:00Z" */
    int sequence;
    int day; /* for which it is judged */
    double coverage_factor;
    const rg_change_options *change; /* how pads were compared; NULL: they were not */
    const rg_release_result *result;
    const rg_service_line
        *line; /* pads in body order, then values; of one name, last visit first */
    int lines;
    int visits;                /* earlier ones */
    const rg_setup_work *work; /* borrowed, [works]; in the order in which it is to be done */
    int works;
} rg_setup_sheet;

#endif
