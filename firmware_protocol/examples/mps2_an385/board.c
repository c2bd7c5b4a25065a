/* Addresses: Arm DAI 0385, "Application Note AN385"; the UART's registers: Arm DDI 0479, CMSDK. */
#include "board.h"

#define REGISTER(address) (*(volatile uint32_t *)(address))
#define UART_DATA REGISTER(0x40004000u)
#define UART_STATE REGISTER(0x40004004u)
#define UART_CTRL REGISTER(0x40004008u)
#define UART_INTERRUPT REGISTER(0x4000400Cu) /* write 2: the one of a received byte is dealt with */
#define UART_BAUDDIV REGISTER(0x40004010u)
#define COUNTER REGISTER(0x40028018u) /* of the FPGA's I/O block, up at 25 MHz / (PRESCALE + 1) */
#define PRESCALE REGISTER(0x4002801Cu)
#define SYSTICK_CTRL REGISTER(0xE000E010u)
#define SYSTICK_RELOAD REGISTER(0xE000E014u)
#define INTERRUPT_ENABLE REGISTER(0xE000E100u) /* bit 0: a byte came to UART 0 */

#define TX_FULL 1u
#define RX_FULL 2u
#define HEARD 2048u /* a power of two: the line is far quicker than its baud rate here, and comes in lumps */
#define QUEUE 8192u /* a power of two: 0.3 s at 2,000 samples a second */

static uint8_t queue[QUEUE];
static uint32_t queue_in, queue_out;

/* From the line: `heard_in` is written by the interrupt alone, `heard_out` by board_receive alone. What finds no room
 * is dropped, and the CRC of the command that it was in will not hold. */
static volatile uint8_t heard[HEARD];
static volatile uint32_t heard_in, heard_out;

void uart_interrupt(void)
{
    UART_INTERRUPT = 2u; /* before the byte is read: the next one's is not to be wiped out with it */
    while ((UART_STATE & RX_FULL) != 0u) {
        uint8_t byte = (uint8_t)(UART_DATA & 0xFFu);
        if (heard_in - heard_out < HEARD) {
            heard[heard_in % HEARD] = byte;
            heard_in++;
        }
    }
}

void systick_interrupt(void) /* it only wakes */
{
}

void board_init(void)
{
    PRESCALE = 24u;
    UART_BAUDDIV = 27u; /* 25 MHz / 921,600; the emulator does not keep to it */
    UART_CTRL = 0x0Bu;  /* both directions, an interrupt for each received byte */
    INTERRUPT_ENABLE = 1u;
    SYSTICK_RELOAD = 24999u; /* 1 ms of 25 MHz */
    SYSTICK_CTRL = 7u;
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
    int byte;
    if (heard_out == heard_in) {
        return -1;
    }
    byte = heard[heard_out % HEARD];
    heard_out++;
    return byte;
}

void board_sleep(void)
{
    __asm__ volatile("wfi" ::: "memory");
}
