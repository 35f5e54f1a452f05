/* Samples: rates, codes, stamps, and what a supply that is off does to them. */
#include "board_checks.h"

#include <math.h>
#include <sim_io.h>
#include <stdlib.h>

/* The channels behind multiplexer A by input, and their conversions a code. */
static const struct {
    const char *name;
    int multiplexer, input, conversions;
    double rate;
} channels[SAMPLE_CHANNELS] = {
    { "pack voltage", 0, 0, 8, 250 },      { "pack current", 0, 1, 8, 250 },    { "motor temperature", 0, 2, 64, 1 },
    { "housing temperature", 0, 3, 64, 1 }, { "air temperature", 0, 4, 64, 1 }, { "light 1", 1, 0, 8, 20 },
    { "light 2", 1, 1, 8, 20 },            { "light 3", 1, 2, 8, 20 },          { "light 4", 1, 3, 8, 20 },
    { "light 5", 1, 4, 8, 20 },            { "light 6", 1, 5, 8, 20 },
};

/* Codes are as if the supply were 5 V: one step of the converter is 4.88 mV. The emulated converter cuts off, so that a code
 * may be two steps of each conversion low: its own, and the reference's share. */
static bool codes_right(int channel)
{
    double millivolts = world.millivolts[channels[channel].multiplexer][channels[channel].input];
    double ideal = millivolts / 5000 * 1024;
    for (size_t i = 0; i < world.samples[channel].count; i++) {
        double steps = world.samples[channel].all[i].code / (double)channels[channel].conversions;
        if (fabs(steps - ideal) > 2)
            return false;
    }
    return true;
}

static void check_codes(const char *when)
{
    fresh_start();
    world_run(4 * CYCLES_PER_SECOND);
    for (int channel = 0; channel < SAMPLE_CHANNELS; channel++) {
        size_t count = world.samples[channel].count;
        double expected = 4 * channels[channel].rate;
        check(fabs((double)count - expected) <= 5 && codes_right(channel), "%s %s: %zu in 4 s, codes about %d", when,
              channels[channel].name, count, count ? world.samples[channel].all[count - 1].code : 0);
    }
}

/* Edges and answers get into the way of the conversions: none may be taken for that of the input before it. */
static void check_codes_under_load(void)
{
    fresh_start();
    world_steps(2105, 400);
    world_encoder(4000, 900);
    for (unsigned turn = 0; turn < 4000; turn++) {
        world_say(DRIVE, (const uint8_t[]){ 1, PRESS_1, turn & 1 }, 3);
        world_run(MS(5));
    }
    world_steps(0, 0);
    world_encoder(0, 0);
    bool right = true;
    for (int channel = 0; channel < SAMPLE_CHANNELS; channel++)
        right &= world.samples[channel].count > 10 && codes_right(channel);
    check(right, "with edges at the usual rate and an output switched every 5 ms, every code of 20 s is right");
}

static bool evenly_spaced(int channel, uint64_t least, uint64_t most)
{
    const struct samples *samples = &world.samples[channel];
    for (size_t i = 1; i < samples->count; i++) {
        uint64_t ticks = samples->all[i].tick - samples->all[i - 1].tick;
        if (ticks < least || ticks > most)
            return false;
    }
    return samples->count > 1;
}

/* Steps of the voltage, each at another place between two samples: the sample before must not know it yet, and that after
 * must. Half a millisecond each side of the middle are the conversions themselves. */
static void check_stamp_of_samples(void)
{
    bool right = true;
    world_voltage(0, 0, 3000);
    fresh_start();
    for (unsigned turn = 0; turn < 40; turn++) {
        world_forget();
        world_run(MS(30.1));
        uint64_t changed = world.avr->cycle;
        uint32_t before = world.millivolts[0][0], after = before == 3000 ? 4000 : 3000;
        world_voltage(0, 0, after);
        world_run(MS(30));
        right &= world.samples[0].count > 10;
        /* The first were stamped at the step before this one. */
        for (size_t i = 6; i < world.samples[0].count; i++) {
            const struct sample *sample = &world.samples[0].all[i];
            double ms = cycles_behind((uint32_t)sample->tick, changed) / MS(1);
            double millivolts = sample->code / 8.0 / 1024 * 5000;
            right &= fabs(ms) < 0.6 || fabs(millivolts - (ms > 0 ? after : before)) < 20;
        }
    }
    check(right, "samples are stamped where their conversions are: within 0.6 ms of 40 steps of the voltage");
    world_voltage(0, 0, 3700);
}

static size_t samples_seen(void)
{
    size_t count = 0;
    for (int channel = 0; channel < SAMPLE_CHANNELS; channel++)
        count += world.samples[channel].count;
    return count;
}

void check_samples(void)
{
    check_codes("supply 5.0 V,");
    check(evenly_spaced(0, 7900, 8100) && evenly_spaced(1, 7900, 8100), "pack voltage and current come every 4 ms");
    check(evenly_spaced(5, 95900, 104100), "lights come every 48 or 52 ms");
    check_codes_under_load();
    check_stamp_of_samples();
    world.avr->avcc = world.avr->vcc = 4750;
    world_run(2 * CYCLES_PER_SECOND);
    check_codes("supply 4.75 V,");
    check(link_clean(), "no frame broken, no gap, nothing lost");
    world.avr->avcc = world.avr->vcc = 4200;
    world_run(2 * CYCLES_PER_SECOND);
    world_forget();
    world_run(CYCLES_PER_SECOND);
    check(samples_seen() == 0, "with a supply of 4.2 V the board tells no samples at all");
    world.avr->avcc = world.avr->vcc = 5000;
    world_voltage(0, 5, 0);
    world_run(2 * CYCLES_PER_SECOND);
    world_forget();
    world_run(CYCLES_PER_SECOND);
    check(samples_seen() == 0, "without its reference neither");
    world_voltage(0, 5, 2500);
    world_run(2 * CYCLES_PER_SECOND);
    world_forget();
    world_run(CYCLES_PER_SECOND);
    check(samples_seen() > 600, "with it back it tells them again");
}
