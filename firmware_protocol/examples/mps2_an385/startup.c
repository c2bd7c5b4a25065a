/* Out of reset: data and zeros in place, then main. Nothing of a C library is linked; what the compiler may call of one
 * stands here. */
#include "board.h"

extern uint32_t stack_top, data_source, data_begin, data_end, bss_begin, bss_end;
int main(void);

void *memcpy(void *to, const void *from, size_t count);
void *memset(void *to, int value, size_t count);

void *memcpy(void *to, const void *from, size_t count)
{
    uint8_t *a = to;
    const uint8_t *b = from;
    while (count-- > 0u) {
        *a++ = *b++;
    }
    return to;
}

void *memset(void *to, int value, size_t count)
{
    uint8_t *a = to;
    while (count-- > 0u) {
        *a++ = (uint8_t)value;
    }
    return to;
}

void reset(void);

void reset(void)
{
    uint32_t *from = &data_source, *to;
    for (to = &data_begin; to < &data_end; to++) {
        *to = *from++;
    }
    for (to = &bss_begin; to < &bss_end; to++) {
        *to = 0;
    }
    (void)main();
    for (;;) {
    }
}

static void fault(void)
{
    for (;;) {
    }
}

typedef union {
    void *top;
    void (*handler)(void);
} vector;

__attribute__((section(".vectors"), used)) static const vector vectors[17] = {
    [0] = {.top = &stack_top},
    [1] = {.handler = reset},
    [2] = {.handler = fault}, /* all that can go wrong end in the same place */
    [3] = {.handler = fault},
    [4] = {.handler = fault},
    [5] = {.handler = fault},
    [6] = {.handler = fault},
    [15] = {.handler = systick_interrupt},
    [16] = {.handler = uart_interrupt}, /* interrupt 0 of the board */
};
