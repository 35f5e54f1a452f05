// Lines: banner, answers, refusals, garbage; identity and resets.
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "unit_check.h"

#define LONG_LINE "WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO WHO"

static void check_start_up(const char *elf, const char *version)
{
    char line[80];
    rig.carriage = 8000;
    rig.pack_mv = 7420;
    rig_power_up(elf, NULL);
    rig_run(0.5);
    CHECK(!rig.enabled, "the driver is on before the unit is up");
    rig_say("WHO");
    snprintf(line, sizeof line, "DUNLIN 600 READY FW %s SN SM-0001", version);
    SAYS(line, 1.0);
    double seconds = (double)rig_heard_at() / CPU_HZ;
    printf("firmware %s: banner complete %.4f s after reset\n", version, seconds);
    CHECK(seconds > 0.79 && seconds < 0.82, "the banner comes after %.4f s", seconds);
    rig_run(0.05);
    CHECK(rig.enabled && rig.holding, "the driver does not hold");
    CHECK(rig.lit == 3 && rig.lit_from_first, "%d segments", rig.lit);
    CHECK(!rig_next(0.1), "a command from before the banner was answered");
    snprintf(line, sizeof line, "I AM DUNLIN 600 FW %s SN SM-0001", version);
    ASK("WHO", line);
    ASK("WHO\r", line);
    ASK("STATE", "STATE REST L3 AT 0.00 PACK 7.4");
    ASK("STOP", "OK STOP");
    SAYS("DONE STOP 0.00", 0.05);
}

static void check_refusals(void)
{
    static const char *const not_understood[] = {
        "", " ", "who", "WHO ", " WHO", "WHO ELSE", "STATE 1", "STOP NOW", "HOME", "HOME X", "HOME LEFT", "HOME L L", "GO",
        "GO R", "GO  R 5", "GO X 5", "GO R 5 6", "GO R 5,0", "GO R 5.0.0", "GO R -", "GO R .", "GO R 1e1", "GO R NaN",
        "TO", "TO 5", "TO a 5", "TO 5 a", "BY 1 1 1", "LEVEL", "LEVEL x", "LEVEL -1", "LEVEL 300", "LEVEL 3 4", "CRAWL",
        "RUN 3", "OK", LONG_LINE,
    };
    for (unsigned at = 0; at < sizeof not_understood / sizeof *not_understood; at++) {
        if (!ASK(not_understood[at], "NO 1 what"))
            printf("    after \"%s\"\n", not_understood[at]);
    }
    static const char *const out_of_range[] = {
        "LEVEL 0", "LEVEL 7", "LEVEL 255", "GO R 100.1", "GO R 0.39", "GO R -5", "GO R 0", "TO 99999999999 5",
        "TO 5 900", "BY 5 0.3999", "GO L 4294967300",
    };
    for (unsigned at = 0; at < sizeof out_of_range / sizeof *out_of_range; at++) {
        if (!ASK(out_of_range[at], "NO 2 range"))
            printf("    after \"%s\"\n", out_of_range[at]);
    }
    ASK("GO R 90.0", "NO 4 not homed");
    ASK("TO 5.0 90.0", "NO 4 not homed");
    ASK("BY 5.0 90.0", "NO 4 not homed");
    ASK("LEVEL 4", "OK LEVEL 4");
    ASK("STATE", "STATE REST L4");
    CHECK(rig.step_count == 0, "%d steps without an order", rig.step_count);
}

static void check_rough_talk(void)
{
    // A burst: every line is answered, in order.
    rig_forget();
    for (int at = 0; at < 24; at++)
        rig_say(at % 2 ? "WHO" : "STATE");
    for (int at = 0; at < 24; at++)
        SAYS(at % 2 ? "I AM" : "STATE REST", 0.5);
    // More than it can answer: what was lost is not understood, and never taken for another command.
    for (int at = 0; at < 400; at++)
        rig_say("LEVEL 000005");
    rig_send_out();
    int obeyed = 0, refused = 0;
    for (const char *line; (line = rig_next(0.1));) {
        bool echo = !strcmp(line, "OK LEVEL 000005"), refusal = !strcmp(line, "NO 1 what");
        CHECK(echo || refusal, "\"%s\"", line);
        obeyed += echo;
        refused += refusal;
    }
    printf("  of 400 lines in a burst %d obeyed, %d refused for lost bytes\n", obeyed, refused);
    CHECK(obeyed > 200 && refused > 0, "%d obeyed, %d refused", obeyed, refused);
    // A line break after every 40 bytes of noise that is anything but a command.
    srand(7);
    char noise[4000];
    int lines = 0;
    for (unsigned at = 0; at < sizeof noise; at++) {
        noise[at] = (char)(rand() % 256);
        if (noise[at] == '\n' || at % 40 == 39)
            noise[at] = '\n';
        lines += noise[at] == '\n';
    }
    rig_send(noise, sizeof noise);
    for (int at = 0; at < lines; at++)
        SAYS("NO 1 what", 0.5);
    // Without any line break; then a break ends it.
    memset(noise, 'x', sizeof noise);
    rig_send(noise, sizeof noise);
    rig_send_out();
    CHECK(!rig_next(0.1), "an unfinished line was answered");
    ASK("", "NO 1 what");
    ASK("WHO", "I AM DUNLIN 600");
    CHECK(rig.step_count == 0, "noise made %d steps", rig.step_count);
}

void check_talk(const char *elf, const char *version)
{
    check_start_up(elf, version);
    check_refusals();
    check_rough_talk();
    printf("firmware %s: longest serial interrupt %llu cycles\n", version,
           (unsigned long long)rig.longest_uart_interrupt);
}

void check_resets(const char *elf)
{
    printf("identity and resets\n");
    uint8_t identity[0x20];
    memset(identity, 0, sizeof identity);
    strcpy((char *)identity, "DUNLIN 600");
    strcpy((char *)identity + 0x10, "SM-0427");
    rig.carriage = 8000;
    rig_power_up(elf, identity);
    SAYS("DUNLIN 600 READY FW 1.4.0 SN SM-0427", 1.0);
    int before = rig_eeprom(0x31);
    CHECK(before == 0, "%d brown-outs at first", before);
    ASK("RUN R", "OK RUN R");
    rig_run(0.5);
    CHECK(rig.step_count > 0, "no step");
    rig_brown_out();
    rig_run(0.5);
    rig_forget();
    SAYS("DUNLIN 600 READY FW 1.4.0 SN SM-0427", 1.0);
    CHECK(rig.step_count == 0, "steps go on after a reset");
    CHECK(rig_eeprom(0x30) == 1 << 2, "cause of reset %02x", rig_eeprom(0x30));
    CHECK(rig_eeprom(0x31) == 1, "%d brown-outs", rig_eeprom(0x31));
    // A serial number without an end is none.
    memset(identity + 0x10, 'x', 0x10);
    rig_power_up(elf, identity);
    SAYS("DUNLIN 600 READY FW 1.4.0 SN SM-0001", 1.0);
}
