// The Dunlin 600's firmware, instruction by instruction: what it says and every edge that it makes.
//
// unit_check FIRMWARE-1.4.0.elf FIRMWARE-1.5.0.elf
// Exit status 0: all as it should be; 1: something is not; 2: it could not be tried.
//
// A program of its own: simavr, which it links with, is under the GNU General Public License.
#include "unit_check.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int checks, failures;

bool checked(bool good, int at, const char *file, const char *what, ...)
{
    checks++;
    if (good)
        return true;
    failures++;
    va_list arguments;
    va_start(arguments, what);
    printf("  WRONG (%s:%d) ", file, at);
    vprintf(what, arguments);
    printf("\n");
    va_end(arguments);
    return false;
}

bool says(const char *beginning, double seconds, int at, const char *file)
{
    const char *line = rig_next(seconds);
    return checked(line && !strncmp(line, beginning, strlen(beginning)), at, file, "\"%s\" was expected, not \"%s\"",
                   beginning, line ? line : "(nothing)");
}

double place(const char *line)
{
    const char *number = line ? strrchr(line, ' ') : NULL;
    return number ? atof(number) : NAN;
}

void start(const char *elf, double mm)
{
    rig.carriage = (int32_t)lround(mm * 80);
    rig.pack_mv = 7600;
    rig_power_up(elf, NULL);
    CHECK(rig_await("DUNLIN 600 READY", 1.0), "no banner");
    rig_run(0.01);
}

void start_homed(const char *elf)
{
    start(elf, 2.0);
    rig_say("HOME L");
    CHECK(rig_await("DONE HOME 0.00", 2.0), "homing does not end");
    rig_run(0.2);
    rig_forget();
}

int main(int count, char **arguments)
{
    if (count != 3) {
        fprintf(stderr, "unit_check FIRMWARE-1.4.0.elf FIRMWARE-1.5.0.elf\n");
        return 2;
    }
    setvbuf(stdout, NULL, _IOLBF, 0);
    check_talk(arguments[1], "1.4.0");
    check_talk(arguments[2], "1.5.0");
    check_resets(arguments[1]);
    check_motions(arguments[1]);
    check_interruptions(arguments[1]);
    check_steps(arguments[1]);
    check_controls(arguments[1]);
    check_pack(arguments[1]);
    check_light(arguments[1], arguments[2]);
    printf("%d checks, %d wrong\n", checks, failures);
    return failures ? 1 : 0;
}
