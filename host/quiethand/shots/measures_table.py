"""The one table of what is measured of a shot: name, unit, definition and method. Code, documents and page read it.

Names are those of the store's columns without axis and unit: `rotation` stands for `rotation_cant_deg`,
`rotation_pitch_deg` and `rotation_yaw_deg`.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from operator import attrgetter
from typing import Final, Literal

from quiethand.axes import AXIS_NAMES
from quiethand.errors import InputError
from quiethand.shots.model import Shot

__all__ = ["MEASURES_TABLE", "Measure", "Span", "measure_named", "short_names"]

Span = Literal["push", "window", "hold", "drift", "follow", "ring", "none"]

# How a unit is written in the names of columns and of JSON.
_IN_NAMES: Final = {
    "s": "s", "deg": "deg", "deg/s": "deg_s", "mm": "mm", "N m": "nm", "N m s": "nms", "N m/rad": "nm_rad", "Hz": "hz",
    "": "",
}  # fmt: skip


@dataclass(frozen=True)
class Measure:
    """One figure of a shot, or one for each axis."""

    name: str
    label: str
    unit: str  # "" is a plain number
    definition: str
    method: str
    needs: tuple[str, ...]  # without which it is null
    span: Span  # which stretch of motion it is made of
    sensors: tuple[Literal["accelerometer", "gyro"], ...]
    by_axis: bool
    field: str  # where it stands in a Shot, dotted
    sigma_field: str | None  # where its standard uncertainty stands
    json: str  # where it stands in an entry of `shots`; per axis, an object of cant, pitch and yaw

    @property
    def unit_in_names(self) -> str:
        return _IN_NAMES[self.unit]

    def column(self, axis: str | None = None, *, sigma: bool = False) -> str:
        """The name of the store's column, as in "rotation_sigma_yaw_deg"."""
        parts = (self.name, "sigma" if sigma else "", axis or "", self.unit_in_names)
        return "_".join(part for part in parts if part)

    def of(self, shot: Shot, axis: str | None = None, *, sigma: bool = False) -> float | None:
        """The figure, or its standard uncertainty; None where it is not known."""
        field = self.sigma_field if sigma else self.field
        if field is None:
            return None
        value = attrgetter(field)(shot)
        if axis is not None:
            value = getattr(value, axis)
        return None if value is None else float(value)


_GYRO: Final = "whole gyro samples from release to departure"
_INERTIA: Final = "measured inertia"
_FIT: Final = (
    "a smooth model (the hold's drift and tremor, what presses after the release, the string's pull, a blow at the "
    "release) is fitted by least squares to the gyro's clean samples from 25 ms before the release on"
)


def _axes(
    name: str, label: str, unit: str, field: str, json: str, definition: str, method: str, *,
    needs: tuple[str, ...] = (_GYRO,), span: Span = "window", sigma: str | None = None,
) -> Measure:  # fmt: skip
    return Measure(name, label, unit, definition, method, needs, span, ("gyro",), True, field, sigma, json)


def _single(
    name: str, label: str, unit: str, field: str, json: str, definition: str, method: str, *,
    needs: tuple[str, ...] = (), span: Span = "push", sigma: str | None = None,
    sensors: tuple[Literal["accelerometer", "gyro"], ...] = ("accelerometer",),
) -> Measure:  # fmt: skip
    return Measure(name, label, unit, definition, method, needs, span, sensors, False, field, sigma, json)


_ROWS: Final = (
    _single(
        "release", "release", "s", "release_s", "release_s",
        "the instant the string hand's hold on the string is half gone",
        "the push on the riser is fitted with the launch model's shapes (a family of usual ones without a set-up); "
        "where a trigger let go, the change point of the riser's first stir sharpens it",
        sigma="release_sigma_s",
    ),
    _single(
        "departure", "departure", "s", "departure_s", "departure_s",
        "the instant the string first passes brace height, where the arrow leaves it",
        "the onset of the shock in all three axes of acceleration (a common change point, through the sensor's "
        "filter), joined with the end of the fitted push, each by its variance",
        sigma="departure_sigma_s",
    ),
    _single(
        "time_on_string", "time on the string", "s", "time_on_string_s", "time_on_string_s",
        "departure less release",
        "the two instants of one fit; what both share (the accelerometer's delay) falls out",
        sigma="time_on_string_sigma_s",
    ),
    _single(
        "rest_clear", "rest clear", "s", "rest_clear_s", "rest_clear_s",
        "the instant the arrow's nock has passed the rest",
        "departure and the launch model's way from there to the rest",
        needs=("a launch model",),
    ),
    _single(
        "pointing_right", "pointing shift, right", "mm", "at_departure.pointing.right_mm",
        "at_departure.pointing_shift_mm.right",
        "the yaw at departure carried to the target, + right: what the bow's turn alone would do",
        "- yaw x distance, first order, level cant",
        needs=(_GYRO, "the target's distance"), span="window", sensors=("gyro",),
        sigma="at_departure.pointing.right_sigma_mm",
    ),
    _single(
        "pointing_up", "pointing shift, up", "mm", "at_departure.pointing.up_mm", "at_departure.pointing_shift_mm.up",
        "the pitch at departure carried to the target, + up: what the bow's turn alone would do",
        "- pitch x distance, first order, level cant",
        needs=(_GYRO, "the target's distance"), span="window", sensors=("gyro",),
        sigma="at_departure.pointing.up_sigma_mm",
    ),
    _single(
        "hold_duration", "length of the hold", "s", "hold.duration_s", "hold.duration_s",
        "from the end of the draw to the release",
        "the end of the draw is where the turning and pulling have died down",
        needs=("the end of the draw in the recording",), span="hold", sensors=("accelerometer", "gyro"),
    ),
    _single(
        "mount_mode", "lowest mode of the mount", "Hz", "follow_through.mount_mode_hz", "follow_through.mount_mode_hz",
        "the lowest frequency at which the sensor's seat rings after brace",
        "the lowest peak that stands out in the spectrum of the gyro's ringing, fitted as one damped swing; a riser's "
        "own mode is not told from the mount's",
        needs=("a ringing that stands out",), span="ring", sensors=("gyro",),
    ),
    _single(
        "mount_damping_ratio", "damping ratio of the mount", "", "follow_through.mount_damping_ratio",
        "follow_through.mount_damping_ratio",
        "the share of critical damping at that frequency",
        "from the same fit",
        needs=("a ringing that stands out",), span="ring", sensors=("gyro",),
    ),
    _single(
        "mount_mode_fit", "fit of the mount's mode", "", "follow_through.mount_mode_fit",
        "follow_through.mount_mode_fit",
        "the share of the spectrum around its peak that one mode explains",
        "from the same fit",
        needs=("a ringing that stands out",), span="ring", sensors=("gyro",),
    ),
    _single(
        "push_misfit", "misfit of the push", "", "push_misfit", "push_misfit",
        "what the fitted push leaves over, root mean square, as a share of the push",
        "from the fit that gives the release",
        needs=("a push that can be fitted",),
    ),
    _axes(
        "rotation", "rotation at departure", "deg", "at_departure.rotation_deg", "at_departure.rotation_deg",
        "the rotation vector from release to departure, in the bow frame at release",
        "the rate of turn is integrated with coning taken into account; the last samples, which already hold the "
        "shock, are replaced by the fitted model",
        sigma="at_departure.rotation_sigma_deg",
    ),
    _axes(
        "rate", "rate of turn at departure", "deg/s", "at_departure.rate_deg_s", "at_departure.rate_deg_s",
        "the rate of turn at the instant of departure", _FIT, sigma="at_departure.rate_sigma_deg_s",
    ),
    _axes(
        "carried_in", "carried in", "deg", "at_departure.parts.carried_in_deg", "at_departure.parts_deg.carried_in",
        "the part of the rotation that the bow brought along: the rate at release x time on the string",
        _FIT, sigma="at_departure.parts.carried_in_sigma_deg",
    ),
    _axes(
        "struck", "struck", "deg", "at_departure.parts.struck_deg", "at_departure.parts_deg.struck",
        "the part from an angular impulse in the first 4 ms: the string hand plucked, or the grip jumped",
        _FIT + "; the blow's share of it, over the time that is left",
        sigma="at_departure.parts.struck_sigma_deg",
    ),
    _axes(
        "pressed", "pressed", "deg", "at_departure.parts.pressed_deg", "at_departure.parts_deg.pressed",
        "the part from a torque that lasted: the bow hand pushes on one side",
        "the rotation less what was carried in and struck", sigma="at_departure.parts.pressed_sigma_deg",
    ),
    _axes(
        "peak_rate", "highest rate of turn", "deg/s", "window.peak_rate_deg_s", "window.peak_rate_deg_s",
        "the highest rate of turn from release to departure, either way", _FIT,
    ),
    _axes(
        "mean_torque", "mean torque", "N m", "window.mean_torque_nm", "window.mean_torque_nm",
        "the angular impulse over the time on the string", "the angular impulse divided by the time on the string",
        needs=(_GYRO, _INERTIA), sigma="window.mean_torque_sigma_nm",
    ),
    _axes(
        "peak_torque", "highest torque", "N m", "window.peak_torque_nm", "window.peak_torque_nm",
        "the highest of I dw/dt + w x I w about the centre of mass; a fragile figure, the steepest slope of a fit",
        _FIT + "; its slope times the inertia", needs=(_GYRO, _INERTIA), sigma="window.peak_torque_sigma_nm",
    ),
    _axes(
        "angular_impulse", "angular impulse", "N m s", "window.angular_impulse_nms", "window.angular_impulse_nms",
        "the torque summed over the time on the string; the robust figure, by the rates at both ends",
        _FIT + "; the change of rate times the inertia, and the gyroscopic term integrated",
        needs=(_GYRO, _INERTIA), sigma="window.angular_impulse_sigma_nms",
    ),
    _axes(
        "hold_rate_rms", "rate of turn in the hold", "deg/s", "hold.rate_rms_deg_s", "hold.rate_rms_deg_s",
        "root mean square of the rate of turn from the end of the draw to the release",
        "the gyro's bias is taken off first", needs=("a hold",), span="hold",
    ),
    _axes(
        "tremor_rms", "tremor in the hold", "deg/s", "hold.tremor_rms_deg_s", "hold.tremor_rms_deg_s",
        "root mean square of the rate of turn between 6 and 14 Hz",
        "a Hann-windowed spectrum, summed over the band (Parseval)", needs=("half a second of hold",), span="hold",
    ),
    _axes(
        "drift", "drift in the hold", "deg/s", "hold.drift_deg_s", "hold.drift_deg_s",
        "the mean rate of turn of the hold's last half second", "the gyro's bias is taken off first",
        needs=("half a second of hold",), span="drift",
    ),
    _axes(
        "hand_stiffness", "stiffness of the hand", "N m/rad", "follow_through.hand_stiffness_nm_rad",
        "follow_through.hand_stiffness_nm_rad",
        "how strongly the hand turns the bow back after departure: the hand's answer, reflexes and all",
        "a spring and damper fitted to the rate over two stretches, in a form integrated once that needs no slope; "
        "told only where one spring fits both",
        needs=("whole gyro samples after departure", _INERTIA, "a good fit"), span="follow",
        sigma="follow_through.hand_stiffness_sigma_nm_rad",
    ),
    _axes(
        "damping_ratio", "damping ratio of the hand", "", "follow_through.damping_ratio",
        "follow_through.damping_ratio", "the share of critical damping of the same spring and damper",
        "from the same fit", needs=("whole gyro samples after departure", _INERTIA, "a good fit"), span="follow",
    ),
)  # fmt: skip

MEASURES_TABLE: Final[Mapping[str, Measure]] = {row.name: row for row in _ROWS}


def short_names() -> Iterator[str]:
    """Every figure by the name a person types: "rotation_yaw", "time_on_string"."""
    for row in _ROWS:
        yield from (f"{row.name}_{axis}" for axis in AXIS_NAMES) if row.by_axis else (row.name,)


def measure_named(text: str) -> tuple[Measure, str | None]:
    """The measure and axis that a name stands for: "rotation_yaw", "rotation_yaw_deg" (as in CSV and the store), or
    "at_departure.rotation_deg.yaw" (as in JSON).

    Raises:
        InputError: no such measure, with the nearest name.
    """
    known: dict[str, tuple[Measure, str | None]] = {}
    for row in _ROWS:
        for axis in AXIS_NAMES if row.by_axis else (None,):
            tail = f"_{axis}" if axis else ""
            json = f"{row.json}.{axis}" if axis else row.json
            # CSV joins the path of JSON with underscores
            for name in (row.name + tail, row.column(axis), json, json.replace(".", "_")):
                known[name] = (row, axis)
    wanted = text.strip().lower().replace("-", "_").replace(" ", "_")
    if wanted in known:
        return known[wanted]
    if wanted in MEASURES_TABLE:
        names = ", ".join(f"{wanted}_{axis}" for axis in AXIS_NAMES)
        raise InputError(f'"{text}" has three axes', do=f"say which: {names}")
    near = difflib.get_close_matches(wanted, list(short_names()), n=1, cutoff=0.5) or [
        name for name in short_names() if wanted and wanted in name
    ]
    hint = f'did you mean "{near[0]}"?' if near else f"known are {', '.join(MEASURES_TABLE)}"
    raise InputError(f'no measure called "{text}"', do=hint)
