/* A device's ear: bytes go in one at a time, commands come out.
 *
 * It holds one COMMAND's body and no more, whatever comes: a run is unstuffed and its CRC taken as it arrives. So
 * each run is judged exactly as ../README.md says, long ones included, in 64 bytes of buffer. Work for each byte is
 * constant.
 */
#ifndef QH_COMMAND_H
#define QH_COMMAND_H

#include "qh_wire.h"

#ifdef __cplusplus
extern "C" {
#endif

enum qh_command_code {
    QH_DESCRIBE = 1,
    QH_START = 2,
    QH_STOP = 3,
    QH_SET_RATE = 4,
    QH_SET_RANGES = 5,
    QH_IDENTIFY = 6,
    QH_CLOCK = 7
};

/* What a byte brought. All but QH_NOTHING come with the 0x00 that ends a run. */
enum qh_outcome {
    QH_NOTHING = 0, /* more to come, or an empty run */
    QH_COMMAND_CAME,
    QH_BAD_FRAME,
    QH_JOINED,    /* the bytes before the first 0x00 and no frame: the host was met in mid-frame */
    QH_MALFORMED, /* its CRC holds; its body does not fit a COMMAND, or is over its type's limit */
    QH_UNKNOWN    /* its CRC holds, and it is no COMMAND */
};

typedef struct {
    uint8_t body[QH_COMMAND_BODY_MAX]; /* the first bytes of the run's body */
    uint32_t crc;
    uint16_t body_length, run_length; /* neither beyond QH_RUN_MAX + 1 */
    uint8_t code;  /* of the block that is open; 0 before the first */
    uint8_t left;  /* bytes still to come in it */
    uint8_t first; /* no delimiter was seen yet */
} qh_command_parser;

/* A command as it came. `arguments` point into the parser and hold until the next byte goes in. */
typedef struct {
    uint8_t request, command;
    const uint8_t *arguments;
    uint8_t length;
} qh_command;

void qh_command_parser_init(qh_command_parser *parser);

/* Takes one byte; fills `command` where it returns QH_COMMAND_CAME and leaves it alone otherwise.
 *
 *     qh_command command;
 *     while (uart_has_byte()) {
 *         if (qh_command_parse(&parser, uart_read(), &command) == QH_COMMAND_CAME) {
 *             obey(&command);
 *         }
 *     }
 */
enum qh_outcome qh_command_parse(qh_command_parser *parser, uint8_t byte, qh_command *command);

#ifdef __cplusplus
}
#endif

#endif
