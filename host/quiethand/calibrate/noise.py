"""The Allan deviation of a sensor that lies still: averaging times under a tenth of a second from its samples, those
above from cells, so that a night's recording needs no more memory than a minute's."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.calibrate.bias import longest_still
from quiethand.calibrate.cells import Cells
from quiethand.calibrate.stillness import Still
from quiethand.motion.allan import AllanDeviation, NoiseFigures, allan_deviation, read_noise
from quiethand.motion.block import MotionBlock

__all__ = ["AXES", "LEAST_S", "AxisNoise", "SensorNoise", "sensor_noise", "still_for_noise"]

Floats = NDArray[np.float64]

AXES: Final = ("gyro x", "gyro y", "gyro z", "accel x", "accel y", "accel z")
LEAST_S: Final = 60.0
_MOST_SAMPLES: Final = 1_000_000
_PER_DECADE: Final = 12


@dataclass(frozen=True)
class AxisNoise:
    allan: AllanDeviation  # rad/s or m/s2
    figures: NoiseFigures
    sample_sigma: float  # standard deviation of one sample by the differences of neighbours, as still moments are told


@dataclass(frozen=True)
class SensorNoise:
    axes: dict[str, AxisNoise]  # by the names of AXES, sensor axes
    start_s: float
    duration_s: float
    period_s: float
    gyro_bandwidth_hz: float | None

    def worst(self, sensor: str, figure: str) -> float | None:
        """The largest of a figure over those of a sensor's axes that show it; None where none does."""
        found = [getattr(noise.figures, figure) for name, noise in self.axes.items() if name.startswith(sensor)]
        return max((float(value) for value in found if value is not None), default=None)


def still_for_noise(cells: Cells) -> Still:
    """The longest still stretch.

    Raises:
        InputError: none of a minute.
    """
    return longest_still(cells, LEAST_S)


def sensor_noise(cells: Cells, still: Still, blocks: Iterable[MotionBlock]) -> SensorNoise:
    """Deviation and figures of all six axes.

    Args:
        cells: of the whole recording.
        still: the stretch to look at.
        blocks: the same recording once more, for its samples; at most a million of the stretch are kept.
    """
    samples, period = _samples(blocks, still)
    coarse = np.concatenate([cells.rate_rad_s[still.cells], cells.force_m_s2[still.cells]], axis=1)
    axes = {}
    for k, name in enumerate(AXES):
        short = allan_deviation(samples[:, k], 1 / period, _sizes(1, 10 * cells.samples_per_cell))
        long = allan_deviation(coarse[:, k], 1 / cells.span_s, _sizes(10, len(coarse) // 2))
        allan = AllanDeviation(
            np.concatenate([short.tau_s, long.tau_s]),
            np.concatenate([short.deviation, long.deviation]),
            np.concatenate([short.relative_sigma, long.relative_sigma]),
        )
        sigma = float(np.sqrt(np.mean(np.diff(samples[:, k]) ** 2) / 2))
        axes[name] = AxisNoise(allan, read_noise(allan), sigma)
    return SensorNoise(axes, still.start_s, still.duration_s, period, cells.gyro_bandwidth_hz)


def _sizes(least: int, most: int) -> NDArray[np.int64]:
    """Cluster sizes from `least` to under `most`, evenly spaced by logarithm."""
    if most <= least:
        return np.array([least], dtype=np.int64)
    count = 1 + int(np.ceil(_PER_DECADE * np.log10(most / least)))
    return np.unique(np.geomspace(least, most, count, endpoint=False).astype(np.int64))


def _samples(blocks: Iterable[MotionBlock], still: Still) -> tuple[Floats, float]:
    """Rates and forces (n, 6) of the stretch, up to the bound, and the period."""
    found: list[Floats] = []
    kept, period = 0, 0.0
    for block in blocks:
        inside = (block.time_s > still.start_s) & (block.time_s < still.end_s)
        if inside.any() and kept < _MOST_SAMPLES:
            found.append(np.column_stack([block.rate_rad_s[inside], block.specific_force_m_s2[inside]]))
            kept += len(found[-1])
            period = block.period_s
    return np.concatenate(found), period
