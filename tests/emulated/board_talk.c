/* Handshake, refusals, garbage. */
#include "board_checks.h"

#include <string.h>

static bool refused(uint8_t request, uint8_t reason)
{
    world_run(MS(5));
    const struct frame *frame = world_last(REFUSED);
    return frame && frame->length == 2 && frame->payload[0] == request && frame->payload[1] == reason;
}

static void check_identity(void)
{
    world_forget();
    world_hello(1);
    world_run(MS(5));
    const struct frame *frame = world_last(IDENTITY);
    const uint8_t facts[] = { 1, 0, 0x80, 0x84, 0x1E, 0, 0xE8, 3, 0, 0, 0xFF, 0x7F, 0, 0xFF, 7, 0, 0 };
    check(frame && frame->sequence == 0 && frame->length > sizeof facts && !memcmp(frame->payload, facts, sizeof facts),
          "hello is answered with the identity: version 1, real, 2 MHz, 8 edge channels, 7 outputs, 11 sample channels");
    if (frame)
        figure("it says `%.*s`", (int)(frame->length - sizeof facts), (const char *)frame->payload + sizeof facts);
}

static void check_refusals(void)
{
    world_forget();
    world_hello(2);
    check(refused(0, 2) && !world_last(IDENTITY), "another version is refused");
    world_hello(1);
    world_run(MS(5));
    world_say(DRIVE, (const uint8_t[]){ 7, 0, 1 }, 3);
    check(refused(7, 4) && !world.on[UNIT_SUPPLY], "drive before start is refused");
    world_say(SETTLE, (const uint8_t[]){ 8 }, 1);
    check(refused(8, 4), "settle before start is refused");
    world_say(SAFE, (const uint8_t[]){ 9 }, 1);
    check(refused(9, 4), "safe before start is refused");
    world_say(0x40, (const uint8_t[]){ 1, 2, 3, 4, 5, 6, 7, 8, 9 }, 9);
    check(refused(0, 3), "an unknown type is refused");
    fresh_start();
    world_say(DRIVE, (const uint8_t[]){ 10, 7, 1 }, 3);
    check(refused(10, 1), "an output that is not there is refused");
    world_forget();
    world_say(DRIVE, (const uint8_t[]){ 11, 1 }, 2);
    check(refused(0, 3), "a message of the wrong length is refused");
}

static unsigned missing(void)
{
    world_run(MS(120));
    const struct frame *beat = world_last(BEAT);
    return beat ? wire_u16(beat->payload + 6) : UINT16_MAX;
}

static void check_garbage(void)
{
    fresh_start();
    check(missing() == 0, "no frame is missing at first");
    world_skip();
    check(missing() == 1, "a frame lost on the way is counted");
    uint8_t bytes[300];
    size_t length = wire_write(bytes, DRIVE, 0, (const uint8_t[]){ 1, 0, 1 }, 3);
    bytes[4] ^= 0x10;
    world_skip();
    world_send(bytes, length);
    check(missing() == 2 && !world.on[UNIT_SUPPLY], "a frame with a flipped bit does nothing and is counted");
    length = wire_write(bytes, DRIVE, 0, (const uint8_t[]){ 1, 0, 1 }, 3);
    bytes[4] = 0;
    world_skip();
    world_send(bytes, length);
    check(missing() == 3, "a frame cut in two by a zero is counted");
    uint8_t noise[2000];
    uint32_t chance = 12345;
    for (size_t i = 0; i < sizeof noise; i++) {
        chance = chance * 1664525u + 1013904223u;
        noise[i] = (uint8_t)(chance >> 24);
    }
    world_heart(false);
    world_run(MS(5));
    /* As fast as the link carries it, noise leaves the board no time to hear all of it: the zero that ends it comes later. */
    world_send(noise, sizeof noise);
    world_run(MS(30));
    world_send((const uint8_t[]){ 0 }, 1);
    world_run(MS(50));
    world_heart(true);
    check(missing() == 3, "noise is no frame");
    check(world.broken == 0 && world.gaps == 0, "what the board sends stays whole");
    memset(bytes, 1, sizeof bytes);
    for (size_t sent = 0; sent < sizeof bytes; sent += 100) {
        world_send(bytes + sent, 100);
        world_run(MS(2));
    }
    world_send((const uint8_t[]){ 0 }, 1);
    check(missing() == 3, "a frame that is too long is none");
    uint8_t longest[245];
    memset(longest, 9, sizeof longest);
    world_forget();
    world_say(0x41, longest, sizeof longest);
    check(refused(0, 3) && missing() == 3, "the longest frame there can be is taken whole, though its type is unknown");
    world_hello(1);
    world_run(MS(5));
    world_say(START, NULL, 0);
    check(missing() == 0, "hello sets the count to 0");
}

static void check_heartbeat(void)
{
    fresh_start();
    world_run(MS(1));
    bool in_order = true;
    double soonest = 1e9, latest = -1e9;
    uint16_t number = 0;
    for (int beat = 0; beat < 40; beat++) {
        world_forget();
        world_run(MS(50));
        const struct frame *frame = world_last(BEAT);
        if (!frame || world_count(BEAT) != 1) {
            in_order = false;
            break;
        }
        in_order &= beat == 0 || wire_u16(frame->payload) == (uint16_t)(number + 1);
        number = wire_u16(frame->payload);
        double behind = cycles_behind(wire_u32(frame->payload + 2), world.said_at);
        soonest = behind < soonest ? behind : soonest;
        latest = behind > latest ? behind : latest;
    }
    check(in_order, "every heartbeat is answered once, in order");
    figure("its tick is %.1f to %.1f us behind the last byte's way into the receiver", soonest / 16, latest / 16);
    check(soonest >= -8 && latest < 30 * 16, "the tick of a beat is that of its arrival");
}

void check_talk(void)
{
    check_identity();
    check_refusals();
    check_garbage();
    world_steps(2105, 300);
    world_run(MS(100));
    world_steps(0, 0);
    world_run(MS(1));
    fresh_start();
    world_steps(2105, 300);
    world_run(MS(200));
    world_steps(0, 0);
    check(settle() && learn_clock(), "the board's clock is known");
    check_heartbeat();
}
