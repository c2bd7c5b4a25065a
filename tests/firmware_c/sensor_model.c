/* A sensor's registers on a PC, with the driver and the FIFO sampler of the examples on top, one line at a time.
 *
 *   sensor_model mpu6050|lsm6dso|bmi160
 *
 *   configure RATE_MHZ G DEG_S   -> "ok" and what the description says, or "fault"
 *   reg ADDRESS                  -> its value              set ADDRESS VALUE     as the chip itself would
 *   start N | stop               -> ok or fault            temperature           -> 0.01 degC
 *   sample AX AY AZ GX GY GZ     into the FIFO, if it is on; runs over where it is full
 *   read                         -> the samples, as the driver gives them
 *   dead 0|1                     answers, or does not      torn                  a FIFO word is missing
 *   stream TICKS                 starts a device           mark TICKS | take TICKS   -> frames in hex
 */
#include "bmi160.h"
#include "fifo_sampler.h"
#include "lsm6dso.h"
#include "mpu6050.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef enum { MPU, LSM, BMI } kind;

static kind which;
static uint8_t regs[256], fifo[16384];
static size_t in, out;
static unsigned slot;
static int dead, polls;

static size_t capacity(void)
{
    return which == LSM ? 512u * 7u : 1024u;
}

static int fifo_on(void)
{
    switch (which) {
    case MPU:
        return (regs[0x6A] & 0x40) != 0 && (regs[0x23] & 0x78) == 0x78;
    case LSM:
        return (regs[0x0A] & 7) == 6;
    default:
        return (regs[0x47] & 0xC0) == 0xC0;
    }
}

static void empty(void)
{
    in = out = 0;
    if (which == MPU) {
        regs[0x3A] &= 0xEF;
    } else if (which == BMI) {
        regs[0x1D] &= 0xDF;
    } else {
        regs[0x3B] = 0;
    }
}

static void counts_changed(void)
{
    size_t held = in - out;
    if (which == MPU) {
        regs[0x72] = (uint8_t)(held >> 8);
        regs[0x73] = (uint8_t)held;
    } else if (which == LSM) {
        regs[0x3A] = (uint8_t)(held / 7u);
        regs[0x3B] = (uint8_t)((regs[0x3B] & 0xF8u) | (held / 7u) >> 8);
    } else {
        regs[0x22] = (uint8_t)held;
        regs[0x23] = (uint8_t)(held >> 8);
    }
}

static void put_axes(const int *v, int big)
{
    int i;
    for (i = 0; i < 3; i++) {
        fifo[in++] = (uint8_t)(big ? v[i] >> 8 : v[i]);
        fifo[in++] = (uint8_t)(big ? v[i] : v[i] >> 8);
    }
}

static void sample(const int *v)
{
    size_t size = which == LSM ? 14u : 12u;
    if (!fifo_on()) {
        return;
    }
    if (in - out + size > capacity()) {
        regs[which == MPU ? 0x3A : which == LSM ? 0x3B : 0x1D] |= which == MPU ? 0x10 : which == LSM ? 0x48 : 0x20;
        return;
    }
    if (which == MPU) {
        put_axes(v, 1);
        put_axes(v + 3, 1);
    } else if (which == BMI) {
        put_axes(v + 3, 0);
        put_axes(v, 0);
    } else {
        fifo[in++] = (uint8_t)(1u << 3 | (slot & 3u) << 1); /* sensor, time slot, parity */
        put_axes(v + 3, 0);
        fifo[in++] = (uint8_t)(2u << 3 | (slot++ & 3u) << 1 | 1u);
        put_axes(v, 0);
    }
    counts_changed();
}

static int bus_read(void *handle, uint8_t reg, uint8_t *bytes, size_t count)
{
    size_t i;
    (void)handle;
    if (dead) {
        return 0;
    }
    if (which == BMI && reg == 0x03 && ++polls > 20) { /* the gyro takes its time */
        regs[0x03] |= (uint8_t)(regs[0x7E] == 0x11 ? 0x10 : 0x04);
    }
    for (i = 0; i < count; i++) {
        int from_fifo = reg == (which == MPU ? 0x74 : which == LSM ? 0x78 : 0x24);
        bytes[i] = from_fifo ? (out < in ? fifo[out++] : 0x80) : regs[(uint8_t)(reg + i)];
    }
    if (out == in) {
        in = out = 0;
    }
    counts_changed();
    return 1;
}

static int bus_write(void *handle, uint8_t reg, const uint8_t *bytes, size_t count)
{
    size_t i;
    (void)handle;
    if (dead) {
        return 0;
    }
    for (i = 0; i < count; i++) {
        regs[(uint8_t)(reg + i)] = bytes[i];
    }
    if ((which == MPU && reg == 0x6A && (bytes[0] & 4)) || (which == LSM && reg == 0x0A && (bytes[0] & 7) == 0) ||
        (which == BMI && reg == 0x7E && bytes[0] == 0xB0)) {
        empty();
        counts_changed();
    }
    if (which == BMI && reg == 0x7E) {
        polls = 0;
    }
    return 1;
}

static const imu_bus bus = {bus_read, bus_write, NULL};
static const imu_driver *driver;
static fifo_sampler sampler;
static qh_device device;
static char sent[1u << 20];
static size_t sent_length;

static int send_bytes(void *context, const uint8_t *bytes, size_t length)
{
    size_t i;
    (void)context;
    for (i = 0; i < length; i++) {
        sent_length += (size_t)snprintf(sent + sent_length, sizeof sent - sent_length, "%02x", bytes[i]);
    }
    return 1;
}

static uint32_t now;

static int configure(void *context, const qh_settings *settings, qh_description *description)
{
    (void)context;
    return driver->configure(&bus, settings, description);
}

static int start_sampling(void *context)
{
    (void)context;
    return fifo_sampler_start(&sampler, now);
}

static void stop_sampling(void *context)
{
    (void)context;
    (void)fifo_sampler_stop(&sampler);
}

static qh_device_config config;

static void stream(void)
{
    memset(&config, 0, sizeof config);
    config.send = send_bytes;
    config.configure = configure;
    config.start_sampling = start_sampling;
    config.stop_sampling = stop_sampling;
    config.rates_mhz = driver->rates_mhz;
    config.accel_ranges_g = driver->accel_ranges_g;
    config.gyro_ranges_deg_s = driver->gyro_ranges_deg_s;
    config.rates = driver->rates;
    config.accel_ranges = driver->accel_ranges;
    config.gyro_ranges = driver->gyro_ranges;
    config.at_power_up.rate_mhz = driver->rates_mhz[driver->rates - 1u];
    config.at_power_up.accel_g = 16;
    config.at_power_up.gyro_deg_s = 2000;
    config.tick_hz = 1000000u;
    config.sensor = driver->name;
    config.sensor_length = driver->name_length;
    qh_device_init(&device, &config, now);
    qh_device_start(&device, now);
}

static void read_all(void)
{
    int16_t counts[4][6];
    int n, i, overrun = 0, any = 0;
    do {
        n = driver->read_fifo(&bus, counts, 4, &overrun);
        for (i = 0; i < n; i++) {
            printf("%s%d,%d,%d,%d,%d,%d", any ? " " : "", counts[i][0], counts[i][1], counts[i][2], counts[i][3],
                   counts[i][4], counts[i][5]);
            any = 1;
        }
    } while (n == 4);
    printf("%s\n", n < 0 ? "fault" : overrun ? "overrun" : any ? "" : "-");
}

int main(int argc, char **argv)
{
    static char line[4096];
    if (argc < 2) {
        return 2;
    }
    which = strcmp(argv[1], "mpu6050") == 0 ? MPU : strcmp(argv[1], "lsm6dso") == 0 ? LSM : BMI;
    driver = which == MPU ? &mpu6050 : which == LSM ? &lsm6dso : &bmi160;
    regs[0x75] = 0x68;
    if (which == LSM) {
        regs[0x0F] = 0x6C;
    } else if (which == BMI) {
        regs[0x00] = 0xD1;
    }
    fifo_sampler_init(&sampler, driver, &bus);
    while (fgets(line, sizeof line, stdin) != NULL) {
        char *word = strtok(line, " \n");
        long v[6] = {0, 0, 0, 0, 0, 0};
        int i;
        char *token;
        for (i = 0; i < 6 && (token = strtok(NULL, " \n")) != NULL; i++) {
            v[i] = strtol(token, NULL, 0);
        }
        sent_length = 0;
        sent[0] = '\0';
        if (strcmp(word, "configure") == 0) {
            qh_settings settings;
            qh_description d;
            memset(&d, 0, sizeof d);
            settings.rate_mhz = (uint32_t)v[0];
            settings.accel_g = (uint16_t)v[1];
            settings.gyro_deg_s = (uint16_t)v[2];
            if (driver->configure(&bus, &settings, &d)) {
                printf("%lu %.9g %.9g %u %u %u %u\n", (unsigned long)d.rate_mhz, (double)d.accel_scale,
                       (double)d.gyro_scale, d.accel_delay_us, d.gyro_delay_us, d.accel_bandwidth_hz, d.gyro_bandwidth_hz);
            } else {
                printf("fault\n");
            }
        } else if (strcmp(word, "reg") == 0) {
            printf("%u\n", regs[v[0]]);
        } else if (strcmp(word, "set") == 0) {
            regs[v[0]] = (uint8_t)v[1];
            printf("ok\n");
        } else if (strcmp(word, "start") == 0) {
            printf(driver->start(&bus, (uint8_t)v[0]) ? "ok\n" : "fault\n");
        } else if (strcmp(word, "stop") == 0) {
            printf(driver->stop(&bus) ? "ok\n" : "fault\n");
        } else if (strcmp(word, "temperature") == 0) {
            int16_t centi = 0;
            int there = driver->temperature(&bus, &centi);
            printf(there ? "%d\n" : "fault\n", centi);
        } else if (strcmp(word, "sample") == 0) {
            int axes[6];
            for (i = 0; i < 6; i++) {
                axes[i] = (int)v[i];
            }
            sample(axes);
            printf("ok\n");
        } else if (strcmp(word, "read") == 0) {
            read_all();
        } else if (strcmp(word, "dead") == 0) {
            dead = (int)v[0];
            printf("ok\n");
        } else if (strcmp(word, "torn") == 0) {
            out += 7u;
            counts_changed();
            printf("ok\n");
        } else if (strcmp(word, "stream") == 0) {
            now = (uint32_t)v[0];
            stream();
            printf("%s\n", sent);
        } else if (strcmp(word, "mark") == 0) {
            fifo_sampler_mark(&sampler, (uint32_t)v[0]);
            printf("ok\n");
        } else {
            fifo_sampler_take(&sampler, &device, (uint32_t)v[0]);
            printf("%s\n", sent_length ? sent : "-");
        }
        fflush(stdout);
    }
    return 0;
}
