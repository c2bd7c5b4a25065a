/* What every sensor driver in ../sensors offers, and the two functions through which it reaches its bus. */
#ifndef IMU_H
#define IMU_H

#include "qh_device.h"

#ifdef __cplusplus
extern "C" {
#endif

/* The bus of one sensor: I2C, SPI, or a model of its registers on a PC.
 *  1. Both return 0 where the sensor did not answer, else 1.
 *  2. Bytes go to and come from `reg`, `reg` + 1 and so on; reads of a FIFO's register come all from there.
 *  3. Where SPI wants a bit set to read, the bus sets it. */
typedef struct {
    int (*read)(void *handle, uint8_t reg, uint8_t *bytes, size_t count);
    int (*write)(void *handle, uint8_t reg, const uint8_t *bytes, size_t count);
    void *handle;
} imu_bus;

/* One register of one byte. */
static inline int imu_write(const imu_bus *bus, uint8_t reg, uint8_t value)
{
    return bus->write(bus->handle, reg, &value, 1);
}

/* The 16 bits of two bytes. */
static inline int16_t imu_i16(uint8_t high, uint8_t low)
{
    return (int16_t)((unsigned)high << 8 | low);
}

typedef struct {
    const char *name;
    uint8_t name_length;
    const uint32_t *rates_mhz; /* as a qh_device_config wants them */
    const uint16_t *accel_ranges_g, *gyro_ranges_deg_s;
    uint8_t rates, accel_ranges, gyro_ranges;
    uint16_t settle_ms; /* from configure until samples are true */

    /* All return 0 where the sensor did not answer. */
    int (*configure)(const imu_bus *bus, const qh_settings *settings, qh_description *description);
    int (*start)(const imu_bus *bus, uint8_t watermark); /* FIFO from empty; its interrupt at `watermark` samples */
    int (*stop)(const imu_bus *bus);
    int (*temperature)(const imu_bus *bus, int16_t *centi_deg_c);

    /* The oldest samples in the FIFO, at most `room`, as ax ay az gx gy gz. Returns how many, or -1 where the sensor
     * did not answer. Where the FIFO ran over it is emptied, 0 is returned and `*overrun` set. */
    int (*read_fifo)(const imu_bus *bus, int16_t counts[][6], int room, int *overrun);
} imu_driver;

#define IMU_G 9.80665f                     /* m/s2, CGPM 1901 */
#define IMU_RAD_PER_DEG 0.01745329251994f

#ifdef __cplusplus
}
#endif

#endif
