/*
 * cmd_instrument_show.c - rimglow instrument show FILE
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/command.h"
#include "rimglow/config.h"
#include "rimglow/file.h"
#include "rimglow/instrument_report.h"
#include "rimglow/memory.h"
#include "rimglow/options.h"

const char rg_help_instrument_show[] =
    "rimglow instrument show [--json] FILE\n"
    "\n"
    "What an instrument file says: its pads from the top of the body to the bottom,\n"
    "which key closes which other pads and where that is adjusted, and for each note\n"
    "the holes it speaks through. Faults in its lists of notes are named.\n"
    "\n"
    "Examples:\n"
    "  rimglow instrument show calib/alto-loan.ini\n"
    "  rimglow instrument show calib/flute-loan.ini --json | jq '.notes[0]'\n"
    "\n"
    "Options:\n"
    "      --json  the same as one JSON document\n"
    "  -h, --help  this text\n"
    "\n"
    "Reading it: \"dimensions\" says where the sizes come from; what is not measured\n"
    "should not decide anything: rimglow instrument measure -h. A note that speaks\n"
    "through one hole depends on the height of that one cup (common practice, no\n"
    "source); through none: it speaks through the bell or foot.\n"
    "\n"
    "Exit codes: 0 shown; 65 bad data, 66 no such file; others as in rimglow -h.\n";

enum { LIST = 900 };

/* ----------------------------------------------------------------- table */

static const char *place_of(const rg_pad *p, char text[24])
{
    if (p->opening_tolerance_mm > 0)
        snprintf(text, 24, "%.1f +- %.1f", p->opening_mm, p->opening_tolerance_mm);
    else
        snprintf(text, 24, "%.1f", p->opening_mm);
    return text;
}

static void print_pads(const rg_instrument *horn)
{
    puts("pad              rest        role        rim mm       pad mm  opening mm   crown  "
         "dimensions");
    for (int i = 0; i < horn->pads; i++) {
        const rg_pad *p = &horn->pad[i];
        char opening[24], crown[12] = "none", rim[24];
        if (p->crown.number >= 0)
            snprintf(crown, sizeof crown, "%d", p->crown.number);
        snprintf(rim, sizeof rim, "%.1f/%.1f", p->rim.inner_diameter_mm, p->rim.outer_diameter_mm);
        printf("%-16s %-11s %-11s %-12s %6.1f  %-12s %-5s  %s\n", p->name, rg_rest_name(p->rest),
               rg_hole_role_name(p->role), rim, p->rim.pad_diameter_mm, place_of(p, opening), crown,
               rg_dimensions_name(p->dimensions));
    }
}

static void print_needs(const rg_instrument *horn, const rg_hole *hole)
{
    puts("\npad              notes that need it closed, and notes that open it");
    for (int i = 0; i < horn->pads; i++) {
        char closed[RG_PITCH_SET_TEXT], opens[RG_PITCH_SET_TEXT], vents[RG_PITCH_SET_TEXT];
        rg_pitch_set_text(&hole[i].closed, closed, sizeof closed);
        rg_pitch_set_text(&hole[i].opens, opens, sizeof opens);
        rg_pitch_set_text(&hole[i].vents, vents, sizeof vents);
        printf("%-16s %s%s%s%s%s\n", hole[i].name, closed[0] ? closed : "none",
               opens[0] ? "; opens " : "", opens, vents[0] ? "; vents " : "", vents);
    }
}

static void print_links(const rg_instrument *horn)
{
    if (horn->links == 0) {
        puts("\nlinks: none stated");
        return;
    }
    puts("\nkey              closes also      adjusted at");
    for (int i = 0; i < horn->links; i++) {
        const rg_link *l = &horn->link[i];
        printf("%-16s %-16s %s (%s, ratio %g", horn->pad[l->driver].name, horn->pad[l->driven].name,
               l->adjuster, rg_adjuster_name(l->kind), l->lever_ratio);
        if (l->thread_mm > 0)
            printf(", thread %g mm", l->thread_mm);
        puts(")");
    }
}

static void print_notes(const rg_instrument *horn, const rg_hole *hole)
{
    rg_pitch_set all = rg_holes_notes(hole, horn->pads);
    puts("\nnote  holes  speaks through");
    for (int p = RG_PITCHES - 1; p >= 0; p--) {
        char name[RG_PITCH_NAME], list[LIST] = "";
        rg_venting v;
        if (!rg_pitch_in(&all, p))
            continue;
        rg_pitch_name(p, name);
        rg_venting_of(hole, horn->pads, p, &v);
        for (int i = 0; i < v.holes; i++)
            snprintf(list + strlen(list), sizeof list - strlen(list), "%s%s", i ? ", " : "",
                     hole[v.hole[i]].name);
        if (v.known)
            printf("%-5s %5d  %s\n", name, v.holes, v.holes ? list : "bell or foot");
        else
            printf("%-5s     ?  not known: a pad does not state its rest\n", name);
    }
}

/* ------------------------------------------------------------------ JSON */

static rg_code make_json(const char *path, const rg_instrument *horn, const rg_hole *hole,
                         char **text, rg_error *err)
{
    rg_instrument_report_pad *pad = rg_alloc((size_t)horn->pads, sizeof *pad);
    rg_instrument_report_link *link = rg_alloc((size_t)horn->links + 1, sizeof *link);
    rg_code code = pad && link ? RG_OK : rg_fail(err, RG_INTERNAL, "%.300s: out of memory", path);
    for (int i = 0; code == RG_OK && i < horn->pads; i++) {
        const rg_pad *p = &horn->pad[i];
        pad[i] = (rg_instrument_report_pad){rg_rest_name(p->rest),
                                            rg_hole_role_name(p->role),
                                            rg_dimensions_name(p->dimensions),
                                            p->closed_with,
                                            &p->rim,
                                            p->crown.number,
                                            p->opening_mm,
                                            p->opening_tolerance_mm};
    }
    for (int i = 0; code == RG_OK && i < horn->links; i++) {
        const rg_link *l = &horn->link[i];
        link[i] = (rg_instrument_report_link){l->driver,      l->driven,
                                              l->adjuster,    rg_adjuster_name(l->kind),
                                              l->lever_ratio, l->thread_mm};
    }
    rg_instrument_report r = {path, horn->name, hole, pad, horn->pads, link, horn->links};
    if (code == RG_OK)
        code = rg_instrument_report_text(&r, text, err);
    free(pad);
    free(link);
    return code;
}

/* --------------------------------------------------------------- command */

static rg_code show(const char *path, bool json, const rg_instrument *horn, rg_error *err)
{
    rg_hole hole[RG_PADS_MAX];
    char *text = NULL;
    rg_code code = rg_instrument_holes(path, horn, hole, err);
    if (code == RG_OK && json)
        code = make_json(path, horn, hole, &text, err);
    if (code != RG_OK)
        return code;
    if (json) {
        puts(text);
    } else {
        printf("%s: %d pads, %d links\n\n", horn->name, horn->pads, horn->links);
        print_pads(horn);
        print_needs(horn, hole);
        print_links(horn);
        print_notes(horn, hole);
    }
    free(text);
    return RG_OK;
}

static rg_code read_and_show(const char *path, bool json, rg_error *err)
{
    uint8_t *bytes = NULL;
    size_t size = 0;
    rg_instrument horn = {0};
    rg_code code = rg_file_read(path, RG_CONFIG_MAX_BYTES, &bytes, &size, err);
    if (code == RG_OK)
        code = rg_instrument_parse(path, (const char *)bytes, size, &horn, err);
    if (code == RG_OK)
        code = show(path, json, &horn, err);
    if (code == RG_OK && fflush(stdout) != 0)
        code = rg_fail(err, RG_IO, "standard output cannot be written; is the disk full?");
    rg_instrument_free(&horn);
    free(bytes);
    return code;
}

int rg_cmd_instrument_show(int argc, char **argv)
{
    bool json = false;
    int words = 0;
    rg_error err = {0};
    const rg_option options[] = {{"json", 0, RG_OPTION_SWITCH, &json, 0, 0, NULL}};
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    rg_code code = operands ? rg_options_read(argc, argv, options, 1, operands, &words, &err)
                            : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK && words != 1)
        code = rg_fail(&err, RG_USAGE,
                       "instrument show takes one instrument file; try: rimglow instrument show "
                       "calib/alto-loan.ini");
    if (code == RG_OK)
        code = read_and_show(operands[0], json, &err);
    free(operands);
    return code == RG_OK ? RG_OK : rg_command_fail((int)code, "%s", err.text);
}
