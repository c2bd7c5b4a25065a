"""Signs and figures in words, the same on the page, in the terminal and in a report.

Signs are those of the bow frame: + cant leans the top limb to the archer's right, + pitch turns the nose down, + yaw
turns the nose left. At the target + is right and up.
"""

from __future__ import annotations

import math
from typing import Final

__all__ = ["NOT_KNOWN", "axis_direction", "axis_words", "shift_direction", "shift_words", "with_sigma"]

NOT_KNOWN: Final = "not known"

_DIRECTIONS: Final = {"cant": ("top limb right", "top limb left"), "pitch": ("down", "up"), "yaw": ("left", "right")}
_SIDES: Final = {"right": ("right", "left"), "up": ("high", "low")}


def axis_direction(axis: str, value: float) -> str:
    """Which way a turn about `axis` ("cant", "pitch", "yaw") goes: "left", "nose" left out as the trade says it."""
    plus, minus = _DIRECTIONS[axis]
    return plus if value >= 0 else minus


def axis_words(axis: str, value: float | None, unit: str = "deg", digits: int = 3) -> str:
    """A signed turn as size and direction: axis_words("yaw", 0.12) is "0.120 deg left"."""
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    return f"{abs(value):.{digits}f} {unit} {axis_direction(axis, value)}"


def shift_direction(side: str, value: float) -> str:
    """Which way a shift at the target goes; side is "right" or "up": "left", "high"."""
    plus, minus = _SIDES[side]
    return plus if value >= 0 else minus


def shift_words(side: str, value_mm: float | None, digits: int = 1) -> str:
    """A pointing shift as size and direction; side is "right" or "up": shift_words("right", -4.1) is "4.1 mm left"."""
    if value_mm is None or not math.isfinite(value_mm):
        return NOT_KNOWN
    return f"{abs(value_mm):.{digits}f} mm {shift_direction(side, value_mm)}"


def with_sigma(value: float | None, sigma: float | None, digits: int) -> str:
    """ "14.82 ± 0.11", or what is known of it."""
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    text = f"{value:.{digits}f}"
    return text if sigma is None or not math.isfinite(sigma) else f"{text} ± {sigma:.{digits}f}"
