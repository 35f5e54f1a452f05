#include "bench_chip.h"

#include <avr_extint.h>
#include <avr_ioport.h>
#include <avr_uart.h>
#include <sim_elf.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Address of MCUSR in data space, from the chip's data sheet. */
#define MCUSR_ADDRESS 0x54

avr_irq_t *chip_pin(struct chip *chip, char port, int pin)
{
    return avr_io_getirq(chip->avr, (uint32_t)AVR_IOCTL_IOPORT_GETIRQ(port), pin);
}

/* A write to PORTx wipes a level that is only raised, and one that is only set external is seen at the next write. */
static void put_pin(struct chip *chip, char port, uint8_t pin, bool level)
{
    uint8_t bit = (uint8_t)(1 << pin);
    uint8_t *driven = &chip->driven[port - 'B'], *levels = &chip->levels[port - 'B'];
    *driven |= bit;
    *levels = level ? *levels | bit : *levels & (uint8_t)~bit;
    avr_ioport_external_t external = { .name = (unsigned)port & 127, .mask = *driven, .value = *levels };
    avr_ioctl(chip->avr, (uint32_t)AVR_IOCTL_IOPORT_SET_EXTERNAL(port), &external);
    avr_raise_irq(chip_pin(chip, port, pin), level);
}

static avr_cycle_count_t change_lines(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)when;
    struct chip *chip = param;
    size_t done = 0;
    while (done < chip->changes_count && chip->changes[done].at <= avr->cycle) {
        const struct change *change = &chip->changes[done++];
        put_pin(chip, change->port, change->pin, change->level);
    }
    chip->changes_count -= done;
    memmove(chip->changes, chip->changes + done, chip->changes_count * sizeof *chip->changes);
    return chip->changes_count ? chip->changes[0].at : 0;
}

static void await(struct chip *chip, avr_cycle_timer_t timer, uint64_t at)
{
    /* It runs on without a look at its timers up to the one that was next when it last looked: that may be late for this one. */
    chip->avr->run_cycle_count = 1;
    avr_cycle_timer_cancel(chip->avr, timer, chip);
    avr_cycle_timer_register(chip->avr, at > chip->avr->cycle ? at - chip->avr->cycle : 0, timer, chip);
}

void chip_drive(struct chip *chip, char port, uint8_t pin, bool level, uint64_t at)
{
    if (chip->changes_count == CHANGES) {
        fprintf(stderr, "%s: too many changes of its lines at once\n", chip->name);
        exit(2);
    }
    size_t place = chip->changes_count++;
    for (; place > 0 && chip->changes[place - 1].at > at; place--)
        chip->changes[place] = chip->changes[place - 1];
    chip->changes[place] = (struct change){ at, port, pin, level };
    if (place == 0)
        await(chip, change_lines, at);
}

static avr_cycle_count_t hear_next(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)when;
    struct chip *chip = param;
    if (chip->arrivals_head == chip->arrivals_tail) {
        chip->hearing = false;
        return 0;
    }
    const struct arrival *arrival = &chip->arrivals[chip->arrivals_tail];
    if (arrival->at > avr->cycle)
        return arrival->at;
    if (chip->may_hear) {
        avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), arrival->byte);
        chip->heard_at = avr->cycle;
        chip->arrivals_tail = (chip->arrivals_tail + 1) % ARRIVALS;
    }
    return avr->cycle + chip->cycles_per_byte;
}

static void listen(struct chip *chip)
{
    if (chip->hearing || chip->arrivals_head == chip->arrivals_tail)
        return;
    chip->hearing = true;
    await(chip, hear_next, chip->arrivals[chip->arrivals_tail].at + chip->cycles_per_byte);
}

/* A serial line waits for nobody: what finds no room is gone. */
void chip_hears(struct chip *chip, uint8_t byte, uint64_t at)
{
    size_t next = (chip->arrivals_head + 1) % ARRIVALS;
    if (next == chip->arrivals_tail)
        return;
    chip->arrivals[chip->arrivals_head] = (struct arrival){ at, byte };
    chip->arrivals_head = next;
    listen(chip);
}

void chip_forgets(struct chip *chip)
{
    chip->arrivals_tail = chip->arrivals_head;
}

static void may_hear(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)value;
    ((struct chip *)param)->may_hear = true;
}

static void may_not_hear(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)value;
    ((struct chip *)param)->may_hear = false;
}

static void say(avr_irq_t *irq, uint32_t byte, void *param)
{
    (void)irq;
    struct chip *chip = param;
    if (chip->said_count < SAID)
        chip->said[chip->said_count++] = (uint8_t)byte;
}

/* After a reset. */
static void connect(struct chip *chip)
{
    /* Otherwise a low PD2 or PD3 costs a callback every cycle. */
    avr_extint_set_strict_lvl_trig(chip->avr, 0, 0);
    avr_extint_set_strict_lvl_trig(chip->avr, 1, 0);
    for (int port = 0; port < 3; port++)
        for (uint8_t pin = 0; pin < 8; pin++)
            if (chip->driven[port] & 1 << pin) {
                /* A reset clears the register, but the line remembers its level and passes on none that is the same. */
                bool level = chip->levels[port] & 1 << pin;
                put_pin(chip, (char)('B' + port), pin, !level);
                put_pin(chip, (char)('B' + port), pin, level);
            }
    if (chip->changes_count)
        await(chip, change_lines, chip->changes[0].at);
    chip->may_hear = true;
    chip->hearing = false;
    listen(chip);
}

void chip_reset(struct chip *chip, uint64_t at, uint8_t causes)
{
    /* A reset stops all timers of the emulation, so that its cycles can be set. */
    chip->avr->cycle = at;
    avr_reset(chip->avr);
    chip->avr->data[MCUSR_ADDRESS] = causes;
    connect(chip);
}

/* Nothing to do: keeps a sleeping chip from sleeping on beyond the end of a run, into which others have yet to act. */
static avr_cycle_count_t wake(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)when, (void)param;
    return avr->cycle + 1;
}

void chip_run(struct chip *chip, uint64_t until)
{
    if (chip->avr->cycle >= until)
        return;
    await(chip, wake, until);
    while (chip->avr->cycle < until) {
        int state = avr_run(chip->avr);
        if (state == cpu_Done || state == cpu_Crashed) {
            fprintf(stderr, "%s stopped at cycle %llu\n", chip->name, (unsigned long long)chip->avr->cycle);
            exit(2);
        }
    }
}

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

void chip_begin(struct chip *chip, const char *name, const char *firmware, uint32_t cycles_per_byte)
{
    elf_firmware_t loaded = { 0 };
    avr_global_logger_set(keep_quiet);
    avr_t *avr = avr_make_mcu_by_name("atmega328p");
    if (!avr || elf_read_firmware(firmware, &loaded) != 0) {
        fprintf(stderr, "%s\n", avr ? "a firmware cannot be read" : "this simavr has no ATmega328P");
        exit(2);
    }
    avr_init(avr);
    avr->log = LOG_ERROR;
    loaded.frequency = (uint32_t)CYCLES_PER_SECOND;
    avr_load_firmware(avr, &loaded);
    avr->frequency = (uint32_t)CYCLES_PER_SECOND;
    avr->vcc = avr->avcc = avr->aref = 5000;
    avr->sleep = slept;
    chip->avr = avr;
    chip->name = name;
    chip->cycles_per_byte = cycles_per_byte;
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), say, chip);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), may_hear, chip);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), may_not_hear, chip);
    connect(chip);
}
