/* TDK InvenSense MPU-6050, on the boards that beginners meet first. See ../README.md for what its numbers are from. */
#ifndef MPU6050_H
#define MPU6050_H

#include "imu.h"

#ifdef __cplusplus
extern "C" {
#endif

#define MPU6050_I2C_ADDRESS 0x68 /* 0x69 where AD0 is high */

extern const imu_driver mpu6050;

#ifdef __cplusplus
}
#endif

#endif
