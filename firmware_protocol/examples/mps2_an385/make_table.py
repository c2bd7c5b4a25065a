"""Makes table.bin and table.h, what the emulated board's sensor plays: one shot by the emulator, from rest to rest.

python make_table.py FOLDER
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from quiethand.emulator import Device, Scenario
from quiethand_protocol import Command, CommandCode, encode

RATE_HZ = 4000.0
SCENARIO = Scenario(seed=11, shots=1, every_s=6.5, nuisances="none", rate_hz=RATE_HZ)
MOST_S = 20


def main(folder: Path) -> None:
    """One shot's samples as they would leave a sensor, and the numbers that a DESCRIPTION says of them."""
    device = Device(SCENARIO)
    device.delivered = []
    device.step(0.0, encode(Command(1, CommandCode.START)))
    for second in range(1, MOST_S):
        device.step(float(second))
        if device.sampler.over_s is not None and device.sampler.scene_s > device.sampler.over_s + 1.5:
            break
    counts = np.concatenate([block.counts for block in device.delivered])
    (folder / "table.bin").write_bytes(counts.astype("<i2").tobytes())
    said = device.description()
    settings = device.sampler.sensor.settings
    numbers = {
        "RATE_MHZ": f"{said.rate_mhz}u",
        "ACCEL_G": f"{settings.accel_range_g:.0f}",
        "GYRO_DEG_S": f"{settings.gyro_range_deg_s:.0f}",
        "ACCEL_SCALE": f"{said.accel_scale:.9g}f",
        "GYRO_SCALE": f"{said.gyro_scale:.9g}f",
        "ACCEL_DELAY_US": f"{said.accel_delay_us}",
        "GYRO_DELAY_US": f"{said.gyro_delay_us}",
        "ACCEL_BANDWIDTH_HZ": f"{said.accel_bandwidth_hz}",
        "GYRO_BANDWIDTH_HZ": f"{said.gyro_bandwidth_hz}",
    }
    lines = "".join(f"#define TABLE_{name} {value}\n" for name, value in numbers.items())
    (folder / "table.h").write_text(lines, "ascii")
    print(f"{len(counts)} samples, {len(counts) / RATE_HZ:.1f} s")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
