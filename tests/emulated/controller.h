/* An emulated ATmega328P, as every host here has one: at 16 MHz and 5 V, with its firmware, and with those habits of simavr
 * cured that would falsify a check or slow it down. */
#ifndef CONTROLLER_H
#define CONTROLLER_H

#include <sim_avr.h>
#include <sim_elf.h>
#include <stdbool.h>
#include <stdint.h>

#define CYCLES_PER_SECOND 16000000ULL

/* Which pins of ports B, C and D are driven from outside, and how. */
struct lines {
    uint8_t driven[3], levels[3];
};

/* One that is just supplied, and what was read of its firmware. Ends the process where there is none. */
avr_t *controller_begin(const char *firmware, elf_firmware_t *loaded);
/* Carries out an instruction, or sleeps up to the next timer. A firmware that breaks down ends the process. */
void controller_step(avr_t *avr);
/* Resets it, with the causes that its status register then shows. `controller_after_reset` has to follow. */
void controller_reset(avr_t *avr, uint8_t causes);
/* After a reset, which lets go of the lines: drives them again. */
void controller_after_reset(avr_t *avr, const struct lines *lines);
void controller_drive(avr_t *avr, struct lines *lines, char port, uint8_t pin, bool level);
/* The line of a pin, for those who listen to it. */
avr_irq_t *controller_pin(avr_t *avr, char port, int pin);

#endif
