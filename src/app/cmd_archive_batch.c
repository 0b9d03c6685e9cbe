#include "rimglow/command.h"
const char rg_help_archive_batch[] = "x\n";
int rg_cmd_archive_batch(int argc, char **argv)
{
    (void)argc;
    (void)argv;
    return 70;
}
