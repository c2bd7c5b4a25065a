"""The gyro around the window: which samples are free of the shock, and whether all are there that the figures need."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from quiethand.shots.candidate import MotionWindow
    from quiethand.shots.gyro_state import GyroState
    from quiethand.shots.timing import Instants

__all__ = ["CleanRate", "clean_rate"]

# Where the delay is not stated ticks are not known either: the shock may show this much before the departure's motion.
_UNKNOWN_LEAD_S: Final = 0.3e-3
# The shock may be told a sample or two late, and one sample of it in the fit outweighs all others. A bow's torques
# bend its rate by less than this (a few N m that come within milliseconds); beyond it and noise the shock has begun.
_LARGEST_BEND_RAD_S3: Final = np.deg2rad(2e6)
_OVER_NOISE: Final = 8.0
_LOOKED_AT_S: Final = 2e-3


@dataclass(frozen=True)
class CleanRate:
    """Samples before the shock can have touched them."""

    time_s: NDArray[np.float64]  # (m,) clean, motion times
    rate_rad_s: NDArray[np.float64]  # (m, 3) bias taken off
    whole_to_s: float  # the last clean motion time before the departure
    missing: bool  # samples are lost or clipped between the release and the departure


def clean_rate(window: MotionWindow, instants: Instants, gyro: GyroState) -> CleanRate:
    """Samples before the shock can have touched them, and whether the window's are all there."""
    motion, tick = window.gyro_time_s, window.time_s
    spoiled_from = instants.first_break_s
    if window.gyro_delay_s is None:
        spoiled_from = min(spoiled_from, instants.departure_s) - _UNKNOWN_LEAD_S
    elif window.gyro_delay_s < (window.accel_delay_s or 0.0):
        # a gyro quicker than the accelerometer shows the shock first; not before the departure itself
        spoiled_from = min(spoiled_from, instants.departure_s)
    spoiled_from = _leap(window, gyro, spoiled_from)
    clean = (tick < spoiled_from) & ~window.gyro_clipped
    times = motion[clean]
    rates = window.rate_rad_s[clean] - gyro.bias_rad_s
    whole_to = float(times[-1]) if len(times) else -np.inf
    # every sample whose motion lies in the window, and one on either side, up to the last that can be clean
    period = window.period_s
    start, end = instants.release_s - 1.5 * period, min(spoiled_from, instants.departure_s)
    inside = (motion > start) & (tick < end)
    index = window.index[inside]
    lost = len(index) < 3 or bool(np.any(np.diff(index) != 1)) or bool(window.gyro_clipped[inside].any())
    # a gap that hides the shock's beginning leaves the end of the window without samples
    delay = window.gyro_delay_s or 0.0
    lost |= whole_to < spoiled_from - delay - 2.2 * period
    lost |= len(index) > 0 and motion[inside][0] > instants.release_s + 0.6 * period
    later = (tick >= spoiled_from - 2.2 * period) & (motion < instants.departure_s + period)
    lost |= bool(np.any(np.diff(window.index[later]) != 1))
    return CleanRate(times, rates, whole_to, bool(lost))


def _leap(window: MotionWindow, gyro: GyroState, spoiled_from_s: float) -> float:
    """When the gyro's last samples before that leap, the tick of the first that does; else the same time again."""
    stop = int(np.searchsorted(window.time_s, spoiled_from_s))
    start = max(int(np.searchsorted(window.time_s, spoiled_from_s - _LOOKED_AT_S)), 2)
    if stop <= start or np.any(np.diff(window.index[start - 2 : stop]) != 1):
        return spoiled_from_s
    near = window.rate_rad_s[start - 2 : stop]
    bend = np.abs(near[2:] - 2 * near[1:-1] + near[:-2])
    limit = _OVER_NOISE * np.sqrt(6) * gyro.noise_rad_s + _LARGEST_BEND_RAD_S3 * window.period_s**2
    leaps = np.flatnonzero(np.any(bend > limit, axis=1))
    return spoiled_from_s if len(leaps) == 0 else float(window.time_s[start + int(leaps[0])])
