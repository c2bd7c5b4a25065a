/* A sensor whose samples come from a table, on an Arm MPS2 board, which QEMU emulates.
 *
 * All but the table is as on a real board: samples go through the ring, blocks through the device, bytes through the
 * UART. A sample is due whenever the counter has gone on by a period. An emulator's processor stands still from time to
 * time; due samples then wait, as they would in a sensor's FIFO.
 */
#include "board.h"
#include "qh_device.h"
#include "sample_ring.h"
#include "table.h"

extern const int16_t table_begin[][6], table_end[][6];

static sample_ring ring;
static qh_device device;
static int lamp; /* to be lit */
static struct {
    uint32_t next_ticks, period_ticks, remainder, rate_mhz;
    uint32_t at, step;  /* in the table */
    uint32_t fraction;  /* of a tick, in 1 / rate_mhz */
    unsigned accel_shift, gyro_shift;
    int running;
} sensor;

static const uint32_t rates_mhz[] = {TABLE_RATE_MHZ / 4u, TABLE_RATE_MHZ / 2u, TABLE_RATE_MHZ};
static const uint16_t accel_ranges_g[] = {TABLE_ACCEL_G, 2 * TABLE_ACCEL_G};
static const uint16_t gyro_ranges_deg_s[] = {TABLE_GYRO_DEG_S, 2 * TABLE_GYRO_DEG_S};

static int is_due(uint32_t now)
{
    return sensor.running && (int32_t)(now - sensor.next_ticks) >= 0;
}

static void take_due_samples(uint32_t now)
{
    while (is_due(now) && ring_waiting(&ring) < RING_SLOTS) {
        const int16_t *row = table_begin[sensor.at];
        int16_t counts[6];
        unsigned axis;
        for (axis = 0; axis < 6u; axis++) {
            counts[axis] = (int16_t)(row[axis] / (1 << (axis < 3u ? sensor.accel_shift : sensor.gyro_shift)));
        }
        (void)ring_push(&ring, counts, sensor.next_ticks);
        sensor.at += sensor.step;
        if (sensor.at >= (uint32_t)(table_end - table_begin)) {
            sensor.at = 0;
        }
        sensor.next_ticks += sensor.period_ticks;
        sensor.fraction += sensor.remainder;
        if (sensor.fraction >= sensor.rate_mhz) {
            sensor.fraction -= sensor.rate_mhz;
            sensor.next_ticks++;
        }
    }
}

static void hand_over(void)
{
    ring_sample sample;
    uint32_t lost;
    while (ring_pop(&ring, &sample, &lost)) {
        qh_device_lost(&device, lost);
        qh_device_sample(&device, sample.counts, sample.ticks);
    }
}

static int send_bytes(void *context, const uint8_t *bytes, size_t length)
{
    (void)context;
    return board_send(bytes, length);
}

static int configure(void *context, const qh_settings *settings, qh_description *description)
{
    (void)context;
    sensor.rate_mhz = settings->rate_mhz;
    sensor.step = TABLE_RATE_MHZ / settings->rate_mhz;
    sensor.period_ticks = (uint32_t)((uint64_t)BOARD_TICK_HZ * 1000u / settings->rate_mhz);
    sensor.remainder = (uint32_t)((uint64_t)BOARD_TICK_HZ * 1000u % settings->rate_mhz);
    sensor.accel_shift = settings->accel_g > TABLE_ACCEL_G;
    sensor.gyro_shift = settings->gyro_deg_s > TABLE_GYRO_DEG_S;
    description->rate_mhz = settings->rate_mhz;
    description->accel_scale = TABLE_ACCEL_SCALE * (float)(1u << sensor.accel_shift);
    description->gyro_scale = TABLE_GYRO_SCALE * (float)(1u << sensor.gyro_shift);
    description->accel_clip = (uint16_t)(32767u >> sensor.accel_shift);
    description->gyro_clip = (uint16_t)(32767u >> sensor.gyro_shift);
    description->accel_delay_us = TABLE_ACCEL_DELAY_US;
    description->gyro_delay_us = TABLE_GYRO_DELAY_US;
    description->accel_bandwidth_hz = TABLE_ACCEL_BANDWIDTH_HZ;
    description->gyro_bandwidth_hz = TABLE_GYRO_BANDWIDTH_HZ;
    return 1;
}

static int start_sampling(void *context)
{
    (void)context;
    ring_init(&ring);
    sensor.next_ticks = board_ticks() + sensor.period_ticks;
    sensor.fraction = 0;
    sensor.running = 1;
    return 1;
}

static void stop_sampling(void *context)
{
    (void)context;
    sensor.running = 0;
    hand_over();
}

static void identify(void *context)
{
    (void)context;
    lamp = 1;
}

static const qh_device_config config = {
    .send = send_bytes,
    .configure = configure,
    .start_sampling = start_sampling,
    .stop_sampling = stop_sampling,
    .identify = identify,
    .rates_mhz = rates_mhz,
    .accel_ranges_g = accel_ranges_g,
    .gyro_ranges_deg_s = gyro_ranges_deg_s,
    .rates = 3,
    .accel_ranges = 2,
    .gyro_ranges = 2,
    .at_power_up = {TABLE_RATE_MHZ, TABLE_ACCEL_G, TABLE_GYRO_DEG_S},
    .uid = {'M', 'P', 'S', '2', 0, 0, 0, 1},
    .tick_hz = BOARD_TICK_HZ,
    .boot = 1, /* it has no memory that lasts, and no chance to draw from: QEMU starts it anew each time */
    .firmware = "quiethand example 1",
    .firmware_length = sizeof "quiethand example 1" - 1u,
    .sensor = "a table",
    .sensor_length = sizeof "a table" - 1u,
};

int main(void)
{
    board_init();
    qh_device_init(&device, &config, board_ticks());
    qh_device_temperature(&device, 2150);
    qh_device_supply(&device, 3300, 0);
    for (;;) {
        int byte;
        take_due_samples(board_ticks());
        hand_over();
        while ((byte = board_receive()) >= 0) {
            qh_device_receive(&device, (uint8_t)byte, board_ticks());
        }
        if (lamp && qh_device_log(&device, 1, "the lamp would blink", 20)) {
            lamp = 0;
        }
        qh_device_poll(&device, board_ticks());
        board_flush();
        if (!is_due(board_ticks())) {
            board_sleep();
        }
    }
}
