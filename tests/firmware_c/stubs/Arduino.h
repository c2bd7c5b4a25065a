/* Declarations alone, enough to compile a sketch where no Arduino core is: what they do is not tried here. */
#ifndef ARDUINO_H
#define ARDUINO_H
#include <stddef.h>
#include <stdint.h>
#define HIGH 1
#define LOW 0
#define OUTPUT 1
#define RISING 3
#define LED_BUILTIN 13
#define A0 14
#define F(text) (text)
#define digitalPinToInterrupt(pin) (pin)
unsigned long micros();
unsigned long millis();
void delay(unsigned long ms);
void pinMode(int pin, int mode);
void digitalWrite(int pin, int value);
int analogRead(int pin);
void randomSeed(unsigned long seed);
long random(long most);
void attachInterrupt(int number, void (*handler)(), int mode);
struct Stream {
    void begin(unsigned long baud);
    int available();
    int availableForWrite();
    int read();
    size_t write(const uint8_t *bytes, size_t count);
    void print(unsigned long value);
    void print(int value);
    void print(char letter);
    void println();
    void println(const char *text);
};
extern Stream Serial;
#endif
