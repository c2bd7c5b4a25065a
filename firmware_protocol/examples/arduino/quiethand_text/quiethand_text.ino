// An MPU-6050 in text mode, the shortest way to see something; 200 samples a second. quiethand record --baud 250000 ...
#include <Wire.h>

static int16_t next() { int high = Wire.read(); return (int16_t)(high << 8 | Wire.read()); }
static void put(uint8_t reg, uint8_t value) { Wire.beginTransmission(0x68); Wire.write(reg); Wire.write(value); Wire.endTransmission(); }
static void units() { Serial.println(F("# accel_unit=counts\n# gyro_unit=counts\n# accel_scale=0.0047884\n# gyro_scale=0.0010642")); }

void setup() { Serial.begin(250000); Wire.begin(); Wire.setClock(400000); put(0x6B, 1); put(0x1A, 2); put(0x1B, 0x18); put(0x1C, 0x18); units(); }

void loop() {
  static unsigned long said, due;
  if (millis() - said > 10000) { said = millis(); units(); }
  if (micros() - due < 5000) return;
  due = micros();
  Wire.beginTransmission(0x68); Wire.write(0x3B); Wire.endTransmission(false); Wire.requestFrom(0x68, 14);
  Serial.print(due);
  for (int i = 0; i < 7; i++) { int16_t value = next(); if (i != 3) { Serial.print(','); Serial.print(value); } }
  Serial.println();
}
