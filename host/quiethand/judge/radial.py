"""How far from the middle a normal scatter in two directions lies. Lengths in any one unit."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["mean_radius", "radius_holding", "share_within", "widest_distance"]

Floats = NDArray[np.float64]

# In polar coordinates the share within r is a mean over a turn of a smooth periodic function, for which evenly spaced
# points are exact to rounding unless the scatter is a line; the ratio is held above that.
_TURN: Final = np.linspace(0, np.pi, 512, endpoint=False)
_FLATTEST: Final = 0.02


def share_within(radius: float, sd_major: float, sd_minor: float) -> float:
    """Share of a centred normal scatter within `radius`; sds along its own axes, major > 0."""
    minor = max(sd_minor, _FLATTEST * sd_major)
    k = (np.cos(_TURN) / sd_major) ** 2 + (np.sin(_TURN) / minor) ** 2
    return float(np.mean(-np.expm1(-(radius**2) * k / 2) / k) / (sd_major * minor))


def radius_holding(share: float, sd_major: float, sd_minor: float) -> float:
    """The radius within which `share` of a centred normal scatter lies; 0.5 gives the circular error probable."""
    low, high = 0.0, sd_major * math.sqrt(-2 * math.log1p(-share)) * 1.01
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if share_within(middle, sd_major, sd_minor) < share else (low, middle)
    return high


def mean_radius(sd_major: float, sd_minor: float) -> float:
    """Mean distance from the middle, sqrt(2/pi) x major x E(1 - minor^2 / major^2) (complete elliptic integral)."""
    from scipy.special import ellipe

    return math.sqrt(2 / math.pi) * sd_major * float(ellipe(1 - (sd_minor / sd_major) ** 2))


def widest_distance(points: Floats) -> float:
    """Largest distance between two of n points, shape (n, 2), n >= 2."""
    away = points[:, None, :] - points[None, :, :]
    return float(np.sqrt((away**2).sum(axis=-1).max()))
