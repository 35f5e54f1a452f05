#include "bench_port.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

static void fail(const char *what)
{
    perror(what);
    exit(2);
}

int port_open(const char *link)
{
    int port = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (port < 0 || grantpt(port) || unlockpt(port))
        fail("no pseudo terminal");
    /* Raw before anybody opens it, and kept open, so that it lives on between one visitor and the next. */
    int near_side = open(ptsname(port), O_RDWR | O_NOCTTY);
    struct termios settings;
    if (near_side < 0 || tcgetattr(near_side, &settings))
        fail("no pseudo terminal");
    cfmakeraw(&settings);
    tcsetattr(near_side, TCSANOW, &settings);
    struct stat there;
    if (!lstat(link, &there) && S_ISLNK(there.st_mode))
        unlink(link);
    if (symlink(ptsname(port), link))
        fail(link);
    return port;
}

size_t port_take(int port, uint8_t *bytes, size_t room)
{
    ssize_t count = read(port, bytes, room);
    return count > 0 ? (size_t)count : 0;
}

void port_give(int port, const uint8_t *bytes, size_t count)
{
    while (count > 0) {
        ssize_t given = write(port, bytes, count);
        if (given <= 0)
            return;
        bytes += given;
        count -= (size_t)given;
    }
}
