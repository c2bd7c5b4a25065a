"""The sensor model shows what it says it shows: delays, noise, ranges, mount."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
import scipy.spatial.transform
from numpy.typing import NDArray
from quiethand.emulator import Scenario, setup_document
from quiethand.emulator.scene import Piece
from quiethand.emulator.sensor import Sensor

Floats = NDArray[np.float64]
G = 9.80665


def still(seconds: float, step: float = 1e-3) -> Piece:
    n = round(seconds / step) + 1
    return Piece(0.0, step, np.tile([0.0, 0.0, G], (n, 1)), np.zeros((n, 3)))


@pytest.mark.parametrize("rate_hz", [1000.0, 8000.0])
@pytest.mark.parametrize("column", [0, 5])
@pytest.mark.parametrize("kind", ["good", "cheap"])
def test_a_smooth_motion_is_late_by_the_stated_delay(rate_hz: float, column: int, kind: str) -> None:
    """A filter moves the centroid of a pulse by exactly its group delay at 0 Hz."""
    sensor = Sensor(Scenario(sensor=kind, rate_hz=rate_hz, seed=2))  # type: ignore[arg-type]
    step = 5e-5
    time = step * np.arange(8001)
    bump = np.exp(-(((time - 0.2) / 0.012) ** 2))
    force, rate = np.zeros((8001, 3)), np.zeros((8001, 3))
    (force if column < 3 else rate)[:, column % 3] = bump * (60.0 if column < 3 else 6.0)
    sensor.show(Piece(0.0, step, force, rate))
    at = np.arange(0.1, 0.3, 1 / rate_hz)
    shown = sensor.sample(at, 0.0)[:, column].astype(float)
    shown -= np.median(shown[at < 0.14])
    found = np.sum(shown * at) / np.sum(shown) - 0.2
    assert found == pytest.approx(sensor.settings.delays_s(sensor.spec)[column // 3], abs=8e-5)


@pytest.mark.parametrize("kind", ["good", "cheap"])
def test_noise_at_rest_is_the_stated_density(kind: str) -> None:
    """White of density n sampled at f has the standard deviation n sqrt(f/2); counts add 1/sqrt(12)."""
    sensor = Sensor(Scenario(sensor=kind, rate_hz=2000.0))  # type: ignore[arg-type]
    sensor.show(still(10.0))
    counts = sensor.sample(np.arange(0.1, 9.9, 1 / 2000), 0.0).astype(float)
    spread = np.std(np.diff(counts, axis=0), axis=0) / math.sqrt(2)
    root = math.sqrt(1000.0)
    accel = sensor.spec.accel_noise_m_s2 * root / sensor.settings.accel_scale
    gyro = math.radians(sensor.spec.gyro_noise_deg_s) * root / sensor.settings.gyro_scale
    expected = np.hypot([accel] * 3 + [gyro] * 3, 1 / math.sqrt(12))
    np.testing.assert_allclose(spread, expected, rtol=0.05)


def test_what_is_past_the_range_clips() -> None:
    sensor = Sensor(Scenario(sensor="cheap", rate_hz=1000.0))
    sensor.show(Piece(0.0, 1e-3, np.full((200, 3), 400.0), np.full((200, 3), -40.0)))
    counts = sensor.sample(np.array([0.1, 0.15]), 0.0)
    assert (counts[:, :3] == 32767).all()
    assert (counts[:, 3:] == -32768).all()


@pytest.mark.parametrize("turned", [False, True])
def test_the_set_up_undoes_mount_and_offset(turned: bool) -> None:
    """A level bow at rest, read as a user would with the document's mount, offset and bias, by scipy's rotation."""
    scenario = Scenario(seed=8, rate_hz=1000.0, turned=turned)
    sensor, table = Sensor(scenario), setup_document(scenario)["sensor"]
    assert isinstance(table, dict)
    sensor.show(still(3.0))
    counts = sensor.sample(np.arange(0.1, 2.9, 1e-3), 600.0).mean(axis=0)

    def numbers(key: str) -> Floats:
        return np.array([float(re.split(" ", text)[0]) for text in table[key]])

    mount = scipy.spatial.transform.Rotation.from_quat(table["mount"])
    force = mount.apply(counts[:3] * sensor.settings.accel_scale - numbers("accel_offset"))
    rate = counts[3:] * sensor.settings.gyro_scale - np.radians(numbers("gyro_bias"))
    np.testing.assert_allclose(force, [0, 0, G], atol=0.15)
    np.testing.assert_allclose(np.degrees(rate), 0.0, atol=0.12)


def test_pieces_join_without_a_step() -> None:
    """A ramp cut into calm and fine pieces reads as one ramp: the filters know what came before."""
    sensor = Sensor(Scenario(rate_hz=4000.0))

    def ramp(start: float, step: float, n: int) -> Piece:
        time = start + step * np.arange(n)
        return Piece(start, step, np.tile([0.0, 0.0, G], (n, 1)), np.outer(time, [1.0, 0.0, 0.0]))

    for piece in (ramp(0.0, 2e-3, 251), ramp(0.5, 5e-5, 10_001), ramp(1.0, 2e-3, 251)):
        sensor.show(piece)
    at = np.arange(0.3, 1.4, 1 / 4000)
    rate = sensor.sample(at, 0.0)[:, 3] * sensor.settings.gyro_scale
    fitted = np.polyval(np.polyfit(at, rate, 1), at)
    assert np.abs(rate - fitted).max() < 8 * math.radians(sensor.spec.gyro_noise_deg_s) * math.sqrt(2000)


def test_new_settings_filter_anew_what_was_shown() -> None:
    sensor = Sensor(Scenario(rate_hz=4000.0))
    sensor.show(still(1.0))
    before = sensor.settings.delays_s(sensor.spec)
    sensor.set(replace(sensor.settings, rate_hz=500.0, accel_range_g=8))
    assert sensor.settings.delays_s(sensor.spec)[0] > before[0]
    up = float(sensor.sample(np.arange(0.2, 0.8, 0.002), 0.0)[:, 2].mean()) * sensor.settings.accel_scale
    assert up == pytest.approx(G, abs=0.3)
