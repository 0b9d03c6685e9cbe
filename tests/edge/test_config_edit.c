/*
 * test_config_edit.c - values written into an INI text, everything else kept.
 *
 * The expected texts are written out by hand; that they mean what was asked
 * for is checked by the station parser, which shares no code with the editor.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/config.h"
#include "rimglow/config_edit.h"
#include "support/load.h"

static char *edited(const char *text, const rg_config_change *changes, int count)
{
    char *out = NULL;
    rg_error err = {0};
    cr_assert_eq(rg_config_edit("t.ini", text, strlen(text), changes, count, &out, &err), RG_OK,
                 "%s", err.text);
    return out;
}

static void becomes(const char *before, const char *section, const char *key, const char *value,
                    const char *expected)
{
    rg_config_change c = {section, key, value};
    char *out = edited(before, &c, 1);
    cr_assert_str_eq(out, expected);
    free(out);
}

static void refused(const char *text, size_t size, const rg_config_change *changes, int count,
                    const char *why)
{
    char *out = (char *)(uintptr_t) "untouched";
    rg_error err = {0};
    cr_assert_eq(rg_config_edit("t.ini", text, size, changes, count, &out, &err), RG_BAD_DATA);
    cr_assert_null(out);
    cr_assert(strstr(err.text, why) && strncmp(err.text, "t.ini: ", 7) == 0, "%s", err.text);
}

static void value_refused(const char *section, const char *key, const char *value, const char *why)
{
    static const char text[] = "[lens]\nfx = 1 ; px\n";
    rg_config_change c = {section, key, value};
    refused(text, strlen(text), &c, 1, why);
}

Test(config_edit, a_value_is_replaced_and_its_comment_stays)
{
    becomes("[lens]\nfx_px = 3300 ; px, focal length\ncx = 5\n", "lens", "fx_px", "812.25",
            "[lens]\nfx_px = 812.25 ; px, focal length\ncx = 5\n");
    becomes("; top\n\n [ lens ] # head\n\tfx=1\t# c ; d\n", "lens", "fx", "2",
            "; top\n\n [ lens ] # head\n\tfx=2\t# c ; d\n");
    becomes("[lens]\nname : F#4 is a note # F#4\n", "lens", "name", "G#4 too",
            "[lens]\nname : G#4 too # F#4\n");
    becomes("[lens]\nfx = 1", "lens", "fx", "22", "[lens]\nfx = 22");
}

Test(config_edit, an_empty_value_is_filled_and_can_be_emptied)
{
    becomes("[a]\nx =\n", "a", "x", "1", "[a]\nx = 1\n");
    becomes("[a]\nx =", "a", "x", "1", "[a]\nx = 1");
    becomes("[a]\nx = ; why\n", "a", "x", "1", "[a]\nx = 1 ; why\n");
    becomes("[a]\nx =; why\n", "a", "x", "1", "[a]\nx = 1 ; why\n");
    becomes("[a]\nx = 7 ; why\n", "a", "x", "", "[a]\nx =  ; why\n");
    becomes("[a]\nx =\n", "a", "x", "", "[a]\nx =\n");
    /* The '=' that let the comment begin is gone. */
    becomes("[a]\nx = 7=;why\n", "a", "x", "8", "[a]\nx = 8 ;why\n");
}

Test(config_edit, only_the_key_of_that_section_is_changed)
{
    becomes("[a]\nx = 1\n[b]\nx = 1\nxx = 1\n; x = 1\n[c]\nx = 1\n", "b", "x", "2",
            "[a]\nx = 1\n[b]\nx = 2\nxx = 1\n; x = 1\n[c]\nx = 1\n");
}

Test(config_edit, a_missing_key_goes_behind_the_last_key_of_its_section)
{
    becomes("[a]\nx = 1 ; why\n\n; about b\n[b]\nx = 1\n", "a", "y", "2",
            "[a]\nx = 1 ; why\ny = 2\n\n; about b\n[b]\nx = 1\n");
    becomes("[a]\n; nothing yet\n[b]\n", "a", "y", "2", "[a]\ny = 2\n; nothing yet\n[b]\n");
    becomes("[a]\nx = 1", "a", "y", "2", "[a]\nx = 1\ny = 2\n");
    becomes("[a]", "a", "y", "2", "[a]\ny = 2\n");
}

Test(config_edit, a_missing_section_goes_to_the_end_with_all_its_keys)
{
    const rg_config_change c[] = {
        {"new", "p", "1"}, {"newer", "q", "2"}, {"a", "y", "3"}, {"new", "r", "4"}};
    char *out = edited("[a]\nx = 1", c, 4);
    cr_assert_str_eq(out, "[a]\nx = 1\ny = 3\n\n[new]\np = 1\nr = 4\n\n[newer]\nq = 2\n");
    free(out);
    becomes("", "a", "x", "1", "[a]\nx = 1\n");
}

Test(config_edit, line_ends_and_byte_order_mark_are_kept)
{
    becomes("\xEF\xBB\xBF[a]\r\nx = 1\r\n", "a", "x", "2", "\xEF\xBB\xBF[a]\r\nx = 2\r\n");
    becomes("\xEF\xBB\xBF[a]\r\nx = 1\r\n", "a", "y", "2", "\xEF\xBB\xBF[a]\r\nx = 1\r\ny = 2\r\n");
    becomes("[a]\r\nx = 1", "b", "y", "2", "[a]\r\nx = 1\r\n\r\n[b]\r\ny = 2\r\n");
    becomes("\xEF\xBB\xBF", "a", "x", "1", "\xEF\xBB\xBF[a]\nx = 1\n");
}

Test(config_edit, no_change_is_the_same_text)
{
    char *out = edited("[a]\n x= 1;2 ; c\n\n\n", NULL, 0);
    cr_assert_str_eq(out, "[a]\n x= 1;2 ; c\n\n\n");
    free(out);
    becomes("[a]\n x= 1;2 ; c\n\n\n", "a", "x", "1;2", "[a]\n x= 1;2 ; c\n\n\n");
}

/* Lines of a and b that differ. */
static int lines_changed(const char *a, const char *b)
{
    int changed = 0;
    while (*a && *b) {
        size_t n = strcspn(a, "\n"), m = strcspn(b, "\n");
        changed += n != m || memcmp(a, b, n) != 0;
        a += n + (a[n] != 0);
        b += m + (b[m] != 0);
    }
    cr_assert(!*a && !*b);
    return changed;
}

Test(config_edit, the_demo_station_reads_back_what_was_written)
{
    static const rg_config_change c[] = {
        {"lens", "width_px", "1920"},      {"lens", "fx_px", "3312.25"},
        {"lens", "k1", "-0.126637261"},    {"lens", "k3", "0.2383"},
        {"witness", "slot_gain", "0.875"}, {"lens", "scale_u", "0.0031"},
    };
    test_bytes b = test_load("calib/bench.ini");
    char *out = NULL;
    rg_error err = {0};
    rg_station before, after;
    cr_assert_eq(rg_station_parse("b", (const char *)b.data, b.size, &before, &err), RG_OK);
    cr_assert_eq(rg_config_edit("b", (const char *)b.data, b.size, c, 6, &out, &err), RG_OK);
    cr_assert_eq(rg_station_parse("b", out, strlen(out), &after, &err), RG_OK, "%s", err.text);
    cr_assert_eq(lines_changed((const char *)b.data, out), 6);
    before.lens.width = 1920;
    before.lens.fx = 3312.25;
    before.lens.k1 = -0.126637261;
    before.lens.k3 = 0.2383;
    cr_assert_eq(memcmp(&after.lens, &before.lens, sizeof after.lens), 0);
    cr_assert_str_eq(after.name, before.name);
    cr_assert(strstr(out, "\nslot_gain = 0.875\n") && strstr(out, "\nscale_u = 0.0031\n"));
    free(out);
    free(b.data);
}

Test(config_edit, values_that_would_not_read_back_are_refused)
{
    static const char *const bad[] = {"1\n2", "1\r",  "1 ; 2", "1 # 2",    ";",    "#1",   " 1",
                                      "1 ",   "\x01", "=;",    "\xC3\xA9", "\x7F", "1\t#2"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        value_refused("lens", "fx", bad[i], "cannot be written");
        value_refused("lens", "new", bad[i], "cannot be written");
    }
}

Test(config_edit, keys_and_sections_that_cannot_be_are_refused)
{
    static const char *const bad[] = {"", "a=b", "a:b", "[a", "#a", " a", "a\nb", "a ;b"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        value_refused("lens", bad[i], "1", "no key");
    static const char *const section[] = {"a]", "[a", "a\nb", " a", "a ;b", "\xC3\xA9"};
    for (size_t i = 0; i < sizeof section / sizeof *section; i++)
        value_refused(section[i], "x", "1", "a new section is named");
    value_refused("", "x", "1", "1 to 127 bytes");
}

Test(config_edit, the_longest_line_that_is_written_can_be_read)
{
    char value[260], text[64] = "[station]\nname = x ; comment\n";
    memset(value, 'v', sizeof value);
    value[RG_CONFIG_EDIT_LINE - strlen("name = ")] = 0;
    rg_config_change c = {"station", "name", value};
    char *out = edited(text, &c, 1);
    rg_error err = {0};
    rg_station station;
    rg_station_parse("t", out, strlen(out), &station, &err);
    cr_assert_null(strstr(err.text, "too long for a line"), "%s", err.text);
    free(out);
    value[RG_CONFIG_EDIT_LINE - strlen("name = ")] = 'v';
    value[RG_CONFIG_EDIT_LINE + 1 - strlen("name = ")] = 0;
    refused(text, strlen(text), &c, 1, "more than 197 bytes");
    refused("[station]\n", 10, &c, 1, "more than 197 bytes");
}

Test(config_edit, what_is_ambiguous_is_refused_with_both_lines)
{
    rg_config_change c = {"a", "x", "1"};
    static const char twice[] = "[a]\nx = 1\nx = 2\n", again[] = "[a]\nx = 1\n[b]\n[a]\n";
    refused(twice, strlen(twice), &c, 1, "line 2 and again in line 3");
    refused(again, strlen(again), &c, 1, "line 1 and again in line 4");
    rg_config_change two[] = {c, c};
    refused("[a]\n", 4, two, 2, "changed twice");
}

Test(config_edit, hostile_texts_are_refused)
{
    rg_config_change c = {"a", "x", "1"};
    refused("[a]\n\0x", 6, &c, 1, "byte 0");
    char *huge = malloc(RG_CONFIG_EDIT_MAX_BYTES + 1);
    cr_assert_not_null(huge);
    memset(huge, '\n', RG_CONFIG_EDIT_MAX_BYTES + 1);
    refused(huge, RG_CONFIG_EDIT_MAX_BYTES + 1, &c, 1, "another file");
    free(huge);
    refused("", 0, &c, RG_CONFIG_CHANGES_MAX + 1, "0 to 64");
}
