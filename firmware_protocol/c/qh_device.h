/* What a streaming device does, as a state machine: samples and the host's bytes go in, frames come out.
 *
 * It keeps the promises of "What a device does" in ../README.md: silent until `start`, every command answered at once,
 * DESCRIPTION when it is due, HEALTH each second, settings that change between blocks, an index that counts lost
 * samples. It owns no memory, no port and no clock: the caller gives a state, a constant config and the time.
 *
 * All functions of one device are called from one context (the main loop, never an interrupt).
 */
#ifndef QH_DEVICE_H
#define QH_DEVICE_H

#include "qh_command.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Samples in a block: 19 keep every body under 254 bytes, at 13 bytes a sample. 1 to 32, at compile time. */
#ifndef QH_BLOCK_SAMPLES
#define QH_BLOCK_SAMPLES 19
#endif

/* Answers that may wait while the link takes nothing. A command that finds no room is dropped undone: the host
 * sends it again. */
#ifndef QH_REPLIES_WAITING
#define QH_REPLIES_WAITING 4
#endif

/* The longest frame: a block or a DESCRIPTION, and one 0x00 before it. */
#define QH_FRAME_BUFFER                                                                     \
    (1u + (QH_SAMPLES_FRAME_MAX(QH_BLOCK_SAMPLES) > QH_DESCRIPTION_FRAME_MAX                \
               ? QH_SAMPLES_FRAME_MAX(QH_BLOCK_SAMPLES)                                     \
               : QH_DESCRIPTION_FRAME_MAX))

/* What the sensor is set to. */
typedef struct {
    uint32_t rate_mhz;
    uint16_t accel_g, gyro_deg_s; /* full scales */
} qh_settings;

/* The board. All stays as it is while a device uses it.
 *
 * Rules for all callbacks:
 *  1. `context` is the config's, as it was given.
 *  2. They return soon: a command is answered within 200 ms, what they take included.
 *  3. They call no function of this device, but where their own rules say so.
 */
typedef struct {
    void *context;

    /* Put `length` bytes (at most QH_FRAME_BUFFER) on the line.
     *  1. Take all of them, or none and return 0: a frame is never cut.
     *  2. Copy them: the buffer is used again at once.
     *  3. Never wait. What is not taken is sent later, or is counted as lost if it is a block. */
    int (*send)(void *context, const uint8_t *bytes, size_t length);

    /* Make the sensor do `settings`, and write into `description` what that means: rate_mhz (nominal, as it truly
     * is), both scales, clips, delays and bandwidths. Return 0 where the sensor does not answer.
     *  1. Sampling is stopped.
     *  2. Leave the other fields alone.
     *  3. It is called once from qh_device_init, and never with settings that are not in the lists below. */
    int (*configure)(void *context, const qh_settings *settings, qh_description *description);

    /* Begin to take samples. Return 0 where the sensor does not answer. */
    int (*start_sampling)(void *context);

    /* Take no more samples.
     *  1. It may hand over those that still wait, with qh_device_sample and qh_device_lost.
     *  2. No sample comes after it has returned. */
    void (*stop_sampling)(void *context);

    /* Make the board known among others: blink. NULL where there is no lamp (`identify` is then an unknown command).
     *  1. Start it and return. */
    void (*identify)(void *context);

    const uint32_t *rates_mhz;       /* what `set rate` chooses from, in any order */
    const uint16_t *accel_ranges_g;  /* what `set ranges` chooses from, rising */
    const uint16_t *gyro_ranges_deg_s;
    uint8_t rates, accel_ranges, gyro_ranges; /* how many of each, at least 1 */
    qh_settings at_power_up;

    uint8_t uid[QH_UID_SIZE];
    uint32_t tick_hz;
    uint32_t boot; /* another at each power-up: random, or counted in a memory that lasts */
    const char *firmware;
    uint8_t firmware_length;
    const char *sensor;
    uint8_t sensor_length;
} qh_device_config;

/* All a device remembers. Its fields are its own; read what you like, write nothing. */
typedef struct {
    const qh_device_config *config;
    qh_description description;
    qh_settings settings;
    qh_command_parser parser;
    uint32_t next_index; /* of the next sample: how many were taken, those lost included */
    uint32_t lost;
    uint32_t last_sample_ticks, block_began_ticks;
    uint32_t now_ticks; /* the latest that was told */
    uint32_t health_ticks, description_ticks, sent_ticks; /* when each was last sent */
    int16_t temperature;
    uint16_t supply_mv;
    uint8_t supply_low;
    uint8_t configured; /* the sensor does what `settings` says */
    uint8_t streaming;
    uint8_t resumed; /* sampling stood still for a change, and the next sample tells for how long */
    uint8_t lost_before, first_block;
    uint8_t owes_delimiter, owes_description;
    uint8_t count; /* samples in `block` */
    uint8_t replies; /* in `waiting` */
    qh_reply waiting[QH_REPLIES_WAITING];
    int16_t block[QH_BLOCK_SAMPLES][6];
    uint8_t frame[QH_FRAME_BUFFER];
} qh_device;

/* After power-up: sets the sensor to `at_power_up` and sends DESCRIPTION. `ticks` is the clock now, in all functions.
 * Returns 0 where the sensor did not answer: the device then still answers commands, and tries again at `describe` and
 * `start`, which say "hardware fault" until it does.
 *
 *     static qh_device device;
 *     static const qh_device_config config = {...};
 *
 *     int main(void) {
 *         board_init();
 *         qh_device_init(&device, &config, board_ticks());
 *         for (;;) {
 *             while (ring_pop(&sample)) {
 *                 qh_device_sample(&device, sample.counts, sample.ticks);
 *             }
 *             while (uart_has_byte()) {
 *                 qh_device_receive(&device, uart_read(), board_ticks());
 *             }
 *             qh_device_poll(&device, board_ticks());
 *         }
 *     }
 */
int qh_device_init(qh_device *device, const qh_device_config *config, uint32_t ticks);

/* A byte from the host, and when it came. */
void qh_device_receive(qh_device *device, uint8_t byte, uint32_t ticks);

/* What is due by the clock. Call it at least every 20 ms. */
void qh_device_poll(qh_device *device, uint32_t ticks);

/* The next sample: counts of ax ay az gx gy gz, and when it was taken. Ignored where nothing streams. */
void qh_device_sample(qh_device *device, const int16_t counts[6], uint32_t ticks);

/* `samples` were taken and lost before the next one. */
void qh_device_lost(qh_device *device, uint32_t samples);

/* Nobody knows how many were lost before the next one, taken at `ticks`: reckoned from elapsed time x rate. */
void qh_device_lost_until(qh_device *device, uint32_t ticks);

/* As the commands do: for a board that has a button, or cannot hear. Start returns 0 at a hardware fault. */
int qh_device_start(qh_device *device, uint32_t ticks);
void qh_device_stop(qh_device *device);

/* An edge on an input. Returns 0 where the link took nothing (try again later) or nothing streams. */
int qh_device_event(qh_device *device, const qh_event *event);

/* A line of text for whoever reads the recording; cut to what fits one frame. Returns 0 where the link took nothing. */
int qh_device_log(qh_device *device, uint8_t level, const char *text, size_t length);

/* What blocks and HEALTH say from now on: 0.01 degC or QH_UNKNOWN_TEMPERATURE; mV or 0, and whether that is low. */
void qh_device_temperature(qh_device *device, int16_t centi_deg_c);
void qh_device_supply(qh_device *device, uint16_t millivolts, int low);

/* Something other than frames went out on the line: the next frame opens with a 0x00. */
void qh_device_printed(qh_device *device);

#ifdef __cplusplus
}
#endif

#endif
