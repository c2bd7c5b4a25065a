/* As Arduino.h here: declarations alone. */
#ifndef WIRE_H
#define WIRE_H
#include "Arduino.h"
struct TwoWire {
    void begin();
    void setClock(uint32_t hz);
    void beginTransmission(int address);
    uint8_t endTransmission();
    uint8_t endTransmission(bool stop);
    size_t write(uint8_t value);
    size_t write(const uint8_t *bytes, size_t count);
    uint8_t requestFrom(int address, int count);
    int read();
};
extern TwoWire Wire;
#endif
