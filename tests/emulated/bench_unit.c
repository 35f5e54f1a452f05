/* The unit on its bench: its driver's lines, its light bar, its supply. */
#include "bench_wires.h"

#include <avr_adc.h>
#include <avr_ioport.h>
#include <string.h>

enum { LIGHT, STEP, DIR, DISABLE, HOLD };
enum { POWER_ON = 1 << 0, BROWN_OUT = 1 << 2 };
#define SEGMENTS 6
#define LATCH_CYCLES 800 /* 50 us */
#define ONE_CYCLES 10    /* a 0 is high for 0.4 us, a 1 for 0.8 us */

struct chip unit;
uint32_t unit_millivolts;

static bool lines[5];
static bool on, next_on;
static uint64_t next_at = UINT64_MAX;
static bool brown_out;
static uint64_t light_rose;
static unsigned bits;
static bool segments[SEGMENTS];

static void tell_light(void)
{
    int lit = 0;
    for (int segment = 0; segment < SEGMENTS; segment++)
        lit += segments[segment];
    mechanics_tell('L', lit, -1, unit.avr->cycle);
}

/* Latches what the bar was sent; a frame of another length shows nothing sensible and is left alone. */
static avr_cycle_count_t latch(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr, (void)when, (void)param;
    if (bits == SEGMENTS * 24)
        tell_light();
    bits = 0;
    memset(segments, 0, sizeof segments);
    return 0;
}

static void light_changed(bool level)
{
    if (level) {
        light_rose = unit.avr->cycle;
        avr_cycle_timer_cancel(unit.avr, latch, NULL);
        return;
    }
    if (bits < SEGMENTS * 24)
        segments[bits / 24] |= unit.avr->cycle - light_rose >= ONE_CYCLES;
    bits++;
    avr_cycle_timer_register(unit.avr, LATCH_CYCLES, latch, NULL);
}

static void line_changed(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    size_t line = (size_t)(intptr_t)param;
    bool level = value & 1;
    if (lines[line] == level)
        return;
    lines[line] = level;
    uint64_t at = unit.avr->cycle;
    switch (line) {
    case LIGHT:
        light_changed(level);
        break;
    case STEP:
        chip_drive(&board, 'B', 0, level, at);
        if (level)
            mechanics_tell('S', -1, -1, at);
        break;
    case DIR:
        chip_drive(&board, 'C', 0, level, at);
        mechanics_tell('D', -1, level, at);
        break;
    case DISABLE:
        mechanics_tell('E', -1, !level, at);
        break;
    case HOLD:
        mechanics_tell('H', -1, level, at);
        break;
    }
}

static void convert(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)value, (void)param;
    avr_raise_irq(avr_io_getirq(unit.avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0), unit_millivolts);
}

void unit_begin(const char *firmware)
{
    /* A byte at 115200 baud. */
    chip_begin(&unit, "unit", firmware, 1389);
    for (intptr_t line = LIGHT; line <= HOLD; line++)
        avr_irq_register_notify(controller_pin(unit.avr, 'B', (int)line), line_changed, (void *)line);
    avr_irq_register_notify(avr_io_getirq(unit.avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), convert, NULL);
    /* A pull-up keeps the driver off until the firmware says otherwise. */
    chip_drive(&unit, 'B', DISABLE, true, 0);
    lines[DISABLE] = true;
}

/* All lines let go: what hangs on them sees it, and the emulation's own memory of them agrees with it. */
static void let_go(uint64_t at)
{
    unit.avr->cycle = at;
    for (int line = LIGHT; line <= HOLD; line++)
        avr_raise_irq(controller_pin(unit.avr, 'B', line), line == DISABLE);
    bits = 0;
    memset(segments, 0, sizeof segments);
    tell_light();
}

static void start(uint8_t causes, uint64_t at)
{
    let_go(at);
    chip_forgets(&unit);
    chip_reset(&unit, at, causes);
}

void unit_supply(bool level, uint64_t at)
{
    next_on = level;
    next_at = at;
}

void unit_brown_out(void)
{
    brown_out = true;
}

void unit_run(uint64_t until)
{
    if (brown_out && on)
        start(BROWN_OUT, unit.avr->cycle);
    brown_out = false;
    if (next_at < until) {
        uint64_t at = next_at;
        next_at = UINT64_MAX;
        if (on)
            chip_run(&unit, at);
        if (next_on && !on)
            start(POWER_ON, at);
        else if (!next_on && on)
            let_go(unit.avr->cycle);
        on = next_on;
    }
    if (on)
        chip_run(&unit, until);
    else
        chip_forgets(&unit);
}
