/*
 * lessons.h - the lesson sheets of draw_lesson.h with their pictures and numbers: pads of a plan (calib/lessons.ini)
 * and exercises from a seed (quiz.h) are drawn by synth.h, swept, and measured as photographs are, by
 * rg_frame_take and rg_sweep_measure with the station's own values. What a sheet says of the program was
 * measured while the sheet was made.
 *
 * The same plan, quiz settings and seed give the same bytes, on any number of workers.
 */
#ifndef RIMGLOW_LESSONS_H
#define RIMGLOW_LESSONS_H

#include "rimglow/draw.h"
#include "rimglow/inspection.h"

enum { RG_LESSONS = 6 };

/* "partial-leak", "camera", "finger", "causes", "care", "exercises": lesson 1 to 6. NULL for another number. */
const char *rg_lesson_name(int lesson);
/* What its sheet is called, e.g. "What a partial leak looks like". */
const char *rg_lesson_title(int lesson);

typedef struct rg_lessons {
    const char *plan_file, *quiz_file; /* NULL: calib/lessons.ini, calib/quiz.ini */
    rg_paper paper;
    int seed;                    /* of the exercises, 0 or more */
    int only;                    /* lesson 1 to 6 alone; 0: all */
    int workers;                 /* 0: one for each core */
    const rg_progress *progress; /* may be NULL */
    bool (*go_on)(
        void *
            context); /* asked before every frame, from any thread; false ends it with RG_INTERNAL; may be
                                     NULL */
    void *go_on_context;
} rg_lessons;

/* One sheet as PDF. RG_BAD_DATA names the file and what is wrong or missing in it. */
rg_code rg_lesson_make(const rg_lessons *lessons, int lesson, rg_bytes *pdf, rg_error *err);

/* FOLDER/lesson-1-partial-leak.pdf and so on, folder made where it is not. All sheets are drawn before the first is
 * written; sheets of that name are replaced, each whole or not at all. files: NULL, or
 * [RG_LESSONS] names that were written, owned by the caller (free()), NULL where none was. */
rg_code rg_lessons_write(const rg_lessons *lessons, const char *folder, char **files,
                         rg_error *err);

#endif
