#include "qh_device.h"
#include "qh_choose.h"
#include "qh_send.h"

#define DESCRIPTION_EVERY_S 10u
#define PARTIAL_BLOCK_WAITS 4u /* no sample waits longer than a second over this for its block to fill */

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
    device->resumed = 0;
    device->count = 0;
    device->last_sample_ticks = ticks;
    return 1;
}

int qh_device_start(qh_device *device, uint32_t ticks)
{
    qh_tell_time(device, ticks);
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
        qh_send_block(device);
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
    if (streamed) {
        uint32_t last = device->last_sample_ticks;
        if (!begin(device, ticks)) {
            return QH_HARDWARE_FAULT;
        }
        if (device->description.rate_mhz == before.rate_mhz) {
            device->last_sample_ticks = last; /* the host goes on counting by the time: what it missed is lost */
            device->resumed = 1;
        }
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
    qh_tell_time(device, ticks);
    if (qh_command_parse(&device->parser, byte, &command) != QH_COMMAND_CAME ||
        device->replies == QH_REPLIES_WAITING) {
        return;
    }
    reply.request = command.request;
    reply.command = command.command;
    reply.ticks = ticks;
    reply.result = (uint8_t)obey(device, &command, ticks);
    device->waiting[device->replies++] = reply;
    qh_send_owed(device);
}

void qh_device_poll(qh_device *device, uint32_t ticks)
{
    uint32_t second = device->config->tick_hz;
    qh_tell_time(device, ticks);
    if (device->streaming && device->now_ticks - device->description_ticks >= DESCRIPTION_EVERY_S * second) {
        device->owes_description = 1;
    }
    qh_send_owed(device);
    if (!device->streaming) {
        return;
    }
    if (device->count != 0u && device->now_ticks - device->block_began_ticks >= second / PARTIAL_BLOCK_WAITS) {
        qh_send_block(device);
    }
    if (device->now_ticks - device->health_ticks >= second) {
        qh_health health;
        health.samples = device->next_index;
        health.lost = device->lost;
        health.supply_mv = device->supply_mv;
        if (qh_send_frame(device, qh_encode_health(&health, device->frame + 1, QH_FRAME_BUFFER - 1u))) {
            device->health_ticks = device->now_ticks;
        }
    }
}

int qh_device_event(qh_device *device, const qh_event *event)
{
    return device->streaming &&
           qh_send_frame(device, qh_encode_event(event, device->frame + 1, QH_FRAME_BUFFER - 1u));
}

int qh_device_log(qh_device *device, uint8_t level, const char *text, size_t length)
{
    size_t room = QH_FRAME_BUFFER - 1u - QH_LOG_FRAME_MAX(0u) - 1u; /* one code byte more from 254 bytes on */
    if (length > room) {
        length = room;
    }
    return qh_send_frame(device, qh_encode_log(level, text, length, device->frame + 1, QH_FRAME_BUFFER - 1u));
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
    qh_send_owed(device);
    return device->configured;
}
