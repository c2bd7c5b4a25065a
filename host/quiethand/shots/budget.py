"""The uncertainty of the rotation at departure, source by source, after the GUM (JCGM 100:2008, 5.1.2).

Rotation is the integral of the rate between two instants, so to first order a source adds: noise by its density times
the root of the time; bias by its uncertainty times the time; an instant by the rate there times its uncertainty; scale
and mount by a share of the angle; the gyro's answer to acceleration by the push's impulse; a delay that is not known by
the change of rate. Kind A was found by statistics in this recording, kind B otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import Axes
from quiethand.shots.model import BudgetRow

__all__ = ["BudgetInputs", "acceleration_sensitivity", "budget_rows", "combined_sigma_deg", "integrated_noise"]

# Scale error of a small MEMS gyro as delivered: data sheets give 1 to 3 % as limits; half a percent to one is one
# sigma.
SCALE_SIGMA: Final = 0.007
# A mount turned by hand to marks, and one that nobody stated.
MOUNT_SIGMA_RAD: Final = np.deg2rad(0.5)
MOUNT_UNKNOWN_SIGMA_RAD: Final = np.deg2rad(2.0)
# Gyros feel acceleration, the cheaper the more: data sheets of small ones give 0.05 to 0.2 deg/s per g. One sigma of
# 0.07 where the noise is 0.014 deg/s/sqrt(Hz), in proportion below and above, but no small one is
# trusted to feel less than 0.02 (order of magnitude, from memory).
_ACCELERATION_PER_DENSITY: Final = 5.0
_ACCELERATION_RANGE_DEG_S_G: Final = (0.02, 0.2)
GRAVITY_M_S2: Final = 9.80665


@dataclass(frozen=True)
class BudgetInputs:
    rotation_rad: NDArray[np.float64]  # (3,)
    noise_rad: NDArray[np.float64]  # (3,) of the integral, the modelled end included
    noise_kind_a: bool
    bias_sigma_rad_s: NDArray[np.float64]  # (3,)
    bias_kind_a: bool
    rate_release_rad_s: NDArray[np.float64]
    rate_departure_rad_s: NDArray[np.float64]
    instants_covariance_s2: NDArray[np.float64]  # (2, 2) release, departure
    total_s: float
    mount_stated: bool
    impulse_m_s: float  # of the change in specific force over the window
    sensitivity_rad_s_per_m_s2: NDArray[np.float64]  # (3,) what is left of it after the fit
    gyro_delay_sigma_s: float


def integrated_noise(
    noise_rad_s: NDArray[np.float64], total_s: float, period_s: float, bandwidth_hz: float | None
) -> NDArray[np.float64]:
    """Standard deviation of the integral of white noise that a low-pass has made neighbours share, (3,) in rad.

    One-sided density n integrates to n sqrt(t/2); a sample's variance is n^2 times the noise bandwidth, some 1.1 times
    the -3 dB one of a second-order low-pass; where that is over half the sampling rate the samples are independent.
    """
    independent_s = max(period_s, 1 / (2 * 1.1 * bandwidth_hz)) if bandwidth_hz else period_s
    return np.asarray(noise_rad_s * np.sqrt(total_s * independent_s))


def acceleration_sensitivity(noise_rad_s: NDArray[np.float64], period_s: float, bandwidth_hz: float | None) -> float:
    """Assumed standard deviation of the gyro's answer to acceleration, rad/s per m/s2, by the noise it shows."""
    half_rate = 0.5 / period_s
    band = min(1.1 * bandwidth_hz, half_rate) if bandwidth_hz else 0.7 * half_rate
    density_deg = float(np.rad2deg(np.mean(noise_rad_s))) / np.sqrt(band)
    per_g = float(np.clip(_ACCELERATION_PER_DENSITY * density_deg, *_ACCELERATION_RANGE_DEG_S_G))
    return float(np.deg2rad(per_g)) / GRAVITY_M_S2


def budget_rows(x: BudgetInputs) -> tuple[BudgetRow, ...]:
    """One row for each source; their root sum of squares is the stated uncertainty (a correlation adds signed)."""
    cov = x.instants_covariance_s2
    across = np.sqrt(np.maximum(np.sum(x.rotation_rad**2) - x.rotation_rad**2, 0.0))
    mount = MOUNT_SIGMA_RAD if x.mount_stated else MOUNT_UNKNOWN_SIGMA_RAD
    correlation = -2 * x.rate_release_rad_s * x.rate_departure_rad_s * cov[0, 1]
    rows: list[BudgetRow] = []

    def add(source: str, kind_a: bool, rad: NDArray[np.float64]) -> None:
        rows.append(BudgetRow(source, "A" if kind_a else "B", Axes.of(np.rad2deg(rad))))

    add("noise", x.noise_kind_a, x.noise_rad)
    add("bias", x.bias_kind_a, x.bias_sigma_rad_s * x.total_s)
    add("timing of the release", False, np.abs(x.rate_release_rad_s) * np.sqrt(cov[0, 0]))
    add("timing of the departure", False, np.abs(x.rate_departure_rad_s) * np.sqrt(cov[1, 1]))
    add("correlation of the two instants", False, np.sign(correlation) * np.sqrt(np.abs(correlation)))
    add("scale", False, np.abs(x.rotation_rad) * SCALE_SIGMA)
    add("mount", False, across * mount)
    add("acceleration", False, x.sensitivity_rad_s_per_m_s2 * x.impulse_m_s)
    add("gyro delay", False, np.abs(x.rate_departure_rad_s - x.rate_release_rad_s) * x.gyro_delay_sigma_s)
    return tuple(rows)


def combined_sigma_deg(rows: tuple[BudgetRow, ...]) -> NDArray[np.float64]:
    """Root sum of squares of the rows, (3,) in degrees; a row of a correlation counts with its sign."""
    total = np.zeros(3)
    for row in rows:
        deg = row.deg.array()
        total += np.sign(deg) * deg**2 if "correlation" in row.source else deg**2
    return np.sqrt(np.maximum(total, 0.0))
