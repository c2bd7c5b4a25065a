"""Draw, hold and let-down, told by how rough the motion is and by the bow's attitude; one slot at a time.

Drawing shakes the bow for a second or so without knocking it; then it is held still. A let-down shakes it again, and
then the bow is lowered, and no shock came in between.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.knock import G0

__all__ = ["DrawWatch", "LetDown"]

_ROUGH_M_S2 = 0.08 * G0  # peak-to-peak within 5 ms; a quiet arm and a cheap sensor's noise stay below
_ABOVE_QUIET = 2.2  # times the quietest quarter of the last ten seconds
_KNOCK_M_S2 = 3.0 * G0  # a draw shakes, it does not knock
_DRAW_S = 0.4  # of shaking
_HOLD_S = 0.45  # of calm
_DOWN_S = 0.2  # of shaking
_CALM_RAD_S = 0.35  # 20 deg/s, a poor gyro bias included
_LOWERED_COS = np.cos(np.radians(18.0))
_LOWER_S = 3.5  # after the shaking, or it was a second pull
_MEMORY_S = 60.0
_QUIET_SLOTS = 200


@dataclass(frozen=True)
class LetDown:
    """A hold that was given up without a shot."""

    start_s: float  # of the shaking
    held_s: float
    end_s: float


class DrawWatch:
    """Fed with the median jolt, the largest jolt, mean rate and mean force of every 50 ms."""

    def __init__(self, slot_s: float) -> None:
        self._slot_s = slot_s
        self._recent: deque[float] = deque(maxlen=5)
        self._quiet: deque[float] = deque(maxlen=_QUIET_SLOTS)
        self._level = _ROUGH_M_S2
        self._count = 0
        self._reset()

    def _reset(self) -> None:
        self._state = "idle"
        self._rough = self._calm = 0
        self._rough_from_s = self._hold_from_s = self._down_s = self._down_end_s = self._last_s = 0.0
        self._held_s = 0.0
        self._attitude = np.zeros(3)

    @property
    def drawing(self) -> bool:
        """The bow is being shaken without knocks, as by drawing it."""
        return self._state == "drawing" and self._rough * self._slot_s >= _DRAW_S

    @property
    def drawn(self) -> bool:
        """The bow is held still after a draw."""
        return self._state in ("held", "down")

    def shot(self) -> None:
        """A shot, a dry fire or a drop ends the hold."""
        self._reset()

    def slot(
        self, time_s: float, jolt: float, largest: float, rate_rad_s: float, force: NDArray[np.float64]
    ) -> LetDown | None:
        """Take the next slot; gives a let-down once the bow has been lowered."""
        self._recent.append(jolt)
        self._quiet.append(jolt)
        self._count += 1
        if self._count % 20 == 1:
            calm = float(np.partition(np.asarray(self._quiet), len(self._quiet) // 4)[len(self._quiet) // 4])
            self._level = max(_ROUGH_M_S2, _ABOVE_QUIET * calm)
        rough = sorted(self._recent)[len(self._recent) // 2] > self._level
        self._last_s = time_s
        step = getattr(self, "_" + self._state)
        found: LetDown | None = step(time_s, rough, largest, rate_rad_s, force)
        return found

    def _turned(self, force: NDArray[np.float64]) -> bool:
        size = float(np.linalg.norm(force))
        return size > 0.3 * G0 and float(force @ self._attitude) < _LOWERED_COS * size

    def _idle(self, time_s: float, rough: bool, largest: float, rate: float, force: NDArray[np.float64]) -> None:
        if rough:
            self._state, self._rough, self._calm, self._rough_from_s = "drawing", 1, 0, time_s

    def _drawing(self, time_s: float, rough: bool, largest: float, rate: float, force: NDArray[np.float64]) -> None:
        if largest > _KNOCK_M_S2:
            self._state = "idle"
        elif rough:
            self._rough, self._calm = self._rough + 1, 0
        elif self._rough * self._slot_s < _DRAW_S:
            self._calm += 1
            if self._calm > 4:
                self._state = "idle"
        else:
            self._calm = self._calm + 1 if rate < _CALM_RAD_S else 0
            if self._calm == 1:
                self._hold_from_s = time_s
            if self._calm * self._slot_s >= _HOLD_S:
                self._state, self._rough = "held", 0
                self._attitude = force / max(float(np.linalg.norm(force)), 1e-9)

    def _held(self, time_s: float, rough: bool, largest: float, rate: float, force: NDArray[np.float64]) -> None:
        if rough:
            if not self._rough:
                self._down_s, self._held_s = time_s, time_s - self._hold_from_s
            self._rough += 1
            if self._rough * self._slot_s >= _DOWN_S:
                self._state, self._down_end_s = "down", time_s
        else:
            self._rough = 0
            if self._turned(force) or time_s - self._hold_from_s > _MEMORY_S:
                self._reset()
            elif rate < _CALM_RAD_S:  # the aim wanders
                self._attitude = self._attitude + 0.05 * (force / G0 - self._attitude)
                self._attitude /= max(float(np.linalg.norm(self._attitude)), 1e-9)

    def _down(
        self, time_s: float, rough: bool, largest: float, rate: float, force: NDArray[np.float64]
    ) -> LetDown | None:
        if rough:
            self._down_end_s = time_s
        if self._turned(force):
            found = LetDown(self._down_s, self._held_s, time_s)
            self._reset()
            return found
        if time_s - self._down_end_s > _LOWER_S:
            self._state, self._rough = "held", 0
        return None
