// The Dunlin 600's controller on simavr, with a carriage, end switches, a pack and a light bar around it.
#ifndef UNIT_RIG_H
#define UNIT_RIG_H

#include <stdbool.h>
#include <stdint.h>

#define CPU_HZ 16000000.0
#define TRAVEL_STEPS 44800
#define SEGMENTS 6
#define CONTROLS 4

struct step {
    uint64_t at; // cycle of the rising edge
    bool to_right;
};

struct rig {
    // What the test sets.
    int32_t carriage;      // steps from the left switch's trigger point
    int pack_mv;
    int bounce_steps;      // steps around a trigger point on which its switch chatters
    // What the firmware did.
    struct step *steps;    // all since the last rig_forget()
    int step_count;
    uint64_t narrowest_pulse, shortest_setup; // cycles
    bool enabled, holding;
    int lit;               // segments lit by the last whole frame; −1: none yet
    bool lit_from_first;   // the lit ones are the first ones
    int frames, bad_frames;
    uint64_t longest_low;  // within a frame, cycles
    uint32_t colour;       // of the first segment: green, red, blue
    uint64_t longest_step_interrupt, step_interrupt_sum, step_interrupts; // cycles
    uint64_t longest_uart_interrupt;
};

extern struct rig rig;

// Supplies a new controller with this program; `identity` goes to its EEPROM at 0x10 (48 bytes) unless null.
void rig_power_up(const char *elf, const uint8_t *identity);
// Resets it as its brown-out detector does.
void rig_brown_out(void);
uint8_t rig_eeprom(int address);

uint64_t rig_now(void);
void rig_run(double seconds);

// Begins to send bytes at 115200 baud, or as fast as the receiver takes them.
void rig_send(const char *bytes, int count);
// Runs until all bytes have been received.
void rig_send_out(void);
// Sends a line; the LF is added.
void rig_say(const char *line);
// Runs until the next line that begins with these words, and returns it; others are passed over. Null when it does not
// come in time.
const char *rig_await(const char *beginning, double seconds);
// Runs until the next line, whatever it is.
const char *rig_next(double seconds);
// Cycle at which the last line returned was complete.
uint64_t rig_heard_at(void);
// Forgets unread lines and steps.
void rig_forget(void);

void rig_press(int control, bool down);

#endif
