#include "qh_send.h"
#include "qh_choose.h"

typedef char qh_block_has_1_to_32_samples[QH_BLOCK_SAMPLES >= 1 && QH_BLOCK_SAMPLES <= QH_SAMPLES_MAX ? 1 : -1];

void qh_tell_time(qh_device *device, uint32_t ticks)
{
    if (ticks - device->now_ticks < 0x80000000ul) {
        device->now_ticks = ticks;
    }
}

int qh_send_frame(qh_device *device, int length)
{
    uint8_t *start = device->frame + 1;
    size_t bytes = (size_t)length;
    if (length < 0) {
        return 0;
    }
    if (device->owes_delimiter || device->now_ticks - device->sent_ticks > device->config->tick_hz) {
        start = device->frame; /* after a pause nobody knows what stands on the line */
        start[0] = 0u;
        bytes++;
    }
    if (!device->config->send(device->config->context, start, bytes)) {
        return 0;
    }
    device->owes_delimiter = 0;
    device->sent_ticks = device->now_ticks;
    return 1;
}

static void send_description(qh_device *device)
{
    int length = qh_encode_description(&device->description, device->frame + 1, QH_FRAME_BUFFER - 1u);
    if (qh_send_frame(device, length)) {
        device->owes_description = 0;
        device->description_ticks = device->now_ticks;
    }
}

void qh_send_owed(qh_device *device)
{
    while (device->replies != 0u) {
        unsigned i;
        int length = qh_encode_reply(&device->waiting[0], device->frame + 1, QH_FRAME_BUFFER - 1u);
        if (!qh_send_frame(device, length)) {
            return;
        }
        device->replies--;
        for (i = 0; i < device->replies; i++) {
            device->waiting[i] = device->waiting[i + 1u];
        }
    }
    if (device->owes_description) {
        send_description(device);
    }
}

void qh_send_block(qh_device *device)
{
    qh_samples message;
    unsigned flags = 0;
    int sent = 0;
    if (device->count == 0u) {
        return;
    }
    qh_send_owed(device);
    if (!device->owes_description) {
        flags |= device->lost_before ? (unsigned)QH_STATUS_LOST_BEFORE : 0u;
        flags |= device->supply_low ? (unsigned)QH_STATUS_SUPPLY_LOW : 0u;
        flags |= device->first_block ? (unsigned)QH_STATUS_FIRST_SINCE_POWER_UP : 0u;
        message.index = device->next_index - device->count;
        message.ticks = device->last_sample_ticks;
        message.count = device->count;
        message.status = qh_status_byte(flags, device->description.revision, device->description.boot);
        message.temperature = device->temperature;
        message.counts = (const int16_t(*)[6])device->block;
        sent = qh_send_frame(device, qh_encode_samples(&message, device->frame + 1, QH_FRAME_BUFFER - 1u));
    }
    if (sent) {
        device->lost_before = 0;
        device->first_block = 0;
    } else {
        device->lost += device->count;
        device->lost_before = 1;
    }
    device->count = 0;
}

void qh_device_lost(qh_device *device, uint32_t samples)
{
    if (!device->streaming || samples == 0u) {
        return;
    }
    qh_send_block(device); /* a block holds neighbours only */
    device->next_index += samples;
    device->lost += samples;
    device->lost_before = 1;
}

/* Periods from the last sample to one at `ticks`. */
static uint32_t steps_until(const qh_device *device, uint32_t ticks)
{
    uint32_t elapsed = ticks - device->last_sample_ticks;
    return qh_periods(elapsed, device->config->tick_hz, device->description.rate_mhz);
}

void qh_device_lost_until(qh_device *device, uint32_t ticks)
{
    uint32_t steps;
    if (!device->streaming) {
        return;
    }
    steps = steps_until(device, ticks);
    qh_send_block(device);
    device->lost_before = 1; /* something was lost, even where it comes to none */
    qh_device_lost(device, steps > 1u ? steps - 1u : 0u);
    device->last_sample_ticks = ticks;
}

void qh_device_sample(qh_device *device, const int16_t counts[6], uint32_t ticks)
{
    unsigned axis;
    if (!device->streaming) {
        return;
    }
    qh_tell_time(device, ticks);
    if (device->resumed) {
        uint32_t steps = steps_until(device, ticks);
        device->resumed = 0;
        qh_device_lost(device, steps > 1u ? steps - 1u : 0u);
    }
    if (device->count == 0u) {
        device->block_began_ticks = ticks;
    }
    for (axis = 0; axis < 6u; axis++) {
        device->block[device->count][axis] = counts[axis];
    }
    device->count++;
    device->next_index++;
    device->last_sample_ticks = ticks;
    if (device->count == QH_BLOCK_SAMPLES) {
        qh_send_block(device);
    }
}
