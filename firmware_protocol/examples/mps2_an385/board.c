/* Addresses: Arm DAI 0385, "Application Note AN385"; the UART's registers: Arm DDI 0479, CMSDK. */
#include "board.h"

#define REGISTER(address) (*(volatile uint32_t *)(address))
#define UART_DATA REGISTER(0x40004000u)
#define UART_STATE REGISTER(0x40004004u)
#define UART_CTRL REGISTER(0x40004008u)
#define UART_BAUDDIV REGISTER(0x40004010u)
#define COUNTER REGISTER(0x40028018u) /* of the FPGA's I/O block, up at 25 MHz / (PRESCALE + 1) */
#define PRESCALE REGISTER(0x4002801Cu)

#define TX_FULL 1u
#define RX_FULL 2u
#define QUEUE 8192u /* a power of two: 0.3 s at 2,000 samples a second */

static uint8_t queue[QUEUE];
static uint32_t queue_in, queue_out;

void board_init(void)
{
    PRESCALE = 24u;
    UART_BAUDDIV = 27u; /* 25 MHz / 921,600; the emulator does not keep to it */
    UART_CTRL = 3u;     /* both directions */
}

uint32_t board_ticks(void)
{
    return COUNTER;
}

int board_send(const uint8_t *bytes, size_t length)
{
    size_t i;
    if (QUEUE - (queue_in - queue_out) < length) {
        return 0;
    }
    for (i = 0; i < length; i++) {
        queue[queue_in++ % QUEUE] = bytes[i];
    }
    return 1;
}

void board_flush(void)
{
    while (queue_out != queue_in && (UART_STATE & TX_FULL) == 0u) {
        UART_DATA = queue[queue_out++ % QUEUE];
    }
}

int board_receive(void)
{
    return (UART_STATE & RX_FULL) != 0u ? (int)(UART_DATA & 0xFFu) : -1;
}
