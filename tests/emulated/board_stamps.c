/* Edges: their levels, their stamps, how many the board can take. */
#include "board_checks.h"

#include <math.h>

/* The overflows of timer 1, in the general purpose registers where the firmware keeps them. */
#define GPIOR0 0x3E
#define GPIOR1 0x4A

void check_levels(void)
{
    static const char *names[CHANNELS] = { "step",           "direction",      "encoder a", "encoder b", "left end stop",
                                           "right end stop", "emergency stop", "guard" };
    world_drive(DIRECTION, 1);
    world_drive(LEFT_END, 1);
    world_heart(false);
    world_hello(1);
    world_run(MS(5));
    world_say(START, NULL, 0);
    world_run(MS(5));
    const struct frame *started = world_last(STARTED);
    uint8_t expected = 0;
    for (int channel = 0; channel < CHANNELS; channel++)
        expected |= (uint8_t)(world.levels[channel] << channel);
    check(started && started->payload[4] == expected, "start tells the levels: %02X of %02X",
          started ? started->payload[4] : 0, expected);
    fresh_start();
    for (int channel = DIRECTION; channel < CHANNELS; channel++) {
        for (int turn = 0; turn < 4; turn++) {
            world_drive((enum channel)channel, !world.levels[channel]);
            world_run(MS(0.3));
        }
        check(settle() && world.told[channel].count == 4 && all_told((enum channel)channel), "edges of %s are told",
              names[channel]);
    }
    world_forget();
    world_drive(LEFT_END, 0);
    world_drive(RIGHT_END, 1);
    world_drive(DIRECTION, 0);
    world_run(MS(1));
    check(settle() && all_told(LEFT_END) && all_told(RIGHT_END) && all_told(DIRECTION) && link_clean(),
          "edges at the same moment are told, all of them");
    world_drive(RIGHT_END, 0);
}

/* How much later than their edges the stamps of a channel are. */
static void judge_latency(enum channel first, enum channel last, const char *what)
{
    double soonest = 1e9, latest = -1e9, sum = 0, squares = 0;
    size_t count = 0;
    for (int channel = first; channel <= (int)last; channel++)
        for (size_t i = 0; i < world.told[channel].count; i++) {
            /* A tick is whole: half of one is taken off on average. */
            double behind = cycles_behind((uint32_t)world.told[channel].all[i].at, world.driven[channel].all[i].at) + 4;
            soonest = behind < soonest ? behind : soonest;
            latest = behind > latest ? behind : latest;
            sum += behind;
            squares += behind * behind;
            count++;
        }
    double mean = sum / (double)count;
    figure("%zu edges of %s: stamped %.2f to %.2f us late, mean %.2f, standard deviation %.2f", count, what,
           soonest / 16, latest / 16, mean / 16, sqrt(squares / (double)count - mean * mean) / 16);
    check(soonest >= -8 && latest <= PIN_CHANGE_LATEST_US * 16, "stamps of %s are at most %.0f us late", what,
          PIN_CHANGE_LATEST_US);
}

static double told_latest_ms(void)
{
    double latest = 0;
    for (int channel = 0; channel < CHANNELS; channel++)
        for (size_t i = 0; i < world.told[channel].count; i++) {
            double behind = (double)(world.told[channel].all[i].heard - world.driven[channel].all[i].at) / MS(1);
            latest = behind > latest ? behind : latest;
        }
    return latest;
}

#define OVERFLOW_CYCLES (8 << 16)

/* How many cycles it is to the timer's next overflow. */
static uint64_t to_overflow(void)
{
    double since = fmod(-cycles_behind(0, world.avr->cycle), OVERFLOW_CYCLES);
    return (uint64_t)(since < 0 ? -since : OVERFLOW_CYCLES - since);
}

/* A step and an encoder edge around an overflow of the timer, in every order: none of the three may be lost. A lost overflow
 * would put all later stamps 32 ms back. */
static void check_overflows(void)
{
    fresh_start();
    for (int step = -120; step <= 40; step += 8)
        for (int edge = step - 40; edge <= step + 40; edge += 5) {
            uint64_t left = to_overflow();
            uint64_t overflow = world.avr->cycle + (left > 1000 ? left : left + OVERFLOW_CYCLES);
            int first = step < edge ? step : edge, second = step < edge ? edge : step;
            world_run(overflow + (uint64_t)(int64_t)first - world.avr->cycle);
            if (step <= edge)
                world_drive(STEP, 1);
            else
                world_drive(ENCODER_A, !world.levels[ENCODER_A]);
            if (overflow + (uint64_t)(int64_t)second > world.avr->cycle)
                world_run(overflow + (uint64_t)(int64_t)second - world.avr->cycle);
            if (step <= edge)
                world_drive(ENCODER_A, !world.levels[ENCODER_A]);
            else
                world_drive(STEP, 1);
            world_run(MS(0.1));
            world_drive(STEP, 0);
        }
    bool right = settle() && all_told(STEP) && all_told(ENCODER_A) && link_clean();
    double furthest = 0;
    for (size_t i = 0; right && i < world.told[STEP].count; i++) {
        double behind = fabs(cycles_behind((uint32_t)world.told[STEP].all[i].at, world.driven[STEP].all[i].at));
        furthest = behind > furthest ? behind : furthest;
    }
    check(right && furthest <= 8, "%zu overflows of the timer with a step and an edge around them: all counted",
          world.driven[STEP].count);
}

void check_stamps(void)
{
    /* The ticks' 32 bits roll over while this runs. */
    world_heart(false);
    world_hello(1);
    world_run(MS(5));
    world.avr->data[GPIOR1] = 0xFF;
    world.avr->data[GPIOR0] = 0xE0;
    fresh_start();
    world_steps(2105, 400);
    world_encoder(4000, 900);
    uint64_t begun = world.avr->cycle;
    /* A press switched every 10 ms, and heartbeats, so that every interrupt there is gets into the way of the edges. */
    for (unsigned turn = 0; turn < 1000; turn++) {
        world_say(DRIVE, (const uint8_t[]){ 1, PRESS_1, turn & 1 }, 3);
        world_run(MS(10));
    }
    double share = 1 - (double)world.asleep / (double)(world.avr->cycle - begun);
    world_steps(0, 0);
    world_encoder(0, 0);
    world_run(MS(1));
    bool settled = settle();
    check(settled && all_told(STEP) && all_told(ENCODER_A) && all_told(ENCODER_B),
          "7.6 k steps and 4 k encoder edges a second for 10 s: %zu of %zu told",
          world.told[STEP].count + world.told[ENCODER_A].count + world.told[ENCODER_B].count,
          world.driven[STEP].count + world.driven[ENCODER_A].count + world.driven[ENCODER_B].count);
    check(link_clean(), "no frame broken, no gap, nothing lost, ticks in order");
    check(learn_clock(), "steps are exact to one tick over 305 roll-overs of the timer and one of the ticks");
    if (settled)
        judge_latency(ENCODER_A, ENCODER_B, "the encoder");
    check(told_latest_ms() < 20, "every edge arrives within 20 ms: the last after %.1f ms", told_latest_ms());
    figure("longest interrupts, cycles: pin change %llu, step %llu, overflow %llu, byte received %llu, byte sent %llu",
           (unsigned long long)world.longest[4], (unsigned long long)world.longest[10],
           (unsigned long long)world.longest[13], (unsigned long long)world.longest[18],
           (unsigned long long)world.longest[19]);
    figure("the controller works %.0f %% of the time, the link carries %.1f kB/s", 100 * share,
           (double)world.bytes / 10000);
    check_overflows();
}

/* Half a second of encoder edges at a rate; whether all came through. */
static bool carries(uint64_t rate)
{
    fresh_start();
    world_encoder(CYCLES_PER_SECOND / rate, CYCLES_PER_SECOND / rate / 8);
    world_run(MS(500));
    world_encoder(0, 0);
    world_run(MS(20));
    return settle() && link_clean() && all_told(ENCODER_A) && all_told(ENCODER_B);
}

static void too_many(uint64_t rate)
{
    fresh_start();
    world_encoder(CYCLES_PER_SECOND / rate, 0);
    world_run(MS(300));
    world_encoder(0, 0);
    world_run(MS(100));
    check(settle() && world.overruns > 0 && world.lost > 0,
          "%llu edges a second are too many, and the board says so", (unsigned long long)rate);
    check(!world.broken && !world.gaps && !world.backwards, "what it does send is whole and in order");
}

static void recovered(void)
{
    world_forget();
    world_steps(2105, 400);
    world_encoder(4000, 900);
    world_run(MS(500));
    world_steps(0, 0);
    world_encoder(0, 0);
    world_run(MS(1));
    check(settle() && link_clean() && all_told(STEP) && all_told(ENCODER_A) && all_told(ENCODER_B),
          "after that it carries on without loss");
}

void check_rates(void)
{
    uint64_t rate = 16000;
    while (rate < 60000 && carries(rate + 1000))
        rate += 1000;
    figure("highest rate of encoder edges without loss: %llu a second", (unsigned long long)rate);
    check(rate >= 20000, "20 k edges a second are carried");

    too_many(60000);
    size_t driven = world.driven[ENCODER_A].count + world.driven[ENCODER_B].count;
    size_t told = world.told[ENCODER_A].count + world.told[ENCODER_B].count;
    check(told + world.lost >= driven, "no edge is lost unsaid: %zu of %zu told, %llu lost in %u reports", told, driven,
          (unsigned long long)world.lost, world.overruns);
    recovered();
    /* Faster than the interrupt: not every edge is seen any more, and the main loop gets next to nothing. */
    too_many(200000);
    recovered();
}
