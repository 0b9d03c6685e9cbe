/*
 * batch.c - sums over many sweeps.
 *
 * Names become ranks (hash table, then one sort of the different names), the sweeps are put in order of
 * time once, and every grouping after that is a stable counting sort by rank (Knuth, The Art of
 * Computer Programming 3, 5.2, algorithm D): groups lie together, oldest first.
 */
#include "rimglow/batch.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_fit.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/detection.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

static const double month_s = 30.0 * 86400;

/* ----------------------------------------------------------------- shares */

rg_share rg_share_of(int count, int of, double confidence)
{
    rg_share s = {of, count, NAN, NAN, NAN};
    if (of <= 0)
        return s;
    s.share = (double)count / of;
    s.low = rg_binomial_lower(count, of, (1 + confidence) / 2);
    s.high = rg_binomial_upper(count, of, (1 + confidence) / 2);
    return s;
}

/* ------------------------------------------------------------------ ranks */

/* The different names of one column in bytewise order, and each sweep's place among them. */
typedef struct column {
    int *rank; /* [sweeps] */
    const char **name;
    int names;
} column;

typedef const char *column_of(const rg_batch_sweep *s);

static const char *text_of(const char *text)
{
    return text ? text : "";
}

static const char *serial_of(const rg_batch_sweep *s)
{
    return text_of(s->serial);
}

static const char *model_of(const rg_batch_sweep *s)
{
    return text_of(s->model);
}

static const char *pad_of(const rg_batch_sweep *s)
{
    return text_of(s->pad);
}

static const char *station_of(const rg_batch_sweep *s)
{
    return text_of(s->station);
}

static const char *bag_of(const rg_batch_sweep *s)
{
    return text_of(s->bag);
}

typedef struct numbered {
    const char *name;
    int number;
} numbered;

static int by_name(const void *a, const void *b)
{
    return strcmp(((const numbered *)a)->name, ((const numbered *)b)->name);
}

/* Numbers names as they come; slot: [size], a power of two, -1 where empty. */
static int number_of(const char *name, int *slot, size_t size, numbered *known, int *names)
{
    size_t i = rg_text_hash(name) & (size - 1);
    while (slot[i] >= 0 && strcmp(known[slot[i]].name, name) != 0)
        i = (i + 1) & (size - 1);
    if (slot[i] < 0) {
        slot[i] = *names;
        known[*names] = (numbered){name, *names};
        ++*names;
    }
    return slot[i];
}

/* From numbers as they came to places in the order of names. */
static void rank_names(numbered *known, int *place, column *c, int count)
{
    qsort(known, (size_t)c->names, sizeof *known, by_name);
    for (int i = 0; i < c->names; i++) {
        place[known[i].number] = i;
        c->name[i] = known[i].name;
    }
    for (int i = 0; i < count; i++)
        c->rank[i] = place[c->rank[i]];
}

static bool make_column(const rg_batch_sweep *sweeps, int count, column_of *text, column *c)
{
    size_t size = 16, n = (size_t)count;
    while (size < 2 * n)
        size *= 2;
    int *slot = rg_alloc(size, sizeof *slot), *place = rg_alloc(n, sizeof *place);
    numbered *known = rg_alloc(n, sizeof *known);
    c->rank = rg_alloc(n, sizeof *c->rank);
    c->name = rg_alloc(n, sizeof *c->name);
    bool ready = slot && place && known && c->rank && c->name;
    if (ready) {
        memset(slot, 0xFF, size * sizeof *slot);
        for (int i = 0; i < count; i++)
            c->rank[i] = number_of(text(&sweeps[i]), slot, size, known, &c->names);
        rank_names(known, place, c, count);
    }
    free(slot);
    free(place);
    free(known);
    return ready;
}

/* ------------------------------------------------------------------ order */

typedef struct work {
    const rg_batch_sweep *sweeps;
    int count;
    column serial, model, pad, station, bag;
    int *oldest_first; /* places of the sweeps by time, then by place */
    int *order;        /* the same grouped */
    int *spare;        /* [count] for the counting sort */
    int *start;        /* [count + 1] its counts */
    int *by_day;       /* by station, oldest first */
    double *x, *y;     /* [count] of a line's points */
    int *point;        /* [count] the points' sweeps */
    double *residual;  /* [count] of each sweep from the line */
} work;

typedef struct stamp {
    int64_t time;
    int place;
} stamp;

static int by_time(const void *a, const void *b)
{
    const stamp *x = a, *y = b;
    if (x->time != y->time)
        return x->time < y->time ? -1 : 1;
    return x->place < y->place ? -1 : x->place > y->place;
}

static bool order_by_time(work *w)
{
    stamp *s = rg_alloc((size_t)w->count, sizeof *s);
    if (!s)
        return false;
    for (int i = 0; i < w->count; i++)
        s[i] = (stamp){w->sweeps[i].time, i};
    qsort(s, (size_t)w->count, sizeof *s, by_time);
    for (int i = 0; i < w->count; i++)
        w->oldest_first[i] = s[i].place;
    free(s);
    return true;
}

/* Stable counting sort of the order by one column. */
static void group_by(work *w, const column *c)
{
    memset(w->start, 0, ((size_t)c->names + 1) * sizeof *w->start);
    for (int i = 0; i < w->count; i++)
        w->start[c->rank[i] + 1]++;
    for (int r = 0; r < c->names; r++)
        w->start[r + 1] += w->start[r];
    for (int i = 0; i < w->count; i++)
        w->spare[w->start[c->rank[w->order[i]]]++] = w->order[i];
    memcpy(w->order, w->spare, (size_t)w->count * sizeof *w->order);
}

/* Grouped by up to three columns, the last one the coarsest; oldest first within. */
static void order_by(work *w, const column *fine, const column *middle, const column *coarse)
{
    memcpy(w->order, w->oldest_first, (size_t)w->count * sizeof *w->order);
    group_by(w, fine);
    if (middle)
        group_by(w, middle);
    if (coarse)
        group_by(w, coarse);
}

/* End of the group that begins at `from` of the order. */
static int end_of(const work *w, int from, const column *a, const column *b, const column *c)
{
    int first = w->order[from], to = from + 1;
    for (; to < w->count; to++) {
        int i = w->order[to];
        if (a->rank[i] != a->rank[first] || (b && b->rank[i] != b->rank[first]) ||
            (c && c->rank[i] != c->rank[first]))
            break;
    }
    return to;
}

static void free_column(column *c)
{
    free(c->rank);
    free(c->name);
}

static void free_work(work *w)
{
    free_column(&w->serial);
    free_column(&w->model);
    free_column(&w->pad);
    free_column(&w->station);
    free_column(&w->bag);
    free(w->oldest_first);
    free(w->order);
    free(w->spare);
    free(w->start);
    free(w->by_day);
    free(w->x);
    free(w->y);
    free(w->point);
    free(w->residual);
}

static bool make_work(const rg_batch_sweep *sweeps, int count, work *w)
{
    size_t n = (size_t)count;
    *w = (work){.sweeps = sweeps, .count = count};
    w->oldest_first = rg_alloc(n, sizeof(int));
    w->order = rg_alloc(n, sizeof(int));
    w->spare = rg_alloc(n, sizeof(int));
    w->start = rg_alloc(n + 1, sizeof(int));
    w->by_day = rg_alloc(n, sizeof(int));
    w->x = rg_alloc(n, sizeof(double));
    w->y = rg_alloc(n, sizeof(double));
    w->point = rg_alloc(n, sizeof(int));
    w->residual = rg_alloc(n, sizeof(double));
    return w->oldest_first && w->order && w->spare && w->start && w->by_day && w->x && w->y &&
           w->point && w->residual && order_by_time(w) &&
           make_column(sweeps, count, serial_of, &w->serial) &&
           make_column(sweeps, count, model_of, &w->model) &&
           make_column(sweeps, count, pad_of, &w->pad) &&
           make_column(sweeps, count, station_of, &w->station) &&
           make_column(sweeps, count, bag_of, &w->bag);
}

/* ------------------------------------------------------------------- pads */

static void sum_pad(const work *w, int from, int to, double confidence, rg_batch_pad *pad)
{
    int first = w->order[from];
    *pad = (rg_batch_pad){.model = w->model.name[w->model.rank[first]],
                          .pad = w->pad.name[w->pad.rank[first]],
                          .position = -1,
                          .sweeps = to - from};
    for (int k = from; k < to; k++) {
        const rg_batch_sweep *s = &w->sweeps[w->order[k]];
        pad->leaking += s->verdict == RG_VERDICT_LEAKING;
        pad->undecided += s->verdict == RG_VERDICT_UNDECIDED;
        if (s->position >= 0 && (pad->position < 0 || s->position < pad->position))
            pad->position = s->position;
    }
    pad->failing = rg_share_of(pad->leaking, pad->sweeps, confidence);
}

/* Most leaking first, then as the pads lie on the body, those of unknown place last. */
static int by_leaking(const void *a, const void *b)
{
    const rg_batch_pad *x = a, *y = b;
    if (x->leaking != y->leaking)
        return x->leaking > y->leaking ? -1 : 1;
    if (x->position != y->position)
        return (unsigned)x->position < (unsigned)y->position ? -1 : 1; /* -1 is the largest */
    return strcmp(x->pad, y->pad);
}

static void rank_pads(rg_batch_pad *pad, int pads)
{
    double all = 0, sum = 0;
    qsort(pad, (size_t)pads, sizeof *pad, by_leaking);
    for (int i = 0; i < pads; i++)
        all += pad[i].leaking;
    for (int i = 0; i < pads; i++) {
        sum += pad[i].leaking;
        pad[i].cumulative = all > 0 ? sum / all : NAN;
    }
}

static bool sum_pads(work *w, rg_batch *batch)
{
    order_by(w, &w->pad, &w->model, NULL);
    for (int k = 0; k < w->count; k = end_of(w, k, &w->model, &w->pad, NULL))
        batch->pads++;
    batch->pad = rg_alloc((size_t)batch->pads, sizeof *batch->pad);
    if (!batch->pad)
        return false;
    int n = 0;
    for (int k = 0, to; k < w->count; k = to) {
        to = end_of(w, k, &w->model, &w->pad, NULL);
        sum_pad(w, k, to, batch->confidence, &batch->pad[n++]);
    }
    for (int from = 0, to; from < batch->pads; from = to) {
        for (to = from; to < batch->pads && batch->pad[to].model == batch->pad[from].model;)
            to++;
        rank_pads(batch->pad + from, to - from);
    }
    return true;
}

/* ----------------------------------------------------------------- models */

/* The first sweep of each pad of one instrument; the order is by model, serial and pad. */
static void first_sweeps(const work *w, int from, int to, int *sealed, int *pads)
{
    for (int k = from; k < to; k++) {
        if (k > from && w->pad.rank[w->order[k]] == w->pad.rank[w->order[k - 1]])
            continue;
        ++*pads;
        *sealed += w->sweeps[w->order[k]].verdict == RG_VERDICT_SEALED;
    }
}

static void sum_first_sweeps(work *w, rg_batch *batch)
{
    order_by(w, &w->pad, &w->serial, &w->model);
    int from = 0;
    for (int m = 0; m < batch->models; m++) {
        int sealed = 0, pads = 0;
        while (from < w->count && w->model.rank[w->order[from]] == m) {
            int to = end_of(w, from, &w->model, &w->serial, NULL);
            first_sweeps(w, from, to, &sealed, &pads);
            from = to;
        }
        batch->model[m].pads = rg_share_of(sealed, pads, batch->confidence);
    }
}

/* Oldest first within an instrument: its first bag is the first sweep's. */
static bool passed_at_once(const work *w, int from, int to)
{
    int bag = w->bag.rank[w->order[from]];
    for (int k = from; k < to; k++)
        if (w->bag.rank[w->order[k]] == bag && w->sweeps[w->order[k]].verdict != RG_VERDICT_SEALED)
            return false;
    return true;
}

static void sum_instruments(work *w, rg_batch *batch)
{
    order_by(w, &w->serial, &w->model, NULL);
    int from = 0;
    for (int m = 0; m < batch->models; m++) {
        rg_batch_model *model = &batch->model[m];
        int passed = 0;
        model->model = w->model.name[m];
        while (from < w->count && w->model.rank[w->order[from]] == m) {
            int to = end_of(w, from, &w->model, &w->serial, NULL);
            passed += passed_at_once(w, from, to);
            model->serials++;
            from = to;
        }
        model->instruments = rg_share_of(passed, model->serials, batch->confidence);
    }
}

static bool sum_models(work *w, rg_batch *batch)
{
    batch->models = w->model.names;
    batch->model = rg_alloc((size_t)batch->models, sizeof *batch->model);
    if (!batch->model)
        return false;
    sum_instruments(w, batch);
    sum_first_sweeps(w, batch);
    return true;
}

static void count_inspections(work *w, rg_batch *batch)
{
    batch->serials = w->serial.names;
    order_by(w, &w->bag, &w->serial, NULL);
    for (int k = 0; k < w->count; k = end_of(w, k, &w->serial, &w->bag, NULL))
        batch->inspections++;
}

/* --------------------------------------------------------------- stations */

/* As doubles before the difference: any two times will do. */
static double months_between(int64_t from, int64_t to)
{
    return ((double)to - (double)from) / month_s;
}

static double day_of(const work *w, int sweep)
{
    return floor((double)w->sweeps[sweep].time / 86400);
}

/* Mean square of the residuals between the days, and the number of days. */
static double between_days(const work *w, int from, int to, int *days)
{
    double squares = 0, sum = 0, n = 0;
    *days = 0;
    for (int k = from; k < to; k++) {
        int i = w->by_day[k];
        if (!isnan(w->residual[i])) {
            sum += w->residual[i];
            n++;
        }
        bool last = k + 1 == to || day_of(w, w->by_day[k + 1]) != day_of(w, i);
        if (!last || n == 0)
            continue;
        squares += sum * sum / n;
        ++*days;
        sum = n = 0;
    }
    return *days > 2 ? squares / (*days - 2) : NAN;
}

static void keep_residuals(work *w, int from, int to, int n, double slope)
{
    for (int k = from; k < to; k++)
        w->residual[w->by_day[k]] = NAN;
    for (int i = 0; i < n; i++)
        w->residual[w->point[i]] = w->y[i] - slope * w->x[i];
}

/* Slope of the n points in x and y, from which their means were taken out in `groups` groups; from..to
 * is their station. The larger of both mean squares, among all and between days, is the error. */
static void fit_slope(work *w, int from, int to, int n, int groups, double confidence,
                      rg_trend *trend)
{
    double zero, c00, c01, c11, sumsq, low = INFINITY, high = -INFINITY;
    int days, freedom = n - groups - 1;
    *trend = (rg_trend){n, NAN, NAN, NAN, NAN, NAN};
    for (int i = 0; i < n; i++) {
        low = fmin(low, w->x[i]);
        high = fmax(high, w->x[i]);
    }
    if (n < 3 || freedom < 1 || !(high > low) ||
        gsl_fit_linear(w->x, 1, w->y, 1, (size_t)n, &zero, &trend->per_month, &c00, &c01, &c11,
                       &sumsq))
        return;
    keep_residuals(w, from, to, n, trend->per_month);
    double all = sumsq / freedom, between = between_days(w, from, to, &days);
    if (isnan(between)) {
        trend->per_month = NAN;
        return;
    }
    if (between > all)
        freedom = days - 2;
    /* GSL took sumsq / (n - 2). */
    double u = sumsq > 0 ? sqrt(c11 * fmax(all, between) * (n - 2) / sumsq) : 0;
    double t = gsl_cdf_tdist_Pinv((1 + confidence) / 2, freedom);
    trend->low = trend->per_month - t * u;
    trend->high = trend->per_month + t * u;
}

/* The sweeps of one model's pad at one station, and their means. */
typedef struct level {
    int n; /* known values */
    double x, y;
} level;

static bool is_known(double value)
{
    return value > 0 && isfinite(value);
}

/* Takes the means of n times and values out of both. The first value goes first, so that equal
 * ones leave exact zeros. */
static level centre(double *x, double *y, int n)
{
    double sx = 0, sy = 0, x0 = n ? x[0] : 0, y0 = n ? y[0] : 0;
    for (int i = 0; i < n; i++) {
        sx += x[i] - x0;
        sy += y[i] - y0;
    }
    for (int i = 0; i < n; i++) {
        x[i] = x[i] - x0 - sx / n;
        y[i] = y[i] - y0 - sy / n;
    }
    return (level){n, n ? x0 + sx / n : 0, n ? y0 + sy / n : 0};
}

/* The order's from..to as points from `at` on, less their means. */
static level take_pad(work *w, int from, int to, int64_t begin, int at)
{
    double *x = w->x + at, *y = w->y + at;
    int n = 0;
    for (int k = from; k < to; k++) {
        const rg_batch_sweep *s = &w->sweeps[w->order[k]];
        if (!is_known(s->radiance))
            continue;
        w->point[at + n] = w->order[k];
        x[n] = months_between(begin, s->time);
        y[n++] = log(s->radiance);
    }
    return centre(x, y, n);
}

/* Each value less its pad's level, where the pad's is its mean, moved along the line to x = middle. */
static void radiance_points(work *w, int from, int to, int64_t begin, double slope, double middle,
                            double *point)
{
    for (int k = from, end; k < to; k = end) {
        end = end_of(w, k, &w->station, &w->model, &w->pad);
        level pad = take_pad(w, k, end, begin, 0);
        for (int i = 0; i < pad.n && pad.n > 1; i++)
            point[w->point[i]] = w->y[i] + slope * (pad.x - middle);
    }
}

/* from..to of the order is one station, by model and pad. */
static void radiance_trend(work *w, int from, int to, rg_batch *batch, rg_batch_station *station)
{
    double sum = 0;
    int points = 0, pads = 0;
    for (int k = from, end; k < to; k = end) {
        end = end_of(w, k, &w->station, &w->model, &w->pad);
        level pad = take_pad(w, k, end, station->begin, points);
        if (pad.n < 2)
            continue;
        sum += pad.n * pad.x;
        points += pad.n;
        pads++;
    }
    rg_trend *t = &station->ln_radiance;
    double middle = points ? sum / points : 0;
    fit_slope(w, from, to, points, pads, batch->confidence, t);
    t->at_begin = -t->per_month * middle;
    t->at_end = t->per_month * (months_between(station->begin, station->end) - middle);
    station->radiance_drifts = t->low > 0 || t->high < 0;
    double slope = isnan(t->per_month) ? 0 : t->per_month;
    radiance_points(w, from, to, station->begin, slope, middle, batch->ln_radiance);
}

static void blur_trend(work *w, int from, int to, double confidence, rg_batch_station *station)
{
    int n = 0;
    for (int k = from; k < to; k++) {
        const rg_batch_sweep *s = &w->sweeps[w->order[k]];
        if (!isfinite(s->psf_sigma_px))
            continue;
        w->point[n] = w->order[k];
        w->x[n] = months_between(station->begin, s->time);
        w->y[n++] = s->psf_sigma_px;
    }
    level all = centre(w->x, w->y, n);
    rg_trend *t = &station->psf;
    fit_slope(w, from, to, n, 1, confidence, t);
    t->at_begin = all.y - t->per_month * all.x;
    t->at_end = t->at_begin + t->per_month * months_between(station->begin, station->end);
    station->psf_drifts = t->low > 0 || t->high < 0;
}

static void sum_station(work *w, int from, int to, rg_batch *batch, rg_batch_station *station)
{
    int64_t begin = w->sweeps[w->order[from]].time, end = begin;
    for (int k = from; k < to; k++) {
        int64_t time = w->sweeps[w->order[k]].time;
        begin = time < begin ? time : begin;
        end = time > end ? time : end;
    }
    *station = (rg_batch_station){.station = w->station.name[w->station.rank[w->order[from]]],
                                  .sweeps = to - from,
                                  .begin = begin,
                                  .end = end};
    radiance_trend(w, from, to, batch, station);
    blur_trend(w, from, to, batch->confidence, station);
}

static bool sum_stations(work *w, rg_batch *batch)
{
    size_t n = (size_t)w->count;
    batch->ln_radiance = rg_alloc(n, sizeof *batch->ln_radiance);
    batch->station = rg_alloc((size_t)w->station.names, sizeof *batch->station);
    if (!batch->ln_radiance || !batch->station)
        return false;
    for (size_t i = 0; i < n; i++)
        batch->ln_radiance[i] = NAN;
    order_by(w, &w->station, NULL, NULL);
    memcpy(w->by_day, w->order, n * sizeof *w->by_day);
    order_by(w, &w->pad, &w->model, &w->station); /* the same places for each station */
    for (int k = 0, to; k < w->count; k = to) {
        to = end_of(w, k, &w->station, NULL, NULL);
        sum_station(w, k, to, batch, &batch->station[batch->stations++]);
    }
    return true;
}

/* ------------------------------------------------------------------ entry */

rg_code rg_batch_sum(const rg_batch_sweep *sweeps, int count, double confidence, rg_batch *batch,
                     rg_error *err)
{
    work w;
    *batch = (rg_batch){.confidence = confidence};
    if (!(confidence >= 0.5 && confidence <= 0.9999))
        return rg_fail(err, RG_BAD_DATA,
                       "batch: confidence %g; give a probability from 0.5 to 0.9999", confidence);
    if (count < 0)
        return rg_fail(err, RG_INTERNAL, "batch: %d sweeps", count);
    gsl_set_error_handler_off(); /* GSL would abort the process */
    batch->sweeps = count;
    bool done = make_work(sweeps, count, &w) && sum_pads(&w, batch) && sum_models(&w, batch) &&
                sum_stations(&w, batch);
    if (done)
        count_inspections(&w, batch);
    free_work(&w);
    if (done)
        return RG_OK;
    rg_batch_free(batch);
    return rg_fail(err, RG_INTERNAL, "no memory for a batch of %d sweeps", count);
}

void rg_batch_free(rg_batch *batch)
{
    free(batch->pad);
    free(batch->model);
    free(batch->station);
    free(batch->ln_radiance);
    *batch = (rg_batch){0};
}
