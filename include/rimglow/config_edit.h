/*
 * config_edit.h - changes values in an INI text and nothing else.
 *
 * Calibrations write their results into a station file that people edit too:
 * comments, order, blank lines and spelling of everything that was not asked
 * for stay as they are, byte by byte. The format is that of config.h.
 *
 *   existing key        its value is replaced; what stands before it and the
 *                       comment behind it stay
 *   key missing         "key = value" behind the last key of its section
 *   section missing     "[section]" and its keys at the end of the text
 *
 * New lines end as the text's first line does (LF or CR LF).
 */
#ifndef RIMGLOW_CONFIG_EDIT_H
#define RIMGLOW_CONFIG_EDIT_H

#include <stddef.h>

#include "rimglow/status.h"

enum {
    RG_CONFIG_CHANGES_MAX = 64,
    RG_CONFIG_EDIT_MAX_BYTES = 1024 * 1024,
    RG_CONFIG_EDIT_LINE = 197 /* bytes of a line without its comment, as in config.h */
};

typedef struct rg_config_change {
    const char *section, *key, *value;
} rg_config_change;

/* *edited: the new text with a final 0, owned by the caller (free()); NULL on
 * failure. label names the file in messages; text is read up to size and need
 * not end with a 0.
 *
 * RG_BAD_DATA for a text that holds a 0 byte, is too large, or gives a section
 * or key twice that a change names; for a change whose value would not be read
 * back as it is: control characters, bytes beyond ASCII, blanks at its ends,
 * a ';' or '#' where a comment would begin, too long a line; for a key or new
 * section that cannot be one; and for two changes of one key. */
rg_code rg_config_edit(const char *label, const char *text, size_t size,
                       const rg_config_change *changes, int count, char **edited, rg_error *err);

#endif
