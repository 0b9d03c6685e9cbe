/*
 * config_link.c - [link DRIVER > DRIVEN] of an instrument file: what carries the
 * movement of one key to another pad, and where it is adjusted.
 */
#include <stdio.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/memory.h"

#define LINK(member) offsetof(rg_link, member)

static const char prefix[] = "link ";

static const char *const kinds[] = {"screw", "cork", "bend", NULL};

static const rg_ini_field field[] = {
    {"link", "adjuster", RG_INI_TEXT, LINK(adjuster), 1, RG_NAME_SIZE,
     "place of the adjuster, in words"},
    {"link", "kind", RG_INI_OWN, LINK(kind), 0, 0, "kind: screw, cork or bend"},
    {"link", "lever_ratio", RG_INI_NUMBER, LINK(lever_ratio), 0.05, 20,
     "movement of the driven pad's centre by movement at the adjuster"},
    {"link", "thread_mm", RG_INI_NUMBER, LINK(thread_mm), 0, 3,
     "pitch of the screw's thread, mm (0: none or not known)"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};

bool rg_config_is_link(const char *section)
{
    return strncmp(section, prefix, sizeof prefix - 1) == 0;
}

const char *rg_adjuster_name(rg_adjuster kind)
{
    return kinds[kind];
}

/* Index of the pad whose name stands between start and stop; -1: none. */
static int pad_between(const rg_instrument *instrument, const char *start, const char *stop)
{
    char name[RG_NAME_SIZE];
    rg_ini_trimmed(name, sizeof name, start, stop);
    const rg_pad *pad = rg_instrument_pad(instrument, name);
    return pad != NULL ? (int)(pad - instrument->pad) : -1;
}

static bool is_named(const char *list, const char *name)
{
    while (*list != 0) {
        char one[RG_NAME_SIZE];
        const char *stop = list + strcspn(list, ",");
        rg_ini_trimmed(one, sizeof one, list, stop);
        if (strcmp(one, name) == 0) {
            return true;
        }
        list = *stop == ',' ? stop + 1 : stop;
    }
    return false;
}

static rg_code refuse(const rg_ini *ini, int section, rg_error *err, const char *why)
{
    return rg_fail(err, RG_BAD_DATA, "%s, line %d: [%s]: %s", ini->label,
                   ini->section[section].line, ini->section[section].name, why);
}

/* Both pads from "link DRIVER > DRIVEN". */
static rg_code find_pads(const rg_ini *ini, int section, const rg_instrument *instrument,
                         rg_link *link, rg_error *err)
{
    const char *name = ini->section[section].name + sizeof prefix - 1;
    const char *sign = strchr(name, '>');
    if (sign == NULL) {
        return refuse(ini, section, err,
                      "names no two pads; write for example [link F > F sharp], first the pad of "
                      "the key that is pressed");
    }
    link->driver = pad_between(instrument, name, sign);
    link->driven = pad_between(instrument, sign + 1, name + strlen(name));
    if (link->driver < 0 || link->driven < 0) {
        return refuse(ini, section, err,
                      link->driver < 0
                          ? "there is no [pad ...] of the name before the >; correct it"
                          : "there is no [pad ...] of the name behind the >; correct it");
    }
    return RG_OK;
}

static rg_code check_link(const rg_ini *ini, int section, const rg_instrument *instrument,
                          const rg_link *link, rg_error *err)
{
    const rg_pad *driver = &instrument->pad[link->driver], *driven = &instrument->pad[link->driven];
    for (int i = 0; i < instrument->links; i++) {
        const rg_link *other = &instrument->link[i];
        if (other->driver == link->driver && other->driven == link->driven) {
            return refuse(ini, section, err, "this link is given twice; remove one");
        }
    }
    if (!is_named(driver->closed_with, driven->name)) {
        return refuse(ini, section, err,
                      "closed_with of the first pad does not name the second; add it there or "
                      "remove the link");
    }
    if (link->kind != RG_ADJUSTER_SCREW && link->thread_mm > 0) {
        return rg_ini_fail(ini, rg_ini_find(ini, section, "thread_mm"), err,
                           "kind = %s has no thread; write 0, or kind = screw", kinds[link->kind]);
    }
    return RG_OK;
}

static rg_code fill_link(const rg_ini *ini, int section, rg_instrument *instrument, rg_error *err)
{
    rg_link *link = &instrument->link[instrument->links];
    int kind = 0;
    rg_code code = find_pads(ini, section, instrument, link, err);
    if (code == RG_OK) {
        code = rg_ini_fill(ini, table, "link", section, -1, link, err);
    }
    if (code == RG_OK) {
        code = rg_ini_word(ini, rg_ini_find(ini, section, "kind"), kinds, &kind, err);
        link->kind = (rg_adjuster)kind;
    }
    if (code == RG_OK) {
        code = check_link(ini, section, instrument, link, err);
    }
    instrument->links += code == RG_OK;
    return code;
}

rg_code rg_config_fill_links(const rg_ini *ini, rg_instrument *instrument, rg_error *err)
{
    rg_code code = RG_OK;
    instrument->link = rg_alloc(RG_LINKS_MAX, sizeof *instrument->link);
    if (instrument->link == NULL) {
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", ini->label);
    }
    for (int i = 0; i < ini->sections && code == RG_OK; i++) {
        if (!rg_config_is_link(ini->section[i].name)) {
            continue;
        }
        code = instrument->links < RG_LINKS_MAX
                   ? fill_link(ini, i, instrument, err)
                   : refuse(ini, i, err, "one link more than the 64 that a file may have");
    }
    return code;
}
