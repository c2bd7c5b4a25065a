"""What is known of the gyro at one shot: bias left to take off, its uncertainty, and the noise of a sample."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from quiethand.shots.candidate import MotionWindow
    from quiethand.shots.still import StillState

__all__ = ["STATED_SIGMA_RAD_S", "GyroState", "gyro_state"]

# A bias that was stated comes from a calibration of another day and temperature; a hold of some seconds turns the bow
# by a degree or two at most; data sheets of small MEMS gyros allow some 0.5 to 1 deg/s as delivered.
STATED_SIGMA_RAD_S: Final = np.deg2rad(0.05)
_HOLD_SIGMA_RAD_S: Final = np.deg2rad(0.3)
_NOTHING_SIGMA_RAD_S: Final = np.deg2rad(1.0)


@dataclass(frozen=True)
class GyroState:
    bias_rad_s: NDArray[np.float64]  # (3,) to take off, beyond a stated one
    bias_sigma_rad_s: NDArray[np.float64]
    bias_from_still: bool
    noise_rad_s: NDArray[np.float64]  # (3,) of one sample
    fit_noise_rad_s: NDArray[np.float64]  # (3,) raised so that a fit of samples that share noise is not too sure


def gyro_state(window: MotionWindow, release_s: float, still: StillState | None, notes: list[str]) -> GyroState:
    """From still moments where there were any, else from the set-up, else from the mean rate of the hold."""
    time = window.gyro_time_s
    hold = (time > release_s - 4.0) & (time < release_s - 0.02) & ~window.gyro_clipped
    recent = hold & (time > release_s - 0.5)
    noise = _sample_noise(window.rate_rad_s[recent]) if recent.sum() > 8 else np.full(3, np.deg2rad(0.1))
    from_still = still is not None
    if still is not None:
        bias, sigma = still.bias_rad_s, still.bias_sigma_at(release_s)
        noise = still.gyro_noise_rad_s
        if window.bias_stated:
            # the stated one is a second witness, of its own uncertainty
            share = STATED_SIGMA_RAD_S**2 / (STATED_SIGMA_RAD_S**2 + sigma**2)
            bias, sigma = bias * share, sigma * np.sqrt(share)
    elif window.bias_stated:
        bias, sigma = np.zeros(3), np.full(3, STATED_SIGMA_RAD_S)
        notes.append("no still second before the shot: the stated gyro bias stands, good to 0.05 deg/s")
    elif hold.sum() * window.period_s > 1.0:
        bias, sigma = window.rate_rad_s[hold].mean(axis=0), np.full(3, _HOLD_SIGMA_RAD_S)
        notes.append("no gyro bias stated and no still second before the shot: taken from the hold, good to 0.3 deg/s")
    else:
        bias, sigma = np.zeros(3), np.full(3, _NOTHING_SIGMA_RAD_S)
        notes.append("no gyro bias stated and none to learn: taken as 0, good to 1 deg/s")
    shared = 1.0
    if window.gyro_bandwidth_hz:
        shared = max(1.0, 1 / (2.2 * window.gyro_bandwidth_hz * window.period_s))
    return GyroState(bias, sigma, from_still, noise, noise * np.sqrt(shared))


def _sample_noise(rate_rad_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """By third differences, which take tremor off; of white noise their variance is 20 times a sample's."""
    if len(rate_rad_s) < 8:
        return np.full(3, np.deg2rad(0.1))
    return np.asarray(np.maximum(np.diff(rate_rad_s, n=3, axis=0).std(axis=0) / np.sqrt(20), 1e-6))
