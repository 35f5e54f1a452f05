/* A pseudo terminal that stands for the serial port of a chip. */
#ifndef BENCH_PORT_H
#define BENCH_PORT_H

#include <stddef.h>
#include <stdint.h>

/* Makes one, raw, with a symbolic link to it at `link`; gives the descriptor of its far side. */
int port_open(const char *link);
/* Takes what has come, at once. */
size_t port_take(int port, uint8_t *bytes, size_t room);
/* Gives what finds room, at once; the rest is gone, as on a line that nobody listens to. */
void port_give(int port, const uint8_t *bytes, size_t count);

#endif
