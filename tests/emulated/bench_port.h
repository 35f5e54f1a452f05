/* A pseudo terminal that stands for the serial port of a chip. What comes is stamped as it comes, by a thread of its own:
 * an emulation that was held up must not hold that up as well, or the board's watchdog would be tripped by it. */
#ifndef BENCH_PORT_H
#define BENCH_PORT_H

#include <stddef.h>
#include <stdint.h>

struct port;

/* A byte that has come, and when: nanoseconds of the monotonic clock. */
struct come {
    uint64_t at;
    uint8_t byte;
};

/* Nanoseconds of the monotonic clock. */
uint64_t port_now(void);
/* Makes one, raw, with a symbolic link to it at `link`. */
struct port *port_open(const char *link);
/* Takes what has come, at once. */
size_t port_take(struct port *port, struct come *come, size_t room);
/* Gives what finds room, at once; the rest is gone, as on a line that nobody listens to. */
void port_give(struct port *port, const uint8_t *bytes, size_t count);

#endif
