/*
 * Tests of the parsers of manifests and bag-info.txt (bag.h) against the rules of RFC 8493.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/bag.h"

#define A "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
#define E "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"

static rg_bag_entry *entry;
static size_t count;
static rg_error err;

static rg_code parse(const char *text, size_t size)
{
    rg_bag_entries_free(entry, count);
    return rg_bag_parse_manifest("m.txt", text, size, &entry, &count, &err);
}

static void release(void)
{
    rg_bag_entries_free(entry, count);
    entry = NULL;
    count = 0;
}

TestSuite(bag_read, .fini = release);

/* 2.1.3: digits of either case, one or more blanks or tabs, paths to the end of the line; 2.3: LF,
 * CR or CRLF, the last one may be missing. */
Test(bag_read, manifest_lines_of_every_allowed_form)
{
    static const char text[] = A "  data/a\n" E "\tdata/with  two blanks \r\n"
                                 "BA7816BF8F01CFEA414140DE5DAE2223B00361A396177A9CB410FF61F20015AD "
                                 "\t data/-c\r" E "  data/50%25%0A%0D%0a%0dx";
    rg_digest a = rg_digest_of("abc", 3), e = rg_digest_of("", 0);
    cr_assert(parse(text, strlen(text)) == RG_OK, "%s", err.text);
    cr_assert(count == 4);
    cr_expect_str_eq(entry[0].path, "data/a");
    cr_expect_str_eq(entry[1].path, "data/with  two blanks ");
    cr_expect_str_eq(entry[2].path, "data/-c");
    cr_expect_str_eq(entry[3].path, "data/50%\n\r\n\rx");
    cr_expect(rg_digest_equal(&entry[0].digest, &a) && rg_digest_equal(&entry[2].digest, &a));
    cr_expect(rg_digest_equal(&entry[1].digest, &e));
    cr_assert(parse("", 0) == RG_OK && count == 0);
}

Test(bag_read, malformed_manifest_is_refused_by_line)
{
    static const char *const bad[] = {
        "x",
        "  data/x",
        A,
        A " ",
        A "  ",
        A "data/x",
        "a" A "  data/x",
        "0" A " data/x",
        "z" E "  data/x",
        A "  /data/x",
        A "  ../x",
        A "  data/../x",
        A "  data/./x",
        A "  data//x",
        A "  data/x/",
        A "  data/x\ty",
        A "  data/\x1b[2J",
        A "  data/\x7f",
        A "  data/\xff",
        A "  data/\xed\xa0\x80",
        A "  data/%",
        A "  data/%2",
        A "  data/%20",
        A "  data/%2e%2e/x",
        A "  data/%00",
        A "  data/%2F",
        "",
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        char text[400];
        snprintf(text, sizeof text, A "  data/first\n%s\n", bad[i]);
        cr_expect(parse(text, strlen(text)) == RG_BAD_DATA, "%s", bad[i]);
        cr_expect(strncmp(err.text, "m.txt, line 2: ", 15) == 0, "%s: %s", bad[i], err.text);
        cr_expect(entry == NULL && count == 0);
    }
}

Test(bag_read, doubled_path_is_refused_by_its_second_line)
{
    static const char text[] = A "  data/b\n" A "  data/a\n" E "  data/c\n" E "  data/a\n";
    cr_expect(parse(text, strlen(text)) == RG_BAD_DATA);
    cr_expect(strstr(err.text, "line 4: the path stands there twice") != NULL, "%s", err.text);
    static const char encoded[] = A "  data/%0a\n" A "  data/%0A\n";
    cr_expect(parse(encoded, strlen(encoded)) == RG_BAD_DATA, "doubled after decoding");
}

Test(bag_read, text_with_a_byte_0_or_a_byte_order_mark_is_refused)
{
    static const char zero[] = A "  data/a\0b\n", mark[] = "\xef\xbb\xbf" A "  data/a\n";
    cr_expect(parse(zero, sizeof zero - 1) == RG_BAD_DATA);
    cr_expect(parse(mark, sizeof mark - 1) == RG_BAD_DATA);
    cr_expect(strstr(err.text, "byte-order mark") != NULL);
}

Test(bag_read, limits_hold_on_both_sides)
{
    char path[700] = "data/", text[900];
    for (int i = 0; i < 6; i++)
        strcat(
            path,
            "ssssssssssssssssssssssssssssssssssssssssssssssssssssssssssssssssssssssssssssssssssss"
            "ssssssssssssss/");
    path[RG_BAG_PATH - 1] = 0;
    snprintf(text, sizeof text, A "  %s", path);
    cr_expect(parse(text, strlen(text)) == RG_OK && strlen(entry[0].path) == RG_BAG_PATH - 1);
    strcat(path, "s");
    snprintf(text, sizeof text, A "  %s", path);
    cr_expect(parse(text, strlen(text)) == RG_BAD_DATA);

    size_t line = 64 + 2 + 11 + 1, lines = RG_BAG_FILES_MAX;
    char *many = malloc((lines + 1) * line + 1);
    for (size_t i = 0; i <= lines; i++)
        sprintf(many + i * line, A "  data/%06zu\n", i);
    cr_expect(parse(many, lines * line) == RG_OK && count == lines);
    cr_expect(parse(many, (lines + 1) * line) == RG_BAD_DATA);
    cr_expect(strstr(err.text, "line 100001") != NULL, "%s", err.text);
    free(many);
}

/* ---- bag-info.txt ---- */

static rg_code info(const char *text, rg_bag_tags *tags)
{
    return rg_bag_parse_info("i.txt", text, strlen(text), tags, &err);
}

/* The example of RFC 8493 section 2.2.2, in parts: long values go on in lines that begin with
 * blanks. */
Test(bag_read, info_of_the_rfc_is_read)
{
    rg_bag_tags tags;
    cr_assert(info("Source-Organization: FOO University\n"
                   "External-Description: Uncompressed greyscale TIFF images from the\n"
                   "      FOO papers colle...\r\n"
                   "Bagging-Date: 2008-01-15\r"
                   "Payload-Oxum: 279164409832.1198\n"
                   "Bag-Count: 1 of 15\n"
                   "Contact-Name: first\nContact-Name: second: with colon",
                   &tags) == RG_OK,
              "%s", err.text);
    cr_assert(tags.lines == 7);
    cr_expect_str_eq(rg_bag_tag(&tags, "source-ORGANIZATION"), "FOO University");
    cr_expect_str_eq(rg_bag_tag(&tags, "External-Description"),
                     "Uncompressed greyscale TIFF images from the FOO papers colle...");
    cr_expect_str_eq(rg_bag_tag(&tags, "Bagging-Date"), "2008-01-15");
    cr_expect_str_eq(rg_bag_tag(&tags, "Payload-Oxum"), "279164409832.1198");
    cr_expect_str_eq(rg_bag_tag(&tags, "Contact-Name"), "first");
    cr_expect_str_eq(tags.line[6].value, "second: with colon");
    cr_expect_str_eq(rg_bag_tag(&tags, "Bag-Size"), "");
}

Test(bag_read, malformed_info_is_refused_and_leaves_nothing)
{
    static const char *const bad[] = {
        "no colon",
        ": no label",
        "Label : blank before the colon",
        "Label:no blank after it",
        "  folded first line",
        "\n",
        "Label: a\n\nLabel: b",
        "Label: \x01",
        "Label: \xff",
        "Payload-Oxum: 12\n",
        "Payload-Oxum: 12.\n",
        "Payload-Oxum: .1\n",
        "Payload-Oxum: -1.1\n",
        "Payload-Oxum: 1.1 \n 2",
        "Payload-Oxum: 9999999999999999999999.1\n",
        "Payload-Oxum: 1.1\npayload-oxum: 1.1\n",
        "A-label-of-more-than-63-bytes-is-refused-because-no-one-needs-it-to-be-so-long: x",
    };
    rg_bag_tags tags;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        memset(&tags, 1, sizeof tags);
        cr_expect(info(bad[i], &tags) == RG_BAD_DATA, "%s", bad[i]);
        cr_expect(strncmp(err.text, "i.txt", 5) == 0, "%s", err.text);
        cr_expect(tags.lines == 0 && rg_bag_tag(&tags, "Label")[0] == 0);
    }
}

Test(bag_read, long_values_and_many_labels_are_refused)
{
    rg_bag_tags tags;
    char text[2000] = "Label: ";
    memset(text + 7, 'v', RG_BAG_VALUE - 1);
    text[7 + RG_BAG_VALUE - 1] = 0;
    cr_expect(info(text, &tags) == RG_OK && strlen(tags.line[0].value) == RG_BAG_VALUE - 1);
    strcat(text, "\n v");
    cr_expect(info(text, &tags) == RG_BAD_DATA);
    text[0] = 0;
    for (int i = 0; i < RG_BAG_INFO_MAX; i++)
        strcat(text, "L: v\n");
    cr_expect(info(text, &tags) == RG_OK && tags.lines == RG_BAG_INFO_MAX);
    strcat(text, "L: v\n");
    cr_expect(info(text, &tags) == RG_BAD_DATA);
}
