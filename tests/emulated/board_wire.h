/* The computer's side of the capture board's protocol, for the check of its firmware: frames and what they say. */
#ifndef BOARD_WIRE_H
#define BOARD_WIRE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { HELLO = 1, START, DRIVE, HEARTBEAT, SETTLE, SAFE };
enum { IDENTITY = 0x81, STARTED, EDGES, SAMPLES, SWITCHED, BEAT, SETTLED, OVERRUN, REFUSED };

struct frame {
    uint8_t type;
    uint16_t sequence;
    size_t length;
    uint8_t payload[256];
};

/* Writes a whole frame, with its ending zero; gives the number of bytes. */
size_t wire_write(uint8_t *into, uint8_t type, uint16_t sequence, const uint8_t *payload, size_t length);
/* Reads what stood between two zero bytes. */
bool wire_read(const uint8_t *bytes, size_t length, struct frame *frame);
uint16_t wire_sum(const uint8_t *bytes, size_t length);
uint16_t wire_u16(const uint8_t *bytes);
uint32_t wire_u32(const uint8_t *bytes);
/* Reads a varint at *at and moves on; false when it does not end. */
bool wire_number(const uint8_t *bytes, size_t length, size_t *at, uint32_t *number);

#endif
