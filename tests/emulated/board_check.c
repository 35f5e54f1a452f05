/* Runs the capture board's firmware on an emulated ATmega328P and checks it from outside, by its pins and its link.
 *
 *     board_check FIRMWARE.elf
 *
 * Exit status 0: all right. 1: something was not. 2: the firmware could not be run. */
#include "board_checks.h"

#include <stdarg.h>
#include <stdio.h>

static unsigned wrong;
static uint8_t request;
/* Ticks times eight less cycles. A stamp is whole ticks, cut off, so that the largest difference seen is the true one. */
static double clock_offset;

static void say(const char *mark, const char *format, va_list arguments)
{
    printf("%-6s ", mark);
    vprintf(format, arguments);
    putchar('\n');
    fflush(stdout);
}

void check(bool right, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    say(right ? "ok" : "WRONG", format, arguments);
    va_end(arguments);
    wrong += !right;
}

void figure(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    say("", format, arguments);
    va_end(arguments);
}

void fresh_start(void)
{
    world_heart(false);
    world_run(MS(20));
    world_hello(1);
    world_run(MS(20));
    world_say(START, NULL, 0);
    world_heart(true);
    world_run(MS(10));
    world_forget();
}

bool settle(void)
{
    request = request == 255 ? 1 : request + 1;
    world_say(SETTLE, &request, 1);
    for (int ms = 0; ms < 100; ms++) {
        world_run(MS(1));
        const struct frame *settled = world_last(SETTLED);
        if (settled && settled->payload[0] == request)
            return true;
    }
    return false;
}

bool drive(uint8_t output, bool on)
{
    request = request == 255 ? 1 : request + 1;
    world_say(DRIVE, (const uint8_t[]){ request, output, on }, 3);
    world_run(MS(5));
    for (size_t i = 0; i < world.frames_count; i++) {
        const struct frame *frame = &world.frames[i];
        if (frame->type == SWITCHED && frame->payload[0] == request)
            return frame->payload[1] == output && frame->payload[2] == on && world.on[output] == on
                && cycles_behind(wire_u32(frame->payload + 3), world.switched_at[output]) <= 24
                && cycles_behind(wire_u32(frame->payload + 3), world.switched_at[output]) >= -80;
    }
    return false;
}

bool link_clean(void)
{
    const struct frame *beat = world_last(BEAT);
    return !world.broken && !world.gaps && !world.backwards && !world.overruns
        && (!beat || wire_u16(beat->payload + 6) == 0);
}

bool all_told(enum channel channel)
{
    const struct edges *driven = &world.driven[channel], *told = &world.told[channel];
    bool same = driven->count == told->count;
    for (size_t i = 0; same && i < told->count; i++)
        same = driven->all[i].level == told->all[i].level;
    return same;
}

double cycles_behind(uint32_t tick, uint64_t cycle)
{
    double expected = ((double)cycle + clock_offset) / 8;
    uint64_t whole = (uint64_t)expected;
    return 8 * ((double)(int32_t)(tick - (uint32_t)whole) - (expected - (double)whole));
}

bool learn_clock(void)
{
    const struct edges *driven = &world.driven[STEP], *told = &world.told[STEP];
    if (driven->count == 0 || driven->count != told->count)
        return false;
    int64_t least = INT64_MAX, most = INT64_MIN;
    for (size_t i = 0; i < told->count; i++) {
        int64_t offset = (int64_t)(told->all[i].at * 8 - driven->all[i].at);
        least = offset < least ? offset : least;
        most = offset > most ? offset : most;
    }
    clock_offset = (double)most;
    figure("stamps of %zu steps agree within %lld cycles (one tick: 8)", told->count, (long long)(most - least));
    return most - least < 8;
}

int main(int count, char **arguments)
{
    if (count != 2) {
        fprintf(stderr, "usage: board_check FIRMWARE.elf\n");
        return 2;
    }
    world.millivolts[0][0] = 3700;
    world.millivolts[0][1] = 300;
    world.millivolts[0][2] = 750;
    world.millivolts[0][3] = 720;
    world.millivolts[0][4] = 700;
    world.millivolts[0][5] = 2500;
    for (int light = 0; light < 6; light++)
        world.millivolts[1][light] = 400 + 700 * (uint32_t)light;
    world_begin(arguments[1]);
    world_drive(EMERGENCY_STOP, 1);
    world_drive(GUARD, 1);
    world_run(MS(100));
    check_talk();
    check_stamps();
    check_levels();
    check_samples();
    check_outputs();
    check_stops();
    check_rates();
    check_hung();
    check(world_stack_left() > 64, "stack: %u bytes used at most, %u never", world_stack_used(), world_stack_left());
    printf("capture board firmware on simavr: %s\n", wrong ? "WRONG" : "all right");
    return wrong ? 1 : 0;
}
