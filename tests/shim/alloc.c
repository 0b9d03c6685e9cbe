/*
 * alloc.c - memory that runs out, for LD_PRELOAD; or, compiled with -DALLOC_WRAPPED, for a program linked with
 * -Wl,--wrap=malloc and the like (under ASan, which has to be the first library itself).
 *
 * malloc, calloc, realloc, reallocarray, aligned_alloc and posix_memalign are counted from 1, from the start of
 * main(); strdup() and the like are seen as the C library's calls, or, wrapped, by their own names. Wrapped, only
 * calls made by our own objects are seen, preloaded those of every library.
 *
 *   ALLOC_AT=N         allocation N fails
 *   ALLOC_WALK=1       every one fails in turn: a child process is forked in which it does and the rest of the
 *                      program runs to its end; meanwhile this process waits, and then goes on as if nothing
 *                      had been. What children write, this process writes over; so the command must be one
 *                      that may run again and again.
 *   ALLOC_FROM=1       with either: every one after it fails, too
 *   ALLOC_STRIDE=S ALLOC_OFFSET=O   walk: only allocations N with N mod S = O,
 *   ALLOC_FIRST=K      and the first K of each calling address
 *   ALLOC_OF=NAME,...  only allocations by objects (program, library) whose file name begins so count
 *   ALLOC_NOT=NAME,... only allocations by others
 *   ALLOC_AFTER=COMMAND   walk: is run by sh after each child; when it fails, the child left something wrong
 *   ALLOC_LOG=FILE     walk: for each child a line, divided by tabs: N, caller (OBJECT+OFFSET), the
 *                      innermost caller of the program itself, "exit CODE" or
 *                      "signal NUMBER" (14: it was still running after SECONDS), "whole" or "spoiled" (ALLOC_AFTER), lines on standard error, the last
 *                      of them. At the end a line "count OBJECT NUMBER" for each object that allocated.
 *
 * Limits: the walk is for one thread (inspect -j 1). A child is forked by the bare system call, so that the C
 * library takes it for its parent: mutexes that remember their owner by its number stay its own.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <link.h>
#include <pthread.h>
#include <signal.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

enum { OBJECTS = 200, RANGES = 800, NAME = 60, LINE = 1500, SECONDS = 30, SITES = 8009 };

#ifdef ALLOC_WRAPPED
enum { WRAPPED = 1 }; /* our own code alone calls here: ALLOC_OF and ALLOC_NOT say nothing */
#else
enum { WRAPPED = 0 };
#endif

typedef struct object {
    char name[NAME];
    uintptr_t base;
    long count;
    bool counts; /* by ALLOC_OF and ALLOC_NOT */
} object;

typedef struct range {
    uintptr_t from, to;
    object *owner;
} range;

static pthread_mutex_t lock = PTHREAD_RECURSIVE_MUTEX_INITIALIZER_NP;
static struct {
    bool on, walk, from, inside, failing;
    long at, stride, offset, first, count;
    int log;
    const char *after, *of, *not ;
    object object[OBJECTS];
    range range[RANGES];
    int objects, ranges;
} now = {.log = -1};

/* ---------------------------------------------------------------- who calls */

static bool listed(const char *names, const char *name)
{
    for (const char *at = names; at && *at; at += strcspn(at, ","), at += *at == ',') {
        size_t n = strcspn(at, ",");
        if (n > 0 && strncmp(at, name, n) == 0)
            return true;
    }
    return false;
}

static object *object_named(const char *path, uintptr_t base)
{
    const char *slash = strrchr(path, '/');
    const char *name = slash ? slash + 1 : path;
    for (int i = 0; i < now.objects; i++)
        if (strncmp(now.object[i].name, name, NAME - 1) == 0)
            return &now.object[i];
    if (now.objects == OBJECTS)
        return &now.object[0];
    object *o = &now.object[now.objects++];
    snprintf(o->name, NAME, "%s", name);
    o->base = base;
    o->counts = WRAPPED || ((!now.of || listed(now.of, name)) && !listed(now.not, name));
    return o;
}

static int take_ranges(struct dl_phdr_info *info, size_t size, void *context)
{
    (void)size;
    (void)context;
    const char *path = info->dlpi_name[0] ? info->dlpi_name : program_invocation_short_name;
    object *o = object_named(path, info->dlpi_addr);
    for (int i = 0; i < info->dlpi_phnum && now.ranges < RANGES; i++) {
        const ElfW(Phdr) *h = &info->dlpi_phdr[i];
        if (h->p_type == PT_LOAD && h->p_flags & PF_X)
            now.range[now.ranges++] =
                (range){info->dlpi_addr + h->p_vaddr, info->dlpi_addr + h->p_vaddr + h->p_memsz, o};
    }
    return 0;
}

static object *owner_of(uintptr_t caller)
{
    for (int attempt = 0; attempt < 2; attempt++) {
        for (int i = 0; i < now.ranges; i++)
            if (caller >= now.range[i].from && caller < now.range[i].to)
                return now.range[i].owner;
        now.ranges = 0; /* a library that was loaded since */
        dl_iterate_phdr(take_ranges, NULL);
    }
    return object_named("unknown", 0);
}

/* The innermost caller that is of the program itself: for a library's allocation, what of ours asked for it. */
static void through(char to[NAME + 30])
{
    void *frame[100];
    int n = backtrace(frame, sizeof frame / sizeof *frame);
    snprintf(to, NAME + 30, "none");
    for (int i = 0; i < n; i++) {
        object *o = owner_of((uintptr_t)frame[i]);
        if (o != &now.object[0])
            continue;
        snprintf(to, NAME + 30, "%s+%#lx", o->name, (unsigned long)((uintptr_t)frame[i] - o->base));
        return;
    }
}

/* ---------------------------------------------------------------- settings */

static long number(const char *name, long otherwise)
{
    const char *text = getenv(name);
    return text ? strtol(text, NULL, 10) : otherwise;
}

__attribute__((constructor)) static void begin(void)
{
    const char *log = getenv("ALLOC_LOG");
    now.at = number("ALLOC_AT", 0);
    now.walk = number("ALLOC_WALK", 0) != 0;
    now.from = number("ALLOC_FROM", 0) != 0;
    now.stride = number("ALLOC_STRIDE", 1);
    now.offset = number("ALLOC_OFFSET", 0);
    now.first = number("ALLOC_FIRST", 0);
    now.after = getenv("ALLOC_AFTER");
    now.of = getenv("ALLOC_OF");
    now.not = getenv("ALLOC_NOT");
    if (log) {
        int fd = open(log, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0666);
        now.log = fcntl(fd, F_DUPFD_CLOEXEC, 300);
        close(fd);
    }
    dl_iterate_phdr(take_ranges, NULL);
    now.on = now.at > 0 || now.walk || log;
}

static void tell(const char *line)
{
    if (now.log >= 0 && write(now.log, line, strlen(line)) < 0)
        abort();
}

__attribute__((destructor)) static void end(void)
{
    char line[NAME + 60];
    if (now.failing || !now.on)
        return;
    now.on = false;
    for (int i = 0; i < now.objects; i++) {
        snprintf(line, sizeof line, "count\t%s\t%ld\n", now.object[i].name, now.object[i].count);
        if (now.object[i].count > 0)
            tell(line);
    }
}

/* ---------------------------------------------------------------- the walk */

/* How many lines a child said, and the last of them without its newline. */
static int last_line(int fd, char to[LINE])
{
    static char text[1 << 16];
    ssize_t size = pread(fd, text, sizeof text - 1, 0);
    int lines = 0;
    text[size > 0 ? size : 0] = 0;
    to[0] = 0;
    for (char *at = text; *at; lines++) {
        size_t n = strcspn(at, "\n");
        snprintf(to, LINE, "%.*s", (int)n, at);
        at += n + (at[n] == '\n');
    }
    return lines;
}

static void report(const object *o, uintptr_t caller, int status, int said)
{
    static char text[LINE], line[LINE + 300];
    char ours[NAME + 30];
    through(ours);
    int lines = last_line(said, text);
    unsetenv("LD_PRELOAD"); /* what ALLOC_AFTER starts is not to be counted */
    bool spoiled = now.after && system(now.after) != 0;
    bool ended = WIFEXITED(status);
    snprintf(line, sizeof line, "%ld\t%s+%#lx\t%s\t%s %d\t%s\t%d\t%s\n", now.count, o->name,
             (unsigned long)(caller - o->base), ours, ended ? "exit" : "signal",
             ended ? WEXITSTATUS(status) : WTERMSIG(status), spoiled ? "spoiled" : "whole", lines,
             text);
    tell(line);
}

static void become_child(int said)
{
    int null = open("/dev/null", O_WRONLY | O_CLOEXEC);
    dup2(null, 1);
    dup2(said, 2);
    now.failing = true;
    alarm(SECONDS);
}

/* True in the child, in which the allocation fails. */
static bool fail_in_child(const object *o, uintptr_t caller)
{
    int said = memfd_create("said", MFD_CLOEXEC), status = 0;
    pid_t child = (pid_t)syscall(SYS_clone, SIGCHLD, NULL, NULL, NULL, NULL);
    if (child == 0) {
        become_child(said);
        return true;
    }
    if (child < 0 || said < 0)
        abort();
    while (waitpid(child, &status, 0) < 0 && errno == EINTR)
        ;
    report(o, caller, status, said);
    close(said);
    return false;
}

/* How often this address has called before. */
static long calls_of(uintptr_t caller)
{
    static struct {
        uintptr_t caller;
        long calls;
    } site[SITES];
    size_t at = caller % SITES;
    for (int i = 0; i < SITES; i++, at = (at + 1) % SITES) {
        if (site[at].caller == 0)
            site[at].caller = caller;
        if (site[at].caller == caller)
            return site[at].calls++;
    }
    abort(); /* SITES is too small */
}

static bool due(uintptr_t caller)
{
    bool early = now.walk && calls_of(caller) < now.first;
    return now.walk ? early || now.count % now.stride == now.offset % now.stride
                    : now.count == now.at;
}

/* Counts one allocation; true when it is to fail. */
static bool fails(const void *caller)
{
    if (!now.on)
        return false;
    pthread_mutex_lock(&lock);
    bool answer = false;
    if (!now.inside) {
        int reason = errno;
        now.inside = true;
        object *o = owner_of((uintptr_t)caller);
        o->count++;
        if (o->counts) {
            now.count++;
            if (now.failing)
                answer = now.from;
            else if (due((uintptr_t)caller))
                answer = now.walk ? fail_in_child(o, (uintptr_t)caller) : (now.failing = true);
        }
        now.inside = false;
        errno = answer ? ENOMEM : reason;
    }
    pthread_mutex_unlock(&lock);
    return answer;
}

/* ---------------------------------------------------------------- the calls */

#define CALLER __builtin_return_address(0)

#ifdef ALLOC_WRAPPED
#define STAND_IN(name) __wrap_##name
#define REAL(name)     __real_##name
void *__real_aligned_alloc(size_t alignment, size_t size);
int __real_posix_memalign(void **to, size_t alignment, size_t size);
char *__real_strdup(const char *text);
char *__real_strndup(const char *text, size_t size);
#else
#define STAND_IN(name) name
#define REAL(name)     __libc_##name
void *__libc_memalign(size_t alignment, size_t size);
#endif

void *REAL(malloc)(size_t size);
void *REAL(calloc)(size_t count, size_t size);
void *REAL(realloc)(void *block, size_t size);

void *STAND_IN(malloc)(size_t size);
void *STAND_IN(calloc)(size_t count, size_t size);
void *STAND_IN(realloc)(void *block, size_t size);
void *STAND_IN(reallocarray)(void *block, size_t count, size_t size);
void *STAND_IN(aligned_alloc)(size_t alignment, size_t size);
int STAND_IN(posix_memalign)(void **to, size_t alignment, size_t size);

void *STAND_IN(malloc)(size_t size)
{
    return fails(CALLER) ? NULL : REAL(malloc)(size);
}

void *STAND_IN(calloc)(size_t count, size_t size)
{
    return fails(CALLER) ? NULL : REAL(calloc)(count, size);
}

void *STAND_IN(realloc)(void *block, size_t size)
{
    return fails(CALLER) ? NULL : REAL(realloc)(block, size);
}

void *STAND_IN(reallocarray)(void *block, size_t count, size_t size)
{
    if (fails(CALLER) || (size > 0 && count > SIZE_MAX / size)) {
        errno = ENOMEM;
        return NULL;
    }
    return REAL(realloc)(block, count * size);
}

void *STAND_IN(aligned_alloc)(size_t alignment, size_t size)
{
    if (fails(CALLER))
        return NULL;
#ifdef ALLOC_WRAPPED
    return REAL(aligned_alloc)(alignment, size);
#else
    return REAL(memalign)(alignment, size);
#endif
}

int STAND_IN(posix_memalign)(void **to, size_t alignment, size_t size)
{
    if (fails(CALLER))
        return ENOMEM;
#ifdef ALLOC_WRAPPED
    return REAL(posix_memalign)(to, alignment, size);
#else
    void *block = REAL(memalign)(alignment, size);
    if (!block)
        return ENOMEM;
    *to = block;
    return 0;
#endif
}

#ifdef ALLOC_WRAPPED
char *STAND_IN(strdup)(const char *text);
char *STAND_IN(strndup)(const char *text, size_t size);

char *STAND_IN(strdup)(const char *text)
{
    return fails(CALLER) ? NULL : REAL(strdup)(text);
}

char *STAND_IN(strndup)(const char *text, size_t size)
{
    return fails(CALLER) ? NULL : REAL(strndup)(text, size);
}
#endif
