"""What is known of a recording besides its motion: counts, what is missing and where, clocks, remarks."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal, TypeVar

__all__ = ["Damage", "LinkGap", "LogLine", "Loss", "Mark", "RecordingFacts", "SegmentFacts", "keep", "keep_mark"]

T = TypeVar("T")

# Places kept of each sort. Counts go on beyond; a list is for people, and memory has to stay bounded.
PLACES_KEPT: Final = 1000


@dataclass(frozen=True)
class Loss:
    """Samples that the device took and that are not here."""

    time_s: float | None  # of the last sample before; None where no description told the clock
    segment: int
    samples: int
    offset: int  # of the first byte of the block after the loss


@dataclass(frozen=True)
class LinkGap:
    """A stretch for which nobody knows what was lost: the link was down, or the time column jumps."""

    time_s: float | None  # of the last sample before
    seconds: float | None  # how long; None: not known
    offset: int | None  # byte in the stream
    reason: str
    line: int | None = None  # in a CSV


@dataclass(frozen=True)
class Damage:
    """Bytes that gave no message."""

    kind: str  # bad_frame, joined, malformed, unknown, host_frame, other_version, refused, bad_line, ...
    offset: int
    length: int
    count: int  # runs or lines
    why: str


@dataclass(frozen=True)
class Mark:
    """Something with a device time: an edge on an input, or what a person noted of a shot."""

    time_s: float | None  # on the recording's time line
    offset: int
    kind: Literal["event", "note"]
    values: Mapping[str, object]


@dataclass(frozen=True)
class LogLine:
    offset: int
    level: int
    text: str


@dataclass(frozen=True)
class SegmentFacts:
    """One stretch of unbroken sampling."""

    number: int
    opened_by: str  # first, uid, boot, rate, restart, gap, index, jump
    offset: int
    start_s: float | None = None  # of its first sample
    end_s: float | None = None
    samples: int = 0
    lost_samples: int = 0
    rate_hz: float | None = None  # as fitted over the whole; nominal where under 1 s
    went_on_by: Literal["start", "clock", "at_once"] = "start"


@dataclass
class RecordingFacts:
    """Grows while a recording is read; complete after `finish`. Lists hold the first 1000 places of each sort."""

    mode: Literal["binary", "text", "csv"] | None = None
    rate_hz: float | None = None  # samples per second, over all segments of 1 s or more; else nominal
    duration_s: float = 0.0  # first sample to last on the time line
    samples: int = 0  # with scale, so with motion
    unscaled: int = 0  # samples received for which no description came
    unscaled_blocks: int = 0
    lost_samples: int | None = 0  # None: some are missing and nobody counted them
    clipped_samples: int = 0
    accel_clipped_samples: int = 0
    gyro_clipped_samples: int = 0
    segments: int = 0
    bytes_read: int = 0

    bad_frames: int = 0
    joined_mid_frame: int = 0
    malformed: int = 0
    unknown: int = 0
    host_frames_from_device: int = 0
    other_versions: int = 0
    bad_lines: int = 0  # text mode and CSV
    header_damaged: bool = False  # a recording by its host frames, whose first run is bad
    torn_tail: bool = False  # the last frame or line is cut off
    refused: str | None = None  # why nothing more was read from some place on

    losses: list[Loss] = field(default_factory=list)
    loss_places: int = 0
    gaps: list[LinkGap] = field(default_factory=list)
    gap_places: int = 0
    damages: list[Damage] = field(default_factory=list)
    damage_places: int = 0
    unscaled_places: list[Damage] = field(default_factory=list)
    segment_list: list[SegmentFacts] = field(default_factory=list)

    header: Mapping[str, object] | None = None  # created, software
    session: Mapping[str, object] | None = None  # the last sound SESSION object, whole
    descriptions: list[object] = field(default_factory=list)  # quiethand_protocol Description, each another
    unix_at_zero_s: float | None = None  # host's clock at time zero, from the lower edge of CLOCK
    samples_taken: int | None = None  # by the device's last HEALTH, lost ones included
    lost_in_device: int | None = None
    supply_mv: int | None = None
    temperature_c: float | None = None  # the last stated
    supply_low: bool = False
    events: list[Mark] = field(default_factory=list)
    recent_events: deque[Mark] = field(default_factory=lambda: deque(maxlen=PLACES_KEPT))  # the last ones
    marks: list[Mark] = field(default_factory=list)  # called shots and impacts
    remarks: list[str] = field(default_factory=list)
    logs: list[LogLine] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)  # what a user should know, each said once

    def note(self, text: str) -> None:
        """Say something once."""
        if text not in self.notes and len(self.notes) < PLACES_KEPT:
            self.notes.append(text)

    @property
    def whole(self) -> bool:
        """Nothing of what was sampled between the first sample and the last is known to be missing."""
        return not (
            self.bad_frames
            or self.malformed
            or self.loss_places
            or self.gap_places
            or self.unscaled
            or self.bad_lines
            or self.torn_tail
            or self.header_damaged
            or self.refused
        )


def keep_mark(facts: RecordingFacts, mark: Mark) -> None:
    """Put an edge or a remark about a shot where it belongs."""
    keep(facts.events if mark.kind == "event" else facts.marks, mark)
    if mark.kind == "event":
        facts.recent_events.append(mark)


def keep(places: list[T], place: T) -> None:
    """Append, up to the bound."""
    if len(places) < PLACES_KEPT:
        places.append(place)
