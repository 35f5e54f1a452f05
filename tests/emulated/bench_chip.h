/* An emulated ATmega328P with what hangs on it: lines that others drive at known cycles, and a serial link whose bytes
 * arrive at known cycles. All chips count the same cycles: one clock. */
#ifndef BENCH_CHIP_H
#define BENCH_CHIP_H

#include "controller.h"

#include <stddef.h>

/* A line that is to change. */
struct change {
    uint64_t at;
    char port;
    uint8_t pin, level;
};
#define CHANGES 4096

/* A byte that has come in over the link. */
struct arrival {
    uint64_t at;
    uint8_t byte;
};
#define ARRIVALS 8192

#define SAID 8192

struct chip {
    avr_t *avr;
    const char *name;
    /* In order of time. */
    struct change changes[CHANGES];
    size_t changes_count;
    struct lines lines;
    uint32_t cycles_per_byte;
    struct arrival arrivals[ARRIVALS];
    size_t arrivals_head, arrivals_tail;
    bool may_hear, hearing;
    /* When the last byte went into its receiver. */
    uint64_t heard_at;
    /* What it said since this was last emptied. */
    uint8_t said[SAID];
    size_t said_count;
};

void chip_begin(struct chip *chip, const char *name, const char *firmware, uint32_t cycles_per_byte);
/* Starts it afresh at a cycle, with the causes that its status register then shows. */
void chip_reset(struct chip *chip, uint64_t at, uint8_t causes);
void chip_run(struct chip *chip, uint64_t until);
/* Drives a pin from a cycle on. Changes of one pin are told in order. */
void chip_drive(struct chip *chip, char port, uint8_t pin, bool level, uint64_t at);
/* A byte arrives, at this cycle or as soon afterwards as the link's rate lets it. */
void chip_hears(struct chip *chip, uint8_t byte, uint64_t at);
/* Forgets what has arrived and was not heard yet. */
void chip_forgets(struct chip *chip);

#endif
