"""Finding shots in hours of anything, and listing with its reason everything else that could have been one.

Blocks in, candidates and rejections out. The work goes in steps of a second that lie at fixed sample numbers, so
that how the motion is cut into blocks changes nothing. A cheap summary (`cells`) runs over all samples; only what
leaps out of it (`alarms`) is looked at sample by sample (`knock`) and judged (`verdict`, `reasons`).
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from itertools import pairwise

import numpy as np

from quiethand.bow.launch import Launch
from quiethand.bow.model import Setup
from quiethand.motion.block import MotionBlock
from quiethand.shots.alarms import AlarmWatch, Event
from quiethand.shots.candidate import Candidate
from quiethand.shots.cells import CellTable, cell_length, summarise
from quiethand.shots.drawing import DrawWatch, LetDown
from quiethand.shots.history import History
from quiethand.shots.inspection import Found, Inspector
from quiethand.shots.model import Rejected
from quiethand.shots.pending import Pending
from quiethand.shots.sway import SWAY_S, sway
from quiethand.shots.walking import WalkWatch

__all__ = ["ShotFinder"]

_SLOT_S = 0.05
_SLOTS_IN_STEP = 20  # a second: fewer and larger pieces are quicker, and no one waits for less
_SWAY_SLOTS = round(SWAY_S / _SLOT_S)
_AIM_SINE = 0.6  # the arrow within 37 deg of level
_AIM_COS = 0.8  # within 37 deg of the last shot's
_AIM_S = 1.0
_SLOW_STEPS = 4  # of the slow watches, unless something is to be looked at
_BREAK_S = 0.5  # a hole so long ends a run: nothing is judged across it, and no step is ever empty
_KEEP_S = 12.0  # 8 s before a release, an event of 1 s, the look before it, and some room
_AFTER_S = 0.45  # wanted behind a departure


class ShotFinder:
    """Takes blocks in order and gives shots and rejections as soon as they can be told.

    Args:
        setup: what the user stated; its arrow and virtual mass bound a dry fire.
        launch: the launch model of this bow and arrow, None where it is not known; its time on the string too bounds a
            dry fire, and places the release where the push can't.
    """

    def __init__(self, setup: Setup | None = None, launch: Launch | None = None) -> None:
        self._time_on_string_s = launch.time_on_string_s if launch else None
        self._setup = setup
        self._history = History()
        self._out: list[Candidate | Rejected] = []
        self._running = False
        self._segment = -1
        self._next = 0  # sample number that is wanted next
        self._last_s = 0.0

    def feed(self, block: MotionBlock) -> list[Candidate | Rejected]:
        """Take the next block; gives what could be decided by now, in the order of deciding."""
        for piece in _unbroken(block):
            self._take(piece)
        return self._drain()

    def finish(self) -> list[Candidate | Rejected]:
        """The recording has ended: give what is left."""
        self._close()
        return self._drain()

    def _drain(self) -> list[Candidate | Rejected]:
        out, self._out = self._out, []
        return out

    def _take(self, block: MotionBlock) -> None:
        first, period = int(block.index[0]), block.period_s
        hole = first - self._next > _BREAK_S / period or float(block.time_s[0]) - self._last_s > _BREAK_S
        if not self._running or block.segment != self._segment or hole or first < self._next:
            self._close()
            self._open(block)
        self._history.add(block)
        self._mount_stated = block.mount_stated
        self._next, self._last_s = int(block.index[-1]) + 1, float(block.time_s[-1])
        while self._next >= self._step_end * self._length:
            self._step(self._step_end)

    def _open(self, block: MotionBlock) -> None:
        self._running, self._segment = True, block.segment
        self._length = cell_length(block.period_s)
        cell_s = self._length * block.period_s
        self._slot_cells = max(1, round(_SLOT_S / cell_s))
        self._step_cells = self._slot_cells * _SLOTS_IN_STEP
        self._keep_cells = round(_KEEP_S / cell_s)
        self._after_cells = round(_AFTER_S / cell_s)
        start = -(-int(block.index[0]) // self._length)  # the first whole cell
        self._done = start
        self._step_end = start + self._step_cells
        self._slow_done = start  # the slow watches have seen the cells before this
        self._table = CellTable.empty(start)
        self._alarms = AlarmWatch(cell_s)
        self._waiting: deque[Event] = deque()
        self._walks, self._draws = WalkWatch(), DrawWatch()
        self._pending = Pending()
        self._inspector = Inspector(self._history, self._length, self._setup, self._time_on_string_s)

    def _close(self) -> None:
        if not self._running:
            return
        last_cell = self._next // self._length
        if last_cell > self._done:
            self._step(last_cell)
        self._slots()
        self._waiting.extend(self._alarms.finish())
        self._inspect(at_end=True)
        for walk in self._walks.finish():
            self._pending.walk(walk)
        self._out.extend(self._pending.flush())
        self._history.clear()
        self._running = False

    def _step(self, end: int) -> None:
        """Take the cells from the last done to cell `end`."""
        start, count = self._done, end - self._done
        index, time_s, force, rate = self._history.samples(start * self._length, end * self._length)
        fresh = summarise(start, count, self._length, index, time_s, force, rate)
        self._table = self._table.joined(fresh, self._keep_cells)
        self._done, self._step_end = end, end + self._step_cells
        self._waiting.extend(self._alarms.take(self._table, start))
        if self._due() or end - self._slow_done >= _SLOW_STEPS * self._step_cells:
            self._slots()
            self._inspect(at_end=False)
            self._out.extend(self._pending.ready(float(self._table.time_s[-1]), self._walks.walking_since_s))
        self._history.forget_before(self._table.first * self._length)

    def _slots(self) -> None:
        """Feed the two slow watches with what every 50 ms since the last time came to."""
        k, table = self._slot_cells, self._table
        start = max(self._slow_done, table.first)
        n = (table.end - start) // k
        self._slow_done = start + n * k
        if not n:
            return
        rows = table.rows(start, self._slow_done)
        cells = table.force_m_s2[rows].reshape(n, k, 3)
        force, rate = cells.mean(axis=1), table.rate_rad_s[rows].reshape(n, k, 3).mean(axis=1)
        turn = np.sqrt(np.einsum("ij,ij->i", rate, rate))
        width = _SWAY_SLOTS * k
        lead = min(rows.start, width - k)  # the window of a slot ends with it
        shake = sway(table.force_m_s2[rows.start - lead : rows.stop], width, k)
        shake = np.concatenate([np.zeros(n - len(shake)), shake])
        times = table.time_s[rows][::k]
        for walk in self._walks.take(times, force):
            self._pending.walk(walk)
        for down in self._draws.take(times, shake, table.jolt_m_s2[rows].reshape(n, k).max(axis=1), turn, force):
            if self._walks.walking_since_s is None and self._aimed(down):
                self._pending.let_down(down)

    def _aimed(self, down: LetDown) -> bool:
        """The hold was at the attitude of shooting, as the mount or the last shot tells it; else by its length."""
        up = np.array(down.attitude)
        if self._mount_stated:
            return abs(float(up[0])) < _AIM_SINE
        if self._inspector.attitude is not None:
            return float(up @ self._inspector.attitude) > _AIM_COS
        return down.held_s >= _AIM_S

    def _due(self) -> bool:
        """An event has all the motion after it that is wanted."""
        return bool(self._waiting) and self._done >= self._waiting[0].last + self._after_cells

    def _inspect(self, *, at_end: bool) -> None:
        """Look at the events that have all the motion after them that they are going to get."""
        while self._waiting and (at_end or self._due()):
            event = self._waiting.popleft()
            found = self._inspector.look(event, self._table, self._draws, self._next, at_end=at_end)
            if found is not None:
                self._keep(found)

    def _keep(self, found: Found) -> None:
        if isinstance(found, Candidate):
            self._draws.shot()
            self._pending.shot(found.release_s, found.departure_s)
            self._out.append(found)
            return
        if found.rejected.reason in ("dry_fire", "drop"):
            self._draws.shot()
        if found.rejected.reason == "dry_fire":
            self._pending.shot(found.rejected.time_s, found.rejected.time_s)
            self._out.append(found.rejected)  # a caution does not wait
        else:
            self._pending.knock(found)


def _unbroken(block: MotionBlock) -> list[MotionBlock]:
    """The block cut at the holes that break a run, which a block may span."""
    n = len(block)
    if not n:
        return []
    whole = int(block.index[-1] - block.index[0]) + 1 == n
    if whole and block.time_s[-1] - block.time_s[0] < n * block.period_s + _BREAK_S:
        return [block]
    holes = (np.diff(block.index) > _BREAK_S / block.period_s) | (np.diff(block.time_s) > _BREAK_S)
    if not holes.any():
        return [block]
    cuts = [0, *(np.flatnonzero(holes) + 1).tolist(), n]
    fields = ("index", "time_s", "specific_force_m_s2", "rate_rad_s", "accel_clipped", "gyro_clipped")
    return [replace(block, **{f: getattr(block, f)[a:b] for f in fields}) for a, b in pairwise(cuts)]
