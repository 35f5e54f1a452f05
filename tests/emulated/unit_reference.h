// What the steps of a motion should be, worked out apart from the firmware.
#ifndef UNIT_REFERENCE_H
#define UNIT_REFERENCE_H

#include <stdint.h>

// Timer ticks of 0.5 µs a step at a speed in mm/s: 80 steps to the millimetre.
uint32_t reference_delay(double mm_per_s);

// Delays before each of up to `steps` steps, in timer ticks, braking for good from step `brake_at` on (0: never) and
// choosing `second` as speed after step `change_at` (0: never). Returns how many steps are made.
int reference_steps(uint32_t target, int steps, int brake_at, uint32_t second, int change_at, uint32_t *delays, int room);

// The delay before step `n` (the first is 0) of constant acceleration from rest at 1600 mm/s², in timer ticks.
double reference_exact(int n);

#endif
