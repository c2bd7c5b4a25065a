/* Out of reset: data and zeros in place, then main. Nothing of a C library is linked; what the compiler may call of one
 * stands here. */
#include <stddef.h>
#include <stdint.h>

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

__attribute__((section(".vectors"), used)) static const vector vectors[16] = {
    {.top = &stack_top}, {.handler = reset}, {.handler = fault}, {.handler = fault},
    {.handler = fault},  {.handler = fault}, {.handler = fault},
};
