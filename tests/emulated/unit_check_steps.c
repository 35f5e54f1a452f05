// Every step against the recursion, and the step interrupt's budget.
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "unit_check.h"

#define ROOM 60000
// Two timer ticks.
#define QUIET_CYCLES 16
// A serial interrupt that is in the way: 5 µs more.
#define TALK_CYCLES (QUIET_CYCLES + 80)

static uint32_t expected[ROOM];

struct spread {
    long worst;    // cycles off the expected interval, at most
    int intervals; // looked at
};

// The intervals of steps `from` to `to` against those expected.
static struct spread compare(int from, int to)
{
    struct spread spread = {0, 0};
    for (int at = from < 1 ? 1 : from; at < to && at < rig.step_count; at++) {
        long off = labs((long)(rig.steps[at].at - rig.steps[at - 1].at) - 8L * expected[at]);
        spread.worst = off > spread.worst ? off : spread.worst;
        spread.intervals++;
    }
    return spread;
}

// The first step at or beyond the right trigger point, counted from 1.
static int step_of_contact(int32_t from)
{
    return TRAVEL_STEPS - from;
}

static void check_travel(const char *elf)
{
    start_homed(elf);
    ASK("GO R 90.0", "OK GO R 90.0");
    rig_run(0.05); // the echo is out
    int32_t from = rig.carriage - rig.step_count;
    SAYS("HIT R", 8.0);
    SAYS("DONE GO 56", 0.5);
    int contact = step_of_contact(from);
    int steps = reference_steps(reference_delay(90.0), TRAVEL_STEPS + 1600 - from, contact, 0, 0, expected, ROOM);
    CHECK(rig.step_count == steps, "%d steps instead of %d", rig.step_count, steps);
    struct spread ramp = compare(0, 250), cruise = compare(250, contact), braking = compare(contact, steps);
    printf("  90 mm/s: %d steps, overrun %.2f mm; off by at most %ld cycles in the ramp, %ld in %d of cruise, %ld braking\n",
           rig.step_count, (rig.carriage - TRAVEL_STEPS) / 80.0, ramp.worst, cruise.worst, cruise.intervals,
           braking.worst);
    CHECK(expected[1000] == 278 && cruise.intervals > 44000, "no cruise");
    CHECK(cruise.worst <= QUIET_CYCLES, "cruise off by %ld cycles", cruise.worst);
    // The echo goes out during the ramp, HIT while braking.
    CHECK(ramp.worst <= TALK_CYCLES, "ramp off by %ld cycles", ramp.worst);
    CHECK(braking.worst <= TALK_CYCLES, "braking off by %ld cycles", braking.worst);
    // Outside: Austin (2005), step times of the demo unit's firmware on an emulated controller; how: closed form, source from memory
    // Austin 2005: within 0.4 % of constant acceleration from the third step on, 0.05 % from the tenth.
    for (int n = 3; n < 200; n++) {
        double interval = (double)(rig.steps[n].at - rig.steps[n - 1].at) / 8.0, exact = reference_exact(n);
        double allowed = (n < 10 ? 0.005 : 0.001) * exact + 1.0 + TALK_CYCLES / 8.0;
        CHECK(fabs(interval - exact) < allowed, "step %d after %.1f ticks, not %.1f", n, interval, exact);
    }
    double mean = (double)(rig.steps[contact - 1].at - rig.steps[999].at) / (contact - 1000) / 8.0;
    CHECK(fabs(mean - 278.0) < 0.001, "mean of %.4f ticks a step", mean);
}

static void check_fastest_with_talk(void)
{
    // All the way back at 95 mm/s with the serial line busy in both directions.
    rig_forget();
    rig.longest_step_interrupt = rig.step_interrupt_sum = rig.step_interrupts = 0;
    int32_t from = rig.carriage;
    ASK("GO L 95.0", "OK GO L 95.0");
    int answers = 0;
    for (int round = 0; round < 280; round++) {
        for (int line = 0; line < 8; line++)
            rig_say(line % 2 ? "STATE" : "nonsense");
        for (int line = 0; line < 8; line++)
            answers += SAYS(line % 2 ? "STATE RUN" : "NO 1 what", 0.2);
    }
    CHECK(answers == 8 * 280, "%d answers", answers);
    CHECK(rig_await("HIT L", 5.0), "no contact");
    CHECK(rig_await("DONE GO -", 0.5), "no end");
    int steps = reference_steps(reference_delay(95.0), from + 1600, from, 0, 0, expected, ROOM);
    struct spread all = compare(0, steps);
    CHECK(rig.step_count == steps && steps > TRAVEL_STEPS, "%d steps instead of %d", rig.step_count, steps);
    CHECK(all.worst <= TALK_CYCLES, "off by %ld cycles", all.worst);
    double mean = (double)rig.step_interrupt_sum / (double)rig.step_interrupts;
    printf("  95 mm/s with %d answers on the way: %d steps, off by at most %ld cycles\n", answers, rig.step_count,
           all.worst);
    printf("  step interrupt: %.0f cycles in the mean, %llu at most, of %u from step to step\n", mean,
           (unsigned long long)rig.longest_step_interrupt, 8 * reference_delay(95.0));
    CHECK(rig.longest_step_interrupt < 8 * reference_delay(95.0) / 2, "the step interrupt takes %llu cycles",
          (unsigned long long)rig.longest_step_interrupt);
}

static void check_speeds(const char *elf)
{
    static const double speeds[] = {1.0, 5.0, 15.0, 40.0, 100.0, 33.3, 0.4};
    for (unsigned at = 0; at < sizeof speeds / sizeof *speeds; at++) {
        start_homed(elf);
        double mm = speeds[at] < 10 ? speeds[at] / 4 : speeds[at];
        char command[40];
        snprintf(command, sizeof command, "TO %.2f %.1f", mm, speeds[at]);
        int32_t from = rig.carriage;
        rig_say(command);
        CHECK(rig_await("DONE TO", 4.0), "no end at %.1f mm/s", speeds[at]);
        int steps = (int)lround(mm * 80) - from;
        uint32_t delay = reference_delay(speeds[at]);
        int made = reference_steps(delay, steps, 0, 0, 0, expected, ROOM);
        CHECK(made == steps && rig.step_count == steps, "%d steps instead of %d", rig.step_count, steps);
        struct spread all = compare(0, steps);
        CHECK(all.worst <= TALK_CYCLES, "%.1f mm/s: off by %ld cycles", speeds[at], all.worst);
        double error = 2e6 / delay / 80.0 / speeds[at] - 1.0;
        printf("  %.1f mm/s: %u ticks a step (%+.3f %% by rounding), %d steps, off by at most %ld cycles\n", speeds[at],
               delay, error * 100, steps, all.worst);
    }
}

static void check_triangles(const char *elf)
{
    // Too short for the speed: up and straight down again.
    static const int lengths[] = {1, 2, 3, 7, 50, 200, 399, 406, 410};
    start_homed(elf);
    rig_say("TO 1.00 15.0");
    CHECK(rig_await("DONE TO 1.00", 1.0), "no end");
    for (unsigned at = 0; at < sizeof lengths / sizeof *lengths; at++) {
        rig_run(0.2);
        rig_forget();
        char command[40];
        snprintf(command, sizeof command, "BY %.4f 90.0", lengths[at] / 80.0);
        rig_say(command);
        CHECK(rig_await("DONE BY", 1.0), "no end");
        int made = reference_steps(reference_delay(90.0), lengths[at], 0, 0, 0, expected, ROOM);
        CHECK(made == lengths[at] && rig.step_count == made, "%d steps instead of %d", rig.step_count, lengths[at]);
        struct spread all = compare(0, made);
        CHECK(all.worst <= TALK_CYCLES, "%d steps: off by %ld cycles", made, all.worst);
    }
}

// A level is chosen on the way: from which step on shows in the intervals.
static void check_change(const char *elf, const char *first, double first_speed, const char *second, double second_speed)
{
    start(elf, 100.0);
    rig_say(first);
    rig_say("RUN R");
    rig_run(first_speed < 2.0 ? 1.0 : 0.4);
    rig_say(second);
    rig_run(0.5);
    int seen = rig.step_count;
    CHECK(seen > 50, "%d steps", seen);
    int best = 0;
    long least = 1L << 30;
    uint32_t from = reference_delay(first_speed), to = reference_delay(second_speed);
    // The interval that follows the step at which the interrupt saw the new speed is the first that may differ.
    int differs = 2;
    while (differs < seen && (labs((long)(rig.steps[differs].at - rig.steps[differs - 1].at) - 8L * from) <= TALK_CYCLES ||
                              differs < 300 * (first_speed > 2.0)))
        differs++;
    for (int change = differs > 40 ? differs - 40 : 1; change <= differs; change++) {
        reference_steps(from, 48000, 0, to, change, expected, ROOM);
        struct spread spread = compare(1, seen);
        if (spread.worst < least) {
            least = spread.worst;
            best = change;
        }
    }
    CHECK(best && least <= TALK_CYCLES, "%s to %s: off by %ld cycles from step %d on", first, second, least, best);
}

void check_steps(const char *elf)
{
    printf("steps\n");
    check_travel(elf);
    check_fastest_with_talk();
    check_speeds(elf);
    check_triangles(elf);
    check_change(elf, "LEVEL 5", 40.0, "LEVEL 6", 90.0);
    check_change(elf, "LEVEL 6", 90.0, "LEVEL 4", 15.0);
    check_change(elf, "LEVEL 2", 1.0, "LEVEL 6", 90.0);
}
