/* Messages a sensor sends, and their frames. ../README.md is the wire format; this is one way to write it.
 *
 * What lives here: the limits, one struct for each message of a device, and an encoder for each. No allocation, no
 * I/O, no state, no globals but two constant tables. Every encoder may be called from any context that owns `out`.
 *
 * Every encoder returns the length of the frame, its 0x00 included, or a negative qh_error and leaves `out` undefined.
 */
#ifndef QH_WIRE_H
#define QH_WIRE_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

enum qh_error {
    QH_ERROR_SIZE = -1, /* `out` is too small: each message's QH_..._FRAME_MAX is always enough */
    QH_ERROR_FIELD = -2 /* a field that a reader would call malformed */
};

enum qh_type {
    QH_DESCRIPTION = 0x01,
    QH_SAMPLES = 0x02,
    QH_LOG = 0x03,
    QH_REPLY = 0x04,
    QH_HEALTH = 0x05,
    QH_EVENT = 0x06,
    QH_COMMAND = 0x41
};

enum qh_result {
    QH_OK = 0,
    QH_UNKNOWN_COMMAND = 1,
    QH_BAD_ARGUMENT = 2,
    QH_BUSY = 3,
    QH_HARDWARE_FAULT = 4
};

enum qh_status {
    QH_STATUS_LOST_BEFORE = 1,
    QH_STATUS_SUPPLY_LOW = 2,
    QH_STATUS_FIRST_SINCE_POWER_UP = 4
};

#define QH_VERSION 1u
#define QH_UID_SIZE 8u
#define QH_TICK_HZ_MAX 50000000ul
#define QH_STRING_MAX 64u
#define QH_SAMPLES_MAX 32u
#define QH_BODY_MIN 5u           /* type and CRC */
#define QH_BODY_MAX 512u         /* of a device's message */
#define QH_COMMAND_BODY_MAX 64u  /* of a COMMAND */
#define QH_RUN_MAX 515u          /* bytes between two delimiters on a live link */
#define QH_UNKNOWN_DELAY 0xFFFFu
#define QH_UNKNOWN_TEMPERATURE 0x7FFF

/* The most bytes a frame has whose body has `body` bytes: a code byte for each 254 begun, and the delimiter. */
#define QH_FRAME_MAX(body) ((body) + ((body) + 253u) / 254u + 1u)
#define QH_DESCRIPTION_FRAME_MAX QH_FRAME_MAX(1u + 42u + 2u * (1u + QH_STRING_MAX) + 4u)
#define QH_SAMPLES_FRAME_MAX(count) QH_FRAME_MAX(1u + 12u + 12u * (count) + 4u)
#define QH_LOG_TEXT_MAX (QH_BODY_MAX - 6u)
#define QH_LOG_FRAME_MAX(length) QH_FRAME_MAX(1u + 1u + (length) + 4u)
#define QH_REPLY_FRAME_MAX QH_FRAME_MAX(1u + 7u + 4u)
#define QH_HEALTH_FRAME_MAX QH_FRAME_MAX(1u + 10u + 4u)
#define QH_EVENT_FRAME_MAX QH_FRAME_MAX(1u + 6u + 4u)

/* A string literal as the two fields, text and length, that a description's strings are: QH_TEXT("my firmware 1"). */
#define QH_TEXT(literal) (literal), (uint8_t)(sizeof(literal) - 1u)

/* 0x01: what the sensor is and what one count means. */
typedef struct {
    uint8_t uid[QH_UID_SIZE];
    uint32_t tick_hz;  /* 1 to QH_TICK_HZ_MAX */
    uint32_t rate_mhz; /* samples per second x 1000, over 0 */
    float accel_scale; /* m/s2 per count, finite and over 0 */
    float gyro_scale;  /* rad/s per count, likewise */
    uint16_t accel_clip, gyro_clip; /* counts; 0 unknown */
    uint16_t accel_delay_us, gyro_delay_us; /* filter and read-out together; QH_UNKNOWN_DELAY */
    uint16_t accel_bandwidth_hz, gyro_bandwidth_hz; /* -3 dB; 0 unknown */
    uint32_t boot;
    uint8_t revision;
    const char *firmware; /* UTF-8, need not end in 0; at most QH_STRING_MAX bytes. NULL where the length is 0 */
    uint8_t firmware_length;
    const char *sensor; /* likewise */
    uint8_t sensor_length;
} qh_description;

/* 0x02: a block of samples. */
typedef struct {
    uint32_t index; /* of the first */
    uint32_t ticks; /* of the last */
    uint8_t count;  /* 1 to QH_SAMPLES_MAX */
    uint8_t status; /* see qh_status_byte */
    int16_t temperature; /* 0.01 degC; QH_UNKNOWN_TEMPERATURE */
    const int16_t (*counts)[6]; /* ax ay az gx gy gz */
} qh_samples;

typedef struct {
    uint8_t request, command, result;
    uint32_t ticks; /* when the COMMAND's last byte arrived */
} qh_reply;

typedef struct {
    uint32_t samples, lost;
    uint16_t supply_mv; /* 0 unknown */
} qh_health;

typedef struct {
    uint32_t ticks;
    uint8_t channel, value;
} qh_event;

/* Bits 0 to 2 are `flags` of enum qh_status; the others tell which DESCRIPTION is in force. */
uint8_t qh_status_byte(unsigned flags, uint8_t revision, uint32_t boot);

int qh_encode_description(const qh_description *message, uint8_t *out, size_t size);
int qh_encode_samples(const qh_samples *message, uint8_t *out, size_t size);
int qh_encode_log(uint8_t level, const char *text, size_t length, uint8_t *out, size_t size);
int qh_encode_reply(const qh_reply *message, uint8_t *out, size_t size);
int qh_encode_health(const qh_health *message, uint8_t *out, size_t size);
int qh_encode_event(const qh_event *message, uint8_t *out, size_t size);

/* CRC-32/ISO-HDLC of one byte more. Start with QH_CRC_START; the CRC of all bytes is the value's complement. */
#define QH_CRC_START 0xFFFFFFFFul
#define QH_CRC_GOOD 0xDEBB20E3ul /* the value after a body that ends in its own CRC */
uint32_t qh_crc_step(uint32_t crc, uint8_t byte);

#ifdef __cplusplus
}
#endif

#endif
