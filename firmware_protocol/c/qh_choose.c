#include "qh_choose.h"

uint16_t qh_argument_u16(const qh_command *command, unsigned at)
{
    return (uint16_t)((unsigned)command->arguments[at] | (unsigned)command->arguments[at + 1u] << 8);
}

uint32_t qh_argument_u32(const qh_command *command, unsigned at)
{
    return (uint32_t)qh_argument_u16(command, at) | (uint32_t)qh_argument_u16(command, at + 2u) << 16;
}

static uint32_t distance(uint32_t a, uint32_t b)
{
    return a > b ? a - b : b - a;
}

uint32_t qh_nearest(const uint32_t *values, unsigned count, uint32_t asked)
{
    uint32_t best = values[0];
    unsigned i;
    for (i = 1; i < count; i++) {
        if (distance(values[i], asked) < distance(best, asked)) {
            best = values[i];
        }
    }
    return best;
}

uint16_t qh_not_smaller(const uint16_t *values, unsigned count, uint16_t asked)
{
    unsigned i;
    for (i = 0; i < count; i++) {
        if (values[i] >= asked) {
            return values[i];
        }
    }
    return 0;
}
