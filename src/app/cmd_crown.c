/*
 * cmd_crown.c - rimglow crown: prints index crowns at true size.
 *
 * Crowns come from cup diameters, from one apothem, or from an instrument
 * file, where pads that share a crown share its sheet. With the print goes
 * what belongs into the instrument file.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/calib_file.h"
#include "rimglow/command.h"
#include "rimglow/config.h"
#include "rimglow/memory.h"
#include "rimglow/printing.h"
#include "rimglow/text.h"

const char rg_help_crown[] =
    "rimglow crown [options] (--cup-diameter MM[,MM...] | --apothem MM |\n"
    "                         --instrument FILE)\n"
    "\n"
    "Prints index crowns at true size: hexagonal paper rings with a fiducial tag on\n"
    "each face, which stand on the pad cup and tell the camera where it is.\n"
    "\n"
    "Examples:\n"
    "  rimglow crown --cup-diameter 23 --number 2\n"
    "      crown 2 for a cup of 23 mm, on A4, as crowns.pdf; prints the lines for the\n"
    "      instrument file\n"
    "  rimglow crown --cup-diameter 15.5,23,38 --number 1 --copies 2\n"
    "      crowns 1, 2 and 3, two of each\n"
    "  rimglow crown --cup-diameter 23 --cup-top 5.3\n"
    "      the cup's top lies 5.3 mm above the rim: states the tags' height, too\n"
    "  rimglow crown --instrument calib/alto-loan.ini --paper letter --out loan.svg\n"
    "      every crown that the instrument file names, on Letter, as SVG\n"
    "  rimglow crown --cup-diameter 12 --station calib/bench.ini --distance 150\n"
    "      are the modules large enough for this camera at 150 mm?\n"
    "\n"
    "Making a crown:\n"
    "  Print at 100 %, on white paper. Measure both rulers on the sheet with a\n"
    "  calliper: 50.0 mm. The picture's scale comes from the tags, so an error of\n"
    "  the print's scale is an error of EVERY gap width: a ruler of 49.5 mm makes\n"
    "  every width 1 % too large. Print again, or multiply the three lengths by\n"
    "  ruler/50. Glue the sheet on thin, matt, white board, let it dry flat, score\n"
    "  the dashed lines, cut along the solid ones, fold backwards, glue the hatched\n"
    "  tab behind the other end. Check the width across flats with the calliper.\n"
    "  The face marked ARM looks at the key arm. Glue nothing to the cup.\n"
    "\n"
    "Options:\n"
    "      --cup-diameter LIST  of the cup's top, mm; one crown for each\n"
    "      --apothem MM         axis to face instead, for one crown\n"
    "      --instrument FILE    all crowns of an instrument file ...\n"
    "      --pad NAME           ... or that of one pad only\n"
    "      --number K           number of the first crown, 0 to 96 (default: 0)\n"
    "      --tag MM             edge of the black border (default: the largest that\n"
    "                           fits, up to tag_max_mm of the sheet file)\n"
    "      --foot MM            white foot, to notch where the key arm lies\n"
    "      --cup-top MM         height of the cup's top above the rim, pad seated\n"
    "      --copies N           of each crown, 1 to 24\n"
    "      --paper SIZE         a4 (default) or letter\n"
    "  -o, --out FILE           FILE.pdf or FILE.svg (default: crowns.pdf); more\n"
    "                           pages of SVG become FILE-1.svg, FILE-2.svg, ...\n"
    "      --scale S            px per mm at the working distance: modules of too\n"
    "                           few px are refused (default and limit: sheet file)\n"
    "      --station FILE       take the scale from a station file's fx ...\n"
    "      --distance MM        ... and this working distance\n"
    "      --sheet FILE         the sheet file (default: calib/sheet.ini)\n"
    "      --json               print what was made as JSON\n"
    "  -h, --help               this text\n"
    "\n"
    "Exit codes: 0 printed; 64 wrong command line, 65 bad data, 66 a file is missing,\n"
    "70 internal, 73 an output cannot be made, 74 writing failed (disk full).\n";

enum { TITLE = 300, LINES = 4, LINE = 120 };

typedef struct sheet_crown {
    rg_ring ring;
    char title[TITLE];
    bool heights_differ; /* pads that share it stand at different heights */
    char line[LINES][LINE];
    const char *lines[LINES];
} sheet_crown;

typedef struct job {
    rg_printing printing;
    const char *cups, *apothem, *instrument, *pad, *tag, *foot, *cup_top;
    int number, copies; /* number -1: not given */
    double tag_mm;      /* 0: the largest */
    sheet_crown *crown; /* owned; [RG_CROWNS_MAX] */
    int crowns;
} job;

/* ------------------------------------------------------------------ options */

static rg_code check_sources(const job *j, int operands, const char *operand, rg_error *err)
{
    if (operands > 0)
        return rg_fail(err, RG_USAGE,
                       "%s: crown takes no words but options, such as --cup-diameter 23; rimglow "
                       "crown -h shows examples",
                       operand);
    if (!!j->cups + !!j->apothem + !!j->instrument != 1)
        return rg_fail(err, RG_USAGE,
                       "crown needs one of --cup-diameter, --apothem and --instrument; rimglow "
                       "crown -h shows examples");
    if (j->pad && !j->instrument)
        return rg_fail(err, RG_USAGE, "--pad %s: give the pad's --instrument FILE, too", j->pad);
    if (j->instrument && (j->number >= 0 || j->tag || j->cup_top))
        return rg_fail(err, RG_USAGE,
                       "--%s: the instrument file says that already; leave it out or edit the file",
                       j->number >= 0 ? "number"
                       : j->tag       ? "tag"
                                      : "cup-top");
    return RG_OK;
}

static rg_code read_options(int argc, char **argv, job *j, const char **operands, rg_error *err)
{
    enum { OWN = 9 };
    int count = 0;
    rg_option options[OWN + RG_PRINTING_OPTIONS] = {
        {"cup-diameter", 0, RG_OPTION_TEXT, &j->cups, 0, 0, NULL},
        {"apothem", 0, RG_OPTION_TEXT, &j->apothem, 0, 0, NULL},
        {"instrument", 0, RG_OPTION_TEXT, &j->instrument, 0, 0, NULL},
        {"pad", 0, RG_OPTION_TEXT, &j->pad, 0, 0, NULL},
        {"tag", 0, RG_OPTION_TEXT, &j->tag, 0, 0, NULL},
        {"foot", 0, RG_OPTION_TEXT, &j->foot, 0, 0, NULL},
        {"cup-top", 0, RG_OPTION_TEXT, &j->cup_top, 0, 0, NULL},
        {"number", 0, RG_OPTION_WHOLE, &j->number, 0, RG_CROWNS_MAX - 1, NULL},
        {"copies", 0, RG_OPTION_WHOLE, &j->copies, 1, RG_CROWN_COPIES_MAX, NULL},
    };
    rg_printing_options(&j->printing, options + OWN);
    rg_code code =
        rg_options_read(argc, argv, options, OWN + RG_PRINTING_OPTIONS, operands, &count, err);
    if (code == RG_OK)
        code = check_sources(j, count, operands[0], err);
    if (code == RG_OK && j->tag)
        code = rg_printing_number("tag", j->tag, 1, 100, &j->tag_mm, err);
    return code;
}

/* ------------------------------------------------------------------- crowns */

/* Room for one more, with its number. */
static rg_code next_crown(job *j, int *number, rg_error *err)
{
    *number = (j->number >= 0 ? j->number : 0) + j->crowns;
    if (*number >= RG_CROWNS_MAX)
        return rg_fail(err, RG_USAGE,
                       "--number %d: with %d crowns their numbers go beyond %d, the last; begin "
                       "lower",
                       j->number, j->crowns + 1, RG_CROWNS_MAX - 1);
    return RG_OK;
}

static rg_code from_cups(job *j, rg_error *err)
{
    const char *at = j->cups;
    rg_code code = RG_OK;
    while (code == RG_OK) {
        char one[40];
        double diameter = 0;
        int number;
        size_t n = strcspn(at, ",");
        snprintf(one, sizeof one, "%.*s", n < sizeof one ? (int)n : (int)sizeof one - 1, at);
        code = rg_printing_number("cup-diameter", one, 2, 400, &diameter, err);
        if (code == RG_OK)
            code = next_crown(j, &number, err);
        if (code == RG_OK)
            code = rg_ring_for_cup(&j->printing.rules, number, diameter, j->tag_mm,
                                   &j->crown[j->crowns].ring, err);
        if (code == RG_OK)
            snprintf(j->crown[j->crowns++].title, TITLE, "for a cup of %g mm", diameter);
        if (at[n] == 0)
            return code;
        at += n + 1;
    }
    return code;
}

static rg_code from_apothem(job *j, rg_error *err)
{
    double apothem = 0;
    int number;
    rg_code code = rg_printing_number("apothem", j->apothem, 1, 199, &apothem, err);
    if (code == RG_OK)
        code = next_crown(j, &number, err);
    if (code == RG_OK)
        code = rg_ring_for_apothem(&j->printing.rules, number, apothem, j->tag_mm,
                                   &j->crown[j->crowns].ring, err);
    j->crowns += code == RG_OK;
    return code;
}

/* The crown of this number among those found so far, or NULL. */
static sheet_crown *known_crown(job *j, int number)
{
    for (int i = 0; i < j->crowns; i++)
        if (j->crown[i].ring.crown.number == number)
            return &j->crown[i];
    return NULL;
}

/* A further pad in the title; when there is no more room, dots. */
static void add_name(char title[TITLE], const char *name)
{
    static const char more[] = ", ...";
    size_t used = strlen(title);
    if (used + strlen(name) + 2 * sizeof more < TITLE)
        snprintf(title + used, TITLE - used, ", %s", name);
    else if (used < sizeof more || strcmp(title + used - (sizeof more - 1), more) != 0)
        rg_copy_text(title + used, TITLE - used, more);
}

static rg_code add_pad(job *j, const char *path, const rg_instrument *horn, const rg_pad *pad,
                       rg_error *err)
{
    rg_ring ring;
    rg_code code = rg_ring_for_crown(&j->printing.rules, &pad->crown, &ring, err);
    if (code != RG_OK) {
        char prefix[RG_ERROR_TEXT];
        snprintf(prefix, sizeof prefix, "%.300s: [pad %s]", path, pad->name);
        rg_fail_prefix(err, prefix);
        return code;
    }
    sheet_crown *c = known_crown(j, pad->crown.number);
    if (!c) {
        c = &j->crown[j->crowns++];
        c->ring = ring;
        snprintf(c->title, TITLE, "%s: %s", horn->name, pad->name);
        return RG_OK;
    }
    if (c->ring.crown.apothem_mm != pad->crown.apothem_mm ||
        c->ring.crown.tag_size_mm != pad->crown.tag_size_mm)
        return rg_fail(err, RG_BAD_DATA,
                       "%.300s: [pad %s] crown = %d has crown_apothem_mm = %g and crown_tag_mm = "
                       "%g, another pad's crown %d has %g and %g; give them different numbers",
                       path, pad->name, pad->crown.number, pad->crown.apothem_mm,
                       pad->crown.tag_size_mm, pad->crown.number, c->ring.crown.apothem_mm,
                       c->ring.crown.tag_size_mm);
    if (c->ring.crown.centre_height_mm != pad->crown.centre_height_mm) {
        c->heights_differ = true;
        c->ring.crown.centre_height_mm = 0;
    }
    add_name(c->title, pad->name);
    return RG_OK;
}

static rg_code no_crown(const char *path, const char *pad, rg_error *err)
{
    return rg_fail(err, RG_BAD_DATA,
                   "%.300s: [pad %s]: crown = none, its cup is too small for one; sweep it with a "
                   "jig or marks, see [place] of a sweep",
                   path, pad);
}

static rg_code add_pads(job *j, const char *path, const rg_instrument *horn, rg_error *err)
{
    const rg_pad *only = j->pad ? rg_instrument_pad(horn, j->pad) : NULL;
    rg_code code = RG_OK;
    if (j->pad && !only)
        return rg_fail(err, RG_BAD_DATA,
                       "%.300s has no [pad %s]; --pad takes a name as it stands there", path,
                       j->pad);
    for (int i = 0; i < horn->pads && code == RG_OK; i++)
        if (only ? only == &horn->pad[i] : horn->pad[i].crown.number >= 0)
            code = only && only->crown.number < 0 ? no_crown(path, only->name, err)
                                                  : add_pad(j, path, horn, &horn->pad[i], err);
    return code == RG_OK && j->crowns == 0 ? no_crown(path, "any", err) : code;
}

static rg_code from_instrument(job *j, rg_error *err)
{
    rg_calib_file file;
    rg_instrument horn;
    rg_code code = rg_calib_file_read("", j->instrument, "instrument", &file, err);
    if (code != RG_OK)
        return code;
    code = rg_instrument_parse(file.path, file.text, file.size, &horn, err);
    free(file.text);
    if (code == RG_OK)
        code = add_pads(j, file.path, &horn, err);
    rg_instrument_free(&horn);
    return code;
}

static rg_code check_crowns(job *j, rg_error *err)
{
    const rg_printing *p = &j->printing;
    double top = 0;
    rg_code code = RG_OK;
    if (j->cup_top)
        code = rg_printing_number("cup-top", j->cup_top, 0, 100, &top, err);
    for (int i = 0; i < j->crowns && code == RG_OK; i++) {
        rg_ring *ring = &j->crown[i].ring;
        char what[32];
        snprintf(what, sizeof what, "crown %d", ring->crown.number);
        code = rg_module_check(what, ring->module_mm, p->rules.min_module_px, p->px_per_mm, err);
        if (code == RG_OK && j->cup_top)
            code = rg_ring_stand(ring, top, err);
    }
    return code;
}

/* -------------------------------------------------------------------- lines */

static void write_lines(sheet_crown *c)
{
    const rg_crown *k = &c->ring.crown;
    snprintf(c->line[0], LINE, "crown = %d", k->number);
    snprintf(c->line[1], LINE, "crown_apothem_mm = %.9g", k->apothem_mm);
    snprintf(c->line[2], LINE, "crown_tag_mm = %.9g", k->tag_size_mm);
    if (c->heights_differ)
        snprintf(c->line[3], LINE, "; crown_centre_height_mm: as it stands there, by pad");
    else if (k->centre_height_mm > 0)
        snprintf(c->line[3], LINE, "crown_centre_height_mm = %.9g", k->centre_height_mm);
    else
        snprintf(c->line[3], LINE,
                 "crown_centre_height_mm = ? ; %.2f + height of the cup's top "
                 "above the rim",
                 c->ring.centre_mm);
    for (int i = 0; i < LINES; i++)
        c->lines[i] = c->line[i];
}

/* ----------------------------------------------------------------- printing */

static rg_code draw(const void *args, rg_picture_format format, int page, rg_bytes *out,
                    rg_error *err)
{
    return rg_draw_crowns(args, format, page, out, err);
}

static rg_code print_crowns(job *j, rg_error *err)
{
    rg_draw_crown *list = rg_alloc((size_t)j->crowns, sizeof *list);
    if (!list)
        return rg_fail(err, RG_INTERNAL, "no memory for %d crowns", j->crowns);
    for (int i = 0; i < j->crowns; i++)
        list[i] = (rg_draw_crown){j->crown[i].ring, j->crown[i].title};
    rg_draw_crowns_args args = {.crown = list,
                                .count = j->crowns,
                                .copies = j->copies,
                                .paper = (rg_paper)j->printing.paper};
    int pages = 0;
    rg_code code = rg_draw_crowns_pages(&args, &pages, err);
    if (code == RG_OK)
        code = rg_printing_write(&j->printing, pages, draw, &args, err);
    free(list);
    return code;
}

static rg_code make(job *j, rg_error *err)
{
    rg_code code = rg_printing_prepare(&j->printing, err);
    if (code == RG_OK && j->foot)
        code = rg_printing_number("foot", j->foot, 0, 30, &j->printing.rules.foot_mm, err);
    if (code == RG_OK)
        code = j->cups      ? from_cups(j, err)
               : j->apothem ? from_apothem(j, err)
                            : from_instrument(j, err);
    if (code == RG_OK)
        code = check_crowns(j, err);
    for (int i = 0; i < j->crowns; i++)
        write_lines(&j->crown[i]);
    return code == RG_OK ? print_crowns(j, err) : code;
}

/* ------------------------------------------------------------------- answer */

static void print_crown(const sheet_crown *c, double px_per_mm)
{
    const rg_ring *r = &c->ring;
    const int id = RG_RING_FACES * r->crown.number;
    printf("\ncrown %d, tags %d to %d, stands on cups of %.1f mm and more\n", r->crown.number, id,
           id + RG_RING_FACES - 1, r->least_cup_mm);
    if (c->title[0])
        printf("  %s\n", c->title);
    printf("  %.2f mm across flats, %.2f mm high, tag centres %.2f mm above its lower edge\n",
           2 * r->crown.apothem_mm, r->height_mm, r->centre_mm);
    printf("  modules of %.3f mm: %.1f px at %.4g px per mm\n", r->module_mm,
           r->module_mm * px_per_mm, px_per_mm);
    printf("  largest that fits a face of %.2f mm: %.3f mm, %.1f px (a tag of %.2f mm)\n",
           r->face_mm, r->largest_module_mm, r->largest_module_mm * px_per_mm,
           RG_TAG_BORDER_MODULES * r->largest_module_mm);
    puts("  for the instrument file:");
    for (int i = 0; i < LINES; i++)
        puts(c->line[i]);
}

static void print_text(const job *j)
{
    const rg_printing *p = &j->printing;
    for (int i = 0; i < p->files; i++)
        printf("%s: %s\n", p->file[i], rg_paper_name((rg_paper)p->paper));
    printf("%d page%s, %d crown%s, %d of each\n", p->pages, p->pages == 1 ? "" : "s", j->crowns,
           j->crowns == 1 ? "" : "s", j->copies);
    puts("Print at 100 % and measure both rulers: 50.0 mm, or every width is wrong.");
    for (int i = 0; i < j->crowns; i++)
        print_crown(&j->crown[i], p->px_per_mm);
}

static rg_code answer(const job *j, char **text, rg_error *err)
{
    rg_report_paper paper = rg_printing_report(&j->printing, j->copies);
    if (!j->printing.json) {
        print_text(j);
        return RG_OK;
    }
    rg_report_crown *list = rg_alloc((size_t)j->crowns, sizeof *list);
    if (!list)
        return rg_fail(err, RG_INTERNAL, "no memory for %d crowns", j->crowns);
    for (int i = 0; i < j->crowns; i++) {
        const sheet_crown *c = &j->crown[i];
        list[i] = (rg_report_crown){&c->ring, c->title[0] ? c->title : NULL, c->lines, LINES};
    }
    rg_code code = rg_report_crowns(&paper, list, j->crowns, text, err);
    free(list);
    return code;
}

int rg_cmd_crown(int argc, char **argv)
{
    job j = {.printing.out = "crowns.pdf", .number = -1, .copies = 1};
    rg_error err = {0};
    char *text = NULL;
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    j.crown = rg_alloc(RG_CROWNS_MAX, sizeof *j.crown);
    rg_code code = operands && j.crown ? read_options(argc, argv, &j, operands, &err)
                                       : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK)
        code = make(&j, &err);
    if (code == RG_OK)
        code = answer(&j, &text, &err);
    int exit_code = rg_printing_answer(code, text, &err);
    rg_printing_free(&j.printing);
    free(j.crown);
    free(operands);
    return exit_code;
}
