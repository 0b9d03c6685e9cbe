/*
 * quiz_load.c - the quiz's settings from where they stand.
 */
#include <stdlib.h>

#include "quiz_private.h"
#include "rimglow/calib_file.h"
#include "rimglow/config_quiz.h"

rg_code rg_quiz_options_load(const char *given, double overhang_mm, rg_quiz_options *options,
                             rg_error *err)
{
    rg_calib_file file;
    rg_code code = rg_calib_file_read("quiz.ini", given, "quiz", &file, err);
    if (code != RG_OK)
        return code;
    code = rg_quiz_options_parse(file.path, file.text, file.size, overhang_mm, options, err);
    free(file.text);
    return code;
}
