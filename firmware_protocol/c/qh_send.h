/* The part of a device that puts frames on the line, and counts what could not be put there. For qh_device.c alone. */
#ifndef QH_SEND_H
#define QH_SEND_H

#include "qh_device.h"

#ifdef __cplusplus
extern "C" {
#endif

/* The clock, which only ever goes on: samples and bytes tell times that are a little older than the loop's. */
void qh_tell_time(qh_device *device, uint32_t ticks);

/* The frame of `length` bytes that stands from device->frame + 1 on. Returns 0 where the link took nothing, or where
 * `length` is an error. */
int qh_send_frame(qh_device *device, int length);

/* What must go out before anything else: answers, and the DESCRIPTION that announces what follows. */
void qh_send_owed(qh_device *device);

/* The samples collected so far, as a block; as lost where the link takes nothing. */
void qh_send_block(qh_device *device);

#ifdef __cplusplus
}
#endif

#endif
