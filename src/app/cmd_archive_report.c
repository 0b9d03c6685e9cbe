#include "rimglow/command.h"
const char rg_help_archive_report[] = "x\n";
int rg_cmd_archive_report(int argc, char **argv)
{
    (void)argc;
    (void)argv;
    return 70;
}
