/*
 * study_table.c - tables of gauge and detection studies.
 */
#include "rimglow/study_table.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { TABLE_WIDTH = 79 };

/* Prints a sentence, broken at blanks; lines after the first are set in. */
static void say(const char *format, ...) __attribute__((format(printf, 1, 2)));

static void say(const char *format, ...)
{
    char text[1200];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    int column = 0;
    for (const char *word = text; *word;) {
        int length = (int)strcspn(word, " ");
        if (column > 0 && column + 1 + length > TABLE_WIDTH)
            column = printf("\n    ") - 1;
        else if (column > 0)
            column += printf(" ");
        column += printf("%.*s", length, word);
        word += length;
        word += strspn(word, " ");
    }
    fputc('\n', stdout);
}

/* ---------------------------------------------------------------- gauge */

static void print_number(double value, int width, const char *format)
{
    char text[40];
    snprintf(text, sizeof text, format, value);
    printf(" %*s", width, isnan(value) ? "-" : text);
}

static void print_anova_row(const char *name, const rg_anova_row *r)
{
    printf("%-24s %5d", name, r->df);
    print_number(r->ss, 13, "%.5g");
    print_number(r->ms, 13, "%.5g");
    print_number(r->f, 9, "%.4g");
    print_number(r->p, 9, r->p < 0.0001 ? "%.0e" : "%.4f");
    fputc('\n', stdout);
}

static void print_anova(const rg_gauge *g, const rg_study_settings *s)
{
    printf("\n%-24s %5s %13s %13s %9s %9s\n", "source", "df", "sum of sq.", "mean square", "F",
           "p");
    print_anova_row("part", &g->part);
    print_anova_row("person", &g->person);
    print_anova_row("part x person", &g->interaction);
    print_anova_row("repeats", &g->error);
    if (!g->pooled)
        return;
    print_anova_row("pooled error", &g->pooled_error);
    if (g->interaction.df > 0 && g->error.df > 0)
        say("  part x person is pooled into the error: its p is above %g (pool_above)",
            s->pool_above);
    else if (g->persons > 1)
        say("  with one repeat part x person cannot be told from the error and is pooled");
}

static void print_component(const char *name, const rg_component *c)
{
    printf("%-22s %11.3g %10.3g %11.2f %% %11.2f %%\n", name, c->variance, c->sd, c->contribution,
           c->study);
}

/* What was set to 0, and from what. */
static void print_negatives(const rg_gauge *g)
{
    for (int i = 0; i < RG_GAUGE_SOURCES; i++)
        if (g->source[i].negative)
            say("  the variance of %s was estimated as %.3g and counts as 0: the data cannot tell "
                "it "
                "from nothing",
                rg_gauge_source_name((rg_gauge_source)i), g->source[i].raw);
}

static void print_components(const rg_gauge *g, const char *unit)
{
    static const struct {
        rg_gauge_source source;
        const char *name;
    } row[] = {{RG_GAUGE_RR, "gauge (R&R)"},
               {RG_GAUGE_REPEATABILITY, "  repeatability"},
               {RG_GAUGE_REPRODUCIBILITY, "  reproducibility"},
               {RG_GAUGE_PERSON, "    person"},
               {RG_GAUGE_INTERACTION, "    part x person"},
               {RG_GAUGE_PART, "part"},
               {RG_GAUGE_TOTAL, "total"}};
    char sd[16];
    snprintf(sd, sizeof sd, "sd, %s", unit);
    printf("\n%-22s %11s %10s %13s %13s\n", "component", "variance", sd, "of variance", "of study");
    for (size_t i = 0; i < sizeof row / sizeof *row; i++)
        print_component(row[i].name, &g->source[row[i].source]);
    print_negatives(g);
}

static void print_bias(const rg_gauge_study_result *r, const rg_study_settings *s)
{
    const rg_bias *b = &r->bias;
    const rg_line *l = &r->line;
    if (!r->has_bias)
        return;
    say("bias against known widths: %+.4f mm, %g %% interval %+.4f to %+.4f (n %d, t %.2f, p "
        "%.3f)%s",
        b->bias, 100 * s->confidence, b->low, b->high, b->n, b->t, b->p,
        b->p < 1 - s->confidence ? ": it is there" : ": not to be told from 0");
    if (r->has_line)
        say("linearity: bias = %+.4f %+.4f x width (u %.4f and %.4f, p of the slope %.3f), scatter "
            "%.4f mm",
            l->intercept, l->slope, l->u_intercept, l->u_slope, l->p, l->sd);
}

static void print_gauge_verdict(const rg_gauge_study_result *r, const rg_study_settings *s)
{
    static const char *const words[] = {"the gauge will do", "the gauge will not do",
                                        "it depends on the use"};
    say("gauge (R&R) is %.1f %% of study variation: %s (up to %g %% it will do, above %g %% it "
        "will not)",
        r->gauge.source[RG_GAUGE_RR].study, words[r->verdict], s->accept_percent,
        s->refuse_percent);
}

void rg_study_print_gauge(const rg_gauge_run *run, const rg_study_options *options,
                          const char *quantity, const char *place)
{
    const rg_gauge_study_result *r = &run->result;
    const rg_study_settings *s = &options->settings;
    const rg_gauge *g = &r->gauge;
    const char *unit = r->degrees ? "deg" : "mm";
    say("gauge study of the %s: %d parts, %d person%s, %d repeat%s each; mean %.5g %s", quantity,
        g->parts, g->persons, g->persons == 1 ? "" : "s", g->repeats, g->repeats == 1 ? "" : "s",
        g->mean, unit);
    print_anova(g, s);
    print_components(g, unit);
    fputc('\n', stdout);
    say("repeatability: standard deviation %.4g %s, %g %% interval %.4g to %.4g",
        g->source[RG_GAUGE_REPEATABILITY].sd, unit, 100 * s->confidence, g->repeatability_low,
        g->repeatability_high);
    if (isinf(g->ratio))
        say("distinct categories: no scatter at all; were the repeats independent?");
    else
        say("distinct categories: %d", g->categories);
    print_bias(r, s);
    print_gauge_verdict(r, s);
    if (place)
        printf("= %s\n", place);
}

/* --------------------------------------------------------------- detect */

static void print_counts(const rg_detect_run *run, const rg_study_settings *s)
{
    const rg_detection_result *r = &run->result;
    if (run->file.input == RG_DETECT_SWEEPS) {
        say("detection study: %d sweeps, %d opportunities, one every %d degrees", r->sweeps,
            r->trials, s->opportunity_deg);
        say("not seen and left out: %d with a true gap, %d without", r->unseen_open,
            r->unseen_closed);
    } else {
        say("detection study: %d targets", r->trials);
    }
    say("targets: %d of %d found, %g %% interval %.1f to %.1f %% (exact)", r->found, r->targets,
        100 * s->confidence, 100 * r->found_low, 100 * r->found_high);
    if (isfinite(r->largest_missed) && r->above > 0)
        say("largest missed %.4g mm; above it %d of %d found: POD there at least %.3f (%g %%, "
            "binomial; the data chose the limit, so a little too good)",
            r->largest_missed, r->above_found, r->above, r->above_low, 100 * s->confidence);
    else if (isfinite(r->largest_missed))
        say("largest missed %.4g mm: no larger target was tried", r->largest_missed);
    else if (r->targets > 0)
        say("none was missed: POD of the sizes tried is at least %.3f (%g %%, exact)", r->above_low,
            100 * s->confidence);
    if (isfinite(r->smallest_found))
        say("smallest found %.4g mm", r->smallest_found);
}

static void print_false_calls(const rg_detection_result *r, const rg_study_settings *s)
{
    if (r->closed == 0) {
        say("false calls: no closed place was tried; add sealed pads");
        return;
    }
    say("false calls: %d of %d closed places, at most %.1f %% (%g %%, exact)", r->false_calls,
        r->closed, 100 * r->false_high, 100 * s->confidence);
    if (r->closed_sweeps > 0)
        say("sealed sweeps with a false call: %d of %d, at most %.1f %%", r->false_sweeps,
            r->closed_sweeps, 100 * r->false_sweeps_high);
}

static void print_pod(const char *name, const rg_pod *p, const char *bound)
{
    if (p->state != RG_POD_FITTED) {
        say("%s: no curve: %s", name, rg_pod_state_text(p->state));
        return;
    }
    printf("\n%s: %s over %s size, log-likelihood %.3f\n", name, rg_pod_link_name(p->link),
           p->axis == RG_AXIS_LOG ? "log" : "linear", p->log_likelihood);
    printf("  intercept %.5g (u %.3g), slope %.5g (u %.3g)\n", p->b[0], sqrt(p->cov_b[0][0]),
           p->b[1], sqrt(p->cov_b[1][1]));
    printf("  a50 %.4g mm   a90 %.4g mm   ", p->a50, p->a90);
    if (isfinite(p->a90_95))
        printf("a90/95 %.4g mm (%s)\n", p->a90_95, bound);
    else
        printf("a90/95: none; more targets are needed\n");
}

static void print_signal(const rg_detection_result *r)
{
    const rg_pod *p = &r->signal_pod;
    if (!r->has_signals)
        return;
    print_pod("signals", p, "delta method");
    if (p->state == RG_POD_FITTED)
        printf("  scatter %.4g, decision at %.4g; %d signals, %d below and %d above a limit\n",
               p->tau, r->decision, r->responses, r->below, r->over);
}

static void print_detect_verdict(const rg_detection_result *r, double require_mm)
{
    static const char *const words[] = {"passed", "failed", "undecided"};
    if (isnan(require_mm))
        printf("\n%s\n", r->verdict == RG_STUDY_PASSED
                             ? "a90/95 is known; --require MM compares it with what you need"
                             : "undecided: the data set no a90/95");
    else
        printf("\nrequired: a90/95 at most %g mm: %s\n", require_mm, words[r->verdict]);
}

void rg_study_print_detect(const rg_detect_run *run, const rg_study_options *options,
                           const char *place)
{
    const rg_detection_result *r = &run->result;
    print_counts(run, &options->settings);
    print_false_calls(r, &options->settings);
    if (r->has_hits)
        print_pod("found or missed", &r->pod, "likelihood ratio");
    print_signal(r);
    print_detect_verdict(r, options->require_mm);
    if (place)
        printf("= %s\n", place);
}
