"""Draw, hold and let-down, told by how the motion shakes and by the bow's attitude; a machine fed with slots of 50 ms.

Drawing shakes the bow for a second or so without knocking it; then it is held still. A let-down shakes it again, and
then the bow is lowered, and no shock came in between.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.knock import G0

__all__ = ["DrawWatch", "LetDown"]

# The level of shaking is the sway of specific force within a fifth of a second. Tremor of a hold is 0.01 to 0.02 g,
# drawing 0.04 g and more; a poor sensor's noise or an unsteady archer lifts the floor.
_FLOOR_M_S2 = 0.024 * G0
_ABOVE_QUIET = 1.8  # times the quietest quarter of the last ten seconds
_QUIET_SLOTS = 200
_MEDIAN_SLOTS = 5
_KNOCK_M_S2 = 3.0 * G0  # a draw shakes, it does not knock; neither does a let-down
_DRAW_SLOTS = 8  # of shaking
_GAP_SLOTS = 4  # of calm within a draw
_HOLD_SLOTS = 9  # of calm: under half a second no one aims
_DOWN_SLOTS = 4  # of shaking
_CALM_RAD_S = 0.35  # 20 deg/s, a poor gyro bias included
_LOWERED_COS = math.cos(math.radians(18.0))
_LOWER_S = 3.5  # after the shaking, or it was a second pull
_MEMORY_S = 60.0
_SLOT_S = 0.06
_FOLLOW = 0.05  # share of each slot by which a wandering aim is followed


@dataclass(frozen=True)
class LetDown:
    """A hold that was given up without a shot."""

    start_s: float  # of the shaking
    held_s: float
    end_s: float
    attitude: tuple[float, float, float]  # of the hold: which way the sensor felt up


class DrawWatch:
    """Fed with the shaking, the largest jolt, mean rate and mean force of every 50 ms."""

    def __init__(self) -> None:
        self._shakes = np.empty(0)
        self._drew: deque[tuple[float, float]] = deque(maxlen=4)  # draws and holds of late, from and until
        self._held: deque[tuple[float, float]] = deque(maxlen=4)
        self._idle()

    def _idle(self) -> None:
        self._state = "idle"
        self._rough = self._calm = 0
        self._from_s = self._rough_s = self._down_s = self._held_s = self._last_s = 0.0
        self._attitude = (0.0, 0.0, 0.0)

    def drawing(self, time_s: float) -> bool:
        """The bow was being shaken without knocks, as by drawing it, up to this time."""
        now = self._state == "drawing" and self._rough >= _DRAW_SLOTS and self._rough_s <= time_s
        return now or any(a <= time_s <= b for a, b in self._drew)

    def drawn(self, time_s: float) -> bool:
        """The bow was held still after a draw, up to this time."""
        now = self._state in ("held", "down") and self._from_s <= time_s
        return now or any(a <= time_s <= b for a, b in self._held)

    def shot(self) -> None:
        """A shot, a dry fire or a drop ends the hold."""
        self._leave(self._last_s)

    def _leave(self, time_s: float) -> None:
        until_s = time_s + _SLOT_S  # slots are named by their start; what ended it lies within
        if self._state in ("held", "down"):
            self._held.append((self._from_s, until_s))
        elif self._state == "drawing" and self._rough >= _DRAW_SLOTS:
            self._drew.append((self._rough_s, until_s))
        self._idle()

    def take(
        self,
        time_s: NDArray[np.float64],
        shake: NDArray[np.float64],
        largest: NDArray[np.float64],
        rate_rad_s: NDArray[np.float64],
        force: NDArray[np.float64],
    ) -> list[LetDown]:
        """Take the next slots, shapes (n,) and force (n, 3); gives the let-downs, once the bow has been lowered."""
        joined = np.concatenate([self._shakes, shake])
        lead = len(self._shakes)
        self._shakes = joined[-_QUIET_SLOTS:]
        quarter = len(self._shakes) // 4
        level = max(_FLOOR_M_S2, _ABOVE_QUIET * float(np.partition(self._shakes, quarter)[quarter]))
        padded = np.concatenate(
            [np.zeros(max(0, _MEDIAN_SLOTS - 1 - lead)), joined[max(0, lead - _MEDIAN_SLOTS + 1) :]]
        )
        windows = np.lib.stride_tricks.sliding_window_view(padded, _MEDIAN_SLOTS)
        rough = (windows > level).sum(axis=1) > _MEDIAN_SLOTS // 2  # their median is over the level
        if self._state == "idle" and not rough.any():
            return []
        out = []
        rows = zip(time_s.tolist(), rough.tolist(), largest.tolist(), rate_rad_s.tolist(), force.tolist(), strict=True)
        for slot in rows:
            found = self._slot(*slot)
            if found:
                out.append(found)
        return out

    def _slot(self, time_s: float, rough: bool, largest: float, rate: float, force: Sequence[float]) -> LetDown | None:
        self._last_s = time_s
        if self._state == "idle":
            if rough:
                self._state, self._rough, self._calm, self._rough_s = "drawing", 1, 0, time_s
        elif largest > _KNOCK_M_S2:
            self._leave(time_s)
        elif self._state == "drawing":
            self._drawing(time_s, rough, rate, force)
        elif self._state == "held":
            self._holding(time_s, rough, rate, force)
        else:
            return self._down(time_s, rough, force)
        return None

    def _drawing(self, time_s: float, rough: bool, rate: float, force: Sequence[float]) -> None:
        if rough:
            self._rough, self._calm = self._rough + 1, 0
        elif self._rough < _DRAW_SLOTS:
            self._calm += 1
            if self._calm > _GAP_SLOTS:
                self._idle()
        else:
            self._calm = self._calm + 1 if rate < _CALM_RAD_S else 0
            if self._calm == 1:
                self._from_s = time_s
            if self._calm >= _HOLD_SLOTS:
                self._drew.append((self._rough_s, self._from_s))
                self._state, self._rough = "held", 0
                self._attitude = _unit(force)

    def _holding(self, time_s: float, rough: bool, rate: float, force: Sequence[float]) -> None:
        if rough:
            if not self._rough:
                self._down_s, self._held_s = time_s, time_s - self._from_s
            self._rough += 1
            if self._rough >= _DOWN_SLOTS:
                self._state, self._rough_s = "down", time_s
            return
        self._rough = 0
        if self._turned(force) or time_s - self._from_s > _MEMORY_S:
            self._leave(time_s)
        elif rate < _CALM_RAD_S:  # the aim wanders
            up = _unit(force)
            self._attitude = _unit([a + _FOLLOW * (u - a) for a, u in zip(self._attitude, up, strict=True)])

    def _down(self, time_s: float, rough: bool, force: Sequence[float]) -> LetDown | None:
        if rough:
            self._rough_s = time_s
        if self._turned(force):
            found = LetDown(self._down_s, self._held_s, time_s, self._attitude)
            self._leave(time_s)
            return found
        if time_s - self._rough_s > _LOWER_S:
            self._state, self._rough = "held", 0
        return None

    def _turned(self, force: Sequence[float]) -> bool:
        x, y, z = force
        size = math.sqrt(x * x + y * y + z * z)
        a, b, c = self._attitude
        return size > 0.3 * G0 and x * a + y * b + z * c < _LOWERED_COS * size


def _unit(force: Sequence[float]) -> tuple[float, float, float]:
    x, y, z = force
    size = max(math.sqrt(x * x + y * y + z * z), 1e-9)
    return x / size, y / size, z / size
