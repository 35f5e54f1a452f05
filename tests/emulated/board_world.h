/* The world around the emulated capture board: its controller, instruction by instruction, pins that are driven at known
 * cycles, voltages behind its multiplexers, and everything it said. */
#ifndef BOARD_WORLD_H
#define BOARD_WORLD_H

#include "board_wire.h"
#include "controller.h"

#include <stddef.h>

#define MS(n) ((uint64_t)((n) * 16000.0))

enum channel { STEP, DIRECTION, ENCODER_A, ENCODER_B, LEFT_END, RIGHT_END, EMERGENCY_STOP, GUARD, CHANNELS };
enum output { UNIT_SUPPLY, DUMMY_LOAD, LOW_PACK, PRESS_1, PRESS_2, PRESS_3, PRESS_4, OUTPUTS };
#define SAMPLE_CHANNELS 11
#define VECTORS 26

struct edge {
    uint64_t at;    /* cycles for what was driven, ticks for what was told */
    uint64_t heard; /* when what was told arrived, cycles */
    uint8_t level;
};
struct edges {
    struct edge *all;
    size_t count, room;
};
struct sample {
    uint64_t tick;
    int32_t code;
};
struct samples {
    struct sample *all;
    size_t count, room;
};

struct world {
    avr_t *avr;
    /* What was driven, and what the board said of it, by channel. */
    struct edges driven[CHANNELS], told[CHANNELS];
    struct samples samples[SAMPLE_CHANNELS];
    uint8_t levels[CHANNELS];
    /* When each output last went on or off, in cycles. */
    uint64_t switched_at[OUTPUTS];
    uint8_t on[OUTPUTS];
    /* Frames that are neither edges nor samples, in the order of their coming. */
    struct frame *frames;
    size_t frames_count, frames_room;
    /* Trouble on the link. */
    unsigned broken, gaps, backwards;
    uint64_t bytes;
    uint64_t lost;
    unsigned overruns;
    /* The longest that each interrupt ran, by its vector, cycles, with those that ran inside it. */
    uint64_t longest[VECTORS];
    /* Millivolts at inputs 0 to 7 of either multiplexer. */
    uint32_t millivolts[2][8];
    uint64_t asleep;  /* cycles */
    uint64_t said_at; /* when the last byte went into the board's receiver */
};

extern struct world world;

void world_begin(const char *firmware);
void world_run(uint64_t cycles);
/* Bytes of the stack that were used at most, and never. */
unsigned world_stack_used(void);
unsigned world_stack_left(void);
/* Forgets what was driven and told. */
void world_forget(void);
/* Drives the inputs again after the controller was reset, which lets go of them. */
void world_after_reset(void);
/* Drives an input now, and notes it. */
void world_drive(enum channel channel, uint8_t level);

/* Changes a voltage now. */
void world_voltage(int multiplexer, int input, uint32_t millivolts);

/* Rising edges of STEP about every `cycles`, off by at most `scatter`; 0 stops them. The encoder's edges likewise, forwards. */
void world_steps(uint64_t cycles, uint64_t scatter);
void world_encoder(uint64_t cycles, uint64_t scatter);

/* For the parts of the world: makes room for one more, notes an edge, begins to hear. */
void *world_grown(void *all, size_t count, size_t *room, size_t size);
void world_note(struct edges *edges, uint64_t at, uint8_t level);
void world_link_begin(void);

/* Sends bytes as the link would carry them. */
void world_send(const uint8_t *bytes, size_t length);
/* Sends a frame under the next sequence number. */
void world_say(uint8_t type, const uint8_t *payload, size_t length);
/* Leaves out a sequence number, as a frame lost on the way would. */
void world_skip(void);
/* Beats every 50 ms with the numbers 0, 1, 2 ..., or not at all. */
void world_heart(bool beating);
/* Zero byte and `hello`, which has sequence number 0. */
void world_hello(uint8_t version);

/* The last frame of a type; NULL when there is none. */
const struct frame *world_last(uint8_t type);
size_t world_count(uint8_t type);

#endif
