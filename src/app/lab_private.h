/*
 * lab_private.h - what the files of the lab share.
 */
#ifndef RIMGLOW_APP_LAB_PRIVATE_H
#define RIMGLOW_APP_LAB_PRIVATE_H

#include <pthread.h>

#include "rimglow/lab.h"
#include "rimglow/synth.h"

enum { RG_LAB_WITNESSES = 8, RG_LAB_FINDERS = 64, RG_LAB_LAMPS = 2 };

/* The cracked pad's light is a sum of these, since light adds up: the room alone, and with the lamp as
 * usual. So another brightness needs no new drawing. */
typedef struct rg_lab_lamps {
    rg_render_sweep face; /* with the lamp as usual */
    bool there[RG_LAB_LAMPS];
    rg_synth_view view[RG_LAB_LAMPS]; /* owned */
} rg_lab_lamps;

/* A witness frame, taken, of one lamp. */
typedef struct rg_lab_witness {
    bool there;
    rg_render_sweep face; /* a pad without faults under this lamp */
    rg_frame frame;       /* plain values: a witness has no strip */
} rg_lab_witness;

struct rg_lab {
    rg_teach_settings settings;
    rg_instrument instrument; /* owned */
    const rg_pad *pad;        /* of it */
    rg_station station;
    rg_setup setup; /* with the lens of the picture */
    rg_render_sweep start;
    rg_synth_eye *eye;       /* owned */
    rg_synth_sensor *sensor; /* owned */
    int workers;
    pthread_mutex_t lock; /* of all that follows */
    int finders;
    rg_tag_finder *finder[RG_LAB_FINDERS]; /* owned; at rest */
    int next_witness;
    rg_lab_witness witness[RG_LAB_WITNESSES];
    pthread_mutex_t drawing; /* of lamps */
    rg_lab_lamps lamps;
};

/* One photograph to be made. */
typedef struct rg_lab_shot {
    rg_synth_scene scene;
    rg_pose camera;
    double exposure;
    rg_frame_role role;
    uint64_t seed;
    rg_synth_drawing *drawing; /* owned */
    uint8_t *jpeg;             /* owned */
    size_t size;
    rg_frame frame; /* owned */
    double expose_ms, take_ms;
} rg_lab_shot;
void rg_lab_shot_free(rg_lab_shot *shot);

double rg_lab_now_ms(void);

/* The case's pad under its finger. */
rg_render_sweep rg_lab_pressed(const rg_lab *lab, const rg_lab_case *c);
rg_lab_shot rg_lab_closed(const rg_lab *lab, const rg_lab_case *c);
/* cracked: of the case's own face; otherwise of a pad without faults. */
rg_lab_shot rg_lab_cracked(const rg_lab *lab, const rg_render_sweep *face, uint64_t seed);
/* Draws a shot in bands on the lab's workers, exposes and takes it. */
rg_code rg_lab_shoot(rg_lab *lab, const rg_render_sweep *face, rg_lab_shot *shot, double *render_ms,
                     rg_error *err);
/* The light of such shots alone, to be freed by the caller. */
rg_code rg_lab_light(rg_lab *lab, const rg_render_sweep *face, rg_lab_shot *shot, int count,
                     rg_synth_view *view, rg_error *err);
/* What follows once the shot's light is there. */
rg_code rg_lab_develop(rg_lab *lab, const rg_render_sweep *face, const rg_synth_view *view,
                       rg_lab_shot *shot, rg_error *err);
/* lab_witness.c: of a pad without faults under the case's lamp; plain values, nothing is owned. *drawn:
 * something had to be drawn. */
rg_code rg_lab_witness_of(rg_lab *lab, const rg_lab_case *c, rg_frame *frame, bool *drawn,
                          rg_error *err);
void rg_lab_lamps_free(rg_lab_lamps *lamps);
/* One shot, on this thread alone. */
rg_code rg_lab_shoot_alone(rg_lab *lab, const rg_render_sweep *face, rg_lab_shot *shot,
                           rg_error *err);

#endif
