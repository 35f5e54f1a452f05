// What the checks of the unit's firmware share.
#ifndef UNIT_CHECK_H
#define UNIT_CHECK_H

#include "unit_reference.h"
#include "unit_rig.h"

#define CHECK(good, ...) checked((good), __LINE__, __FILE__, __VA_ARGS__)
// The next line begins with these words and comes within this many seconds.
#define SAYS(beginning, seconds) says((beginning), (seconds), __LINE__, __FILE__)
// A command and its answer at once.
#define ASK(command, answer) (rig_say(command), SAYS((answer), 0.05))

bool checked(bool good, int at, const char *file, const char *what, ...) __attribute__((format(printf, 4, 5)));
bool says(const char *beginning, double seconds, int at, const char *file);
// The number at the end of a line.
double place(const char *line);

// A unit that has just started up, its carriage so far from the left switch.
void start(const char *elf, double mm);
// A unit that knows where it is, at the left end.
void start_homed(const char *elf);

void check_talk(const char *elf, const char *version);
void check_resets(const char *elf);
void check_motions(const char *elf);
void check_interruptions(const char *elf);
void check_steps(const char *elf);
void check_controls(const char *elf);
void check_pack(const char *elf);
void check_light(const char *on_change, const char *refreshed);

#endif
