/*
 * trainee_private.h - shared by trainee*.c.
 */
#ifndef RIMGLOW_EDGE_TRAINEE_PRIVATE_H
#define RIMGLOW_EDGE_TRAINEE_PRIVATE_H

#include "rimglow/trainee.h"

/* One line, without its newline; label names file and line. */
rg_code rg_trainee_parse_line(const char *label, const char *text, size_t size,
                              rg_quiz_entry *entry, rg_error *err);

#endif
