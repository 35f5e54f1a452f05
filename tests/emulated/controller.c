#include "controller.h"

#include <avr_extint.h>
#include <avr_ioport.h>
#include <avr_uart.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

/* Address of MCUSR in data space, from the chip's data sheet. */
#define MCUSR_ADDRESS 0x54

/* simavr's own would nap in real time. */
static void slept(avr_t *avr, avr_cycle_count_t cycles)
{
    (void)avr, (void)cycles;
}

static void keep_quiet(avr_t *avr, const int level, const char *format, va_list arguments)
{
    (void)avr;
    if (level == LOG_ERROR)
        vfprintf(stderr, format, arguments);
}

avr_t *controller_begin(const char *firmware, elf_firmware_t *loaded)
{
    avr_global_logger_set(keep_quiet);
    avr_t *avr = avr_make_mcu_by_name("atmega328p");
    if (!avr) {
        fprintf(stderr, "this simavr has no ATmega328P\n");
        exit(2);
    }
    *loaded = (elf_firmware_t){ 0 };
    if (elf_read_firmware(firmware, loaded) != 0) {
        fprintf(stderr, "%s cannot be read\n", firmware);
        exit(2);
    }
    avr_init(avr);
    avr->log = LOG_ERROR;
    loaded->frequency = (uint32_t)CYCLES_PER_SECOND;
    avr_load_firmware(avr, loaded);
    avr->frequency = (uint32_t)CYCLES_PER_SECOND;
    avr->vcc = avr->avcc = avr->aref = 5000;
    avr->sleep = slept;
    /* Otherwise a firmware that polls its receiver is put to sleep, and what it says goes to the terminal. */
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    return avr;
}

void controller_step(avr_t *avr)
{
    int state = avr_run(avr);
    if (state == cpu_Done || state == cpu_Crashed) {
        fprintf(stderr, "the firmware broke down at cycle %llu\n", (unsigned long long)avr->cycle);
        exit(1);
    }
}

void controller_reset(avr_t *avr, uint8_t causes)
{
    avr_reset(avr);
    avr->data[MCUSR_ADDRESS] = causes;
}

void controller_after_reset(avr_t *avr, const struct lines *lines)
{
    /* Otherwise a low PD2 or PD3 costs a callback every cycle. */
    avr_extint_set_strict_lvl_trig(avr, 0, 0);
    avr_extint_set_strict_lvl_trig(avr, 1, 0);
    struct lines again = *lines;
    for (char port = 'B'; port <= 'D'; port++)
        for (uint8_t pin = 0; pin < 8; pin++)
            if (lines->driven[port - 'B'] & 1 << pin) {
                /* A reset clears the register, but the line remembers its level and would pass on none that is the same. */
                controller_pin(avr, port, pin)->flags |= IRQ_FLAG_INIT;
                controller_drive(avr, &again, port, pin, lines->levels[port - 'B'] & 1 << pin);
            }
}

/* A write to PORTx wipes a level that is only raised, and one that is only set external is seen at the next write. */
void controller_drive(avr_t *avr, struct lines *lines, char port, uint8_t pin, bool level)
{
    uint8_t bit = (uint8_t)(1 << pin);
    uint8_t *driven = &lines->driven[port - 'B'], *levels = &lines->levels[port - 'B'];
    *driven |= bit;
    *levels = level ? *levels | bit : *levels & (uint8_t)~bit;
    avr_ioport_external_t external = { .name = (unsigned)port & 127, .mask = *driven, .value = *levels };
    avr_ioctl(avr, (uint32_t)AVR_IOCTL_IOPORT_SET_EXTERNAL(port), &external);
    avr_raise_irq(controller_pin(avr, port, pin), level);
}

avr_irq_t *controller_pin(avr_t *avr, char port, int pin)
{
    return avr_io_getirq(avr, (uint32_t)AVR_IOCTL_IOPORT_GETIRQ(port), pin);
}
