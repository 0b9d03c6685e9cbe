/*
 * main.c - hands the command line to the table of commands.
 */
#include "rimglow/command.h"

int main(int argc, char **argv)
{
    return rg_command_main(argc, argv);
}
