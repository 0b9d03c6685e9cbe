/*
 * Tests of status.h. The expected texts follow from the header's promises.
 */
#include <criterion/criterion.h>
#include <string.h>

#include "rimglow/status.h"

Test(status, failure_returns_its_code_and_text)
{
    rg_error err = {0};
    cr_assert(rg_fail(&err, RG_BAD_DATA, "%s: %d is odd", "a.ini", 3) == RG_BAD_DATA);
    cr_assert(err.code == RG_BAD_DATA);
    cr_assert(strcmp(err.text, "a.ini: 3 is odd") == 0);
    cr_assert(rg_fail(NULL, RG_IO, "unheard") == RG_IO);
}

Test(status, long_text_is_cut_and_ended)
{
    char longer[3 * RG_ERROR_TEXT];
    memset(longer, 'x', sizeof longer);
    longer[sizeof longer - 1] = 0;
    rg_error err = {0};
    rg_fail(&err, RG_IO, "%s", longer);
    cr_assert(strlen(err.text) == RG_ERROR_TEXT - 1);
    rg_fail_prefix(&err, "frame-01.jpg");
    cr_assert(strlen(err.text) == RG_ERROR_TEXT - 1);
    cr_assert(strncmp(err.text, "frame-01.jpg: xxx", 17) == 0);
}

Test(status, control_characters_of_a_file_name_become_question_marks)
{
    rg_error err = {0};
    rg_fail(&err, RG_NO_INPUT, "%s: missing", "a\n\x1b[31mb\x7f\tL\xc3\xa4");
    cr_assert(strcmp(err.text, "a??[31mb??L\xc3\xa4: missing") == 0);
}

Test(status, prefix_keeps_the_code)
{
    rg_error err = {0};
    rg_fail(&err, RG_BAD_DATA, "too small");
    cr_assert(rg_fail_prefix(&err, "f.png") == RG_BAD_DATA);
    cr_assert(strcmp(err.text, "f.png: too small") == 0);
    cr_assert(rg_fail_prefix(NULL, "f.png") == RG_INTERNAL);
}

Test(status, want_of_memory_gets_its_remedy_once)
{
    rg_error err = {0};
    rg_fail(&err, RG_INTERNAL, "no memory for %d frames", 3);
    cr_assert(strcmp(err.text, "no memory for 3 frames; close other programs and try again") == 0);
    rg_fail_prefix(&err, "a");
    cr_assert(strcmp(err.text, "a: no memory for 3 frames; close other programs and try again") ==
              0);
    rg_fail(&err, RG_INTERNAL, "the index is broken");
    cr_assert(strcmp(err.text, "the index is broken") == 0);
    rg_fail(&err, RG_BAD_DATA, "no memory");
    cr_assert(strcmp(err.text, "no memory") == 0);
}
