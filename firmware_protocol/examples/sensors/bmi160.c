/* Register numbers and bits as in the BMI160 data sheet, BST-BMI160-DS000; from memory: check them against your part. */
#include "bmi160.h"

enum {
    CHIP_ID = 0x00,
    PMU_STATUS = 0x03,
    INT_STATUS_1 = 0x1D,
    TEMPERATURE = 0x20,
    FIFO_LENGTH = 0x22,
    FIFO_DATA = 0x24,
    ACC_CONF = 0x40,
    ACC_RANGE = 0x41,
    GYR_CONF = 0x42,
    GYR_RANGE = 0x43,
    FIFO_CONFIG_0 = 0x46,
    FIFO_CONFIG_1 = 0x47,
    INT_EN_1 = 0x51,
    INT_OUT_CTRL = 0x53,
    INT_MAP_1 = 0x56,
    CMD = 0x7E
};

#define IDENTITY 0xD1u
#define CMD_ACCEL_NORMAL 0x11u
#define CMD_GYRO_NORMAL 0x15u
#define CMD_FIFO_FLUSH 0xB0u
#define ACCEL_IS_NORMAL 0x10u /* in PMU_STATUS */
#define GYRO_IS_NORMAL 0x04u
#define POWER_POLLS 5000 /* each takes 60 us or more on the bus; the gyro needs 80 ms at most */
#define NORMAL_FILTER 0x20u
#define FIFO_GYRO_AND_ACCEL 0xC0u /* without headers */
#define FIFO_IS_FULL 0x20u
#define SAMPLE_SIZE 12

/* acc_odr and gyr_odr codes 8 to 12. -3 dB in the normal filter mode, sections 2.4.1 and 2.4.2; the accelerometer's are
 * in proportion to the 5.06 Hz that it states for 50 Hz at a quarter of the bandwidth, the gyro's are from memory. */
static const uint32_t rates_mhz[] = {100000u, 200000u, 400000u, 800000u, 1600000u};
static const uint16_t accel_bandwidth_hz[] = {40, 80, 162, 324, 684};
static const uint16_t gyro_bandwidth_hz[] = {40, 75, 137, 255, 524};
static const uint16_t accel_ranges_g[] = {2, 4, 8, 16};
static const uint8_t accel_codes[] = {3, 5, 8, 12};
static const uint16_t gyro_ranges_deg_s[] = {250, 500, 1000, 2000};
static const float gyro_counts_per_deg_s[] = {131.2f, 65.6f, 32.8f, 16.4f}; /* table 2 */

static unsigned place(const uint16_t *ranges, uint16_t range)
{
    unsigned i = 0;
    while (i < 3u && ranges[i] != range) {
        i++;
    }
    return i;
}

static int power_up(const imu_bus *bus, uint8_t command, uint8_t wanted)
{
    uint8_t status = 0;
    int polls;
    if (!imu_write(bus, CMD, command)) {
        return 0;
    }
    for (polls = 0; polls < POWER_POLLS; polls++) {
        if (!bus->read(bus->handle, PMU_STATUS, &status, 1)) {
            return 0;
        }
        if ((status & wanted) != 0u) {
            return 1;
        }
    }
    return 0;
}

static int configure(const imu_bus *bus, const qh_settings *settings, qh_description *description)
{
    unsigned accel = place(accel_ranges_g, settings->accel_g);
    unsigned gyro = place(gyro_ranges_deg_s, settings->gyro_deg_s);
    unsigned rate = 0;
    uint8_t identity;
    while (rate < 4u && rates_mhz[rate] != settings->rate_mhz) {
        rate++;
    }
    if (!bus->read(bus->handle, CHIP_ID, &identity, 1) || identity != IDENTITY ||
        !power_up(bus, CMD_ACCEL_NORMAL, ACCEL_IS_NORMAL) || !power_up(bus, CMD_GYRO_NORMAL, GYRO_IS_NORMAL) ||
        !imu_write(bus, ACC_CONF, (uint8_t)(NORMAL_FILTER | (rate + 8u))) ||
        !imu_write(bus, ACC_RANGE, accel_codes[accel]) ||
        !imu_write(bus, GYR_CONF, (uint8_t)(NORMAL_FILTER | (rate + 8u))) ||
        !imu_write(bus, GYR_RANGE, (uint8_t)(3u - gyro))) {
        return 0;
    }
    description->rate_mhz = rates_mhz[rate];
    description->accel_scale = IMU_G * (float)accel_ranges_g[accel] / 32768.0f; /* 16,384 to 2,048 per g, table 2 */
    description->gyro_scale = IMU_RAD_PER_DEG / gyro_counts_per_deg_s[gyro];
    description->accel_clip = description->gyro_clip = 32767u;
    description->accel_delay_us = description->gyro_delay_us = QH_UNKNOWN_DELAY; /* no stated figure was read */
    description->accel_bandwidth_hz = accel_bandwidth_hz[rate];
    description->gyro_bandwidth_hz = gyro_bandwidth_hz[rate];
    return 1;
}

static int start(const imu_bus *bus, uint8_t watermark)
{
    return imu_write(bus, FIFO_CONFIG_0, (uint8_t)(watermark * SAMPLE_SIZE / 4)) && /* in units of 4 bytes */
           imu_write(bus, FIFO_CONFIG_1, FIFO_GYRO_AND_ACCEL) && imu_write(bus, INT_EN_1, 0x40u) &&
           imu_write(bus, INT_OUT_CTRL, 0x0Au) && /* INT1 on, push-pull, high */
           imu_write(bus, INT_MAP_1, 0x40u) && imu_write(bus, CMD, CMD_FIFO_FLUSH);
}

static int stop(const imu_bus *bus)
{
    return imu_write(bus, INT_EN_1, 0) && imu_write(bus, FIFO_CONFIG_1, 0);
}

static int temperature(const imu_bus *bus, int16_t *centi_deg_c)
{
    uint8_t bytes[2];
    if (!bus->read(bus->handle, TEMPERATURE, bytes, 2)) {
        return 0;
    }
    *centi_deg_c = (int16_t)((int32_t)imu_i16(bytes[1], bytes[0]) * 100 / 512 + 2300); /* 2^-9 K, 0 is 23 degC */
    return 1;
}

static int read_fifo(const imu_bus *bus, int16_t counts[][6], int room, int *overrun)
{
    uint8_t bytes[SAMPLE_SIZE], status;
    int n, i, axis;
    if (!bus->read(bus->handle, INT_STATUS_1, &status, 1) || !bus->read(bus->handle, FIFO_LENGTH, bytes, 2)) {
        return -1;
    }
    if ((status & FIFO_IS_FULL) != 0u) {
        *overrun = 1;
        return imu_write(bus, CMD, CMD_FIFO_FLUSH) ? 0 : -1;
    }
    n = ((bytes[1] & 7) << 8 | bytes[0]) / SAMPLE_SIZE;
    n = n < room ? n : room;
    for (i = 0; i < n; i++) {
        if (!bus->read(bus->handle, FIFO_DATA, bytes, SAMPLE_SIZE)) {
            return -1;
        }
        for (axis = 0; axis < 6; axis++) { /* in the order of the registers: gyro, then accelerometer */
            counts[i][(axis + 3) % 6] = imu_i16(bytes[2 * axis + 1], bytes[2 * axis]);
        }
    }
    return n;
}

const imu_driver bmi160 = {
    QH_TEXT("BMI160"), rates_mhz, accel_ranges_g, gyro_ranges_deg_s, 5, 4, 4, 10,
    configure, start, stop, temperature, read_fifo,
};
