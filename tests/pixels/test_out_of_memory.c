/*
 * Each allocation of a decode fails in turn: the call must end with
 * RG_INTERNAL, a text, no pixels and every block given back.
 *
 * The allocator of the C library is replaced for this program by one that
 * counts down and then fails; glibc exports its own under __libc_ names. The
 * sanitizers replace the allocator themselves, so there the test is skipped.
 */
#include <criterion/criterion.h>
#include <errno.h>
#include <stdlib.h>

#include "rimglow/decode.h"
#include "support/load.h"

#ifndef __has_feature
#define __has_feature(x) 0
#endif
#if defined(__SANITIZE_ADDRESS__) || __has_feature(address_sanitizer) || !defined(__GLIBC__)
#define HAVE_OWN_ALLOCATOR 0
#else
#define HAVE_OWN_ALLOCATOR 1
#endif

/* Calls until the failing one, -1 for never; blocks alive while watching. */
static long countdown = -1, alive;
static bool watching;

#if HAVE_OWN_ALLOCATOR
void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *block, size_t size);
void __libc_free(void *block);

static bool fails(void)
{
    if (!watching || countdown < 0 || countdown-- > 0)
        return false;
    errno = ENOMEM;
    return true;
}

static void *counted(void *block)
{
    alive += watching && block;
    return block;
}

void *malloc(size_t size)
{
    return fails() ? NULL : counted(__libc_malloc(size));
}

void *calloc(size_t count, size_t size)
{
    return fails() ? NULL : counted(__libc_calloc(count, size));
}

void *realloc(void *block, size_t size)
{
    if (fails())
        return NULL;
    return block ? __libc_realloc(block, size) : counted(__libc_realloc(block, size));
}

void free(void *block)
{
    alive -= watching && block;
    __libc_free(block);
}
#endif

/* Decodes with the nth allocation failing. */
static rg_code decode_starved(const test_bytes *b, long n, rg_image *image, rg_error *err)
{
    countdown = n;
    alive = 0;
    watching = true;
    rg_code code = rg_decode_rows(b->data, b->size, 3, 20, image, err);
    watching = false;
    return code;
}

static void starve(const char *path)
{
    if (!HAVE_OWN_ALLOCATOR)
        cr_skip("the sanitizer has its own allocator");
    test_bytes b = test_load(path);
    rg_image image;
    long n = 0;
    for (;; n++) {
        rg_error err = {0};
        rg_code code = decode_starved(&b, n, &image, &err);
        /* shrinking a block may fail without harm */
        if (code == RG_OK && countdown >= 0)
            break;
        if (code == RG_OK) {
            rg_image_free(&image);
            continue;
        }
        cr_assert_eq(code, RG_INTERNAL, "%s, allocation %ld: %d %s", path, n, code, err.text);
        cr_assert(err.text[0] && !image.data);
        cr_assert_eq(alive, 0, "%s, allocation %ld: %ld blocks lost", path, n, alive);
    }
    cr_assert(n > 3, "%s: only %ld allocations seen", path, n);
    rg_image_free(&image);
    free(b.data);
}

Test(out_of_memory, baseline_jpeg_gives_everything_back)
{
    starve("tests/data/jpeg/video-001.jpeg");
}

Test(out_of_memory, progressive_jpeg_gives_everything_back)
{
    starve("tests/data/jpeg/video-001.q50.420.progressive.jpeg");
}

Test(out_of_memory, turned_jpeg_gives_everything_back)
{
    starve("tests/data/exif/Landscape_6.jpg");
}

Test(out_of_memory, png_with_alpha_gives_everything_back)
{
    starve("tests/data/png/suite/basn6a16.png");
}

Test(out_of_memory, interlaced_png_with_a_palette_gives_everything_back)
{
    starve("tests/data/png/suite/basn3p04-31i.png");
}
