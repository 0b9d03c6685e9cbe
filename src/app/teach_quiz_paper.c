/*
 * teach_quiz_paper.c - a trainee's progress as numbers and as a chart, and the certificate of an examination. All is read
 * from the trainee's file.
 */
#include <limits.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/draw_quiz.h"
#include "rimglow/text.h"
#include "rimglow/version.h"
#include "teach_quiz_private.h"

/* cairo's SVGs carry styles of their own. */
static const char paper_policy[] =
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'self'";

static rg_code progress_of(const rg_teach_quiz *q, const rg_request *request, rg_quiz_progress *p,
                           rg_error *err)
{
    rg_trainee t;
    const char *name = rg_request_query(request, "name");
    rg_code code = rg_trainee_read(q->folder, name ? name : "", &t, err);
    *p = (rg_quiz_progress){0};
    if (code != RG_OK)
        return code;
    code = rg_quiz_progress_of(&q->options, t.name, t.entry, t.count, p, err);
    rg_trainee_free(&t);
    return code;
}

void rg_quiz_get_progress(void *context, const rg_request *request, rg_reply *reply)
{
    const rg_teach_page *page = context;
    const rg_teach_quiz *q = page->quiz;
    rg_quiz_progress p;
    rg_error err = {0};
    if (progress_of(q, request, &p, &err) == RG_OK)
        rg_page_reply_json(reply, 200, rg_quiz_json_progress(&q->options, &p));
    else
        rg_teach_reply_fault(reply, &err);
    rg_quiz_progress_free(&p);
}

static void reply_drawn(rg_reply *reply, rg_bytes drawn, const char *type)
{
    reply->bytes = drawn.data;
    reply->size = drawn.size;
    reply->type = type;
    reply->policy = paper_policy;
}

static void chart(void *context, const rg_request *request, rg_reply *reply,
                  rg_picture_format format, const char *type)
{
    const rg_teach_page *page = context;
    rg_quiz_progress p;
    rg_bytes drawn = {0};
    rg_error err = {0};
    rg_code code = progress_of(page->quiz, request, &p, &err);
    const rg_draw_progress_args args = {&p, "rimglow " RG_VERSION};
    if (code == RG_OK)
        code = rg_draw_quiz_progress(&args, format, &drawn, &err);
    if (code == RG_OK)
        reply_drawn(reply, drawn, type);
    else
        rg_teach_reply_fault(reply, &err);
    rg_quiz_progress_free(&p);
}

void rg_quiz_get_chart(void *context, const rg_request *request, rg_reply *reply)
{
    chart(context, request, reply, RG_PICTURE_SVG, "image/svg+xml");
}

void rg_quiz_get_progress_pdf(void *context, const rg_request *request, rg_reply *reply)
{
    chart(context, request, reply, RG_PICTURE_PDF, "application/pdf");
}

/* The examination whose sitting began at that second. */
static const rg_quiz_result *exam_of(const rg_quiz_progress *p, const char *sitting)
{
    long began;
    if (!sitting || !rg_parse_int(sitting, 0, LONG_MAX, &began))
        return NULL;
    for (int i = 0; i < p->exams; i++)
        if (p->exam[i].sitting_s == began)
            return &p->exam[i];
    return NULL;
}

void rg_quiz_get_certificate(void *context, const rg_request *request, rg_reply *reply)
{
    const rg_teach_page *page = context;
    rg_quiz_progress p;
    rg_bytes drawn = {0};
    rg_error err = {0};
    rg_code code = progress_of(page->quiz, request, &p, &err);
    const rg_quiz_result *exam = exam_of(&p, rg_request_query(request, "sitting_s"));
    const rg_draw_result_args args = {exam, "rimglow " RG_VERSION};
    if (code == RG_OK && !exam)
        code = rg_fail(&err, RG_NO_INPUT, "this trainee has finished no such examination");
    if (code == RG_OK)
        code = rg_draw_quiz_result(&args, RG_PICTURE_PDF, &drawn, &err);
    if (code == RG_OK)
        reply_drawn(reply, drawn, "application/pdf");
    else
        rg_teach_reply_fault(reply, &err);
    rg_quiz_progress_free(&p);
}
