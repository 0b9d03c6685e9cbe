/*
 * capture_screen.c - coverage as characters: a row for each level, a column for each ten degrees.
 */
#include "rimglow/capture_screen.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "rimglow/text.h"

typedef struct writer {
    char *text;
    size_t used;
    int lines;
} writer;

/* One line, cut to the width by characters (UTF-8), not bytes. */
static void line(writer *w, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void line(writer *w, const char *format, ...)
{
    char text[1024];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    size_t end = 0, length = strlen(text);
    for (int columns = 0; columns < RG_SCREEN_WIDTH && end < length; columns++) {
        size_t n = rg_utf8_length(text + end, length - end);
        if (n == 0 || (unsigned char)text[end] < ' ')
            text[end] = '?';
        end += n ? n : 1;
    }
    text[end] = '\0';
    int n = snprintf(w->text + w->used, RG_SCREEN_TEXT - w->used, "%s\n", text);
    w->used += n > 0 && w->used + (size_t)n < RG_SCREEN_TEXT ? (size_t)n : 0;
    w->lines++;
}

/* A text over so many lines, broken at blanks; what does not fit ends in "...". */
static void wrapped(writer *w, const char *head, const char *text, int lines)
{
    enum { HEAD = 9, ROOM = RG_SCREEN_WIDTH - HEAD };
    for (int i = 0; i < lines; i++) {
        size_t length = strlen(text), cut = length;
        bool last = i == lines - 1, long_one = length > ROOM;
        if (long_one)
            for (cut = last ? ROOM - 3 : ROOM; cut > 0 && text[cut] != ' ';)
                cut--;
        if (long_one && cut == 0)
            cut = ROOM - 3;
        line(w, "%-*s%.*s%s", HEAD, i ? "" : head, (int)cut, text, last && long_one ? "..." : "");
        text += cut + (text[cut] == ' ');
    }
}

static void level_row(writer *w, const rg_screen *s, int level)
{
    char cell[RG_COVER_SECTORS + 1] = "";
    const rg_live_state *state = s->state;
    int here =
        state->posed ? (int)(rg_wrap_degrees(state->bearing_deg) / 10) % RG_COVER_SECTORS : -1;
    for (int i = 0; i < RG_COVER_SECTORS; i++)
        cell[i] = state->coverage.visited[i][level] ? '#' : '.';
    double to[RG_COVER_LEVELS];
    int nearest = 0;
    for (int l = 0; l < RG_COVER_LEVELS; l++) {
        to[l] = fabs(state->elevation_deg - s->level_deg[l]);
        nearest = to[l] < to[nearest] ? l : nearest;
    }
    if (here >= 0 && level == nearest)
        cell[here] = '@';
    line(w, "  %+5.1f  |%s|", s->level_deg[level], cell);
}

static void seen_row(writer *w, const rg_screen *s)
{
    char cell[RG_COVER_SECTORS + 1] = "";
    for (int i = 0; i < RG_COVER_SECTORS; i++) {
        bool gap = false;
        for (int b = 10 * i; b < 10 * i + 10; b++)
            gap = gap || s->map->bin[b].state == RG_BIN_GAP;
        cell[i] = gap ? 'X' : s->state->coverage.seen[i] ? '=' : '.';
    }
    line(w, "   rim   |%s|", cell);
}

static void picture(writer *w, const rg_screen *s)
{
    line(w, " height   key arm                              looked at from there: #");
    for (int l = RG_COVER_LEVELS - 1; l >= 0; l--)
        level_row(w, s, l);
    seen_row(w, s);
    line(w, " bearing  0        90       180      270        camera @  seen =  gap X");
}

static const char *guide_word(rg_guide guide)
{
    static const char *const word[] = {[RG_GUIDE_LOST] = "camera",
                                       [RG_GUIDE_LEVEL] = "camera",
                                       [RG_GUIDE_TOO_HIGH] = "LOWER",
                                       [RG_GUIDE_TOO_LOW] = "HIGHER"};
    return word[guide];
}

static void widest_line(writer *w, const rg_live_state *s)
{
    if (s->widest_mm > 0)
        line(w, "widest   %.3f +- %.3f mm (expanded uncertainty) at bearing %.0f", s->widest_mm,
             s->U_widest_mm, s->widest_deg);
    else
        line(w, "widest   no gap measured");
}

static void count_line(writer *w, const rg_live_state *s)
{
    line(w, "frames   %d came, %d kept (%d closed, %d witness), %d left out, %d skipped",
         s->offered, s->kept, s->closed, s->witnesses, s->left_out, s->skipped);
}

void rg_screen_text(const rg_screen *s, char text[RG_SCREEN_TEXT])
{
    const rg_live_state *state = s->state;
    writer w = {.text = text};
    line(&w, "%s  pad %s   %s %s   %d of 360 bearings seen", s->serial, s->pad,
         rg_verdict_sign(state->verdict), rg_verdict_name(state->verdict),
         state->coverage.seen_bearings);
    picture(&w, s);
    line(&w, "now      %s", s->now);
    wrapped(&w, guide_word(state->guide), state->guide_text, 2);
    wrapped(&w, "missing",
            state->coverage.missing[0] ? state->coverage.missing : "nothing; every bearing seen",
            3);
    widest_line(&w, state);
    count_line(&w, state);
    line(&w, "source   %llu given, %llu bad, %llu missed; away %llu times",
         (unsigned long long)s->source.given, (unsigned long long)s->source.bad,
         (unsigned long long)s->source.missed, (unsigned long long)s->source.away);
    wrapped(&w, "left out", state->last_reason[0] ? state->last_reason : "-", 2);
    wrapped(&w, s->note[0] ? "note" : "", s->note, 2);
    line(&w, "%s", s->keys);
    while (w.lines < RG_SCREEN_LINES)
        line(&w, "%s", "");
}

void rg_screen_line(const rg_live_state *s, char *text, size_t size)
{
    snprintf(text, size, "%d kept, %d of 360 bearings seen, %s%s%s", s->kept,
             s->coverage.seen_bearings, rg_verdict_name(s->verdict),
             s->coverage.missing[0] ? "; missing: " : "", s->coverage.missing);
}
