"""Gravity and noise of a sensor that lies still, told from one that is held: noise has no memory, a hand has.

Pure. Works through pieces of a second and keeps sums alone, so that an evening needs no more memory than a minute.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["Rest", "RestFigures", "noise_bandwidth_hz"]

Floats = NDArray[np.float64]

PIECE_S: Final = 1.0
CELL_S: Final = 0.01  # means over this much show a hand's tremor of 8 to 12 Hz whole, and over the longest by half
LONGEST_CELL_S: Final = 0.06
# White noise of density n, one-sided, has the variance n^2 / (2 T) in a mean over T and n^2 B in a sample. So that of
# the means is known from the samples' own: 2 T B times smaller. A hand's is hardly smaller; where it is larger by this
# factor than noise would have it, there is motion. Sixteen cells and more scatter by a third at most.
MOTION_FACTOR: Final = 3.0
SMALLER_BY: Final = 12.0  # what 2 T B must be for the two to stand well apart
# Equivalent noise bandwidth of a second-order Butterworth low-pass over its -3 dB frequency: pi / (2 sqrt(2)).
BUTTERWORTH_2: Final = math.pi / (2 * math.sqrt(2))


def noise_bandwidth_hz(rate_hz: float, bandwidth_hz: float | None) -> float:
    """Of what the samples carry: the filter's (taken for a second-order low-pass), at most half the rate, where what
    a wider filter lets through is folded back."""
    return rate_hz / 2 if not bandwidth_hz else min(rate_hz / 2, BUTTERWORTH_2 * bandwidth_hz)


@dataclass(frozen=True)
class RestFigures:
    """Over the pieces in which the sensor lay still; None where there were none."""

    seconds: float = 0.0
    gravity_m_s2: float | None = None
    gyro_noise_deg_s: tuple[float, float, float] | None = None  # standard deviation of a sample, sensor axes
    accel_noise_m_s2: tuple[float, float, float] | None = None
    gyro_density_deg_s: float | None = None  # per sqrt(Hz), the worst axis
    accel_density_ug: float | None = None  # micro-g per sqrt(Hz), the worst axis
    gyro_bandwidth_hz: float | None = None  # noise bandwidths that the densities were taken over
    accel_bandwidth_hz: float | None = None


class Rest:
    """Takes samples in SI units as they come.

    Args:
        rate_hz: nominal.
        gyro_bandwidth_hz, accel_bandwidth_hz: -3 dB, None where unknown.
    """

    def __init__(self, rate_hz: float, gyro_bandwidth_hz: float | None, accel_bandwidth_hz: float | None) -> None:
        self._rate_hz = rate_hz
        self._bands = np.array(
            [noise_bandwidth_hz(rate_hz, accel_bandwidth_hz)] * 3 + [noise_bandwidth_hz(rate_hz, gyro_bandwidth_hz)] * 3
        )
        self._piece = round(PIECE_S * rate_hz)
        cell_s = max(CELL_S, SMALLER_BY / (2 * float(self._bands.min())))
        self._cell = max(2, round(cell_s * rate_hz))
        self._tells = cell_s <= LONGEST_CELL_S  # else the samples are too few to tell noise from a hand
        self._held: list[Floats] = []
        self._count = 0
        self._pieces = 0
        self._variance = np.zeros(6)
        self._gravity = 0.0

    def add(self, values: Floats) -> None:
        """Samples in a row, (n, 6): m/s2 and rad/s."""
        self._held.append(values)
        self._count += len(values)
        if self._count < self._piece:
            return
        joined = np.concatenate(self._held)
        whole = len(joined) // self._piece
        for n in range(whole):
            self._judge(joined[n * self._piece : (n + 1) * self._piece])
        self._held = [joined[whole * self._piece :]]
        self._count = len(self._held[0])

    def interrupted(self) -> None:
        """Samples are missing: a piece does not run over that."""
        self._held.clear()
        self._count = 0

    def figures(self) -> RestFigures:
        """What is known so far."""
        if not self._pieces:
            return RestFigures()
        sigma = np.sqrt(self._variance / self._pieces)
        density = sigma / np.sqrt(self._bands)
        gyro, accel = np.degrees(sigma[3:]), sigma[:3]
        return RestFigures(
            seconds=self._pieces * PIECE_S,
            gravity_m_s2=self._gravity / self._pieces,
            gyro_noise_deg_s=(float(gyro[0]), float(gyro[1]), float(gyro[2])),
            accel_noise_m_s2=(float(accel[0]), float(accel[1]), float(accel[2])),
            gyro_density_deg_s=float(np.degrees(density[3:].max())),
            accel_density_ug=float(density[:3].max()) / 9.80665 * 1e6,
            gyro_bandwidth_hz=float(self._bands[3]),
            accel_bandwidth_hz=float(self._bands[0]),
        )

    def _judge(self, piece: Floats) -> None:
        if not self._tells:
            return
        mean = piece.mean(axis=0)
        variance = piece.var(axis=0, ddof=1)
        cells = len(piece) // self._cell
        means = piece[: cells * self._cell].reshape(cells, self._cell, 6).mean(axis=1)
        expected = variance / np.maximum(2 * self._cell / self._rate_hz * self._bands, 1.0)
        still = means.var(axis=0, ddof=1) <= MOTION_FACTOR * expected
        if not still[3:].all() or not variance.all():
            return
        self._pieces += 1
        self._variance += variance
        self._gravity += float(np.linalg.norm(mean[:3]))
