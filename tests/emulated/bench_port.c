#include "bench_port.h"

#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#define ROOM 16384

struct port {
    int far_side;
    pthread_mutex_t held;
    struct come come[ROOM];
    size_t count;
};

static void fail(const char *what)
{
    perror(what);
    exit(2);
}

uint64_t port_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (uint64_t)now.tv_sec * 1000000000 + (uint64_t)now.tv_nsec;
}

/* Stamps behind the read: a byte must not seem to have come before it was sent. */
static void *listen(void *of)
{
    struct port *port = of;
    struct pollfd watched = { .fd = port->far_side, .events = POLLIN };
    for (;;) {
        uint8_t bytes[1024];
        if (poll(&watched, 1, -1) < 0)
            continue;
        ssize_t count = read(port->far_side, bytes, sizeof bytes);
        uint64_t at = port_now();
        pthread_mutex_lock(&port->held);
        for (ssize_t i = 0; i < count && port->count < ROOM; i++)
            port->come[port->count++] = (struct come){ at, bytes[i] };
        pthread_mutex_unlock(&port->held);
    }
    return NULL;
}

struct port *port_open(const char *link)
{
    struct port *port = calloc(1, sizeof *port);
    if (!port)
        fail("no memory");
    int far_side = port->far_side = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (far_side < 0 || grantpt(far_side) || unlockpt(far_side))
        fail("no pseudo terminal");
    /* Raw before anybody opens it, and kept open, so that it lives on between one visitor and the next. */
    int near_side = open(ptsname(far_side), O_RDWR | O_NOCTTY);
    struct termios settings;
    if (near_side < 0 || tcgetattr(near_side, &settings))
        fail("no pseudo terminal");
    cfmakeraw(&settings);
    tcsetattr(near_side, TCSANOW, &settings);
    struct stat there;
    if (!lstat(link, &there) && S_ISLNK(there.st_mode))
        unlink(link);
    if (symlink(ptsname(far_side), link))
        fail(link);
    pthread_t listener;
    pthread_mutex_init(&port->held, NULL);
    if (pthread_create(&listener, NULL, listen, port))
        fail("no thread");
    return port;
}

size_t port_take(struct port *port, struct come *come, size_t room)
{
    pthread_mutex_lock(&port->held);
    size_t count = port->count < room ? port->count : room;
    for (size_t i = 0; i < count; i++)
        come[i] = port->come[i];
    for (size_t i = count; i < port->count; i++)
        port->come[i - count] = port->come[i];
    port->count -= count;
    pthread_mutex_unlock(&port->held);
    return count;
}

void port_give(struct port *port, const uint8_t *bytes, size_t count)
{
    while (count > 0) {
        ssize_t given = write(port->far_side, bytes, count);
        if (given <= 0)
            return;
        bytes += given;
        count -= (size_t)given;
    }
}
