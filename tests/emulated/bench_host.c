/* The emulated bench: a Dunlin 600's controller and a capture board, instruction by instruction, wired to each other, each
 * behind a pseudo terminal, on one clock.
 *
 *     bench_host UNIT.elf BOARD.elf UNIT-LINK BOARD-LINK
 *
 * Standard input and output belong to the process that computes the mechanics (bench_mechanics.c); when it goes, so does
 * this. Emulated time never runs ahead of real time: what is said is given to a port when its time has come, and what is
 * heard arrives at the cycle that belongs to that moment. A computer that is held up makes answers late, and nothing else. */
#include "bench_port.h"
#include "bench_wires.h"

#include <errno.h>
#include <stdio.h>
#include <time.h>

#define NS_PER_SECOND 1000000000ULL

static uint64_t began;

static void await_cycle(uint64_t cycle)
{
    uint64_t due = began + cycle * 125 / 2 + 1;
    struct timespec until = { .tv_sec = (time_t)(due / NS_PER_SECOND), .tv_nsec = (long)(due % NS_PER_SECOND) };
    while (port_now() < due && clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &until, NULL) == EINTR)
        continue;
}

/* The cycle that is due at a moment. */
static uint64_t due_cycle(uint64_t moment)
{
    return (moment - began) * 2 / 125 + 1;
}

static void carry(struct chip *chip, struct port *port)
{
    struct come come[1024];
    port_give(port, chip->said, chip->said_count);
    chip->said_count = 0;
    size_t count = port_take(port, come, sizeof come / sizeof *come);
    for (size_t i = 0; i < count; i++)
        chip_hears(chip, come[i].byte, due_cycle(come[i].at));
}

int main(int count, char **arguments)
{
    if (count != 5) {
        fprintf(stderr, "usage: bench_host UNIT.elf BOARD.elf UNIT-LINK BOARD-LINK\n");
        return 2;
    }
    board_begin(arguments[2]);
    unit_begin(arguments[1]);
    began = port_now();
    struct port *unit_port = port_open(arguments[3]), *board_port = port_open(arguments[4]);
    uint64_t latest = 0;
    for (uint64_t until = SLICE;; until += SLICE) {
        unit_run(until);
        chip_run(&board, until);
        if (!mechanics_slice(until))
            break;
        await_cycle(until);
        uint64_t late = due_cycle(port_now()) - until;
        latest = late > latest ? late : latest;
        carry(&unit, unit_port);
        carry(&board, board_port);
    }
    fprintf(stderr, "emulated bench: at most %.1f ms behind real time\n", (double)latest / 16000);
    return 0;
}
