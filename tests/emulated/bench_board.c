/* The capture board on its bench: its outputs, and the voltages behind its multiplexers. */
#include "bench_wires.h"

#include <avr_adc.h>
#include <avr_ioport.h>

#define OUTPUTS 7
/* Half a step of the converter: the emulated one cuts off where a calibrated one rounds. */
#define HALF_STEP 2
/* The noise of a real input, up and down at most, mV: without it all conversions of a sum would be the same. */
#define NOISE 5

struct chip board;

static const struct {
    char port;
    uint8_t pin;
} outputs[OUTPUTS] = { { 'D', 3 }, { 'D', 4 }, { 'D', 5 }, { 'D', 6 }, { 'D', 7 }, { 'B', 5 }, { 'B', 4 } };
static bool on[OUTPUTS];
static unsigned selected;
static uint32_t millivolts[2][8];
static uint32_t chance = 1;

static void output_changed(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    size_t output = (size_t)(intptr_t)param;
    bool level = value & 1;
    if (on[output] == level)
        return;
    on[output] = level;
    mechanics_tell('O', (int)output, level, board.avr->cycle);
    if (output == 0)
        unit_supply(level, board.avr->cycle + SLICE);
}

static void select_changed(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    unsigned bit = 1u << (intptr_t)param;
    selected = value & 1 ? selected | bit : selected & ~bit;
}

/* The sum of two even ones: a triangle. */
static int noise(void)
{
    chance = chance * 1664525u + 1013904223u;
    return (int)((chance >> 16) % (NOISE + 1)) + (int)((chance >> 24) % (NOISE + 1)) - NOISE;
}

static void convert(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)value, (void)param;
    for (int multiplexer = 0; multiplexer < 2; multiplexer++) {
        int seen = (int)millivolts[multiplexer][selected] + HALF_STEP + noise();
        avr_raise_irq(avr_io_getirq(board.avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC6 + multiplexer),
                      seen > 0 ? (uint32_t)seen : 0);
    }
}

void board_voltage(unsigned multiplexer, unsigned input, uint32_t voltage)
{
    millivolts[multiplexer & 1][input & 7] = voltage;
}

void board_begin(const char *firmware)
{
    /* A byte at 1 Mbaud lasts 160 cycles; this emulator's lasts eleven bits, and its receiver's queue runs over before. */
    chip_begin(&board, "capture board", firmware, 176);
    for (intptr_t output = 0; output < OUTPUTS; output++)
        avr_irq_register_notify(controller_pin(board.avr, outputs[output].port, outputs[output].pin), output_changed,
                                (void *)output);
    for (intptr_t bit = 0; bit < 3; bit++)
        avr_irq_register_notify(controller_pin(board.avr, 'B', 1 + (int)bit), select_changed, (void *)bit);
    avr_irq_register_notify(avr_io_getirq(board.avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), convert, NULL);
    board_voltage(0, 5, 2500);
}
