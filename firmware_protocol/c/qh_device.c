#include "qh_device.h"
#include "qh_choose.h"

#define DESCRIPTION_EVERY_S 10u
#define PARTIAL_BLOCK_WAITS 4u /* no sample waits longer than a second over this for its block to fill */

typedef char qh_block_has_1_to_32_samples[QH_BLOCK_SAMPLES >= 1 && QH_BLOCK_SAMPLES <= QH_SAMPLES_MAX ? 1 : -1];

/* Samples and bytes tell times that are a little older than the loop's: the clock goes on only. */
static void tell_time(qh_device *device, uint32_t ticks)
{
    if (ticks - device->now_ticks < 0x80000000ul) {
        device->now_ticks = ticks;
    }
}

/* The frame of `length` bytes that stands from device->frame + 1 on. */
static int send_frame(qh_device *device, int length)
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
    if (send_frame(device, length)) {
        device->owes_description = 0;
        device->description_ticks = device->now_ticks;
    }
}

/* What must go out before anything else: answers, and the DESCRIPTION that announces what follows. */
static void send_owed(qh_device *device)
{
    while (device->replies != 0u) {
        unsigned i;
        int length = qh_encode_reply(&device->waiting[0], device->frame + 1, QH_FRAME_BUFFER - 1u);
        if (!send_frame(device, length)) {
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

static void send_block(qh_device *device)
{
    qh_samples message;
    unsigned flags = 0;
    int sent = 0;
    if (device->count == 0u) {
        return;
    }
    send_owed(device);
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
        sent = send_frame(device, qh_encode_samples(&message, device->frame + 1, QH_FRAME_BUFFER - 1u));
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

void qh_device_sample(qh_device *device, const int16_t counts[6], uint32_t ticks)
{
    unsigned axis;
    if (!device->streaming) {
        return;
    }
    tell_time(device, ticks);
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
        send_block(device);
    }
}

void qh_device_lost(qh_device *device, uint32_t samples)
{
    if (!device->streaming || samples == 0u) {
        return;
    }
    send_block(device); /* a block holds neighbours only */
    device->next_index += samples;
    device->lost += samples;
    device->lost_before = 1;
}

void qh_device_lost_until(qh_device *device, uint32_t ticks)
{
    uint64_t elapsed = ticks - device->last_sample_ticks;
    uint64_t ticks_1000 = (uint64_t)device->config->tick_hz * 1000u;
    /* Under 2^32 ticks at under 2^32 mHz: the product is under 2^64. */
    uint64_t product = elapsed * device->description.rate_mhz;
    uint64_t steps = product / ticks_1000 + (product % ticks_1000 >= ticks_1000 / 2u ? 1u : 0u);
    if (!device->streaming) {
        return;
    }
    send_block(device);
    device->lost_before = 1; /* something was lost, even where it comes to none */
    if (steps > 1u) {
        qh_device_lost(device, (uint32_t)(steps - 1u));
    }
    device->last_sample_ticks = ticks;
}

/* Set the sensor, if it has not done what it was last told to. */
static int ensure_configured(qh_device *device)
{
    if (!device->configured) {
        const qh_device_config *config = device->config;
        if (config->configure(config->context, &device->settings, &device->description)) {
            device->configured = 1;
            device->owes_description = 1;
        }
    }
    return device->configured;
}

static int begin(qh_device *device, uint32_t ticks)
{
    if (!device->config->start_sampling(device->config->context)) {
        return 0;
    }
    device->streaming = 1;
    device->count = 0;
    device->last_sample_ticks = ticks;
    return 1;
}

int qh_device_start(qh_device *device, uint32_t ticks)
{
    tell_time(device, ticks);
    if (device->streaming) {
        return 1;
    }
    if (!ensure_configured(device) || !begin(device, ticks)) {
        return 0;
    }
    device->health_ticks = ticks;
    device->description_ticks = ticks;
    return 1;
}

void qh_device_stop(qh_device *device)
{
    if (device->streaming) {
        device->config->stop_sampling(device->config->context);
        send_block(device);
        device->streaming = 0;
    }
}

static int same_settings(const qh_settings *a, const qh_settings *b)
{
    return a->rate_mhz == b->rate_mhz && a->accel_g == b->accel_g && a->gyro_deg_s == b->gyro_deg_s;
}

static enum qh_result change(qh_device *device, const qh_settings *wanted, uint32_t ticks)
{
    const qh_device_config *config = device->config;
    qh_description before = device->description;
    int streamed = device->streaming;
    int done;
    if (device->configured && same_settings(wanted, &device->settings)) {
        return QH_OK;
    }
    qh_device_stop(device); /* what was taken at the old scale goes out under the old revision */
    done = config->configure(config->context, wanted, &device->description);
    if (done) {
        device->settings = *wanted;
        device->configured = 1;
        device->description.revision = (uint8_t)(before.revision + 1u);
        device->owes_description = 1;
    } else { /* half of it may have been done: back to what was */
        device->description = before;
        device->configured = 0;
        if (!ensure_configured(device)) {
            return QH_HARDWARE_FAULT;
        }
    }
    if (streamed && !begin(device, ticks)) {
        return QH_HARDWARE_FAULT;
    }
    return done ? QH_OK : QH_HARDWARE_FAULT;
}

static enum qh_result set_rate(qh_device *device, const qh_command *command, uint32_t ticks)
{
    const qh_device_config *config = device->config;
    qh_settings wanted = device->settings;
    uint32_t asked;
    if (command->length < 4u) {
        return QH_BAD_ARGUMENT;
    }
    asked = qh_argument_u32(command, 0);
    if (asked == 0u) {
        return QH_BAD_ARGUMENT;
    }
    wanted.rate_mhz = qh_nearest(config->rates_mhz, config->rates, asked);
    return change(device, &wanted, ticks);
}

static enum qh_result set_ranges(qh_device *device, const qh_command *command, uint32_t ticks)
{
    const qh_device_config *config = device->config;
    qh_settings wanted = device->settings;
    uint16_t accel, gyro;
    if (command->length < 4u) {
        return QH_BAD_ARGUMENT;
    }
    accel = qh_argument_u16(command, 0);
    gyro = qh_argument_u16(command, 2);
    if (accel != 0u) {
        wanted.accel_g = qh_not_smaller(config->accel_ranges_g, config->accel_ranges, accel);
    }
    if (gyro != 0u) {
        wanted.gyro_deg_s = qh_not_smaller(config->gyro_ranges_deg_s, config->gyro_ranges, gyro);
    }
    if (wanted.accel_g == 0u || wanted.gyro_deg_s == 0u) {
        return QH_BAD_ARGUMENT;
    }
    return change(device, &wanted, ticks);
}

static enum qh_result obey(qh_device *device, const qh_command *command, uint32_t ticks)
{
    switch (command->command) {
    case QH_DESCRIBE:
        device->owes_description = (uint8_t)ensure_configured(device);
        return device->configured ? QH_OK : QH_HARDWARE_FAULT;
    case QH_START:
        return qh_device_start(device, ticks) ? QH_OK : QH_HARDWARE_FAULT;
    case QH_STOP:
        qh_device_stop(device);
        return QH_OK;
    case QH_SET_RATE:
        return set_rate(device, command, ticks);
    case QH_SET_RANGES:
        return set_ranges(device, command, ticks);
    case QH_IDENTIFY:
        if (device->config->identify == NULL) {
            return QH_UNKNOWN_COMMAND;
        }
        device->config->identify(device->config->context);
        return QH_OK;
    case QH_CLOCK:
        return QH_OK;
    default:
        return QH_UNKNOWN_COMMAND;
    }
}

void qh_device_receive(qh_device *device, uint8_t byte, uint32_t ticks)
{
    qh_command command;
    qh_reply reply;
    tell_time(device, ticks);
    if (qh_command_parse(&device->parser, byte, &command) != QH_COMMAND_CAME ||
        device->replies == QH_REPLIES_WAITING) {
        return;
    }
    reply.request = command.request;
    reply.command = command.command;
    reply.ticks = ticks;
    reply.result = (uint8_t)obey(device, &command, ticks);
    device->waiting[device->replies++] = reply;
    send_owed(device);
}

void qh_device_poll(qh_device *device, uint32_t ticks)
{
    uint32_t second = device->config->tick_hz;
    tell_time(device, ticks);
    if (device->streaming && device->now_ticks - device->description_ticks >= DESCRIPTION_EVERY_S * second) {
        device->owes_description = 1;
    }
    send_owed(device);
    if (!device->streaming) {
        return;
    }
    if (device->count != 0u && device->now_ticks - device->block_began_ticks >= second / PARTIAL_BLOCK_WAITS) {
        send_block(device);
    }
    if (device->now_ticks - device->health_ticks >= second) {
        qh_health health;
        health.samples = device->next_index;
        health.lost = device->lost;
        health.supply_mv = device->supply_mv;
        if (send_frame(device, qh_encode_health(&health, device->frame + 1, QH_FRAME_BUFFER - 1u))) {
            device->health_ticks = device->now_ticks;
        }
    }
}

int qh_device_event(qh_device *device, const qh_event *event)
{
    return device->streaming &&
           send_frame(device, qh_encode_event(event, device->frame + 1, QH_FRAME_BUFFER - 1u));
}

int qh_device_log(qh_device *device, uint8_t level, const char *text, size_t length)
{
    size_t room = QH_FRAME_BUFFER - 1u - QH_LOG_FRAME_MAX(0u) - 1u; /* one code byte more from 254 bytes on */
    if (length > room) {
        length = room;
    }
    return send_frame(device, qh_encode_log(level, text, length, device->frame + 1, QH_FRAME_BUFFER - 1u));
}

void qh_device_temperature(qh_device *device, int16_t centi_deg_c)
{
    device->temperature = centi_deg_c;
}

void qh_device_supply(qh_device *device, uint16_t millivolts, int low)
{
    device->supply_mv = millivolts;
    device->supply_low = low ? 1u : 0u;
}

void qh_device_printed(qh_device *device)
{
    device->owes_delimiter = 1;
}

int qh_device_init(qh_device *device, const qh_device_config *config, uint32_t ticks)
{
    unsigned char *bytes = (unsigned char *)device; /* a constant to copy from would cost its size again */
    size_t i;
    for (i = 0; i < sizeof *device; i++) {
        bytes[i] = 0;
    }
    device->config = config;
    device->settings = config->at_power_up;
    device->temperature = QH_UNKNOWN_TEMPERATURE;
    device->first_block = 1;
    device->owes_delimiter = 1;
    device->now_ticks = ticks;
    device->sent_ticks = ticks;
    qh_command_parser_init(&device->parser);
    for (i = 0; i < QH_UID_SIZE; i++) {
        device->description.uid[i] = config->uid[i];
    }
    device->description.tick_hz = config->tick_hz;
    device->description.boot = config->boot;
    device->description.firmware = config->firmware;
    device->description.firmware_length = config->firmware_length;
    device->description.sensor = config->sensor;
    device->description.sensor_length = config->sensor_length;
    ensure_configured(device);
    send_owed(device);
    return device->configured;
}
