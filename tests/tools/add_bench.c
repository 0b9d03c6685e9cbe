/*
 * add_bench.c - make bench: adding an instrument of 24 pads to an archive, as a ratio to
 * copying the same files with an fsync for each, on the same disk, in the same run.
 *
 *   add_bench [FOLDER]     works in a new folder below it (default: build)
 *
 * The pads are the sample sweeps, four times over, under other folder names; their results are made
 * once before, as rimglow inspect does, and are not timed.
 */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "rimglow/archive.h"
#include "rimglow/file.h"

enum { SAMPLES = 6, TIMES = 4, PADS = SAMPLES * TIMES, RUNS = 5 };

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void fail(const rg_error *err)
{
    fprintf(stderr, "add_bench: %s\n", err->text);
    exit(1);
}

static void run(const char *format, ...) __attribute__((format(printf, 1, 2)));
static void run(const char *format, ...)
{
    char command[2000];
    va_list args;
    va_start(args, format);
    vsnprintf(command, sizeof command, format, args);
    va_end(args);
    if (system(command) != 0) {
        fprintf(stderr, "add_bench: %s failed\n", command);
        exit(1);
    }
}

/* Every file of a folder and its folders, read whole and written with an fsync; bytes. */
static uint64_t copy_all(const char *from, const char *to)
{
    rg_error err = {0};
    char list[1300], line[1000], target[2200];
    uint64_t bytes = 0;
    snprintf(list, sizeof list, "cd %s && find . -type f | sort", from);
    FILE *files = popen(list, "r");
    while (files && fgets(line, sizeof line, files)) {
        uint8_t *data = NULL;
        size_t size;
        line[strcspn(line, "\n")] = 0;
        snprintf(target, sizeof target, "%s/%s", from, line);
        if (rg_file_read(target, 1 << 30, &data, &size, &err) != RG_OK)
            fail(&err);
        snprintf(target, sizeof target, "%s/%s", to, line);
        *strrchr(target, '/') = 0;
        if (rg_folder_make(target, &err) != RG_OK)
            fail(&err);
        snprintf(target, sizeof target, "%s/%s", to, line);
        if (rg_file_write(target, data, size, &err) != RG_OK)
            fail(&err);
        bytes += size;
        free(data);
    }
    if (files)
        pclose(files);
    return bytes;
}

static double median(double *x, int n)
{
    for (int i = 1; i < n; i++)
        for (int k = i; k > 0 && x[k] < x[k - 1]; k--) {
            double t = x[k];
            x[k] = x[k - 1];
            x[k - 1] = t;
        }
    return x[n / 2];
}

int main(int argc, char **argv)
{
    static const char *const sample[SAMPLES] = {"04-C",       "05-B", "06-A",
                                                "07-G-sharp", "08-G", "09-F-sharp"};
    static char folder[PADS][600];
    const char *list[PADS];
    char base[400], archive[500], results[500], place[1200], copy[600];
    double add[RUNS], plain[RUNS], hash;
    rg_error err = {0};
    rg_archive_added added = {0};
    char here[700];
    uint64_t bytes = 0;
    if (!getcwd(here, sizeof here))
        return 1;
    snprintf(base, sizeof base, "%s/add-bench-%ld", argc > 1 ? argv[1] : "build", (long)getpid());
    snprintf(archive, sizeof archive, "%s/archive", base);
    snprintf(results, sizeof results, "%s/results", base);
    run("mkdir -p %s", base);
    for (int i = 0; i < PADS; i++) {
        snprintf(folder[i], sizeof folder[i], "%s/%02d-%s", base, i, sample[i % SAMPLES]);
        run("cp -r samples/PE-A-0147/%s %s && sed -i 's|= ../../../calib|= %s/calib|' "
            "%s/sweep.ini",
            sample[i % SAMPLES], folder[i], here, folder[i]);
        list[i] = folder[i];
    }
    rg_archive_visit visit = {.technician = "bench",
                              .occasion = "",
                              .note = "",
                              .results = results,
                              .time = 1700000000,
                              .folder = list,
                              .folders = PADS};
    if (rg_archive_add(archive, &visit, NULL, &added, &err) != RG_OK)
        fail(&err);
    for (int r = 0; r < RUNS; r++) {
        visit.time++;
        double t0 = now();
        if (rg_archive_add(archive, &visit, NULL, &added, &err) != RG_OK)
            fail(&err);
        add[r] = now() - t0;
        snprintf(place, sizeof place, "%s/bags/%s", archive, added.bag);
        snprintf(copy, sizeof copy, "%s/copy-%d", base, r);
        t0 = now();
        bytes = copy_all(place, copy);
        plain[r] = now() - t0;
        run("rm -rf %s", copy);
    }
    uint8_t *block = calloc(1, 1 << 20);
    double t0 = now();
    for (int i = 0; block && i < 64; i++)
        block[0] ^= rg_digest_of(block, 1 << 20).byte[0];
    hash = 64 / (now() - t0);
    free(block);
    run("rm -rf %s", base);
    double a = median(add, RUNS), p = median(plain, RUNS);
    printf("archive add, %d pads, %.0f MB in %d files, results at hand\n", PADS,
           (double)bytes / 1e6, (int)added.files);
    printf("  plain copy with an fsync for each file   1 (%.0f ms, the reference)\n", 1e3 * p);
    printf("  rimglow archive add                      %.2f (%.0f ms, of which about %.0f ms are "
           "SHA-256 at %.0f MB/s)\n",
           a / p, 1e3 * a, (double)bytes / 1e6 / hash * 1e3, hash);
    return 0;
}
