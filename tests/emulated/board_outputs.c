/* Outputs: driven, made safe, dropped by the watchdog, by the board's own stops, by a reset. */
#include "board_checks.h"

/* The drop of an output that the board told by itself; NULL when there is none. */
static const struct frame *drop(uint8_t output)
{
    for (size_t i = 0; i < world.frames_count; i++) {
        const struct frame *frame = &world.frames[i];
        if (frame->type == SWITCHED && frame->payload[0] == 0 && frame->payload[1] == output && frame->payload[2] == 0)
            return frame;
    }
    return NULL;
}

static bool drop_told(uint8_t output)
{
    const struct frame *frame = drop(output);
    if (!frame)
        return false;
    double behind = cycles_behind(wire_u32(frame->payload + 3), world.switched_at[output]);
    return behind > -160 && behind < 160;
}

static unsigned outputs_on(void)
{
    unsigned count = 0;
    for (int output = 0; output < OUTPUTS; output++)
        count += world.on[output];
    return count;
}

static bool all_on(void)
{
    bool told = true;
    for (uint8_t output = 0; output < OUTPUTS; output++)
        told &= drive(output, true);
    return told && outputs_on() == OUTPUTS;
}

void check_outputs(void)
{
    fresh_start();
    for (uint8_t output = 0; output < OUTPUTS; output++) {
        bool on = drive(output, true) && outputs_on() == 1;
        bool off = drive(output, false) && outputs_on() == 0;
        check(on && off, "output %u goes on and off alone, told with the tick at which it did", output);
    }
    check(all_on(), "all outputs go on");
    world_forget();
    world_say(SAFE, (const uint8_t[]){ 200 }, 1);
    world_run(MS(20));
    const struct frame *settled = world_last(SETTLED);
    check(outputs_on() == 0 && world_count(SWITCHED) == OUTPUTS && settled && settled->payload[0] == 200
              && !drop(UNIT_SUPPLY),
          "safe puts all off, tells each under its own request, and settles");
    check(all_on(), "all outputs go on again");
    world_hello(1);
    world_run(MS(5));
    check(outputs_on() == 0, "hello puts all off");

    fresh_start();
    all_on();
    world_run(CYCLES_PER_SECOND);
    check(outputs_on() == OUTPUTS, "while the heart beats, outputs stay");
    world_run(MS(10));
    world_heart(false);
    world_forget();
    uint64_t last = world.said_at;
    world_run(MS(400));
    bool in_time = true, told = true;
    double first = 1e9, latest = 0;
    for (int output = 0; output < OUTPUTS; output++) {
        double ms = (double)(world.switched_at[output] - last) / MS(1);
        first = ms < first ? ms : first;
        latest = ms > latest ? ms : latest;
        in_time &= !world.on[output] && ms > 249.9 && ms < 252;
        told &= drop_told((uint8_t)output);
    }
    check(in_time, "without heartbeats all outputs drop: after %.2f to %.2f ms", first, latest);
    check(told && link_clean(), "and the board tells each, by itself, with the tick");
    drive(UNIT_SUPPLY, true);
    world_run(MS(5));
    check(!world.on[UNIT_SUPPLY], "what is driven during the silence does not stay on");
}

/* Steps at 1 kHz till the supply drops, 1 s at most; how many went into the board till then. */
static size_t steps_till_drop(void)
{
    world_forget();
    world_steps(16000, 0);
    for (int ms = 0; ms < 1000 && world.on[UNIT_SUPPLY]; ms++)
        world_run(MS(1));
    world_steps(0, 0);
    size_t count = 0;
    for (size_t i = 0; i < world.driven[STEP].count; i++)
        count += world.on[UNIT_SUPPLY] || world.driven[STEP].all[i].at <= world.switched_at[UNIT_SUPPLY];
    world_run(MS(10));
    return count;
}

static void check_overtravel(enum channel end, uint8_t direction, const char *name)
{
    fresh_start();
    world_drive(DIRECTION, direction);
    drive(UNIT_SUPPLY, true);
    drive(DUMMY_LOAD, true);
    steps_till_drop();
    check(world.on[UNIT_SUPPLY], "steps towards the %s end alone drop nothing", name);
    world_drive(end, 1);
    size_t steps = steps_till_drop();
    check(!world.on[UNIT_SUPPLY] && steps == 641, "beyond its pressed switch the supply drops at step %zu", steps);
    check(drop_told(UNIT_SUPPLY) && world.on[DUMMY_LOAD], "told by the board itself; other outputs stay");
    drive(UNIT_SUPPLY, true);
    world_drive(DIRECTION, !direction);
    steps_till_drop();
    check(world.on[UNIT_SUPPLY], "steps away from the pressed switch drop nothing");
    world_drive(end, 0);
    steps_till_drop();
    drive(UNIT_SUPPLY, false);
}

static void check_bouncing_end(void)
{
    fresh_start();
    world_drive(DIRECTION, 1);
    drive(UNIT_SUPPLY, true);
    world_forget();
    world_steps(16000, 0);
    for (int step = 0; step < 900; step++) {
        world_drive(RIGHT_END, 1);
        world_run(MS(8));
        world_drive(RIGHT_END, 0);
        world_run(MS(1));
        if (!world.on[UNIT_SUPPLY])
            break;
    }
    world_steps(0, 0);
    check(!world.on[UNIT_SUPPLY], "a switch that bounces does not put the stop off");
    world_drive(DIRECTION, 0);
    world_steps(8000, 0);
    world_run(MS(500));
    world_steps(0, 0);
}

static void check_emergency_stop(void)
{
    fresh_start();
    all_on();
    world_steps(2105, 400);
    world_encoder(4000, 900);
    double slowest = 0;
    bool always = true;
    for (unsigned turn = 0; turn < 50; turn++) {
        drive(UNIT_SUPPLY, true);
        world_run(MS(3) + 37 * turn);
        world_forget();
        uint64_t opened = world.avr->cycle;
        world_drive(EMERGENCY_STOP, 0);
        world_run(MS(10));
        always &= !world.on[UNIT_SUPPLY] && drop_told(UNIT_SUPPLY) && world.told[EMERGENCY_STOP].count == 1;
        double took = (double)(world.switched_at[UNIT_SUPPLY] - opened) / 16;
        slowest = took > slowest ? took : slowest;
        world_drive(EMERGENCY_STOP, 1);
        world_run(MS(5));
        always &= !world.on[UNIT_SUPPLY];
    }
    world_steps(0, 0);
    world_encoder(0, 0);
    check(always && slowest < 30, "the emergency stop drops the supply, tells it, and keeps it off: within %.1f us", slowest);
    check(outputs_on() == OUTPUTS - 1, "the other outputs stay");
    world_drive(EMERGENCY_STOP, 0);
    world_run(MS(5));
    world_forget();
    world_say(DRIVE, (const uint8_t[]){ 99, UNIT_SUPPLY, 1 }, 3);
    world_run(MS(10));
    check(!world.on[UNIT_SUPPLY] && drop_told(UNIT_SUPPLY), "while it is open, the supply does not stay on");
    world_drive(EMERGENCY_STOP, 1);
}

void check_stops(void)
{
    check_overtravel(RIGHT_END, 1, "right");
    check_overtravel(LEFT_END, 0, "left");
    check_bouncing_end();
    check_emergency_stop();
}

/* The instruction that jumps to itself. */
#define FOR_EVER 0xCFFF
/* Registers of the controller, by their addresses in its data space. */
enum { PORT_B = 0x25, DIRECTION_D = 0x2A, PORT_D = 0x2B };

void check_hung(void)
{
    fresh_start();
    all_on();
    while (world.avr->state != cpu_Sleeping)
        world_run(1);
    uint8_t *place = world.avr->flash + world.avr->pc;
    uint8_t kept[2] = { place[0], place[1] };
    place[0] = FOR_EVER & 255;
    place[1] = FOR_EVER >> 8;
    uint64_t hung = world.avr->cycle;
    while (world.avr->data[DIRECTION_D] && world.avr->cycle - hung < MS(1000))
        world_run(1);
    double ms = (double)(world.avr->cycle - hung) / MS(1);
    check(ms < 150, "a board that hangs is reset after %.0f ms, and lets go of all outputs", ms);
    place[0] = kept[0];
    place[1] = kept[1];
    world_heart(false);
    world_after_reset();
    world_run(MS(50));
    check(!(world.avr->data[PORT_D] & 0xF8) && !(world.avr->data[PORT_B] & 0x30), "after that all outputs are off");
    world_forget();
    world_hello(1);
    world_run(MS(20));
    check(world_last(IDENTITY) != NULL, "and the board answers again");
}
