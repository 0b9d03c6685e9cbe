/*
 * cmd_archive_keep.c - rimglow archive reindex, rimglow archive key FILE.
 */
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "archive_command.h"
#include "rimglow/command.h"
#include "rimglow/memory.h"

const char rg_help_archive_reindex[] =
    "rimglow archive reindex [options]\n"
    "\n"
    "Makes the index again from the bags, in one transaction: cut off, it leaves the\n"
    "old one. The index is never the only copy of anything. Rows whose bag is gone\n"
    "are given up, and the first is named: if you did not remove that bag yourself,\n"
    "find out who did.\n"
    "\n"
    "Examples:\n"
    "  rimglow archive reindex\n"
    "  rimglow archive reindex -a /srv/archive\n"
    "\n"
    "Options:\n"
    "  -a, --archive DIR  the archive (default: archive)\n"
    "  -q, --quiet        no answer and no progress\n"
    "\n"
    "Exit codes: 0 done; 1 a row was given up or a bag could not be read (done\n"
    "otherwise); others as in rimglow -h.\n";

const char rg_help_archive_key[] =
    "rimglow archive key FILE\n"
    "\n"
    "Makes a new pair of signing keys (Ed25519, RFC 8032): FILE, the secret key,\n"
    "readable by you alone, and FILE.pub, the public one.\n"
    "\n"
    "Examples:\n"
    "  rimglow archive key shop.key\n"
    "  rimglow archive add --key shop.key --technician \"A. Bell\" path/to/sweeps/*\n"
    "  rimglow archive verify --public shop.key.pub\n"
    "\n"
    "Keep FILE on the bench's computer alone, with a copy in a safe; without it\n"
    "nobody can sign as this shop, and who has it can. Hand FILE.pub to everybody who\n"
    "may want to check, at best on paper: it is 64 digits.\n"
    "\n"
    "Exit codes: 0 made; 64 wrong command line, 73/74 cannot write (an existing file\n"
    "is never replaced).\n";

static rg_code reindex(const char *folder, bool quiet, bool *terminal, int *exit_code,
                       rg_error *err)
{
    rg_archive archive;
    rg_reindex_result r;
    rg_progress progress = {rg_command_progress, terminal};
    /* Not begun here: who mistypes the folder must not get a new archive. */
    rg_code code = rg_archive_read(&archive, folder, err);
    if (code != RG_OK)
        return code;
    rg_archive_close(&archive);
    code = rg_archive_open(&archive, folder, err);
    if (code != RG_OK)
        return code;
    code = rg_archive_reindex(&archive, &progress, &r, err);
    rg_archive_close(&archive);
    *exit_code = r.lost || r.unread ? 1 : 0;
    if (code != RG_OK || quiet)
        return code;
    printf("%d bag%s in the index\n", r.bags, r.bags == 1 ? "" : "s");
    if (r.lost)
        printf("    ! %d row%s given up, the bag is not there: %s%s\n", r.lost,
               r.lost == 1 ? "" : "s", r.first_lost, r.lost > 1 ? " and others" : "");
    if (r.unread)
        printf("    ! %d bag%s could not be read, the first: %s\n", r.unread,
               r.unread == 1 ? "" : "s", r.why.text);
    return RG_OK;
}

int rg_cmd_archive_reindex(int argc, char **argv)
{
    const char *folder = "archive";
    bool quiet = false;
    int words = 0, exit_code = RG_OK;
    rg_error err = {0};
    const rg_option options[] = {{"archive", 'a', RG_OPTION_TEXT, &folder, 0, 0, NULL},
                                 {"quiet", 'q', RG_OPTION_SWITCH, &quiet, 0, 0, NULL}};
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    rg_code code = operands ? rg_options_read(argc, argv, options, 2, operands, &words, &err)
                            : rg_fail(&err, RG_INTERNAL, "no memory");
    free(operands);
    if (code == RG_OK && words)
        code = rg_fail(&err, RG_USAGE,
                       "archive reindex takes no names; the archive is given by "
                       "--archive DIR");
    bool terminal = !quiet && isatty(STDERR_FILENO);
    if (code == RG_OK)
        code = reindex(folder, quiet, &terminal, &exit_code, &err);
    return rg_archive_answer(code, exit_code, &err);
}

int rg_cmd_archive_key(int argc, char **argv)
{
    int words = 0;
    rg_error err = {0};
    rg_public_key key;
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    rg_code code = operands ? rg_options_read(argc, argv, NULL, 0, operands, &words, &err)
                            : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK && words != 1)
        code = rg_fail(&err, RG_USAGE,
                       "name one file for the new secret key; rimglow archive key "
                       "-h shows an example");
    if (code == RG_OK)
        code = rg_key_make(operands[0], &key, &err);
    if (code == RG_OK)
        printf("key %s: secret %s, public %s.pub\n", key.id, operands[0], operands[0]);
    free(operands);
    return rg_archive_answer(code, RG_OK, &err);
}
