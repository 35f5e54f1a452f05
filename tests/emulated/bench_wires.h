/* What is wired to what: the unit, the capture board, and the mechanics, which another process computes. */
#ifndef BENCH_WIRES_H
#define BENCH_WIRES_H

#include "bench_chip.h"

/* All are brought up to the same cycle before the next slice begins. What acts back, mechanics on chips and board on unit,
 * does so one slice later, every time exactly one. */
#define SLICE 4000

extern struct chip unit, board;

void unit_begin(const char *firmware);
/* Switches its supply at a cycle. */
void unit_supply(bool on, uint64_t at);
/* Resets it as its brown-out detector does. */
void unit_brown_out(void);
void unit_run(uint64_t until);
/* Voltage of its pack, behind the divider. */
extern uint32_t unit_millivolts;

void board_begin(const char *firmware);
/* Voltage at an input of one of its multiplexers. */
void board_voltage(unsigned multiplexer, unsigned input, uint32_t millivolts);

/* Tells the mechanics something that happened; `number` is left out where it is negative. */
void mechanics_tell(char what, int number, int level, uint64_t at);
/* Tells it that a slice is over, and does what it answers. False when it is gone. */
bool mechanics_slice(uint64_t until);

#endif
