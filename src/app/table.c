/*
 * table.c - results for people on a terminal. Verdicts differ in word and
 * shape, never by colour alone.
 */
#include "rimglow/table.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "rimglow/text.h"

static void find_widest(rg_table_row *row, const rg_seal_map *map, double k)
{
    row->width_mm = row->u_mm = NAN;
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &map->bin[b];
        if (bin->state == RG_BIN_UNSEEN || !(isnan(row->width_mm) || bin->width_mm > row->width_mm))
            continue;
        row->width_mm = bin->width_mm;
        row->u_mm = k * bin->u_mm;
        row->bearing_deg = bin->bearing_deg;
    }
}

void rg_table_fill(rg_table_row *row, const char *pad, const rg_sweep_result *result,
                   const rg_frame *frames, int count, const rg_sealmap_options *options)
{
    const rg_seal_map *map = &result->map;
    *row = (rg_table_row){.verdict = map->verdict, .arcs = map->arcs, .reasons = map->reasons};
    rg_copy_text(row->name, sizeof row->name, pad);
    memcpy(row->reason, map->reason, sizeof row->reason);
    find_widest(row, map, options->coverage_factor);
    for (int b = 0; b < RG_BINS; b++)
        row->seen += map->bin[b].state != RG_BIN_UNSEEN;
    for (int i = 0; i < count; i++)
        if (frames[i].role == RG_FRAME_CLOSED) {
            row->frames_given++;
            row->frames_used += frames[i].used;
        }
}

void rg_table_heights(rg_table_row *row, const rg_opening *opening, double target_mm,
                      double coverage_factor, bool heights_only)
{
    row->heights = opening->frames_given > 0;
    row->heights_only = heights_only;
    row->opening = *opening;
    row->target_mm = target_mm;
    row->coverage_factor = coverage_factor;
}

void rg_table_frames(rg_table_row *row, const rg_sweep *sweep, const rg_frame *frames)
{
    for (int i = 0; i < sweep->frames; i++) {
        bool open = frames[i].role == RG_FRAME_OPEN;
        if (open ? frames[i].open.used : frames[i].used)
            continue;
        if (row->left_out < RG_TABLE_FRAMES)
            snprintf(row->frame[row->left_out], RG_TABLE_LINE, "%.100s left out: %.250s",
                     sweep->frame[i].file, open ? frames[i].open.reason : frames[i].reason);
        row->left_out++;
    }
}

/* Padded or cut to the column by characters: a name may be UTF-8. */
static void print_name(const char *name)
{
    enum { WIDTH = 18 };
    int bytes = 0, width = 0;
    for (; name[bytes]; bytes++) {
        int starts = ((unsigned char)name[bytes] & 0xC0) != 0x80;
        if (width + starts > WIDTH)
            break;
        width += starts;
    }
    printf("%.*s%*s", bytes, name, WIDTH - width, "");
}

/* 100 only when it is all. */
static double percent_seen(int seen)
{
    return seen == RG_BINS ? 100 : fmin(round(100.0 * seen / RG_BINS), 99);
}

static void print_width(const rg_table_row *row, bool inch)
{
    double scale = inch ? 1000 / 25.4 : 1;
    if (isnan(row->width_mm))
        printf(" %17s %5s", "-", "-");
    else if (row->width_mm < 0.0005)
        printf(" %7s +- %6.*f %5s", "0", inch ? 2 : 3, row->u_mm * scale, "-");
    else
        printf(" %7.*f +- %6.*f %5.0f", inch ? 2 : 3, row->width_mm * scale, inch ? 2 : 3,
               row->u_mm * scale, row->bearing_deg);
}

/* Breaks a reason at blanks so that it stays within the table's width. */
static void print_wrapped(const char *lead, const char *text)
{
    enum { WIDTH = 79, INDENT = 10 };
    int column = printf("%s", lead);
    for (const char *word = text; *word;) {
        int length = (int)strcspn(word, " ");
        bool first = word == text;
        if (!first && column + 1 + length > WIDTH)
            column = printf("\n%*s", INDENT, "") - 1;
        else if (!first)
            column += printf(" ");
        column += printf("%.*s", length, word);
        word += length;
        word += strspn(word, " ");
    }
    fputc('\n', stdout);
}

static void print_heights(const rg_table_row *row, bool inch)
{
    const rg_opening *o = &row->opening;
    char text[RG_OPENING_REASON + 64];
    double scale = inch ? 1000 / 25.4 : 1, k = row->coverage_factor * scale;
    int digits = inch ? 0 : 2;
    if (!o->measured)
        snprintf(text, sizeof text, "opening not measured: %s", o->reason);
    else
        snprintf(text, sizeof text,
                 "open %.*f +- %.*f%s at the far edge, %.*f +- %.*f at the hinge; target %.*f "
                 "(%d of %d frames)",
                 digits, o->far_mm * scale, digits, o->u_far_mm * k, inch ? "" : " mm", digits,
                 o->hinge_mm * scale, digits, o->u_hinge_mm * k, digits, row->target_mm * scale,
                 o->frames_used, o->frames_given);
    print_wrapped("        ^ ", text);
}

void rg_table_print(const rg_table_row *row, bool inch, bool first)
{
    if (first)
        printf("%-18s %-15s %6s %17s %5s %5s %s\n", "pad", "verdict", "seen",
               inch ? "widest, 0.001 in" : "widest gap, mm", "at", "arcs", "frames");
    print_name(row->name);
    printf(" %s %-9s %4.0f %%", rg_verdict_sign(row->verdict), rg_verdict_name(row->verdict),
           percent_seen(row->seen));
    print_width(row, inch);
    printf(" %5d %2d/%d\n", row->arcs, row->frames_used, row->frames_given);
    if (row->heights)
        print_heights(row, inch);
    for (int i = 0; i < row->reasons; i++)
        print_wrapped("        - ", row->reason[i]);
    for (int i = 0; i < row->left_out && i < RG_TABLE_FRAMES; i++)
        print_wrapped("        . ", row->frame[i]);
    if (row->left_out > RG_TABLE_FRAMES)
        printf("        . and %d more frames left out; see seal-map.json\n",
               row->left_out - RG_TABLE_FRAMES);
    printf("        = %s\n", row->place);
}

void rg_table_close(const rg_table_row *rows, const rg_error *errors, int count,
                    const char *verdict)
{
    int sealed = 0, leaking = 0, undecided = 0, failed = 0;
    for (int i = 0; i < count; i++) {
        bool ok = errors[i].code == RG_OK;
        failed += !ok;
        sealed += ok && rows[i].verdict == RG_VERDICT_SEALED;
        leaking += ok && rows[i].verdict == RG_VERDICT_LEAKING;
        undecided += ok && rows[i].verdict == RG_VERDICT_UNDECIDED;
    }
    if (count == 1 && failed == 0)
        return;
    printf("%d sweep%s: %d sealed, %d leaking, %d undecided, %d not inspected: %s\n", count,
           count == 1 ? "" : "s", sealed, leaking, undecided, failed, verdict);
}
