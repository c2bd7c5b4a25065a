/* From a sensor's FIFO to a device: which sample was taken when, and what was lost where it ran over.
 *
 * The FIFO's interrupt says when sample number `watermark` was taken, to the interrupt's own latency; the others stand
 * a period apart from it. The host fits its clock through thousands of such times, so that one that is late by some
 * microseconds does no harm.
 */
#ifndef FIFO_SAMPLER_H
#define FIFO_SAMPLER_H

#include "imu.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Samples per interrupt. More make fewer interrupts and an older newest sample. */
#ifndef FIFO_WATERMARK
#define FIFO_WATERMARK 8
#endif

typedef struct {
    const imu_driver *driver;
    const imu_bus *bus;
    volatile uint32_t mark_ticks; /* written by the interrupt while `marked` is 0, read by the loop while it is 1 */
    volatile uint8_t marked;      /* the interrupt sets it, the loop clears it */
    uint8_t overran;              /* the next sample comes after an unknown number that were lost */
    uint32_t taken_ticks;         /* when the FIFO was last emptied */
} fifo_sampler;

void fifo_sampler_init(fifo_sampler *sampler, const imu_driver *driver, const imu_bus *bus);

/* Empty FIFO, sampling on; and off. Returns 0 where the sensor did not answer. */
int fifo_sampler_start(fifo_sampler *sampler, uint32_t ticks);
int fifo_sampler_stop(fifo_sampler *sampler);

/* In the FIFO's interrupt. */
void fifo_sampler_mark(fifo_sampler *sampler, uint32_t ticks);

/* In the main loop: hands what the FIFO holds to `device`. An interrupt that was missed costs nothing but some delay:
 * after two watermarks' time the FIFO is read all the same. */
void fifo_sampler_take(fifo_sampler *sampler, qh_device *device, uint32_t ticks);

#ifdef __cplusplus
}
#endif

#endif
