/* From the interrupt that takes samples to the main loop that sends them.
 *
 * `in` and `out` only ever count up, modulo 256; in - out samples wait, the oldest in slot out % RING_SLOTS.
 *
 *      out = in                  empty: ring_pop returns 0
 *      |
 *   [ . . . . . . . . ]
 *
 *        out       in            in - out = 4 wait
 *        |         |
 *   [ .  a  b  c  d  . . . ]
 *
 *              in = out + RING_SLOTS    full: the next push takes no slot, but its number is used up
 *              |
 *   [ e  f  g  h  a  b  c  d ]
 *
 *   Overrun: every sample has a number, given whether there was a slot or not. A pop that finds a number further on
 *   than the one expected says how many are missing, and exactly where:  ... g(6) h(7) | k(10): 2 were lost before k.
 *
 * Each index has one writer, `in` the interrupt and `out` the main loop, and is one byte, so no lock is needed on any
 * processor with one core. Slots are volatile, so that a compiler writes a slot before the index that gives it away.
 */
#ifndef SAMPLE_RING_H
#define SAMPLE_RING_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* A power of two, at most 128. 20 bytes each: 16 are 320 bytes and 16 ms at 1 kHz. */
#ifndef RING_SLOTS
#define RING_SLOTS 16u
#endif

typedef struct {
    int16_t counts[6];
    uint32_t ticks;
    uint32_t number;
} ring_sample;

typedef struct {
    volatile ring_sample slots[RING_SLOTS];
    volatile uint8_t in;  /* written by ring_push alone */
    volatile uint8_t out; /* written by ring_pop alone */
    uint32_t number;      /* of the next sample; ring_push alone */
    uint32_t expected;    /* of the next sample; ring_pop alone */
} sample_ring;

/* Nothing else runs while this does. */
void ring_init(sample_ring *ring);

/* In the interrupt. Returns 0 if there was no room: the sample is lost and its number is used up. */
int ring_push(sample_ring *ring, const int16_t counts[6], uint32_t ticks);

/* In the interrupt, where a sample was taken that could not be read. */
void ring_push_missing(sample_ring *ring);

/* In the main loop. Returns 0 if nothing waits. `*lost_before` is how many are missing just before this one. */
int ring_pop(sample_ring *ring, ring_sample *sample, uint32_t *lost_before);

/* How many wait. */
uint8_t ring_waiting(const sample_ring *ring);

#ifdef __cplusplus
}
#endif

#endif
