"""Blocks of a binary stream in order: cut into segments, losses counted, counters unwrapped, groups with times.

Everything is decided by the blocks alone, never by how many came at once, so any chunking gives the same groups.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from quiethand.motion.clock import SegmentClock, start_after
from quiethand.motion.facts import Mark, SegmentFacts
from quiethand.motion.timefit import NO_POINTS, WINDOW, Points, fit_windows, group_points

__all__ = ["Group", "Identity", "LostBefore", "Run", "Segment", "opened"]

Ints = NDArray[np.int64]
Heard: TypeAlias = int | Mark  # a CLOCK's unix_ns, or a mark

GROUP_S: Final = 0.25  # a group of samples, at the nominal rate
FIT_FROM_S: Final = 1.0  # the wire format's: under this a segment uses the nominal rate
CLOCK_WAIT_S: Final = 3.0  # CLOCK comes about once a second; a new segment waits so long for its first
SAME_CLOCK_S: Final = 12.0  # a CLOCK's ticks further than this from the last block's are of another power-up


@dataclass(frozen=True)
class Identity:
    """What makes another segment when it changes, and what times need."""

    uid: bytes
    boot: int
    tick_hz: int
    rate_mhz: int

    @property
    def period_ticks(self) -> float:
        return self.tick_hz * 1000.0 / self.rate_mhz


@dataclass(frozen=True)
class Run:
    """Consecutive blocks of one segment; arrays have one entry a block."""

    offset: Ints
    order: Ints  # place among all blocks received, from 1
    last: Ints  # sample number of the block's last sample in the segment, losses counted
    ticks: Ints  # unwrapped, since the segment's first block
    count: Ints
    lost: Ints  # samples lost before the block
    scale: Ints  # which description; -1: none, unscaled
    counts: NDArray[np.int16]  # (sum of count, 6)

    def __len__(self) -> int:
        return len(self.last)

    def joined(self, later: Run) -> Run:
        if not len(self):
            return later
        pairs = ((getattr(self, name), getattr(later, name)) for name in self.__dataclass_fields__)
        return Run(*(np.concatenate(pair) for pair in pairs))

    def part(self, rows: slice, samples: slice) -> Run:
        return Run(
            self.offset[rows], self.order[rows], self.last[rows], self.ticks[rows], self.count[rows],
            self.lost[rows], self.scale[rows], self.counts[samples],
        )  # fmt: skip


@dataclass(frozen=True)
class LostBefore:
    """A loss and the time of the last sample before it, since the segment's first sample."""

    since_start_s: float
    samples: int
    offset: int


@dataclass(frozen=True)
class Group:
    """About 0.25 s of samples with one description, times since the segment's first sample."""

    scale: int
    index: Ints  # (n,)
    since_start_s: NDArray[np.float64]  # (n,)
    counts: NDArray[np.int16]  # (n, 6)
    period_s: float
    losses: tuple[LostBefore, ...]


def no_run() -> Run:
    none = np.empty(0, dtype=np.int64)
    return Run(none, none, none, none, none, none, none, np.empty((0, 6), dtype=np.int16))


@dataclass
class Segment:
    """One segment as it grows. `push` gives what has become certain, `close` the rest."""

    number: int
    opened_by: str
    offset: int
    identity: Identity | None = None  # None until a description fits one of its blocks
    period_ticks: float = 0.0  # ticks per sample, fitted over the last 10 s; nominal under 1 s
    fitted: bool = False
    clock: SegmentClock = field(default_factory=SegmentClock)
    start_s: float | None = None  # on the recording's time line, once that is decided
    went_on_by: Literal["start", "clock", "at_once"] = "start"
    samples: int = 0
    lost: int = 0
    last: int = -1  # sample number of the last sample received
    ticks: int = 0  # of the last block, unwrapped
    _pending: Run = field(default_factory=no_run)
    _points: Points = NO_POINTS
    _early: list[Run] = field(default_factory=list)  # groups of the first second, before there is a fit
    _knot: tuple[int, float] = (0, 0.0)  # sample number and ticks at the end of the last group
    _zero_ticks: float = 0.0  # of sample 0, fitted
    _waiting: list[Group] = field(default_factory=list)  # with times, until `start_s` is known
    marks: list[tuple[float | None, Mark]] = field(default_factory=list)  # since the first sample; taken by the caller
    _heard: deque[tuple[int, int, Heard]] = field(default_factory=deque)  # order, ticks since first block
    _times_from: int = 0  # ticks of the first block with a description
    _before: Segment | None = None

    def adopt(self, identity: Identity, ticks: int) -> None:
        """A description fits the block at `ticks` since the first: from here on ticks mean something."""
        self.identity = identity
        self._times_from = ticks
        self.period_ticks = identity.period_ticks

    @property
    def tick_hz(self) -> float:
        assert self.identity is not None
        return float(self.identity.tick_hz)

    def hear(self, order: int, ticks: int, ahead: int, said: Heard) -> None:
        """Something with a device time that came after block `order`, `ahead` of that block's ticks."""
        far = self.identity is None or abs(ahead) > SAME_CLOCK_S * self.tick_hz
        if isinstance(said, int):
            if not far:
                self._heard.append((order, ticks + ahead, said))
        elif self.identity is None:
            self.marks.append((None, said))
        else:
            self._heard.append((order, ticks + ahead, said))

    @property
    def period_nominal(self) -> float:
        assert self.identity is not None
        return self.identity.period_ticks

    @property
    def rate_nominal(self) -> float:
        return self.tick_hz / self.period_nominal

    @property
    def _full_second(self) -> float:
        return self._times_from + FIT_FROM_S * self.tick_hz

    def seconds(self, ticks: float) -> float:
        """Since the first sample."""
        return (ticks - self._zero_ticks) / self.tick_hz

    @property
    def end_s(self) -> float:
        """The last sample with a time, since the first."""
        return self.seconds(self._knot[1])

    @property
    def end_index(self) -> int:
        """The last sample with a time."""
        return self._knot[0]

    def push(self, run: Run) -> list[Group]:
        """Blocks that belong to the segment, counters unwrapped."""
        self.samples += len(run.counts)
        self.lost += int(run.lost.sum())
        self.last, self.ticks = int(run.last[-1]), int(run.ticks[-1])
        if self.identity is None:
            return []
        self._pending = self._pending.joined(run)
        return self._settle(self._cut(to_end=False))

    def close(self) -> list[Group]:
        """No more comes: what is left gets its times."""
        groups: list[Group] = []
        if self.identity is not None:
            groups = self._settle(self._cut(to_end=True))
            if self._early:
                groups += self._nominal()
            self._hear(None)
            groups += self._release(closing=True)
        return groups

    def facts(self) -> SegmentFacts:
        """How it stands."""
        known = self.start_s is not None and self.identity is not None
        rate = None
        if self.identity is not None:
            rate = self.identity.rate_mhz / 1000.0
            if self.fitted and self.end_s > 0:
                rate = self._knot[0] / self.end_s
        return SegmentFacts(
            self.number, self.opened_by, self.offset, self.start_s,
            self.start_s + self.end_s if known and self.start_s is not None else None,
            self.samples, self.lost, rate, self.went_on_by,
        )  # fmt: skip

    def _cut(self, to_end: bool) -> list[Run]:
        """Whole groups from what is pending: by samples, at another description, and where the first second is full."""
        run = self._pending
        groups: list[Run] = []
        if not len(run):
            return groups
        filled = np.cumsum(run.count)
        size = max(1, round(GROUP_S * self.tick_hz / self.identity.period_ticks)) if self.identity else 1
        changes = (np.flatnonzero(run.scale[1:] != run.scale[:-1]) + 1).tolist()
        full_second = len(run)
        if not self.fitted:
            full_second = int(np.searchsorted(run.ticks, self._full_second, side="left"))
        row, done = 0, 0
        while row < len(run):
            end = int(np.searchsorted(filled, done + size, side="left")) + 1
            if row <= full_second:
                end = min(end, full_second + 1)
            while changes and changes[0] <= row:
                changes.pop(0)
            if changes:
                end = min(end, changes[0])
            if end > len(run):
                if not to_end:
                    break
                end = len(run)
            groups.append(run.part(slice(row, end), slice(done, int(filled[end - 1]))))
            row, done = end, int(filled[end - 1])
        self._pending = run.part(slice(row, None), slice(done, None))
        return groups

    def _settle(self, runs: list[Run]) -> list[Group]:
        """Points, fits and times of new groups."""
        if not runs:
            return self._release()
        if not self.fitted:
            full = next((i for i, run in enumerate(runs, 1) if run.ticks[-1] >= self._full_second), None)
            self._early += runs[:full]
            if full is None:
                return []
            self.fitted = True
            self._points = _points_of(self._early)
            self._first_fit()
            runs = runs[full:]
        if runs:
            self._points = self._points.joined(_points_of(runs))
            ends = np.array([run.last[-1] for run in runs], dtype=np.float64)
            nominal = self.period_nominal
            fits = fit_windows(self._points, len(runs), ends, nominal, self.tick_hz)
            self._points = self._points.last(WINDOW)
            for run, ticks, period in zip(runs, fits.ticks.tolist(), fits.period.tolist(), strict=True):
                self._waiting.append(self._timed(run, ticks, period))
        return self._release()

    def _first_fit(self) -> None:
        """The first second as one straight line."""
        end = self._early[-1].last[-1:].astype(np.float64)
        fit = fit_windows(self._points, 1, end, self.period_nominal, self.tick_hz)
        period = self._sane(float(fit.period[0]))
        self._knot = (0, float(fit.ticks[0]) - period * float(end[0]))
        self._zero_ticks = self._knot[1]
        self._spread(period)

    def _nominal(self) -> list[Group]:
        """Under a second: the nominal rate through the middle of the blocks' ticks."""
        period = self.period_nominal
        level = np.concatenate([run.ticks - period * run.last for run in self._early])
        self._knot = (0, float(np.median(level)))
        self._zero_ticks = self._knot[1]
        self._spread(period)
        return []

    def _spread(self, period: float) -> None:
        zero = self._zero_ticks
        for run in self._early:
            self._waiting.append(self._timed(run, zero + period * int(run.last[-1]), period))
        self._early.clear()

    def _sane(self, period: float) -> float:
        """Ticks that run wild must not turn time back: then the nominal rate."""
        nominal = self.period_nominal
        return period if 0.5 * nominal < period < 2.0 * nominal else nominal

    def _timed(self, run: Run, end_ticks: float, period: float) -> Group:
        """Times between the last group's end and this one's, straight."""
        knot_index, knot_ticks = self._knot
        end_index = int(run.last[-1])
        slope = self._sane((end_ticks - knot_ticks) / (end_index - knot_index)) if end_index > knot_index else period
        first = int(run.last[0]) - int(run.count[0]) + 1
        if end_index - first + 1 == len(run.counts):
            index = np.arange(first, end_index + 1)
        else:
            start = np.cumsum(run.count) - run.count
            index = np.arange(len(run.counts)) + np.repeat(run.last - run.count + 1 - start, run.count)
        at_knot = self.seconds(knot_ticks)
        step = slope / self.tick_hz
        losses = []
        if run.lost.any():
            for row in np.flatnonzero(run.lost).tolist():
                before = int(run.last[row] - run.count[row] - run.lost[row])
                losses.append(
                    LostBefore(at_knot + (before - knot_index) * step, int(run.lost[row]), int(run.offset[row]))
                )
        since: NDArray[np.float64] = at_knot + (index - knot_index) * np.float64(step)
        self._knot = (end_index, knot_ticks + slope * (end_index - knot_index))
        self.period_ticks = self._sane(period)
        self._hear(int(run.order[-1]))
        self._decide_start(int(run.ticks[-1]))
        return Group(int(run.scale[0]), index, since, run.counts, self.period_ticks / self.tick_hz, tuple(losses))

    def _hear(self, before_order: int | None) -> None:
        """Take the CLOCKs that came before a block, once there is a zero to count from."""
        while self._heard and (before_order is None or self._heard[0][0] < before_order):
            _, ticks, said = self._heard.popleft()
            if isinstance(said, int):
                self.clock.add(self.seconds(ticks), said)
            else:
                self.marks.append((self.seconds(ticks), said))

    def _decide_start(self, ticks: int, closing: bool = False) -> None:
        """Where the segment stands on the recording's time line, when enough of the host's clock is known."""
        if self.start_s is not None:
            return
        before = self._before
        if before is None or before.start_s is None:
            self.start_s = 0.0
            return
        wants_clock = len(before.clock) > 0
        if wants_clock and not len(self.clock) and not closing and ticks < CLOCK_WAIT_S * self.tick_hz:
            return
        self.start_s, self.went_on_by = start_after(
            before.start_s + before.end_s,
            before.clock.unix_ns_at(before.end_s),
            self.clock.unix_ns_at(0.0),
            self.period_ticks / self.tick_hz,
        )
        self._before = None

    def _release(self, closing: bool = False) -> list[Group]:
        if closing:
            self._decide_start(self.ticks, closing=True)
        if self.start_s is None:
            return []
        groups, self._waiting = self._waiting, []
        return groups

    def follow(self, before: Segment | None) -> None:
        """Say which segment with a time line came before. Called once, right after it was opened."""
        self._before = before


def _points_of(runs: list[Run]) -> Points:
    lengths = np.array([len(run) for run in runs])
    rows = np.concatenate([run.last for run in runs]), np.concatenate([run.ticks for run in runs])
    return group_points(*rows, np.cumsum(lengths) - lengths, lengths)


def opened(number: int, why: str, offset: int, before: Segment | None) -> Segment:
    """A new segment after `before`, the last one that has times (which lets go of its own predecessor)."""
    segment = Segment(number, why, offset)
    segment.follow(before)
    return segment
