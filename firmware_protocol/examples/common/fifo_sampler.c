#include "fifo_sampler.h"

#define BATCH 4 /* samples read at once: 48 bytes of stack */

void fifo_sampler_init(fifo_sampler *sampler, const imu_driver *driver, const imu_bus *bus)
{
    sampler->driver = driver;
    sampler->bus = bus;
    sampler->mark_ticks = 0;
    sampler->marked = 0;
    sampler->overran = 0;
    sampler->taken_ticks = 0;
}

int fifo_sampler_start(fifo_sampler *sampler, uint32_t ticks)
{
    sampler->marked = 0;
    sampler->overran = 0;
    sampler->taken_ticks = ticks;
    return sampler->driver->start(sampler->bus, FIFO_WATERMARK);
}

int fifo_sampler_stop(fifo_sampler *sampler)
{
    return sampler->driver->stop(sampler->bus);
}

void fifo_sampler_mark(fifo_sampler *sampler, uint32_t ticks)
{
    if (!sampler->marked) {
        sampler->mark_ticks = ticks;
        sampler->marked = 1;
    }
}

/* Ticks of `samples` periods. Negative counts go back. */
static uint32_t span(const qh_device *device, int32_t samples)
{
    uint64_t size = (uint64_t)(samples < 0 ? -samples : samples) * device->description.tick_hz * 1000u;
    uint32_t ticks = (uint32_t)(size / device->description.rate_mhz);
    return samples < 0 ? 0u - ticks : ticks;
}

void fifo_sampler_take(fifo_sampler *sampler, qh_device *device, uint32_t ticks)
{
    int16_t counts[BATCH][6];
    uint32_t mark = ticks;
    int32_t at_mark; /* which sample was taken at the mark */
    int32_t taken = 0;
    int n, i, overrun = 0;
    if (sampler->marked) {
        mark = sampler->mark_ticks;
        at_mark = FIFO_WATERMARK - 1;
        sampler->marked = 0; /* before the FIFO is read: an interrupt from now on is about what is left */
    } else {
        uint32_t since = ticks - sampler->taken_ticks;
        if (since < span(device, 2 * FIFO_WATERMARK)) {
            return;
        }
        at_mark = (int32_t)(since / span(device, 1)) - 1; /* so many should wait, the newest taken about now */
    }
    sampler->taken_ticks = ticks;
    do {
        n = sampler->driver->read_fifo(sampler->bus, counts, BATCH, &overrun);
        if (overrun) {
            sampler->overran = 1;
            return;
        }
        for (i = 0; i < n; i++, taken++) {
            uint32_t when = mark + span(device, taken - at_mark);
            if (sampler->overran) {
                qh_device_lost_until(device, when);
                sampler->overran = 0;
            }
            qh_device_sample(device, counts[i], when);
        }
    } while (n == BATCH);
}
