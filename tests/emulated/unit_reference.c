// The recursion of Austin 2005, "Generate stepper-motor speed profiles in real time" (also Atmel application note AVR446),
// with the first delay shortened by 0.676, in 32 bits.
#include "unit_reference.h"

#include <math.h>
#include <stdbool.h>

#define TICKS_PER_S 2e6
#define STEPS_PER_S2 (1600.0 * 80.0)

uint32_t reference_delay(double mm_per_s)
{
    return (uint32_t)(TICKS_PER_S / (mm_per_s * 80.0) + 0.5);
}

double reference_exact(int n)
{
    return TICKS_PER_S * sqrt(2.0 / STEPS_PER_S2) * (sqrt(n + 1.0) - sqrt(n));
}

int reference_steps(uint32_t target, int steps, int brake_at, uint32_t second, int change_at, uint32_t *delays, int room)
{
    uint32_t first = (uint32_t)lround(0.676 * TICKS_PER_S * sqrt(2.0 / STEPS_PER_S2));
    uint32_t delay = first > target ? first : target, remainder = 0, level = 0;
    for (int made = 0; made < room;) {
        delays[made++] = delay;
        uint32_t remaining = brake_at && made >= brake_at ? 0 : (uint32_t)(steps - made);
        if (change_at && made == change_at)
            target = second;
        if (!level)
            level = 1;
        if (!remaining && level == 1)
            return made;
        bool down = remaining < level || (delay < target && level > 1);
        bool up = !down && delay > target && remaining > level;
        bool braking = remaining < level;
        if (down && level > 1) {
            level--;
            uint32_t dividend = 2 * delay + remainder, divisor = 4 * level - 1;
            remainder = dividend % divisor;
            delay += dividend / divisor;
        } else if (up) {
            uint32_t dividend = 2 * delay + remainder, divisor = 4 * level + 1;
            remainder = dividend % divisor;
            delay -= dividend / divisor;
            level++;
            if (delay < target)
                delay = target;
        }
        if (!braking && !up && (delay < target ? level == 1 : down && delay > target))
            delay = target;
    }
    return room;
}
