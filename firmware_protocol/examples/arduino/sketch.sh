#!/bin/sh
# Gathers the sketch and all it needs into one folder that the Arduino IDE opens: sketch.sh FOLDER [SENSOR]
set -eu
here=$(cd "$(dirname "$0")" && pwd)
out=$1/quiethand_binary
sensor=${2:-mpu6050}
upper=$(printf %s "$sensor" | tr a-z A-Z)
mkdir -p "$out"
cp "$here"/../../c/qh_*.h "$here"/../../c/qh_*.c "$here"/../common/imu.h "$here"/../common/fifo_sampler.h "$out"
cp "$here"/../common/fifo_sampler.c "$here/../sensors/$sensor.h" "$here/../sensors/$sensor.c" "$out"
sed -e "s/mpu6050/$sensor/g" -e "s/MPU6050_/${upper}_/" "$here/quiethand_binary/quiethand_binary.ino" > "$out/quiethand_binary.ino"
