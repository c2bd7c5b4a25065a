/* What a command asks for, which of a sensor's settings comes closest, and how many samples a time holds.
 * Pure functions. */
#ifndef QH_CHOOSE_H
#define QH_CHOOSE_H

#include "qh_command.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Arguments from byte `at` on; the caller has looked at the length. */
uint16_t qh_argument_u16(const qh_command *command, unsigned at);
uint32_t qh_argument_u32(const qh_command *command, unsigned at);

/* The one nearest to `asked`, the first of two as near; `count` is at least 1. */
uint32_t qh_nearest(const uint32_t *values, unsigned count, uint32_t asked);

/* Periods at `rate_mhz` in `elapsed` ticks, to the nearest. */
uint32_t qh_periods(uint32_t elapsed, uint32_t tick_hz, uint32_t rate_mhz);

/* The first that is not smaller than `asked`, of values that rise; 0 where there is none. */
uint16_t qh_not_smaller(const uint16_t *values, unsigned count, uint16_t asked);

#ifdef __cplusplus
}
#endif

#endif
