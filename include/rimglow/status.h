/*
 * status.h - how every rimglow function reports failure.
 *
 * A function that can fail returns an rg_code and takes, as its last
 * argument, an rg_error owned by the caller (NULL when the text is not
 * wanted). The function that detects the fault writes the text; every
 * function above passes it on unchanged. The text names the file (or field),
 * the value found and the remedy, in one or two sentences without a newline.
 *
 * The codes are also the exit codes of the command line (sysexits names).
 * Nothing below src/app prints, exits or reads errno as somebody else's result.
 */
#ifndef RIMGLOW_STATUS_H
#define RIMGLOW_STATUS_H

typedef enum rg_code {
    RG_OK = 0,
    RG_USAGE = 64,       /* the command line is wrong */
    RG_BAD_DATA = 65,    /* a file was read and its content cannot be used */
    RG_NO_INPUT = 66,    /* a file or folder is missing or cannot be read */
    RG_NO_CAMERA = 69,   /* a camera is absent or was pulled out */
    RG_INTERNAL = 70,    /* out of memory, or a broken internal promise */
    RG_CANT_CREATE = 73, /* an output file or folder cannot be made */
    RG_IO = 74           /* writing or reading failed half way (disk full) */
} rg_code;

enum { RG_ERROR_TEXT = 640 };

typedef struct rg_error {
    rg_code code;
    char text[RG_ERROR_TEXT];
} rg_error;

/* Stores code and formatted text in err (if not NULL) and returns code, so
 * that a failing function can end with `return rg_fail(err, RG_..., ...)`.
 * A text longer than RG_ERROR_TEXT - 1 is cut, never overrun. Control
 * characters in the text (a newline in a file name) become '?'. A text of
 * RG_INTERNAL that speaks of memory and has no remedy gets one. */
rg_code rg_fail(rg_error *err, rg_code code, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Puts "prefix: " before the text already in err; returns err->code
 * (RG_INTERNAL when err is NULL). For naming a file that the detecting
 * function could not know. */
rg_code rg_fail_prefix(rg_error *err, const char *prefix);

#endif
