/*
 * test_server.c - who may ask what, and the newest of something for those who read slowly.
 *
 * Status codes: RFC 9110 (421: 15.5.20, 405 with Allow: 15.5.6), Sec-Fetch-Site: W3C Fetch Metadata. The attacks
 * themselves, over sockets, are in tests/cli/test_bench_page.sh.
 */
#include <criterion/criterion.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>

#include "../../src/app/server_private.h"

static const rg_route page = {.path = "/", .kind = RG_ROUTE_ASSET};
static const rg_route data = {.path = "/d", .kind = RG_ROUTE_DATA};
static const rg_route change = {.path = "/c", .kind = RG_ROUTE_CHANGE};

static rg_secret csrf, cookie;

static rg_visitor visitor(const char *method)
{
    cr_assert_eq(rg_secret_make(&csrf, NULL), RG_OK);
    cr_assert_eq(rg_secret_make(&cookie, NULL), RG_OK);
    return (rg_visitor){.method = method,
                        .hosts = 1,
                        .host = "127.0.0.1:8737",
                        .type = "application/json",
                        .csrf = csrf.text,
                        .target = 5,
                        .local = "127.0.0.1:8737",
                        .loopback = true};
}

static unsigned judge(const rg_visitor *v, const rg_route *route)
{
    const char *why;
    const rg_gate gate = {&csrf, NULL};
    return rg_gate_judge(&gate, v, route, &why);
}

Test(gate, lets_the_own_page_ask_and_change)
{
    rg_visitor v = visitor("GET");
    cr_expect_eq(judge(&v, &page), 0);
    cr_expect_eq(judge(&v, &data), 0);
    v = visitor("POST");
    v.origin = "http://127.0.0.1:8737";
    v.fetch_site = "same-origin";
    cr_expect_eq(judge(&v, &change), 0);
}

Test(gate, knows_itself_by_exact_names)
{
    static const char *const good[] = {"127.0.0.1:8737", "localhost:8737", "LocalHost:8737"};
    static const char *const bad[] = {"",           "127.0.0.1",       "localhost",
                                      "localhost:", "127.0.0.1:87370", "127.0.0.1:8737.",
                                      "localhost.", "127.0.0.1:8737 ", "xlocalhost:8737"};
    rg_visitor v = visitor("GET");
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        v.host = good[i];
        cr_expect_eq(judge(&v, &page), 0, "%s", good[i]);
    }
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        v.host = bad[i];
        cr_expect_eq(judge(&v, &page), 421, "%s", bad[i]);
    }
    v.host = "localhost:8737";
    v.loopback = false;
    cr_expect_eq(judge(&v, &page), 421, "localhost is a name of the loopback alone");
    v.host = "127.0.0.1";
    v.standard_port = true;
    cr_expect_eq(judge(&v, &page), 0, "port 80 may be left out");
    v.local = "";
    cr_expect_eq(judge(&v, &page), 421, "an unknown address has no name");
}

Test(gate, wants_one_host_and_one_length)
{
    rg_visitor v = visitor("GET");
    v.hosts = 2;
    cr_expect_eq(judge(&v, &page), 400);
    v.hosts = 0;
    v.host = NULL;
    cr_expect_eq(judge(&v, &page), 400);
    v = visitor("POST");
    v.lengths = 2;
    cr_expect_eq(judge(&v, &change), 400);
    v = visitor("GET");
    v.target = RG_SERVER_TARGET + 1;
    cr_expect_eq(judge(&v, &page), 414);
}

Test(gate, keeps_methods_apart)
{
    static const char *const other[] = {"PUT", "DELETE", "OPTIONS", "TRACE", "get"};
    rg_visitor v = visitor("GET");
    cr_expect_eq(judge(&v, &change), 405);
    v.method = "HEAD";
    cr_expect_eq(judge(&v, &change), 405);
    cr_expect_eq(judge(&v, &page), 0);
    v.method = "POST";
    cr_expect_eq(judge(&v, &page), 405);
    for (size_t i = 0; i < sizeof other / sizeof other[0]; i++) {
        v.method = other[i];
        cr_expect_eq(judge(&v, &page), 405);
        cr_expect_eq(judge(&v, &change), 405);
    }
    cr_expect_eq(judge(&v, NULL), 404);
}

Test(gate, refuses_other_sites)
{
    static const char *const origin[] = {"null",
                                         "",
                                         "http://evil.example",
                                         "https://127.0.0.1:8737",
                                         "http://127.0.0.1:87370",
                                         "http://localhost:8737"};
    rg_visitor v = visitor("POST");
    for (size_t i = 0; i < sizeof origin / sizeof origin[0]; i++) {
        v.origin = origin[i];
        cr_expect_eq(judge(&v, &change), 403, "%s", origin[i]);
    }
    v.origin = NULL;
    v.fetch_site = "none";
    cr_expect_eq(judge(&v, &change), 403, "nobody types a POST");
    v.method = "GET";
    cr_expect_eq(judge(&v, &data), 0);
    v.fetch_site = "same-site";
    cr_expect_eq(judge(&v, &data), 403);
    cr_expect_eq(judge(&v, &page), 0, "a link from elsewhere opens the page");
}

Test(gate, wants_the_run_s_own_value)
{
    rg_visitor v = visitor("POST");
    char other[RG_SECRET_TEXT];
    memcpy(other, csrf.text, sizeof other);
    other[RG_SECRET_TEXT - 2] = other[RG_SECRET_TEXT - 2] == '0' ? '1' : '0';
    v.csrf = other;
    cr_expect_eq(judge(&v, &change), 403);
    v.csrf = NULL;
    cr_expect_eq(judge(&v, &change), 403);
    v.csrf = "";
    cr_expect_eq(judge(&v, &change), 403);
    cr_expect(!rg_secret_is(&csrf, csrf.text, 62));
    cr_expect_str_neq(csrf.text, cookie.text, "secrets differ");
}

Test(gate, wants_json_of_a_sane_size)
{
    rg_visitor v = visitor("POST");
    v.type = "application/json; charset=utf-8";
    cr_expect_eq(judge(&v, &change), 0);
    v.type = "application/jsonp";
    cr_expect_eq(judge(&v, &change), 415);
    v.type = NULL;
    cr_expect_eq(judge(&v, &change), 415);
    v = visitor("POST");
    v.length = "65536";
    cr_expect_eq(judge(&v, &change), 0);
    v.length = "65537";
    cr_expect_eq(judge(&v, &change), 413);
    v.length = "99999999999999999999";
    cr_expect_eq(judge(&v, &change), 413);
}

Test(gate, asks_for_the_cookie_where_there_is_a_token)
{
    const char *why;
    char cookies[300];
    rg_visitor v = visitor("GET");
    const rg_gate gate = {&csrf, &cookie};
    cr_expect_eq(rg_gate_judge(&gate, &v, &page, &why), 401);
    snprintf(cookies, sizeof cookies, "a=b; rimglow=%s; c=d", cookie.text);
    v.cookie = cookies;
    cr_expect_eq(rg_gate_judge(&gate, &v, &page, &why), 0);
    snprintf(cookies, sizeof cookies, "xrimglow=%s", cookie.text);
    cr_expect_eq(rg_gate_judge(&gate, &v, &page, &why), 401);
    snprintf(cookies, sizeof cookies, "rimglow=%s", csrf.text);
    cr_expect_eq(rg_gate_judge(&gate, &v, &page, &why), 401);
}

/* ---------------------------------------------------------------- feed */

static void put(rg_feed *feed, const char *text)
{
    const rg_feed_part part[] = {{text, strlen(text)}, {"!", 1}};
    cr_assert_eq(rg_feed_put(feed, part, 2, NULL), RG_OK);
}

Test(feed, gives_the_newest_and_skips_what_came_between)
{
    rg_feed *feed = rg_feed_new();
    cr_assert_null(rg_feed_take(feed, 0, 0));
    put(feed, "one");
    const rg_feed_block *first = rg_feed_take(feed, 0, 0);
    put(feed, "two");
    put(feed, "three");
    cr_assert_arr_eq(first->bytes, "one!", 4, "a block that is held stays as it is");
    const rg_feed_block *newest = rg_feed_take(feed, first->number, 0);
    cr_assert_eq(newest->size, 6);
    cr_assert_arr_eq(newest->bytes, "three!", 6);
    cr_assert_eq(newest->number, 3);
    cr_assert_null(rg_feed_take(feed, newest->number, 1));
    rg_feed_give_back(feed, first);
    rg_feed_give_back(feed, newest);
    rg_feed_free(feed);
}

static void *write_many(void *cls)
{
    for (int i = 0; i < 2000; i++)
        put(cls, i % 2 ? "odd" : "even number");
    return NULL;
}

Test(feed, is_whole_in_every_reader)
{
    rg_feed *feed = rg_feed_new();
    pthread_t writer;
    uint64_t after = 0;
    pthread_create(&writer, NULL, write_many, feed);
    while (after < 2000) {
        const rg_feed_block *b = rg_feed_take(feed, after, 1000);
        cr_assert_not_null(b);
        cr_assert_gt(b->number, after);
        const char *want = b->number % 2 ? "even number!" : "odd!";
        cr_assert_eq(b->size, strlen(want));
        cr_assert_arr_eq(b->bytes, want, b->size);
        after = b->number;
        rg_feed_give_back(feed, b);
    }
    pthread_join(writer, NULL);
    rg_feed_free(feed);
}

Test(feed, stops_for_those_who_wait)
{
    rg_feed *feed = rg_feed_new();
    put(feed, "one");
    rg_feed_stop(feed);
    cr_assert_null(rg_feed_take(feed, 0, 60000));
    rg_feed_free(feed);
}

Test(feed, refuses_what_is_too_large)
{
    rg_feed *feed = rg_feed_new();
    rg_error err;
    const rg_feed_part part[] = {{"x", 1}, {"x", (size_t)RG_FEED_BYTES_MAX}};
    cr_assert_eq(rg_feed_put(feed, part, 2, &err), RG_BAD_DATA);
    rg_feed_free(feed);
}
