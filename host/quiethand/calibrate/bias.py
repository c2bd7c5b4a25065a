"""The gyro's bias and noise, and the accelerometer's reading, of a sensor that lies still.

The mean of T seconds of white noise of one-sided density n has a standard deviation of n / sqrt(2 T); what the
Allan deviation shows beyond white noise at a tenth of T is added, and the Earth's turn, which a lying gyro feels too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.calibrate.cells import Cells
from quiethand.calibrate.stillness import ON_TABLE, Still, refusal_hint, still_stretches
from quiethand.errors import InputError
from quiethand.motion.allan import allan_deviation

__all__ = ["LEAST_STILL_S", "BiasResult", "longest_still", "still_bias"]

LEAST_STILL_S: Final = 10.0
# One turn in a sidereal day, felt by an axis that points anywhere: rectangular between plus and minus that.
EARTH_SIGMA_RAD_S: Final = 7.292115e-5 / np.sqrt(3)
_NOISE_TAU_S: Final = 0.1


@dataclass(frozen=True)
class BiasResult:
    """In sensor axes; standard uncertainties."""

    bias_rad_s: NDArray[np.float64]  # (3,)
    bias_sigma_rad_s: NDArray[np.float64]  # (3,)
    gyro_density: NDArray[np.float64]  # (3,) rad/s/sqrt(Hz), one-sided as data sheets have it
    accel_density: NDArray[np.float64]  # (3,) m/s2/sqrt(Hz)
    density_share: float  # relative standard uncertainty of both densities
    up: NDArray[np.float64]  # (3,) unit vector of that force: which way the sensor lay
    magnitude_m_s2: float  # length of the mean specific force
    magnitude_sigma_m_s2: float
    start_s: float
    duration_s: float


def longest_still(cells: Cells, least_s: float = LEAST_STILL_S) -> Still:
    """The longest stretch that lies on a table.

    Raises:
        InputError: none of `least_s`.
    """
    found = still_stretches(cells, ON_TABLE, 0.0)
    longest = max(found, key=lambda s: s.duration_s, default=None)
    if longest is None or longest.duration_s < least_s:
        clipped = cells.clipped.mean() > 0.2
        raise InputError(
            f"no {least_s:g} s in which the sensor lies still: {refusal_hint(cells, ON_TABLE)}",
            do="choose a larger range, and record again" if clipped
            else f"lay it on a table, let go, and record {least_s + 20:g} s without touching the table",
        )  # fmt: skip
    return longest


def still_bias(cells: Cells) -> BiasResult:
    """From the longest still stretch.

    Raises:
        InputError: there is none of 10 s.
    """
    still = longest_still(cells)
    rate, force = cells.rate_rad_s[still.cells], cells.force_m_s2[still.cells]
    hertz = 1 / cells.span_s
    gyro, beyond = np.transpose([_density(rate[:, k], hertz, cells.gyro_bandwidth_hz) for k in range(3)])
    accel = np.array([_density(force[:, k], hertz, cells.accel_bandwidth_hz)[0] for k in range(3)])
    length = still.duration_s
    mean = force.mean(axis=0)
    magnitude = float(np.linalg.norm(mean))
    along = mean / magnitude if magnitude else np.full(3, np.nan)
    return BiasResult(
        bias_rad_s=rate.mean(axis=0),
        bias_sigma_rad_s=np.sqrt(gyro**2 / (2 * length) + beyond**2 + EARTH_SIGMA_RAD_S**2),
        gyro_density=gyro,
        accel_density=accel,
        density_share=float(1 / np.sqrt(2 * length / _tau_s(cells.gyro_bandwidth_hz))),
        up=along,
        magnitude_m_s2=magnitude,
        magnitude_sigma_m_s2=float(np.linalg.norm(along * still.force_sigma_m_s2)),
        start_s=still.start_s,
        duration_s=length,
    )


def _tau_s(bandwidth_hz: float | None) -> float:
    """Long enough that a low-pass filter is averaged over, short enough to have many."""
    return max(_NOISE_TAU_S, 4 / bandwidth_hz) if bandwidth_hz else _NOISE_TAU_S


def _density(values: NDArray[np.float64], rate_hz: float, bandwidth_hz: float | None) -> tuple[float, float]:
    """One-sided density, and what the deviation at long times shows beyond it."""
    at = max(1, round(_tau_s(bandwidth_hz) * rate_hz))
    n = len(values)
    long = np.unique(np.geomspace(max(at, n // 20), max(at + 1, n // 5), 8).astype(np.int64))
    found = allan_deviation(values, rate_hz, np.concatenate([[at], long]))
    # N sqrt(tau) with N^2 two-sided; a data sheet's one-sided density is sqrt(2) N
    white = float(found.deviation[0] * np.sqrt(found.tau_s[0]))
    beyond = float(np.median(found.deviation[1:] ** 2 - white**2 / found.tau_s[1:]))
    return white * np.sqrt(2), np.sqrt(max(beyond, 0.0))
