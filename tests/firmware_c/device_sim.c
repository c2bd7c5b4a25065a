/* A device on a board that does as it is told, one line at a time; what it sends comes out in hex, "-" if nothing.
 *
 *   now TICKS            the clock, without a poll         poll           what is due
 *   hear BYTES           from the host                     samples N      N more, one each SAMPLE_TICKS
 *   lost N               known to be lost                  until TICKS    an unknown number lost before that time
 *   link 0|1             takes nothing, or all             sensor 0|1     does not answer, or does
 *   waiting N            samples that stop_sampling hands over
 *   supply MV LOW        temperature CENTI                 event TICKS CHANNEL VALUE
 *   printed              something else went out           log TEXT
 *   start | stop
 */
#include "qh_device.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static qh_device device;
static uint32_t now;
static int link_up = 1, sensor_up = 1, sampling, waiting;
static int16_t value;
static char out[1u << 20];
static size_t out_length;

static int send_bytes(void *context, const uint8_t *bytes, size_t length)
{
    size_t i;
    (void)context;
    if (!link_up) {
        return 0;
    }
    for (i = 0; i < length; i++) {
        out_length += (size_t)snprintf(out + out_length, sizeof out - out_length, "%02x", bytes[i]);
    }
    return 1;
}

static int configure(void *context, const qh_settings *settings, qh_description *description)
{
    (void)context;
    if (sampling) {
        fprintf(stderr, "configured while sampling\n");
        exit(3);
    }
    if (!sensor_up) {
        description->accel_scale = -1.0f; /* as a driver might leave it half done */
        return 0;
    }
    description->rate_mhz = settings->rate_mhz;
    description->accel_scale = (float)settings->accel_g / 32768.0f;
    description->gyro_scale = (float)settings->gyro_deg_s / 32768.0f;
    description->accel_delay_us = (uint16_t)(settings->rate_mhz / 1000u);
    return 1;
}

static int start_sampling(void *context)
{
    (void)context;
    sampling = sensor_up;
    return sensor_up;
}

static void one_sample(void)
{
    int16_t counts[6] = {0, 1, 2, 3, 4, 5};
    counts[0] = value++;
    qh_device_sample(&device, counts, now);
    now += 1000u;
}

static void stop_sampling(void *context)
{
    (void)context;
    for (; waiting > 0; waiting--) {
        one_sample();
    }
    sampling = 0;
}

static void identify(void *context)
{
    (void)context;
    qh_device_printed(&device);
}

static const uint32_t rates[] = {500000u, 1000000u, 2000000u};
static const uint16_t accel[] = {2, 4, 16}, gyro[] = {250, 2000};

int main(int argc, char **argv)
{
    static char line[1u << 20];
    qh_device_config config = {NULL, send_bytes, configure, start_sampling, stop_sampling, identify, rates, accel, gyro,
                               3, 3, 2, {1000000u, 16, 2000}, {1, 2, 3, 4, 5, 6, 7, 8}, 1000000u, 6u,
                               QH_TEXT("sim"), QH_TEXT("none")};
    now = argc > 1 ? (uint32_t)strtoul(argv[1], NULL, 10) : 0u;
    sensor_up = argc <= 2 || strcmp(argv[2], "dead") != 0;
    if (argc > 3) {
        config.identify = NULL;
    }
    qh_device_init(&device, &config, now);
    do {
        char *word, *a, *b, *c;
        printf("%s\n", out_length ? out : "-");
        fflush(stdout);
        out_length = 0;
        out[0] = '\0';
        if (fgets(line, sizeof line, stdin) == NULL) {
            return 0;
        }
        word = strtok(line, " \n");
        a = strtok(NULL, " \n");
        b = strtok(NULL, " \n");
        c = strtok(NULL, " \n");
        if (strcmp(word, "now") == 0) {
            now = (uint32_t)strtoul(a, NULL, 10);
        } else if (strcmp(word, "poll") == 0) {
            qh_device_poll(&device, now);
        } else if (strcmp(word, "hear") == 0) {
            for (; a[0] != '\0'; a += 2) {
                char digits[3] = {a[0], a[1], '\0'};
                qh_device_receive(&device, (uint8_t)strtoul(digits, NULL, 16), now);
            }
        } else if (strcmp(word, "samples") == 0) {
            int n;
            for (n = atoi(a); n > 0; n--) {
                one_sample();
            }
        } else if (strcmp(word, "lost") == 0) {
            qh_device_lost(&device, (uint32_t)strtoul(a, NULL, 10));
        } else if (strcmp(word, "until") == 0) {
            now = (uint32_t)strtoul(a, NULL, 10);
            qh_device_lost_until(&device, now);
        } else if (strcmp(word, "link") == 0) {
            link_up = atoi(a);
        } else if (strcmp(word, "sensor") == 0) {
            sensor_up = atoi(a);
        } else if (strcmp(word, "waiting") == 0) {
            waiting = atoi(a);
        } else if (strcmp(word, "supply") == 0) {
            qh_device_supply(&device, (uint16_t)atoi(a), atoi(b));
        } else if (strcmp(word, "temperature") == 0) {
            qh_device_temperature(&device, (int16_t)atoi(a));
        } else if (strcmp(word, "event") == 0) {
            qh_event event;
            event.ticks = (uint32_t)strtoul(a, NULL, 10);
            event.channel = (uint8_t)atoi(b);
            event.value = (uint8_t)atoi(c);
            qh_device_event(&device, &event);
        } else if (strcmp(word, "printed") == 0) {
            qh_device_printed(&device);
        } else if (strcmp(word, "log") == 0) {
            qh_device_log(&device, 1, a, strlen(a));
        } else if (strcmp(word, "start") == 0) {
            qh_device_start(&device, now);
        } else if (strcmp(word, "stop") == 0) {
            qh_device_stop(&device);
        } else {
            fprintf(stderr, "what is %s?\n", word);
            return 2;
        }
    } while (1);
}
