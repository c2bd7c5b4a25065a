"""A shot against limits: over, passed, or too close to tell. Never against zero.

Limits are the user's own (`[limits]` of the set-up), bounds on a magnitude in the unit the measure is shown in. Where
none bounds the pointing shift the radius of the ten ring of the face that is shot at does. A value within twice its
standard uncertainty of a limit is too close to tell: neither flagged as over nor passed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from quiethand.axes import AXIS_NAMES
from quiethand.bow.faces import face_of
from quiethand.bow.limit_names import LIMIT_MEASURES
from quiethand.shots.model import Flag, Shot
from quiethand.words import axis_direction, shift_direction, shift_words

if TYPE_CHECKING:
    from quiethand.bow.model import Setup

__all__ = ["COVERAGE_FACTOR", "Measured", "flags_for", "judge_values", "limits_in_force", "measured_values",
           "pointing_size", "words_for"]  # fmt: skip

COVERAGE_FACTOR: Final = 2.0  # k of the GUM: 95 % for a normal error


@dataclass(frozen=True)
class Measured:
    measure: str
    value: float
    sigma: float | None


def words_for(measure: str, value: float) -> str:
    """Which way a signed value is, in words; "" for a magnitude."""
    if value == 0 or measure.startswith(("peak_rate", "tremor")):
        return ""
    if measure.startswith("pointing_shift_"):
        return shift_direction(measure.removeprefix("pointing_shift_"), value)
    axis = measure.rsplit("_", 1)[-1]
    return axis_direction(axis, value) if axis in AXIS_NAMES else ""


def measured_values(shot: Shot) -> Iterator[Measured]:
    """Every measure that a limit can bound, where it is known."""
    at, window = shot.at_departure, shot.window
    point = at.pointing
    right, up = point.right_mm, point.up_mm
    if right is not None and up is not None:
        yield pointing_size(right, up, point.right_sigma_mm, point.up_sigma_mm)
    if right is not None:
        yield Measured("pointing_shift_right", right, point.right_sigma_mm)
    if up is not None:
        yield Measured("pointing_shift_up", up, point.up_sigma_mm)
    by_axis = {
        "rotation": (at.rotation_deg, at.rotation_sigma_deg),
        "rate": (at.rate_deg_s, at.rate_sigma_deg_s),
        "peak_rate": (window.peak_rate_deg_s, None),
        "mean_torque": (window.mean_torque_nm, window.mean_torque_sigma_nm),
        "peak_torque": (window.peak_torque_nm, window.peak_torque_sigma_nm),
        "tremor_rms": (shot.hold.tremor_rms_deg_s, None),
        "drift": (shot.hold.drift_deg_s, None),
    }
    for stem, (values, sigmas) in by_axis.items():
        for axis in AXIS_NAMES:
            value = getattr(values, axis)
            if value is not None:
                yield Measured(f"{stem}_{axis}", value, None if sigmas is None else getattr(sigmas, axis))
    if shot.time_on_string_s is not None:
        sigma_s = shot.time_on_string_sigma_s
        yield Measured("time_on_string", shot.time_on_string_s * 1e3, None if sigma_s is None else sigma_s * 1e3)


def pointing_size(right: float, up: float, right_sigma: float | None, up_sigma: float | None) -> Measured:
    """How far the pointing shift is, in any direction, from its two parts in mm."""
    size, sigma = float(np.hypot(right, up)), None
    if right_sigma is not None and up_sigma is not None:
        along = (right / size, up / size) if size > 0 else (1.0, 1.0)
        sigma = float(np.hypot(along[0] * right_sigma, along[1] * up_sigma))
    return Measured("pointing_shift", size, sigma)


def flags_for(shot: Shot, setup: Setup | None) -> Shot:
    """The shot with its flags against the limits of the set-up, and a note where no limit is known."""
    return replace(shot, flags=judge_values(measured_values(shot), limits_in_force(setup)))


def limits_in_force(
    setup: Setup | None, stated_later: Mapping[str, tuple[float, str]] | None = None
) -> dict[str, tuple[float, str]]:
    """Value and unit of each limit by measure: the set-up's own, those stated later over them, and the ten ring where
    none of either bounds the pointing shift."""
    limits: dict[str, tuple[float, str]] = {}
    if setup is not None:
        limits = {name: (limit.value, limit.unit) for name, limit in setup.limits.items() if name in LIMIT_MEASURES}
    limits.update(stated_later or {})
    face = face_of(setup) if setup is not None else None
    if face is not None and not any(name.startswith("pointing_shift") for name in limits):
        limits["pointing_shift"] = (face.ten_radius_mm, "mm")
    return limits


def judge_values(measured: Iterable[Measured], limits: Mapping[str, tuple[float, str]]) -> tuple[Flag, ...]:
    """A flag for each value that is over its limit or too close to tell."""
    known = {one.measure: one for one in measured}
    flags = (_judge(one, *limits[name], known) for name, one in known.items() if name in limits)
    return tuple(flag for flag in flags if flag is not None)


def _judge(measured: Measured, limit: float, unit: str, known: Mapping[str, Measured]) -> Flag | None:
    size, spread = abs(measured.value), COVERAGE_FACTOR * (measured.sigma or 0.0)
    if size + spread < limit or (spread == 0 and size <= limit):
        return None
    over = size - spread > limit
    name = LIMIT_MEASURES[measured.measure].text
    way = words_for(measured.measure, measured.value)
    if measured.measure == "pointing_shift":
        way = _pointing_words(known)
    shown = f"{size:.{_digits(unit)}f} {unit}" + (f" {way}" if way else "")
    if measured.sigma is not None:
        shown += f" (plus or minus {spread:.{_digits(unit)}f}, k = {COVERAGE_FACTOR:g})"
    bound = f"{limit:g} {unit}"
    verdict = "over the limit of" if over else "too close to tell from the limit of"
    return Flag(
        measure=measured.measure,
        value=measured.value,
        limit=limit,
        unit=unit,
        sigma=measured.sigma,
        verdict="over" if over else "too_close_to_tell",
        text=f"{name}: {shown}, {verdict} {bound}",
    )


def _pointing_words(known: Mapping[str, Measured]) -> str:
    right, up = (known[f"pointing_shift_{side}"].value for side in ("right", "up"))
    return f"({shift_words('right', right)}, {shift_words('up', up)})"


def _digits(unit: str) -> int:
    return {"mm": 1, "deg": 3, "ms": 2}.get(unit, 2)
