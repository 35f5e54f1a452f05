// What a person sees and touches: controls, pack, light bar.
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "unit_check.h"

enum { KNOB_RIGHT, KNOB_LEFT, KNOB_PUSH, STOP_KEY };

static void press(int control, double seconds)
{
    rig_press(control, true);
    rig_run(seconds);
    rig_press(control, false);
    rig_run(0.05);
}

void check_controls(const char *elf)
{
    printf("controls\n");
    start(elf, 300.0);
    static const char *const reports[] = {"KEY knob right", "KEY knob left", "KEY knob push", "KEY stop key"};
    static const int at_level[] = {4, 3};
    for (int control = KNOB_RIGHT; control <= KNOB_LEFT; control++) {
        press(control, 0.1);
        SAYS(reports[control], 0.01);
        char state[32];
        snprintf(state, sizeof state, "STATE REST L%d", at_level[control]);
        ASK("STATE", state);
    }
    for (int at = 0; at < 5; at++)
        press(KNOB_RIGHT, 0.04);
    for (int at = 0; at < 5; at++)
        SAYS("KEY knob right", 0.01);
    ASK("STATE", "STATE REST L6");
    for (int at = 0; at < 7; at++)
        press(KNOB_LEFT, 0.04);
    for (int at = 0; at < 7; at++)
        SAYS("KEY knob left", 0.01);
    ASK("STATE", "STATE REST L1");

    // How long it takes, that it bounces, that it is too short.
    uint64_t pressed_at = rig_now();
    rig_press(KNOB_RIGHT, true);
    SAYS("KEY knob right", 0.1);
    // The line itself takes 15 bytes at 94 µs.
    double after = (double)(rig_heard_at() - pressed_at) / CPU_HZ * 1e3 - 15 * 0.0935;
    printf("  a control counts after %.1f ms\n", after);
    CHECK(after > 18.0 && after < 24.0, "after %.1f ms", after);
    CHECK(!rig_next(0.3), "a control held repeats itself");
    rig_press(KNOB_RIGHT, false);
    rig_run(0.1);
    press(KNOB_RIGHT, 0.012);
    CHECK(!rig_next(0.1), "12 ms are a press");
    for (int at = 0; at < 10; at++) {
        rig_press(KNOB_RIGHT, at % 2 == 0);
        rig_run(0.001);
    }
    rig_press(KNOB_RIGHT, true);
    SAYS("KEY knob right", 0.1);
    for (int at = 0; at < 10; at++) {
        rig_press(KNOB_RIGHT, at % 2 == 0);
        rig_run(0.001);
    }
    rig_press(KNOB_RIGHT, false);
    CHECK(!rig_next(0.1), "a bounce is a press");

    // Push starts and stops; the stop key stops.
    rig_forget();
    press(STOP_KEY, 0.04);
    SAYS("KEY stop key", 0.01);
    CHECK(!rig_next(0.1), "the stop key says more at rest");
    press(KNOB_PUSH, 0.04);
    SAYS("KEY knob push", 0.01);
    rig_run(0.2);
    CHECK(rig.step_count > 0 && rig.steps[0].to_right, "not to the right with an unknown place");
    press(KNOB_PUSH, 0.04);
    SAYS("KEY knob push", 0.01);
    SAYS("DONE STOP", 0.1);
    press(KNOB_PUSH, 0.04);
    SAYS("KEY knob push", 0.01);
    press(STOP_KEY, 0.04);
    SAYS("KEY stop key", 0.01);
    SAYS("DONE STOP", 0.1);

    // Towards the farther end once the place is known.
    start(elf, 559.0);
    rig_say("HOME R");
    CHECK(rig_await("DONE HOME 560.00", 1.0), "no end");
    rig_forget();
    press(KNOB_PUSH, 0.04);
    SAYS("KEY knob push", 0.01);
    rig_run(0.2);
    CHECK(rig.step_count > 0 && !rig.steps[0].to_right, "not to the farther end");

    // Held since before the supply came: counts only when pressed again.
    rig.carriage = 8000;
    rig_power_up(elf, NULL);
    rig_press(KNOB_PUSH, true);
    CHECK(rig_await("DUNLIN 600 READY", 1.0), "no banner");
    CHECK(!rig_next(0.2) && rig.step_count == 0, "a control held at power-on counts");
    rig_press(KNOB_PUSH, false);
    rig_run(0.1);
    press(KNOB_PUSH, 0.04);
    SAYS("KEY knob push", 0.01);
}

void check_pack(const char *elf)
{
    printf("pack\n");
    start(elf, 100.0);
    rig.pack_mv = 6100;
    CHECK(!rig_next(0.3), "6.10 V are low");
    rig.pack_mv = 6000;
    rig_run(0.07);
    rig.pack_mv = 6300;
    CHECK(!rig_next(0.2), "70 ms are low for long");
    rig.pack_mv = 6020;
    const char *line = rig_next(0.2);
    CHECK(line && !strncmp(line, "PACK LOW 6.0", 12), "\"%s\"", line ? line : "(nothing)");
    CHECK(!rig_next(0.3), "PACK LOW again");
    ASK("RUN R", "NO 5 pack low");
    ASK("GO R 5.0", "NO 5 pack low");
    ASK("HOME L", "NO 5 pack low");
    ASK("GO R 500.0", "NO 2 range");
    ASK("LEVEL 6", "OK LEVEL 6");
    rig.pack_mv = 6300;
    rig_run(0.3);
    ASK("RUN R", "NO 5 pack low");
    rig_press(KNOB_PUSH, true);
    SAYS("KEY knob push", 0.1);
    rig_press(KNOB_PUSH, false);
    rig_run(0.2);
    CHECK(rig.step_count == 0, "moves with a low pack");
    rig.pack_mv = 6500;
    rig_run(0.1);
    ASK("RUN R", "OK RUN R");
    rig_run(0.3);
    // So low that it halts; that lasts until the next reset.
    rig.pack_mv = 5300;
    SAYS("PACK LOW 5.", 0.2);
    SAYS("DONE RUN", 0.3);
    int steps = rig.step_count;
    ASK("STATE", "STATE HALT L6");
    rig.pack_mv = 7600;
    rig_run(0.3);
    ASK("RUN R", "NO 6 halted");
    ASK("HOME L", "NO 6 halted");
    ASK("WHO", "I AM DUNLIN 600");
    ASK("STOP", "OK STOP");
    SAYS("DONE STOP", 0.1);
    CHECK(rig.step_count == steps, "moves when halted");
    rig_brown_out();
    CHECK(rig_await("DUNLIN 600 READY", 1.0), "no banner");
    rig_run(0.01);
    ASK("STATE", "STATE REST L3");
    // Every hundredth is read right to two of the converter's steps of 9.77 mV.
    for (int mv = 6500; mv <= 8400; mv += 95) {
        rig.pack_mv = mv;
        rig_run(0.02);
        rig_say("STATE");
        line = rig_next(0.05);
        CHECK(line && labs(lround(place(line) * 1000) - mv) <= 20, "%d mV read as %.2f V", mv, place(line));
    }
}

// Steps later than a steady clock by more than two timer ticks.
static void look_at_gaps(uint32_t delay, int *late, double *longest, double *mean_interval)
{
    uint64_t first = 0, last = 0;
    uint64_t previous = 0;
    *late = 0;
    *longest = 0;
    int groups = 0;
    for (int at = 301; at < rig.step_count; at++) {
        double over = (double)(rig.steps[at].at - rig.steps[at - 1].at) - 8.0 * delay;
        if (over <= 16)
            continue;
        ++*late;
        *longest = over > *longest ? over : *longest;
        uint64_t now = rig.steps[at].at;
        // One mask may delay more than one step.
        if (!previous || now - previous > 0.005 * CPU_HZ) {
            first = first ? first : now;
            last = now;
            groups++;
        }
        previous = now;
    }
    *longest /= CPU_HZ / 1e6;
    *mean_interval = groups > 1 ? (double)(last - first) / (groups - 1) / CPU_HZ * 1e3 : 0;
}

static void check_gaps(const char *elf, double speed, bool refreshed)
{
    start_homed(elf);
    char command[32];
    snprintf(command, sizeof command, "GO R %.1f", speed);
    rig_say(command);
    rig_run(0.1);
    CHECK(rig.step_count > 0, "no steps");
    int frames = rig.frames;
    rig_run(2.9);
    frames = rig.frames - frames;
    int late;
    double longest, interval;
    look_at_gaps(reference_delay(speed), &late, &longest, &interval);
    printf("  %.0f mm/s, %s: %d frames, %d late steps, at most by %.1f us, every %.2f ms\n", speed,
           refreshed ? "refreshed" : "on change", frames, late, longest, interval);
    if (refreshed) {
        CHECK(frames > 140 && frames < 147, "%d frames in 2.9 s", frames);
        // A mask of 180 µs meets a step as often as the steps' period says.
        double share = 180.0 / (reference_delay(speed) / 2.0), met = frames * (share < 1 ? share : 1);
        CHECK(late > 0.6 * met && late < 1.4 * met, "%d late steps", late);
    } else {
        CHECK(frames == 0 && late == 0, "%d frames, %d late steps", frames, late);
    }
    if (refreshed && speed < 41.0) {
        // The whole bar lasts 6 · 24 · 1.25 µs = 180 µs.
        CHECK(longest > 165.0 && longest < 190.0, "late by up to %.1f us", longest);
    }
    if (refreshed && speed > 41.0) {
        // Each mask delays a step; those that hold off two steps lose a period.
        CHECK(interval > 19.9 && interval < 20.6, "every %.2f ms", interval);
        CHECK(longest > 165.0, "late by up to %.1f us", longest);
    }
    rig_say("STOP");
    CHECK(rig_await("DONE STOP", 0.5), "no stop");
    // Whatever was late: none was made without being counted.
    rig_say("STATE");
    const char *line = rig_await("STATE", 0.1);
    double at = line ? atof(strstr(line, " AT ") + 4) : -1;
    CHECK(at * 80 - rig.carriage < 1 && rig.carriage - at * 80 < 1, "says %.2f, is at %.3f", at, rig.carriage / 80.0);
}

// A step interrupt served late in a ramp finds its timer beyond the next match: it must not run through 16 bits.
static void check_masked_ramps(const char *elf)
{
    start_homed(elf);
    rig_say("TO 20.00 40.0");
    CHECK(rig_await("DONE TO 20.00", 2.0), "no end");
    int32_t from = rig.carriage;
    for (int at = 0; at < 40; at++) {
        rig_forget();
        rig_say(at % 2 ? "BY -8.00 90.0" : "BY 8.00 90.0");
        CHECK(rig_await("DONE BY", 0.5), "no end");
        CHECK(rig.step_count == 640, "%d steps", rig.step_count);
        uint64_t longest = 0;
        for (int step = 1; step < rig.step_count; step++) {
            uint64_t interval = rig.steps[step].at - rig.steps[step - 1].at;
            longest = interval > longest ? interval : longest;
        }
        CHECK(longest < 8 * 5344 + 3000, "an interval of %llu cycles", (unsigned long long)longest);
        rig_run(0.0013 * at);
    }
    CHECK(rig.carriage == from, "%d steps off", rig.carriage - from);
}

void check_light(const char *on_change, const char *refreshed)
{
    printf("light bar\n");
    for (int version = 0; version < 2; version++) {
        start(version ? refreshed : on_change, 100.0);
        for (int level = 1; level <= 6; level++) {
            char command[16];
            snprintf(command, sizeof command, "LEVEL %d", level);
            int frames = rig.frames;
            ASK(command, "OK LEVEL");
            rig_run(0.05);
            CHECK(rig.lit == level && rig.lit_from_first, "%d segments at level %d", rig.lit, level);
            CHECK(version || rig.frames == frames + 1, "%d frames for one change", rig.frames - frames);
            uint8_t green = rig.colour >> 16, red = rig.colour >> 8 & 255, blue = rig.colour & 255;
            CHECK(red > green && green > blue, "colour %06x is not amber", rig.colour);
        }
        // A change in full ramp, when the step interrupt is longest.
        rig_say("LEVEL 6");
        rig_say("RUN R");
        for (int at = 0; at < 40; at++) {
            rig_say(at % 2 ? "LEVEL 6" : "LEVEL 5");
            rig_run(0.013);
        }
        rig_say("STOP");
        CHECK(rig_await("DONE STOP", 0.3), "no stop");
        rig_run(0.05);
        CHECK(rig.bad_frames == 0, "%d bad frames or bits", rig.bad_frames);
        CHECK(rig.lit == 6, "%d segments in the end", rig.lit);
        double low = (double)rig.longest_low / CPU_HZ * 1e6;
        printf("  firmware %s: longest low within a frame %.1f us\n", version ? "1.5.0" : "1.4.0", low);
        CHECK(low < 50.0, "low for %.1f us", low);
    }
    check_gaps(on_change, 40.0, false);
    check_gaps(on_change, 90.0, false);
    check_gaps(refreshed, 15.0, true);
    check_gaps(refreshed, 40.0, true);
    check_gaps(refreshed, 90.0, true);
    check_masked_ramps(refreshed);
}
