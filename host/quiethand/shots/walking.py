"""Walking, told by the specific force going up and down with the steps; a machine that takes one slot at a time."""

from __future__ import annotations

from dataclasses import dataclass

from quiethand.shots.knock import G0

__all__ = ["Walk", "WalkWatch"]

_SWING_M_S2 = 0.05 * G0  # each side of rest: an ambling walk with the bow in the hand has twice as much
_CLAMP_M_S2 = 0.5 * G0  # a shock may not outweigh the steps
_STEP_S = (0.25, 1.3)  # from one step to the next, running to strolling
_STEPS = 3  # one swing, or a recoil, is no walk
_PAUSE_S = 1.6
_REST_S = 2.0  # time constant of what is taken as rest: an offset of the accelerometer is


@dataclass(frozen=True)
class Walk:
    """A walk that has ended, with its steps and the largest swing from rest."""

    start_s: float
    end_s: float
    steps: int
    swing_m_s2: float


class WalkWatch:
    """Fed with the mean magnitude of specific force of every 50 ms."""

    def __init__(self, slot_s: float) -> None:
        self._slot_s = slot_s
        self._rest = G0
        self._smooth = 0.0
        self._high = False
        self._steps = 0
        self._first_s = self._last_s = 0.0
        self._swing = 0.0

    @property
    def walking_since_s(self) -> float | None:
        """When the walk that is on began; None if none is."""
        return self._first_s - 0.3 if self._steps >= _STEPS else None

    def slot(self, time_s: float, force_m_s2: float) -> Walk | None:
        """Take the next slot; gives a walk when it has ended."""
        off = min(_CLAMP_M_S2, max(-_CLAMP_M_S2, force_m_s2 - self._rest))
        self._rest += off * self._slot_s / _REST_S
        self._smooth += 0.6 * (off - self._smooth)
        ended = self._ended(time_s) if self._steps and time_s - self._last_s > _PAUSE_S else None
        if self._steps:
            self._swing = max(self._swing, abs(self._smooth))
        if self._high:
            self._high = self._smooth > -_SWING_M_S2
        elif self._smooth > _SWING_M_S2:
            self._high = True
            ended = self._step(time_s) or ended
        return ended

    def _step(self, time_s: float) -> Walk | None:
        since = time_s - self._last_s
        ended = None
        if self._steps and since < _STEP_S[0]:
            return None  # shaking, or a second bounce of the same step
        if self._steps and since > _STEP_S[1]:
            ended = self._ended(time_s)
        if not self._steps:
            self._first_s, self._swing = time_s, 0.0
        self._steps += 1
        self._last_s = time_s
        return ended

    def _ended(self, time_s: float) -> Walk | None:
        steps, self._steps = self._steps, 0
        if steps < _STEPS:
            return None
        return Walk(self._first_s - 0.3, self._last_s + 0.3, steps, self._swing)

    def finish(self) -> Walk | None:
        return self._ended(self._last_s)
