"""Walking, told by the specific force going to and fro with the steps; a machine that takes slots of 50 ms."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.knock import G0

__all__ = ["Walk", "WalkWatch"]

_SWING_M_S2 = 0.08 * G0  # each side of the mean; a bow carried in the hand swings twice as much, a held one a tenth
_CLAMP_M_S2 = 0.5 * G0  # a shock may not outweigh the steps
_STEP_S = (0.25, 1.3)  # from one step to the next, running to strolling; strides as well
_STEPS = 3  # one swing is no walk, nor are two; to the target line it may be a handful
_EVEN = 1.5  # longest over shortest of two steps: a gait is regular, handling is not
_PAUSE_S = 1.6
_MEAN_SLOTS = 20  # a second: slower turns of the bow are taken off
_SMOOTH_SLOTS = 3


@dataclass(frozen=True)
class Walk:
    """A walk that has ended, with its steps and the largest swing from rest."""

    start_s: float
    end_s: float
    steps: int
    swing_m_s2: float


class WalkWatch:
    """Fed with the mean specific force of every 50 ms; each axis by itself, for the mount may be any."""

    def __init__(self) -> None:
        self._axes = tuple(_Axis() for _ in range(3))
        self._kept: list[Walk] = []  # ended on one axis, going on on another
        self._recent = np.empty((0, 3))

    @property
    def walking_since_s(self) -> float | None:
        """When the walk that is on began; None if none is."""
        return min((a.first_s - 0.3 for a in self._axes if a.walks), default=None)

    def take(self, time_s: NDArray[np.float64], force_m_s2: NDArray[np.float64]) -> list[Walk]:
        """Take the next slots, shapes (n,) and (n, 3); gives the walks that have ended on every axis."""
        off = self._swing(force_m_s2)
        out: list[Walk] = []
        ended: list[tuple[float, Walk]] = []
        for k, axis in enumerate(self._axes):
            outside = np.flatnonzero(np.abs(off[:, k]) > _SWING_M_S2)
            for row in outside.tolist():
                walk = axis.swing(float(time_s[row]), float(off[row, k]))
                if walk:
                    ended.append((float(time_s[row]), walk))
            late = axis.pause(float(time_s[-1]))
            if late:
                ended.append((float(time_s[-1]), late))
        self._kept.extend(walk for _, walk in sorted(ended, key=lambda e: e[0]))
        if self._kept and not any(a.walks for a in self._axes):
            out.append(self._merged())
        return out

    def _swing(self, force: NDArray[np.float64]) -> NDArray[np.float64]:
        """What is left of the slots' force after their mean over the last second, smoothed a little, shape (n, 3)."""
        joined = np.concatenate([self._recent, force])
        lead = len(joined) - len(force)
        self._recent = joined[-(_MEAN_SLOTS + _SMOOTH_SLOTS) :]
        summed = np.concatenate([np.zeros((1, 3)), np.cumsum(joined, axis=0)])
        end = np.arange(lead + 1, len(joined) + 1)
        a, b = np.maximum(end - _MEAN_SLOTS, 0), np.maximum(end - _SMOOTH_SLOTS, 0)
        mean = (summed[end] - summed[a]) / (end - a)[:, None]
        off: NDArray[np.float64] = (summed[end] - summed[b]) / (end - b)[:, None] - mean
        return off

    def _merged(self) -> Walk:
        """The walk with most steps, over the time of all."""
        kept, self._kept = self._kept, []
        most, swing = max(w.steps for w in kept), max(w.swing_m_s2 for w in kept)
        return Walk(min(w.start_s for w in kept), max(w.end_s for w in kept), most, swing)

    def finish(self) -> list[Walk]:
        self._kept.extend(w for w in (a.end() for a in self._axes) if w)
        return [self._merged()] if self._kept else []


class _Axis:
    """Counts upward swings that come at an even pace on one axis."""

    def __init__(self) -> None:
        self._high = False
        self._times: deque[float] = deque(maxlen=_STEPS)
        self._steps = 0
        self.first_s = 0.0
        self._swing = 0.0

    @property
    def walks(self) -> bool:
        return self._steps >= _STEPS

    def swing(self, time_s: float, off_m_s2: float) -> Walk | None:
        """A slot that is further from the mean than the threshold, to either side."""
        ended = self.pause(time_s)
        self._swing = max(self._swing, min(abs(off_m_s2), _CLAMP_M_S2))
        if self._high:
            self._high = off_m_s2 > 0
            return ended
        if off_m_s2 < 0:
            return ended
        self._high = True
        since = time_s - self._times[-1] if self._times else _STEP_S[0]
        if since < _STEP_S[0]:
            return ended  # shaking, or a second bounce of the same step
        if since > _STEP_S[1]:
            ended = self.end() or ended
        self._times.append(time_s)
        if self.walks:
            self._steps += 1
        elif len(self._times) == _STEPS:
            gaps = np.diff(self._times)
            if gaps.max() <= _EVEN * gaps.min():
                self._steps, self.first_s = _STEPS, self._times[0]
        return ended

    def pause(self, time_s: float) -> Walk | None:
        """The walk, if it is over by now."""
        return self.end() if self._times and time_s - self._times[-1] > _PAUSE_S else None

    def end(self) -> Walk | None:
        if not self._times:
            return None
        last, steps, walked, swing = self._times[-1], self._steps, self.walks, self._swing
        self._times.clear()
        self._steps, self._swing = 0, 0.0
        return Walk(self.first_s - 0.3, last + 0.3, steps, swing) if walked else None
