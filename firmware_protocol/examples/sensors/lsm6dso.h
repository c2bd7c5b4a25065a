/* STMicroelectronics LSM6DSO, and the LSM6DSOX, which differs in none of what is used here. See ../README.md. */
#ifndef LSM6DSO_H
#define LSM6DSO_H

#include "imu.h"

#ifdef __cplusplus
extern "C" {
#endif

#define LSM6DSO_I2C_ADDRESS 0x6A /* 0x6B where SDO is high */

extern const imu_driver lsm6dso;

#ifdef __cplusplus
}
#endif

#endif
