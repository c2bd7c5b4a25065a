#include "sample_ring.h"

typedef char ring_has_a_power_of_two_up_to_128[RING_SLOTS <= 128u && (RING_SLOTS & (RING_SLOTS - 1u)) == 0u ? 1 : -1];

void ring_init(sample_ring *ring)
{
    ring->in = 0;
    ring->out = 0;
    ring->number = 0;
    ring->expected = 0;
}

uint8_t ring_waiting(const sample_ring *ring)
{
    return (uint8_t)(ring->in - ring->out);
}

int ring_push(sample_ring *ring, const int16_t counts[6], uint32_t ticks)
{
    uint8_t in = ring->in;
    volatile ring_sample *slot = &ring->slots[in % RING_SLOTS];
    uint32_t number = ring->number++;
    unsigned axis;
    if (ring_waiting(ring) == RING_SLOTS) {
        return 0;
    }
    for (axis = 0; axis < 6u; axis++) {
        slot->counts[axis] = counts[axis];
    }
    slot->ticks = ticks;
    slot->number = number;
    ring->in = (uint8_t)(in + 1u); /* last: from now on the slot is the main loop's */
    return 1;
}

void ring_push_missing(sample_ring *ring)
{
    ring->number++;
}

int ring_pop(sample_ring *ring, ring_sample *sample, uint32_t *lost_before)
{
    uint8_t out = ring->out;
    volatile ring_sample *slot = &ring->slots[out % RING_SLOTS];
    unsigned axis;
    if (ring_waiting(ring) == 0u) {
        return 0;
    }
    for (axis = 0; axis < 6u; axis++) {
        sample->counts[axis] = slot->counts[axis];
    }
    sample->ticks = slot->ticks;
    sample->number = slot->number;
    ring->out = (uint8_t)(out + 1u); /* last: from now on the slot is the interrupt's */
    *lost_before = sample->number - ring->expected;
    ring->expected = sample->number + 1u;
    return 1;
}
