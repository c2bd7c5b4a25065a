/* The motion stream from an MPU-6050, LSM6DSO or BMI160 on I2C, for the common beginner's boards.
 *
 * Copy into this folder: ../../../c/qh_*.h and .c, ../../common/imu.h, fifo_sampler.h and .c, and from ../../sensors the .h and .c of
 * your sensor (the script sketch.sh above does it). Choose the sensor below. Wire VCC, GND, SDA and SCL; where the
 * sensor has an interrupt for its FIFO (LSM6DSO, BMI160), its INT1 to INTERRUPT_PIN. On a board with 2 kB of RAM take
 * the MPU-6050 at 500 Hz or less.
 */
#include <Wire.h>
#include "qh_device.h"
#include "fifo_sampler.h"
#include "mpu6050.h"

#define SENSOR mpu6050
#define SENSOR_ADDRESS MPU6050_I2C_ADDRESS
#define START_RATE_MHZ 500000ul
#if defined(__AVR__)
#define BAUD 500000ul       /* of the rates that 16 MHz divide into exactly: quiethand record --baud 500000 */
#else
#define BAUD 921600ul       /* of a USB bridge; boards with USB of their own ignore it */
#endif
#define INTERRUPT_PIN -1    /* or the pin that INT1 goes to */

static fifo_sampler sampler;
static qh_device device;
static qh_device_config config;

/* I2C reads at most 32 bytes at a time on the smallest boards; the drivers ask for 12. */
static int bus_read(void *, uint8_t reg, uint8_t *bytes, size_t count) {
  Wire.beginTransmission(SENSOR_ADDRESS);
  Wire.write(reg);
  if (Wire.endTransmission(false) != 0 || Wire.requestFrom((int)SENSOR_ADDRESS, (int)count) != (int)count) return 0;
  for (size_t i = 0; i < count; i++) bytes[i] = (uint8_t)Wire.read();
  return 1;
}

static int bus_write(void *, uint8_t reg, const uint8_t *bytes, size_t count) {
  Wire.beginTransmission(SENSOR_ADDRESS);
  Wire.write(reg);
  Wire.write(bytes, count);
  return Wire.endTransmission() == 0;
}

static const imu_bus bus = {bus_read, bus_write, NULL};

/* A frame longer than the whole transmit buffer (63 bytes on the smallest boards) can never be taken without waiting.
 * There it waits, which the sensor's FIFO bears: 1 kB hold 85 samples. */
static int send_bytes(void *, const uint8_t *bytes, size_t length) {
  static int most = 0; /* the largest room that was ever seen */
  int room = Serial.availableForWrite();
  if (room > most) most = room;
  if (room < (int)length && most >= (int)length) return 0;
  return Serial.write(bytes, length) == length;
}

static int configure(void *, const qh_settings *settings, qh_description *description) {
  int done = SENSOR.configure(&bus, settings, description);
  delay(SENSOR.settle_ms);
  return done;
}

static int start_sampling(void *) { return fifo_sampler_start(&sampler, micros()); }

static void stop_sampling(void *) {
  fifo_sampler_take(&sampler, &device, micros());
  fifo_sampler_stop(&sampler);
}

static void identify(void *) { digitalWrite(LED_BUILTIN, HIGH); }

static void interrupt() { fifo_sampler_mark(&sampler, micros()); }

void setup() {
  pinMode(LED_BUILTIN, OUTPUT);
  Serial.begin(BAUD);
  Wire.begin();
  Wire.setClock(400000);
  config.send = send_bytes;
  config.configure = configure;
  config.start_sampling = start_sampling;
  config.stop_sampling = stop_sampling;
  config.identify = identify;
  config.rates_mhz = SENSOR.rates_mhz;
  config.rates = SENSOR.rates;
  config.accel_ranges_g = SENSOR.accel_ranges_g;
  config.accel_ranges = SENSOR.accel_ranges;
  config.gyro_ranges_deg_s = SENSOR.gyro_ranges_deg_s;
  config.gyro_ranges = SENSOR.gyro_ranges;
  config.at_power_up.rate_mhz = START_RATE_MHZ;
  config.at_power_up.accel_g = 16;
  config.at_power_up.gyro_deg_s = 2000;
  config.uid[0] = 'A'; /* give each of your sensors its own eight bytes */
  config.uid[7] = 1;
  config.tick_hz = 1000000ul;
  randomSeed((unsigned long)analogRead(A0) * 7919ul + micros());
  config.boot = (uint32_t)random(0x7FFFFFFFl);
  config.firmware = "quiethand sketch 1";
  config.firmware_length = sizeof "quiethand sketch 1" - 1;
  config.sensor = SENSOR.name;
  config.sensor_length = SENSOR.name_length;
  fifo_sampler_init(&sampler, &SENSOR, &bus);
  if (INTERRUPT_PIN >= 0) attachInterrupt(digitalPinToInterrupt(INTERRUPT_PIN), interrupt, RISING);
  qh_device_init(&device, &config, micros());
}

void loop() {
  static unsigned long warmed;
  if (device.streaming) fifo_sampler_take(&sampler, &device, micros());
  while (Serial.available() > 0) qh_device_receive(&device, (uint8_t)Serial.read(), micros());
  if (millis() - warmed > 1000) {
    int16_t centi;
    warmed = millis();
    if (SENSOR.temperature(&bus, &centi)) qh_device_temperature(&device, centi);
    digitalWrite(LED_BUILTIN, LOW);
  }
  qh_device_poll(&device, micros());
}
