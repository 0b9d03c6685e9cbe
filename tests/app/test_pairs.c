/*
 * Tests of pairs.h: cases of an archive made of sample frames into which owner, place, serials and comments were
 * written as a camera or a telephone does. Names of the cases: RFC 4231 and base32 of GNU coreutils. Texts in PDFs are
 * read by poppler, files of the archive are compared by their digests.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "../../src/app/pairs_private.h"
#include "rimglow/decode.h"
#include "rimglow/file.h"
#include "rimglow/tags.h"
#include "support/load.h"
#include "support/print.h"
#include "support/scratch.h"

static rg_error err;
static char work[TEST_SCRATCH_PATH], archive[TEST_SCRATCH_PATH + 16];

/* ---------------------------------------------------------------- what must not come out */

/* Texts that stand in the archive: record, sweep, station and instrument, and inside the frames. */
static const char *const private_text[] = {
    "PE-A-0147",     "Quillfeather",   "reason-for-visit", "note-of-visit", "Port Ellery",
    "2026-11-20",    "2025-03-04",     "0001-2026",        "secret-bench",  "telephone-of",
    "OWNER-PLANTED", "SERIAL-PLANTED", "ARTIST-PLANTED",   "XMP-PLANTED",   "COMMENT-PLANTED",
    "THUMB-PLANTED", "PROFILE-PLANT",  "CAPTION-PLANTED"};
enum { TEXTS = sizeof private_text / sizeof *private_text };
/* 50 degrees, 7 minutes, 21/1 seconds, as the GPS tags of the frames hold it. */
static const uint8_t place[] = {50, 0, 0, 0, 1, 0, 0, 0, 7, 0, 0, 0, 1, 0, 0, 0, 21, 0, 0, 0, 1, 0};

static bool holds(const void *data, size_t size, const void *what, size_t length)
{
    for (size_t i = 0; i + length <= size; i++)
        if (memcmp((const uint8_t *)data + i, what, length) == 0)
            return true;
    return false;
}

static void nothing_private(const char *where, const void *data, size_t size)
{
    for (int i = 0; i < TEXTS; i++)
        cr_expect(!holds(data, size, private_text[i], strlen(private_text[i])), "%s holds %s",
                  where, private_text[i]);
    cr_expect(!holds(data, size, place, sizeof place), "%s holds the place", where);
}

/* ---------------------------------------------------------------- frames with metadata */

typedef struct filling {
    uint8_t byte[8192];
    size_t size;
} filling;

static void put(filling *f, const void *bytes, size_t size)
{
    cr_assert(f->size + size <= sizeof f->byte);
    memcpy(f->byte + f->size, bytes, size);
    f->size += size;
}

static void put_16(filling *f, unsigned value)
{
    put(f, &(uint8_t[]){(uint8_t)value, (uint8_t)(value >> 8)}, 2);
}

static void put_32(filling *f, unsigned value)
{
    put_16(f, value & 0xffff);
    put_16(f, value >> 16);
}

/* An entry of an IFD (TIFF 6.0): tag, type, count, value or offset. */
static void entry(filling *f, unsigned tag, unsigned type, unsigned count, unsigned value)
{
    put_16(f, tag);
    put_16(f, type);
    put_32(f, count);
    put_32(f, value);
}

/* EXIF (CIPA DC-008): artist, owner 0xA430, body serial 0xA431, GPS latitude, and a thumbnail in IFD1. */
static void put_exif(filling *f)
{
    enum { IFD0 = 8, EXIF = 50, GPS = 80, IFD1 = 98, DATA = 128, STEP = 32 };
    put(f, "Exif\0", 6);
    size_t tiff = f->size;
    put(f, "II*\0\x08\0\0\0", 8);
    put_16(f, 3);
    entry(f, 0x013b, 2, 15, DATA);
    entry(f, 0x8769, 4, 1, EXIF);
    entry(f, 0x8825, 4, 1, GPS);
    put_32(f, IFD1);
    put_16(f, 2);
    entry(f, 0xa430, 2, 14, DATA + STEP);
    entry(f, 0xa431, 2, 15, DATA + 2 * STEP);
    put_32(f, 0);
    put_16(f, 1);
    entry(f, 2, 5, 3, DATA + 3 * STEP);
    put_32(f, 0);
    put_16(f, 2);
    entry(f, 0x0201, 4, 1, DATA + 4 * STEP);
    entry(f, 0x0202, 4, 1, 24);
    put_32(f, 0);
    cr_assert_eq(f->size - tiff, DATA, "%zu", f->size - tiff);
    static const char *const text[] = {"ARTIST-PLANTED", "OWNER-PLANTED", "SERIAL-PLANTED"};
    for (int i = 0; i < 3; i++) {
        char block[STEP] = {0};
        snprintf(block, sizeof block, "%s", text[i]);
        put(f, block, sizeof block);
    }
    put(f, place, sizeof place);
    put(f, (uint8_t[STEP]){0}, STEP - sizeof place);
    put(f, "\xff\xd8THUMB-PLANTED\xff\xd9......", 24);
}

static void segment(filling *f, int marker, const filling *content)
{
    size_t size = content->size + 2;
    put(f, &(uint8_t[]){0xff, (uint8_t)marker, (uint8_t)(size >> 8), (uint8_t)size}, 4);
    put(f, content->byte, content->size);
}

static void text_segment(filling *f, int marker, const char *head, size_t head_size,
                         const char *text)
{
    filling content = {.size = 0};
    put(&content, head, head_size);
    put(&content, text, strlen(text));
    segment(f, marker, &content);
}

static filling all_segments(void)
{
    filling f = {.size = 0}, exif = {.size = 0};
    put_exif(&exif);
    segment(&f, 0xe1, &exif);
    text_segment(&f, 0xe1, "http://ns.adobe.com/xap/1.0/", 29,
                 "<x:xmpmeta>XMP-PLANTED</x:xmpmeta>");
    text_segment(&f, 0xe2, "ICC_PROFILE\0\1\1", 14, "PROFILE-PLANTED");
    text_segment(&f, 0xed, "Photoshop 3.0", 14, "CAPTION-PLANTED");
    text_segment(&f, 0xfe, "", 0, "COMMENT-PLANTED");
    return f;
}

/* The frame with the segments behind its first marker. */
static void write_frame(const char *from, const char *to)
{
    test_bytes frame = test_load(from);
    filling f = all_segments();
    uint8_t *bytes = malloc(frame.size + f.size);
    memcpy(bytes, frame.data, 2);
    memcpy(bytes + 2, f.byte, f.size);
    memcpy(bytes + 2 + f.size, frame.data + 2, frame.size - 2);
    cr_assert_eq(rg_file_write(to, bytes, frame.size + f.size, &err), RG_OK, "%s", err.text);
    free(bytes);
    free(frame.data);
}

/* ---------------------------------------------------------------- the archive */

static void write_text(const char *name, char *text)
{
    char path[400];
    snprintf(path, sizeof path, "%s/%s", work, name);
    cr_assert_eq(rg_file_write(path, text, strlen(text), &err), RG_OK, "%s", err.text);
    free(text);
}

/* A station of another name whose calibration has lapsed, so that the archived reasons quote dates. */
static void write_station(void)
{
    char *text =
        test_changed("calib/bench.ini", "light_date = 2026-11-18", "light_date = 2025-03-04");
    char *lapsed = test_edited(text, "light_valid_days = 0", "light_valid_days = 30");
    free(text);
    text = test_edited(lapsed, "[station]\nname = ", "[station]\nname = secret-bench ; ");
    free(lapsed);
    write_text("bench.ini", text);
    write_text("alto.ini", test_text("calib/alto-loan.ini"));
}

/* work/NAME: so many views of the sample; more than one with its witness. */
static void write_sweep(const char *name, int views)
{
    bool witness = views > 1;
    char path[400], from[200], text[2000];
    int n =
        snprintf(text, sizeof text,
                 "[sweep]\nserial = PE-A-0147\ninstrument = ../alto.ini\nstation = ../bench.ini\n"
                 "pad = G sharp\ncrown = 2\nfinger = light\n[taken]\ndate = 2026-11-20\ngain = 0\n"
                 "exposure_s = 0\n[frames]\n%s",
                 witness ? "telephone-of-w.jpg = witness, exposure 0.2\n" : "");
    snprintf(path, sizeof path, "%s/%s", work, name);
    cr_assert_eq(mkdir(path, 0777), 0);
    snprintf(path, sizeof path, "%s/%s/telephone-of-w.jpg", work, name);
    if (witness)
        write_frame("samples/PE-A-0147/07-G-sharp/witness.jpg", path);
    for (int i = 0; i < views; i++) {
        snprintf(from, sizeof from, "samples/PE-A-0147/07-G-sharp/view_%02d.jpg", i);
        snprintf(path, sizeof path, "%s/%s/telephone-of-%d.jpg", work, name, i);
        write_frame(from, path);
        n += snprintf(text + n, sizeof text - (size_t)n,
                      "telephone-of-%d.jpg = closed, exposure 1.0\n", i);
    }
    snprintf(path, sizeof path, "%s/sweep.ini", name);
    write_text(path, strcpy(malloc(sizeof text), text));
}

static void visit(const char *const *folder, int folders, int day)
{
    rg_archive_added added;
    char results[200];
    snprintf(results, sizeof results, "%s/results", work);
    const rg_archive_visit v = {.technician = "Quillfeather",
                                .occasion = "reason-for-visit",
                                .note = "note-of-visit",
                                .results = results,
                                .time = 1785000000 + 86400 * (int64_t)day,
                                .folder = folder,
                                .folders = folders};
    cr_assert_eq(rg_archive_add(archive, &v, NULL, &added, &err), RG_OK, "%s", err.text);
}

static void begin(void)
{
    cr_assert(test_scratch_make(work));
    snprintf(archive, sizeof archive, "%s/archive", work);
    write_station();
}

static void end(void)
{
    rg_bag_remove(work, &err);
}

TestSuite(pairs, .init = begin, .fini = end);

static void add_visit(const char *name, int views, int day)
{
    char path[200];
    const char *folder[] = {path};
    snprintf(path, sizeof path, "%s/%s", work, name);
    write_sweep(name, views);
    visit(folder, 1, day);
}

static rg_pairs *open_pairs(void)
{
    const rg_pairs_options o = {.archive = archive};
    rg_pairs *p;
    cr_assert_eq(rg_pairs_open(&o, &p, &err), RG_OK, "%s", err.text);
    return p;
}

static rg_pairs_page list(rg_pairs *p, int from)
{
    static rg_pairs_page page;
    const rg_pairs_choice any = {.size = -1};
    cr_assert_eq(rg_pairs_list(p, &any, from, &page, &err), RG_OK, "%s", err.text);
    return page;
}

/* ---------------------------------------------------------------- names */

static void expect_name(const char *key_text, size_t size, const char *text, const char *name)
{
    uint8_t key[RG_PAIRS_KEY] = {
        0}; /* a shorter key is filled up with zeros (RFC 2104, section 2) */
    char made[RG_PAIRS_NAME];
    memcpy(key, key_text, size);
    rg_pairs_name(key, text, made);
    cr_expect_str_eq(made, name);
}

/* Test cases 1 and 2 of RFC 4231: HMACs b0344c61d8..., 5bdcc146bf...; their first five bytes by `base32`. */
Test(pairs_name, is_the_keyed_hash_of_rfc_4231_in_base32)
{
    expect_name("\v\v\v\v\v\v\v\v\v\v\v\v\v\v\v\v\v\v\v\v", 20, "Hi There", "WA2E-YYOY");
    expect_name("Jefe", 4, "what do ya want for nothing?", "LPOM-CRV7");
}

Test(pairs, names_hold_with_a_key_file_and_differ_without)
{
    char key[200], other[RG_PAIRS_NAME];
    struct stat st;
    add_visit("one", 2, 0);
    cr_assert_eq(rg_pairs_key_path(work, archive, key, sizeof key, &err), RG_OK);
    const rg_pairs_options o = {.archive = archive, .key_file = key};
    char name[2][RG_PAIRS_NAME];
    for (int i = 0; i < 2; i++) {
        rg_pairs *p;
        cr_assert_eq(rg_pairs_open(&o, &p, &err), RG_OK, "%s", err.text);
        strcpy(name[i], list(p, 0).truth[0].name);
        rg_pairs_close(p);
    }
    cr_expect_str_eq(name[0], name[1]);
    cr_assert_eq(stat(key, &st), 0);
    cr_expect_eq(st.st_mode & 0777, 0600);
    rg_pairs *p = open_pairs();
    strcpy(other, list(p, 0).truth[0].name);
    rg_pairs_close(p);
    cr_expect_str_neq(name[0], other);
}

Test(pairs, a_key_file_in_the_archive_or_of_other_content_is_refused)
{
    char key[200];
    rg_pairs *p;
    add_visit("one", 2, 0);
    snprintf(key, sizeof key, "%s/bags/k.key", archive);
    rg_pairs_options o = {.archive = archive, .key_file = key};
    cr_expect_eq(rg_pairs_open(&o, &p, &err), RG_USAGE);
    cr_expect(p == NULL && access(key, F_OK) != 0);
    snprintf(key, sizeof key, "%s/k.key", work);
    write_text("k.key", strcpy(malloc(16), "no key"));
    cr_expect_eq(rg_pairs_open(&o, &p, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "64 hexadecimal digits"), "%s", err.text);
}

/* ---------------------------------------------------------------- what comes out */

typedef struct drawn {
    const char *name;
    rg_pair_picture picture;
    int view;
} drawn;
static const drawn pictures[] = {{"photo in", RG_PAIR_PHOTO, RG_PAIRS_IN},
                                 {"photo out", RG_PAIR_PHOTO, RG_PAIRS_OUT},
                                 {"marked in", RG_PAIR_MARKED, RG_PAIRS_IN},
                                 {"marked out", RG_PAIR_MARKED, RG_PAIRS_OUT},
                                 {"scale in", RG_PAIR_SCALE, RG_PAIRS_IN},
                                 {"scale out", RG_PAIR_SCALE, RG_PAIRS_OUT},
                                 {"ring", RG_PAIR_RING, 0},
                                 {"strip", RG_PAIR_STRIP, 0}};
enum { PICTURES = sizeof pictures / sizeof *pictures };

static rg_pair *open_first(rg_pairs *p)
{
    rg_pair *pair;
    cr_assert_eq(rg_pair_open_at(p, 0, &pair, &err), RG_OK, "%s", err.text);
    return pair;
}

static rg_bytes draw(const rg_pair *pair, const drawn *d, rg_picture_format format)
{
    rg_bytes bytes;
    cr_assert_eq(rg_pair_draw(pair, d->picture, d->view, format, &bytes, &err), RG_OK, "%s: %s",
                 d->name, err.text);
    return bytes;
}

/* The test could not fail if the archive did not hold all of this. */
static void archive_holds_it_all(void)
{
    char command[600];
    for (int i = 0; i < TEXTS; i++) {
        snprintf(command, sizeof command,
                 "grep -rqF -e '%s' %s/bags || find %s/bags | grep -q '%s'", private_text[i],
                 archive, archive, private_text[i]);
        cr_expect_eq(system(command), 0, "the archive does not hold %s", private_text[i]);
    }
    filling f = all_segments();
    cr_expect(holds(f.byte, f.size, place, sizeof place));
}

Test(pairs, no_picture_and_no_text_tells_what_is_private, .timeout = 120)
{
    add_visit("secret-bench-sweep", 6, 0);
    archive_holds_it_all();
    rg_pairs *p = open_pairs();
    rg_pair *pair = open_first(p);
    char *json;
    cr_assert_eq(rg_pair_json(pair, &json, &err), RG_OK, "%s", err.text);
    nothing_private("JSON", json, strlen(json));
    cr_expect(strstr(json, "a reason that quotes a date") ||
                  strstr(json, "calibration did not hold on the day"),
              "the lapsed calibration is told, without its date");
    for (int i = 0; i < PICTURES; i++)
        for (int format = RG_PICTURE_PNG; format <= RG_PICTURE_PDF; format++) {
            rg_bytes bytes = draw(pair, &pictures[i], (rg_picture_format)format);
            nothing_private(pictures[i].name, bytes.data, bytes.size);
            free(bytes.data);
        }
    free(json);
    rg_pair_free(pair);
    rg_pairs_close(p);
}

/* cairo writes texts as glyphs: only a reader of PDFs sees them. The same routine draws PNG and SVG. */
Test(pairs, texts_within_pictures_name_the_case_and_nobody, .timeout = 120)
{
    add_visit("secret-bench-sweep", 6, 0);
    rg_pairs *p = open_pairs();
    rg_pair *pair = open_first(p);
    char wanted[40];
    snprintf(wanted, sizeof wanted, "case %s", rg_pair_truth(pair)->name);
    for (int i = 0; i < PICTURES; i++) {
        if (pictures[i].picture == RG_PAIR_PHOTO)
            continue;
        rg_bytes bytes = draw(pair, &pictures[i], RG_PICTURE_PDF);
        char *words = test_pdf_words(bytes.data, bytes.size);
        char *info = test_pdf_answer("pdfinfo %s", bytes.data, bytes.size);
        /* The name of a picture that is asked about would lead to its map. */
        cr_expect_eq(strstr(words, wanted) != NULL, pictures[i].picture != RG_PAIR_SCALE, "%s: %s",
                     pictures[i].name, words);
        cr_expect(pictures[i].picture != RG_PAIR_SCALE || !strstr(words, wanted + 5));
        nothing_private(pictures[i].name, words, strlen(words));
        nothing_private(pictures[i].name, info, strlen(info));
        cr_expect(!strstr(info, " 202") && !strstr(info, "Author"), "%s", info);
        free(words);
        free(info);
        free(bytes.data);
    }
    rg_pair_free(pair);
    rg_pairs_close(p);
}

/* Segments of a JPEG before the picture's data (ITU-T T.81, annex B): JFIF's APP0 (T.871), tables and frame alone. */
Test(pairs, photographs_are_coded_anew_without_metadata, .timeout = 120)
{
    add_visit("one", 6, 0);
    rg_pairs *p = open_pairs();
    rg_pair *pair = open_first(p);
    for (int view = 0; view < RG_PAIRS_VIEWS; view++) {
        rg_bytes b = draw(pair, &pictures[view], RG_PICTURE_PNG);
        size_t at = 2;
        int segments = 0;
        cr_assert(b.size > 4 && b.data[0] == 0xff && b.data[1] == 0xd8);
        while (at + 4 < b.size && b.data[at + 1] != 0xda) {
            int marker = b.data[at + 1];
            bool plain = marker == 0xe0 || marker == 0xdb || marker == 0xc0 || marker == 0xc4;
            cr_expect(b.data[at] == 0xff && plain, "segment %02x", marker);
            if (marker == 0xe0)
                cr_expect(memcmp(b.data + at + 4, "JFIF", 5) == 0 && b.data[at + 16] == 0 &&
                              b.data[at + 17] == 0,
                          "JFIF without a thumbnail");
            at += 2 + 256U * b.data[at + 2] + b.data[at + 3];
            segments++;
        }
        cr_expect_geq(segments, 4);
        cr_expect(b.data[b.size - 2] == 0xff && b.data[b.size - 1] == 0xd9, "nothing behind EOI");
        free(b.data);
    }
    rg_pair_free(pair);
    rg_pairs_close(p);
}

Test(pairs, pngs_hold_pixels_and_nothing_else, .timeout = 120)
{
    static const char *const chunk[] = {"IHDR", "IDAT", "IEND", "pHYs", "sRGB", "gAMA"};
    add_visit("one", 6, 0);
    rg_pairs *p = open_pairs();
    rg_pair *pair = open_first(p);
    for (int i = 2; i < PICTURES; i++) {
        rg_bytes b = draw(pair, &pictures[i], RG_PICTURE_PNG);
        for (size_t at = 8; at + 12 <= b.size;) {
            size_t size = (size_t)b.data[at] << 24 | (size_t)b.data[at + 1] << 16 |
                          (size_t)b.data[at + 2] << 8 | b.data[at + 3];
            bool known = false;
            for (size_t k = 0; k < sizeof chunk / sizeof *chunk; k++)
                known = known || memcmp(b.data + at + 4, chunk[k], 4) == 0;
            cr_expect(known, "%s: chunk %.4s", pictures[i].name, (const char *)b.data + at + 4);
            at += size + 12;
        }
        free(b.data);
    }
    rg_pair_free(pair);
    rg_pairs_close(p);
}

/* ---------------------------------------------------------------- the cut */

/* By libapriltag: where a tag stands in the whole frame less where it stands in the cut is the cut's corner. */
static rg_vec2 tag_centre(const uint8_t *bytes, size_t size, int *id)
{
    rg_image image;
    rg_tag_finder *finder;
    rg_tag_list tags;
    const rg_tag_options options = {.decimate = 2, .refine = true, .max_hamming = 1};
    cr_assert_eq(rg_decode(bytes, size, &image, &err), RG_OK, "%s", err.text);
    uint8_t *luma = malloc((size_t)image.width * (size_t)image.height);
    rg_image_luma(&image, luma);
    cr_assert_eq(rg_tag_finder_new(&finder, &options, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_tags_find(finder, luma, image.width, image.height, true, &tags, &err), RG_OK,
                 "%s", err.text);
    rg_vec2 sum = {0, 0};
    for (int i = 0; i < tags.count; i++) {
        if (*id < 0)
            *id = tags.tag[i].id;
        for (int k = 0; tags.tag[i].id == *id && k < 4; k++) {
            sum.x += tags.tag[i].corner[k].x / 4;
            sum.y += tags.tag[i].corner[k].y / 4;
        }
    }
    cr_assert(sum.x > 0, "tag %d is found", *id);
    free(luma);
    rg_tag_finder_free(finder);
    rg_image_free(&image);
    return sum;
}

Test(pairs, the_cup_stands_in_the_cut_where_the_pose_puts_it, .timeout = 120)
{
    add_visit("one", 6, 0);
    rg_pairs *p = open_pairs();
    rg_pair *pair = open_first(p);
    for (int view = 0; view < RG_PAIRS_VIEWS; view++) {
        rg_vec2 middle, whole;
        int id = -1;
        const rg_pairs_view *v = rg_pair_view(pair, view);
        const rg_frame *f = &pair->inspection.frames[v->frame];
        rg_bytes cut = draw(pair, &pictures[view], RG_PICTURE_PNG);
        rg_vec2 inside = tag_centre(cut.data, cut.size, &id);
        test_bytes frame =
            test_loadf("%s/one/%s", work, pair->inspection.sweep.frame[v->frame].file);
        rg_vec2 outside = tag_centre(frame.data, frame.size, &id);
        /* The axis of the cup at the rim, in the whole frame. */
        cr_assert(rg_lens_project(&pair->inspection.setup.lens, f->pose.pose.t, &whole));
        cr_assert(rg_pair_middle(pair, view, &middle), "the middle lies in the cut");
        cr_expect_float_eq(middle.x, whole.x - (outside.x - inside.x), 0.2);
        cr_expect_float_eq(middle.y, whole.y - (outside.y - inside.y), 0.2);
        cr_expect(pair->cut[view].width < pair->inspection.setup.lens.width * 3 / 4, "it is cut");
        free(cut.data);
        free(frame.data);
    }
    rg_pair_free(pair);
    rg_pairs_close(p);
}

/* In view means in view: the brightest row of the photograph at the widest place is where the map has it. */
Test(pairs, the_gap_in_view_is_bright_where_the_map_has_it, .timeout = 120)
{
    add_visit("one", 6, 0);
    rg_pairs *p = open_pairs();
    rg_pair *pair = open_first(p);
    const rg_pairs_truth *t = rg_pair_truth(pair);
    const rg_pairs_view *in = rg_pair_view(pair, RG_PAIRS_IN);
    rg_vec2 at;
    cr_expect(t->gap && t->verdict == RG_VERDICT_LEAKING && in->kind == RG_PAIRS_LIT);
    cr_assert(rg_pair_point(pair, RG_PAIRS_IN, &at));
    rg_bytes photo = draw(pair, &pictures[0], RG_PICTURE_PNG);
    rg_image image;
    cr_assert_eq(rg_decode(photo.data, photo.size, &image, &err), RG_OK);
    int column = (int)lround(at.x), brightest = 0, most = -1;
    for (int y = (int)at.y - 40; y <= (int)at.y + 40 && y < image.height; y++) {
        const uint8_t *rgb =
            (const uint8_t *)image.data + 3 * ((size_t)y * (size_t)image.width + (size_t)column);
        if (rgb[0] + rgb[1] + rgb[2] > most) {
            most = rgb[0] + rgb[1] + rgb[2];
            brightest = y;
        }
    }
    cr_expect(abs(brightest - (int)lround(at.y)) <= 4, "row %d, the rim is at %.1f", brightest,
              at.y);
    cr_expect_gt(most, 500);
    /* Truth of the sample: samples/truth/07-G-sharp.json is a tilt, open towards 200 degrees. */
    cr_expect_str_eq(t->cause, "tilted");
    cr_expect(fabs(rg_angle_between(t->widest_deg, 200)) < 15, "%.0f", t->widest_deg);
    rg_image_free(&image);
    free(photo.data);
    rg_pair_free(pair);
    rg_pairs_close(p);
}

/* ---------------------------------------------------------------- what is left out */

static void change_byte(const char *file)
{
    char path[600];
    FILE *pipe;
    uint8_t *bytes;
    size_t size;
    snprintf(path, sizeof path, "find %s/bags -name '%s' | sort | head -1", archive, file);
    pipe = popen(path, "r");
    cr_assert(pipe && fgets(path, sizeof path, pipe));
    pclose(pipe);
    path[strcspn(path, "\n")] = 0;
    cr_assert_eq(rg_file_read(path, 64000000, &bytes, &size, &err), RG_OK, "%s", err.text);
    bytes[size / 2] ^= 1;
    cr_assert_eq(rg_file_write(path, bytes, size, &err), RG_OK, "%s", err.text);
    free(bytes);
}

Test(pairs, a_bag_with_a_changed_frame_is_left_out_and_told)
{
    add_visit("one", 2, 0);
    add_visit("two", 2, 1);
    change_byte("telephone-of-1.jpg");
    rg_pairs *p = open_pairs();
    rg_pairs_page page = list(p, 0);
    cr_expect_eq(page.count, 1);
    cr_expect_eq(page.left_out.damaged, 1);
    cr_expect_eq(page.left_out.bags, 1);
    cr_expect(strstr(page.left_out.first.text, "telephone-of-1.jpg") &&
                  strstr(page.left_out.first.text, "archive verify"),
              "%s", page.left_out.first.text);
    rg_pair *pair;
    rg_pairs_case c;
    cr_expect_eq(rg_pair_open_at(p, 0, &pair, &err), RG_BAD_DATA);
    cr_expect_eq(rg_pairs_take(p, 0, &c, &err), RG_BAD_DATA);
    cr_expect(pair == NULL && c.photo.data == NULL);
    cr_expect_eq(rg_pairs_take(p, 1, &c, &err), RG_OK, "%s", err.text);
    rg_pairs_case_free(&c);
    rg_pairs_close(p);
}

/* Damaged after the bag was found whole: what is read later still has to fit. */
Test(pairs, a_frame_changed_after_the_list_is_noticed_when_it_is_measured)
{
    add_visit("one", 2, 0);
    rg_pairs *p = open_pairs();
    rg_pair *pair;
    cr_assert_eq(list(p, 0).count, 1);
    change_byte("telephone-of-0.jpg");
    cr_expect_eq(rg_pair_open_at(p, 0, &pair, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "telephone-of-0.jpg"), "%s", err.text);
    rg_pairs_close(p);
}

Test(pairs, a_bag_sealed_anew_is_not_the_one_that_the_index_recorded)
{
    char command[800];
    add_visit("one", 2, 0);
    change_byte("telephone-of-1.jpg");
    snprintf(command, sizeof command,
             "cd %s/bags/*/* && sha256sum $(cut -c67- manifest-sha256.txt) >m && mv m "
             "manifest-sha256.txt "
             "&& sha256sum $(cut -c67- tagmanifest-sha256.txt) >t && mv t tagmanifest-sha256.txt",
             archive);
    cr_assert_eq(system(command), 0);
    rg_pairs *p = open_pairs();
    rg_pairs_page page = list(p, 0);
    cr_expect_eq(page.count, 0);
    cr_expect_eq(page.left_out.damaged, 1);
    cr_expect(strstr(page.left_out.first.text, "not the one that the index recorded"), "%s",
              page.left_out.first.text);
    rg_pairs_close(p);
}

/* ---------------------------------------------------------------- list, quiz, files */

Test(pairs, long_lists_come_in_pages_and_no_name_comes_twice, .timeout = 120)
{
    enum { SWEEPS = RG_PAIRS_PAGE + 2 };
    char path[SWEEPS][200], name[32];
    const char *folder[SWEEPS];
    for (int i = 0; i < SWEEPS; i++) {
        snprintf(name, sizeof name, "sweep-%02d", i);
        snprintf(path[i], sizeof path[i], "%s/%s", work, name);
        folder[i] = path[i];
        write_sweep(name, 1);
    }
    visit(folder, SWEEPS, 0);
    rg_pairs *p = open_pairs();
    int count;
    rg_pairs_page first = list(p, 0), second = list(p, first.next);
    cr_expect_eq(first.count, RG_PAIRS_PAGE);
    cr_expect_eq(second.count, 2);
    cr_expect_eq(second.next, -1);
    for (int i = 0; i < first.count; i++)
        for (int k = 0; k < i; k++)
            cr_expect_str_neq(first.truth[i].name, first.truth[k].name);
    for (int i = 0; i < first.count; i++)
        for (int k = 0; k < second.count; k++)
            cr_expect_str_neq(first.truth[i].name, second.truth[k].name);
    cr_assert_eq(rg_pairs_count(p, &count, &err), RG_OK);
    cr_expect_eq(count, SWEEPS);
    rg_pairs_close(p);
}

Test(pairs, what_does_not_fit_the_choice_is_not_listed)
{
    add_visit("one", 6, 0);
    rg_pairs *p = open_pairs();
    rg_pairs_page page;
    const struct {
        rg_pairs_choice choice;
        int count;
    } row[] = {{{"leaking", "", -1}, 1},      {{"sealed", "", -1}, 0}, {{"", "tilted", -1}, 1},
               {{"", "saddle", -1}, 0},       {{"", "", 4}, 1},        {{"", "", 0}, 0},
               {{"leaking", "tilted", 4}, 1}, {{NULL, NULL, 3}, 0}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        cr_assert_eq(rg_pairs_list(p, &row[i].choice, 0, &page, &err), RG_OK, "%s", err.text);
        cr_expect_eq(page.count, row[i].count, "row %zu: %d", i, page.count);
    }
    const rg_pairs_choice bad[] = {{"open", "", -1}, {"", "gremlins", -1}, {"", "", 6}};
    for (int i = 0; i < 3; i++)
        cr_expect_eq(rg_pairs_list(p, &bad[i], 0, &page, &err), RG_USAGE);
    rg_pairs_close(p);
}

Test(pairs, the_quiz_gets_picture_and_archived_truth)
{
    add_visit("one", 6, 0);
    rg_pairs *p = open_pairs();
    rg_pairs_case c, again;
    cr_assert_eq(rg_pairs_take(p, 0, &c, &err), RG_OK, "%s", err.text);
    test_bytes text = test_loadf("%s/results/PE-A-0147/one/seal-map.json", work);
    rg_map_file *map = malloc(sizeof *map);
    cr_assert_eq(rg_mapfile_parse("m", (char *)text.data, text.size, map, &err), RG_OK, "%s",
                 err.text);
    const rg_bin *bin = &map->map.bin[(int)c.truth.widest_deg];
    cr_expect_eq(c.truth.widest_mm, bin->width_mm);
    cr_expect_float_eq(c.truth.U_mm, 2 * bin->u_mm, 1e-12);
    cr_expect_eq(c.truth.verdict, RG_VERDICT_LEAKING);
    cr_expect(c.truth.kinds == 1 && c.truth.kind[0] == RG_FAULT_TILT);
    cr_expect(c.photo.size > 1000 && c.scale.size > 1000 && c.view.kind == RG_PAIRS_LIT);
    cr_expect(strstr(c.whose, "rimglow's own seal map"));
    cr_assert_eq(rg_pairs_take_named(p, c.truth.name, &again, &err), RG_OK, "%s", err.text);
    cr_expect(again.photo.size == c.photo.size &&
              memcmp(again.photo.data, c.photo.data, c.photo.size) == 0);
    rg_pairs_case_free(&again);
    cr_expect_eq(rg_pairs_take(p, 1, &again, &err), RG_NO_INPUT);
    cr_expect_eq(rg_pairs_take_named(p, "AAAA-AAAA", &again, &err), RG_NO_INPUT);
    rg_pairs_case_free(&c);
    free(map);
    free(text.data);
    rg_pairs_close(p);
}

/* Cut photographs alone, and of the truth nothing within them. */
Test(pairs, the_quiz_gets_photographs_round_the_pad, .timeout = 120)
{
    add_visit("one", 6, 0);
    rg_pairs *p = open_pairs();
    rg_pairs_case c;
    rg_pairs_truth truth;
    const rg_pairs_round round = {3, 12345};
    cr_assert_eq(rg_pairs_truth_at(p, 0, &truth, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_pairs_take_round(p, 0, &round, &c, &err), RG_OK, "%s", err.text);
    cr_expect_str_eq(c.truth.name, truth.name);
    cr_expect_eq(c.truth.widest_mm, truth.widest_mm);
    cr_assert(c.looks == 3 && c.facing < 3 && !c.photo.data && !c.scale.data);
    cr_expect_eq(c.view.bearing_deg, c.look[c.facing].bearing_deg);
    cr_expect(fabs(rg_angle_between(c.view.bearing_deg, truth.widest_deg)) < 50);
    for (int i = 0; i < 3; i++) {
        double off = rg_angle_between(c.look[i].bearing_deg, c.look[(i + 1) % 3].bearing_deg);
        cr_expect(fabs(off) > 60, "%d: %g", i, off);
        cr_expect(c.look[i].photo.size > 1000 && c.look[i].scale.size > 1000);
        nothing_private("photo", c.look[i].photo.data, c.look[i].photo.size);
        nothing_private("scale", c.look[i].scale.data, c.look[i].scale.size);
    }
    rg_pairs_case_free(&c);
    cr_expect_eq(rg_pairs_truth_at(p, 1, &truth, &err), RG_NO_INPUT);
    cr_expect_eq(rg_pairs_truth_at(p, -1, &truth, &err), RG_USAGE);
    cr_expect_eq(rg_pairs_take_round(p, 1, &round, &c, &err), RG_NO_INPUT);
    rg_pairs_close(p);
}

Test(pairs_askable, a_seal_or_a_leak_of_one_kind_has_one_answer)
{
    const struct {
        rg_pairs_truth truth;
        bool askable;
    } row[] = {{{.verdict = RG_VERDICT_LEAKING, .gap = true, .kinds = 1}, true},
               {{.verdict = RG_VERDICT_LEAKING, .gap = true, .kinds = 2}, false},
               {{.verdict = RG_VERDICT_LEAKING, .gap = true, .kinds = 0}, false},
               {{.verdict = RG_VERDICT_SEALED, .kinds = 0}, true},
               {{.verdict = RG_VERDICT_SEALED, .gap = true, .kinds = 1}, false},
               {{.verdict = RG_VERDICT_UNDECIDED, .kinds = 0}, false}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++)
        cr_expect_eq(rg_pairs_askable(&row[i].truth), row[i].askable, "row %zu", i);
}

/* A sweep of the open key alone has a map, but says nothing of the seal. */
Test(pairs, frames_of_the_open_key_are_no_case)
{
    char path[200];
    const char *folder[] = {path};
    write_sweep("open", 2);
    snprintf(path, sizeof path, "%s/open/sweep.ini", work);
    char *text = test_text(path), *witness = strstr(text, "telephone-of-w.jpg");
    strcpy(witness,
           "telephone-of-0.jpg = open, exposure 1.0\ntelephone-of-1.jpg = open, exposure 1.0\n");
    write_text("open/sweep.ini", text);
    snprintf(path, sizeof path, "%s/open", work);
    visit(folder, 1, 0);
    rg_pairs *p = open_pairs();
    rg_pair *pair;
    cr_expect_eq(list(p, 0).count, 0);
    cr_expect_eq(list(p, 0).left_out.damaged, 0);
    cr_expect_eq(rg_pair_open_at(p, 0, &pair, &err), RG_USAGE);
    rg_pairs_close(p);
}

/* ---------------------------------------------------------------- texts */

Test(pairs_private, dates_paths_and_names_of_the_bag_are_private_and_measured_words_are_not)
{
    static const char *const told[] = {"open at bearings 136..265: up to 0.150 +- 0.019 mm at 199",
                                       "G sharp", "no bearing was seen: sweep again", "20-25 mm"};
    static const char *const kept[] = {"held until 2026-11-25, and has lapsed",
                                       "/home/x.jpg",
                                       "a\\b",
                                       "of PE-A-0147",
                                       "as Quillfeather said",
                                       "at secret-bench",
                                       "of loan 12",
                                       "sweep evening-1",
                                       "bag 0001-20261125T101500Z"};
    rg_record_sweep one = {.name = "evening-1"};
    rg_pairs_sweep *s = calloc(1, sizeof *s);
    s->sweep = &one;
    strcpy(s->record.serial, "PE-A-0147");
    strcpy(s->record.technician, "Quillfeather");
    strcpy(s->record.model, "loan 12");
    strcpy(s->record.bag, "0001-20261125T101500Z");
    strcpy(s->record.occasion, "at"); /* as short as words of the language */
    strcpy(s->file.station, "secret-bench");
    for (size_t i = 0; i < sizeof told / sizeof *told; i++)
        cr_expect(!rg_pairs_is_private(s, told[i]), "%s", told[i]);
    for (size_t i = 0; i < sizeof kept / sizeof *kept; i++)
        cr_expect(rg_pairs_is_private(s, kept[i]), "%s", kept[i]);
    free(s);
}

/* ---------------------------------------------------------------- which frames */

enum { FRAMES = 6, COLUMNS = 81 };
static rg_frame frame[FRAMES];
static rg_strip_column column[FRAMES][COLUMNS];
static rg_column_light light[FRAMES][COLUMNS];

/* A frame that looks from bearing b and elevation e, with one state over all its columns within 40 degrees. */
static void take(int i, double b, double e, rg_column_state state, double flux)
{
    frame[i] =
        (rg_frame){.role = RG_FRAME_CLOSED, .used = true, .bearing_deg = b, .elevation_deg = e};
    for (int c = 0; c < COLUMNS; c++) {
        double off = c - COLUMNS / 2;
        column[i][c] = (rg_strip_column){.bearing_deg = rg_wrap_degrees(b + off),
                                         .obliquity_rad = rg_radians(1.3 * off),
                                         .inside = true};
        light[i][c] = (rg_column_light){.state = state, .flux_mm = flux};
    }
    frame[i].strip = (rg_strip){.columns = COLUMNS, .step_deg = 1, .column = column[i]};
    frame[i].light = (rg_rimlight){.columns = COLUMNS, .column = light[i]};
}

static void choose(rg_pairs_view view[RG_PAIRS_VIEWS], double widest)
{
    const rg_inspection in = {.frames = frame, .sweep = {.frames = FRAMES}};
    const rg_pairs_truth truth = {.gap = isfinite(widest), .widest_deg = widest};
    rg_pairs_choose(&in, &truth, 50, view);
}

Test(pairs_view, most_light_against_dark_from_the_same_side_and_high)
{
    rg_pairs_view v[RG_PAIRS_VIEWS];
    take(0, 100, 0.3, RG_COLUMN_LIT, 0.02);
    take(1, 101, 0.0, RG_COLUMN_LIT, 0.05);
    take(2, 100, 1.5, RG_COLUMN_DARK, 0);
    take(3, 102, 2.5, RG_COLUMN_DARK, 0);
    take(4, 130, 4.0, RG_COLUMN_DARK, 0);
    take(5, 280, 9.0, RG_COLUMN_DARK, 0);
    choose(v, 104);
    cr_expect(v[RG_PAIRS_IN].frame == 1 && v[RG_PAIRS_IN].kind == RG_PAIRS_LIT);
    cr_expect_float_eq(v[RG_PAIRS_IN].off_deg, -3, 1e-9);
    cr_expect(v[RG_PAIRS_OUT].frame == 3 && v[RG_PAIRS_OUT].kind == RG_PAIRS_TOO_HIGH);
    cr_expect(strstr(v[RG_PAIRS_OUT].says, "2.50\u00b0 above the rim plane") &&
                  strstr(v[RG_PAIRS_OUT].says, "dark here proves nothing"),
              "%s", v[RG_PAIRS_OUT].says);
}

Test(pairs_view, from_below_something_before_it_and_the_other_side)
{
    rg_pairs_view v[RG_PAIRS_VIEWS];
    for (int i = 0; i < FRAMES; i++)
        take(i, 10, 0, RG_COLUMN_LIT, 0.01 * i);
    take(1, 12, -2, RG_COLUMN_DARK, 0);
    choose(v, 5);
    cr_expect(v[RG_PAIRS_IN].frame == 5);
    cr_expect(v[RG_PAIRS_OUT].frame == 1 && v[RG_PAIRS_OUT].kind == RG_PAIRS_TOO_LOW);
    take(1, 12, 0, RG_COLUMN_HIDDEN, 0);
    choose(v, 5);
    cr_expect(v[RG_PAIRS_OUT].frame == 1 && v[RG_PAIRS_OUT].kind == RG_PAIRS_COVERED);
    take(1, 160, 0, RG_COLUMN_DARK, 0);
    take(2, 188, 0, RG_COLUMN_DARK, 0);
    choose(v, 5);
    cr_expect(v[RG_PAIRS_OUT].frame == 2 && v[RG_PAIRS_OUT].kind == RG_PAIRS_BEHIND);
}

Test(pairs_view, without_a_gap_the_lowest_frame_and_never_an_unused_one)
{
    rg_pairs_view v[RG_PAIRS_VIEWS];
    for (int i = 0; i < FRAMES; i++)
        take(i, 60 * i, 1 - 0.1 * i, RG_COLUMN_DARK, 0);
    frame[5].used = false;
    frame[4].role = RG_FRAME_DARK;
    choose(v, NAN);
    cr_expect(v[RG_PAIRS_IN].frame == 3 && v[RG_PAIRS_IN].kind == RG_PAIRS_NO_GAP);
    cr_expect(!v[RG_PAIRS_OUT].there);
    choose(v, 0);
    cr_expect(!v[RG_PAIRS_IN].there, "a gap that no frame shows is no case");
}

/* ---------------------------------------------------------------- round the pad */

static rg_pairs_view around[RG_PAIRS_ROUND];
static int facing;

static int choose_round(double widest, int views, uint64_t pick)
{
    const rg_inspection in = {.frames = frame, .sweep = {.frames = FRAMES}};
    const rg_pairs_truth truth = {.gap = isfinite(widest), .widest_deg = widest};
    const rg_pairs_round round = {views, pick};
    return rg_pairs_choose_round(&in, &truth, 50, &round, around, &facing);
}

/* A camera's bearing must not tell where the gap is: all frames that show it come first, and at any place. */
Test(pairs_view, a_round_begins_with_any_frame_that_shows_the_place)
{
    int first[FRAMES] = {0}, at[3] = {0};
    for (int i = 0; i < FRAMES; i++)
        take(i, 60 * i, 0, RG_COLUMN_DARK, 0);
    take(1, 75, 0, RG_COLUMN_LIT, 0.05);
    take(2, 105, 0, RG_COLUMN_LIT, 0.01);
    for (uint64_t pick = 0; pick < 300; pick++) {
        cr_assert_eq(choose_round(90, 3, 997 * pick), 3);
        first[around[facing].frame]++;
        at[facing]++;
        for (int i = 0; i < 3; i++)
            cr_expect(fabs(rg_angle_between(around[i].bearing_deg,
                                            around[(i + 1) % 3].bearing_deg)) >= 60);
        cr_expect(strstr(around[facing].says, "15\u00b0"), "%s", around[facing].says);
    }
    cr_expect(first[1] > 100 && first[2] > 100 && first[1] + first[2] == 300);
    cr_expect(at[0] > 50 && at[1] > 50 && at[2] > 50);
}

Test(pairs_view, a_round_without_a_gap_begins_anywhere_and_with_few_frames_is_short)
{
    int first[FRAMES] = {0};
    for (int i = 0; i < FRAMES; i++)
        take(i, 60 * i, 0, RG_COLUMN_DARK, 0);
    for (uint64_t pick = 0; pick < 60; pick++) {
        cr_assert_eq(choose_round(NAN, 3, pick), 3);
        first[around[facing].frame]++;
        cr_expect(strstr(around[facing].says, "No gap was measured"));
    }
    for (int i = 0; i < FRAMES; i++)
        cr_expect_eq(first[i], 10);
    for (int i = 2; i < FRAMES; i++)
        frame[i].used = false;
    cr_expect_eq(choose_round(NAN, 4, 0), 2);
    cr_expect_eq(choose_round(NAN, 1, 0), 1);
    frame[0].used = frame[1].used = false;
    cr_expect_eq(choose_round(NAN, 3, 0), 0);
}
