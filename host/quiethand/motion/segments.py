"""Blocks of a binary stream in order: cut into segments, losses counted, counters unwrapped, groups with times.

Everything is decided by the blocks alone, never by how many came at once, so any chunking gives the same groups.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import deque
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from quiethand.motion.block import Fitted
from quiethand.motion.clock import SegmentClock, start_after
from quiethand.motion.facts import Mark, SegmentFacts
from quiethand.motion.runs import Groups, Run, no_run
from quiethand.motion.timefit import NO_POINTS, WINDOW, Points, fit_windows

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
class LostBefore:
    """A loss and the time of the last sample before it, since the segment's first sample."""

    since_start_s: float
    samples: int
    offset: int


@dataclass(frozen=True)
class Group:
    """A stretch of samples with one description, times since the segment's first sample, fitted every 0.25 s."""

    scale: int
    index: Ints  # (n,)
    since_start_s: NDArray[np.float64]  # (n,)
    counts: NDArray[np.int16]  # (n, 6)
    period_s: float  # of the last
    fitted: Fitted
    losses: tuple[LostBefore, ...]


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
    _early: list[Groups] = field(default_factory=list)  # of the first second, before there is a fit
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

    def _cut(self, to_end: bool) -> Groups:
        """Whole groups from what is pending: by samples, at another description, and where the first second is full."""
        run = self._pending
        ends: list[int] = []
        if not len(run):
            return Groups(run, ends)
        filled = np.cumsum(run.count).tolist()
        size = max(1, round(GROUP_S * self.tick_hz / self.identity.period_ticks)) if self.identity else 1
        changes = (np.flatnonzero(run.scale[1:] != run.scale[:-1]) + 1).tolist()
        full_second = len(run)
        if not self.fitted:
            full_second = int(np.searchsorted(run.ticks, self._full_second, side="left"))
        row, done = 0, 0
        while row < len(run):
            end = bisect_left(filled, done + size, row) + 1
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
            ends.append(end)
            row, done = end, filled[end - 1]
        self._pending = run.part(slice(row, None), slice(done, None))
        return Groups(run.part(slice(0, row), slice(0, done)), ends)

    def _settle(self, groups: Groups) -> list[Group]:
        """Points, fits and times of new groups."""
        if not groups.ends:
            return self._release()
        if not self.fitted:
            last = groups.run.ticks[np.array(groups.ends) - 1]
            full = np.flatnonzero(last >= self._full_second)
            early, groups = groups.split(int(full[0]) + 1 if len(full) else len(groups.ends))
            self._early.append(early)
            if not len(full):
                return []
            self.fitted = True
            self._points = NO_POINTS
            for early in self._early:
                self._points = self._points.joined(early.points())
            self._first_fit()
        if groups.ends:
            self._points = self._points.joined(groups.points())
            at = groups.run.last[np.array(groups.ends) - 1].astype(np.float64)
            fits = fit_windows(self._points, len(at), at, self.period_nominal, self.tick_hz)
            self._points = self._points.last(WINDOW)
            self._time(groups, fits.ticks.tolist(), fits.period.tolist())
        return self._release()

    def _first_fit(self) -> None:
        """The first second as one straight line."""
        end = self._early[-1].run.last[-1:].astype(np.float64)
        fit = fit_windows(self._points, 1, end, self.period_nominal, self.tick_hz)
        period = self._sane(float(fit.period[0]))
        self._knot = (0, float(fit.ticks[0]) - period * float(end[0]))
        self._zero_ticks = self._knot[1]
        self._spread(period)

    def _nominal(self) -> list[Group]:
        """Under a second: the nominal rate through the middle of the blocks' ticks."""
        period = self.period_nominal
        level = np.concatenate([early.run.ticks - period * early.run.last for early in self._early])
        self._knot = (0, float(np.median(level)))
        self._zero_ticks = self._knot[1]
        self._spread(period)
        return []

    def _spread(self, period: float) -> None:
        zero = self._zero_ticks
        for early in self._early:
            last = early.run.last[np.array(early.ends) - 1]
            self._time(early, (zero + period * last).tolist(), [period] * len(last))
        self._early.clear()

    def _sane(self, period: float) -> float:
        """Ticks that run wild must not turn time back: then the nominal rate."""
        nominal = self.period_nominal
        return period if 0.5 * nominal < period < 2.0 * nominal else nominal

    def _time(self, groups: Groups, end_ticks: list[float], periods: list[float]) -> None:
        """Times of each group: straight between the end of the one before and its own."""
        run, ends = groups.run, groups.ends
        index = run.indices()
        since = index.astype(np.float64)
        rows = np.array([0, *ends])
        samples = np.concatenate([[0], np.cumsum(run.count)])[rows].tolist()
        last, order = run.last[rows[1:] - 1].tolist(), run.order[rows[1:] - 1].tolist()
        ticks = run.ticks[rows[1:] - 1].tolist()
        lines: list[tuple[float, int, float]] = []  # of each group: seconds at its knot, the knot's sample, a step
        for at, (end, end_index) in enumerate(zip(end_ticks, last, strict=True)):
            knot_index, knot_ticks = self._knot
            slope = periods[at]
            if end_index > knot_index:
                slope = self._sane((end - knot_ticks) / (end_index - knot_index))
            line = self.seconds(knot_ticks), knot_index, slope / self.tick_hz
            own = since[samples[at] : samples[at + 1]]
            own -= line[1]
            own *= line[2]
            own += line[0]
            lines.append(line)
            self._knot = (end_index, knot_ticks + slope * (end_index - knot_index))
            periods[at] = self.period_ticks = self._sane(periods[at])
            self._hear(order[at])
            self._decide_start(ticks[at])
        losses = []
        for row in np.flatnonzero(run.lost).tolist():
            before = int(run.last[row] - run.count[row] - run.lost[row])
            at_knot, knot_index, step = lines[bisect_right(ends, row)]
            losses.append(
                (row, LostBefore(at_knot + (before - knot_index) * step, int(run.lost[row]), int(run.offset[row])))
            )
        period_s, numbers = np.array(periods) / self.tick_hz, np.array(last)
        changes = [at for at in range(1, len(ends)) if run.scale[ends[at] - 1] != run.scale[ends[at - 1] - 1]]
        for a, b in pairwise([0, *changes, len(ends)]):
            part, of = slice(samples[a], samples[b]), slice(a, b)
            self._waiting.append(
                Group(
                    int(run.scale[ends[a] - 1]), index[part], since[part], run.counts[part], float(period_s[b - 1]),
                    Fitted(numbers[of], period_s[of]),
                    tuple(loss for row, loss in losses if rows[a] <= row < rows[b]),
                )
            )  # fmt: skip

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


def opened(number: int, why: str, offset: int, before: Segment | None) -> Segment:
    """A new segment after `before`, the last one that has times (which lets go of its own predecessor)."""
    segment = Segment(number, why, offset)
    segment.follow(before)
    return segment
