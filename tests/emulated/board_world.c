#include "board_world.h"

#include <avr_adc.h>
#include <sim_interrupts.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct world world;

#define STEP_PULSE (3 * 16)

static const struct {
    char port;
    uint8_t pin;
} inputs[CHANNELS] = { { 'B', 0 }, { 'C', 0 }, { 'C', 1 }, { 'C', 2 }, { 'C', 3 }, { 'C', 4 }, { 'C', 5 }, { 'D', 2 } },
  outputs[OUTPUTS] = { { 'D', 3 }, { 'D', 4 }, { 'D', 5 }, { 'D', 6 }, { 'D', 7 }, { 'B', 5 }, { 'B', 4 } };

/* Edges that come by themselves. */
static struct train {
    uint64_t cycles, scatter, due;
} steps, encoder;
static struct lines lines;
static uint32_t chance = 1;
static uint8_t quadrature;
static unsigned variables_end;

static uint64_t scattered(uint64_t cycles, uint64_t scatter)
{
    chance = chance * 1664525u + 1013904223u;
    return scatter ? cycles - scatter + (chance >> 8) % (2 * scatter + 1) : cycles;
}

void *world_grown(void *all, size_t count, size_t *room, size_t size)
{
    if (count < *room)
        return all;
    *room = *room ? 2 * *room : 1024;
    all = realloc(all, *room * size);
    if (!all)
        exit(2);
    return all;
}

void world_note(struct edges *edges, uint64_t at, uint8_t level)
{
    edges->all = world_grown(edges->all, edges->count, &edges->room, sizeof *edges->all);
    edges->all[edges->count++] = (struct edge){ at, world.avr->cycle, level };
}

static void put_pin(enum channel channel, uint8_t level)
{
    controller_drive(world.avr, &lines, inputs[channel].port, inputs[channel].pin, level);
}

void world_drive(enum channel channel, uint8_t level)
{
    if (world.levels[channel] == level)
        return;
    world.levels[channel] = level;
    if (channel != STEP || level)
        world_note(&world.driven[channel], world.avr->cycle, level);
    put_pin(channel, level);
}

static avr_cycle_count_t next_due(struct train *train)
{
    train->due += scattered(train->cycles, train->scatter);
    return train->due > world.avr->cycle ? train->due : world.avr->cycle + 1;
}

static avr_cycle_count_t step(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)when, (void)param;
    if (world.levels[STEP]) {
        world_drive(STEP, 0);
        return steps.cycles ? next_due(&steps) : 0;
    }
    if (!steps.cycles)
        return 0;
    world_drive(STEP, 1);
    return avr->cycle + STEP_PULSE;
}

static void begin_train(struct train *train, avr_cycle_timer_t timer, uint64_t cycles, uint64_t scatter)
{
    *train = (struct train){ cycles, scatter, world.avr->cycle + cycles };
    if (cycles) {
        avr_cycle_timer_cancel(world.avr, timer, NULL);
        avr_cycle_timer_register(world.avr, cycles, timer, NULL);
    }
}

void world_steps(uint64_t cycles, uint64_t scatter)
{
    if (cycles)
        world_drive(STEP, 0);
    begin_train(&steps, step, cycles, scatter);
}

static avr_cycle_count_t encode(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr, (void)when, (void)param;
    if (!encoder.cycles)
        return 0;
    quadrature = (quadrature + 1) & 3;
    enum channel track = quadrature & 1 ? ENCODER_A : ENCODER_B;
    world_drive(track, !world.levels[track]);
    return next_due(&encoder);
}

void world_encoder(uint64_t cycles, uint64_t scatter)
{
    begin_train(&encoder, encode, cycles, scatter);
}

static void output_changed(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    size_t output = (size_t)(intptr_t)param;
    if (world.on[output] != !!value) {
        world.on[output] = !!value;
        world.switched_at[output] = world.avr->cycle;
    }
}

static unsigned selected;

static void put_voltages(void)
{
    for (int multiplexer = 0; multiplexer < 2; multiplexer++)
        avr_raise_irq(avr_io_getirq(world.avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC6 + multiplexer),
                      world.millivolts[multiplexer][selected]);
}

static void select_changed(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    unsigned bit = 1u << (intptr_t)param;
    selected = value ? selected | bit : selected & ~bit;
    put_voltages();
}

void world_voltage(int multiplexer, int input, uint32_t millivolts)
{
    world.millivolts[multiplexer][input] = millivolts;
    put_voltages();
}

static void interrupt_ran(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    static uint64_t begun[VECTORS];
    size_t vector = (size_t)(intptr_t)param;
    if (value) {
        begun[vector] = world.avr->cycle;
        return;
    }
    uint64_t cycles = world.avr->cycle - begun[vector];
    if (begun[vector] && cycles > world.longest[vector])
        world.longest[vector] = cycles;
}

static void slept(avr_t *avr, avr_cycle_count_t cycles)
{
    (void)avr;
    world.asleep += cycles + 1;
}

void world_run(uint64_t cycles)
{
    uint64_t until = world.avr->cycle + cycles;
    while (world.avr->cycle < until)
        controller_step(world.avr);
}

/* Nobody writes this by chance all over the stack. */
#define UNTOUCHED 0xA5

unsigned world_stack_left(void)
{
    unsigned left = 0;
    while (world.avr->data[variables_end + left] == UNTOUCHED)
        left++;
    return left;
}

unsigned world_stack_used(void)
{
    return world.avr->ramend + 1u - variables_end - world_stack_left();
}

void world_after_reset(void)
{
    controller_after_reset(world.avr, &lines);
}

void world_forget(void)
{
    for (int channel = 0; channel < CHANNELS; channel++)
        world.driven[channel].count = world.told[channel].count = 0;
    for (int channel = 0; channel < SAMPLE_CHANNELS; channel++)
        world.samples[channel].count = 0;
    world.frames_count = 0;
    world.broken = world.gaps = world.backwards = world.overruns = 0;
    world.lost = world.bytes = world.asleep = 0;
}

void world_begin(const char *firmware)
{
    elf_firmware_t loaded;
    avr_t *avr = world.avr = controller_begin(firmware, &loaded);
    avr->sleep = slept;
    variables_end = 0x100 + loaded.datasize + loaded.bsssize;
    memset(avr->data + variables_end, UNTOUCHED, avr->ramend + 1u - variables_end);
    world_link_begin();
    for (intptr_t output = 0; output < OUTPUTS; output++)
        avr_irq_register_notify(controller_pin(avr, outputs[output].port, outputs[output].pin), output_changed,
                                (void *)output);
    for (intptr_t vector = 1; vector < VECTORS; vector++)
        avr_irq_register_notify(avr_get_interrupt_irq(avr, (uint8_t)vector) + AVR_INT_IRQ_RUNNING, interrupt_ran,
                                (void *)vector);
    for (intptr_t bit = 0; bit < 3; bit++)
        avr_irq_register_notify(controller_pin(avr, 'B', 1 + (int)bit), select_changed, (void *)bit);
    for (int channel = 0; channel < CHANNELS; channel++)
        put_pin((enum channel)channel, world.levels[channel]);
    world_after_reset();
}
