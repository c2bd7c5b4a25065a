"""The stretch of motion around a shot that a figure shows, times in ms from the release and free of delay."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.motion.rotation import rotation_curve
from quiethand.shots.model import Trace
from quiethand.shots.torque import torque_nm

if TYPE_CHECKING:
    from quiethand.shots.candidate import MotionWindow

__all__ = ["make_trace"]

_FROM_S: Final = -0.10
_TO_S: Final = 0.30
_SLOPE_S: Final = 3e-3  # torque's slope is a straight line over this


def make_trace(
    window: MotionWindow,
    release_s: float,
    bias_rad_s: NDArray[np.float64],
    inertia_kg_m2: NDArray[np.float64] | None,
) -> Trace | None:
    """None where fewer than two samples lie around the release."""
    accel_s = window.accel_time_s - release_s
    gyro_s = window.gyro_time_s - release_s
    a = (accel_s >= _FROM_S) & (accel_s <= _TO_S)
    g = np.flatnonzero((gyro_s >= _FROM_S) & (gyro_s <= _TO_S))
    if len(g) < 2 or not gyro_s[g[0]] <= 0 <= gyro_s[g[-1]]:
        return None
    t, rate = gyro_s[g], window.rate_rad_s[g] - bias_rad_s
    turned = rotation_curve(t, rate, 0.0, t)
    torque = None
    if inertia_kg_m2 is not None:
        half = max(1, round(_SLOPE_S / window.period_s / 2))
        ahead, behind = np.minimum(np.arange(len(t)) + half, len(t) - 1), np.maximum(np.arange(len(t)) - half, 0)
        slope = (rate[ahead] - rate[behind]) / (t[ahead] - t[behind])[:, None]
        torque = torque_nm(rate, slope, inertia_kg_m2).astype(np.float32)
    return Trace(
        (accel_s[a] * 1e3).astype(np.float32),
        window.specific_force_m_s2[a].astype(np.float32),
        (t * 1e3).astype(np.float32),
        np.rad2deg(rate).astype(np.float32),
        np.rad2deg(turned).astype(np.float32),
        torque,
    )
