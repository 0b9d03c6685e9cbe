/*
 * bench.c - a session at the bench: one thread that owns camera and engine, and hears wishes.
 */
#include "rimglow/bench.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "bench_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

/* How long the session listens to nothing but the camera, how long a replay waits for the engine, how
 * often a camera that is not there is looked for. */
enum { STEP_MS = 40, ENGINE_MS = 2000, CAMERA_SECONDS = 2 };

#define BUSY     "the instrument is being archived; wait until that is done"
#define BOUNDARY "rimglow-next-picture"
const char rg_bench_picture_type[] = "multipart/x-mixed-replace; boundary=" BOUNDARY;

static rg_bench_pad *pad_of(rg_bench *b)
{
    return &b->pads[b->at];
}

static void say(rg_bench *b, const char *text)
{
    rg_copy_text(b->message, sizeof b->message, text);
    b->changed = true;
}

/* ---------------------------------------------------------------- sweep */

typedef struct beginning {
    const rg_live_job *job;
    rg_live *live;
} beginning;

static rg_code begin_live(void *cls, rg_error *err)
{
    beginning *begin = cls;
    return rg_live_begin(begin->job, &begin->live, err);
}

static rg_bench_press press_of(const rg_bench *b)
{
    return (rg_bench_press){b->finger, b->grams, b->key};
}

static rg_code begin_named(rg_bench *b, const char *name, rg_error *err)
{
    rg_taken taken;
    rg_source_taken(b->source, &taken);
    const rg_live_job job = {.out = b->options.out,
                             .serial = b->options.serial,
                             .pad = pad_of(b)->pad->name,
                             .name = name,
                             .instrument_file = b->options.instrument_file,
                             .station_file = b->options.station_file,
                             .finger = b->finger,
                             .finger_grams = b->grams,
                             .key = b->key,
                             .workers = b->options.workers,
                             .settings_file = b->options.settings_file,
                             .taken = &taken};
    beginning begin = {.job = &job};
    rg_code code = rg_bench_aside(b, begin_live, &begin, err);
    b->live = begin.live;
    return code;
}

static rg_code begin_sweep(rg_bench *b, rg_error *err)
{
    char name[RG_NAME_SIZE];
    rg_code code = RG_OK;
    const rg_bench_press press = press_of(b);
    if (b->live)
        return RG_OK;
    if (!rg_bench_has_room(pad_of(b), &press))
        return rg_fail(err, RG_USAGE,
                       "this pad has sweeps by %d fingers and keys already; choose one of them",
                       RG_BENCH_RESULTS);
    /* A cut-off run of another bench, which may not be set aside, keeps its name. */
    for (int more = 0; more < 100; more++) {
        rg_bench_sweep_name(b, b->at, more, name);
        code = begin_named(b, name, err);
        if (code != RG_CANT_CREATE || !rg_bench_is_cut(b, name))
            break;
    }
    if (code == RG_OK) {
        pad_of(b)->sweeps++;
        rg_live_look(b->live, &b->state);
    }
    return code;
}

typedef struct ending {
    rg_bench *bench;
    rg_live *live;
    rg_live_state state;
} ending;

static rg_code end_live(void *cls, rg_error *err)
{
    ending *e = cls;
    char folder[RG_PLACE_SIZE] = "";
    rg_code code = rg_live_end(e->live, folder, &e->state, err);
    if (code == RG_OK && rg_live_inspection(e->live))
        code = rg_bench_keep(e->bench, e->bench->at, rg_live_inspection(e->live), err);
    rg_live_free(e->live);
    return code;
}

static void add_sweep(rg_bench_account *sum, const rg_live_state *s)
{
    sum->offered += (uint64_t)s->offered;
    sum->kept += (uint64_t)s->kept;
    sum->left_out += (uint64_t)s->left_out;
    sum->skipped += (uint64_t)s->skipped;
}

void rg_bench_account_sweep(rg_bench *b, const rg_live_state *ended)
{
    add_sweep(&b->past, ended);
}

/* Finishes the sweep that is being taken, if any. It counts, unless it holds no closed frame. */
static rg_code end_sweep(rg_bench *b, rg_error *err)
{
    ending e = {.bench = b, .live = b->live};
    if (!b->live)
        return RG_OK;
    b->role = RG_BENCH_NONE;
    rg_code code = rg_bench_aside(b, end_live, &e, err);
    add_sweep(&b->past, &e.state);
    b->live = NULL;
    b->changed = true;
    return code;
}

/* ---------------------------------------------------------------- source */

static void add_source(rg_source_counts *sum, const rg_source *source)
{
    rg_source_counts n;
    rg_source_count(source, &n);
    sum->given += n.given;
    sum->bad += n.bad;
    sum->missed += n.missed;
    sum->away += n.away;
}

rg_bench_account rg_bench_accounts(const rg_bench *b)
{
    rg_bench_account sum = b->past;
    if (b->source)
        add_source(&sum.source, b->source);
    if (b->live || b->calibration)
        add_sweep(&sum, &b->state);
    return sum;
}

static void close_source(rg_bench *b)
{
    if (b->source)
        add_source(&b->past.source, b->source);
    rg_source_close(b->source);
    b->source = NULL;
    b->held = (rg_source_frame){0};
    b->source_state = RG_SOURCE_WAIT;
    b->source_note[0] = 0;
}

static rg_code open_replay(rg_bench *b, rg_error *err)
{
    if (b->calibration)
        return rg_bench_calibration_replay(b, err);
    const char *folder = pad_of(b)->replay;
    if (!folder[0]) {
        rg_copy_text(b->source_note, sizeof b->source_note, "no recorded sweep of this pad");
        return RG_OK;
    }
    return rg_source_replay(folder, b->options.rate, false, &b->source, err);
}

static rg_code open_source(rg_bench *b, rg_error *err)
{
    if (b->options.replays) {
        close_source(b);
        return open_replay(b, err);
    }
    if (b->source)
        return RG_OK;
    return rg_source_camera(b->options.camera, &b->station, &b->source, err);
}

rg_code rg_bench_open_source(rg_bench *b, rg_error *err)
{
    return open_source(b, err);
}

static void show(rg_bench *b, const rg_source_frame *f)
{
    char head[160];
    rg_error err;
    int n = snprintf(
        head, sizeof head,
        "--" BOUNDARY "\r\nContent-Type: image/%s\r\nContent-Length: %zu\r\nX-Frame: %llu\r\n\r\n",
        strcmp(f->suffix, "png") == 0 ? "png" : "jpeg", f->size, (unsigned long long)f->number);
    const rg_feed_part part[] = {{head, (size_t)n}, {f->bytes, f->size}, {"\r\n", 2}};
    if (rg_feed_put(b->pictures, part, 3, &err) == RG_OK)
        b->past.passed++;
    else
        say(b, err.text);
}

static rg_role role_of(const rg_bench *b)
{
    return b->role == RG_BENCH_WITNESS ? RG_ROLE_WITNESS : RG_ROLE_CLOSED;
}

static void offer(rg_bench *b, const rg_source_frame *f, rg_role role)
{
    rg_error err;
    if (rg_live_offer(b->live, f, role, &err) != RG_OK) {
        b->role = RG_BENCH_NONE;
        say(b, err.text);
    }
}

/* A recorded frame goes on when the key is said to be where it was then. */
static bool fits(const rg_bench *b, const rg_source_frame *f)
{
    if (b->role == RG_BENCH_NONE)
        return false;
    return b->role == RG_BENCH_CLOSED || f->role == RG_ROLE_WITNESS;
}

static void pass_recorded(rg_bench *b)
{
    rg_role was = b->held.role;
    if (!fits(b, &b->held))
        return;
    if ((was == RG_ROLE_WITNESS) == (b->role == RG_BENCH_WITNESS) && was != RG_ROLE_OPEN) {
        rg_live_ready(b->live, ENGINE_MS); /* a recording loses no frame to a busy engine */
        offer(b, &b->held, was);
    }
    b->held = (rg_source_frame){0};
}

static void note_source(rg_bench *b, rg_source_state state, const char *note)
{
    if (state == RG_SOURCE_WAIT && b->source_state == RG_SOURCE_FRAME && !note[0])
        return; /* between two frames */
    if (state == RG_SOURCE_AWAY && b->source_state == state && !note[0])
        return; /* why it is away was said before */
    if (b->source_state != state || strcmp(b->source_note, note) != 0)
        b->changed = true;
    b->source_state = state;
    rg_copy_text(b->source_note, sizeof b->source_note, note);
}

static void take_frame(rg_bench *b, const rg_source_frame *f)
{
    show(b, f);
    if (rg_bench_calibration_takes(b, f))
        return;
    if (b->options.replays)
        b->held = *f;
    else if (b->role != RG_BENCH_NONE)
        offer(b, f, role_of(b));
}

/* A camera that was not there may have been plugged in. */
static void look_for_camera(rg_bench *b)
{
    rg_error err;
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    if (b->source || b->options.replays || t.tv_sec - b->tried < CAMERA_SECONDS)
        return;
    b->tried = t.tv_sec;
    note_source(b, RG_SOURCE_WAIT, open_source(b, &err) == RG_OK ? "" : err.text);
}

static void next_frame(rg_bench *b)
{
    rg_source_frame frame = {0};
    rg_error err = {0};
    rg_source_state state = rg_source_next(b->source, STEP_MS, &frame, &err);
    note_source(b, state, state == RG_SOURCE_AWAY ? err.text : frame.note);
    if (state == RG_SOURCE_FRAME)
        take_frame(b, &frame);
}

static void step_source(rg_bench *b)
{
    if (b->held.size)
        pass_recorded(b);
    if (b->source && !b->held.size && b->source_state != RG_SOURCE_END)
        next_frame(b);
}

void rg_bench_show_next(rg_bench *b)
{
    rg_bench_role role = b->role;
    b->role = RG_BENCH_NONE;
    next_frame(b);
    b->role = role;
}

/* Witness frames are darker, so that the open gap is not clipped. */
static rg_code expose(rg_bench *b, rg_bench_role role, rg_error *err)
{
    bool witness = role == RG_BENCH_WITNESS;
    return rg_source_expose(b->source, witness ? rg_live_exposure(b->live, RG_ROLE_WITNESS) : 1,
                            err);
}

static void pause_taking(rg_bench *b)
{
    rg_error err;
    b->role = RG_BENCH_NONE;
    if (b->source && expose(b, b->role, &err) != RG_OK)
        say(b, err.text);
}

/* Once the lamp is proven, or the pad decided, no more frames are taken unless they are asked for. */
static void look(rg_bench *b)
{
    bool was = b->state.decided;
    int witnesses = b->state.witnesses;
    uint64_t version = b->state.version;
    if (!b->live)
        return;
    rg_live_look(b->live, &b->state);
    if (b->state.version != version)
        b->changed = true;
    bool decided = b->state.decided && !was && b->state.want == RG_LIVE_DONE && !b->calibration;
    bool lamp =
        b->role == RG_BENCH_WITNESS && b->state.coverage.witness && b->state.witnesses > witnesses;
    if (decided || lamp)
        pause_taking(b);
}

/* ---------------------------------------------------------------- wishes */

static rg_code set_role(rg_bench *b, const char *text, rg_error *err)
{
    static const char *const word[] = {"none", "witness", "closed"};
    int role = -1;
    for (int i = 0; i < 3; i++)
        if (strcmp(text, word[i]) == 0)
            role = i;
    if (role < 0)
        return rg_fail(err, RG_USAGE, "role: none, witness or closed");
    if (role != RG_BENCH_NONE && !b->source)
        return rg_fail(err, RG_USAGE, "there are no frames: %.200s",
                       b->source_note[0] ? b->source_note : "no camera");
    rg_code code = role == RG_BENCH_NONE ? RG_OK : begin_sweep(b, err);
    if (code == RG_OK && b->source)
        code = expose(b, (rg_bench_role)role, err);
    if (code == RG_OK)
        b->role = (rg_bench_role)role;
    return code;
}

static int find_pad(const rg_bench *b, const char *text)
{
    int n = b->instrument.pads;
    if (strcmp(text, "next") == 0)
        return b->at + 1 < n ? b->at + 1 : -1;
    if (strcmp(text, "previous") == 0)
        return b->at - 1;
    for (int i = 0; i < n; i++)
        if (strcmp(b->pads[i].pad->name, text) == 0)
            return i;
    return -1;
}

static rg_code go_to(rg_bench *b, int at, rg_error *err)
{
    rg_code code = end_sweep(b, err);
    if (code != RG_OK)
        return code;
    if (b->at != at)
        b->key[0] = 0;
    b->at = at;
    b->state = (rg_live_state){0};
    return b->options.replays ? open_source(b, err) : RG_OK;
}

static rg_code set_pad(rg_bench *b, const char *text, rg_error *err)
{
    int at = find_pad(b, text);
    if (at >= 0)
        return go_to(b, at, err);
    /* The last pad is finished by going on, too. */
    if (strcmp(text, "next") == 0 && b->live)
        return go_to(b, b->at, err);
    return rg_fail(err, RG_USAGE, "no pad \"%.60s\": this is the %s", text,
                   strcmp(text, "next") == 0 ? "last one; E finishes the instrument" : "end");
}

static rg_code redo(rg_bench *b, rg_error *err)
{
    rg_code code = go_to(b, b->at, err);
    const rg_bench_press press = press_of(b);
    rg_bench_drop(b, b->at, &press);
    return code;
}

/* One sweep is by one finger and one key: may they change now? */
static rg_code check_begun(const rg_bench *b, const char *what, rg_error *err)
{
    bool whole = b->role == RG_BENCH_NONE && b->state.closed > 0;
    if (b->live && b->state.kept > 0 && !whole)
        return rg_fail(err, RG_USAGE,
                       "this sweep was begun with another %s; finish it, or R begins again", what);
    return RG_OK;
}

static rg_code set_key(rg_bench *b, const char *text, rg_error *err)
{
    char key[RG_NAME_SIZE];
    rg_code code = check_begun(b, "key", err);
    if (code == RG_OK)
        code = rg_bench_find_key(b, text, key, err);
    if (code == RG_OK && b->live)
        code = go_to(b, b->at, err);
    if (code == RG_OK)
        rg_copy_text(b->key, sizeof b->key, key);
    return code;
}

static rg_code set_finger(rg_bench *b, const char *text, rg_error *err)
{
    char number[32];
    double grams = 0;
    rg_finger finger = RG_FINGER_GRAMS;
    size_t n = strcspn(text, " g");
    rg_code begun = check_begun(b, "finger", err);
    if (begun != RG_OK)
        return begun;
    if (strcmp(text, "light") == 0)
        finger = RG_FINGER_LIGHT;
    else if (strcmp(text, "firm") == 0)
        finger = RG_FINGER_FIRM;
    else if (strcmp(text, "unstated") == 0)
        finger = RG_FINGER_UNSTATED;
    else {
        snprintf(number, sizeof number, "%.*s", (int)(n < 20 ? n : 20), text);
        if (!rg_parse_double(number, &grams) || !(grams > 0) || grams > 5000)
            return rg_fail(err, RG_USAGE, "finger: light, firm, unstated, or grams such as 35 g");
    }
    b->finger = finger;
    b->grams = grams;
    return b->live ? go_to(b, b->at, err) : RG_OK;
}

static rg_code set_text(char *to, size_t size, const char *what, const char *text, rg_error *err)
{
    if (strlen(text) >= size)
        return rg_fail(err, RG_USAGE, "%s: at most %zu bytes", what, size - 1);
    rg_copy_text(to, size, text);
    return RG_OK;
}

static rg_code ask_finish(rg_bench *b, rg_error *err)
{
    if (!b->technician[0])
        return rg_fail(err, RG_USAGE, "who measured? the archive needs the technician's name");
    if (rg_bench_swept(b) == 0 && !b->live)
        return rg_fail(err, RG_USAGE, "no pad has been swept yet");
    if (!b->fresh && !b->live)
        return rg_fail(err, RG_USAGE, "all of this is archived already, as %.200s", b->bag);
    b->finish_due = true;
    b->busy = true;
    return RG_OK;
}

static rg_code grant(rg_bench *b, rg_bench_wish_kind kind, const char *text, rg_error *err)
{
    if (b->busy)
        return rg_fail(err, RG_USAGE, BUSY);
    if (b->calibration && !rg_bench_calibration_allows(b, kind, err))
        return RG_USAGE;
    switch (kind) {
    case RG_WISH_ROLE:
        return set_role(b, text, err);
    case RG_WISH_PAD:
        return set_pad(b, text, err);
    case RG_WISH_REDO:
        return redo(b, err);
    case RG_WISH_NOTE:
        return rg_bench_set_note(b, pad_of(b), text, err);
    case RG_WISH_SETUP:
        return rg_bench_set_value(b, text, err);
    case RG_WISH_REMARK:
        return rg_bench_set_remark(b, text, err);
    case RG_WISH_FINGER:
        return set_finger(b, text, err);
    case RG_WISH_KEY:
        return set_key(b, text, err);
    case RG_WISH_TECHNICIAN:
        return set_text(b->technician, sizeof b->technician, "technician", text, err);
    case RG_WISH_OCCASION:
        return set_text(b->occasion, sizeof b->occasion, "occasion", text, err);
    case RG_WISH_FINISH:
        return ask_finish(b, err);
    case RG_WISH_CALIBRATE:
        return rg_bench_calibrate(b, text, err);
    }
    return rg_fail(err, RG_INTERNAL, "an unknown wish");
}

/* The accounts grow with every picture; once a second is enough where nothing else happens. */
static bool accounts_due(rg_bench *b)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    if (b->past.passed == b->told_passed || (!b->changed && t.tv_sec == b->told))
        return false;
    b->told = t.tv_sec;
    b->told_passed = b->past.passed;
    return true;
}

static void publish(rg_bench *b)
{
    rg_error err;
    if (!accounts_due(b) && !b->changed)
        return;
    b->changed = false;
    b->version++;
    rg_bench_work(b);
    if (rg_bench_publish(b, &err) != RG_OK)
        fprintf(stderr, "rimglow: the page's state: %s\n", err.text);
}

static rg_code grant_and_tell(rg_bench *b, rg_bench_wish_kind kind, const char *text, rg_error *err)
{
    b->message[0] = 0;
    b->changed = true;
    rg_code code = grant(b, kind, text, err);
    if (code != RG_OK)
        say(b, err->text);
    publish(b);
    return code;
}

/* A wish that waits is granted, and answered when the state tells of it. */
static void hear(rg_bench *b)
{
    pthread_mutex_lock(&b->lock);
    bool waits = b->has_wish && !b->has_answer;
    rg_bench_wish_kind kind = b->wish;
    const char *text = b->wish_text;
    rg_bench_evidence *evidence = b->wish_evidence;
    pthread_mutex_unlock(&b->lock);
    if (!waits)
        return;
    rg_error err = {0};
    rg_code code =
        evidence ? rg_bench_evidence_take(b, evidence, &err) : grant_and_tell(b, kind, text, &err);
    pthread_mutex_lock(&b->lock);
    b->answer = code;
    b->answer_err = err;
    b->has_answer = true;
    pthread_cond_signal(&b->answered);
    pthread_mutex_unlock(&b->lock);
}

static rg_code ask(rg_bench *b, rg_bench_wish_kind kind, const char *text,
                   rg_bench_evidence *evidence, rg_error *err)
{
    pthread_mutex_lock(&b->door);
    pthread_mutex_lock(&b->lock);
    if (b->finishing) {
        pthread_mutex_unlock(&b->lock);
        pthread_mutex_unlock(&b->door);
        return rg_fail(err, RG_USAGE, BUSY);
    }
    b->wish = kind;
    b->wish_text = text;
    b->wish_evidence = evidence;
    b->has_answer = false;
    b->has_wish = true;
    pthread_cond_signal(&b->wished);
    /* The text is the caller's, so it is waited for until nobody can be reading it. */
    while (!b->has_answer && !b->ended)
        pthread_cond_wait(&b->answered, &b->lock);
    rg_code code = b->has_answer
                       ? b->answer
                       : rg_fail(err, RG_USAGE, "the program is ending; nothing was changed");
    if (b->has_answer && err)
        *err = b->answer_err;
    b->has_wish = false;
    pthread_mutex_unlock(&b->lock);
    pthread_mutex_unlock(&b->door);
    return code;
}

rg_code rg_bench_ask(rg_bench *b, rg_bench_wish_kind kind, const char *text, rg_error *err)
{
    return ask(b, kind, text, NULL, err);
}

rg_code rg_bench_ask_evidence(rg_bench *b, rg_bench_evidence *evidence, rg_error *err)
{
    *evidence = (rg_bench_evidence){0};
    return ask(b, RG_WISH_ROLE, "", evidence, err);
}

/* ---------------------------------------------------------------- the thread */

static bool is_stopping(rg_bench *b)
{
    pthread_mutex_lock(&b->lock);
    bool stopping = b->stopping;
    pthread_mutex_unlock(&b->lock);
    return stopping;
}

/* Where no frames come in there is nothing to wait on but wishes. */
static void rest(rg_bench *b)
{
    struct timespec t;
    if (b->source && !b->held.size && b->source_state != RG_SOURCE_END)
        return;
    clock_gettime(CLOCK_MONOTONIC, &t); /* a clock set back would lengthen the rest by as much */
    t.tv_nsec += (long)STEP_MS * 1000000;
    if (t.tv_nsec >= 1000000000) {
        t.tv_nsec -= 1000000000;
        t.tv_sec++;
    }
    pthread_mutex_lock(&b->lock);
    if (!b->has_wish && !b->stopping)
        pthread_cond_timedwait(&b->wished, &b->lock, &t);
    pthread_mutex_unlock(&b->lock);
}

/* From here on nobody is made to wait for an answer. */
static void tell_finishing(rg_bench *b, bool finishing)
{
    pthread_mutex_lock(&b->lock);
    b->finishing = finishing;
    pthread_mutex_unlock(&b->lock);
}

static rg_code archive_all(void *cls, rg_error *err)
{
    return rg_bench_archive_all(cls, err);
}

static void finish(rg_bench *b)
{
    rg_error err = {0};
    b->finish_due = false;
    tell_finishing(b, true);
    rg_code code = end_sweep(b, &err);
    if (code == RG_OK)
        code = rg_bench_aside(b, archive_all, b, &err);
    if (code != RG_OK)
        say(b, err.text);
    tell_finishing(b, false);
    b->busy = false;
    b->changed = true;
}

/* The first pad of the body that is not swept yet; of recorded sweeps the first that there is one of. */
static int first_pad(const rg_bench *b)
{
    int first = -1;
    for (int i = 0; i < b->instrument.pads; i++) {
        if (b->options.replays && !b->pads[i].replay[0])
            continue;
        if (b->pads[i].results == 0)
            return i;
        first = first < 0 ? i : first;
    }
    return first < 0 ? 0 : first;
}

static void *session(void *cls)
{
    rg_bench *b = cls;
    rg_error err = {0};
    if (go_to(b, first_pad(b), &err) != RG_OK)
        say(b, err.text);
    b->changed = true;
    while (!is_stopping(b)) {
        publish(b);
        hear(b);
        if (b->finish_due)
            finish(b);
        look_for_camera(b);
        step_source(b);
        look(b);
        rg_bench_calibration_step(b);
        publish(b);
        rest(b);
    }
    rg_bench_calibration_end(b);
    if (end_sweep(b, &err) != RG_OK)
        fprintf(stderr, "rimglow: %s\n", err.text);
    close_source(b);
    pthread_mutex_lock(&b->lock);
    b->ended = true;
    pthread_cond_broadcast(&b->answered);
    pthread_mutex_unlock(&b->lock);
    return NULL;
}

/* ---------------------------------------------------------------- open and close */

static rg_code read_instrument(rg_bench *b, rg_error *err)
{
    const char *path = b->options.instrument_file;
    uint8_t *text = NULL;
    size_t size;
    rg_code code = rg_file_read(path, RG_CONFIG_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_instrument_parse(path, (const char *)text, size, &b->instrument, err);
    if (code == RG_OK)
        b->instrument_digest = rg_digest_of(text, size);
    free(text);
    if (code != RG_OK)
        return code;
    b->pads = rg_alloc((size_t)b->instrument.pads, sizeof *b->pads);
    if (!b->pads)
        return rg_fail(err, RG_INTERNAL, "no memory for %d pads", b->instrument.pads);
    for (int i = 0; i < b->instrument.pads; i++)
        b->pads[i].pad = &b->instrument.pad[i];
    return RG_OK;
}

static rg_code read_station(rg_bench *b, rg_error *err)
{
    const char *path = b->options.station_file;
    uint8_t *text = NULL;
    size_t size;
    rg_code code = rg_file_read(path, RG_CONFIG_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_station_parse(path, (const char *)text, size, &b->station, err);
    free(text);
    return code;
}

static rg_code prepare(rg_bench *b, rg_error *err)
{
    const rg_bench_options *o = &b->options;
    rg_code code = read_instrument(b, err);
    if (code == RG_OK)
        code = read_station(b, err);
    if (code == RG_OK)
        code = rg_workup_settings_load(NULL, &b->workup, err);
    if (code == RG_OK)
        code = rg_setup_rules_load(NULL, &b->rules, err);
    if (code == RG_OK)
        code = rg_bench_find_replays(b, err);
    if (code == RG_OK && !rg_is_safe_name(o->serial))
        code = rg_fail(err, RG_USAGE,
                       "serial \"%.60s\": letters, digits, '.', '_' and '-' make a folder's name",
                       o->serial);
    if (code == RG_OK)
        code = set_text(b->technician, sizeof b->technician, "technician",
                        o->technician ? o->technician : "", err);
    if (code == RG_OK)
        code = set_text(b->occasion, sizeof b->occasion, "occasion", o->occasion ? o->occasion : "",
                        err);
    if (code == RG_OK)
        code = rg_bench_resume(b, err);
    b->pictures = rg_feed_new();
    b->events = rg_feed_new();
    if (code == RG_OK && (!b->pictures || !b->events))
        code = rg_fail(err, RG_INTERNAL, "no memory for the session");
    return code;
}

static void release(rg_bench *b)
{
    rg_feed_free(b->pictures);
    rg_feed_free(b->events);
    pthread_mutex_destroy(&b->door);
    pthread_mutex_destroy(&b->lock);
    pthread_cond_destroy(&b->wished);
    pthread_cond_destroy(&b->answered);
    for (int i = 0; b->pads && i < b->instrument.pads; i++)
        rg_bench_results_free(&b->pads[i]);
    rg_instrument_free(&b->instrument);
    rg_workup_settings_free(&b->workup);
    rg_setup_rules_free(&b->rules);
    free(b->worklist.line);
    free(b->response.data);
    free(b->pads);
    free(b);
}

rg_code rg_bench_open(const rg_bench_options *options, rg_bench **bench, rg_error *err)
{
    rg_bench *b = rg_alloc(1, sizeof *b);
    *bench = NULL;
    if (!b)
        return rg_fail(err, RG_INTERNAL, "no memory for the session");
    b->options = *options;
    b->finger = RG_FINGER_LIGHT;
    pthread_mutex_init(&b->door, NULL);
    pthread_mutex_init(&b->lock, NULL);
    pthread_condattr_t clock;
    pthread_condattr_init(&clock);
    pthread_condattr_setclock(&clock, CLOCK_MONOTONIC);
    pthread_cond_init(&b->wished, &clock);
    pthread_condattr_destroy(&clock);
    pthread_cond_init(&b->answered, NULL);
    rg_code code = prepare(b, err);
    if (code == RG_OK && pthread_create(&b->thread, NULL, session, b) != 0)
        code = rg_fail(err, RG_INTERNAL, "no thread for the session");
    if (code != RG_OK) {
        release(b);
        return code;
    }
    *bench = b;
    return RG_OK;
}

void rg_bench_stop(rg_bench *b)
{
    pthread_mutex_lock(&b->lock);
    b->stopping = true;
    pthread_cond_broadcast(&b->wished);
    pthread_mutex_unlock(&b->lock);
    pthread_join(b->thread, NULL);
}

void rg_bench_close(rg_bench *b)
{
    if (b)
        release(b);
}

rg_feed *rg_bench_pictures(rg_bench *b)
{
    return b->pictures;
}

rg_feed *rg_bench_events(rg_bench *b)
{
    return b->events;
}

const char *rg_bench_archive(const rg_bench *b)
{
    return b->options.archive;
}

const char *rg_bench_serial(const rg_bench *b)
{
    return b->options.serial;
}
