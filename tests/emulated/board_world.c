#include "board_world.h"

#include <avr_adc.h>
#include <avr_extint.h>
#include <avr_ioport.h>
#include <avr_uart.h>
#include <sim_elf.h>
#include <sim_interrupts.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct world world;

/* A byte at 1 Mbaud 8N1 lasts 160 cycles; this simulator's lasts eleven bits both ways, and its receiver's queue runs over
 * when bytes come faster. */
#define CYCLES_PER_BYTE 176
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
static uint32_t chance = 1;
static uint8_t quadrature;
static uint8_t queue[1 << 16];
static size_t queue_head, queue_tail;
static uint8_t heard[1024];
static size_t heard_count;
static uint16_t say_sequence, hear_sequence;
static bool hear_started;
static uint64_t last_edge_tick, unrolled;
static bool beating;
static uint16_t beat_number;

static uint64_t scattered(uint64_t cycles, uint64_t scatter)
{
    chance = chance * 1664525u + 1013904223u;
    return scatter ? cycles - scatter + (chance >> 8) % (2 * scatter + 1) : cycles;
}

static void *grown(void *all, size_t count, size_t *room, size_t size)
{
    if (count < *room)
        return all;
    *room = *room ? 2 * *room : 1024;
    all = realloc(all, *room * size);
    if (!all)
        exit(2);
    return all;
}

static void note_edge(struct edges *edges, uint64_t at, uint8_t level)
{
    edges->all = grown(edges->all, edges->count, &edges->room, sizeof *edges->all);
    edges->all[edges->count++] = (struct edge){ at, world.avr->cycle, level };
}

static void put_pin(enum channel channel, uint8_t level)
{
    char port = inputs[channel].port;
    uint8_t bit = (uint8_t)(1 << inputs[channel].pin);
    static uint8_t held[3];
    uint8_t *mine = &held[port - 'B'];
    *mine = level ? *mine | bit : *mine & (uint8_t)~bit;
    uint8_t mask = 0;
    for (int other = 0; other < CHANNELS; other++)
        if (inputs[other].port == port)
            mask |= (uint8_t)(1 << inputs[other].pin);
    avr_ioport_external_t external = { .name = (unsigned)port & 127, .mask = mask, .value = *mine };
    avr_ioctl(world.avr, (uint32_t)AVR_IOCTL_IOPORT_SET_EXTERNAL(port), &external);
    avr_raise_irq(avr_io_getirq(world.avr, (uint32_t)AVR_IOCTL_IOPORT_GETIRQ(port), inputs[channel].pin), level);
}

void world_drive(enum channel channel, uint8_t level)
{
    if (world.levels[channel] == level)
        return;
    world.levels[channel] = level;
    if (channel != STEP || level)
        note_edge(&world.driven[channel], world.avr->cycle, level);
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

static uint64_t unroll(uint32_t tick)
{
    unrolled += (uint64_t)(int64_t)(int32_t)(tick - (uint32_t)unrolled);
    return unrolled;
}

static void hear_edges(const struct frame *frame)
{
    uint64_t at = unroll(wire_u32(frame->payload));
    for (size_t i = 4; i < frame->length;) {
        uint32_t number;
        if (!wire_number(frame->payload, frame->length, &i, &number)) {
            world.broken++;
            return;
        }
        at += number >> 4;
        world.backwards += at < last_edge_tick;
        last_edge_tick = at;
        note_edge(&world.told[number >> 1 & 7], at, number & 1);
    }
}

static void hear_samples(const struct frame *frame)
{
    uint64_t at = unroll(wire_u32(frame->payload));
    for (size_t i = 4; i < frame->length;) {
        uint32_t number, code;
        if (!wire_number(frame->payload, frame->length, &i, &number)
            || !wire_number(frame->payload, frame->length, &i, &code) || (number & 31) >= SAMPLE_CHANNELS) {
            world.broken++;
            return;
        }
        at += number >> 5;
        struct samples *samples = &world.samples[number & 31];
        samples->all = grown(samples->all, samples->count, &samples->room, sizeof *samples->all);
        samples->all[samples->count++] = (struct sample){ at, (int32_t)(code >> 1) ^ -(int32_t)(code & 1) };
    }
}

static void hear_frame(const struct frame *frame)
{
    if (frame->type == IDENTITY || (frame->type == REFUSED && frame->sequence == 0))
        hear_sequence = frame->sequence;
    world.gaps += frame->sequence != hear_sequence;
    hear_sequence = frame->sequence + 1;
    switch (frame->type) {
    case EDGES:
        hear_edges(frame);
        return;
    case SAMPLES:
        hear_samples(frame);
        return;
    case STARTED:
        unrolled = last_edge_tick = wire_u32(frame->payload);
        break;
    case OVERRUN:
        world.overruns++;
        world.lost += wire_u16(frame->payload + 4);
        break;
    }
    world.frames = grown(world.frames, world.frames_count, &world.frames_room, sizeof *world.frames);
    world.frames[world.frames_count++] = *frame;
}

static void hear_byte(avr_irq_t *irq, uint32_t byte, void *param)
{
    (void)irq, (void)param;
    world.bytes++;
    if (byte) {
        if (heard_count < sizeof heard)
            heard[heard_count++] = (uint8_t)byte;
        return;
    }
    struct frame frame;
    if (heard_count && wire_read(heard, heard_count, &frame)) {
        hear_started = true;
        hear_frame(&frame);
    } else if (heard_count && hear_started) {
        world.broken++;
    }
    heard_count = 0;
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

static avr_cycle_count_t send_byte(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)param;
    if (queue_tail == queue_head)
        return 0;
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), queue[queue_tail]);
    queue_tail = (queue_tail + 1) % sizeof queue;
    world.said_at = avr->cycle;
    return when + CYCLES_PER_BYTE;
}

void world_send(const uint8_t *bytes, size_t length)
{
    bool idle = queue_head == queue_tail;
    for (size_t i = 0; i < length; i++) {
        queue[queue_head] = bytes[i];
        queue_head = (queue_head + 1) % sizeof queue;
    }
    if (idle)
        avr_cycle_timer_register(world.avr, CYCLES_PER_BYTE, send_byte, NULL);
}

void world_say(uint8_t type, const uint8_t *payload, size_t length)
{
    uint8_t bytes[300];
    world_send(bytes, wire_write(bytes, type, say_sequence++, payload, length));
}

void world_skip(void)
{
    say_sequence++;
}

void world_hello(uint8_t version)
{
    say_sequence = 0;
    world_send((const uint8_t[]){ 0 }, 1);
    world_say(HELLO, &version, 1);
}

static avr_cycle_count_t beat(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr, (void)param;
    if (!beating)
        return 0;
    world_say(HEARTBEAT, (const uint8_t[]){ (uint8_t)beat_number, (uint8_t)(beat_number >> 8) }, 2);
    beat_number++;
    return when + MS(50);
}

void world_heart(bool on)
{
    avr_cycle_timer_cancel(world.avr, beat, NULL);
    beating = on;
    beat_number = 0;
    if (on)
        avr_cycle_timer_register(world.avr, 1, beat, NULL);
}

void world_run(uint64_t cycles)
{
    uint64_t until = world.avr->cycle + cycles;
    while (world.avr->cycle < until) {
        int state = avr_run(world.avr);
        if (state == cpu_Done || state == cpu_Crashed) {
            fprintf(stderr, "the emulated controller stopped\n");
            exit(2);
        }
        uint16_t stack = (uint16_t)(world.avr->data[R_SPL] | world.avr->data[R_SPH] << 8);
        if (stack < world.stack)
            world.stack = stack;
    }
}

void world_after_reset(void)
{
    avr_extint_set_strict_lvl_trig(world.avr, 0, 0);
    avr_extint_set_strict_lvl_trig(world.avr, 1, 0);
    for (int channel = 0; channel < CHANNELS; channel++)
        put_pin((enum channel)channel, world.levels[channel]);
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

const struct frame *world_last(uint8_t type)
{
    for (size_t i = world.frames_count; i-- > 0;)
        if (world.frames[i].type == type)
            return &world.frames[i];
    return NULL;
}

size_t world_count(uint8_t type)
{
    size_t count = 0;
    for (size_t i = 0; i < world.frames_count; i++)
        count += world.frames[i].type == type;
    return count;
}

void world_begin(const char *firmware)
{
    elf_firmware_t loaded = { 0 };
    if (elf_read_firmware(firmware, &loaded) != 0) {
        fprintf(stderr, "cannot read %s\n", firmware);
        exit(2);
    }
    avr_t *avr = world.avr = avr_make_mcu_by_name("atmega328p");
    if (!avr) {
        fprintf(stderr, "this simavr has no ATmega328P\n");
        exit(2);
    }
    avr_init(avr);
    avr->log = LOG_ERROR;
    loaded.frequency = (uint32_t)CYCLES_PER_SECOND;
    avr_load_firmware(avr, &loaded);
    avr->frequency = (uint32_t)CYCLES_PER_SECOND;
    avr->vcc = avr->avcc = avr->aref = 5000;
    avr->sleep = slept;
    world.stack = UINT16_MAX;
    world.variables = (uint16_t)(0x100 + loaded.datasize + loaded.bsssize);
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= ~(uint32_t)(AVR_UART_FLAG_POLL_SLEEP | AVR_UART_FLAG_STDIO);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), hear_byte, NULL);
    for (intptr_t output = 0; output < OUTPUTS; output++)
        avr_irq_register_notify(
            avr_io_getirq(avr, (uint32_t)AVR_IOCTL_IOPORT_GETIRQ(outputs[output].port), outputs[output].pin),
            output_changed, (void *)output);
    for (intptr_t vector = 1; vector < VECTORS; vector++)
        avr_irq_register_notify(avr_get_interrupt_irq(avr, (uint8_t)vector) + AVR_INT_IRQ_RUNNING, interrupt_ran,
                                (void *)vector);
    for (intptr_t bit = 0; bit < 3; bit++)
        avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 1 + (int)bit), select_changed,
                                (void *)bit);
    world_after_reset();
}
