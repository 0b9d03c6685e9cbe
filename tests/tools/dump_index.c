/* dump_index.c - prints every row of an archive's index in a fixed order: dump_index INDEX. */
#include <stdio.h>
#include <stdlib.h>

#include "rimglow/catalogue.h"

int main(int argc, char **argv)
{
    rg_error err = {0};
    rg_catalogue *catalogue = NULL;
    char *text = NULL;
    rg_code code = argc == 2 ? rg_catalogue_open(argv[1], RG_CATALOGUE_READ, &catalogue, &err)
                             : rg_fail(&err, RG_USAGE, "usage: dump_index INDEX");
    if (code == RG_OK)
        code = rg_catalogue_dump(catalogue, &text, &err);
    if (code == RG_OK)
        fputs(text, stdout);
    else
        fprintf(stderr, "dump_index: %s\n", err.text);
    free(text);
    rg_catalogue_close(catalogue);
    return (int)code;
}
