/* The link of the emulated board: what it says is taken apart, what it is told goes in at the link's rate. */
#include "board_world.h"

#include <avr_uart.h>

/* A byte at 1 Mbaud 8N1 lasts 160 cycles; this simulator's lasts eleven bits both ways, and its receiver's queue runs over
 * when bytes come faster. */
#define CYCLES_PER_BYTE 176

static uint8_t queue[1 << 16];
static size_t queue_head, queue_tail;
static uint8_t heard[1024];
static size_t heard_count;
static uint16_t say_sequence, hear_sequence;
static bool hear_started;
static uint64_t last_edge_tick, unrolled;
static bool beating;
static uint16_t beat_number;

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
        world_note(&world.told[number >> 1 & 7], at, number & 1);
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
        samples->all = world_grown(samples->all, samples->count, &samples->room, sizeof *samples->all);
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
    world.frames = world_grown(world.frames, world.frames_count, &world.frames_room, sizeof *world.frames);
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

void world_link_begin(void)
{
    avr_irq_t *said = avr_io_getirq(world.avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT);
    avr_irq_register_notify(said, hear_byte, NULL);
}
