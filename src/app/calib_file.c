/*
 * calib_file.c - finding a calibration file. The program's own place is what Linux
 * says it is (proc(5), /proc/self/exe).
 */
#include "rimglow/calib_file.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rimglow/config.h"
#include "rimglow/file.h"
#include "rimglow/text.h"

/* Folder of the running program, "" when it is not known. */
static void program_folder(char *folder, size_t size)
{
    ssize_t n = readlink("/proc/self/exe", folder, size - 1);
    folder[n > 0 ? n : 0] = 0;
    char *slash = strrchr(folder, '/');
    if (slash)
        *slash = 0;
}

static rg_code read_at(rg_calib_file *calib, rg_error *err)
{
    uint8_t *bytes;
    rg_code code = rg_file_read(calib->path, RG_CONFIG_MAX_BYTES, &bytes, &calib->size, err);
    calib->text = code == RG_OK ? (char *)bytes : NULL;
    return code;
}

static void default_path(rg_calib_file *calib, int place, const char *name)
{
    static const char *const below[] = {"/../share/rimglow/", "/../../"};
    char folder[RG_CALIB_PATH - 200] = "";
    if (place > 0)
        program_folder(folder, sizeof folder);
    snprintf(calib->path, sizeof calib->path, "%s%scalib/%s", folder,
             place > 0 ? below[place - 1] : "", name);
}

rg_code rg_calib_file_read(const char *name, const char *given, const char *option,
                           rg_calib_file *calib, rg_error *err)
{
    *calib = (rg_calib_file){0};
    if (given) {
        if (!rg_copy_text(calib->path, sizeof calib->path, given))
            return rg_fail(err, RG_NO_INPUT, "%.60s...: the path is too long", given);
        return read_at(calib, err);
    }
    for (int place = 0; place < 3; place++) {
        default_path(calib, place, name);
        rg_code code = read_at(calib, err);
        if (code != RG_NO_INPUT)
            return code;
    }
    if (!option)
        return rg_fail(err, RG_NO_INPUT,
                       "%s is neither in calib/ here nor beside the program; copy it into calib/",
                       name);
    return rg_fail(err, RG_NO_INPUT,
                   "%s is neither in calib/ here nor beside the program; say where it is with "
                   "--%s FILE",
                   name, option);
}

rg_code rg_calib_diagnosis(rg_diagnosis_options *options, rg_error *err)
{
    rg_calib_file file;
    rg_code code = rg_calib_file_read("diagnosis.ini", NULL, NULL, &file, err);
    if (code != RG_OK)
        return code;
    code = rg_diagnosis_options_parse(file.path, file.text, file.size, options, err);
    free(file.text);
    return code;
}
