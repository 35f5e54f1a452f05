/* Talk with the process that computes the mechanics, in lines over standard input and output.
 *
 * | to it | |
 * | S cycle | a step pulse began |
 * | D level cycle, E level cycle, H level cycle | direction (1: right), driver enabled, driver holding |
 * | L segments cycle | light bar |
 * | O output level cycle | an output of the board, numbered as in its protocol |
 * | T cycle heard | all up to this cycle has been told; when the board's receiver took its last byte |
 *
 * | from it | |
 * | E channel level cycle | an edge, its channel numbered as in the board's protocol |
 * | V multiplexer input millivolts | a voltage, from now on |
 * | R | the supply broke down: the unit resets |
 * | G | go on |
 */
#include "bench_wires.h"

#include <stdio.h>

/* Where the edges of each channel go: the board's pin, the unit's pin. */
static const struct {
    char port;
    uint8_t pin;
} to_board[8] = { { 0, 0 }, { 0, 0 }, { 'C', 1 }, { 'C', 2 }, { 'C', 3 }, { 'C', 4 }, { 'C', 5 }, { 'D', 2 } };
enum { LEFT_END = 4, RIGHT_END = 5, FIRST_CONTROL = 8, CONTROLS = 4 };

void mechanics_tell(char what, int number, int level, uint64_t at)
{
    printf("%c", what);
    if (number >= 0)
        printf(" %d", number);
    if (level >= 0)
        printf(" %d", level);
    printf(" %llu\n", (unsigned long long)at);
}

static void edge(unsigned channel, bool level, uint64_t at)
{
    at += SLICE;
    if (channel < 8 && to_board[channel].port)
        chip_drive(&board, to_board[channel].port, to_board[channel].pin, level, at);
    if (channel == LEFT_END || channel == RIGHT_END)
        chip_drive(&unit, 'D', (uint8_t)channel, level, at);
    /* A pressed control pulls its line down. */
    if (channel >= FIRST_CONTROL && channel < FIRST_CONTROL + CONTROLS)
        chip_drive(&unit, 'C', (uint8_t)(1 + channel - FIRST_CONTROL), !level, at);
}

bool mechanics_slice(uint64_t until)
{
    printf("T %llu %llu\n", (unsigned long long)until, (unsigned long long)board.heard_at);
    fflush(stdout);
    char line[128];
    while (fgets(line, sizeof line, stdin)) {
        unsigned first, second, millivolts;
        unsigned long long at;
        if (line[0] == 'G')
            return true;
        if (line[0] == 'R')
            unit_brown_out();
        else if (sscanf(line, "E %u %u %llu", &first, &second, &at) == 3)
            edge(first, second, at);
        else if (sscanf(line, "V %u %u %u", &first, &second, &millivolts) == 3)
            board_voltage(first, second, millivolts);
        else {
            fprintf(stderr, "the mechanics said %s", line);
            return false;
        }
        if (line[0] == 'V' && first == 0 && second == 0)
            unit_millivolts = millivolts;
    }
    return false;
}
