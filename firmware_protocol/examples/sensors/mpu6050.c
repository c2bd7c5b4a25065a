/* Register numbers and bits as in the register map RM-MPU-6000A; from memory: check them against your part. */
#include "mpu6050.h"

enum {
    SMPLRT_DIV = 0x19,
    CONFIG = 0x1A,
    GYRO_CONFIG = 0x1B,
    ACCEL_CONFIG = 0x1C,
    FIFO_EN = 0x23,
    INT_ENABLE = 0x38,
    INT_STATUS = 0x3A,
    TEMP_OUT = 0x41,
    USER_CTRL = 0x6A,
    PWR_MGMT_1 = 0x6B,
    PWR_MGMT_2 = 0x6C,
    FIFO_COUNT = 0x72,
    FIFO_R_W = 0x74,
    WHO_AM_I = 0x75
};

#define IDENTITY 0x68u
#define CLOCK_FROM_GYRO 0x01u
#define FIFO_OVERFLOW 0x10u
#define FIFO_ON 0x40u
#define FIFO_RESET 0x04u
#define FIFO_OF_GYRO_AND_ACCEL 0x78u
#define SAMPLE_SIZE 12

static const uint32_t rates_mhz[] = {100000u, 200000u, 500000u, 1000000u};
static const uint16_t accel_ranges_g[] = {2, 4, 8, 16};
static const uint16_t gyro_ranges_deg_s[] = {250, 500, 1000, 2000};

/* The low-pass by DLPF_CFG, register map section 4.3: bandwidths in Hz, delays in us. The one for each rate is the
 * widest that keeps well under half of it. */
static const struct {
    uint8_t config;
    uint16_t accel_hz, accel_us, gyro_hz, gyro_us;
} filters[] = {
    {3, 44, 4900, 42, 4800},   /* 100 Hz */
    {2, 94, 3000, 98, 2800},   /* 200 Hz */
    {1, 184, 2000, 188, 1900}, /* 500 Hz */
    {1, 184, 2000, 188, 1900}, /* 1 kHz, the most that the accelerometer has */
};

static unsigned place(const uint16_t *ranges, uint16_t range)
{
    unsigned i = 0;
    while (i < 3u && ranges[i] != range) {
        i++;
    }
    return i;
}

static int configure(const imu_bus *bus, const qh_settings *settings, qh_description *description)
{
    unsigned accel = place(accel_ranges_g, settings->accel_g);
    unsigned gyro = place(gyro_ranges_deg_s, settings->gyro_deg_s);
    unsigned rate = 0;
    uint8_t identity;
    while (rate < 3u && rates_mhz[rate] != settings->rate_mhz) {
        rate++;
    }
    if (!bus->read(bus->handle, WHO_AM_I, &identity, 1) || identity != IDENTITY ||
        !imu_write(bus, PWR_MGMT_1, CLOCK_FROM_GYRO) || !imu_write(bus, PWR_MGMT_2, 0) ||
        !imu_write(bus, SMPLRT_DIV, (uint8_t)(1000000u / rates_mhz[rate] - 1u)) ||
        !imu_write(bus, CONFIG, filters[rate].config) || !imu_write(bus, GYRO_CONFIG, (uint8_t)(gyro << 3)) ||
        !imu_write(bus, ACCEL_CONFIG, (uint8_t)(accel << 3))) {
        return 0;
    }
    description->rate_mhz = rates_mhz[rate];
    description->accel_scale = IMU_G * (float)accel_ranges_g[accel] / 32768.0f; /* 16,384 to 2,048 counts per g */
    description->gyro_scale = IMU_RAD_PER_DEG * (float)(1u << gyro) / 131.0f; /* 131 to 16.4 counts per deg/s */
    description->accel_clip = description->gyro_clip = 32767u;
    description->accel_delay_us = filters[rate].accel_us;
    description->gyro_delay_us = filters[rate].gyro_us;
    description->accel_bandwidth_hz = filters[rate].accel_hz;
    description->gyro_bandwidth_hz = filters[rate].gyro_hz;
    return 1;
}

static int empty_fifo(const imu_bus *bus)
{
    return imu_write(bus, USER_CTRL, FIFO_RESET) && imu_write(bus, USER_CTRL, FIFO_ON);
}

/* It has no watermark, so its FIFO is read by the clock, and no interrupt's wire is needed. */
static int start(const imu_bus *bus, uint8_t watermark)
{
    (void)watermark;
    return imu_write(bus, FIFO_EN, FIFO_OF_GYRO_AND_ACCEL) && empty_fifo(bus) &&
           imu_write(bus, INT_ENABLE, FIFO_OVERFLOW);
}

static int stop(const imu_bus *bus)
{
    return imu_write(bus, INT_ENABLE, 0) && imu_write(bus, FIFO_EN, 0);
}

static int temperature(const imu_bus *bus, int16_t *centi_deg_c)
{
    uint8_t bytes[2];
    if (!bus->read(bus->handle, TEMP_OUT, bytes, 2)) {
        return 0;
    }
    *centi_deg_c = (int16_t)((int32_t)imu_i16(bytes[0], bytes[1]) * 100 / 340 + 3653); /* section 4.18 */
    return 1;
}

static int read_fifo(const imu_bus *bus, int16_t counts[][6], int room, int *overrun)
{
    uint8_t bytes[SAMPLE_SIZE], status;
    int n, i, axis;
    if (!bus->read(bus->handle, INT_STATUS, &status, 1) || !bus->read(bus->handle, FIFO_COUNT, bytes, 2)) {
        return -1;
    }
    if ((status & FIFO_OVERFLOW) != 0u) {
        *overrun = 1;
        return empty_fifo(bus) ? 0 : -1;
    }
    n = (bytes[0] << 8 | bytes[1]) / SAMPLE_SIZE;
    n = n < room ? n : room;
    for (i = 0; i < n; i++) {
        if (!bus->read(bus->handle, FIFO_R_W, bytes, SAMPLE_SIZE)) {
            return -1;
        }
        for (axis = 0; axis < 6; axis++) { /* in the order of the registers: accelerometer, then gyro */
            counts[i][axis] = imu_i16(bytes[2 * axis], bytes[2 * axis + 1]);
        }
    }
    return n;
}

const imu_driver mpu6050 = {
    QH_TEXT("MPU-6050"), rates_mhz, accel_ranges_g, gyro_ranges_deg_s, 4, 4, 4, 30,
    configure, start, stop, temperature, read_fifo,
};
