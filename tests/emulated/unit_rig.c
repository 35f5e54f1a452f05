#include "unit_rig.h"
#include "controller.h"

#include <avr_adc.h>
#include <avr_eeprom.h>
#include <avr_uart.h>
#include <sim_interrupts.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

// Numbers of the ATmega328P's vectors, from its data sheet.
enum { TIMER1_COMPA = 11, USART_RX = 18, USART_UDRE = 19 };
enum { BORF = 2 };
enum { LIGHT, STEP, DIR, DISABLE, HOLD };
enum { LEFT_SWITCH = 4, RIGHT_SWITCH = 5, FIRST_CONTROL = 1 };
#define BYTE_CYCLES 1389   // ten bits at 115200 baud; simavr's receiver takes longer and holds the sender up
#define LATCH_CYCLES 800   // 50 µs
#define STEPS_MAX 400000
#define LINE_ROOM 256
#define LINES_MAX 4096

struct rig rig;

static avr_t *avr;
static struct lines driven;
static struct step steps[STEPS_MAX];
static char lines[LINES_MAX][LINE_ROOM];
static uint64_t line_at[LINES_MAX];
static int line_count, line_read, line_length;
static char *to_send;
static int send_count, send_at, send_room;
static bool sender_runs, may_send;
static bool dir_line, step_line, light_line;
static uint64_t dir_at, step_at, light_rose, light_fell;
static uint8_t bits[SEGMENTS * 24 + 1];
static int bit_count;
static uint64_t entered[64];

static bool is_pressed(int beyond)
{
    // Beyond its trigger point a switch is pressed; within a few steps of it it may chatter.
    if (abs(beyond) < rig.bounce_steps)
        return beyond & 1;
    return beyond >= 0;
}

static void place_switches(void)
{
    controller_drive(avr, &driven, 'D', LEFT_SWITCH, is_pressed(-rig.carriage));
    controller_drive(avr, &driven, 'D', RIGHT_SWITCH, is_pressed(rig.carriage - TRAVEL_STEPS));
}

static void on_step(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)param;
    if (!!value == step_line)
        return;
    step_line = value;
    if (!value) {
        uint64_t width = avr->cycle - step_at;
        rig.narrowest_pulse = width < rig.narrowest_pulse ? width : rig.narrowest_pulse;
        return;
    }
    step_at = avr->cycle;
    if (step_at - dir_at < rig.shortest_setup)
        rig.shortest_setup = step_at - dir_at;
    if (rig.step_count < STEPS_MAX)
        steps[rig.step_count++] = (struct step){step_at, dir_line};
    if (!rig.enabled || rig.holding)
        return; // no current, no movement
    rig.carriage += dir_line ? 1 : -1;
    place_switches();
}

static void on_dir(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)param;
    if (!!value == dir_line)
        return;
    dir_line = value;
    dir_at = avr->cycle;
}

static void on_disable(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)param;
    rig.enabled = !value;
}

static void on_hold(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)param;
    rig.holding = value;
}

static avr_cycle_count_t latch(avr_t *of, avr_cycle_count_t when, void *param)
{
    (void)of, (void)when, (void)param;
    if (bit_count != SEGMENTS * 24) {
        rig.bad_frames++;
    } else {
        rig.frames++;
        rig.lit = 0;
        rig.lit_from_first = true;
        rig.colour = 0;
        for (int segment = 0; segment < SEGMENTS; segment++) {
            bool lit = false;
            for (int bit = 0; bit < 24; bit++) {
                lit |= bits[segment * 24 + bit];
                if (segment == 0)
                    rig.colour = rig.colour << 1 | bits[bit];
            }
            rig.lit_from_first &= lit ? rig.lit == segment : true;
            rig.lit += lit;
        }
    }
    bit_count = 0;
    return 0;
}

static void on_light(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)param;
    if (!!value == light_line)
        return;
    light_line = value;
    if (value) {
        light_rose = avr->cycle;
        if (bit_count && light_rose - light_fell > rig.longest_low)
            rig.longest_low = light_rose - light_fell;
        avr_cycle_timer_cancel(avr, latch, NULL);
        return;
    }
    light_fell = avr->cycle;
    // 0.4 µs and 0.8 µs, each with 0.15 µs to either side: 6.4 and 12.8 cycles, 2.4 to either side.
    uint64_t width = light_fell - light_rose;
    bool zero = width >= 4 && width <= 8, one = width >= 11 && width <= 15;
    if (!zero && !one)
        rig.bad_frames++;
    if (bit_count < (int)sizeof bits)
        bits[bit_count++] = one;
    avr_cycle_timer_register(avr, LATCH_CYCLES, latch, NULL);
}

static void on_said(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)param;
    if (line_count == LINES_MAX)
        return;
    char *line = lines[line_count];
    if (value == '\n') {
        line[line_length] = 0;
        line_at[line_count++] = avr->cycle;
        line_length = 0;
    } else if (line_length < LINE_ROOM - 1) {
        line[line_length++] = (char)value;
    }
}

static void on_may_send(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)value;
    may_send = param != NULL;
}

static avr_cycle_count_t send_next(avr_t *of, avr_cycle_count_t when, void *param)
{
    (void)of, (void)param;
    if (send_at == send_count) {
        sender_runs = false;
        return 0;
    }
    if (may_send)
        avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), (uint8_t)to_send[send_at++]);
    return when + BYTE_CYCLES;
}

static void on_convert(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)value, (void)param;
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0), (uint32_t)(rig.pack_mv / 2));
}

static void on_interrupt(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    int vector = (int)(intptr_t)param;
    if (value) {
        entered[vector] = avr->cycle;
        return;
    }
    uint64_t took = avr->cycle - entered[vector];
    if (vector == TIMER1_COMPA) {
        rig.step_interrupts++;
        rig.step_interrupt_sum += took;
        rig.longest_step_interrupt = took > rig.longest_step_interrupt ? took : rig.longest_step_interrupt;
    } else if (took > rig.longest_uart_interrupt) {
        rig.longest_uart_interrupt = took;
    }
}

static void after_reset(void)
{
    for (int control = 0; control < CONTROLS; control++)
        rig_press(control, false);
    place_switches();
    controller_after_reset(avr, &driven);
    line_length = 0;
}

static void wire(void)
{
    avr_irq_register_notify(controller_pin(avr, 'B', STEP), on_step, NULL);
    avr_irq_register_notify(controller_pin(avr, 'B', DIR), on_dir, NULL);
    avr_irq_register_notify(controller_pin(avr, 'B', DISABLE), on_disable, NULL);
    avr_irq_register_notify(controller_pin(avr, 'B', HOLD), on_hold, NULL);
    avr_irq_register_notify(controller_pin(avr, 'B', LIGHT), on_light, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_said, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), on_may_send, &may_send);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), on_may_send, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), on_convert, NULL);
    for (int vector = TIMER1_COMPA; vector <= USART_UDRE; vector++) {
        if (vector == TIMER1_COMPA || vector >= USART_RX)
            avr_irq_register_notify(avr_get_interrupt_irq(avr, vector) + AVR_INT_IRQ_RUNNING, on_interrupt,
                                    (void *)(intptr_t)vector);
    }
}

void rig_power_up(const char *elf, const uint8_t *identity)
{
    if (avr)
        avr_terminate(avr);
    elf_firmware_t firmware;
    avr = controller_begin(elf, &firmware);
    wire();
    if (identity) {
        avr_eeprom_desc_t eeprom = {.ee = (uint8_t *)identity, .offset = 0x10, .size = 0x20};
        avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &eeprom);
    }
    rig = (struct rig){.carriage = rig.carriage, .pack_mv = rig.pack_mv, .lit = -1, .steps = steps,
                       .narrowest_pulse = UINT64_MAX, .shortest_setup = UINT64_MAX};
    line_count = line_read = bit_count = send_count = send_at = 0;
    dir_line = step_line = light_line = sender_runs = false;
    dir_at = light_fell = 0;
    may_send = true;
    after_reset();
}

void rig_brown_out(void)
{
    controller_reset(avr, 1 << BORF);
    sender_runs = false;
    may_send = true;
    send_count = send_at = bit_count = 0;
    after_reset();
}

uint8_t rig_eeprom(int address)
{
    uint8_t byte = 0;
    avr_eeprom_desc_t eeprom = {.ee = &byte, .offset = (uint16_t)address, .size = 1};
    avr_ioctl(avr, AVR_IOCTL_EEPROM_GET, &eeprom);
    return byte;
}

uint64_t rig_now(void)
{
    return avr->cycle;
}

static void run_to(uint64_t end, int until_line)
{
    while (avr->cycle < end && line_count < until_line)
        controller_step(avr);
}

void rig_run(double seconds)
{
    run_to(avr->cycle + (uint64_t)(seconds * CPU_HZ), LINES_MAX + 1);
}

void rig_send(const char *bytes, int count)
{
    if (send_at == send_count)
        send_at = send_count = 0;
    if (send_count + count > send_room) {
        send_room = 2 * (send_count + count);
        to_send = realloc(to_send, (size_t)send_room);
        if (!to_send)
            exit(2);
    }
    memcpy(to_send + send_count, bytes, (size_t)count);
    send_count += count;
    if (!sender_runs) {
        sender_runs = true;
        avr_cycle_timer_register(avr, BYTE_CYCLES, send_next, NULL);
    }
}

void rig_send_out(void)
{
    while (sender_runs)
        rig_run(0.001);
    // The receiver's own queue of 64 bytes.
    rig_run(0.01);
}

void rig_say(const char *line)
{
    rig_send(line, (int)strlen(line));
    rig_send("\n", 1);
}

const char *rig_next(double seconds)
{
    run_to(avr->cycle + (uint64_t)(seconds * CPU_HZ), line_read + 1);
    return line_read < line_count ? lines[line_read++] : NULL;
}

const char *rig_await(const char *beginning, double seconds)
{
    uint64_t end = avr->cycle + (uint64_t)(seconds * CPU_HZ);
    for (;;) {
        run_to(end, line_read + 1);
        if (line_read == line_count)
            return NULL;
        const char *line = lines[line_read++];
        if (!strncmp(line, beginning, strlen(beginning)))
            return line;
    }
}

uint64_t rig_heard_at(void)
{
    return line_read ? line_at[line_read - 1] : 0;
}

void rig_forget(void)
{
    // What is half heard goes on in the first place.
    memmove(lines[0], lines[line_count], LINE_ROOM);
    line_count = line_read = 0;
    rig.step_count = 0;
}

void rig_press(int control, bool down)
{
    controller_drive(avr, &driven, 'C', FIRST_CONTROL + control, !down);
}
