/* Bosch Sensortec BMI160. See ../README.md for what its numbers are from. */
#ifndef BMI160_H
#define BMI160_H

#include "imu.h"

#ifdef __cplusplus
extern "C" {
#endif

#define BMI160_I2C_ADDRESS 0x68 /* 0x69 where SDO is high */

extern const imu_driver bmi160;

#ifdef __cplusplus
}
#endif

#endif
