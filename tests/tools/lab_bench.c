/*
 * lab_bench.c - make bench: how long a look of the lab takes (lab.h), from a slider's movement to picture,
 * map and verdict. Medians; processor time also as a ratio to one full decode (RGB) of the picture just drawn,
 * because machines differ. Nothing depends on the figures; a page wants the time by the wall below 150 ms.
 */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "rimglow/lab.h"
#include "rimglow/stats.h"

enum { LOOKS = 25 };

typedef enum moved { GAP, CAMERA, LAMP, KINDS } moved;
static const char *const kind_name[KINDS] = {"gap, finger or face", "camera, views adding up",
                                             "lamp"};

static double now_ms(clockid_t clock)
{
    struct timespec t;
    clock_gettime(clock, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec * 1e-6;
}

static rg_lab_case moved_case(const rg_lab *lab, moved kind, int i)
{
    rg_lab_case c;
    rg_lab_start(lab, &c);
    c.face.creases = 1;
    c.face.crease[0] = (rg_render_crease){90, 40, kind == GAP ? 0.03 + 0.005 * i : 0.06};
    if (kind == CAMERA)
        c.elevation_deg = 0.1 * (i - LOOKS / 2);
    if (kind == LAMP) {
        c.face.lamp *= 0.7 + 0.02 * i;
        c.face.lamp_uneven = 0.5;
        c.face.lamp_bearing_deg = 10 * i;
    }
    return c;
}

static double decode_ms(const rg_lab_look *k)
{
    rg_image image;
    double start = now_ms(CLOCK_PROCESS_CPUTIME_ID);
    if (rg_decode(k->jpeg, k->jpeg_size, &image, NULL) != RG_OK)
        exit(1);
    rg_image_free(&image);
    return now_ms(CLOCK_PROCESS_CPUTIME_ID) - start;
}

static void time_kind(rg_lab *lab, moved kind)
{
    double wall[LOOKS], cpu[LOOKS], decode[LOOKS];
    rg_lab_hand *hand;
    if (rg_lab_hand_new(&hand, NULL) != RG_OK)
        exit(1);
    for (int i = -2; i < LOOKS; i++) { /* the first draw the lamps */
        rg_lab_look k;
        const rg_lab_case c = moved_case(lab, kind, i);
        double start = now_ms(CLOCK_PROCESS_CPUTIME_ID);
        if (rg_lab_look_at(lab, hand, &c, &k, NULL) != RG_OK)
            exit(1);
        if (i >= 0) {
            cpu[i] = now_ms(CLOCK_PROCESS_CPUTIME_ID) - start;
            wall[i] = k.ms.all;
            decode[i] = decode_ms(&k);
        }
        rg_lab_look_free(&k);
    }
    rg_lab_hand_free(hand);
    double reference = rg_median_inplace(decode, LOOKS), spent = rg_median_inplace(cpu, LOOKS);
    printf("  %-26s %7.1f ms by the wall, %7.1f ms processor time, %6.1f of a full decode\n",
           kind_name[kind], rg_median_inplace(wall, LOOKS), spent, spent / reference);
}

int main(void)
{
    rg_lab *lab;
    rg_error err = {0};
    const rg_lab_options options = {0};
    if (rg_lab_open(&options, &lab, &err) != RG_OK) {
        fprintf(stderr, "lab_bench: %s\n", err.text);
        return 1;
    }
    printf("a look of the lab, %d x %d px, all cores, median of %d\n", rg_lab_settings(lab)->width,
           rg_lab_settings(lab)->height, LOOKS);
    for (int kind = 0; kind < KINDS; kind++)
        time_kind(lab, (moved)kind);
    rg_lab_close(lab);
    return 0;
}
