"""What the store gives out: plain values that outlive the connection they were read on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from quiethand.shots.method import METHOD_VERSION
from quiethand.shots.model import Trace

__all__ = [
    "Earlier",
    "EarlierFigures",
    "RecordingFacts",
    "RecordingRecord",
    "RejectedRecord",
    "SeriesPoint",
    "Shooter",
    "ShotFilter",
    "ShotRecord",
]

State = Literal["growing", "whole", "damaged", "empty"]


@dataclass(frozen=True)
class ShotFilter:
    """Which shots; what is None does not restrict. Names are as in the set-up ("" is: none stated)."""

    archer: str | None = None
    bow: str | None = None
    arrow: str | None = None
    day: str | None = None  # YYYY-MM-DD, local
    recording_id: int | None = None
    before_unix_s: float | None = None
    since_unix_s: float | None = None
    day_from: str | None = None  # both days are within
    day_to: str | None = None
    tag: str | None = None
    flagged: bool | None = None  # with a flag that is over or unusual
    excluded: bool | None = None  # None: excluded or not; False: what usual, comparisons and groups are made of
    called: bool | None = None  # the archer called it
    hit: bool | None = None  # an impact is joined to it
    face: str | None = None
    distance_m: float | None = None

    def of_shot_alone(self) -> ShotFilter:
        """Without what an impact has of its own: archer and time."""
        return replace(self, archer=None, day=None, day_from=None, day_to=None, before_unix_s=None, since_unix_s=None)


@dataclass(frozen=True)
class ShotRecord:
    id: int
    recording_id: int
    recording: str  # its path as stored
    setup_id: int
    number: int
    unix_s: float  # of the release, or the departure where no release is known
    day: str
    archer: str
    bow: str
    arrow: str
    departure_from: str
    measures: Mapping[str, float | None]  # by the names of `measures.MEASURES`
    flags: tuple[Mapping[str, Any], ...]
    notes: tuple[str, ...]
    contract: Mapping[str, Any]  # the shot as `analyse --format json` prints it
    software: str
    method: int
    flagged: bool
    face: str  # of the target, as the set-up names it; "" where not known
    distance_m: float | None
    excluded: bool
    trace: Trace | None = None  # only where one shot was asked for

    @property
    def stale(self) -> bool:
        """Measured by another method than this program's; to be marked wherever it is shown."""
        return self.method != METHOD_VERSION


@dataclass(frozen=True)
class Earlier:
    """An earlier shot of the same archer, bow and arrow, for the usual."""

    shot_id: int
    unix_s: float
    measures: Mapping[str, float | None]
    trace: Trace | None


@dataclass(frozen=True)
class EarlierFigures:
    """Figures of a shot that a later method, or another set-up, has replaced."""

    number: int
    replaced_unix_s: float
    software: str
    method: int
    setup_id: int
    measures: Mapping[str, float]  # by name; those that were not known are absent


@dataclass(frozen=True)
class RecordingRecord:
    id: int
    identity: str
    sha256: str | None  # of the whole file; None while it grows
    path: str  # relative to the home where it lies inside
    started_unix_s: float
    state: State
    shots: int
    stale: int  # of these, measured by another method than this program's


@dataclass(frozen=True)
class SeriesPoint:
    """One measure of one shot, in the measure's unit."""

    id: int
    unix_s: float
    day: str
    number: int
    setup_id: int
    value: float
    sigma: float | None  # its standard uncertainty, where one is kept


@dataclass(frozen=True)
class Shooter:
    """An archer with a bow and an arrow, as they are named in set-ups."""

    archer: str
    bow: str
    arrow: str
    shots: int
    last_unix_s: float


@dataclass(frozen=True)
class RejectedRecord:
    id: int
    recording: str
    time_s: float  # on the recording's time line
    unix_s: float
    reason: str
    text: str


@dataclass(frozen=True)
class RecordingFacts:
    """What is stored of a recording beside its shots."""

    path: str
    identity: str
    started_unix_s: float
    started_from: Literal["clock", "header", "file"]
    state: State = "growing"
    sha256: str | None = None
    rate_hz: float | None = None
    sensor_uid: str | None = None  # the device's own identity, in hexadecimal
    facts: Mapping[str, Any] = field(default_factory=dict)
