"""What a turn of the bow does at the target, and nothing more: first order, level cant."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["pointing_shift_mm"]


def pointing_shift_mm(rotation_rad: Sequence[float] | NDArray[np.float64], distance_m: float) -> tuple[float, float]:
    """(right, up) in mm of a rotation (cant, pitch, yaw): right = -yaw x distance, up = -pitch x distance."""
    _, pitch, yaw = rotation_rad
    mm_per_rad = 1e3 * distance_m
    return float(-yaw * mm_per_rad), float(-pitch * mm_per_rad)
