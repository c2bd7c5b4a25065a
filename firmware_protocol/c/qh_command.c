#include "qh_command.h"

static void qh_next_run(qh_command_parser *parser)
{
    parser->crc = QH_CRC_START;
    parser->body_length = 0;
    parser->run_length = 0;
    parser->code = 0;
    parser->left = 0;
}

void qh_command_parser_init(qh_command_parser *parser)
{
    unsigned i;
    for (i = 0; i < QH_COMMAND_BODY_MAX; i++) {
        parser->body[i] = 0;
    }
    parser->first = 1;
    qh_next_run(parser);
}

static void qh_take(qh_command_parser *parser, uint8_t byte)
{
    if (parser->body_length < QH_COMMAND_BODY_MAX) {
        parser->body[parser->body_length] = byte;
    }
    parser->body_length++; /* bounded: every byte of a body stands for one of the run, and those are counted */
    parser->crc = qh_crc_step(parser->crc, byte);
}

static enum qh_outcome qh_judge(const qh_command_parser *parser)
{
    if (parser->run_length > QH_RUN_MAX || parser->left != 0u || parser->body_length < QH_BODY_MIN ||
        parser->crc != QH_CRC_GOOD) {
        return parser->first ? QH_JOINED : QH_BAD_FRAME;
    }
    if (parser->body[0] != QH_COMMAND) {
        return parser->body_length > QH_BODY_MAX && parser->body[0] < 0x80u ? QH_MALFORMED : QH_UNKNOWN;
    }
    if (parser->body_length > QH_COMMAND_BODY_MAX || parser->body_length < QH_BODY_MIN + 2u) {
        return QH_MALFORMED;
    }
    return QH_COMMAND_CAME;
}

enum qh_outcome qh_command_parse(qh_command_parser *parser, uint8_t byte, qh_command *command)
{
    enum qh_outcome outcome = QH_NOTHING;
    if (byte == 0u) {
        if (parser->run_length != 0u) {
            outcome = qh_judge(parser);
        }
        if (outcome == QH_COMMAND_CAME) {
            command->request = parser->body[1];
            command->command = parser->body[2];
            command->arguments = parser->body + 3;
            command->length = (uint8_t)(parser->body_length - 7u);
        }
        parser->first = 0;
        qh_next_run(parser);
        return outcome;
    }
    if (parser->run_length > QH_RUN_MAX) {
        return QH_NOTHING; /* overlong: dropped up to the next delimiter */
    }
    parser->run_length++;
    if (parser->left != 0u) {
        parser->left--;
        qh_take(parser, byte);
        return QH_NOTHING;
    }
    if (parser->code != 0u && parser->code != 0xFFu) {
        qh_take(parser, 0u); /* the zero between two blocks, known only now that another follows */
    }
    parser->code = byte;
    parser->left = (uint8_t)(byte - 1u);
    return QH_NOTHING;
}
