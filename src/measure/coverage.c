/*
 * coverage.c - what of the rim has been looked at, in words that a person with a camera in one hand can
 * follow.
 *
 * A level is an elevation at which the rocking curve of a bearing should have a point (rocking.h). mm
 * are heights of the camera's centre above the rim plane: distance times the sine of the elevation.
 */
#include "rimglow/coverage.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "rimglow/text.h"

enum { SECTOR_DEG = 360 / RG_COVER_SECTORS };

/* Where the levels lie from which a sector has not been looked at. */
enum { BELOW = 1, AT = 2, ABOVE = 4, EVERYWHERE = BELOW | AT | ABOVE, NOWHERE = 8 };

static int level_of(const rg_coverage_options *o, double elevation_deg)
{
    for (int l = 0; l < RG_COVER_LEVELS; l++)
        if (fabs(elevation_deg - o->level_deg[l]) <= o->near_deg)
            return l;
    return -1;
}

static void visit(const rg_frame *f, const rg_coverage_options *o, rg_coverage *c)
{
    for (int l = 0; l < RG_COVER_LEVELS; l++)
        for (int s = 0; s < RG_COVER_SECTORS; s++) {
            double centre = SECTOR_DEG * (s + 0.5);
            bool level = fabs(f->elevation_deg - o->level_deg[l]) <= o->near_deg;
            bool near = fabs(rg_angle_between(centre, f->bearing_deg)) <= o->view_deg;
            c->visited[s][l] = c->visited[s][l] || (level && near);
        }
}

static void look_at_map(const rg_seal_map *map, rg_coverage *c)
{
    for (int b = 0; b < RG_BINS; b++)
        c->seen_bearings += map->bin[b].state != RG_BIN_UNSEEN;
    for (int s = 0; s < RG_COVER_SECTORS; s++) {
        c->seen[s] = true;
        for (int b = SECTOR_DEG * s; b < SECTOR_DEG * (s + 1); b++)
            c->seen[s] = c->seen[s] && map->bin[b].state != RG_BIN_UNSEEN;
    }
}

/* Of a sector that is not seen yet; 0 where nothing is missing. */
static int wanted(const rg_coverage *c, const rg_coverage_options *o, int s, bool measured)
{
    int where = 0;
    bool any = false;
    for (int l = 0; l < RG_COVER_LEVELS; l++) {
        double e = o->level_deg[l];
        any = any || c->visited[s][l];
        if (!c->visited[s][l])
            where |= fabs(e) <= o->near_deg ? AT : e < 0 ? BELOW : ABOVE;
    }
    if (measured ? c->seen[s] : any)
        return 0;
    return where ? where : NOWHERE;
}

static void append(char *text, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void append(char *text, const char *format, ...)
{
    size_t used = strlen(text);
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text + used, RG_COVER_TEXT - used, format, arguments);
    va_end(arguments);
}

static const char *from_where(int where)
{
    static const char *const words[] = {[BELOW] = "from below the rim",
                                        [AT] = "level with the rim",
                                        [BELOW | AT] = "from below the rim up to level with it",
                                        [ABOVE] = "from above the rim",
                                        [BELOW | ABOVE] = "from below and from above the rim",
                                        [AT | ABOVE] = "level with the rim and from above",
                                        [EVERYWHERE] = "from every height",
                                        [NOWHERE] = "once more, from straight in front"};
    return words[where];
}

/* The first sector of a run that wants the same; 0 when all want the same. */
static int run_start(const int where[RG_COVER_SECTORS])
{
    for (int s = 0; s < RG_COVER_SECTORS; s++)
        if (where[s] != where[(s + RG_COVER_SECTORS - 1) % RG_COVER_SECTORS])
            return s;
    return 0;
}

static void name_run(char *text, int first, int length, int where)
{
    const char *before = text[0] ? "; " : "";
    if (length == RG_COVER_SECTORS)
        append(text, "%sall bearings, %s", before, from_where(where));
    else
        append(text, "%sbearings %d..%d, %s", before, SECTOR_DEG * first,
               SECTOR_DEG * ((first + length) % RG_COVER_SECTORS), from_where(where));
}

static void name_missing(const rg_coverage_options *o, bool measured, rg_coverage *c)
{
    enum { NAMED = 3 };
    int where[RG_COVER_SECTORS], runs = 0;
    for (int s = 0; s < RG_COVER_SECTORS; s++)
        where[s] = wanted(c, o, s, measured);
    if (!c->witness)
        append(c->missing, "a witness: the pad cracked open, lamp on");
    int first = run_start(where);
    for (int done = 0; done < RG_COVER_SECTORS;) {
        int s = (first + done) % RG_COVER_SECTORS, length = 1;
        while (done + length < RG_COVER_SECTORS &&
               where[(s + length) % RG_COVER_SECTORS] == where[s])
            length++;
        if (where[s] && runs++ < NAMED)
            name_run(c->missing, s, length, where[s]);
        done += length;
    }
    if (runs > NAMED)
        append(c->missing, "; and %d more", runs - NAMED);
}

void rg_coverage_find(const rg_frame *frames, int count, const rg_seal_map *map,
                      const rg_coverage_options *options, rg_coverage *coverage)
{
    *coverage = (rg_coverage){0};
    for (int i = 0; i < count; i++) {
        const rg_frame *f = &frames[i];
        if (f->used && f->role == RG_FRAME_CLOSED)
            visit(f, options, coverage);
        coverage->witness = coverage->witness || (f->used && f->role == RG_FRAME_WITNESS);
    }
    if (map)
        look_at_map(map, coverage);
    name_missing(options, map != NULL, coverage);
}

/* ---------------------------------------------------------------- guiding */

static double height_mm(const rg_frame *f, double elevation_deg)
{
    return f->distance_mm * sin(rg_radians(elevation_deg));
}

static int sector_of(double bearing_deg)
{
    return (int)(rg_wrap_degrees(bearing_deg) / SECTOR_DEG) % RG_COVER_SECTORS;
}

/* The unvisited level of this sector that is nearest to the camera; -1: none. */
static int next_level(const rg_frame *f, const rg_coverage *c, const rg_coverage_options *o)
{
    int best = -1, s = sector_of(f->bearing_deg);
    for (int l = 0; l < RG_COVER_LEVELS; l++)
        if (!c->visited[s][l] && (best < 0 || fabs(o->level_deg[l] - f->elevation_deg) <
                                                  fabs(o->level_deg[best] - f->elevation_deg)))
            best = l;
    return best;
}

static bool all_visited(const rg_coverage *c, int s)
{
    for (int l = 0; l < RG_COVER_LEVELS; l++)
        if (!c->visited[s][l])
            return false;
    return true;
}

/* Degrees to the middle of the nearest sector that is not done, clockwise positive; NAN: none. Done: seen
 * in the map or, before there is one, visited at every level. */
static double next_sector(const rg_frame *f, const rg_coverage *c)
{
    double best = NAN;
    for (int s = 0; s < RG_COVER_SECTORS; s++) {
        bool done = c->seen_bearings > 0 ? c->seen[s] : all_visited(c, s);
        double way = rg_angle_between(SECTOR_DEG * (s + 0.5), f->bearing_deg);
        if (!done && !(fabs(way) >= fabs(best)))
            best = way;
    }
    return best;
}

static void say_next(const rg_frame *f, const rg_coverage *c, const rg_coverage_options *o,
                     char *text)
{
    int level = next_level(f, c, o);
    double way = next_sector(f, c);
    if (level >= 0 && !c->seen[sector_of(f->bearing_deg)]) {
        double mm = height_mm(f, o->level_deg[level]) - height_mm(f, f->elevation_deg);
        if (level_of(o, f->elevation_deg) == level)
            append(text, "hold this height");
        else
            append(text, "good; now %.1f mm %s", fabs(mm), mm > 0 ? "higher" : "lower");
    } else if (fabs(way) <= SECTOR_DEG / 2.0)
        append(text, "good; stay here and rock slowly through the rim plane");
    else if (isfinite(way))
        append(text, "good; go on %s by %.0f degrees to bearing %.0f",
               way > 0 ? "clockwise" : "anticlockwise", fabs(way),
               rg_wrap_degrees(f->bearing_deg + way));
    else
        append(text, "good; every bearing is done");
}

rg_guide rg_coverage_guide(const rg_frame *frame, const rg_coverage *coverage,
                           const rg_coverage_options *options, char *text)
{
    double top = options->level_deg[RG_COVER_LEVELS - 1], bottom = options->level_deg[0];
    text[0] = '\0';
    if (!rg_frame_posed(frame)) {
        append(text, "%s", frame->reason[0] ? frame->reason : "no crown in view");
        return RG_GUIDE_LOST;
    }
    /* A cracked pad's plane says nothing of the camera's height above the rim. */
    if (frame->role == RG_FRAME_WITNESS) {
        append(text, "%s", frame->used ? "good; this frame proves the lamp" : frame->reason);
        return RG_GUIDE_LEVEL;
    }
    rg_guide guide = frame->elevation_deg > top + options->near_deg      ? RG_GUIDE_TOO_HIGH
                     : frame->elevation_deg < bottom - options->near_deg ? RG_GUIDE_TOO_LOW
                                                                         : RG_GUIDE_LEVEL;
    double edge = guide == RG_GUIDE_TOO_HIGH ? top : bottom;
    if (guide != RG_GUIDE_LEVEL)
        append(text, "camera %.1f mm too %s",
               fabs(height_mm(frame, frame->elevation_deg) - height_mm(frame, edge)),
               guide == RG_GUIDE_TOO_HIGH ? "high" : "low");
    else if (!frame->used)
        append(text, "%s", frame->reason);
    else
        say_next(frame, coverage, options, text);
    return guide;
}
