"""Samples that bring their own times (text mode, CSV): segments, gaps, groups. The fit of ticks has no part in it."""

from __future__ import annotations

import itertools
from collections import deque
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from quiethand.motion.clock import SegmentClock, start_after
from quiethand.motion.facts import Mark, SegmentFacts
from quiethand.motion.segments import CLOCK_WAIT_S, FIT_FROM_S, GROUP_S, SAME_CLOCK_S, Heard
from quiethand.motion.timefit import SPAN_S

__all__ = ["Rows", "TimedGroup", "TimedSegment"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

GAP_PERIODS: Final = 1.5  # the wire format's: a longer step is a gap
MEDIANS_KEPT: Final = round(SPAN_S / GROUP_S)
LONE_PERIOD_S: Final = 1e-3  # of a segment of one sample, which has no step to tell it by


@dataclass(frozen=True)
class Rows:
    """Consecutive samples of one segment, one entry each."""

    place: Ints  # byte offset of the line, or its number in a CSV
    order: Ints  # place among all rows received, from 1
    since_s: Floats  # since the segment's first, never falling
    values: Floats  # (n, 6), or (n, 8) where accelerometer and gyro are each stated to have clipped (not 0) or not
    scale: Ints  # which calibration; -1: unscaled

    def __len__(self) -> int:
        return len(self.order)

    def part(self, first: int, last: int | None) -> Rows:
        rows = slice(first, last)
        return Rows(self.place[rows], self.order[rows], self.since_s[rows], self.values[rows], self.scale[rows])

    def joined(self, later: Rows) -> Rows:
        if not len(self):
            return later
        return Rows(
            np.concatenate([self.place, later.place]),
            np.concatenate([self.order, later.order]),
            np.concatenate([self.since_s, later.since_s]),
            np.concatenate([self.values, later.values]),
            np.concatenate([self.scale, later.scale]),
        )


@dataclass(frozen=True)
class TimedGroup:
    """About 0.25 s of samples with one calibration; times since the segment's first sample."""

    scale: int
    index: Ints
    since_start_s: Floats
    values: Floats
    period_s: float
    gaps: tuple[tuple[float, float, int], ...]  # (last sample before, length in s, place of the sample after)


_NONE: Final = np.empty(0, dtype=np.int64)


@dataclass
class TimedSegment:
    """One segment as it grows. `push` gives what has become certain, `close` the rest."""

    number: int
    opened_by: str
    place: int
    before: TimedSegment | None = None
    clock: SegmentClock = field(default_factory=SegmentClock)
    marks: list[tuple[float | None, Mark]] = field(default_factory=list)
    start_s: float | None = None
    went_on_by: Literal["start", "clock", "at_once"] = "start"
    samples: int = 0
    end_s: float = 0.0  # the last sample with a time, since the first
    end_index: int = -1
    coarse: bool = False  # times repeat, so they were spread
    last_s: float = 0.0  # the last sample received
    _pending: Rows = field(default_factory=lambda: Rows(_NONE, _NONE, np.empty(0), np.empty((0, 6)), _NONE))
    _timed: bool = False  # the first second is full, so there is a period
    _medians: deque[float] = field(default_factory=lambda: deque(maxlen=MEDIANS_KEPT))
    _waiting: list[TimedGroup] = field(default_factory=list)
    _heard: deque[tuple[int, float, Heard]] = field(default_factory=deque)

    def hear(self, order: int, since_s: float, said: Heard) -> None:
        """A CLOCK or mark that came after row `order`, for a time since the segment's first sample."""
        if not isinstance(said, int) or abs(since_s - self.last_s) <= SAME_CLOCK_S:
            self._heard.append((order, since_s, said))

    def push(self, rows: Rows) -> list[TimedGroup]:
        self.samples += len(rows)
        self.last_s = float(rows.since_s[-1])
        self._pending = self._pending.joined(rows)
        since = self._pending.since_s
        if not self._timed:
            if since[-1] < FIT_FROM_S:
                return []
            self._timed = True
            self._first_period(since[since <= FIT_FROM_S])
        first = 0
        changes = (np.flatnonzero(self._pending.scale[1:] != self._pending.scale[:-1]) + 1).tolist()
        while True:
            end = int(np.searchsorted(since, since[first] + GROUP_S, side="left"))
            while changes and changes[0] <= first:
                changes.pop(0)
            if changes:
                end = min(end, changes[0])
            if end >= len(since):
                break
            self._group(self._pending.part(first, end), float(since[end]))
            first = end
        self._pending = self._pending.part(first, None)
        return self._release()

    def close(self) -> list[TimedGroup]:
        """No more comes."""
        rows = self._pending
        if len(rows):
            if not self._timed:
                self._first_period(rows.since_s)
            edges = [0, *(np.flatnonzero(rows.scale[1:] != rows.scale[:-1]) + 1).tolist(), len(rows)]
            for first, last in itertools.pairwise(edges):
                repeated = int((rows.since_s == rows.since_s[-1]).sum())
                end_s = float(rows.since_s[-1]) + repeated * self.period_s
                after = float(rows.since_s[last]) if last < len(rows) else end_s
                self._group(rows.part(first, last), after)
            self._pending = rows.part(len(rows), None)
        self._hear(None)
        self._decide_start(closing=True)
        return self._release()

    @property
    def period_s(self) -> float:
        """The median of the medians of the last 10 s."""
        return float(np.median(self._medians)) if self._medians else LONE_PERIOD_S

    @property
    def rate_hz(self) -> float | None:
        return 1.0 / self.period_s if self._medians else None

    def facts(self) -> SegmentFacts:
        end_s = None if self.start_s is None else self.start_s + self.end_s
        return SegmentFacts(
            self.number, self.opened_by, self.place, self.start_s, end_s, self.samples, 0, self.rate_hz, self.went_on_by
        )

    def _first_period(self, since: Floats) -> None:
        steps = np.diff(since)
        if len(steps) and steps.max() > 0:
            median = float(np.median(steps))
            # Where most times repeat, the median step says nothing, the mean does.
            self._medians.append(median if np.all(steps > 0) else float(since[-1] - since[0]) / len(steps))

    def _group(self, rows: Rows, next_s: float) -> None:
        since = rows.since_s
        if len(since) > 1 and not np.all(since[1:] > since[:-1]):
            since, self.coarse = _spread(since, next_s), True
        steps = np.diff(since, prepend=self.end_s if self.end_index >= 0 else since[0])
        own = steps if self.end_index >= 0 else steps[1:]
        if self._timed and len(own):
            self._medians.append((next_s - float(since[0])) / len(since) if self.coarse else float(np.median(own)))
        period = self.period_s
        strides = np.ones(len(since), dtype=np.int64)
        gaps = []
        wide = steps > GAP_PERIODS * period
        if wide.any():
            strides[wide] = np.maximum(1, np.rint(steps[wide] / period)).astype(np.int64)
            gaps = [(float(since[i] - steps[i]), float(steps[i]), int(rows.place[i])) for i in np.flatnonzero(wide)]
        index = self.end_index + np.cumsum(strides)
        self.end_index, self.end_s = int(index[-1]), float(since[-1])
        self._hear(int(rows.order[-1]))
        self._decide_start(closing=False)
        self._waiting.append(TimedGroup(int(rows.scale[0]), index, since, rows.values, period, tuple(gaps)))

    def _hear(self, before_order: int | None) -> None:
        while self._heard and (before_order is None or self._heard[0][0] < before_order):
            _, since_s, said = self._heard.popleft()
            if isinstance(said, int):
                self.clock.add(since_s, said)
            else:
                self.marks.append((since_s, said))

    def _decide_start(self, closing: bool) -> None:
        if self.start_s is not None:
            return
        before = self.before
        if before is None or before.start_s is None:
            self.start_s = 0.0
            return
        if len(before.clock) and not len(self.clock) and not closing and self.end_s < CLOCK_WAIT_S:
            return
        self.start_s, self.went_on_by = start_after(
            before.start_s + before.end_s,
            before.clock.unix_ns_at(before.end_s),
            self.clock.unix_ns_at(0.0),
            self.period_s,
        )
        self.before = None

    def _release(self) -> list[TimedGroup]:
        if self.start_s is None:
            return []
        groups, self._waiting = self._waiting, []
        return groups


def _spread(since: Floats, next_s: float) -> Floats:
    """Times that repeat, spread evenly up to the next that differs."""
    first = np.flatnonzero(np.concatenate([[True], since[1:] > since[:-1]]))
    size = np.diff(first, append=len(since))
    until = np.append(since[first[1:]], max(next_s, since[-1] + 1e-9))
    place = np.arange(len(since)) - np.repeat(first, size)
    return np.asarray(since + np.repeat((until - since[first]) / size, size) * place)
