/*
 * Tests of draw_certificate.h. What is written is read back by programs that are not ours: qpdf,
 * poppler (pdftotext with the place of each word, pdffonts), librsvg, libsodium's base64. Expected
 * figures are worked out by hand beside the maps they belong to; A4 is 595.28 x 841.89 pt
 * (ISO 216).
 */
#include <criterion/criterion.h>
#include <math.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "edge/drawing.h"
#include "rimglow/draw_certificate.h"
#include "rimglow/memory.h"
#include "support/print.h"

TestSuite(certificate, .fini = test_release_fonts, .timeout = 120);

#define DIGEST     "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
#define TAG_DIGEST "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"

static rg_error err;

/* ------------------------------------------------------------------ maps */

enum { MAPS = 3, PADS = 24, WORDS_MAX = 20000 };

static rg_seal_map maps[MAPS];
static rg_certificate_pad pads[PADS];
static char names[PADS][32];

/* Detection limits: 0.006 mm on even bearings, 0.008 mm on odd ones. */
static void fill(rg_seal_map *map)
{
    *map = (rg_seal_map){.rim_outer_diameter_mm = 20, .verdict = RG_VERDICT_SEALED};
    for (int b = 0; b < RG_BINS; b++)
        map->bin[b] = (rg_bin){.bearing_deg = b,
                               .width_mm = 0.002,
                               .u_mm = 0.001,
                               .detection_limit_mm = b % 2 ? 0.008 : 0.006,
                               .frames = 9,
                               .state = RG_BIN_SEALED};
}

static void hide(rg_seal_map *map, int first, int last)
{
    for (int b = first; b <= last; b++)
        map->bin[b % RG_BINS] = (rg_bin){.bearing_deg = b % RG_BINS,
                                         .width_mm = NAN,
                                         .u_mm = NAN,
                                         .detection_limit_mm = INFINITY,
                                         .state = RG_BIN_UNSEEN};
}

/* 0: sealed. 1: leaking at 100..139, widest 0.064 +- 2 * 0.002 mm at 120; unseen 350..9 over the
 * seam and 200. 2: nothing seen. */
static void make_maps(void)
{
    for (int i = 0; i < MAPS; i++)
        fill(&maps[i]);
    rg_seal_map *m = &maps[1];
    m->verdict = RG_VERDICT_LEAKING;
    for (int b = 100; b < 140; b++) {
        m->bin[b].width_mm = b == 120 ? 0.064 : 0.05;
        m->bin[b].u_mm = 0.002;
        m->bin[b].state = RG_BIN_GAP;
    }
    m->bin[70].detection_limit_mm = 0.011;
    hide(m, 350, 369);
    hide(m, 200, 200);
    m->arcs = 1;
    m->arc[0] = (rg_arc){.start_deg = 99.6,
                         .end_deg = 139.5,
                         .centre_deg = 119.5,
                         .extent_deg = 40,
                         .u_extent_deg = 1.5,
                         .extent_mm = 6.98,
                         .max_width_mm = 0.064,
                         .u_max_mm = 0.002,
                         .max_bearing_deg = 120,
                         .mean_width_mm = 0.0503,
                         .open_area_mm2 = 0.351};
    m->reasons = 1;
    strcpy(m->reason[0], "open at bearings 100..139: up to 0.064 +- 0.004 mm");
    hide(&maps[2], 0, 359);
    maps[2].verdict = RG_VERDICT_UNDECIDED;
}

static rg_certificate sample(int count)
{
    static const char *const reasons[] = {"P1 leaks"};
    make_maps();
    for (int i = 0; i < PADS; i++) {
        snprintf(names[i], sizeof names[i], "P%d", i);
        pads[i] = (rg_certificate_pad){.pad = names[i],
                                       .sweep = names[i],
                                       .map = &maps[i % MAPS],
                                       .tolerance_mm = 0.025,
                                       .coverage_factor = 2,
                                       .finger = "35 g",
                                       .station = "bench",
                                       .calibration = "2026-11-18, held",
                                       .light_proven = i % MAPS != 2,
                                       .frames_used = 29,
                                       .frames_given = 30};
    }
    return (rg_certificate){.serial = "PE-A-0147",
                            .model = "alto-loan",
                            .bag = "0002-20261125T101500Z",
                            .time = "2026-11-25T10:15:00Z",
                            .technician = "bench 2",
                            .occasion = "after set-up",
                            .note = "new pad",
                            .software = "rimglow 0.4.0",
                            .sequence = 2,
                            .verdict = count > 1 ? RG_VERDICT_LEAKING : RG_VERDICT_SEALED,
                            .reasons = count > 1,
                            .reason = reasons,
                            .manifest = DIGEST,
                            .tagmanifest = TAG_DIGEST,
                            .previous = "",
                            .signature = "unsigned",
                            .checked = "bag checked: 214 files agree with their manifest",
                            .check_passed = true,
                            .pads = count,
                            .pad = pads};
}

/* --------------------------------------------------------------- readers */

static rg_bytes pdf_of(const rg_certificate *c)
{
    rg_bytes b;
    cr_assert_eq(rg_certificate_pdf(c, &b, &err), RG_OK, "%s", err.text);
    return b;
}

static char *html_of(const rg_certificate *c)
{
    rg_bytes b;
    cr_assert_eq(rg_certificate_html(c, &b, &err), RG_OK, "%s", err.text);
    cr_assert_eq(strlen((const char *)b.data), b.size, "a zero byte in the HTML");
    return (char *)b.data;
}

static char *answer_of(const char *command, rg_bytes pdf)
{
    return test_pdf_answer(command, pdf.data, pdf.size);
}

static int times(const char *text, const char *word)
{
    int n = 0;
    for (; (text = strstr(text, word)) != NULL; text += strlen(word))
        n++;
    return n;
}

static void expect_words(const char *text, const char *const *word, size_t count)
{
    for (size_t i = 0; i < count; i++)
        cr_expect(strstr(text, word[i]) != NULL, "\"%s\" is not there", word[i]);
}

#define EXPECT_WORDS(text, ...)                                                                    \
    do {                                                                                           \
        static const char *const words_[] = {__VA_ARGS__};                                         \
        expect_words(text, words_, sizeof words_ / sizeof *words_);                                \
    } while (0)

static char *text_of(const rg_certificate *c)
{
    rg_bytes pdf = pdf_of(c);
    char *text = answer_of("pdftotext %s -", pdf);
    test_squeeze(text);
    free(pdf.data);
    return text;
}

typedef struct word {
    int page;
    double x0, y0, x1, y1;
    char text[120];
} word;

static int words_of(rg_bytes pdf, word *w)
{
    int n = 0, page = 0;
    char *xml = answer_of("pdftotext -bbox %s -", pdf);
    for (char *p = xml; (p = strchr(p, '<')) != NULL; p++) {
        page += strncmp(p, "<page", 5) == 0;
        word *k = &w[n];
        if (n < WORDS_MAX &&
            sscanf(p, "<word xMin=\"%lf\" yMin=\"%lf\" xMax=\"%lf\" yMax=\"%lf\">%119[^<]", &k->x0,
                   &k->y0, &k->x1, &k->y1, k->text) == 5) {
            k->page = page;
            n++;
        }
    }
    free(xml);
    cr_assert(n > 20 && n < WORDS_MAX);
    return n;
}

/* ------------------------------------------------------------------- PDF */

Test(certificate, pages_are_sound_a4_and_counted)
{
    static const struct {
        int pads, pages;
    } want[] = {{0, 2}, {1, 3}, {4, 3}, {5, 4}, {24, 8}};
    for (size_t i = 0; i < sizeof want / sizeof *want; i++) {
        rg_certificate c = sample(want[i].pads);
        rg_bytes pdf = pdf_of(&c);
        char last[32];
        cr_expect(test_pdf_is_sound(pdf.data, pdf.size));
        cr_expect_eq(test_pdf_pages(pdf.data, pdf.size), want[i].pages, "%d pads", want[i].pads);
        char *info = answer_of("pdfinfo %s", pdf), *text = answer_of("pdftotext %s -", pdf);
        EXPECT_WORDS(info, "595.276 x 841.89 pts (A4)", "PE-A-0147, inspection 2", "bench 2",
                     "rimglow 0.4.0", "JavaScript:      no",
                     "CreationDate:    Thu Jan  1 00:00:00 1970");
        snprintf(last, sizeof last, "page %d of %d", want[i].pages, want[i].pages);
        cr_expect_not_null(strstr(text, last), "%s", last);
        cr_expect_eq(times(text, "PE-A-0147, inspection 2"), want[i].pages);
        cr_expect_eq(times(text, "manifest sha256 " DIGEST), want[i].pages, "in each foot");
        free(text);
        free(info);
        free(pdf.data);
    }
}

Test(certificate, fonts_are_in_the_file)
{
    rg_certificate c = sample(3);
    rg_bytes pdf = pdf_of(&c);
    char *fonts = answer_of("pdffonts %s | tail -n +3", pdf);
    int lines = times(fonts, "\n");
    cr_expect_gt(lines, 1);
    cr_expect_eq(times(fonts, " yes yes yes "), lines, "embedded, subset, as text:\n%s", fonts);
    free(fonts);
    free(pdf.data);
}

Test(certificate, the_same_twice_and_for_equal_arguments_only)
{
    rg_certificate c = sample(3);
    rg_bytes a = pdf_of(&c), b = pdf_of(&c);
    char *x = html_of(&c), *y = html_of(&c);
    cr_expect(a.size == b.size && memcmp(a.data, b.data, a.size) == 0);
    cr_expect_str_eq(x, y);
    free(b.data);
    free(y);
    c.manifest = TAG_DIGEST;
    b = pdf_of(&c);
    y = html_of(&c);
    cr_expect(a.size != b.size || memcmp(a.data, b.data, a.size) != 0);
    cr_expect_str_neq(x, y);
    free(a.data);
    free(b.data);
    free(x);
    free(y);
}

Test(certificate, a_pad_is_stated_with_its_limits)
{
    rg_certificate c = sample(3);
    char *text = text_of(&c);
    /* 339 of 360 is 94.17 %; 2 * 0.002 mm; 2 * 1.5 degrees. */
    EXPECT_WORDS(text, "0.064 \u00b1 0.004 mm at bearing 120 (U, k = 2)",
                 "0.011 mm at worst, median 0.008 mm", "339 of 360 bearings (94.2 %), in 29 of 30",
                 "200, 350..9", "0.025 mm, finger 35 g; light proven on",
                 "bench; light calibrated: 2026-11-18, held",
                 "100..140: 40 \u00b1 3 degrees, 7.0 mm long, widest 0.064 \u00b1 0.004 mm at 120, "
                 "mean 0.050 mm, open area 0.35 mm\u00b2",
                 "open at bearings 100..139: up to 0.064 \u00b1 0.004 mm");
    /* Of the sealed pad's limits half are 0.006 and half 0.008 mm: the median lies between. P1
     * shows two more odd bearings than even ones. */
    EXPECT_WORDS(text, "0.008 mm at worst, median 0.007 mm");
    /* The sealed pad: 0.002 + 2 * 0.001 mm is less than the worst limit, 0.008 mm. */
    EXPECT_WORDS(text, "none found; none is wider than 0.008 mm", "360 of 360 bearings (100.0 %)",
                 "nothing was seen", "all round", "light NOT proven on");
    EXPECT_WORDS(text, "3 pads measured: 1 sealed, 1 leaking, 1 undecided.", "( O ) sealed",
                 "( / ) leaking", "( ? ) undecided", "94 %", DIGEST, TAG_DIGEST, "date of signing",
                 "1 pad lets light out", "page 3 of 3", "none: the first of this serial");
    free(text);
}

/* That a firm finger alone releases no pad is common practice, no source. */
Test(certificate, several_sweeps_of_a_pad_are_one_pad)
{
    rg_certificate c = sample(2);
    pads[1] = pads[0];
    pads[1].sweep = names[1];
    pads[0].finger = pads[1].finger = "firm";
    c.verdict = RG_VERDICT_UNDECIDED;
    char *text = text_of(&c);
    EXPECT_WORDS(text, "1 pad measured in 2 sweeps: 0 sealed, 0 leaking, 1 undecided.",
                 "1 pad was closed with a firm finger alone, which shows no seal in playing.");
    cr_expect_null(strstr(text, "Every pad that was measured seals"));
    free(text);
    pads[0].finger = "light";
    c.verdict = RG_VERDICT_SEALED;
    text = text_of(&c);
    EXPECT_WORDS(text, "1 pad measured in 2 sweeps: 1 sealed, 0 leaking, 0 undecided.");
    free(text);
}

Test(certificate, the_serial_heads_page_1)
{
    static word w[WORDS_MAX];
    rg_certificate c = sample(1);
    rg_bytes pdf = pdf_of(&c);
    int n = words_of(pdf, w), found = 0;
    for (int i = 0; i < n; i++)
        found += w[i].page == 1 && w[i].y1 < 100 && w[i].y1 - w[i].y0 > 20 &&
                 strcmp(w[i].text, "PE-A-0147") == 0;
    cr_expect_eq(found, 1);
    free(pdf.data);
}

Test(certificate, plain_words_say_what_was_not_proven)
{
    static const char *const left_out[] = {"low B", "high E"};
    rg_certificate c = sample(1);
    char *text = text_of(&c);
    EXPECT_WORDS(text, "Every pad that was measured seals to light", "sealed to light, no more",
                 "this finger force: 35 g", "no gap wider than 0.025 mm", "porous leather",
                 "2026-11-25T10:15:00Z", "No pad of this model is listed as not measured");
    free(text);
    c.not_swept = 2;
    c.pad_not_swept = left_out;
    pads[0].finger = "unstated";
    text = text_of(&c);
    EXPECT_WORDS(text, "2 pads of this model NOT measured", "Nothing is said about the pads",
                 "low B, high E", "a force that was not stated");
    free(text);
    c = sample(3);
    pads[1].finger = "firm";
    pads[2].tolerance_mm = 0.05;
    text = text_of(&c);
    EXPECT_WORDS(text, "pressed as stated for each pad", "its tolerance (0.025 to 0.05 mm)");
    free(text);
}

/* ---------------------------------------------------------- failed check */

Test(certificate, a_bag_that_failed_its_check_says_so_in_the_largest_letters)
{
    static word w[WORDS_MAX];
    rg_certificate c = sample(24);
    c.check_passed = false;
    c.checked = "data/sweeps/P3/view_07.jpg is altered: same size, other content";
    rg_bytes pdf = pdf_of(&c);
    char *text = text_of(&c), *info = answer_of("pdfinfo %s", pdf), *html = html_of(&c);
    int n = words_of(pdf, w);
    double largest = 0, other = 0;
    for (int i = 0; i < n; i++) {
        bool ours = w[i].page == 1 && strstr("EVIDENCE DOES NOT CHECK", w[i].text);
        double *to = ours ? &largest : &other;
        *to = fmax(*to, w[i].y1 - w[i].y0);
        cr_expect(w[i].page > 1 ||
                      (strcmp(w[i].text, "LEAKING") != 0 && strcmp(w[i].text, "SEALED")),
                  "a verdict on page 1");
    }
    cr_expect_gt(largest, 1.5 * other, "%g pt against %g pt", largest, other);
    int pages = test_pdf_pages(pdf.data, pdf.size);
    cr_expect_eq(times(text, "EVIDENCE DOES NOT CHECK: see page 1"), pages - 1);
    EXPECT_WORDS(text, "view_07.jpg is altered", "can be relied on", "not confirmed");
    EXPECT_WORDS(info, "evidence does not check");
    EXPECT_WORDS(html, "<p class=\"failed\"><bdi>EVIDENCE DOES NOT CHECK", "view_07.jpg is altered",
                 "evidence does not check</title>");
    cr_expect(!strstr(html, "class=\"verdict "), "no verdict");
    cr_expect(!strstr(html, "date of signing") && !strstr(text, "date of signing"));
    free(html);
    free(info);
    free(text);
    free(pdf.data);
}

/* ---------------------------------------------------------------- hostile */

static const char *long_text(size_t length)
{
    static char text[2000];
    memset(text, 'W', length);
    text[length] = 0;
    return text;
}

/* Every text too long, foreign or malicious. */
static rg_certificate hostile(void)
{
    static const char *const lists[] = {"<script>alert(1)</script>", "\xFF\xC0 \x01\x1b[2J",
                                        "\u05e9\u05dc\u05d5\u05dd \u0627\u0644", "a\nb\nc"};
    static rg_certificate_value values[2];
    static char newlines[400];
    rg_seal_map *busy;
    rg_certificate c = sample(6);
    const char *big = long_text(300);
    for (size_t i = 0; i + 1 < sizeof newlines; i++)
        newlines[i] = i % 2 ? '\n' : 'n';
    busy = &maps[1];
    for (int i = 1; i < RG_ARCS_MAX; i++)
        busy->arc[i] = busy->arc[0];
    busy->arcs = RG_ARCS_MAX;
    for (int i = 1; i < RG_REASONS_MAX; i++)
        snprintf(busy->reason[i], RG_REASON_SIZE, "%d: %.200s", i, big);
    busy->reasons = RG_REASONS_MAX;
    values[0] = (rg_certificate_value){big, big, big, -1e300, 1e-300};
    values[1] = (rg_certificate_value){NULL, NULL, NULL, NAN, NAN};
    pads[0].pad = pads[0].station = pads[0].calibration = pads[0].finger = big;
    pads[1].pad = "\"><img src=x onerror=alert(1)>";
    pads[2].pad = "\xE2\x80\xAE"
                  "desrever\xE2\x80";
    pads[3].pad = NULL;
    pads[3].station = pads[3].finger = pads[3].calibration = NULL;
    strcpy(maps[1].reason[0], "</dd><script>alert('r')</script>");
    c.serial = "</title><script>alert(1)</script>";
    c.model = "a&lt;b";
    c.bag = c.time = c.signature = c.software = c.manifest = c.checked = big;
    c.technician = "' onmouseover='alert(1)";
    c.occasion = "</style><!--";
    c.note = newlines;
    c.reasons = c.not_swept = 4;
    c.reason = c.pad_not_swept = lists;
    c.values = 2;
    c.value = values;
    return c;
}

/* No word may leave the page's margins (10 mm, that is 28 pt) or cover another. */
static void expect_in_place(const rg_certificate *c)
{
    static word w[WORDS_MAX];
    rg_bytes pdf = pdf_of(c);
    int n = words_of(pdf, w);
    cr_expect(test_pdf_is_sound(pdf.data, pdf.size));
    for (int i = 0; i < n; i++) {
        const word *a = &w[i];
        cr_expect(a->x0 > 28 && a->x1 < 595.28 - 28 && a->y0 > 28 && a->y1 < 841.89 - 14,
                  "page %d: \"%s\" at %g..%g, %g..%g", a->page, a->text, a->x0, a->x1, a->y0,
                  a->y1);
        double tall = (a->y1 - a->y0) / 4; /* the font's ascent and descent are not ink */
        for (int k = i + 1; k < n && w[k].page == a->page; k++) {
            const word *b = &w[k];
            double down = (b->y1 - b->y0) / 4;
            bool cover = a->x0 + 0.5 < b->x1 && b->x0 + 0.5 < a->x1 &&
                         a->y0 + tall < b->y1 - down && b->y0 + down < a->y1 - tall;
            cr_expect(!cover, "page %d: \"%s\" covers \"%s\"", a->page, a->text, b->text);
        }
    }
    free(pdf.data);
}

Test(certificate, no_text_leaves_its_place)
{
    static const char *left_out[40], *reasons[24];
    static rg_certificate_value values[30];
    rg_certificate c = hostile();
    expect_in_place(&c);
    c.check_passed = false;
    expect_in_place(&c);
    c = sample(24);
    for (int i = 0; i < 40; i++)
        left_out[i] = "high F sharp trill";
    for (int i = 0; i < 30; i++)
        values[i] = (rg_certificate_value){"opening of the pad", "mm", "feeler gauge", 8.25, 0.05};
    c.not_swept = 40;
    c.pad_not_swept = left_out;
    c.values = 30;
    c.value = values;
    for (int i = 0; i < 24; i++)
        reasons[i] = "G: open at bearings 136..265: up to 0.150 +- 0.019 mm at 199";
    c.note = long_text(1023);
    c.reasons = 24;
    c.reason = reasons;
    expect_in_place(&c);
    c.check_passed = false;
    c.checked = long_text(1023);
    expect_in_place(&c);
    char *text = text_of(&c);
    EXPECT_WORDS(text, "more pads: pages 2 and after", "30 values: page ", "more pads: page ");
    free(text);
}

/* ------------------------------------------------------------------ HTML */

/* A scanner of the HTML we mean to write: tags of this list only, nested as they should be, each
 * attribute named here and quoted. Anything that broke out of its place shows as another
 * tag or attribute. */
static const char *const tags[] = {
    "html",   "head", "meta",    "title",  "style", "body",       "header", "main",    "h1",
    "h2",     "h3",   "p",       "bdi",    "dl",    "dt",         "dd",     "section", "span",
    "strong", "ul",   "li",      "div",    "table", "caption",    "thead",  "tbody",   "tr",
    "th",     "td",   "article", "figure", "img",   "figcaption", "code"};
static const char *const attributes[] = {
    "lang",  "charset",         "http-equiv", "content",  "name",       "class",
    "id",    "aria-labelledby", "role",       "tabindex", "aria-label", "scope",
    "width", "height",          "alt",        "src",      "aria-hidden"};

static bool is_one_of(const char *text, size_t n, const char *const *list, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (strlen(list[i]) == n && memcmp(list[i], text, n) == 0)
            return true;
    return false;
}

/* At the name's end; returns the place behind '>'. */
static const char *scan_attributes(const char *p)
{
    while (*p == ' ') {
        p++;
        size_t n = strcspn(p, "=> ");
        cr_assert(is_one_of(p, n, attributes, sizeof attributes / sizeof *attributes), "%.60s", p);
        p += n;
        cr_assert(p[0] == '=' && p[1] == '"', "%.60s", p);
        p += 2;
        n = strcspn(p, "\"<>");
        cr_assert_eq(p[n], '"', "%.60s", p);
        p += n + 1;
    }
    cr_assert_eq(*p, '>', "%.60s", p);
    return p + 1;
}

static void expect_own_markup(const char *html)
{
    const char *open[64];
    size_t length[64];
    int depth = 0;
    const char *p = strstr(html, "<html");
    cr_assert(p && strncmp(html, "<!DOCTYPE html>\n", 16) == 0);
    while ((p = strchr(p, '<')) != NULL) {
        bool end = p[1] == '/';
        const char *tag = p + 1 + end;
        size_t n = strcspn(tag, " >");
        cr_assert(is_one_of(tag, n, tags, sizeof tags / sizeof *tags), "%.60s", p);
        bool empty = is_one_of(tag, n, (const char *const[]){"meta", "img"}, 2);
        p = scan_attributes(tag + n);
        if (end) {
            cr_assert(depth > 0 && length[depth - 1] == n && !memcmp(open[depth - 1], tag, n),
                      "</%.20s", tag);
            depth--;
        } else if (!empty) {
            cr_assert(depth < 64);
            open[depth] = tag;
            length[depth++] = n;
        }
    }
    cr_assert_eq(depth, 0);
}

Test(certificate, html_holds_its_own_markup_only)
{
    rg_certificate c = hostile();
    for (int i = 0; i < 2; i++) {
        char *html = html_of(&c);
        expect_own_markup(html);
        EXPECT_WORDS(html, "&lt;/title&gt;&lt;script&gt;alert(1)&lt;/script&gt;",
                     "&quot;&gt;&lt;img src=x onerror=alert(1)&gt;", "&lt;/style&gt;&lt;!--",
                     "&#39; onmouseover=&#39;alert(1)", "<bdi>?? ", "\u05e9\u05dc\u05d5\u05dd",
                     "&lt;/dd&gt;&lt;script&gt;", "<bdi>a&amp;lt;b</bdi>");
        cr_expect(!strstr(html, "<script") && !strchr(html, '\x1b') && !strchr(html, '\x01'));
        free(html);
        c.check_passed = false;
    }
}

/* Bytes drawn from those that could do harm; the same in every run. */
static void noise(char *text, size_t size, unsigned *seed)
{
    static const char bytes[] = "<>&\"'=/!-- \n\x01\x7f\xC2\x85\xE2\x80\xAE\xF4\x90\xFF"
                                "a";
    for (size_t i = 0; i + 1 < size; i++) {
        *seed = *seed * 1664525U + 1013904223U;
        text[i] = bytes[(*seed >> 16) % (sizeof bytes - 1)];
    }
    text[size - 1] = 0;
}

Test(certificate, no_bytes_break_out)
{
    static char text[8][700];
    unsigned seed = 1;
    for (int i = 0; i < 100; i++) {
        rg_certificate c = sample(1);
        for (int k = 0; k < 8; k++)
            noise(text[k], (size_t)(1 + 7 * i), &seed);
        const char *list[] = {text[6]};
        c.serial = text[0];
        c.technician = text[1];
        c.note = text[2];
        c.checked = text[3];
        c.occasion = text[7];
        pads[0].pad = text[4];
        pads[0].finger = text[5];
        c.reason = c.pad_not_swept = list;
        c.reasons = c.not_swept = 1;
        char *html = html_of(&c);
        expect_own_markup(html);
        cr_expect(!strchr(html, '\x01') && !strchr(html, '\xFF') && !strstr(html, "\xC2\x85"));
        free(html);
    }
}

Test(certificate, html_asks_for_nothing_from_outside)
{
    rg_certificate c = sample(3);
    char *html = html_of(&c);
    expect_own_markup(html);
    EXPECT_WORDS(html,
                 "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
                 "style-src 'unsafe-inline'; img-src data:\">",
                 "<meta charset=\"utf-8\">", "lang=\"en\"", "width=device-width", "@media print");
    cr_expect_eq(times(html, "src=\""), 3);
    cr_expect_eq(times(html, "src=\"data:image/svg+xml;base64,"), 3);
    cr_expect(!strstr(html, "http:") && !strstr(html, "https:") && !strstr(html, "url(") &&
              !strstr(html, "@import") && !strstr(html, "href"));
    free(html);
}

Test(certificate, html_says_the_same)
{
    rg_certificate c = sample(3);
    char *html = html_of(&c);
    EXPECT_WORDS(html, "<h1><bdi>PE-A-0147</bdi></h1>", "0.064 \u00b1 0.004 mm at bearing 120",
                 "0.011 mm at worst, median 0.008 mm", "<dt>Unseen</dt><dd><bdi>200, 350..9",
                 "<code><bdi>" DIGEST, "<code><bdi>" TAG_DIGEST, "<caption>", "<th scope=\"col\">",
                 "<th scope=\"row\">",
                 "alt=\"Ring map of pad P1: leaking. Widest gap: 0.064 \u00b1 0.004 mm",
                 "Unseen bearings: all round.", "( ? ) undecided", "porous leather", "new pad",
                 "date of signing");
    free(html);
}

Test(certificate, ring_maps_of_the_html_are_pictures)
{
    rg_certificate c = sample(2);
    char *html = html_of(&c);
    const char *p = html;
    for (int i = 0; i < 2; i++) {
        p = strstr(p, "base64,");
        cr_assert_not_null(p);
        p += 7;
        size_t n = strcspn(p, "\""), size;
        uint8_t *svg = rg_alloc(n, 1);
        cr_assert_eq(
            sodium_base642bin(svg, n, p, n, NULL, &size, NULL, sodium_base64_VARIANT_ORIGINAL), 0);
        test_print picture = test_print_svg(svg, size);
        long dark = 0;
        for (int k = 0; k < picture.width * picture.height; k++)
            dark += picture.grey[k] < 64;
        cr_expect_eq(picture.width, picture.height);
        cr_expect_gt(dark, picture.width * 10, "nothing is drawn");
        test_print_free(&picture);
        free(svg);
    }
    free(html);
}

/* -------------------------------------------------------------- refusals */

static void expect_refused(const rg_certificate *c, const char *part)
{
    rg_bytes b;
    err = (rg_error){0};
    cr_expect_eq(rg_certificate_pdf(c, &b, &err), RG_BAD_DATA);
    cr_expect(!b.data && strstr(err.text, part), "%s", err.text);
    cr_expect_eq(rg_certificate_html(c, &b, &err), RG_BAD_DATA);
    cr_expect(!b.data && strstr(err.text, part), "%s", err.text);
}

Test(certificate, what_cannot_be_drawn_is_refused)
{
    rg_certificate c = sample(3);
    pads[1].map = NULL;
    expect_refused(&c, "pad P1 has no seal map");
    c = sample(3);
    pads[2].tolerance_mm = 0;
    expect_refused(&c, "tolerance");
    c = sample(3);
    pads[0].coverage_factor = NAN;
    expect_refused(&c, "coverage");
    c = sample(3);
    c.pads = 257;
    expect_refused(&c, "at most 256 pads");
    c = sample(3);
    c.not_swept = -1;
    expect_refused(&c, "not swept");
}

Test(certificate, nothing_at_all_is_still_a_certificate)
{
    rg_certificate c = {0};
    rg_bytes pdf = pdf_of(&c);
    char *html = html_of(&c);
    cr_expect(test_pdf_is_sound(pdf.data, pdf.size));
    EXPECT_WORDS(html, "(no serial)", "EVIDENCE DOES NOT CHECK");
    expect_own_markup(html);
    free(html);
    free(pdf.data);
}
