"""What one unit of a measure comes to at the target, in mm, where that is known to first order."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from quiethand.shots.measures_table import measure_named

if TYPE_CHECKING:
    from quiethand.axes import Axes

__all__ = ["AtTarget", "at_target"]

_SIDE = {"yaw": "right", "pitch": "up"}


@dataclass(frozen=True)
class AtTarget:
    """One unit more of the measure moves the point by `mm_per_unit`, + right or + up."""

    mm_per_unit: float
    side: str  # "right" or "up"


def at_target(column: str, *, distance_m: float | None, sensitivity_mm_per_nm: Axes | None = None) -> AtTarget | None:
    """For a turn right = -yaw x distance, up = -pitch x distance; for a mean torque by the sensitivity.

    Args:
        column: a measure's name as in the store, "rotation_yaw_deg".
        distance_m: to the target.
        sensitivity_mm_per_nm: of the launch model, for torques.

    Returns:
        None where the measure moves no point, or what it takes is not known.
    """
    measure, axis = measure_named(column)
    if measure.name in ("pointing_right", "pointing_up"):
        return AtTarget(1.0, measure.name.removeprefix("pointing_"))
    if axis not in _SIDE:
        return None
    if measure.unit == "deg" and distance_m is not None:
        return AtTarget(-1e3 * distance_m * math.pi / 180, _SIDE[axis])
    if measure.name == "mean_torque" and sensitivity_mm_per_nm is not None:
        per_nm = getattr(sensitivity_mm_per_nm, axis)
        return None if per_nm is None else AtTarget(-per_nm, _SIDE[axis])
    return None
