"""What people typed, as the store gives it out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

__all__ = [
    "Calibration",
    "Call",
    "Correction",
    "Exclusion",
    "Impact",
    "ImpactSource",
    "Limit",
    "NewImpact",
    "Remark",
    "Sensor",
    "SetupVersion",
    "ShotMarks",
]  # fmt: skip

ImpactSource = Literal["typed", "tapped", "imported"]
Corrected = Literal["release_s", "departure_s"]


@dataclass(frozen=True)
class NewImpact:
    """Where an arrow hit, to be stored. From the middle of the face, as the archer sees it: + right, + up, in mm."""

    right_mm: float
    up_mm: float
    shot_id: int | None = None  # None: free, to be joined to a shot later or never
    archer: str = ""  # left out: the shot's
    unix_s: float | None = None  # when it was shot; None: the shot's time, or now where it is free
    face: str = ""  # as set-ups name it ("40 cm"); left out: the shot's
    distance_m: float | None = None  # left out: the shot's
    diameter_mm: float | None = None  # of the arrow's shaft
    source: ImpactSource = "typed"
    remark: str = ""


@dataclass(frozen=True)
class Impact:
    """Where an arrow hit: from the middle of the face, as the archer sees it, + right and + up in mm."""

    id: int
    shot_id: int | None
    archer: str
    unix_s: float
    day: str
    right_mm: float
    up_mm: float
    face: str
    distance_m: float | None
    diameter_mm: float | None
    source: ImpactSource
    remark: str


@dataclass(frozen=True)
class Remark:
    id: int
    shot_id: int
    unix_s: float
    text: str


@dataclass(frozen=True)
class Call:
    """Where the archer says that the shot went: a place in mm from the middle (+ right, + up), a word, or both."""

    shot_id: int
    unix_s: float
    right_mm: float | None
    up_mm: float | None
    word: str


@dataclass(frozen=True)
class Correction:
    """An instant that a person set, in seconds on the recording's time line, beside the computed one."""

    id: int
    shot_id: int
    measure: Corrected
    value: float | None  # None: withdrawn, the computed one stands
    unix_s: float
    remark: str


@dataclass(frozen=True)
class Exclusion:
    id: int
    shot_id: int
    reason: str
    unix_s: float
    lifted_unix_s: float | None  # None: in force


@dataclass(frozen=True)
class ShotMarks:
    """All that was typed about one shot."""

    shot_id: int
    tags: tuple[str, ...] = ()  # in order
    remarks: tuple[Remark, ...] = ()  # the oldest first
    call: Call | None = None
    exclusion: Exclusion | None = None  # the one in force
    corrected: Mapping[str, float] = field(default_factory=dict)  # the newest correction of each measure
    impact: Impact | None = None


@dataclass(frozen=True)
class Limit:
    """A bound on one measure (named as in the set-up's [limits]), in the unit that it is shown in."""

    measure: str
    value: float | None  # None: none from that day on
    unit: str
    archer: str  # "" is: for every archer
    bow: str
    from_day: str
    unix_s: float


@dataclass(frozen=True)
class SetupVersion:
    """A set-up of an archer with a bow, from a day on."""

    id: int
    archer: str
    bow: str
    from_day: str
    setup_id: int
    document: Mapping[str, Any]  # as its file has it
    unix_s: float
    remark: str


@dataclass(frozen=True)
class Sensor:
    sensor_uid: str  # the device's own, in hexadecimal
    name: str
    remark: str
    unix_s: float


@dataclass(frozen=True)
class Calibration:
    """What a calibration found, as the set-up's tables have it, for one sensor from a day on."""

    id: int
    sensor_uid: str
    kind: str
    from_day: str
    document: Mapping[str, Any]
    unix_s: float
