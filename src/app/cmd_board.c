/*
 * cmd_board.c - rimglow board: prints the calibration board.
 */
#include <stdio.h>
#include <stdlib.h>

#include "rimglow/calib_file.h"
#include "rimglow/command.h"
#include "rimglow/config_board.h"
#include "rimglow/memory.h"
#include "rimglow/printing.h"

const char rg_help_board[] =
    "rimglow board [options]\n"
    "\n"
    "Prints the calibration board at true size: rows of fiducial tags that the lens\n"
    "calibration looks for. Sizes come from the board's file, calib/board.ini.\n"
    "\n"
    "Examples:\n"
    "  rimglow board\n"
    "      board.pdf on A4, as calib/board.ini says\n"
    "  rimglow board --paper letter --out bench.svg\n"
    "      the same on Letter, as SVG\n"
    "  rimglow board --columns 7 --rows 5 --tag-mm 20 --pitch-mm 26 --scale 6\n"
    "      larger tags, for a camera that sees 6 px per mm\n"
    "\n"
    "Print at 100 %. Then measure both rulers on the sheet with a calliper: 50.0 mm,\n"
    "or print again; an error of the board's scale is an error of every distance.\n"
    "Glue the sheet without bubbles on something flat and stiff, such as glass or a\n"
    "metal plate. Put the tag_mm and pitch_mm that you have MEASURED into a copy of\n"
    "calib/board.ini and give that file to the calibration.\n"
    "\n"
    "Options:\n"
    "      --board FILE     the board's file (default: calib/board.ini)\n"
    "      --columns N      tags in a row, instead of the file's\n"
    "      --rows N         tags in a column\n"
    "      --tag-mm MM      edge of a black border\n"
    "      --pitch-mm MM    from a border's left edge to the next one's\n"
    "      --first-id N     id of the top left tag\n"
    "      --paper SIZE     a4 (default) or letter\n"
    "  -o, --out FILE       FILE.pdf or FILE.svg (default: board.pdf)\n"
    "      --scale S        px per mm at the working distance: modules of too few\n"
    "                       px are refused (default and limit: calib/sheet.ini)\n"
    "      --station FILE   take the scale from a station file's fx ...\n"
    "      --distance MM    ... and this working distance\n"
    "      --sheet FILE     the sheet file (default: calib/sheet.ini)\n"
    "      --json           print what was made as JSON\n"
    "  -h, --help           this text\n"
    "\n"
    "Exit codes: 0 printed; 64 wrong command line, 65 bad data, 66 a file is missing,\n"
    "70 internal, 73 an output cannot be made, 74 writing failed (disk full).\n";

typedef struct job {
    rg_printing printing;
    const char *board_file, *tag, *pitch;
    int columns, rows, first_id; /* -1: not given */
    rg_board board;
} job;

static rg_code read_options(int argc, char **argv, job *j, const char **operands, rg_error *err)
{
    enum { OWN = 6 };
    int count;
    rg_option options[OWN + RG_PRINTING_OPTIONS] = {
        {"board", 0, RG_OPTION_TEXT, &j->board_file, 0, 0, NULL},
        {"columns", 0, RG_OPTION_WHOLE, &j->columns, 2, RG_TAGS_MAX / 2, NULL},
        {"rows", 0, RG_OPTION_WHOLE, &j->rows, 2, RG_TAGS_MAX / 2, NULL},
        {"tag-mm", 0, RG_OPTION_TEXT, &j->tag, 0, 0, NULL},
        {"pitch-mm", 0, RG_OPTION_TEXT, &j->pitch, 0, 0, NULL},
        {"first-id", 0, RG_OPTION_WHOLE, &j->first_id, 0, RG_TAG_IDS - 1, NULL},
    };
    rg_printing_options(&j->printing, options + OWN);
    rg_code code =
        rg_options_read(argc, argv, options, OWN + RG_PRINTING_OPTIONS, operands, &count, err);
    if (code == RG_OK && count > 0)
        return rg_fail(err, RG_USAGE, "%s: board takes no words but options; rimglow board -h",
                       operands[0]);
    return code;
}

static rg_code read_board(job *j, rg_error *err)
{
    rg_calib_file file;
    rg_board_config config = {0};
    rg_board *b = &j->board;
    rg_code code = rg_calib_file_read("board.ini", j->board_file, "board", &file, err);
    if (code != RG_OK)
        return code;
    code = rg_board_config_parse(file.path, file.text, file.size, &config, err);
    free(file.text);
    *b = config.board;
    b->columns = j->columns >= 0 ? j->columns : b->columns;
    b->rows = j->rows >= 0 ? j->rows : b->rows;
    b->first_id = j->first_id >= 0 ? j->first_id : b->first_id;
    if (code == RG_OK && j->tag)
        code = rg_printing_number("tag-mm", j->tag, 1, 200, &b->tag_mm, err);
    if (code == RG_OK && j->pitch)
        code = rg_printing_number("pitch-mm", j->pitch, 1.25, 250, &b->pitch_mm, err);
    return code == RG_OK ? rg_board_check(b, err) : code;
}

static rg_code draw(const void *args, rg_picture_format format, int page, rg_bytes *out,
                    rg_error *err)
{
    (void)page;
    return rg_draw_board(args, format, out, err);
}

static rg_code print_board(job *j, rg_error *err)
{
    const rg_board *b = &j->board;
    const rg_printing *p = &j->printing;
    rg_code code = rg_printing_prepare(&j->printing, err);
    if (code == RG_OK)
        code = read_board(j, err);
    rg_draw_board_args args = {.columns = b->columns,
                               .rows = b->rows,
                               .tag_mm = b->tag_mm,
                               .pitch_mm = b->pitch_mm,
                               .first_id = b->first_id,
                               .paper = (rg_paper)p->paper};
    if (code == RG_OK)
        code = rg_module_check("board", b->tag_mm / RG_TAG_BORDER_MODULES, p->rules.min_module_px,
                               p->px_per_mm, err);
    return code == RG_OK ? rg_printing_write(&j->printing, 1, draw, &args, err) : code;
}

static void print_text(const job *j)
{
    const rg_board *b = &j->board;
    const rg_printing *p = &j->printing;
    const double module = b->tag_mm / RG_TAG_BORDER_MODULES;
    printf("%s: %d x %d tags, %d to %d, on %s\n", p->file[0], b->columns, b->rows, b->first_id,
           b->first_id + b->columns * b->rows - 1, rg_paper_name((rg_paper)p->paper));
    printf("  modules of %.3f mm: %.1f px at %g px per mm\n", module, module * p->px_per_mm,
           p->px_per_mm);
    printf("  %.2f mm across and %.2f mm down, black edge to black edge\n",
           (b->columns - 1) * b->pitch_mm + b->tag_mm, (b->rows - 1) * b->pitch_mm + b->tag_mm);
    printf("Print at 100 %%, then measure both rulers: 50.0 mm. For the board's file, with\n"
           "tag_mm and pitch_mm times ruler/50:\n"
           "[board]\ncolumns = %d\nrows = %d\ntag_mm = %.9g\npitch_mm = %.9g\nfirst_id = %d\n",
           b->columns, b->rows, b->tag_mm, b->pitch_mm, b->first_id);
}

static rg_code answer(const job *j, char **text, rg_error *err)
{
    const rg_board *b = &j->board;
    rg_report_board board = {b->columns, b->rows, b->tag_mm, b->pitch_mm, b->first_id};
    rg_report_paper paper = rg_printing_report(&j->printing, 1);
    if (j->printing.json)
        return rg_report_board_sheet(&paper, &board, text, err);
    print_text(j);
    return RG_OK;
}

int rg_cmd_board(int argc, char **argv)
{
    job j = {.printing.out = "board.pdf", .columns = -1, .rows = -1, .first_id = -1};
    rg_error err = {0};
    char *text = NULL;
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    if (!operands)
        return rg_command_fail(RG_INTERNAL, "out of memory; close other programs and try again");
    rg_code code = read_options(argc, argv, &j, operands, &err);
    if (code == RG_OK)
        code = print_board(&j, &err);
    if (code == RG_OK)
        code = answer(&j, &text, &err);
    int exit_code = rg_printing_answer(code, text, &err);
    rg_printing_free(&j.printing);
    free(operands);
    return exit_code;
}
