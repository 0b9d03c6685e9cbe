/*
 * command.h - the command line: a table of commands.
 */
#ifndef RIMGLOW_COMMAND_H
#define RIMGLOW_COMMAND_H

#include <signal.h>

/* argv[0] is the command's own name. Returns the exit code. */
typedef int rg_command_run(int argc, char **argv);

typedef struct rg_command {
    const char *name;
    const char *summary;            /* one line */
    const char *help;               /* what -h prints; teaches by example */
    rg_command_run *run;            /* NULL when the command has verbs */
    const struct rg_command *verbs; /* its table, ends as rg_commands does; or NULL */
} rg_command;

/* Ends with a row whose name is NULL. */
extern const rg_command rg_commands[];

/* NULL when there is none of that name. */
const rg_command *rg_command_find(const char *name);

/* The whole program: looks the command up and runs it; -h, --help, --version
 * and no command at all are answered here. */
int rg_command_main(int argc, char **argv);

/* Prints "rimglow: text" to stderr and returns the code, for commands. */
int rg_command_fail(int code, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Blocks what ends a program (INT, TERM, HUP), for this thread and those that it makes: to be called before any is made.
 * set: these signals, for sigwait. */
void rg_command_block_signals(sigset_t *set);

/* An rg_progress report (inspection.h) for commands: a line on stderr that is
 * written over. context: a const bool *, false keeps still. */
void rg_command_progress(void *context, const char *what, int done, int total);

int rg_cmd_inspect(int argc, char **argv);
extern const char rg_help_inspect[];
int rg_cmd_capture(int argc, char **argv);
extern const char rg_help_capture[];
int rg_cmd_calibrate_light(int argc, char **argv);
extern const char rg_help_calibrate_light[];
int rg_cmd_crown(int argc, char **argv);
extern const char rg_help_crown[];
int rg_cmd_board(int argc, char **argv);
extern const char rg_help_board[];

int rg_cmd_calibrate_lens(int argc, char **argv);
extern const char rg_help_calibrate_lens[];

int rg_cmd_study_gauge(int argc, char **argv);
extern const char rg_help_study_gauge[];
int rg_cmd_study_detect(int argc, char **argv);
extern const char rg_help_study_detect[];
int rg_cmd_budget(int argc, char **argv);
extern const char rg_help_budget[];
int rg_cmd_calibrate_check(int argc, char **argv);
extern const char rg_help_calibrate_check[];

int rg_cmd_instrument_show(int argc, char **argv);
extern const char rg_help_instrument_show[];
int rg_cmd_instrument_measure(int argc, char **argv);
extern const char rg_help_instrument_measure[];

int rg_cmd_bench(int argc, char **argv);
extern const char rg_help_bench[];

int rg_cmd_render(int argc, char **argv);
extern const char rg_help_render[];

int rg_cmd_teach(int argc, char **argv);
extern const char rg_help_teach[];

int rg_cmd_setup(int argc, char **argv);
extern const char rg_help_setup[];

int rg_cmd_archive_add(int argc, char **argv);
extern const char rg_help_archive_add[];
int rg_cmd_archive_list(int argc, char **argv);
extern const char rg_help_archive_list[];
int rg_cmd_archive_show(int argc, char **argv);
extern const char rg_help_archive_show[];
int rg_cmd_archive_verify(int argc, char **argv);
extern const char rg_help_archive_verify[];
int rg_cmd_archive_compare(int argc, char **argv);
extern const char rg_help_archive_compare[];
int rg_cmd_archive_report(int argc, char **argv);
extern const char rg_help_archive_report[];
int rg_cmd_archive_batch(int argc, char **argv);
extern const char rg_help_archive_batch[];
int rg_cmd_archive_export(int argc, char **argv);
extern const char rg_help_archive_export[];
int rg_cmd_archive_reindex(int argc, char **argv);
extern const char rg_help_archive_reindex[];
int rg_cmd_archive_key(int argc, char **argv);
extern const char rg_help_archive_key[];

#endif
