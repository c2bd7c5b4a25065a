"""What a turn of the bow does at the target, and nothing more: first order, level cant."""

from __future__ import annotations

import math

__all__ = ["pointing_shift_mm"]


def pointing_shift_mm(pitch_deg: float, yaw_deg: float, distance_m: float) -> tuple[float, float]:
    """(right, up) in mm: right = -yaw x distance, up = -pitch x distance, angles in rad."""
    mm_per_deg = 1000 * distance_m * math.pi / 180
    return -yaw_deg * mm_per_deg, -pitch_deg * mm_per_deg
