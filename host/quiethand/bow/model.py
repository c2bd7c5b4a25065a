"""What a user states about archer, bow, arrow, sensor and target: plain values in SI units, None where not stated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import Axes

__all__ = ["Archer", "Arrow", "Bow", "EventInputs", "Limit", "SensorSetup", "Setup", "Target"]


@dataclass(frozen=True)
class Archer:
    name: str | None = None
    handedness: Literal["right", "left"] | None = None  # left: the right hand holds the bow


@dataclass(frozen=True)
class Bow:
    name: str | None = None
    kind: Literal["compound", "recurve"] | None = None
    peak_weight_n: float | None = None
    let_off: float | None = None  # fraction of the peak weight, 0 to below 1
    draw_length_m: float | None = None  # ATA: string to pivot point plus 1.75 in
    brace_height_m: float | None = None  # string to pivot point, undrawn
    rest_m: float = 0.0  # pivot point to rest, + towards the target
    draw_force_curve: tuple[tuple[float, float], ...] | None = None  # (string to pivot point in m, force in N)
    virtual_mass_kg: float | None = None  # Klopsteg's
    friction: float | None = None  # fraction of the drawing force missing on the way back
    mass_kg: float | None = None
    inertia_kg_m2: Axes | None = None  # about the centre of mass


@dataclass(frozen=True)
class Arrow:
    name: str | None = None
    mass_kg: float | None = None
    length_m: float | None = None


@dataclass(frozen=True)
class SensorSetup:
    lever_arm_m: tuple[float, float, float] | None = None  # centre of mass to sensor, bow frame
    mount: tuple[float, float, float, float] | None = None  # unit quaternion x y z w, sensor to bow frame
    gyro_bias_rad_s: tuple[float, float, float] | None = None  # sensor axes
    accel_offset_m_s2: tuple[float, float, float] | None = None  # sensor axes
    accel_matrix: tuple[tuple[float, float, float], ...] | None = None  # f = matrix (raw - offset)
    accel_range_m_s2: float | None = None
    gyro_range_rad_s: float | None = None
    accel_delay_s: float | None = None
    gyro_delay_s: float | None = None
    accel_bandwidth_hz: float | None = None  # -3 dB
    gyro_bandwidth_hz: float | None = None
    accel_scale: float | None = None  # m/s2 per count, for text mode without its comment lines
    gyro_scale: float | None = None  # rad/s per count


@dataclass(frozen=True)
class EventInputs:
    """Which input of the device is what; a value is the level after the edge, None: any edge."""

    release_channel: int | None = None  # a switch on the string hand's side
    release_value: int | None = None
    rest_channel: int | None = None  # a light gate at the rest
    rest_value: int | None = None


@dataclass(frozen=True)
class Target:
    face: str | None = None  # "122 cm", "80 cm", "60 cm", "40 cm"
    distance_m: float | None = None


@dataclass(frozen=True)
class Limit:
    """A bound that the user set on one measure; value in the unit that the measure is shown in."""

    value: float
    unit: str


@dataclass(frozen=True)
class Setup:
    """All that a set-up file states. `source` is its name for messages; `text` its SESSION object for the recorder."""

    archer: Archer = field(default_factory=Archer)
    bow: Bow = field(default_factory=Bow)
    arrow: Arrow = field(default_factory=Arrow)
    sensor: SensorSetup = field(default_factory=SensorSetup)
    target: Target = field(default_factory=Target)
    events: EventInputs = field(default_factory=EventInputs)
    limits: Mapping[str, Limit] = field(default_factory=dict)
    source: str | None = None
    document: Mapping[str, object] = field(default_factory=dict)  # the file's tables as written, JSON-able (SESSION)
    notes: tuple[str, ...] = ()  # what is odd in it but can be used


def inertia_array(bow: Bow) -> NDArray[np.float64] | None:
    """Principal moments about the centre of mass, shape (3,) in kg m2, or None unless all three are known."""
    if bow.inertia_kg_m2 is None:
        return None
    values = bow.inertia_kg_m2.array()
    return values if np.all(np.isfinite(values)) and np.all(values > 0) else None
