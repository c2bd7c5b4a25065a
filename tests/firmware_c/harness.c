/* Lines in, one line out for each: what the encoders and the command parser make of them.
 *
 *   D uid tick_hz rate_mhz accel_bits gyro_bits aclip gclip adelay gdelay aband gband boot revision firmware sensor
 *   S index ticks status temperature counts      L level text      R request command result ticks
 *   H samples lost supply_mv                     E ticks channel value
 *       -> the frame in hex, or "error -2"
 *   P bytes -> offset:outcome:end[:request:command:arguments] of every run, or "-"
 *
 * Texts, counts and bytes are hex, "-" where there are none. Every frame is also encoded into a buffer that is just
 * enough and one that is a byte too small, each from malloc, so that a sanitizer sees what is written beside it.
 */
#include "qh_command.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LINE 400000u

static char line[LINE];
static uint8_t bytes[LINE / 2u];

static char *field(void)
{
    char *token = strtok(NULL, " \n");
    if (token == NULL) {
        fprintf(stderr, "a field is missing\n");
        exit(2);
    }
    return token;
}

static uint32_t number(void)
{
    return (uint32_t)strtoll(field(), NULL, 10);
}

static unsigned nibble(char digit)
{
    return (unsigned)(digit <= '9' ? digit - '0' : digit - 'a' + 10);
}

static size_t hex(uint8_t *to)
{
    const char *token = field();
    size_t n = 0;
    if (token[0] == '-') {
        return 0;
    }
    for (; token[0] != '\0'; token += 2) {
        to[n++] = (uint8_t)(nibble(token[0]) << 4 | nibble(token[1]));
    }
    return n;
}

static float float_of(uint32_t bits)
{
    float value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

typedef union {
    qh_description description;
    qh_samples samples;
    qh_reply reply;
    qh_health health;
    qh_event event;
    struct {
        uint8_t level;
        size_t length;
    } log;
} any;

static int encode(char kind, const any *message, uint8_t *out, size_t size)
{
    switch (kind) {
    case 'D':
        return qh_encode_description(&message->description, out, size);
    case 'S':
        return qh_encode_samples(&message->samples, out, size);
    case 'L':
        return qh_encode_log(message->log.level, (const char *)bytes, message->log.length, out, size);
    case 'R':
        return qh_encode_reply(&message->reply, out, size);
    case 'H':
        return qh_encode_health(&message->health, out, size);
    default:
        return qh_encode_event(&message->event, out, size);
    }
}

static size_t promised(char kind, const any *message)
{
    switch (kind) {
    case 'D':
        return QH_DESCRIPTION_FRAME_MAX;
    case 'S':
        return QH_SAMPLES_FRAME_MAX((size_t)message->samples.count);
    case 'L':
        return QH_LOG_FRAME_MAX(message->log.length);
    case 'R':
        return QH_REPLY_FRAME_MAX;
    case 'H':
        return QH_HEALTH_FRAME_MAX;
    default:
        return QH_EVENT_FRAME_MAX;
    }
}

static void encoded(char kind, const any *message)
{
    size_t size = promised(kind, message);
    uint8_t *out = (uint8_t *)malloc(size);
    int length = encode(kind, message, out, size), i;
    if (length < 0) {
        printf("error %d\n", length);
    } else {
        uint8_t *tight = (uint8_t *)malloc((size_t)length);
        uint8_t *small = (uint8_t *)malloc((size_t)length - 1u);
        if (encode(kind, message, tight, (size_t)length) != length || memcmp(out, tight, (size_t)length) != 0 ||
            encode(kind, message, small, (size_t)length - 1u) != QH_ERROR_SIZE) {
            fprintf(stderr, "%c: another frame where the buffer is tight\n", kind);
            exit(3);
        }
        free(tight);
        free(small);
        for (i = 0; i < length; i++) {
            printf("%02x", out[i]);
        }
        printf("\n");
    }
    free(out);
}

static void read_description(any *message)
{
    static uint8_t firmware[256], sensor[256];
    qh_description *d = &message->description;
    hex(d->uid);
    d->tick_hz = number();
    d->rate_mhz = number();
    d->accel_scale = float_of(number());
    d->gyro_scale = float_of(number());
    d->accel_clip = (uint16_t)number();
    d->gyro_clip = (uint16_t)number();
    d->accel_delay_us = (uint16_t)number();
    d->gyro_delay_us = (uint16_t)number();
    d->accel_bandwidth_hz = (uint16_t)number();
    d->gyro_bandwidth_hz = (uint16_t)number();
    d->boot = number();
    d->revision = (uint8_t)number();
    d->firmware_length = (uint8_t)hex(firmware);
    d->sensor_length = (uint8_t)hex(sensor);
    d->firmware = (const char *)firmware;
    d->sensor = (const char *)sensor;
}

static void read_samples(any *message)
{
    static int16_t counts[256][6];
    size_t n, i;
    message->samples.index = number();
    message->samples.ticks = number();
    message->samples.status = (uint8_t)number();
    message->samples.temperature = (int16_t)number();
    n = hex(bytes) / 2u;
    for (i = 0; i < n; i++) {
        unsigned value = (unsigned)bytes[2u * i] | (unsigned)bytes[2u * i + 1u] << 8;
        counts[i / 6u][i % 6u] = (int16_t)value;
    }
    message->samples.count = (uint8_t)(n / 6u);
    message->samples.counts = (const int16_t(*)[6])counts;
}

static void parse(void)
{
    static const char *const names[] = {"", "message", "bad_frame", "joined", "malformed", "unknown"};
    qh_command_parser parser;
    size_t n = hex(bytes), start = 0, i;
    unsigned j;
    int any_outcome = 0;
    qh_command_parser_init(&parser);
    for (i = 0; i < n; i++) {
        qh_command command;
        enum qh_outcome outcome = qh_command_parse(&parser, bytes[i], &command);
        if (outcome != QH_NOTHING) {
            printf("%s%lu:%s:%lu", any_outcome ? " " : "", (unsigned long)start, names[outcome], (unsigned long)(i + 1u));
            any_outcome = 1;
        }
        if (outcome == QH_COMMAND_CAME) {
            printf(":%u:%u:", command.request, command.command);
            for (j = 0; j < command.length; j++) {
                printf("%02x", command.arguments[j]);
            }
        }
        if (bytes[i] == 0u) {
            start = i + 1u;
        }
    }
    printf(any_outcome ? "\n" : "-\n");
}

int main(void)
{
    while (fgets(line, sizeof line, stdin) != NULL) {
        char kind = strtok(line, " \n")[0];
        any message;
        memset(&message, 0, sizeof message);
        switch (kind) {
        case 'P':
            parse();
            continue;
        case 'D':
            read_description(&message);
            break;
        case 'S':
            read_samples(&message);
            break;
        case 'L':
            message.log.level = (uint8_t)number();
            message.log.length = hex(bytes);
            break;
        case 'R':
            message.reply.request = (uint8_t)number();
            message.reply.command = (uint8_t)number();
            message.reply.result = (uint8_t)number();
            message.reply.ticks = number();
            break;
        case 'H':
            message.health.samples = number();
            message.health.lost = number();
            message.health.supply_mv = (uint16_t)number();
            break;
        default:
            message.event.ticks = number();
            message.event.channel = (uint8_t)number();
            message.event.value = (uint8_t)number();
            break;
        }
        encoded(kind, &message);
    }
    return 0;
}
