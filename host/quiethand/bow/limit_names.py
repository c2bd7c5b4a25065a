"""The measures that a set-up's [limits] can bound, by name, and the unit each is shown in."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from quiethand.axes import AXIS_NAMES
from quiethand.bow.quantities import ANGLE, LENGTH, RATE, TIME, TORQUE, Dimension

__all__ = ["LIMIT_MEASURES", "LimitMeasure"]


@dataclass(frozen=True)
class LimitMeasure:
    dimension: Dimension
    unit: str  # the unit it is shown in
    unit_si: float  # SI units in one of it
    text: str


_DEG: Final = math.pi / 180


def _per_axis(stem: str, dimension: Dimension, unit: str, unit_si: float, text: str) -> dict[str, LimitMeasure]:
    return {f"{stem}_{axis}": LimitMeasure(dimension, unit, unit_si, f"{text} ({axis})") for axis in AXIS_NAMES}


# All are bounds on a magnitude: either direction counts.
LIMIT_MEASURES: Final[dict[str, LimitMeasure]] = {
    "pointing_shift": LimitMeasure(LENGTH, "mm", 0.001, "pointing shift at the target, any direction"),
    "pointing_shift_right": LimitMeasure(LENGTH, "mm", 0.001, "pointing shift at the target, right or left"),
    "pointing_shift_up": LimitMeasure(LENGTH, "mm", 0.001, "pointing shift at the target, up or down"),
    **_per_axis("rotation", ANGLE, "deg", _DEG, "rotation from release to departure"),
    **_per_axis("rate", RATE, "deg/s", _DEG, "rate of turn at departure"),
    **_per_axis("peak_rate", RATE, "deg/s", _DEG, "highest rate of turn in the time on the string"),
    **_per_axis("mean_torque", TORQUE, "N m", 1.0, "mean torque in the time on the string"),
    **_per_axis("peak_torque", TORQUE, "N m", 1.0, "highest torque in the time on the string"),
    **_per_axis("tremor_rms", RATE, "deg/s", _DEG, "tremor in the hold"),
    **_per_axis("drift", RATE, "deg/s", _DEG, "drift in the last half second of the hold"),
    "time_on_string": LimitMeasure(TIME, "ms", 0.001, "time on the string"),
}
