// Motions: homing, travels, places, stops, turns, crawls.
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "unit_check.h"

static bool carriage_is_at(double mm, double within)
{
    return fabs(rig.carriage / 80.0 - mm) <= within;
}

static void check_homing(const char *elf)
{
    printf("homing\n");
    start(elf, 20.0);
    rig.bounce_steps = 3;
    ASK("HOME L", "OK HOME L");
    ASK("STATE", "STATE HOME L3");
    ASK("GO R 5.0", "NO 3 busy");
    ASK("HOME R", "NO 3 busy");
    ASK("RUN R", "NO 3 busy");
    SAYS("HIT L", 3.0);
    SAYS("DONE HOME 0.00", 0.5);
    CHECK(rig.carriage <= 0 && carriage_is_at(0.0, 0.2), "rests at %d steps", rig.carriage);
    // At the switch already: back off 8 mm, then seek it again.
    rig_forget();
    ASK("HOME L", "OK HOME L");
    SAYS("HIT L", 3.0);
    SAYS("DONE HOME 0.00", 0.5);
    int right = 0;
    for (int at = 0; at < rig.step_count; at++)
        right += rig.steps[at].to_right;
    CHECK(right == 640, "backs off by %d steps", right);
    CHECK(rig.carriage <= 0 && carriage_is_at(0.0, 0.2), "rests at %d steps", rig.carriage);
    // Towards the end where it stands: met at once.
    ASK("GO L 5.0", "OK GO L 5.0");
    SAYS("HIT L", 0.1);
    SAYS("DONE GO -", 0.1);
    // The other end.
    start(elf, 550.0);
    ASK("HOME R", "OK HOME R");
    SAYS("HIT R", 3.0);
    SAYS("DONE HOME 560.00", 0.5);
    ASK("STATE", "STATE REST L3 AT 560.0");
}

static void check_places(const char *elf)
{
    printf("places\n");
    start_homed(elf);
    ASK("TO 30.00 40.0", "OK TO 30.00 40.0");
    ASK("STATE", "STATE RUN L3");
    SAYS("DONE TO 30.00", 2.0);
    CHECK(rig.carriage == 2400, "at %d steps", rig.carriage);
    ASK("BY -12.50 15.0", "OK BY -12.50 15.0");
    SAYS("DONE BY 17.50", 2.0);
    CHECK(rig.carriage == 1400, "at %d steps", rig.carriage);
    ASK("TO 17.5 1", "OK TO 17.5 1");
    SAYS("DONE TO 17.50", 0.1);
    ASK("BY 0.0125 90", "OK BY 0.0125 90");
    SAYS("DONE BY 17.51", 0.1);
    CHECK(rig.carriage == 1401, "at %d steps", rig.carriage);
    ASK("BY -17.53 90", "NO 2 range");
    ASK("TO 560.02 90", "NO 2 range");
    ASK("TO -0.02 90", "NO 2 range");
    rig_run(0.2);
    CHECK(rig.enabled && rig.holding, "the driver does not go down to its holding current");
}

static void check_stops(const char *elf)
{
    printf("stops and turns\n");
    start_homed(elf);
    ASK("GO R 90.0", "OK GO R 90.0");
    rig_run(0.4);
    int32_t from = rig.carriage;
    uint64_t began = rig_now();
    rig_say("STOP");
    SAYS("OK STOP", 0.05);
    const char *line = rig_next(0.5);
    CHECK(line && !strncmp(line, "DONE STOP ", 10), "\"%s\"", line ? line : "(nothing)");
    double way = (rig.carriage - from) / 80.0;
    // 90² / (2 · 1600) = 2.53 mm, and what it covers until the line has come in: 5 bytes of 87 µs.
    printf("  stop from 90 mm/s: %.2f mm from the first byte, DONE after %.1f ms\n", way,
           (double)(rig_heard_at() - began) / CPU_HZ * 1e3);
    CHECK(way > 2.5 && way < 3.0, "stops within %.2f mm", way);
    CHECK(fabs(place(line) - rig.carriage / 80.0) < 0.0051 && place(line) > 2.5, "says %.2f", place(line));
    ASK("STOP", "OK STOP");
    SAYS("DONE STOP", 0.05);

    // A new motion while one runs: brakes, turns, goes on; only the last one's DONE.
    rig_forget();
    ASK("GO R 40.0", "OK GO R 40.0");
    rig_run(0.3);
    ASK("HOME L", "NO 3 busy");
    ASK("CRAWL L", "NO 3 busy");
    int ordered_at = rig.step_count;
    ASK("TO 2.00 15.0", "OK TO 2.00 15.0");
    SAYS("DONE TO 2.00", 5.0);
    CHECK(rig.carriage == 160, "at %d steps", rig.carriage);
    int turns = 0, last_right = 0;
    for (int at = 1; at < rig.step_count; at++)
        turns += rig.steps[at].to_right != rig.steps[at - 1].to_right;
    for (int at = 0; at < rig.step_count; at++)
        last_right += rig.steps[at].to_right;
    CHECK(turns == 1, "%d turns", turns);
    printf("  turn from 40 mm/s: %d steps after the order\n", last_right - ordered_at);
    CHECK(rig.shortest_setup >= 80, "direction only %llu cycles before a step",
          (unsigned long long)rig.shortest_setup);

    // A stop takes back the motion that waits.
    ASK("GO R 90.0", "OK GO R 90.0");
    rig_run(0.2);
    rig_say("GO L 90.0");
    rig_say("STOP");
    SAYS("OK GO L", 0.1);
    SAYS("OK STOP", 0.1);
    SAYS("DONE STOP", 0.2);
    CHECK(!rig_next(0.3), "a motion that was taken back goes on");
}

// An order that comes just as a switch is met is carried out, whichever was first.
static void check_order_at_contact(const char *elf)
{
    start_homed(elf);
    rig_say("TO 10.00 40.0");
    CHECK(rig_await("DONE TO 10.00", 2.0), "no end");
    // The line takes some 1.3 ms, the eight steps 2.5 ms: its end comes from 0.4 ms before contact to 0.4 ms after.
    for (int at = 0; at < 40; at++) {
        rig.carriage = TRAVEL_STEPS - 100;
        ASK("GO R 40.0", "OK GO R 40.0");
        while (rig.carriage < TRAVEL_STEPS - 8)
            rig_run(0.000005);
        rig_run(0.0008 + 0.00002 * at);
        rig_say("TO 10.00 40.0");
        if (!CHECK(rig_await("DONE TO 10.00", 2.0), "the order of round %d is lost", at))
            return;
        rig_forget();
    }
}

static void check_levels_and_runs(const char *elf)
{
    printf("runs at a level\n");
    start(elf, 100.0);
    ASK("LEVEL 5", "OK LEVEL 5");
    ASK("RUN R", "OK RUN R");
    rig_run(0.3);
    ASK("LEVEL 6", "OK LEVEL 6");
    rig_run(0.3);
    int at = rig.step_count - 1;
    uint64_t period = rig.steps[at].at - rig.steps[at - 1].at;
    CHECK(llabs((long long)period - 278 * 8) <= 64, "%llu cycles at level 6", (unsigned long long)period);
    // Without a known place, and with a dead end switch, it gives up after 600 mm; here it meets the switch.
    rig.carriage = TRAVEL_STEPS - 1000;
    SAYS("HIT R", 1.0);
    SAYS("DONE RUN", 1.0);
    CHECK(carriage_is_at(562.5, 0.2), "overruns to %.2f mm", rig.carriage / 80.0);
    rig.carriage = 8000;
    rig_forget();
    ASK("RUN L", "OK RUN L");
    rig_run(0.1);
    rig_say("RUN R");
    rig_say("STOP");
    CHECK(rig_await("DONE STOP", 0.3), "no stop");
}

static void check_crawl(const char *elf)
{
    printf("crawl\n");
    start_homed(elf);
    rig.carriage = 800;
    ASK("CRAWL R", "OK CRAWL R");
    rig_run(6.5);
    ASK("STATE", "STATE CRAWL L3");
    ASK("CRAWL L", "NO 3 busy");
    CHECK(rig.step_count == 4 * 16, "%d steps in 6.5 s", rig.step_count);
    for (int at = 16; at < rig.step_count; at += 16) {
        double interval = (double)(rig.steps[at].at - rig.steps[at - 16].at) / CPU_HZ;
        CHECK(fabs(interval - 2.0) < 0.002, "increment after %.4f s", interval);
    }
    // 4 ms, give or take two timer ticks.
    CHECK(llabs((long long)(rig.steps[1].at - rig.steps[0].at) - 8000 * 8) <= 16, "%llu cycles within an increment",
          (unsigned long long)(rig.steps[1].at - rig.steps[0].at));
    ASK("STOP", "OK STOP");
    SAYS("DONE STOP", 0.1);
    CHECK(!rig_next(2.5) && rig.step_count == 4 * 16, "the crawl goes on");
    // To the end, at the first level.
    ASK("LEVEL 1", "OK LEVEL 1");
    rig.carriage = TRAVEL_STEPS - 24;
    ASK("RUN R", "OK RUN R");
    SAYS("HIT R", 3.0);
    SAYS("DONE RUN", 0.1);
    CHECK(rig.carriage == TRAVEL_STEPS, "at %d steps", rig.carriage - TRAVEL_STEPS);
    CHECK(rig.narrowest_pulse >= 32, "pulse of %llu cycles", (unsigned long long)rig.narrowest_pulse);
}

void check_motions(const char *elf)
{
    check_homing(elf);
    check_places(elf);
    check_levels_and_runs(elf);
    check_crawl(elf);
}

void check_interruptions(const char *elf)
{
    check_stops(elf);
    check_order_at_contact(elf);
}
