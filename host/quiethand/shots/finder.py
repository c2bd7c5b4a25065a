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
from numpy.typing import NDArray

from quiethand.bow.launch import Launch
from quiethand.bow.model import Setup
from quiethand.motion.block import MotionBlock
from quiethand.shots.alarms import JOLT_M_S2, AlarmWatch, Event
from quiethand.shots.candidate import Candidate
from quiethand.shots.cells import CellTable, cell_length, summarise
from quiethand.shots.drawing import DrawWatch, LetDown
from quiethand.shots.history import History
from quiethand.shots.inspection import Found, Inspector
from quiethand.shots.model import Rejected
from quiethand.shots.pending import Pending
from quiethand.shots.slots import SLOT_S, Slots, Slotter
from quiethand.shots.still import StillTracker
from quiethand.shots.walking import WalkWatch

__all__ = ["ShotFinder"]

_SLOTS_IN_STEP = 20  # a second: fewer and larger pieces are quicker, and no one waits for less
_AIM_SINE = 0.6  # the arrow within 37 deg of level
_AIM_COS = 0.8  # within 37 deg of the last shot's
_AIM_S = 1.0
_SLOW_STEPS = 4  # of the slow watches, unless something is to be looked at
_BREAK_S = 0.5  # a hole so long ends a run: nothing is judged across it, and no step is ever empty
_KEEP_S = 12.0  # 8 s before a release, an event of 1 s, the look before it, and some room
_AFTER_S = 0.5  # wanted behind a departure: all of a window, so that a recording that ends soon after shows the same


class ShotFinder:
    """Takes blocks in order and gives shots and rejections as soon as they can be told.

    Args:
        setup: what the user stated; its arrow and virtual mass bound a dry fire.
        launch: the launch model of this bow and arrow, None where it is not known; its time on the string too bounds a
            dry fire, and places the release where the push can't.
        still: follows the gyro's bias and noise; each candidate brings what it knew at the release.
    """

    def __init__(
        self, setup: Setup | None = None, launch: Launch | None = None, still: StillTracker | None = None
    ) -> None:
        self._still = StillTracker() if still is None else still
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
        if len(block):
            goes_on = self._running and block.segment == self._segment
            for piece in _unbroken(block, self._period_s if goes_on else block.period_at(int(block.index[0]))):
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
        first = int(block.index[0])
        if self._running:
            hole = first - self._next > _BREAK_S / self._period_s or float(block.time_s[0]) - self._last_s > _BREAK_S
            if block.segment != self._segment or hole or first < self._next:
                self._close()
        if not self._running:
            self._open(block)
        self._history.add(block)
        self._mount_stated, self._bandwidth_hz = block.mount_stated, block.gyro_bandwidth_hz
        self._next, self._last_s = int(block.index[-1]) + 1, float(block.time_s[-1])
        steps = (self._next // self._length - self._done) // self._step_cells
        if steps > 0:
            self._steps(self._done + steps * self._step_cells)

    def _open(self, block: MotionBlock) -> None:
        self._running, self._segment = True, block.segment
        # one period for the whole run, so that nothing hangs on where a block ends
        self._period_s = block.period_at(int(block.index[0]))
        self._length = cell_length(self._period_s)
        cell_s = self._length * self._period_s
        self._slot_cells = max(1, round(SLOT_S / cell_s))
        self._step_cells = self._slot_cells * _SLOTS_IN_STEP
        self._keep_cells = round(_KEEP_S / cell_s)
        self._after_cells = round(_AFTER_S / cell_s)
        self._start = -(-int(block.index[0]) // self._length)  # the first whole cell
        self._done = self._start
        self._slow_done = self._start  # the slow watches have seen the cells before this
        self._cells = self._table = CellTable.empty(self._start)
        self._alarms = AlarmWatch(cell_s)
        self._waiting: deque[Event] = deque()
        self._slotter = Slotter(self._slot_cells)
        self._slots: Slots | None = None
        self._still.begin(self._period_s)
        self._walks, self._draws = WalkWatch(), DrawWatch()
        self._pending = Pending()
        self._inspector = Inspector(self._history, self._length, self._setup, self._time_on_string_s)

    def _close(self) -> None:
        if not self._running:
            return
        last_cell = self._next // self._length
        if last_cell > self._done:
            self._steps(last_cell)
        self._look_slowly()
        self._waiting.extend(self._alarms.finish())
        self._inspect(at_end=True)
        for walk in self._walks.finish():
            self._pending.walk(walk)
        self._out.extend(self._pending.flush())
        self._history.clear()
        self._running = False

    def _steps(self, end: int) -> None:
        """Take the cells from the last done to cell `end`: all are summed up at once, and then decided on by steps."""
        start = self._done
        fresh = self._summed(start, end)
        self._cells = self._cells.joined(fresh)
        late = self._slots
        self._slots = self._slotter.take(fresh)
        if late is not None:
            self._slots = late.after((self._slow_done - self._start) // self._slot_cells).joined(self._slots)
        loud = deque((start + np.flatnonzero(fresh.jolt_m_s2 > JOLT_M_S2)).tolist())
        while self._done < end:
            before, self._done = self._done, min(end, self._done + self._step_cells)
            heard = bool(loud) and loud[0] < self._done
            while loud and loud[0] < self._done:
                loud.popleft()
            if heard or self._alarms.open_since is not None:
                self._waiting.extend(self._alarms.take(self._view(), before))
            if self._due() or self._done - self._slow_done >= _SLOW_STEPS * self._step_cells:
                self._look_slowly()
                self._inspect(at_end=False)
                now_s = float(self._cells.time_s[self._done - 1 - self._cells.first])
                self._out.extend(self._pending.ready(now_s, self._walks.walking_since_s))
        self._cells = self._cells.between(end - self._keep_cells, end)
        self._history.forget_before(self._cells.first * self._length)

    def _view(self) -> CellTable:
        """The cells of the last seconds as known so far, which is to the end of this step."""
        self._table = self._cells.between(self._done - self._keep_cells, self._done)
        return self._table

    def _summed(self, start: int, end: int) -> CellTable:
        """Cells start to end, the steps in which the calibration changes by themselves: they are summed up in SI."""
        parts = self._history.parts(start * self._length, end * self._length)
        step, cuts = self._step_cells, {start, end}
        for one, other in pairwise(parts):
            if one.calibration is not other.calibration or one.numbers.dtype != other.numbers.dtype:
                before = start + (int(other.index[0]) // self._length - start) // step * step
                cuts |= {before, min(end, before + step)}
        out = CellTable.empty(start)
        for a, b in pairwise(sorted(cuts)):
            within = parts if len(cuts) == 2 else self._history.parts(a * self._length, b * self._length)
            if not within or int(within[0].index[0]) > a * self._length:
                stand_in = self._history.last_before(a * self._length)
                within = within if stand_in is None else [stand_in, *within]
            if any(part.calibration is not within[0].calibration for part in within):
                within = [replace(part) for part in within]
            out = out.joined(summarise(a, b - a, self._length, within))
        return out

    def _look_slowly(self) -> None:
        """Feed the slow watches with what every 50 ms since the last time came to."""
        if self._slots is None:
            return
        k, known = self._slot_cells, self._slots.first
        first, last = (self._slow_done - self._start) // k, (self._done - self._start) // k
        slots = self._slots.rows(slice(first - known, last - known))
        self._slow_done = self._start + last * k
        if not len(slots.time_s):
            return
        self._still.take(slots, self._bandwidth_hz, self._rates)
        for walk in self._walks.take(slots.time_s, slots.force_m_s2):
            self._pending.walk(walk)
        for down in self._draws.take(
            slots.time_s, slots.shake_m_s2, slots.jolt_m_s2, slots.turn_rad_s, slots.force_m_s2
        ):
            if self._walks.walking_since_s is None and self._aimed(down):
                self._pending.let_down(down)

    def _rates(self, start: int, stop: int) -> NDArray[np.float64]:
        """Rates received in slots [start, stop)."""
        size = self._slot_cells * self._length
        origin = self._start * self._length
        parts = self._history.parts(origin + start * size, origin + stop * size)
        return np.concatenate([part.rate_rad_s for part in parts]) if parts else np.empty((0, 3))

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
            end = self._next if at_end else self._done * self._length
            found = self._inspector.look(event, self._view(), self._draws, end, at_end=at_end)
            if found is not None:
                self._keep(found)

    def _keep(self, found: Found) -> None:
        if isinstance(found, Candidate):
            self._draws.shot()
            self._pending.shot(found.release_s, found.departure_s)
            self._out.append(replace(found, still=self._still.state_at(found.release_s)))
            return
        if found.rejected.reason in ("dry_fire", "drop"):
            self._draws.shot()
        if found.rejected.reason == "dry_fire":
            self._pending.shot(found.rejected.time_s, found.rejected.time_s)
            self._out.append(found.rejected)  # a caution does not wait
        else:
            self._pending.knock(found)


def _unbroken(block: MotionBlock, period_s: float) -> list[MotionBlock]:
    """The block cut at the holes that break a run, which a block may span."""
    n, most = len(block), _BREAK_S / period_s
    steps = int(block.index[-1] - block.index[0])
    if steps + 1 - n < most - 1 and block.time_s[-1] - block.time_s[0] < steps * period_s + 0.5 * _BREAK_S:
        return [block]
    holes = (np.diff(block.index) > most) | (np.diff(block.time_s) > _BREAK_S)
    if not holes.any():
        return [block]
    cuts = [0, *(np.flatnonzero(holes) + 1).tolist(), n]
    return [block.part(slice(a, b)) for a, b in pairwise(cuts)]
