/*
 * cmd_instrument_measure.c - rimglow instrument measure FILE: asks for the sizes of one pad
 * after another and writes them into the file after each.
 */
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rimglow/command.h"
#include "rimglow/config.h"
#include "rimglow/config_edit.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/options.h"
#include "rimglow/text.h"

const char rg_help_instrument_measure[] =
    "rimglow instrument measure [--from FILE] [--pad NAME] [--all] FILE\n"
    "\n"
    "Leads through the sizes of your own instrument, pad by pad, and writes them into\n"
    "FILE after each pad. Comments, links and notes in it stay as they are.\n"
    "\n"
    "Examples:\n"
    "  rimglow instrument measure --from calib/tenor-loan.ini my-tenor.ini\n"
    "      a new file: pads, links and notes from the one in calib/, sizes from you\n"
    "  rimglow instrument measure my-tenor.ini\n"
    "      goes on with the pads that are not measured yet\n"
    "  rimglow instrument measure --pad \"low C\" my-tenor.ini\n"
    "      one pad, as after a new one was put in\n"
    "\n"
    "What you need: a calliper that shows 0.05 mm or better, feeler gauges or a\n"
    "rule for the opening, good light. For each pad:\n"
    "  rim, inner   calliper's inner jaws across the hole, pad off or key held open;\n"
    "               twice, at right angles: drawn holes are often out of round by a\n"
    "               tenth of a millimetre. Give the mean\n"
    "  rim, outer   outer jaws across the ring that the pad touches\n"
    "  pad          outer jaws across the pad in its cup, without squeezing it\n"
    "  cup height   from the cup's lower edge to its top, where the crown stands\n"
    "  opening      from the rim to the pad's face at the side away from the key\n"
    "               arm, key at rest, or fully pressed where it rests closed; or the\n"
    "               height that you want, if you set heights afterwards\n"
    "The land is what lies between inner and outer: 0.5 to 1.5 mm is usual.\n"
    "\n"
    "Answers: a number in mm; Enter keeps the value in brackets; ? explains; s skips\n"
    "the pad; q stops. An unusual value is asked for twice. A pad is called measured\n"
    "only when every size was given, or you say that those you kept were measured\n"
    "too. Each pad is written whole or not at all.\n"
    "\n"
    "Options:\n"
    "      --from FILE  begin FILE as a copy of this one\n"
    "      --pad NAME   this pad only\n"
    "      --all        the measured pads, too\n"
    "  -h, --help       this text\n"
    "\n"
    "Exit codes: 0 done or stopped; 65 bad data, 66 no such file, 73/74 cannot write;\n"
    "others as in rimglow -h.\n";

enum { ANSWER = 200, QUESTIONS = 5, VALUE = 32 };

typedef struct question {
    const char *key, *what, *how;
    size_t offset;    /* in rg_pad */
    double low, high; /* as config_instrument.c */
} question;

static const question questions[QUESTIONS] = {
    {"rim_inner_mm", "rim, inner diameter",
     "Inner jaws across the hole, at two places at right angles; give the mean.",
     offsetof(rg_pad, rim.inner_diameter_mm), 1, 200},
    {"rim_outer_mm", "rim, outer diameter", "Outer jaws across the ring that the pad touches.",
     offsetof(rg_pad, rim.outer_diameter_mm), 1, 200},
    {"pad_mm", "pad, diameter", "Outer jaws across the pad in its cup, without squeezing it.",
     offsetof(rg_pad, rim.pad_diameter_mm), 1, 250},
    {"cup_height_mm", "cup, height", "From the cup's lower edge to its top, where a crown stands.",
     offsetof(rg_pad, rim.cup_height_mm), 0, 100},
    {"opening_mm", "opening at the far side",
     "From the rim to the pad's face, away from the key arm: key at rest, or fully pressed where "
     "the pad rests closed.",
     offsetof(rg_pad, opening_mm), 0.1, 50},
};

typedef enum reply { KEPT, GIVEN, SKIPPED, STOPPED } reply;

typedef struct session {
    const char *path, *from, *pad;
    bool all;
    char *text; /* owned: the file as it is now */
    size_t size;
    rg_instrument horn; /* owned: the same, parsed */
    int measured;       /* pads written */
} session;

/* ---------------------------------------------------------------- answers */

/* One line without blanks at its ends; false at the end of the input. */
static bool read_answer(char answer[ANSWER])
{
    fflush(stdout);
    if (!fgets(answer, ANSWER, stdin))
        return false;
    size_t n = strlen(answer);
    if (n == ANSWER - 1 && answer[n - 1] != '\n')
        for (int c = getchar(); c != '\n' && c != EOF;)
            c = getchar();
    while (n > 0 && strchr(" \t\r\n", answer[n - 1]))
        answer[--n] = 0;
    size_t blanks = strspn(answer, " \t");
    memmove(answer, answer + blanks, n - blanks + 1);
    return true;
}

static double *value_of(rg_pad *pad, const question *q)
{
    return (double *)(void *)((char *)pad + q->offset);
}

/* What cannot be: "" when it can. */
static void impossible(const rg_pad *pad, const question *q, double value, char why[ANSWER])
{
    why[0] = 0;
    if (value < q->low || value > q->high)
        snprintf(why, ANSWER, "%g mm is outside %g to %g", value, q->low, q->high);
    else if (q->offset == offsetof(rg_pad, rim.outer_diameter_mm) &&
             value <= pad->rim.inner_diameter_mm)
        snprintf(why, ANSWER, "the outer diameter must be above the inner, %g mm; s skips the pad",
                 pad->rim.inner_diameter_mm);
    else if (q->offset == offsetof(rg_pad, rim.pad_diameter_mm) &&
             value <= pad->rim.outer_diameter_mm)
        snprintf(why, ANSWER, "the pad must be wider than the rim, %g mm; s skips the pad",
                 pad->rim.outer_diameter_mm);
    else if (q->offset == offsetof(rg_pad, opening_mm) && value <= pad->tolerance_mm)
        snprintf(why, ANSWER, "the opening must be above the tolerance, %g mm", pad->tolerance_mm);
}

/* What is possible but seldom true. */
static void unusual(const rg_pad *pad, const question *q, double value, double before,
                    char why[ANSWER])
{
    double land = (value - pad->rim.inner_diameter_mm) / 2;
    double over = value - pad->rim.outer_diameter_mm;
    why[0] = 0;
    if (q->offset == offsetof(rg_pad, rim.outer_diameter_mm) && (land < 0.3 || land > 2))
        snprintf(why, ANSWER, "the land would be %.2f mm wide; 0.5 to 1.5 mm is usual", land);
    else if (q->offset == offsetof(rg_pad, rim.pad_diameter_mm) && (over < 0.5 || over > 8))
        snprintf(why, ANSWER, "the pad would be %.1f mm wider than the rim; 1 to 5 mm is usual",
                 over);
    else if (before > 0 && (value > 1.5 * before || value < before / 1.5))
        snprintf(why, ANSWER, "it was %g mm before", before);
}

static bool parse_mm(const char *answer, double *value)
{
    if (rg_parse_double(answer, value))
        return true;
    printf("  \"%.40s\" is no number%s\n", answer,
           strchr(answer, ',') ? "; use a point as the decimal sign" : "; ? explains, q stops");
    return false;
}

/* A word that is no number. */
static bool is_word(const char *answer, const question *q, reply *r)
{
    if (strcmp(answer, "?") == 0) {
        printf("  %s\n", q->how);
        *r = KEPT;
    } else if (strcmp(answer, "s") == 0) {
        *r = SKIPPED;
    } else if (strcmp(answer, "q") == 0) {
        *r = STOPPED;
    } else {
        return false;
    }
    return true;
}

/* Value to take, or another question. doubted: the unusual value that was just given. */
static bool accept(const rg_pad *pad, const question *q, double value, double before,
                   double *doubted)
{
    char why[ANSWER];
    impossible(pad, q, value, why);
    if (why[0]) {
        printf("  %s\n", why);
        return false;
    }
    unusual(pad, q, value, before, why);
    if (why[0] && *doubted != value) {
        printf("  %s: measure again; the same value once more is taken\n", why);
        *doubted = value;
        return false;
    }
    return true;
}

static reply ask(rg_pad *pad, const question *q)
{
    char answer[ANSWER];
    double *value = value_of(pad, q), before = *value, doubted = NAN, given;
    for (;;) {
        reply r = KEPT;
        printf("  %s, mm [%g]: ", q->what, before);
        if (!read_answer(answer))
            return STOPPED;
        if (is_word(answer, q, &r)) {
            if (r != KEPT)
                return r;
            continue;
        }
        bool kept = answer[0] == 0;
        if (kept)
            given = before;
        else if (!parse_mm(answer, &given))
            continue;
        /* A kept value may contradict one that was just given. */
        if (!accept(pad, q, given, kept ? given : before, &doubted))
            continue;
        *value = given;
        return kept ? KEPT : GIVEN;
    }
}

/* ---------------------------------------------------------------- writing */

/* Takes the edited text in place of the old one; it must be a good instrument file. */
static rg_code take_text(session *s, char *text, rg_error *err)
{
    rg_instrument horn;
    rg_code code = rg_instrument_parse(s->path, text, strlen(text), &horn, err);
    if (code == RG_OK)
        code = rg_file_write(s->path, text, strlen(text), err);
    if (code != RG_OK) {
        rg_instrument_free(&horn);
        free(text);
        return code;
    }
    rg_instrument_free(&s->horn);
    free(s->text);
    s->horn = horn;
    s->text = text;
    s->size = strlen(text);
    return RG_OK;
}

static rg_code write_pad(session *s, int at, const rg_pad *now, bool measured, rg_error *err)
{
    char section[RG_NAME_SIZE + 8], value[QUESTIONS][VALUE], *edited = NULL;
    rg_config_change change[QUESTIONS + 1];
    rg_pad before = s->horn.pad[at], after = *now;
    int changes = 0;
    snprintf(section, sizeof section, "pad %s", before.name);
    for (int i = 0; i < QUESTIONS; i++) {
        double given = *value_of(&after, &questions[i]);
        if (given == *value_of(&before, &questions[i]))
            continue;
        snprintf(value[i], VALUE, "%.9g", given);
        change[changes++] = (rg_config_change){section, questions[i].key, value[i]};
    }
    if (measured && before.dimensions != RG_DIMENSIONS_MEASURED)
        change[changes++] = (rg_config_change){section, "dimensions", "measured"};
    if (changes == 0)
        return RG_OK;
    rg_code code = rg_config_edit(s->path, s->text, s->size, change, changes, &edited, err);
    return code == RG_OK ? take_text(s, edited, err) : code;
}

/* ------------------------------------------------------------------- pads */

/* Were the values that were kept measured, too? */
static bool confirm(void)
{
    char answer[ANSWER];
    printf("  were the values that you kept measured on this instrument, too? y or n [n]: ");
    return read_answer(answer) && (strcmp(answer, "y") == 0 || strcmp(answer, "yes") == 0);
}

static void remind(const rg_pad *before, const rg_pad *after)
{
    if (after->crown.number >= 0 && before->rim.cup_height_mm != after->rim.cup_height_mm)
        printf("  the cup's height is new: measure crown_centre_height_mm again, now %g mm\n",
               after->crown.centre_height_mm);
}

static rg_code measure_pad(session *s, int at, reply *last, rg_error *err)
{
    rg_pad before = s->horn.pad[at], now = before;
    bool all_given = true;
    printf("\npad %s, %d of %d; dimensions: %s\n", now.name, at + 1, s->horn.pads,
           rg_dimensions_name(now.dimensions));
    for (int i = 0; i < QUESTIONS; i++) {
        *last = ask(&now, &questions[i]);
        if (*last == SKIPPED || *last == STOPPED)
            return RG_OK;
        all_given = all_given && *last == GIVEN;
    }
    bool was = before.dimensions == RG_DIMENSIONS_MEASURED;
    bool measured = all_given || was || confirm();
    rg_code code = write_pad(s, at, &now, measured, err);
    if (code == RG_OK) {
        s->measured += measured;
        printf("  written%s\n", measured ? "" : "; not marked as measured");
        remind(&before, &now);
    }
    return code;
}

static bool is_asked(const session *s, const rg_pad *pad)
{
    if (s->pad)
        return strcmp(s->pad, pad->name) == 0;
    return s->all || pad->dimensions != RG_DIMENSIONS_MEASURED;
}

static rg_code ask_name(session *s, reply *last, rg_error *err)
{
    char answer[ANSWER], *edited = NULL;
    const rg_config_change change = {"instrument", "name", answer};
    printf("name of the instrument, for reports [%s]: ", s->horn.name);
    if (!read_answer(answer) || strcmp(answer, "q") == 0) {
        *last = STOPPED;
        return RG_OK;
    }
    if (answer[0] == 0)
        return rg_file_write(s->path, s->text, s->size, err);
    rg_code code = rg_config_edit(s->path, s->text, s->size, &change, 1, &edited, err);
    return code == RG_OK ? take_text(s, edited, err) : code;
}

static void close_session(const session *s, reply last)
{
    int left = 0;
    for (int i = 0; i < s->horn.pads; i++)
        left += s->horn.pad[i].dimensions != RG_DIMENSIONS_MEASURED;
    printf("\n%s%d pad%s measured now, %d of %d not yet\n",
           last == STOPPED ? "stopped: a pad that was begun is unchanged; " : "", s->measured,
           s->measured == 1 ? "" : "s", left, s->horn.pads);
}

static rg_code measure(session *s, rg_error *err)
{
    reply last = KEPT;
    rg_code code = RG_OK;
    if (s->pad && !rg_instrument_pad(&s->horn, s->pad))
        return rg_fail(err, RG_BAD_DATA,
                       "%.300s has no [pad %s]; --pad takes a name as it stands there", s->path,
                       s->pad);
    puts("Lengths in mm. Enter keeps, ? explains, s skips the pad, q stops.");
    if (s->from)
        code = ask_name(s, &last, err);
    for (int i = 0; code == RG_OK && last != STOPPED && i < s->horn.pads; i++)
        if (is_asked(s, &s->horn.pad[i]))
            code = measure_pad(s, i, &last, err);
    if (code == RG_OK)
        close_session(s, last);
    return code;
}

/* ---------------------------------------------------------------- command */

static rg_code open_session(session *s, rg_error *err)
{
    const char *source = s->from ? s->from : s->path;
    uint8_t *bytes = NULL;
    if (s->from && access(s->path, F_OK) == 0)
        return rg_fail(
            err, RG_USAGE,
            "%.300s is there already; leave out --from to go on with it, or name another "
            "file",
            s->path);
    rg_code code = rg_file_read(source, RG_CONFIG_MAX_BYTES, &bytes, &s->size, err);
    s->text = (char *)bytes;
    return code == RG_OK ? rg_instrument_parse(source, s->text, s->size, &s->horn, err) : code;
}

static rg_code run(session *s, rg_error *err)
{
    rg_code code = open_session(s, err);
    if (code == RG_OK)
        code = measure(s, err);
    rg_instrument_free(&s->horn);
    free(s->text);
    return code;
}

int rg_cmd_instrument_measure(int argc, char **argv)
{
    session s = {0};
    int words = 0;
    rg_error err = {0};
    const rg_option options[] = {{"from", 0, RG_OPTION_TEXT, &s.from, 0, 0, NULL},
                                 {"pad", 0, RG_OPTION_TEXT, &s.pad, 0, 0, NULL},
                                 {"all", 0, RG_OPTION_SWITCH, &s.all, 0, 0, NULL}};
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    rg_code code = operands ? rg_options_read(argc, argv, options, 3, operands, &words, &err)
                            : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK && words != 1)
        code = rg_fail(&err, RG_USAGE,
                       "instrument measure takes one instrument file; try: rimglow instrument "
                       "measure --from calib/tenor-loan.ini my-tenor.ini");
    if (code == RG_OK) {
        s.path = operands[0];
        code = run(&s, &err);
    }
    free(operands);
    return code == RG_OK ? RG_OK : rg_command_fail((int)code, "%s", err.text);
}
