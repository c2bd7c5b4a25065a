/* The ring against an array that remembers everything: any order of pushes and pops, a million of each. */
#include "sample_ring.h"
#include <stdio.h>
#include <stdlib.h>

static void must(int holds, const char *what)
{
    if (!holds) {
        fprintf(stderr, "%s\n", what);
        exit(1);
    }
}

int main(void)
{
    static sample_ring ring;
    static uint32_t kept[256];
    uint32_t head = 0, tail = 0, number = 0, last = 0, lost_seen = 0, dropped = 0, full = 0, empty = 0;
    uint32_t lost, seed = 1, step;
    ring_sample sample;
    ring_init(&ring);
    must(!ring_pop(&ring, &sample, &lost), "a new ring is empty");
    for (step = 0; step < 2000000u; step++) {
        unsigned choice;
        seed = seed * 1664525u + 1013904223u;
        choice = seed >> 24;
        if (step / 1000u % 3u == 0u ? choice < 150u : choice < 110u) {
            int16_t counts[6] = {(int16_t)number, 1, 2, 3, 4, (int16_t)~number};
            int room = head - tail < RING_SLOTS;
            must(ring_push(&ring, counts, number * 7u) == room, "a push fails where there is no room, and only there");
            if (room) {
                kept[head++ % 256u] = number;
            } else {
                dropped++;
                full++;
            }
            number++;
        } else if (choice < 252u) {
            int there = head != tail;
            must(ring_pop(&ring, &sample, &lost) == there, "a pop fails where nothing waits, and only there");
            empty += !there;
            if (there) {
                uint32_t wanted = kept[tail++ % 256u];
                must(sample.number == wanted && sample.ticks == wanted * 7u, "in order, none twice");
                must(sample.counts[0] == (int16_t)wanted && sample.counts[5] == (int16_t)~wanted, "whole");
                must(lost == wanted - last, "how many are missing, and where");
                lost_seen += lost;
                last = wanted + 1u;
            }
        } else {
            ring_push_missing(&ring);
            dropped++;
            number++;
        }
        must(ring_waiting(&ring) == head - tail, "how many wait");
    }
    while (ring_pop(&ring, &sample, &lost)) {
        lost_seen += lost;
        last = sample.number + 1u;
    }
    must(lost_seen + (number - last) == dropped, "every loss is counted once");
    must(full > 100u && empty > 100u, "it was full and empty often");
    printf("%lu pushed, %lu lost\n", (unsigned long)number, (unsigned long)dropped);
    return 0;
}
