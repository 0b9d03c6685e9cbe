/*
 * printing.c - options and files of the printing commands.
 */
#include "rimglow/printing.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/calib_file.h"
#include "rimglow/command.h"
#include "rimglow/config.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

void rg_printing_options(rg_printing *p, rg_option *option)
{
    static const char *const papers[] = {"a4", "letter", NULL};
    const rg_option table[RG_PRINTING_OPTIONS] = {
        {"out", 'o', RG_OPTION_TEXT, &p->out, 0, 0, NULL},
        {"paper", 0, RG_OPTION_CHOICE, &p->paper, 0, 0, papers},
        {"sheet", 0, RG_OPTION_TEXT, &p->sheet, 0, 0, NULL},
        {"scale", 0, RG_OPTION_TEXT, &p->scale, 0, 0, NULL},
        {"station", 0, RG_OPTION_TEXT, &p->station, 0, 0, NULL},
        {"distance", 0, RG_OPTION_TEXT, &p->distance, 0, 0, NULL},
        {"json", 0, RG_OPTION_SWITCH, &p->json, 0, 0, NULL},
    };
    memcpy(option, table, sizeof table);
}

rg_code rg_printing_number(const char *option, const char *text, double low, double high,
                           double *value, rg_error *err)
{
    double number;
    if (!rg_parse_double(text, &number) || !(number >= low && number <= high))
        return rg_fail(err, RG_USAGE, "--%s %s: a number from %g to %g is needed", option, text,
                       low, high);
    *value = number;
    return RG_OK;
}

static rg_code choose_format(rg_printing *p, rg_error *err)
{
    const char *dot = strrchr(p->out, '.');
    if (dot && strcmp(dot, ".pdf") == 0)
        p->format = RG_PICTURE_PDF;
    else if (dot && strcmp(dot, ".svg") == 0)
        p->format = RG_PICTURE_SVG;
    else
        return rg_fail(err, RG_USAGE, "--out %s: the name must end in .pdf or .svg", p->out);
    return RG_OK;
}

/* px per mm at the working distance: fx is the px that a mm takes up at 1 mm. */
static rg_code scale_of_station(rg_printing *p, rg_error *err)
{
    rg_calib_file file;
    rg_station station;
    double distance = 0;
    rg_code code = rg_printing_number("distance", p->distance, 1, 10000, &distance, err);
    if (code == RG_OK)
        code = rg_calib_file_read("", p->station, "station", &file, err);
    if (code != RG_OK)
        return code;
    code = rg_station_parse(file.path, file.text, file.size, &station, err);
    free(file.text);
    if (code == RG_OK)
        p->px_per_mm = station.lens.fx / distance;
    return code;
}

static rg_code find_scale(rg_printing *p, rg_error *err)
{
    if (!p->station != !p->distance)
        return rg_fail(err, RG_USAGE, "--station and --distance belong together: %s is missing",
                       p->station ? "--distance MM" : "--station FILE");
    if (p->scale && p->station)
        return rg_fail(err, RG_USAGE,
                       "--scale and --station both state the scale; give one of them");
    if (p->scale)
        return rg_printing_number("scale", p->scale, 0.5, 1000, &p->px_per_mm, err);
    if (p->station)
        return scale_of_station(p, err);
    p->px_per_mm = p->rules.px_per_mm;
    return RG_OK;
}

rg_code rg_printing_prepare(rg_printing *p, rg_error *err)
{
    rg_calib_file file;
    rg_code code = choose_format(p, err);
    if (code == RG_OK)
        code = rg_calib_file_read("sheet.ini", p->sheet, "sheet", &file, err);
    if (code != RG_OK)
        return code;
    code = rg_sheet_parse(file.path, file.text, file.size, &p->rules, err);
    free(file.text);
    return code == RG_OK ? find_scale(p, err) : code;
}

/* Name of the file of a page; owned by the caller. */
static char *page_name(const rg_printing *p, int page, int files)
{
    const size_t stem = strlen(p->out) - strlen(".svg");
    char *name = rg_alloc(stem + 24, 1);
    if (name && files > 1)
        snprintf(name, stem + 24, "%.*s-%d.svg", (int)stem, p->out, page + 1);
    else if (name)
        snprintf(name, stem + 24, "%s", p->out);
    return name;
}

static rg_code draw_all(rg_printing *p, rg_printing_draw *draw, const void *args, int files,
                        rg_bytes *bytes, rg_error *err)
{
    rg_code code = RG_OK;
    for (int i = 0; i < files && code == RG_OK; i++) {
        code = draw(args, p->format, i, &bytes[i], err);
        p->file[p->files++] = page_name(p, i, files);
        if (code == RG_OK && !p->file[i])
            code = rg_fail(err, RG_INTERNAL, "no memory for a file name");
    }
    return code;
}

rg_code rg_printing_write(rg_printing *p, int pages, rg_printing_draw *draw, const void *args,
                          rg_error *err)
{
    rg_bytes bytes[RG_PRINT_FILES_MAX] = {{0}};
    const int files = p->format == RG_PICTURE_PDF ? 1 : pages;
    if (pages > RG_PRINT_FILES_MAX)
        return rg_fail(err, RG_USAGE, "%d pages at once are too many, %d is the most; fewer copies",
                       pages, RG_PRINT_FILES_MAX);
    p->pages = pages;
    rg_code code = draw_all(p, draw, args, files, bytes, err);
    for (int i = 0; i < files && code == RG_OK; i++)
        code = rg_file_write(p->file[i], bytes[i].data, bytes[i].size, err);
    for (int i = 0; i < files; i++)
        free(bytes[i].data);
    return code;
}

void rg_printing_free(rg_printing *p)
{
    for (int i = 0; i < p->files; i++)
        free(p->file[i]);
    p->files = 0;
}

rg_report_paper rg_printing_report(const rg_printing *p, int copies)
{
    return (rg_report_paper){.paper = rg_paper_name((rg_paper)p->paper),
                             .files = (const char *const *)p->file,
                             .file_count = p->files,
                             .pages = p->pages,
                             .copies = copies,
                             .px_per_mm = p->px_per_mm};
}

int rg_printing_answer(rg_code code, char *text, const rg_error *err)
{
    if (code != RG_OK)
        return rg_command_fail((int)code, "%s", err->text);
    if (text)
        puts(text);
    free(text);
    if (fflush(stdout) != 0 || ferror(stdout))
        return rg_command_fail(RG_IO, "standard output cannot be written; is the disk full?");
    return RG_OK;
}
