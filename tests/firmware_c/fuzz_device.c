/* libFuzzer target: any bytes from the host, and any pace of samples, link and clock, to a whole device.
 *
 *   clang -std=c99 -g -O1 -fsanitize=fuzzer,address,undefined -Ifirmware_protocol/c firmware_protocol/c/qh_*.c \
 *       tests/firmware_c/fuzz_device.c -o fuzz && ./fuzz -max_total_time=600 -max_len=2000
 *
 * Input bytes are heard as they are, but for 0xF5, after which the next byte is an act: samples, time, a link that
 * is full, a sensor that does not answer. To get past the CRC, act 7 sends a sound COMMAND of the bytes that follow.
 * What must hold of the output is checked as it is sent.
 */
#include "qh_device.h"
#include <stdlib.h>

typedef struct {
    int full, dead, sampling, described;
    uint32_t sent;
} board;

static void must(int holds)
{
    if (!holds) {
        abort();
    }
}

static int send_bytes(void *context, const uint8_t *bytes, size_t length)
{
    board *b = (board *)context;
    size_t i;
    must(length > 0u && length <= QH_FRAME_BUFFER && bytes[length - 1u] == 0u);
    for (i = bytes[0] == 0u ? 1u : 0u; i + 1u < length; i++) {
        must(bytes[i] != 0u);
    }
    if (b->full) {
        return 0;
    }
    b->sent++;
    return 1;
}

static int configure(void *context, const qh_settings *settings, qh_description *description)
{
    board *b = (board *)context;
    must(!b->sampling);
    must(settings->accel_g == 2u || settings->accel_g == 16u);
    must(settings->gyro_deg_s == 250u || settings->gyro_deg_s == 2000u);
    if (b->dead) {
        return 0;
    }
    description->rate_mhz = settings->rate_mhz;
    description->accel_scale = (float)settings->accel_g / 3000.0f;
    description->gyro_scale = (float)settings->gyro_deg_s / 2000000.0f;
    return 1;
}

static int start_sampling(void *context)
{
    board *b = (board *)context;
    must(!b->sampling);
    b->sampling = !b->dead;
    return !b->dead;
}

static void stop_sampling(void *context)
{
    ((board *)context)->sampling = 0;
}

static const uint32_t rates[] = {100000u, 1000000u, 8000000u};
static const uint16_t accel[] = {2, 16}, gyro[] = {250, 2000};

static void hear_command(qh_device *device, const uint8_t *data, size_t length, uint32_t now)
{
    uint8_t body[64];
    uint32_t crc = QH_CRC_START;
    size_t n = 0, i, code_at, at;
    uint8_t frame[80];
    body[n++] = QH_COMMAND;
    for (i = 0; i < length && i < 10u; i++) {
        body[n++] = data[i];
    }
    for (i = 0; i < n; i++) {
        crc = qh_crc_step(crc, body[i]);
    }
    crc = ~crc;
    for (i = 0; i < 4u; i++) {
        body[n++] = (uint8_t)(crc >> (8u * i));
    }
    for (i = 0, code_at = 0, at = 1; i < n; i++) {
        if (body[i] == 0u) {
            frame[code_at] = (uint8_t)(at - code_at);
            code_at = at++;
        } else {
            frame[at++] = body[i];
        }
    }
    frame[code_at] = (uint8_t)(at - code_at);
    frame[at++] = 0u;
    qh_device_receive(device, 0u, now);
    for (i = 0; i < at; i++) {
        qh_device_receive(device, frame[i], now);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const int16_t counts[6] = {1, -2, 2048, 0, 3, -4};
    board b = {0, 0, 0, 0, 0};
    qh_device_config config = {&b,   send_bytes, configure, start_sampling, stop_sampling, NULL, rates, accel, gyro, 3, 2, 2,
                               {1000000u, 16, 2000}, {1, 2, 3, 4, 5, 6, 7, 8}, 1000000u, 7u, QH_TEXT("fuzz"), QH_TEXT("none")};
    qh_device *device = (qh_device *)malloc(sizeof *device);
    uint32_t now = 4294900000u, taken = 0;
    size_t i;
    qh_device_init(device, &config, now);
    for (i = 0; i < size; i++) {
        if (data[i] != 0xF5u || i + 1u == size) {
            qh_device_receive(device, data[i], now);
            continue;
        }
        i++;
        switch (data[i] & 7u) {
        case 0:
            qh_device_sample(device, counts, now);
            break;
        case 1:
            now += (uint32_t)data[i] * 4000u;
            qh_device_poll(device, now);
            break;
        case 2:
            b.full = !b.full;
            break;
        case 3:
            b.dead = !b.dead;
            break;
        case 4:
            qh_device_lost(device, data[i]);
            break;
        case 5:
            qh_device_lost_until(device, now + data[i]);
            break;
        case 6:
            qh_device_log(device, 1, (const char *)data, size);
            break;
        default:
            hear_command(device, data + i + 1, size - i - 1u, now);
            break;
        }
        must(device->streaming == b.sampling);
        must(device->count < QH_BLOCK_SAMPLES && device->replies <= QH_REPLIES_WAITING);
        must(device->next_index >= taken); /* no wrap within 2,000 bytes of input, but by lost_until */
        taken = device->lost > 1000000u ? 0u : device->next_index;
    }
    free(device);
    return 0;
}
