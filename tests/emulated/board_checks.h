/* What is checked of the capture board's firmware, one group a file, and how it is told. */
#ifndef BOARD_CHECKS_H
#define BOARD_CHECKS_H

#include "board_world.h"

#include <stdbool.h>
#include <stdint.h>

/* The bounds that fixtures/jigs/capture-board/README.md states. */
#define PIN_CHANGE_LATEST_US 10.0

/* Says what was seen, and that it is right or not. */
void check(bool right, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* Says a figure that is not judged. */
void figure(const char *format, ...) __attribute__((format(printf, 1, 2)));

/* Hello, start and a heart that beats, from whatever was before; everything noted is forgotten. */
void fresh_start(void);
/* Waits until all is told that was stamped; whether the board said so. */
bool settle(void);
/* Switches an output; whether the board said so. */
bool drive(uint8_t output, bool on);
/* No frame broken, none missing, no tick backwards, nothing lost. */
bool link_clean(void);
/* Whether exactly what was driven on a channel was told, levels and all. */
bool all_told(enum channel channel);
/* How far a tick that was told lies behind a cycle, in cycles; the board's clock is known from the steps. */
double cycles_behind(uint32_t tick, uint64_t cycle);
/* Learns the board's clock against the cycles. Every step must agree to a tick. */
bool learn_clock(void);

void check_talk(void);
void check_levels(void);
void check_stamps(void);
void check_rates(void);
void check_samples(void);
void check_outputs(void);
void check_stops(void);
void check_hung(void);

#endif
