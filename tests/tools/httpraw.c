/*
 * httpraw.c - says anything to a server on this computer, for tests/cli/test_bench_page.sh.
 *
 *   httpraw PORT say            standard input to the socket, the answer to standard output; "closed" to
 *                               standard error when the server closed, "silent" after 20 s without a byte
 *   httpraw PORT drip           the same, one byte every 100 ms, until the server has had enough;
 *                               prints the seconds that it took
 *   httpraw PORT hold N SECONDS N connections at once, without a word, for so long
 */
#include <arpa/inet.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

enum { INPUT = 4 * 1024 * 1024, SILENT_MS = 20000, DRIP_NS = 100000000, HOLD = 2000 };

static int dial(int port)
{
    struct sockaddr_in to = {.sin_family = AF_INET, .sin_port = htons((unsigned short)port)};
    to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    int fd = socket(AF_INET, SOCK_STREAM, 0);
    if (fd >= 0 && connect(fd, (const struct sockaddr *)&to, sizeof to) != 0) {
        close(fd);
        return -1;
    }
    return fd;
}

static void listen_to(int fd)
{
    char text[4096];
    struct pollfd p = {.fd = fd, .events = POLLIN};
    for (;;) {
        if (poll(&p, 1, SILENT_MS) <= 0) {
            fputs("silent\n", stderr);
            return;
        }
        ssize_t n = read(fd, text, sizeof text);
        if (n <= 0) {
            fputs("closed\n", stderr);
            return;
        }
        fwrite(text, 1, (size_t)n, stdout);
    }
}

static size_t read_input(char *text)
{
    return fread(text, 1, INPUT, stdin);
}

static int say(int port, char *text)
{
    size_t size = read_input(text), sent = 0;
    int fd = dial(port);
    if (fd < 0)
        return 1;
    while (sent < size) {
        ssize_t n = write(fd, text + sent, size - sent);
        if (n <= 0)
            break;
        sent += (size_t)n;
    }
    listen_to(fd);
    close(fd);
    return 0;
}

static int drip(int port, char *text)
{
    size_t size = read_input(text);
    const struct timespec pause = {0, DRIP_NS};
    time_t begun = time(NULL);
    int fd = dial(port);
    if (fd < 0)
        return 1;
    for (size_t i = 0; i < size; i++) {
        struct pollfd p = {.fd = fd, .events = POLLIN};
        if (write(fd, text + i, 1) != 1 || poll(&p, 1, 0) > 0)
            break;
        nanosleep(&pause, NULL);
    }
    close(fd);
    printf("%ld\n", (long)(time(NULL) - begun));
    return 0;
}

static int hold(int port, int count, int seconds)
{
    int open_now = 0;
    for (int i = 0; i < count && i < HOLD; i++)
        open_now += dial(port) >= 0;
    printf("%d\n", open_now);
    fflush(stdout);
    sleep((unsigned)seconds);
    return 0;
}

int main(int argc, char **argv)
{
    signal(SIGPIPE, SIG_IGN);
    char *text = malloc(INPUT);
    int port = argc > 1 ? atoi(argv[1]) : 0, code = 64;
    if (text && argc == 3 && strcmp(argv[2], "say") == 0)
        code = say(port, text);
    else if (text && argc == 3 && strcmp(argv[2], "drip") == 0)
        code = drip(port, text);
    else if (text && argc == 5 && strcmp(argv[2], "hold") == 0)
        code = hold(port, atoi(argv[3]), atoi(argv[4]));
    else
        fputs("httpraw PORT say | drip | hold N SECONDS\n", stderr);
    free(text);
    return code;
}
