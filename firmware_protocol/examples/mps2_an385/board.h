/* The little that is needed of an Arm MPS2 board with a Cortex-M3 (AN385): a UART, a counter, and sleep. */
#ifndef BOARD_H
#define BOARD_H

#include <stddef.h>
#include <stdint.h>

#define BOARD_TICK_HZ 1000000u

void board_init(void);
uint32_t board_ticks(void);

/* Copies all of `bytes` into the queue, or none of it and returns 0. Never waits. */
int board_send(const uint8_t *bytes, size_t length);

/* Moves bytes from the queue to the line while the line takes them. */
void board_flush(void);

/* A byte from the line; -1 where none has come. */
int board_receive(void);

/* Until a byte comes or a millisecond is over. The loop looks again after either, so none of its work waits longer. */
void board_sleep(void);

/* For the vector table. */
void uart_interrupt(void);
void systick_interrupt(void);

#endif
