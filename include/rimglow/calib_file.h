/*
 * calib_file.h - where the calibration files are that a command needs and the user
 * has not named: calib/NAME below the working folder, else beside the
 * installed program (../share/rimglow/calib/NAME), else in the source tree that
 * the program was built in (../../calib/NAME).
 */
#ifndef RIMGLOW_CALIB_FILE_H
#define RIMGLOW_CALIB_FILE_H

#include <stddef.h>

#include "rimglow/config_diagnosis.h"

enum { RG_CALIB_PATH = 4200 };

typedef struct rg_calib_file {
    char path[RG_CALIB_PATH]; /* where it was found, for messages */
    char *text;               /* owned; free() */
    size_t size;
} rg_calib_file;

/* given: the path that the user named, or NULL for the places above. On
 * failure *calib owns nothing. RG_NO_INPUT names all places and option (without
 * dashes), the option that says where the file is; NULL: there is none. */
rg_code rg_calib_file_read(const char *name, const char *given, const char *option,
                           rg_calib_file *calib, rg_error *err);

/* calib/diagnosis.ini of the places above. */
rg_code rg_calib_diagnosis(rg_diagnosis_options *options, rg_error *err);

#endif
