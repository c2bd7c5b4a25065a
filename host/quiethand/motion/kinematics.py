"""Attitude from gravity, and the acceleration of a point that is not the centre."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["cant_pitch", "lever_arm_acceleration"]


def cant_pitch(specific_force_m_s2: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Cant and pitch (rad) of a bow at rest from its specific force (..., 3) in the bow frame.

    cant = atan2(fy, fz), pitch = -atan2(fx, hypot(fy, fz)). Gravity says nothing of yaw.
    """
    f = np.asarray(specific_force_m_s2, dtype=np.float64)
    return np.arctan2(f[..., 1], f[..., 2]), -np.arctan2(f[..., 0], np.hypot(f[..., 1], f[..., 2]))


def lever_arm_acceleration(
    rate_rad_s: ArrayLike, angular_acceleration_rad_s2: ArrayLike, arm_m: ArrayLike
) -> NDArray[np.float64]:
    """What a point `arm_m` (..., 3) from the centre has more than the centre: alpha x r + w x (w x r), m/s2.

    The rigid body's relation, as in OpenStax University Physics 1, 10.3 (tangential and centripetal acceleration).
    """
    rate, arm = np.asarray(rate_rad_s, dtype=np.float64), np.asarray(arm_m, dtype=np.float64)
    tangential = np.cross(np.asarray(angular_acceleration_rad_s2, dtype=np.float64), arm)
    return np.asarray(tangential + np.cross(rate, np.cross(rate, arm)), dtype=np.float64)
