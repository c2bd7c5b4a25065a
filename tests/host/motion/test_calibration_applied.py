"""Scale, offset, matrix, bias, mount and clipping: once, at one place, with the set-up over the stream."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.bow.model import SensorSetup
from quiethand.motion.calibration import Scales, calibration
from scipy.spatial.transform import Rotation

RNG = np.random.default_rng(6)
COUNTS = RNG.integers(-32_768, 32_767, (3_000, 6)).astype(np.int16)
SCALES = Scales(accel_m_s2=0.004, gyro_rad_s=0.001, accel_clip=32_767, gyro_clip=32_000, accel_delay_s=1e-3)


def test_as_the_set_up_defines_it() -> None:
    """f = mount (matrix (scale x - offset)), w = mount (scale y - bias), by scipy's rotation."""
    mount = (0.1, -0.2, 0.3, 0.9)
    matrix = np.eye(3) + RNG.normal(0, 0.01, (3, 3))
    offset, bias = (0.1, -0.2, 0.3), (0.01, 0.02, -0.03)
    sensor = SensorSetup(
        mount=mount, accel_matrix=tuple(map(tuple, matrix)), accel_offset_m_s2=offset, gyro_bias_rad_s=bias
    )
    force, rate = calibration(SCALES, sensor).apply(COUNTS)
    turn = Rotation.from_quat(mount)
    assert force == pytest.approx(turn.apply((COUNTS[:, :3] * 0.004 - offset) @ matrix.T), abs=1e-9)
    assert rate == pytest.approx(turn.apply(COUNTS[:, 3:] * 0.001 - bias), abs=1e-9)


@pytest.mark.parametrize("sensor", [SensorSetup(), SensorSetup(mount=(0.0, -0.5, 0.0, 0.8))])
def test_a_sample_gives_the_same_bits_however_samples_are_grouped(sensor: SensorSetup) -> None:
    made = calibration(SCALES, sensor)
    whole = np.hstack(made.apply(COUNTS))
    for n in (2, 7, 999, 1_025):
        parts = np.vstack([np.hstack(made.apply(COUNTS[at : at + n])) for at in range(0, len(COUNTS), n)])
        assert np.array_equal(parts, whole)


def test_clipping_is_at_or_over_the_count_in_32_bits() -> None:
    counts = np.zeros((6, 6), dtype=np.int16)
    counts[1, 0], counts[2, 1], counts[3, 2], counts[4, 3] = 32_766, 32_767, -32_768, -32_000
    accel, gyro = calibration(SCALES, SensorSetup()).clipped(counts)
    assert accel.tolist() == [False, False, True, True, False, False]
    assert gyro.tolist() == [False, False, False, False, True, False]
    accel, _ = calibration(Scales(accel_m_s2=0.004, gyro_rad_s=0.001, accel_clip=32_768), SensorSetup()).clipped(counts)
    assert accel.tolist() == [False, False, False, True, False, False]


def test_clipping_by_the_set_ups_range_wins_and_is_said() -> None:
    made = calibration(SCALES, SensorSetup(accel_range_m_s2=40.0))
    counts = np.zeros((3, 6), dtype=np.int16)
    counts[1, 1], counts[2, 1] = 9_989, 9_990
    assert made.clipped(counts)[0].tolist() == [False, False, True]
    assert any("accelerometer range 40 m/s2 from the set-up" in note for note in made.notes)


def test_a_range_of_numbers_that_are_no_counts() -> None:
    made = calibration(Scales(), SensorSetup(gyro_range_rad_s=34.9))
    numbers = np.zeros((2, 6))
    numbers[1, 5] = -34.9
    assert made.clipped(numbers)[1].tolist() == [False, True]
    assert made.clipped(numbers)[0].tolist() == [False, False]


def test_delays_the_set_up_wins_and_unknown_is_said() -> None:
    made = calibration(SCALES, SensorSetup(accel_delay_s=2e-3))
    assert made.accel_delay_s == 2e-3
    assert made.gyro_delay_s is None
    assert any("accelerometer delay 2 ms from the set-up, not the stream's 1 ms" in note for note in made.notes)
    assert any("gyro delay unknown" in note for note in made.notes)


def test_no_range_at_all_is_said() -> None:
    assert any("clipped samples cannot be told" in n for n in calibration(Scales(), SensorSetup()).notes)
