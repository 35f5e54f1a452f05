#include "bench_chip.h"

#include <avr_uart.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static avr_cycle_count_t change_lines(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)when;
    struct chip *chip = param;
    size_t done = 0;
    while (done < chip->changes_count && chip->changes[done].at <= avr->cycle) {
        const struct change *change = &chip->changes[done++];
        controller_drive(chip->avr, &chip->lines, change->port, change->pin, change->level);
    }
    chip->changes_count -= done;
    memmove(chip->changes, chip->changes + done, chip->changes_count * sizeof *chip->changes);
    return chip->changes_count ? chip->changes[0].at : 0;
}

static void await(struct chip *chip, avr_cycle_timer_t timer, uint64_t at)
{
    /* It runs on without a look at its timers up to the one that came next at its last look: late for this one, perhaps. */
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
    controller_after_reset(chip->avr, &chip->lines);
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
    controller_reset(chip->avr, causes);
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
    while (chip->avr->cycle < until)
        controller_step(chip->avr);
}

void chip_begin(struct chip *chip, const char *name, const char *firmware, uint32_t cycles_per_byte)
{
    elf_firmware_t loaded;
    avr_t *avr = chip->avr = controller_begin(firmware, &loaded);
    chip->name = name;
    chip->cycles_per_byte = cycles_per_byte;
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), say, chip);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), may_hear, chip);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), may_not_hear, chip);
    connect(chip);
}
