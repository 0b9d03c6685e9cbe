/*
 * proof.h - proofs by sampling: rendered sweeps (rimglow/synth.h) measured by
 * the ordinary pipeline with the demo bench's values, again and again.
 */
#ifndef RIMGLOW_TESTS_PROOF_H
#define RIMGLOW_TESTS_PROOF_H

#include "rimglow/pipeline.h"
#include "rimglow/synth.h"

enum { PROOF_FRAMES_MAX = 40 };

/* Deterministic random numbers: any two streams of different seeds differ. */
typedef struct proof_random {
    uint64_t state;
} proof_random;
proof_random proof_seed(uint64_t seed);
double proof_uniform(proof_random *r, double low, double high);
double proof_normal(proof_random *r, double mean, double sigma);

/* The demo bench (calib/bench.ini) and its pad G (calib/alto-loan.ini), with a
 * smaller picture of about px_per_mm. Ends the program when a file is bad. */
void proof_setup(rg_setup *setup, double px_per_mm);

/* A sweep to be rendered. */
typedef struct proof_sweep {
    rg_synth_scene scene;
    double sigma_px, glare, witness_exposure, witness_jitter;
    int frames;
    rg_pose camera[PROOF_FRAMES_MAX];
    double exposure[PROOF_FRAMES_MAX];    /* that the camera gave, 1 being meant */
    rg_synth_view view[PROOF_FRAMES_MAX]; /* owned */
    rg_synth_view witness;                /* owned */
} proof_sweep;

/* Scene, blur and witness of the demo; no camera yet. */
void proof_sweep_default(proof_sweep *sweep);
/* Cameras at bearings first, first + 60, ... and each of the elevations, all
 * of them unsteady by some degrees, tenths of a degree and millimetres. */
void proof_cameras(proof_sweep *sweep, double first_deg, const double *elevation_deg,
                   int elevations, proof_random *random);
void proof_render(proof_sweep *sweep, const rg_lens *lens);
void proof_sweep_free(proof_sweep *sweep);

/* Photographs the rendered sweep with fresh noise and measures it. frame
 * [frames] may be NULL, else the frames are handed over (rg_frame_free). */
typedef struct proof_bench {
    rg_tag_finder *finder;
    rg_synth_sensor *sensor;
} proof_bench;
void proof_bench_new(proof_bench *bench, const rg_setup *setup);
void proof_bench_free(proof_bench *bench);
void proof_measure(const proof_bench *bench, const rg_setup *setup, const proof_sweep *sweep,
                   uint64_t seed, rg_frame *frame, rg_sweep_result *result);
/* One view as JPEG into a frame; jitter: the camera's exposure over the one meant. */
rg_frame proof_take(const proof_bench *bench, const rg_setup *setup, const rg_synth_view *view,
                    rg_frame_role role, double exposure, double jitter, uint64_t seed);
/* The frames as files in a new folder, to look at what went wrong. */
void proof_save(const proof_bench *bench, const proof_sweep *sweep, uint64_t seed,
                const char *folder);

/* Wall-clock progress on standard error: "what 12 of 200". */
void proof_progress(const char *what, int done, int of);

/* Prints value / stated with its sampling error; 1 when it is off by more than
 * `share`, else 0. n: independent values behind the scatter. */
int proof_compare(const char *what, double scatter, double stated, int n, double share);

/* The same, 1 only where the scatter exceeds what is stated by more than a fifth. */
int proof_not_above(const char *what, double scatter, double stated, int n);

/* Displaces every border of every tag by sigma_px as this camera sees it. */
void proof_print_errors(rg_synth_scene *scene, const rg_lens *lens, const rg_pose *camera,
                        double sigma_px, proof_random *random);

/* Each prints its table and returns the number of figures out of bounds. */
int proof_traced(void);
int proof_pose(int draws);
int proof_noise(int draws);
int proof_parts(int draws);
int proof_full(int draws, uint64_t seed);
int proof_detection(int sweeps, uint64_t seed, double px_per_mm, const char *name);
int proof_sealed(int rims, uint64_t seed);

#endif
