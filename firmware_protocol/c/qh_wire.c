/* Fields go out one byte after the other, through the byte stuffing and the CRC at once: no body is ever held. */
#include "qh_wire.h"

#if defined(__AVR__)
#include <avr/pgmspace.h> /* else the table would take 64 bytes of a small RAM */
#define QH_TABLE PROGMEM
#define QH_TABLE_READ(entry) pgm_read_dword(&(entry))
#else
#define QH_TABLE
#define QH_TABLE_READ(entry) (entry)
#endif

/* The wire's f32 is IEEE 754 binary32, and so must float be. */
typedef char qh_float_has_32_bits[sizeof(float) == 4 ? 1 : -1];

/* Four bits at a time: 64 bytes of table, a quarter of the time of one bit at a time. */
static const uint32_t qh_crc_table[16] QH_TABLE = {
    0x00000000ul, 0x1DB71064ul, 0x3B6E20C8ul, 0x26D930ACul, 0x76DC4190ul, 0x6B6B51F4ul, 0x4DB26158ul, 0x5005713Cul,
    0xEDB88320ul, 0xF00F9344ul, 0xD6D6A3E8ul, 0xCB61B38Cul, 0x9B64C2B0ul, 0x86D3D2D4ul, 0xA00AE278ul, 0xBDBDF21Cul,
};

uint32_t qh_crc_step(uint32_t crc, uint8_t byte)
{
    crc ^= byte;
    crc = (crc >> 4) ^ QH_TABLE_READ(qh_crc_table[crc & 15u]);
    return (crc >> 4) ^ QH_TABLE_READ(qh_crc_table[crc & 15u]);
}

typedef struct {
    uint8_t *out;
    size_t size, at, code_at; /* where the next byte goes; where the open block's code byte is */
    uint32_t crc;
    uint8_t code; /* 1 + bytes in the open block; 0xFF is a full one */
} qh_writer;

static void qh_open_block(qh_writer *writer)
{
    writer->code_at = writer->at++;
    writer->code = 1u;
}

static void qh_close_block(qh_writer *writer)
{
    if (writer->code_at < writer->size) {
        writer->out[writer->code_at] = writer->code;
    }
}

static void qh_stuff(qh_writer *writer, uint8_t byte)
{
    if (writer->code == 0xFFu) { /* only now: a full block that ends the body has no other after it */
        qh_close_block(writer);
        qh_open_block(writer);
    }
    if (byte == 0u) {
        qh_close_block(writer);
        qh_open_block(writer);
        return;
    }
    if (writer->at < writer->size) {
        writer->out[writer->at] = byte;
    }
    writer->at++;
    writer->code++;
}

static void qh_put_u8(qh_writer *writer, uint8_t value)
{
    writer->crc = qh_crc_step(writer->crc, value);
    qh_stuff(writer, value);
}

static void qh_put_u16(qh_writer *writer, uint16_t value)
{
    qh_put_u8(writer, (uint8_t)(value & 0xFFu));
    qh_put_u8(writer, (uint8_t)(value >> 8));
}

static void qh_put_u32(qh_writer *writer, uint32_t value)
{
    qh_put_u16(writer, (uint16_t)(value & 0xFFFFu));
    qh_put_u16(writer, (uint16_t)(value >> 16));
}

static void qh_put_text(qh_writer *writer, const char *text, size_t length)
{
    size_t i;
    for (i = 0; i < length; i++) {
        qh_put_u8(writer, (uint8_t)text[i]);
    }
}

static qh_writer qh_begin(uint8_t type, uint8_t *out, size_t size)
{
    qh_writer writer;
    writer.out = out;
    writer.size = size;
    writer.at = 0;
    writer.crc = QH_CRC_START;
    qh_open_block(&writer);
    qh_put_u8(&writer, type);
    return writer;
}

static int qh_end(qh_writer *writer)
{
    uint32_t crc = writer->crc ^ 0xFFFFFFFFul;
    unsigned i;
    for (i = 0; i < 4u; i++) {
        qh_stuff(writer, (uint8_t)((crc >> (8u * i)) & 0xFFu));
    }
    qh_close_block(writer);
    if (writer->at >= writer->size) {
        return QH_ERROR_SIZE;
    }
    writer->out[writer->at++] = 0u;
    return (int)writer->at;
}

static uint32_t qh_bits_of(float value)
{
    uint32_t bits = 0;
    const unsigned char *from = (const unsigned char *)&value;
    unsigned char *to = (unsigned char *)&bits;
    unsigned i;
    for (i = 0; i < 4u; i++) {
        to[i] = from[i];
    }
    return bits;
}

/* Finite and over 0, told from the bits: no library for numbers is needed. */
static int qh_is_scale(float value)
{
    uint32_t bits = qh_bits_of(value);
    return bits != 0u && bits < 0x7F800000ul;
}

uint8_t qh_status_byte(unsigned flags, uint8_t revision, uint32_t boot)
{
    return (uint8_t)((flags & 7u) | ((unsigned)(revision & 7u) << 3) | ((unsigned)(boot & 3u) << 6));
}

int qh_encode_description(const qh_description *message, uint8_t *out, size_t size)
{
    qh_writer writer;
    if (message->tick_hz == 0u || message->tick_hz > QH_TICK_HZ_MAX || message->rate_mhz == 0u ||
        !qh_is_scale(message->accel_scale) || !qh_is_scale(message->gyro_scale) ||
        message->firmware_length > QH_STRING_MAX || message->sensor_length > QH_STRING_MAX) {
        return QH_ERROR_FIELD;
    }
    writer = qh_begin(QH_DESCRIPTION, out, size);
    qh_put_u8(&writer, QH_VERSION);
    qh_put_text(&writer, (const char *)message->uid, QH_UID_SIZE);
    qh_put_u32(&writer, message->tick_hz);
    qh_put_u32(&writer, message->rate_mhz);
    qh_put_u32(&writer, qh_bits_of(message->accel_scale));
    qh_put_u32(&writer, qh_bits_of(message->gyro_scale));
    qh_put_u16(&writer, message->accel_clip);
    qh_put_u16(&writer, message->gyro_clip);
    qh_put_u16(&writer, message->accel_delay_us);
    qh_put_u16(&writer, message->gyro_delay_us);
    qh_put_u16(&writer, message->accel_bandwidth_hz);
    qh_put_u16(&writer, message->gyro_bandwidth_hz);
    qh_put_u32(&writer, message->boot);
    qh_put_u8(&writer, message->revision);
    qh_put_u8(&writer, message->firmware_length);
    qh_put_text(&writer, message->firmware, message->firmware_length);
    qh_put_u8(&writer, message->sensor_length);
    qh_put_text(&writer, message->sensor, message->sensor_length);
    return qh_end(&writer);
}

int qh_encode_samples(const qh_samples *message, uint8_t *out, size_t size)
{
    qh_writer writer;
    unsigned i, axis;
    if (message->count == 0u || message->count > QH_SAMPLES_MAX) {
        return QH_ERROR_FIELD;
    }
    writer = qh_begin(QH_SAMPLES, out, size);
    qh_put_u32(&writer, message->index);
    qh_put_u32(&writer, message->ticks);
    qh_put_u8(&writer, message->count);
    qh_put_u8(&writer, message->status);
    qh_put_u16(&writer, (uint16_t)message->temperature);
    for (i = 0; i < message->count; i++) {
        for (axis = 0; axis < 6u; axis++) {
            qh_put_u16(&writer, (uint16_t)message->counts[i][axis]);
        }
    }
    return qh_end(&writer);
}

int qh_encode_log(uint8_t level, const char *text, size_t length, uint8_t *out, size_t size)
{
    qh_writer writer;
    if (length > QH_LOG_TEXT_MAX) {
        return QH_ERROR_FIELD;
    }
    writer = qh_begin(QH_LOG, out, size);
    qh_put_u8(&writer, level);
    qh_put_text(&writer, text, length);
    return qh_end(&writer);
}

int qh_encode_reply(const qh_reply *message, uint8_t *out, size_t size)
{
    qh_writer writer = qh_begin(QH_REPLY, out, size);
    qh_put_u8(&writer, message->request);
    qh_put_u8(&writer, message->command);
    qh_put_u8(&writer, message->result);
    qh_put_u32(&writer, message->ticks);
    return qh_end(&writer);
}

int qh_encode_health(const qh_health *message, uint8_t *out, size_t size)
{
    qh_writer writer = qh_begin(QH_HEALTH, out, size);
    qh_put_u32(&writer, message->samples);
    qh_put_u32(&writer, message->lost);
    qh_put_u16(&writer, message->supply_mv);
    return qh_end(&writer);
}

int qh_encode_event(const qh_event *message, uint8_t *out, size_t size)
{
    qh_writer writer = qh_begin(QH_EVENT, out, size);
    qh_put_u32(&writer, message->ticks);
    qh_put_u8(&writer, message->channel);
    qh_put_u8(&writer, message->value);
    return qh_end(&writer);
}
