"""A shot as measured, and a movement that was not one. Units are in the names; None is not known, a note says why."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import Axes

__all__ = [
    "AtDeparture", "BudgetRow", "Flag", "FollowThrough", "Hold", "Parts", "PointingShift", "Reason", "Rejected",
    "RotationAt", "Shot", "ShotEvents", "Trace", "Window",
]  # fmt: skip

Reason = Literal[
    "tap", "set_down", "nock", "let_down", "draw", "walk", "drop", "cable", "dry_fire", "no_push", "no_hold", "edge",
    "unknown",
]  # fmt: skip
DepartureFrom = Literal["shock", "launch_model", "assumed"]


@dataclass(frozen=True)
class Parts:
    """Rotation at departure by where it came from, degrees; the three add up to the whole."""

    carried_in_deg: Axes = Axes()
    struck_deg: Axes = Axes()
    pressed_deg: Axes = Axes()
    carried_in_sigma_deg: Axes = Axes()
    struck_sigma_deg: Axes = Axes()
    pressed_sigma_deg: Axes = Axes()


@dataclass(frozen=True)
class PointingShift:
    right_mm: float | None = None
    up_mm: float | None = None
    right_sigma_mm: float | None = None
    up_sigma_mm: float | None = None


@dataclass(frozen=True)
class AtDeparture:
    rotation_deg: Axes = Axes()
    rotation_sigma_deg: Axes = Axes()
    rate_deg_s: Axes = Axes()
    rate_sigma_deg_s: Axes = Axes()
    parts: Parts = field(default_factory=Parts)
    pointing: PointingShift = field(default_factory=PointingShift)


@dataclass(frozen=True)
class BudgetRow:
    """One source of uncertainty of the rotation at departure, after the GUM (JCGM 100)."""

    source: str
    kind: Literal["A", "B"]
    deg: Axes


@dataclass(frozen=True)
class RotationAt:
    ms: float
    rotation_deg: Axes


@dataclass(frozen=True)
class Window:
    """Figures over the time on the string. Torque and impulse need measured inertia."""

    peak_rate_deg_s: Axes = Axes()
    mean_torque_nm: Axes = Axes()
    mean_torque_sigma_nm: Axes = Axes()
    peak_torque_nm: Axes = Axes()
    peak_torque_sigma_nm: Axes = Axes()
    angular_impulse_nms: Axes = Axes()
    angular_impulse_sigma_nms: Axes = Axes()


@dataclass(frozen=True)
class Hold:
    """From the end of the draw to the release."""

    duration_s: float | None = None
    rate_rms_deg_s: Axes = Axes()
    tremor_rms_deg_s: Axes = Axes()  # 6 to 14 Hz
    drift_deg_s: Axes = Axes()  # mean rate of the last 0.5 s


@dataclass(frozen=True)
class FollowThrough:
    """How the bow moved in the hand after the arrow had gone, and the ringing of the sensor's mount."""

    hand_stiffness_nm_rad: Axes = Axes()
    hand_stiffness_sigma_nm_rad: Axes = Axes()
    damping_ratio: Axes = Axes()
    mount_mode_hz: float | None = None
    mount_damping_ratio: float | None = None
    mount_mode_fit: float | None = None  # share of the spectrum around its peak that one mode explains


@dataclass(frozen=True)
class Flag:
    measure: str
    value: float
    limit: float
    unit: str
    sigma: float | None
    verdict: Literal["over", "too_close_to_tell", "unusual"]
    text: str


@dataclass(frozen=True)
class Trace:
    """What a figure needs of a shot: times in ms from release, already delay-free; bow frame."""

    accel_ms: NDArray[np.float32]  # (n,)
    specific_force_m_s2: NDArray[np.float32]  # (n, 3)
    gyro_ms: NDArray[np.float32]  # (m,)
    rate_deg_s: NDArray[np.float32]  # (m, 3)
    rotation_deg: NDArray[np.float32]  # (m, 3) since release, axes of the bow at release
    torque_nm: NDArray[np.float32] | None  # (m, 3), None without inertia


@dataclass(frozen=True)
class ShotEvents:
    """What a switch or a gate measured, beside the estimates; differences are measured less estimate."""

    measured_release_s: float | None = None
    measured_rest_clear_s: float | None = None
    release_difference_s: float | None = None
    rest_clear_difference_s: float | None = None


@dataclass(frozen=True)
class Shot:
    number: int
    segment: int
    release_s: float | None
    release_sigma_s: float | None
    departure_s: float
    departure_sigma_s: float | None
    departure_from: DepartureFrom
    time_on_string_s: float | None
    time_on_string_sigma_s: float | None
    rest_clear_s: float | None
    at_departure: AtDeparture
    budget: tuple[BudgetRow, ...]
    after_release: tuple[RotationAt, ...]
    window: Window
    hold: Hold
    follow_through: FollowThrough
    flags: tuple[Flag, ...]
    notes: tuple[str, ...]
    trace: Trace | None = None
    # how well the push's model fits: root mean square of what is left over, as a fraction of the push; None: not fitted
    push_misfit: float | None = None
    events: ShotEvents | None = None  # None: the set-up names no input


@dataclass(frozen=True)
class Rejected:
    """Something that could have been a shot and was not."""

    time_s: float
    reason: Reason
    text: str
