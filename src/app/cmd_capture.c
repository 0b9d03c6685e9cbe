/*
 * cmd_capture.c - rimglow capture: one pad, live, on a terminal.
 *
 * SIGINT and SIGTERM are blocked in all threads and asked for between frames, so no handler and no global is needed
 * and the sweep is always ended in order.
 */
#include <math.h>
#include <pthread.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/select.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "rimglow/capture.h"
#include "rimglow/capture_screen.h"
#include "rimglow/command.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/options.h"
#include "rimglow/report.h"
#include "rimglow/table.h"
#include "rimglow/text.h"

const char rg_help_capture[] =
    "rimglow capture [options] --serial S --pad P --instrument FILE --station FILE\n"
    "rimglow capture --list\n"
    "\n"
    "Takes one pad with the camera in your hand, shows what of the rim is missing\n"
    "and stops by itself when the pad is decided. Every frame that counts is stored\n"
    "as the camera gave it; \"rimglow inspect FOLDER\" gives the same seal map.\n"
    "\n"
    "How: 1. lamp on in the bore, crown on the cup. 2. Crack the pad open by a\n"
    "millimetre or two: the witness frame proves the lamp. 3. Close the pad as you\n"
    "would to play, press Enter, go round the cup and rock a little up and down.\n"
    "\n"
    "Examples:\n"
    "  rimglow capture --serial PE-A-0147 --pad G --finger light \\\n"
    "      --instrument calib/alto-loan.ini --station calib/bench.ini\n"
    "  rimglow capture --list\n"
    "      cameras and picture sizes; the station's lens says which size it needs\n"
    "  rimglow capture --replay samples/PE-A-0147/08-G --rate 5 --whole \\\n"
    "      --serial PE-A-0147 --pad G --name try \\\n"
    "      --instrument calib/alto-loan.ini --station calib/bench.ini\n"
    "      a recorded sweep in the camera's place, to try it without one\n"
    "\n"
    "Options:\n"
    "      --camera DEV       such as /dev/video0 (default: the first that fits)\n"
    "      --replay FOLDER    frames and roles of a recorded sweep\n"
    "      --rate N           its frames a second (default: as fast as can be)\n"
    "      --name N           of the new sweep folder (default: pad, date and time)\n"
    "      --finger F         light, firm, or grams such as 35g (default: unstated)\n"
    "  -o, --out DIR          the sweep goes to DIR/S/N (default: sweeps)\n"
    "      --whole            do not stop before every bearing is seen\n"
    "      --settings FILE    what is covered and kept (default: calib/capture.ini)\n"
    "  -j, --jobs N           workers (default: one for each core)\n"
    "      --json             no screen; the result as inspect --json prints it\n"
    "  -h, --help             this text\n"
    "\n"
    "Keys: Enter the pad is closed now; w witness again; d frames with the lamp\n"
    "off, until Enter; q stop. Ctrl-C ends as q does.\n"
    "\n"
    "Reading the screen: # the rim was looked at from that height; = seen, X gap.\n"
    "\n"
    "Exit codes: 0 sealed, 1 leaking, 2 undecided; 64 wrong command line, 65 bad\n"
    "data, 66 a file is missing, 69 camera unavailable, 70 internal, 73/74 cannot\n"
    "write.\n"
    "\n"
    "Caution: never look into a bright leak light; keep hot lamps away from pads and\n"
    "lacquer. The instrument maker's instructions come first.\n";

typedef enum phase { PHASE_WITNESS, PHASE_CLOSE, PHASE_CLOSED, PHASE_DARK } phase;

typedef struct job {
    const char *camera, *replay, *serial, *pad, *instrument, *station, *name, *finger, *out,
        *settings;
    int rate, workers;
    bool json, list, whole;
    char own_name[RG_NAME_SIZE];
    rg_finger force;
    double grams;
    /* while it runs */
    rg_source *source;
    rg_live *live;
    rg_capture_settings shown; /* levels of the picture */
    phase phase;
    bool stop, ending, failed, screen, keyboard, area, cooked_known;
    struct termios cooked;
    char note[160], told[160]; /* what the source says, and what was printed of that */
    int64_t noted_ms;
    int64_t drawn_ms;
    rg_live_state last; /* non-terminals: what the last line told */
    rg_seal_map *map;
} job;

/* ---------------------------------------------------------------- options */

static rg_code read_finger(job *j, rg_error *err)
{
    char number[32];
    j->force = RG_FINGER_UNSTATED;
    if (!j->finger || strcmp(j->finger, "unstated") == 0)
        return RG_OK;
    if (strcmp(j->finger, "light") == 0 || strcmp(j->finger, "firm") == 0) {
        j->force = j->finger[0] == 'l' ? RG_FINGER_LIGHT : RG_FINGER_FIRM;
        return RG_OK;
    }
    size_t n = strlen(j->finger);
    bool grams = n > 1 && j->finger[n - 1] == 'g' && rg_copy_text(number, sizeof number, j->finger);
    if (grams)
        number[n - 1] = '\0';
    if (!grams || !rg_parse_double(number, &j->grams) || !(j->grams >= 0.1 && j->grams <= 5000))
        return rg_fail(err, RG_USAGE,
                       "--finger %s: light, firm, unstated, or grams from 0.1 to 5000 such as 35g",
                       j->finger);
    j->force = RG_FINGER_GRAMS;
    return RG_OK;
}

static void make_name(job *j)
{
    char stamp[32] = "";
    struct tm utc;
    time_t now = time(NULL);
    if (gmtime_r(&now, &utc))
        strftime(stamp, sizeof stamp, "-%Y%m%d-%H%M%S", &utc);
    snprintf(j->own_name, sizeof j->own_name, "%.60s%s", j->pad, stamp);
    for (char *c = j->own_name; *c; c++) {
        char one[] = {'x', *c, '\0'};
        if (!rg_is_safe_name(one))
            *c = '_';
    }
    j->name = j->own_name;
}

static rg_code check_options(job *j, int operands, rg_error *err)
{
    if (operands > 0)
        return rg_fail(err, RG_USAGE, "capture takes options only; rimglow capture -h shows them");
    if (j->list)
        return RG_OK;
    const char *missing = !j->serial       ? "serial"
                          : !j->pad        ? "pad"
                          : !j->instrument ? "instrument"
                          : !j->station    ? "station"
                                           : NULL;
    if (missing)
        return rg_fail(err, RG_USAGE, "capture needs --%s; rimglow capture -h shows examples",
                       missing);
    if (j->camera && j->replay)
        return rg_fail(err, RG_USAGE, "--camera and --replay exclude each other");
    if (j->rate && !j->replay)
        return rg_fail(err, RG_USAGE, "--rate is for --replay; a camera has its own");
    if (!j->name)
        make_name(j);
    return read_finger(j, err);
}

static rg_code read_options(int argc, char **argv, job *j, const char **operands, rg_error *err)
{
    int count = 0;
    const rg_option options[] = {
        {"camera", 0, RG_OPTION_TEXT, &j->camera, 0, 0, NULL},
        {"replay", 0, RG_OPTION_TEXT, &j->replay, 0, 0, NULL},
        {"rate", 0, RG_OPTION_WHOLE, &j->rate, 1, 1000, NULL},
        {"serial", 0, RG_OPTION_TEXT, &j->serial, 0, 0, NULL},
        {"pad", 0, RG_OPTION_TEXT, &j->pad, 0, 0, NULL},
        {"instrument", 0, RG_OPTION_TEXT, &j->instrument, 0, 0, NULL},
        {"station", 0, RG_OPTION_TEXT, &j->station, 0, 0, NULL},
        {"name", 0, RG_OPTION_TEXT, &j->name, 0, 0, NULL},
        {"finger", 0, RG_OPTION_TEXT, &j->finger, 0, 0, NULL},
        {"out", 'o', RG_OPTION_TEXT, &j->out, 0, 0, NULL},
        {"settings", 0, RG_OPTION_TEXT, &j->settings, 0, 0, NULL},
        {"jobs", 'j', RG_OPTION_WHOLE, &j->workers, 1, 16, NULL},
        {"whole", 0, RG_OPTION_SWITCH, &j->whole, 0, 0, NULL},
        {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL},
        {"list", 0, RG_OPTION_SWITCH, &j->list, 0, 0, NULL},
    };
    rg_code code = rg_options_read(argc, argv, options, (int)(sizeof options / sizeof options[0]),
                                   operands, &count, err);
    return code == RG_OK ? check_options(j, count, err) : code;
}

/* ---------------------------------------------------------------- --list */

static void print_camera(const rg_camera_info *c)
{
    printf("%s  %s (%s, %s)\n", c->path, c->card, c->driver, c->bus);
    for (int i = 0; i < c->modes; i++)
        printf("  %5d x %-5d %-6s %6.1f frames/s\n", c->mode[i].width, c->mode[i].height,
               rg_pixel_format_name(c->mode[i].format), c->mode[i].frames_per_second);
}

static rg_code list_cameras(rg_error *err)
{
    enum { MOST = 64 };
    int count = 0;
    rg_camera_info *info = rg_alloc(MOST, sizeof *info);
    rg_code code = info ? rg_camera_list(info, MOST, &count, err)
                        : rg_fail(err, RG_INTERNAL, "no memory for a list of cameras");
    for (int i = 0; code == RG_OK && i < count; i++)
        print_camera(&info[i]);
    free(info);
    if (code == RG_OK && count == 0)
        return rg_fail(
            err, RG_NO_CAMERA,
            "no camera was found at /dev/video0 to 63; plug one in, and see that you may "
            "read it (group video)");
    return code;
}

/* ---------------------------------------------------------------- terminal */

/* Keys come one by one and unseen; Ctrl-C stays what it is. */
static void open_terminal(job *j)
{
    struct termios raw;
    j->area = j->screen && isatty(STDOUT_FILENO);
    j->keyboard = !j->replay;
    if (!isatty(STDIN_FILENO) || tcgetattr(STDIN_FILENO, &j->cooked) != 0)
        return;
    raw = j->cooked;
    raw.c_lflag &= ~(tcflag_t)(ICANON | ECHO);
    raw.c_cc[VMIN] = 0;
    raw.c_cc[VTIME] = 0;
    j->keyboard = true;
    j->cooked_known = tcsetattr(STDIN_FILENO, TCSANOW, &raw) == 0;
}

static void close_terminal(const job *j)
{
    if (j->cooked_known)
        tcsetattr(STDIN_FILENO, TCSANOW, &j->cooked);
}

static int64_t clock_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static const char *now_text(const job *j, const rg_live_state *s)
{
    if (j->ending)
        return "measuring all kept frames once more";
    if (j->replay)
        return "frames of a recorded sweep";
    if (s->decided && !j->whole)
        return "decided; you may let go";
    static const char *const text[] = {
        [PHASE_WITNESS] = "crack the pad open by a millimetre or two, lamp on: the witness",
        [PHASE_CLOSE] = "the lamp is proven; close the pad, hold it, then press Enter",
        [PHASE_CLOSED] = "pad closed: go round the cup and rock up and down",
        [PHASE_DARK] = "lamp off: dark frames; Enter when it is on again"};
    return text[j->phase];
}

static void draw_area(job *j, const rg_live_state *s)
{
    char text[RG_SCREEN_TEXT];
    rg_screen screen = {.state = s,
                        .map = j->map,
                        .level_deg = j->shown.coverage.level_deg,
                        .serial = j->serial,
                        .pad = j->pad,
                        .now = now_text(j, s),
                        .note = j->note,
                        .keys = !j->cooked_known ? ""
                                : j->replay      ? "q stop"
                                            : "Enter pad is closed   w witness   d dark   q stop"};
    rg_live_map(j->live, j->map);
    rg_source_count(j->source, &screen.source);
    rg_screen_text(&screen, text);
    if (j->drawn_ms)
        printf("\033[%dF", RG_SCREEN_LINES);
    for (char *at = text, *end; (end = strchr(at, '\n')) != NULL; at = end + 1)
        printf("%.*s\033[K\n", (int)(end - at), at);
}

/* Without a terminal: a line for every few frames kept, and when something changed that matters. */
static void draw_line(job *j, const rg_live_state *s)
{
    char text[512];
    if (j->drawn_ms && s->kept < j->last.kept + 5 && s->want == j->last.want &&
        s->verdict == j->last.verdict && strcmp(j->note, j->told) == 0)
        return;
    if (j->note[0] && strcmp(j->note, j->told) != 0)
        printf("note: %s\n", j->note);
    rg_copy_text(j->told, sizeof j->told, j->note);
    rg_screen_line(s, text, sizeof text);
    puts(text);
    j->last = *s;
}

static void draw(job *j, const rg_live_state *s, bool at_last)
{
    enum { EVERY_MS = 100 };
    int64_t now = clock_ms();
    if (!j->screen || (!at_last && j->area && now - j->drawn_ms < EVERY_MS))
        return;
    if (j->area)
        draw_area(j, s);
    else
        draw_line(j, s);
    fflush(stdout);
    j->drawn_ms = now;
}

/* ---------------------------------------------------------------- keys and signals */

static void note(job *j, const char *text)
{
    rg_copy_text(j->note, sizeof j->note, text);
    j->noted_ms = clock_ms();
}

static void enter_phase(job *j, phase next)
{
    rg_error err = {0};
    rg_role role = next == PHASE_WITNESS ? RG_ROLE_WITNESS : RG_ROLE_CLOSED;
    j->phase = next;
    if (rg_source_expose(j->source, rg_live_exposure(j->live, role), &err) != RG_OK)
        note(j, err.text);
}

static void press(job *j, char key, const rg_live_state *s)
{
    if (key == 'q')
        j->stop = true;
    else if (j->replay)
        return;
    else if (key == 'w')
        enter_phase(j, PHASE_WITNESS);
    else if (key == 'd' && s->witnesses > 0)
        enter_phase(j, PHASE_DARK);
    else if (key == '\n' && s->coverage.witness)
        enter_phase(j, PHASE_CLOSED);
    else if (key == '\n')
        note(j, "no frame proves the lamp yet: crack the pad open first, lamp on");
}

/* Keys may also come through a pipe; its end says nothing but that no more will come. */
static void read_keys(job *j, const rg_live_state *s)
{
    char key;
    fd_set waiting;
    struct timespec none = {0, 0};
    while (j->keyboard) {
        FD_ZERO(&waiting);
        FD_SET(STDIN_FILENO, &waiting);
        if (pselect(STDIN_FILENO + 1, &waiting, NULL, NULL, &none, NULL) <= 0)
            return;
        if (read(STDIN_FILENO, &key, 1) == 1)
            press(j, key, s);
        else
            j->keyboard = false;
    }
}

/* Takes what is pending, so that nothing kills the program while it ends. */
static bool interrupted(const sigset_t *ours)
{
    int which;
    sigset_t pending;
    bool any = false;
    while (sigpending(&pending) == 0 &&
           (sigismember(&pending, SIGINT) || sigismember(&pending, SIGTERM) ||
            sigismember(&pending, SIGHUP)) &&
           sigwait(ours, &which) == 0)
        any = true;
    return any;
}

/* ---------------------------------------------------------------- taking */

/* Which role a camera's frame has now; false: it is not wanted. */
static bool role_now(const job *j, const rg_source_frame *frame, rg_role *role)
{
    static const rg_role of[] = {[PHASE_WITNESS] = RG_ROLE_WITNESS,
                                 [PHASE_CLOSE] = RG_ROLE_WITNESS,
                                 [PHASE_CLOSED] = RG_ROLE_CLOSED,
                                 [PHASE_DARK] = RG_ROLE_DARK};
    *role = j->replay ? frame->role : of[j->phase];
    return j->replay || j->phase != PHASE_CLOSE;
}

static bool complete(const job *j, const rg_live_state *s)
{
    return s->decided && (!j->whole || (s->coverage.seen_bearings == 360 && s->coverage.witness));
}

/* The next frame, if one comes soon. *ended: none will come. */
static rg_code take_one(job *j, bool *ended, rg_error *err)
{
    enum { WAIT_MS = 100, NOTE_MS = 5000 };
    rg_source_frame frame;
    rg_role role;
    rg_error why = {0};
    if (j->replay && !j->rate && !rg_live_ready(j->live, WAIT_MS))
        return RG_OK;
    rg_source_state state = rg_source_next(j->source, WAIT_MS, &frame, &why);
    if (frame.note[0])
        note(j, frame.note);
    else if (state == RG_SOURCE_FRAME && clock_ms() - j->noted_ms > NOTE_MS)
        j->note[0] = '\0';
    *ended = state == RG_SOURCE_END;
    if (state != RG_SOURCE_FRAME || !role_now(j, &frame, &role))
        return RG_OK;
    return rg_live_offer(j->live, &frame, role, err);
}

static rg_code take_all(job *j, const sigset_t *signals, rg_error *err)
{
    rg_live_state s;
    bool ended = false;
    rg_code code = RG_OK;
    enter_phase(j, PHASE_WITNESS);
    rg_live_look(j->live, &s);
    while (code == RG_OK && !ended && !j->stop) {
        draw(j, &s, false);
        code = take_one(j, &ended, err);
        rg_live_look(j->live, &s);
        read_keys(j, &s);
        if (code == RG_OK && !j->replay && !j->keyboard && j->phase != PHASE_CLOSED)
            code = rg_fail(err, RG_USAGE,
                           "standard input ended before it said that the pad is closed: capture "
                           "with a camera needs a keyboard, or an empty line by a pipe");
        if (j->phase == PHASE_WITNESS && s.coverage.witness && !j->replay)
            enter_phase(j, PHASE_CLOSE);
        j->stop = j->stop || interrupted(signals) || complete(j, &s);
    }
    return code;
}

/* ---------------------------------------------------------------- results */

static rg_code print_json(const rg_inspection *in, const char *folder, rg_error *err)
{
    char *map = NULL, *text = NULL;
    rg_error none = {0};
    rg_code code = rg_inspection_json(in, &map, err);
    const char *const maps[] = {map}, *const folders[] = {folder};
    if (code == RG_OK)
        code = rg_report_inspection(rg_verdict_name(in->result.map.verdict), folders, maps, &none,
                                    1, &text, err);
    if (code == RG_OK)
        puts(text);
    free(map);
    free(text);
    return code;
}

static rg_code print_table(const rg_inspection *in, const char *folder, rg_error *err)
{
    rg_error none = {0};
    rg_table_row *row = rg_alloc(1, sizeof *row);
    if (!row)
        return rg_fail(err, RG_INTERNAL, "no memory for the table");
    rg_table_fill(row, in->sweep.pad, &in->result, in->frames, in->sweep.frames,
                  &in->setup.options.sealmap);
    rg_table_frames(row, &in->sweep, in->frames);
    snprintf(row->place, sizeof row->place, "%s", folder);
    rg_table_print(row, false, true);
    rg_table_close(row, &none, 1, rg_verdict_name(in->result.map.verdict));
    free(row);
    return RG_OK;
}

static int exit_code(rg_verdict verdict)
{
    return verdict == RG_VERDICT_SEALED ? 0 : verdict == RG_VERDICT_LEAKING ? 1 : 2;
}

/* What is left is measured and told, also when an error ended the taking. */
static rg_code finish(job *j, int *answer, rg_error *err)
{
    char folder[RG_PLACE_SIZE];
    rg_live_state s;
    rg_live_look(j->live, &s);
    j->ending = true;
    draw(j, &s, j->area);
    rg_code code = rg_live_end(j->live, folder, &s, err);
    if (code != RG_OK)
        return code;
    const rg_inspection *in = rg_live_inspection(j->live);
    *answer = exit_code(s.verdict);
    draw(j, &s, true);
    if (!in && j->failed)
        return RG_OK; /* that is said elsewhere */
    if (!in) {
        rg_command_fail(0, "no closed frame was kept, so there is no sweep%s%s",
                        s.last_reason[0] ? "; the last was left out: " : "", s.last_reason);
        return RG_OK;
    }
    return j->json ? print_json(in, folder, err) : print_table(in, folder, err);
}

/* ---------------------------------------------------------------- the command */

static rg_code open_camera(job *j, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    rg_station *station = rg_alloc(1, sizeof *station);
    rg_code code = station ? rg_file_read(j->station, RG_CONFIG_MAX_BYTES, &text, &size, err)
                           : rg_fail(err, RG_INTERNAL, "no memory for a station");
    if (code == RG_OK)
        code = rg_station_parse(j->station, (const char *)text, size, station, err);
    if (code == RG_OK)
        code = rg_source_camera(j->camera, station, &j->source, err);
    free(text);
    free(station);
    return code;
}

static rg_code begin(job *j, rg_error *err)
{
    rg_taken taken;
    rg_code code = j->replay ? rg_source_replay(j->replay, j->rate, false, &j->source, err)
                             : open_camera(j, err);
    if (code != RG_OK)
        return code;
    rg_source_taken(j->source, &taken);
    const rg_live_job live = {.out = j->out,
                              .serial = j->serial,
                              .pad = j->pad,
                              .name = j->name,
                              .instrument_file = j->instrument,
                              .station_file = j->station,
                              .finger = j->force,
                              .finger_grams = j->grams,
                              .workers = j->workers,
                              .settings_file = j->settings,
                              .taken = &taken};
    code = rg_live_begin(&live, &j->live, err);
    if (code == RG_OK)
        j->shown = *rg_live_settings(j->live);
    return code;
}

static rg_code run(job *j, int *answer, rg_error *err)
{
    sigset_t signals;
    rg_error late = {0};
    rg_command_block_signals(&signals);
    j->screen = !j->json;
    j->map = rg_alloc(1, sizeof *j->map);
    rg_code code = j->map ? begin(j, err) : rg_fail(err, RG_INTERNAL, "no memory for a map");
    if (code != RG_OK)
        return code;
    open_terminal(j);
    code = take_all(j, &signals, err);
    j->failed = code != RG_OK;
    /* Also after a failure: what was kept stays a sweep. */
    rg_code ended = finish(j, answer, code == RG_OK ? err : &late);
    close_terminal(j);
    return code == RG_OK ? ended : code;
}

int rg_cmd_capture(int argc, char **argv)
{
    job j = {.out = "sweeps"};
    rg_error err = {0};
    int answer = RG_OK;
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    rg_code code = operands ? read_options(argc, argv, &j, operands, &err)
                            : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK)
        code = j.list ? list_cameras(&err) : run(&j, &answer, &err);
    rg_live_free(j.live);
    rg_source_close(j.source);
    free(j.map);
    free(operands);
    if (code != RG_OK)
        return rg_command_fail((int)code, "%s", err.text);
    if (fflush(stdout) != 0 || ferror(stdout))
        return rg_command_fail(RG_IO, "standard output cannot be written; is the disk full?");
    return answer;
}
