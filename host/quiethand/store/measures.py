"""Every scalar measure of a shot by the name of its column: what can be queried, sorted and compared.

A name is measure, axis and unit, as in `rotation_yaw_deg`; the standard uncertainty of a measure is a measure of its
own with `_sigma` before the axis, as in `rotation_sigma_yaw_deg`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from quiethand.axes import AXIS_NAMES, Axes
from quiethand.shots.model import Shot

__all__ = ["MEASURES", "Measure", "measures_of"]


@dataclass(frozen=True)
class Measure:
    name: str
    unit: str
    sigma: str | None  # the name of its standard uncertainty, where one is kept
    get: Callable[[Shot], float | None]


# measure, unit (as in names), its axes, the axes of its standard uncertainty
_BY_AXIS: Final[tuple[tuple[str, str, Callable[[Shot], Axes], Callable[[Shot], Axes] | None], ...]] = (
    ("rotation", "deg", lambda s: s.at_departure.rotation_deg, lambda s: s.at_departure.rotation_sigma_deg),
    ("rate", "deg_s", lambda s: s.at_departure.rate_deg_s, lambda s: s.at_departure.rate_sigma_deg_s),
    ("carried_in", "deg", lambda s: s.at_departure.parts.carried_in_deg,
     lambda s: s.at_departure.parts.carried_in_sigma_deg),
    ("struck", "deg", lambda s: s.at_departure.parts.struck_deg, lambda s: s.at_departure.parts.struck_sigma_deg),
    ("pressed", "deg", lambda s: s.at_departure.parts.pressed_deg, lambda s: s.at_departure.parts.pressed_sigma_deg),
    ("peak_rate", "deg_s", lambda s: s.window.peak_rate_deg_s, None),
    ("mean_torque", "nm", lambda s: s.window.mean_torque_nm, lambda s: s.window.mean_torque_sigma_nm),
    ("peak_torque", "nm", lambda s: s.window.peak_torque_nm, lambda s: s.window.peak_torque_sigma_nm),
    ("angular_impulse", "nms", lambda s: s.window.angular_impulse_nms, lambda s: s.window.angular_impulse_sigma_nms),
    ("hold_rate_rms", "deg_s", lambda s: s.hold.rate_rms_deg_s, None),
    ("tremor_rms", "deg_s", lambda s: s.hold.tremor_rms_deg_s, None),
    ("drift", "deg_s", lambda s: s.hold.drift_deg_s, None),
    ("hand_stiffness", "nm_rad", lambda s: s.follow_through.hand_stiffness_nm_rad,
     lambda s: s.follow_through.hand_stiffness_sigma_nm_rad),
    ("damping_ratio", "", lambda s: s.follow_through.damping_ratio, None),
)  # fmt: skip

_SINGLE: Final[tuple[tuple[str, str, str | None, Callable[[Shot], float | None]], ...]] = (
    ("release_s", "s", "release_sigma_s", lambda s: s.release_s),
    ("release_sigma_s", "s", None, lambda s: s.release_sigma_s),
    ("departure_s", "s", "departure_sigma_s", lambda s: s.departure_s),
    ("departure_sigma_s", "s", None, lambda s: s.departure_sigma_s),
    ("time_on_string_s", "s", "time_on_string_sigma_s", lambda s: s.time_on_string_s),
    ("time_on_string_sigma_s", "s", None, lambda s: s.time_on_string_sigma_s),
    ("rest_clear_s", "s", None, lambda s: s.rest_clear_s),
    ("pointing_right_mm", "mm", "pointing_right_sigma_mm", lambda s: s.at_departure.pointing.right_mm),
    ("pointing_right_sigma_mm", "mm", None, lambda s: s.at_departure.pointing.right_sigma_mm),
    ("pointing_up_mm", "mm", "pointing_up_sigma_mm", lambda s: s.at_departure.pointing.up_mm),
    ("pointing_up_sigma_mm", "mm", None, lambda s: s.at_departure.pointing.up_sigma_mm),
    ("hold_duration_s", "s", None, lambda s: s.hold.duration_s),
    ("mount_mode_hz", "hz", None, lambda s: s.follow_through.mount_mode_hz),
    ("mount_damping_ratio", "", None, lambda s: s.follow_through.mount_damping_ratio),
    ("push_misfit", "", None, lambda s: s.push_misfit),
)


def _one_axis(axes: Callable[[Shot], Axes], axis: str) -> Callable[[Shot], float | None]:
    return lambda shot: getattr(axes(shot), axis)


def _all() -> Iterator[Measure]:
    for name, unit, sigma, get in _SINGLE:
        yield Measure(name, unit, sigma, get)
    for name, unit, axes, sigma_axes in _BY_AXIS:
        tail = f"_{unit}" if unit else ""
        for axis in AXIS_NAMES:
            sigma_name = f"{name}_sigma_{axis}{tail}" if sigma_axes else None
            yield Measure(f"{name}_{axis}{tail}", unit, sigma_name, _one_axis(axes, axis))
            if sigma_axes and sigma_name:
                yield Measure(sigma_name, unit, None, _one_axis(sigma_axes, axis))


MEASURES: Final[Mapping[str, Measure]] = {measure.name: measure for measure in _all()}


def measures_of(shot: Shot) -> dict[str, float | None]:
    """Every measure of `shot` by its column's name; None where it is not known."""
    return {name: measure.get(shot) for name, measure in MEASURES.items()}
