"""Recordings as a sensor on a kitchen table would make them, for the calibration tests: truth first, bytes after.

Shares no code with what it tests but the wire format's encoder.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from quiethand_protocol import Description, Header, Samples, encode
from scipy.spatial.transform import Rotation

Floats = NDArray[np.float64]
G = 9.80665


@dataclass(frozen=True)
class Sensor:
    """One specimen. raw = gain @ true + offset + noise; densities one-sided, per sqrt(Hz)."""

    rate_hz: float = 400.0
    gyro_bias_deg_s: tuple[float, float, float] = (0.4, -0.7, 0.2)
    gyro_density_deg_s: float = 0.005
    accel_density_m_s2: float = 0.0015
    accel_offset_m_s2: tuple[float, float, float] = (0.12, -0.20, 0.15)
    accel_gain: Floats = field(default_factory=lambda: np.eye(3))
    accel_range_g: float = 8.0
    gyro_range_deg_s: float = 500.0

    @property
    def accel_scale(self) -> float:
        return float(np.float32(self.accel_range_g * G / 32768))

    @property
    def gyro_scale(self) -> float:
        return float(np.float32(np.deg2rad(self.gyro_range_deg_s) / 32768))

    def raw(self, force: Floats, rate: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
        """What it reads in SI units, sensor axes."""
        # a sample of white noise of one-sided density n over half the sample rate
        band = np.sqrt(self.rate_hz / 2)
        shown_f = force @ self.accel_gain.T + self.accel_offset_m_s2
        shown_w = rate + np.deg2rad(self.gyro_bias_deg_s)
        return (
            shown_f + rng.standard_normal(force.shape) * self.accel_density_m_s2 * band,
            shown_w + rng.standard_normal(rate.shape) * np.deg2rad(self.gyro_density_deg_s) * band,
        )


def record(
    path: Path, sensor: Sensor, force: Floats, rate: Floats, seed: int = 1, *, lose: slice | None = None
) -> Path:
    """Write true specific force (n, 3) in m/s2 and rate (n, 3) in rad/s, sensor axes, as a `.qhr`."""
    shown_f, shown_w = sensor.raw(force, rate, np.random.default_rng(seed))
    counts = np.column_stack([shown_f / sensor.accel_scale, shown_w / sensor.gyro_scale])
    counts = np.clip(np.rint(counts), -32768, 32767).astype(np.int16)
    description = Description(
        uid=b"kitchen1", tick_hz=1_000_000, rate_mhz=round(sensor.rate_hz * 1000), accel_scale=sensor.accel_scale,
        gyro_scale=sensor.gyro_scale, accel_clip=32767, gyro_clip=32767, accel_delay_us=1000, gyro_delay_us=1000,
    )  # fmt: skip
    with path.open("wb") as file:
        file.write(encode(Header(created="2026-01-05T18:00:00Z", software="a test")))
        file.write(encode(description))
        for first in range(0, len(counts), 16):
            block = counts[first : first + 16]
            if lose is not None and lose.start <= first < lose.stop:
                continue
            last = first + len(block) - 1
            file.write(encode(Samples(first, round(last / sensor.rate_hz * 1e6) % 2**32, block)))
    return path


def lying(sensor: Sensor, seconds: float, up: tuple[float, float, float] = (0, 0, 1)) -> tuple[Floats, Floats]:
    """Force and rate of a sensor that lies still with `up` (any length) upwards."""
    n = round(seconds * sensor.rate_hz)
    way = np.array(up, dtype=float)
    return np.tile(G * way / np.linalg.norm(way), (n, 1)), np.zeros((n, 3))


def trembling(sensor: Sensor, seconds: float, seed: int) -> tuple[Floats, Floats]:
    """A sensor held in the hand: tremor at 8 to 12 Hz and slow drift, some tenths of a degree per second."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * sensor.rate_hz)) / sensor.rate_hz
    rate = np.zeros((len(t), 3))
    for hz, size in ((0.3, 0.25), (0.7, 0.25), (8.2, 0.25), (9.7, 0.25), (11.3, 0.25)):
        rate += np.deg2rad(size) * np.sin(2 * np.pi * hz * t[:, None] + rng.uniform(0, 6.28, 3))
    turned = np.cumsum(rate, axis=0) / sensor.rate_hz
    force = np.column_stack([-turned[:, 1], turned[:, 0], np.ones(len(t))]) * G
    return force + 0.15 * np.sin(2 * np.pi * 9.1 * t)[:, None], rate


def turning(sensor: Sensor, start: Rotation, end: Rotation, seconds: float = 1.0) -> tuple[Floats, Floats]:
    """From one attitude (sensor axes to the room's) to another, by hand."""
    n = round(seconds * sensor.rate_hz)
    s = (np.arange(n) + 0.5) / n
    vector = (start.inv() * end).as_rotvec()
    course = s**3 * (10 - 15 * s + 6 * s**2)
    between = start * Rotation.from_rotvec(np.outer(course, vector))
    rate = np.outer(30 * (s * (1 - s)) ** 2 / seconds, vector)
    return between.inv().apply([0, 0, G]), rate


def poses(
    sensor: Sensor, ups: list[tuple[float, float, float]], seconds: float = 3.0, turn_s: float = 1.0
) -> tuple[Floats, Floats]:
    """Still in one pose after the other, turned by hand in between."""
    attitudes = [Rotation.align_vectors([[0, 0, 1]], [up])[0] for up in ups]
    parts = []
    for i, up in enumerate(ups):
        parts.append(lying(sensor, seconds, up))
        if i + 1 < len(ups):
            parts.append(turning(sensor, attitudes[i], attitudes[i + 1], turn_s))
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


SIX = [(1.0, 0, 0), (-1.0, 0, 0), (0, 1.0, 0), (0, -1.0, 0), (0, 0, 1.0), (0, 0, -1.0)]
EDGES = [(1.0, 1, 0), (1.0, -1, 0), (1.0, 0, 1), (1.0, 0, -1), (0, 1.0, 1), (0, 1.0, -1)]


@dataclass(frozen=True)
class Hung:
    """A bow on two cords; swung from `angle_deg` with viscous damping."""

    inertia_kg_m2: float = 0.35
    mass_kg: float = 2.6
    spacing_m: float = 0.40
    cord_m: float = 1.50
    angle_deg: float = 10.0
    damping_nms: float = 0.02
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)


def swinging(sensor: Sensor, hung: Hung, seconds: float, still_s: float = 4.0) -> tuple[Floats, Floats]:
    """Hanging still, turned by hand, let go: the whole equation of two cords, lift and all, by Runge and Kutta.

    Height of the middle at angle a: h - sqrt(h^2 - D^2 (1 - cos a) / 2).
    """
    m, d, h = hung.mass_kg, hung.spacing_m, hung.cord_m
    n = round(seconds * sensor.rate_hz)
    step = 1 / sensor.rate_hz

    def slope(state: Floats) -> Floats:
        angle, speed = state
        root = np.sqrt(h**2 - d**2 * (1 - np.cos(angle)) / 2)
        lift = d**2 * np.sin(angle) / (4 * root)  # dz/da
        bend = d**2 * np.cos(angle) / (4 * root) + lift**2 / root
        torque = -m * G * lift - m * lift * bend * speed**2 - hung.damping_nms * speed
        return np.array([speed, torque / (hung.inertia_kg_m2 + m * lift**2)])

    state = np.array([np.deg2rad(hung.angle_deg), 0.0])
    rates = np.empty(n)
    for i in range(n):
        rates[i] = state[1]
        k1 = slope(state)
        k2 = slope(state + step / 2 * k1)
        k3 = slope(state + step / 2 * k2)
        k4 = slope(state + step * k3)
        state = state + step / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
    way = np.array(hung.up) / np.linalg.norm(hung.up)
    by_hand = np.deg2rad(hung.angle_deg) * np.pi / 2 * np.sin(np.pi * np.arange(0, 1, step))
    about = np.concatenate([np.zeros(round(still_s * sensor.rate_hz)), by_hand, rates])
    return np.tile(G * way, (len(about), 1)), np.outer(about, way)
