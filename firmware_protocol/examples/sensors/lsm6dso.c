/* Register numbers and bits as in the LSM6DSO data sheet, DS12140; from memory: check them against your part. */
#include "lsm6dso.h"

enum {
    FIFO_CTRL1 = 0x07,
    FIFO_CTRL2 = 0x08,
    FIFO_CTRL3 = 0x09,
    FIFO_CTRL4 = 0x0A,
    INT1_CTRL = 0x0D,
    WHO_AM_I = 0x0F,
    CTRL1_XL = 0x10,
    CTRL2_G = 0x11,
    CTRL3_C = 0x12,
    CTRL4_C = 0x13,
    CTRL6_C = 0x15,
    CTRL8_XL = 0x17,
    CTRL9_XL = 0x18,
    OUT_TEMP_L = 0x20,
    FIFO_STATUS1 = 0x3A,
    FIFO_DATA_OUT_TAG = 0x78
};

#define IDENTITY 0x6Cu
#define BLOCK_UPDATE_AND_INCREMENT 0x44u /* BDU, IF_INC */
#define I3C_OFF 0xE2u                    /* the reset value 0xE0, and I3C_disable */
#define FIFO_THRESHOLD_ON_INT1 0x08u
#define FIFO_OVERRUN 0x48u /* in FIFO_STATUS2: FIFO_OVR_IA, and that it was so before */
#define FIFO_BYPASS 0x00u
#define FIFO_CONTINUOUS 0x06u
#define TAG_GYRO 1
#define TAG_ACCEL 2
#define TAG_SLOT 6 /* a count of two bits that both words of a sample share */
#define WORD_SIZE 7 /* a tag and three axes */

/* ODR_XL and ODR_G codes 4 to 10, section 9.12 and 9.13. */
static const uint32_t rates_mhz[] = {104000u, 208000u, 416000u, 833000u, 1666000u, 3332000u, 6664000u};
/* The gyro's second low-pass, which cannot be switched off, at these rates: AN5192, from memory. */
static const uint16_t gyro_bandwidth_hz[] = {33, 67, 136, 296, 1108, 1321, 1442};
static const uint16_t accel_ranges_g[] = {2, 4, 8, 16};
static const uint8_t accel_codes[] = {0, 2, 3, 1};
static const uint16_t gyro_ranges_deg_s[] = {250, 500, 1000, 2000};

static unsigned place(const uint16_t *ranges, uint16_t range)
{
    unsigned i = 0;
    while (i < 3u && ranges[i] != range) {
        i++;
    }
    return i;
}

static unsigned rate_place(uint32_t rate_mhz)
{
    unsigned i = 0;
    while (i < 6u && rates_mhz[i] != rate_mhz) {
        i++;
    }
    return i;
}

static int configure(const imu_bus *bus, const qh_settings *settings, qh_description *description)
{
    unsigned accel = place(accel_ranges_g, settings->accel_g);
    unsigned gyro = place(gyro_ranges_deg_s, settings->gyro_deg_s);
    unsigned rate = rate_place(settings->rate_mhz);
    unsigned code = rate + 4u;
    uint8_t identity;
    if (!bus->read(bus->handle, WHO_AM_I, &identity, 1) || identity != IDENTITY ||
        !imu_write(bus, CTRL9_XL, I3C_OFF) || !imu_write(bus, CTRL3_C, BLOCK_UPDATE_AND_INCREMENT) ||
        !imu_write(bus, CTRL4_C, 0) || /* LPF1 of the gyro off */
        !imu_write(bus, CTRL6_C, 0) || /* high performance */
        !imu_write(bus, CTRL8_XL, 0) ||
        !imu_write(bus, CTRL1_XL, (uint8_t)(code << 4 | (unsigned)accel_codes[accel] << 2)) ||
        !imu_write(bus, CTRL2_G, (uint8_t)(code << 4 | gyro << 2)) ||
        !imu_write(bus, FIFO_CTRL3, (uint8_t)(code << 4 | code)) || !imu_write(bus, FIFO_CTRL4, FIFO_BYPASS)) {
        return 0;
    }
    description->rate_mhz = rates_mhz[rate];
    /* 0.061 mg and 8.75 mdeg/s per count in the smallest ranges, section 4.1 */
    description->accel_scale = IMU_G * 0.000061f * (float)(1u << accel);
    description->gyro_scale = IMU_RAD_PER_DEG * 0.00875f * (float)(1u << gyro);
    description->accel_clip = description->gyro_clip = 32767u;
    description->accel_delay_us = description->gyro_delay_us = QH_UNKNOWN_DELAY; /* no stated figure was read */
    description->accel_bandwidth_hz = (uint16_t)(rates_mhz[rate] / 2000u); /* half the rate, section 6.4 */
    description->gyro_bandwidth_hz = gyro_bandwidth_hz[rate];
    return 1;
}

static int empty_fifo(const imu_bus *bus)
{
    return imu_write(bus, FIFO_CTRL4, FIFO_BYPASS) && imu_write(bus, FIFO_CTRL4, FIFO_CONTINUOUS);
}

static int start(const imu_bus *bus, uint8_t watermark)
{
    unsigned words = 2u * watermark;
    return imu_write(bus, FIFO_CTRL1, (uint8_t)(words & 0xFFu)) && imu_write(bus, FIFO_CTRL2, (uint8_t)(words >> 8)) &&
           imu_write(bus, INT1_CTRL, FIFO_THRESHOLD_ON_INT1) && empty_fifo(bus);
}

static int stop(const imu_bus *bus)
{
    return imu_write(bus, INT1_CTRL, 0) && imu_write(bus, FIFO_CTRL4, FIFO_BYPASS);
}

static int temperature(const imu_bus *bus, int16_t *centi_deg_c)
{
    uint8_t bytes[2];
    if (!bus->read(bus->handle, OUT_TEMP_L, bytes, 2)) {
        return 0;
    }
    *centi_deg_c = (int16_t)((int32_t)imu_i16(bytes[1], bytes[0]) * 100 / 256 + 2500); /* section 4.3 */
    return 1;
}

/* Which sensor's it is; `*slot` tells it from the same sensor's next. -1 where the sensor did not answer. */
static int read_word(const imu_bus *bus, int16_t counts[6], int *slot)
{
    uint8_t bytes[WORD_SIZE];
    int tag, axis;
    if (!bus->read(bus->handle, FIFO_DATA_OUT_TAG, bytes, WORD_SIZE)) {
        return -1;
    }
    tag = bytes[0] >> 3;
    *slot = bytes[0] & TAG_SLOT;
    if (tag == TAG_GYRO || tag == TAG_ACCEL) {
        for (axis = 0; axis < 3; axis++) {
            counts[axis + (tag == TAG_GYRO ? 3 : 0)] = imu_i16(bytes[2 + 2 * axis], bytes[1 + 2 * axis]);
        }
    }
    return tag;
}

static int read_fifo(const imu_bus *bus, int16_t counts[][6], int room, int *overrun)
{
    uint8_t status[2];
    int n, i;
    if (!bus->read(bus->handle, FIFO_STATUS1, status, 2)) {
        return -1;
    }
    n = ((status[1] & 3) << 8 | status[0]) / 2;
    n = n < room ? n : room;
    if ((status[1] & FIFO_OVERRUN) != 0u) {
        *overrun = 1;
        return empty_fifo(bus) ? 0 : -1;
    }
    for (i = 0; i < n; i++) {
        int slots[2];
        int first = read_word(bus, counts[i], &slots[0]);
        int second = read_word(bus, counts[i], &slots[1]);
        if (first < 0 || second < 0) {
            return -1;
        }
        if (first + second != TAG_GYRO + TAG_ACCEL || slots[0] != slots[1]) { /* torn: nothing after it is a sample */
            *overrun = 1;
            return empty_fifo(bus) ? 0 : -1;
        }
    }
    return n;
}

const imu_driver lsm6dso = {
    QH_TEXT("LSM6DSO"), rates_mhz, accel_ranges_g, gyro_ranges_deg_s, 7, 4, 4, 80,
    configure, start, stop, temperature, read_fifo,
};
