"""A 6-axis sensor: filters, bias, noise, ranges and counts. Two kinds, a good one and a cheap one, both invented."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.emulator.attitude import compose, from_angles, from_vector, matrix
from quiethand.emulator.resonance import respond
from quiethand.emulator.scenario import Scenario
from quiethand.emulator.scene import Piece

__all__ = ["RATES_HZ", "SENSORS", "Sensor", "SensorSpec", "Settings"]

Floats = NDArray[np.float64]
G = 9.80665
FULL_COUNT = 32767
BUTTERWORTH = math.sqrt(0.5)  # damping ratio of the second-order filter that is flattest
BEFORE_S = 0.025  # of the piece before, so that filters have settled where a piece begins
FILTER_STEP_S = 2e-4  # pieces on a coarser grid hold nothing that the filter changes: they are only shown late
RATES_HZ: Final = (500.0, 1000.0, 2000.0, 4000.0, 8000.0)


@dataclass(frozen=True)
class SensorSpec:
    """What a data sheet would say, and what one specimen of it does."""

    name: str
    accel_ranges_g: tuple[int, ...]
    gyro_ranges_deg_s: tuple[int, ...]
    accel_range_g: int  # at power-up
    gyro_range_deg_s: int
    accel_noise_m_s2: float  # per sqrt(Hz)
    gyro_noise_deg_s: float  # per sqrt(Hz)
    accel_bandwidth_hz: float  # of the second-order filter, no more than 0.35 of the sample rate
    gyro_bandwidth_hz: float
    readout_s: float
    accel_offset_m_s2: float  # standard deviation between specimens
    gyro_bias_deg_s: float
    gyro_warming_deg_s: float  # by which the bias drifts until warm
    gyro_walk_deg_s: float  # random walk, per sqrt(s)
    scale_error: float
    misalignment: float  # rad
    gyro_per_g_deg_s: float
    rate_error: float  # of the sensor's own oscillator
    rate_warming: float
    stamp_late_s: float  # mean of what a tick is late


SENSORS: Final = {
    "good": SensorSpec(
        name="emulated 6-axis, good",
        accel_ranges_g=(8, 16, 32, 64), gyro_ranges_deg_s=(125, 250, 500, 1000, 2000),
        accel_range_g=64, gyro_range_deg_s=500,
        accel_noise_m_s2=70e-6 * G, gyro_noise_deg_s=0.0030,
        accel_bandwidth_hz=1100.0, gyro_bandwidth_hz=700.0, readout_s=60e-6,
        accel_offset_m_s2=0.06, gyro_bias_deg_s=0.15, gyro_warming_deg_s=0.02, gyro_walk_deg_s=0.0004,
        scale_error=0.002, misalignment=0.002, gyro_per_g_deg_s=0.03,
        rate_error=0.002, rate_warming=0.0004, stamp_late_s=2e-6,
    ),
    "cheap": SensorSpec(
        name="emulated 6-axis, cheap",
        accel_ranges_g=(2, 4, 8, 16), gyro_ranges_deg_s=(250, 500, 1000, 2000),
        accel_range_g=16, gyro_range_deg_s=1000,
        accel_noise_m_s2=300e-6 * G, gyro_noise_deg_s=0.0130,
        accel_bandwidth_hz=420.0, gyro_bandwidth_hz=260.0, readout_s=250e-6,
        accel_offset_m_s2=0.25, gyro_bias_deg_s=0.8, gyro_warming_deg_s=0.10, gyro_walk_deg_s=0.0020,
        scale_error=0.008, misalignment=0.008, gyro_per_g_deg_s=0.10,
        rate_error=0.010, rate_warming=0.0010, stamp_late_s=12e-6,
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Settings:
    """What commands can change, and what follows from it."""

    rate_hz: float
    accel_range_g: int
    gyro_range_deg_s: int

    @property
    def accel_scale(self) -> float:
        """m/s2 per count, as the float32 that DESCRIPTION carries."""
        return float(np.float32(self.accel_range_g * G / 32768))

    @property
    def gyro_scale(self) -> float:
        """rad/s per count, likewise."""
        return float(np.float32(math.radians(self.gyro_range_deg_s) / 32768))

    def bandwidths_hz(self, spec: SensorSpec) -> tuple[float, float]:
        """-3 dB of accelerometer and gyro."""
        limit = 0.35 * self.rate_hz
        return min(spec.accel_bandwidth_hz, limit), min(spec.gyro_bandwidth_hz, limit)

    def delays_s(self, spec: SensorSpec) -> tuple[float, float]:
        """Of accelerometer and gyro at low frequencies: filter (sqrt(2)/(2 pi fc) at 0 Hz) and read-out."""
        accel, gyro = (math.sqrt(2) / (2 * math.pi * hz) + spec.readout_s for hz in self.bandwidths_hz(spec))
        return accel, gyro


@dataclass(frozen=True)
class _View:
    """A piece as the filters show it: on the piece's grid, begun a little early. Columns ax ay az gx gy gz."""

    start_s: float
    step_s: float
    end_s: float
    values: Floats  # (n, 6)


class Sensor:
    """One specimen, its faults drawn from the seed, and the stretch of motion that it is looking at."""

    def __init__(self, scenario: Scenario) -> None:
        rng = np.random.default_rng([scenario.seed, 3])
        self.spec = spec = SENSORS[scenario.sensor]
        self.at_power_up = Settings(scenario.rate_hz, spec.accel_range_g, spec.gyro_range_deg_s)
        self.settings = self.at_power_up
        crooked = from_vector(rng.standard_normal(3) * math.radians(0.6))
        self.mount = compose(from_angles(90.0, 0.0, 180.0), crooked) if scenario.turned else crooked
        self.accel_offset = rng.standard_normal(3) * spec.accel_offset_m_s2
        self.gyro_bias = np.radians(rng.standard_normal(3) * spec.gyro_bias_deg_s)
        self.warming = np.radians(rng.standard_normal(3) * spec.gyro_warming_deg_s)
        self.accel_matrix = self._gains(rng)
        self.gyro_matrix = self._gains(rng)
        self.per_g = np.radians(rng.standard_normal((3, 3)) * spec.gyro_per_g_deg_s) / G
        self.rate_error = float(rng.uniform(-1, 1)) * spec.rate_error
        self._rng = np.random.default_rng([scenario.seed, 4])
        self._walked = np.zeros(3)
        self._views: list[_View] = []
        self._pieces: list[Piece] = []

    def _gains(self, rng: np.random.Generator) -> Floats:
        scale = np.diag(rng.standard_normal(3) * self.spec.scale_error)
        result: Floats = np.eye(3) + scale + rng.standard_normal((3, 3)) * self.spec.misalignment
        return result

    @property
    def seen_until_s(self) -> float:
        """Scene time up to which motion has been shown to the sensor."""
        return self._views[-1].end_s if self._views else 0.0

    def show(self, piece: Piece) -> None:
        """The next piece of motion, joined to the one before."""
        self._views.append(self._filtered(piece, self._pieces[-1] if self._pieces else None))
        self._pieces.append(piece)

    def forget_before(self, scene_s: float) -> None:
        """Let go of motion that ended before; what may yet be sampled again must be kept by the caller's choice."""
        while len(self._pieces) > 2 and self._views[1].end_s < scene_s:
            del self._pieces[0], self._views[0]

    def set(self, settings: Settings) -> None:
        """Take new settings; motion already shown is filtered anew."""
        if settings == self.settings:
            return
        self.settings = settings
        self._views = [
            self._filtered(piece, self._pieces[n - 1] if n else None) for n, piece in enumerate(self._pieces)
        ]

    def temperature_c(self, on_s: float) -> float:
        """It warms by nine degrees in the first minutes."""
        return 22.0 + 9.0 * (1 - math.exp(-on_s / 200.0))

    def sample(self, scene_s: Floats, on_s: float) -> NDArray[np.int16]:
        """Counts (n, 6) at instants of the scene that rise and lie within what was shown.

        Args:
            scene_s: (n,).
            on_s: how long power has been on, for the warming.
        """
        seen = np.empty((len(scene_s), 6))
        done = 0
        for view in self._views:
            upto = int(np.searchsorted(scene_s, view.end_s, side="left")) if view is not self._views[-1] else len(seen)
            if upto > done:
                place = (scene_s[done:upto] - view.start_s) / view.step_s
                low = np.clip(place.astype(np.int64), 0, len(view.values) - 2)
                share = (place - low)[:, None]
                seen[done:upto] = view.values[low] * (1 - share) + view.values[low + 1] * share
                done = upto
        return self._counted(seen, on_s)

    def lie(self, count: int, on_s: float) -> NDArray[np.int16]:
        """Counts (count, 6) of a sensor that lies level and still: gravity, its errors and its noise."""
        return self._counted(np.tile([0.0, 0.0, G, 0.0, 0.0, 0.0], (count, 1)), on_s)

    def _counted(self, seen: Floats, on_s: float) -> NDArray[np.int16]:
        """Bow frame to sensor frame, this specimen's errors, noise and rounding."""
        into = matrix(self.mount)  # row vectors times R is R^T times columns: bow to sensor
        force, rate = seen[:, :3] @ into, seen[:, 3:] @ into
        spec, rng = self.spec, self._rng
        root = math.sqrt(self.settings.rate_hz / 2)
        step = math.radians(spec.gyro_walk_deg_s) * math.sqrt(len(seen) / self.settings.rate_hz)
        moved = rng.standard_normal(3) * step
        walk = self._walked + np.linspace(0.0, 1.0, len(seen))[:, None] * moved
        self._walked = self._walked + moved
        bias = self.gyro_bias + self.warming * (self.temperature_c(on_s) - 22.0) / 9.0 + walk
        noise = rng.standard_normal((len(seen), 6), dtype=np.float32)
        accel = force @ self.accel_matrix.T + self.accel_offset + noise[:, :3] * (spec.accel_noise_m_s2 * root)
        gyro = rate @ self.gyro_matrix.T + force @ self.per_g.T + bias
        gyro += noise[:, 3:] * (math.radians(spec.gyro_noise_deg_s) * root)
        counts = np.concatenate((accel / self.settings.accel_scale, gyro / self.settings.gyro_scale), axis=1)
        return np.clip(np.rint(counts), -FULL_COUNT - 1, FULL_COUNT).astype(np.int16)

    def _filtered(self, piece: Piece, last: Piece | None) -> _View:
        values = np.concatenate((piece.force_m_s2, piece.rate_rad_s), axis=1)
        lead = math.ceil(BEFORE_S / piece.step_s)
        early = piece.start_s - piece.step_s * np.arange(lead, 0, -1)
        if last is None:
            head = np.repeat(values[:1], lead, axis=0)
        else:
            grid = last.start_s + last.step_s * np.arange(len(last.force_m_s2))
            before = np.concatenate((last.force_m_s2, last.rate_rad_s), axis=1)
            head = np.stack([np.interp(early, grid, before[:, axis]) for axis in range(6)], axis=1)
        values = np.concatenate((head, values))
        shown = np.empty_like(values)
        delays, bandwidths = self.settings.delays_s(self.spec), self.settings.bandwidths_hz(self.spec)
        for axis in range(6):
            shown[:, axis] = self._late(values[:, axis], piece.step_s, bandwidths[axis // 3], delays[axis // 3])
        return _View(piece.start_s - lead * piece.step_s, piece.step_s, piece.end_s, shown)

    def _late(self, values: Floats, step_s: float, bandwidth_hz: float, delay_s: float) -> Floats:
        """One channel through the filter and the read-out."""
        if step_s < FILTER_STEP_S:
            omega = 2 * math.pi * bandwidth_hz
            values = values[0] + respond((values - values[0]) * omega**2, step_s, omega, BUTTERWORTH)[0]
            delay_s = self.spec.readout_s
        at = np.arange(len(values), dtype=np.float64)
        late: Floats = np.interp(at - delay_s / step_s, at, values)
        return late
