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

uint32_t qh_periods(uint32_t elapsed, uint32_t tick_hz, uint32_t rate_mhz)
{
    uint64_t ticks_1000 = (uint64_t)tick_hz * 1000u;
    uint64_t product = (uint64_t)elapsed * rate_mhz;
    return (uint32_t)(product / ticks_1000 + (product % ticks_1000 >= ticks_1000 / 2u ? 1u : 0u));
}
