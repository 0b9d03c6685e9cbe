#include "rimglow/command.h"
const char rg_help_archive_compare[] = "x\n";
int rg_cmd_archive_compare(int argc, char **argv)
{
    (void)argc;
    (void)argv;
    return 70;
}
