/*
 * live_load.c - rimglow bench under load: what became of every frame.
 *
 *   live_load [--seconds N] [--fps N] [--sweep SECONDS] [--frames N] [--brief] [--program PATH] [--shim PATH]
 *
 * Runs the program itself with the camera of shim/fake_camera.h, which gives the frames of a sample sweep over and
 * over, numbered and on time, and does not wait for anybody. Three viewers read pictures and states over loopback, one
 * of them slowly. The pad is taken again every --sweep seconds: witness, closed frames, ended, measured from the disk.
 *
 *   --fps N      frames a second (60)
 *   --seconds N  for so long (20)
 *   --frames N   instead: pictures are passed on as fast as they can be, N of them, and none is measured; what a
 *                day does to source, stream, states and memory (8 h at 60 a second: 1728000)
 *
 * Prints the accounts, latency, memory and processor time, and fails where a frame is not accounted for. Bounds of
 * speed are not tested: they are the machine's.
 */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <jansson.h>
#include <math.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum {
    VIEWERS = 3,
    SLOW = VIEWERS - 1,
    RECENT = 4096,
    TIMES_MAX = 4000000,
    TEXT = 1 << 20,
    AIM_MS = 100,
    GROWTH_MB = 8,
    SLOW_BYTES = 65536
};

typedef struct viewer {
    int number;
    pthread_t pictures, states;
    uint64_t first, last, got, passed_over; /* pictures by number */
    uint64_t states_got;
    double arrived_ms[RECENT]; /* of picture n at n % RECENT */
    uint64_t number_at[RECENT];
    pthread_mutex_t lock;
} viewer;

typedef struct times {
    double *ms; /* [TIMES_MAX] */
    size_t count;
} times;

static struct {
    const char *program, *shim;
    int seconds, fps, sweep_s;
    bool brief;
    uint64_t frames;
    char work[64], url_host[64], csrf[80];
    int port;
    pid_t child;
    volatile bool stop;
    viewer viewer[VIEWERS];
    times engine,
        overlay; /* latencies: as the engine says; picture to overlay, at the first viewer */
    double closed_since_ms;
    int sweeps;
    int tenths;
    double memory_mb[11]; /* at the start and after each tenth of the frames */
} load = {.program = "build/release/rimglow",
          .shim = "build/release/tests/shim/v4l2.so",
          .seconds = 20,
          .fps = 60,
          .sweep_s = 10};

static double now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec * 1e-6;
}

static void sleep_ms(int ms)
{
    struct timespec t = {ms / 1000, ms % 1000 * 1000000L};
    nanosleep(&t, NULL);
}

static void give_up(const char *why)
{
    fprintf(stderr, "live_load: %s\n", why);
    if (load.child > 0)
        kill(load.child, SIGKILL);
    exit(1);
}

static void note_time(times *t, double ms)
{
    if (t->count < TIMES_MAX)
        t->ms[t->count++] = ms;
}

/* ---------------------------------------------------------------- HTTP */

static int dial(int receive_buffer)
{
    struct sockaddr_in to = {.sin_family = AF_INET, .sin_port = htons((unsigned short)load.port)};
    to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (receive_buffer)
        setsockopt(fd, SOL_SOCKET, SO_RCVBUF, &receive_buffer, sizeof receive_buffer);
    if (fd < 0 || connect(fd, (const struct sockaddr *)&to, sizeof to) != 0)
        give_up("the server cannot be reached");
    return fd;
}

/* HTTP/1.0, so that a stream comes as it is, without chunks. */
static void request(int fd, const char *method, const char *path, const char *body)
{
    char text[2048];
    int n = snprintf(text, sizeof text,
                     "%s %s HTTP/1.0\r\nHost: %s\r\nOrigin: http://%s\r\nX-Csrf-Token: %s\r\n"
                     "Content-Type: application/json\r\nContent-Length: %zu\r\n\r\n%s",
                     method, path, load.url_host, load.url_host, load.csrf, strlen(body), body);
    if (write(fd, text, (size_t)n) != n)
        give_up("the server does not take a request");
}

/* The answer's body in text, its code returned. */
static int ask(const char *method, const char *path, const char *body, char *text)
{
    int fd = dial(0), code = 0;
    size_t used = 0;
    request(fd, method, path, body);
    for (ssize_t n; used < TEXT - 1 && (n = read(fd, text + used, TEXT - 1 - used)) > 0;)
        used += (size_t)n;
    close(fd);
    text[used] = '\0';
    if (sscanf(text, "HTTP/1.%*d %d", &code) != 1)
        give_up("an answer is none of HTTP's");
    char *end = strstr(text, "\r\n\r\n");
    memmove(text, end ? end + 4 : text, end ? strlen(end + 4) + 1 : 1);
    return code;
}

static json_t *ask_json(const char *path)
{
    static char text[TEXT];
    int code = ask("GET", path, "", text);
    json_t *json = code == 200 ? json_loads(text, 0, NULL) : NULL;
    if (!json)
        give_up("a state cannot be had");
    return json;
}

static int post(const char *call, const char *body)
{
    static char text[TEXT];
    char path[64];
    snprintf(path, sizeof path, "/api/%s", call);
    return ask("POST", path, body, text);
}

/* ---------------------------------------------------------------- viewers */

static void got_picture(viewer *v, uint64_t number)
{
    pthread_mutex_lock(&v->lock);
    if (v->got++ == 0)
        v->first = number;
    else
        v->passed_over += number - v->last - 1;
    v->last = number;
    v->arrived_ms[number % RECENT] = now_ms();
    v->number_at[number % RECENT] = number;
    pthread_mutex_unlock(&v->lock);
}

/* A stream of parts: heads are read by line, pictures by length. */
static void read_pictures(viewer *v, FILE *stream)
{
    static const char length_key[] = "Content-Length: ", number_key[] = "X-Frame: ";
    char line[512];
    size_t length = 0;
    uint64_t number = 0;
    char *picture = malloc(SLOW_BYTES);
    while (picture && !load.stop && fgets(line, sizeof line, stream)) {
        if (strncmp(line, length_key, strlen(length_key)) == 0)
            length = strtoull(line + strlen(length_key), NULL, 10);
        if (strncmp(line, number_key, strlen(number_key)) == 0)
            number = strtoull(line + strlen(number_key), NULL, 10);
        if (strcmp(line, "\r\n") != 0 || length == 0)
            continue;
        while (length > 0 && !load.stop) {
            size_t n = fread(picture, 1, length < SLOW_BYTES ? length : SLOW_BYTES, stream);
            if (n == 0)
                break;
            length -= n;
            if (v->number == SLOW)
                sleep_ms(250);
        }
        if (length == 0)
            got_picture(v, number);
        length = 0;
    }
    free(picture);
}

static FILE *open_stream(const viewer *v, const char *path)
{
    int fd = dial(v->number == SLOW ? SLOW_BYTES : 0);
    struct timeval wait = {.tv_sec = 2};
    setsockopt(fd, SOL_SOCKET, SO_RCVTIMEO, &wait, sizeof wait);
    request(fd, "GET", path, "");
    return fdopen(fd, "r");
}

static void *watch_pictures(void *cls)
{
    viewer *v = cls;
    FILE *stream = open_stream(v, "/stream.mjpg");
    if (stream) {
        read_pictures(v, stream);
        fclose(stream);
    }
    return NULL;
}

/* What the first viewer hears: latencies. */
static void hear(viewer *v, const char *text, uint64_t *overlay_was, json_int_t *judged_was)
{
    json_t *state = json_loads(text, 0, NULL);
    json_t *live = json_object_get(state, "live"), *over = json_object_get(state, "overlay");
    uint64_t frame = (uint64_t)json_integer_value(json_object_get(over, "frame"));
    json_int_t judged = json_integer_value(json_object_get(live, "kept")) +
                        json_integer_value(json_object_get(live, "left_out"));
    double now = now_ms();
    if (judged != *judged_was && judged > 0)
        note_time(&load.engine, json_number_value(json_object_get(live, "latency_ms")));
    *judged_was = judged;
    pthread_mutex_lock(&v->lock);
    if (frame > *overlay_was && v->number_at[frame % RECENT] == frame)
        note_time(&load.overlay, now - v->arrived_ms[frame % RECENT]);
    pthread_mutex_unlock(&v->lock);
    *overlay_was = frame > *overlay_was ? frame : *overlay_was;
    json_decref(state);
}

static void *watch_states(void *cls)
{
    viewer *v = cls;
    FILE *stream = open_stream(v, "/events");
    char *line = malloc(TEXT);
    uint64_t overlay_was = 0;
    json_int_t judged_was = -1;
    while (stream && line && !load.stop && fgets(line, TEXT, stream)) {
        if (strncmp(line, "data: ", 6) != 0)
            continue;
        v->states_got++;
        if (v->number == SLOW)
            sleep_ms(250);
        if (v->number == 0)
            hear(v, line + 6, &overlay_was, &judged_was);
    }
    free(line);
    if (stream)
        fclose(stream);
    return NULL;
}

static void open_viewers(void)
{
    for (int i = 0; i < VIEWERS; i++) {
        viewer *v = &load.viewer[i];
        v->number = i;
        pthread_mutex_init(&v->lock, NULL);
        if (pthread_create(&v->pictures, NULL, watch_pictures, v) != 0 ||
            pthread_create(&v->states, NULL, watch_states, v) != 0)
            give_up("no threads for the viewers");
    }
}

static void close_viewers(void)
{
    load.stop = true;
    for (int i = 0; i < VIEWERS; i++) {
        pthread_join(load.viewer[i].pictures, NULL);
        pthread_join(load.viewer[i].states, NULL);
    }
}

/* ---------------------------------------------------------------- program and camera */

static void command(const char *format, const char *argument)
{
    char path[96];
    snprintf(path, sizeof path, "%s/camera", load.work);
    FILE *f = fopen(path, "a");
    if (!f)
        give_up("the camera's commands cannot be written");
    fprintf(f, format, argument);
    fputc('\n', f);
    fclose(f);
}

static void link_frames(const char *kind, const char *pattern, int count)
{
    char root[1024], from[2048], to[256];
    snprintf(to, sizeof to, "%s/%s", load.work, kind);
    if (!getcwd(root, sizeof root) || mkdir(to, 0777) != 0)
        give_up("no folder for the frames");
    for (int i = 0; i < count; i++) {
        char name[32];
        snprintf(name, sizeof name, pattern, i);
        snprintf(from, sizeof from, "%s/samples/PE-A-0147/08-G/%s", root, name);
        snprintf(to, sizeof to, "%s/%s/%s", load.work, kind, name);
        if (symlink(from, to) != 0)
            give_up("no frames");
    }
}

static void camera_shows(const char *kind)
{
    char folder[96];
    snprintf(folder, sizeof folder, "%s/%s", load.work, kind);
    command("frames %s", folder);
}

static void make_camera(void)
{
    char number[16];
    snprintf(load.work, sizeof load.work, "/tmp/rimglow-load-XXXXXX");
    if (!mkdtemp(load.work))
        give_up("no folder to work in");
    link_frames("witness", "witness.jpg", 1);
    link_frames("closed", "view_%02d.jpg", 30);
    camera_shows("witness");
    snprintf(number, sizeof number, "%d", load.fps);
    command(load.frames ? "instant" : "rate %s", number);
}

static void run_program(int out)
{
    char camera[96], sweeps[96], archive[96];
    snprintf(camera, sizeof camera, "%s/camera", load.work);
    snprintf(sweeps, sizeof sweeps, "%s/sweeps", load.work);
    snprintf(archive, sizeof archive, "%s/archive", load.work);
    setenv("RG_FAKE_CAMERA", camera, 1);
    setenv("LD_PRELOAD", load.shim, 1);
    dup2(out, STDOUT_FILENO);
    execl(load.program, load.program, "bench", "--instrument", "calib/alto-loan.ini", "--station",
          "calib/bench.ini", "--serial", "PE-A-0147", "--technician", "A. Bell", "--port", "0",
          "-o", sweeps, "-a", archive, (char *)NULL);
    _exit(127);
}

static void start_program(void)
{
    int pipes[2];
    char line[256];
    if (pipe(pipes) != 0 || (load.child = fork()) < 0)
        give_up("the program cannot be started");
    if (load.child == 0)
        run_program(pipes[1]);
    close(pipes[1]);
    FILE *said = fdopen(pipes[0], "r");
    while (said && fgets(line, sizeof line, said))
        if (sscanf(line, "= http://127.0.0.1:%d", &load.port) == 1)
            break;
    if (!load.port)
        give_up("the program names no address");
    snprintf(load.url_host, sizeof load.url_host, "127.0.0.1:%d", load.port);
    json_t *session = ask_json("/api/session");
    snprintf(load.csrf, sizeof load.csrf, "%s",
             json_string_value(json_object_get(session, "csrf")));
    json_decref(session);
}

/* ---------------------------------------------------------------- memory and processor */

static double memory_mb(void)
{
    char path[64], line[256];
    double kb = NAN;
    snprintf(path, sizeof path, "/proc/%d/status", (int)load.child);
    FILE *f = fopen(path, "r");
    while (f && fgets(line, sizeof line, f))
        if (sscanf(line, "VmRSS: %lf", &kb) == 1)
            break;
    if (f)
        fclose(f);
    return kb / 1024;
}

static double processor_s(void)
{
    char path[64];
    unsigned long user = 0, system = 0;
    snprintf(path, sizeof path, "/proc/%d/stat", (int)load.child);
    FILE *f = fopen(path, "r");
    if (f && fscanf(f, "%*d (%*[^)]) %*c %*d %*d %*d %*d %*d %*u %*u %*u %*u %*u %lu %lu", &user,
                    &system) != 2)
        user = system = 0;
    if (f)
        fclose(f);
    return (double)(user + system) / (double)sysconf(_SC_CLK_TCK);
}

static double machine_load(void)
{
    double one = NAN;
    FILE *f = fopen("/proc/loadavg", "r");
    if (f && fscanf(f, "%lf", &one) != 1)
        one = NAN;
    if (f)
        fclose(f);
    return one;
}

/* ---------------------------------------------------------------- the technician */

static json_int_t account_of(const json_t *state, const char *key)
{
    return json_integer_value(json_object_get(json_object_get(state, "account"), key));
}

static bool witness_is_proven(const json_t *state)
{
    const json_t *coverage = json_object_get(json_object_get(state, "live"), "coverage");
    return json_is_true(json_object_get(coverage, "witness"));
}

static bool taking(const json_t *state)
{
    return strcmp(json_string_value(json_object_get(state, "role")), "none") != 0;
}

/* One look, five times a second: what a technician would press next. */
static void press(const json_t *state)
{
    double now = now_ms();
    if (load.closed_since_ms > 0 && now - load.closed_since_ms > load.sweep_s * 1e3) {
        post("redo", "{}");
        load.sweeps++;
        load.closed_since_ms = 0;
        camera_shows("witness");
        return;
    }
    if (taking(state))
        return;
    if (!witness_is_proven(state)) {
        post("role", "{\"role\":\"witness\"}");
        return;
    }
    if (load.closed_since_ms <= 0) {
        camera_shows("closed");
        load.closed_since_ms = now;
        sleep_ms(100); /* what is still on its way is the witness's */
    }
    post("role", "{\"role\":\"closed\"}");
}

static bool goes_on(const json_t *state, double start_ms)
{
    if (load.frames)
        return (uint64_t)account_of(state, "passed") < load.frames;
    return now_ms() - start_ms < load.seconds * 1e3;
}

static void say_minute(const json_t *state, double start_ms)
{
    if (!load.brief)
        printf(
            "  %5.0f s  %8lld frames  %4d sweeps  %7.1f MB  missed %lld  skipped %lld  load %.1f\n",
            (now_ms() - start_ms) / 1e3, (long long)account_of(state, "given"), load.sweeps,
            memory_mb(), (long long)account_of(state, "missed"),
            (long long)account_of(state, "skipped"), machine_load());
    fflush(stdout);
}

/* Every tenth of the frames, or by time. */
static bool say_now(const json_t *state, double *next_ms)
{
    if (load.frames) {
        if ((uint64_t)account_of(state, "passed") * 10 < load.frames * (uint64_t)load.tenths)
            return false;
        load.memory_mb[load.tenths < 10 ? load.tenths : 10] = memory_mb();
        load.tenths++;
        return true;
    }
    if (now_ms() < *next_ms)
        return false;
    *next_ms += load.seconds > 120 ? 60e3 : 5e3;
    return true;
}

static void work_through(double start_ms)
{
    double next_ms = start_ms;
    for (;;) {
        json_t *state = ask_json("/api/state");
        bool on = goes_on(state, start_ms);
        if (on && !load.frames)
            press(state);
        if (say_now(state, &next_ms))
            say_minute(state, start_ms);
        json_decref(state);
        if (!on)
            return;
        sleep_ms(200);
    }
}

/* ---------------------------------------------------------------- what came of it */

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void print_times(const char *what, times *t)
{
    if (t->count == 0)
        return;
    qsort(t->ms, t->count, sizeof *t->ms, by_size);
    double median = t->ms[t->count / 2];
    printf("  %-36s %7.1f ms median, %.1f p95, %.1f most (%zu); aim %d: %.2f of it\n", what, median,
           t->ms[t->count * 95 / 100], t->ms[t->count - 1], t->count, AIM_MS, median / AIM_MS);
}

static bool adds_up(bool yes, const char *claim)
{
    if (!yes)
        printf("  NOT SO: %s\n", claim);
    return yes;
}

static bool print_viewers(json_int_t given)
{
    bool all = true;
    for (int i = 0; i < VIEWERS; i++) {
        const viewer *v = &load.viewer[i];
        printf("  viewer %d%-8s %8llu pictures, %llu passed over, %llu states\n", i + 1,
               i == SLOW ? ", slow" : "", (unsigned long long)v->got,
               (unsigned long long)v->passed_over, (unsigned long long)v->states_got);
        all &= adds_up(v->got > 0 && v->last <= (uint64_t)given, "a viewer has pictures");
    }
    return all;
}

static bool print_accounts(const json_t *state)
{
    long long given = account_of(state, "given"), missed = account_of(state, "missed"),
              passed = account_of(state, "passed"), offered = account_of(state, "offered"),
              kept = account_of(state, "kept"), left = account_of(state, "left_out"),
              skipped = account_of(state, "skipped"), bad = account_of(state, "bad");
    printf("  camera: %lld given, %lld missed, %lld bad; passed to the stream %lld\n", given,
           missed, bad, passed);
    printf("  engine: %lld offered = %lld kept + %lld left out + %lld skipped; %lld only shown\n",
           offered, kept, left, skipped, passed - offered);
    bool all = adds_up(given == passed, "every frame that the camera gave was passed on");
    all &= adds_up(offered == kept + left + skipped, "every frame offered is accounted for");
    all &= adds_up(offered <= passed && bad == 0, "nothing is offered that was not given");
    return print_viewers(given) && all;
}

static json_t *settled_state(void)
{
    json_t *state = NULL;
    post("role", "{\"role\":\"none\"}");
    post("redo", "{}");
    command("stall %s", "1");
    sleep_ms(2500); /* accounts are told once a second */
    for (json_int_t was = -1; state == NULL || account_of(state, "given") != was; sleep_ms(200)) {
        was = state ? account_of(state, "given") : -1;
        json_decref(state);
        state = ask_json("/api/state");
    }
    return state;
}

static bool end_program(void)
{
    int status = 0;
    kill(load.child, SIGINT);
    waitpid(load.child, &status, 0);
    load.child = 0;
    return adds_up(WIFEXITED(status) && WEXITSTATUS(status) == 0, "the program ends in order");
}

static void remove_work(void)
{
    char line[128];
    snprintf(line, sizeof line, "rm -rf '%s'", load.work);
    if (system(line) != 0)
        fprintf(stderr, "live_load: %s stays\n", load.work);
}

static bool run(void)
{
    make_camera();
    start_program();
    open_viewers();
    post("pad", "{\"pad\":\"G\"}");
    sleep_ms(1000);
    double start = now_ms(), processor = processor_s();
    work_through(start);
    double seconds = (now_ms() - start) / 1e3;
    processor = processor_s() - processor;
    json_t *state = settled_state();
    sleep_ms(500);
    bool all = print_accounts(state);
    all &= !load.frames || adds_up(load.memory_mb[10] < load.memory_mb[1] + GROWTH_MB,
                                   "memory does not grow with the frames");
    print_times("frame to the state that tells of it", &load.engine);
    print_times("picture to its overlay, at a viewer", &load.overlay);
    printf("  %.1f s, %.1f frames a second, %d sweeps; processor %.2f of one core; %.1f MB; load "
           "%.1f\n",
           seconds, (double)account_of(state, "given") / seconds, load.sweeps, processor / seconds,
           memory_mb(), machine_load());
    json_decref(state);
    close_viewers();
    all &= end_program();
    remove_work();
    return all;
}

static bool read_option(const char *name, const char *value)
{
    if (strcmp(name, "--seconds") == 0)
        load.seconds = atoi(value);
    else if (strcmp(name, "--fps") == 0)
        load.fps = atoi(value);
    else if (strcmp(name, "--sweep") == 0)
        load.sweep_s = atoi(value);
    else if (strcmp(name, "--frames") == 0)
        load.frames = strtoull(value, NULL, 10);
    else if (strcmp(name, "--program") == 0)
        load.program = value;
    else if (strcmp(name, "--shim") == 0)
        load.shim = value;
    else
        return false;
    return true;
}

int main(int argc, char **argv)
{
    for (int i = 1; i < argc; i++) {
        if (strcmp(argv[i], "--brief") == 0)
            load.brief = true;
        else if (i + 1 < argc && read_option(argv[i], argv[i + 1]))
            i++;
        else
            give_up("unknown option; the head of tests/tools/live_load.c lists them");
    }
    signal(SIGPIPE, SIG_IGN);
    load.engine.ms = malloc(TIMES_MAX * sizeof(double));
    load.overlay.ms = malloc(TIMES_MAX * sizeof(double));
    if (!load.engine.ms || !load.overlay.ms)
        give_up("no memory");
    if (load.frames)
        printf("bench, 1280 x 720, %llu frames as fast as they are passed on, three viewers\n",
               (unsigned long long)load.frames);
    else
        printf("bench, 1280 x 720, %d frames a second for %d s, three viewers\n", load.fps,
               load.seconds);
    return run() ? 0 : 1;
}
