"""Rejections that wait a few seconds, until it is known whether they belong to a shot, a walk or a let-down."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from quiethand.shots.drawing import LetDown
from quiethand.shots.knock import G0
from quiethand.shots.model import Rejected
from quiethand.shots.walking import Walk

__all__ = ["KnockFound", "Pending"]

_WAIT_S = 8.0  # a let-down is known 4 s after it began, a walk after 4 steps; both are looked for every 4 s
_FOOTFALL_M_S2 = 4.0 * G0  # steps felt at the bow, and the bow against a leg
_SHAKE_M_S2 = 3.0 * G0  # jerks of a let-down, a trigger's click in it
_CLICK_M_S2 = 1.5 * G0
_CLICK_S = 1.5  # a clicker falls, a trigger clicks, then the shot
_FALL_S = 1.0  # from a shelf of 5 m
_SHOT_KNOWN_S = 2.5  # after its shock, at the latest
_FEW_STEPS, _RECOIL_SWINGS_S = 4, 1.0  # a bow that swings in the sling after a shot
_RECOIL_S = 0.6  # the bow jumps in the hand, and swings against something


@dataclass(frozen=True)
class KnockFound:
    """A knock that was not a shot, with how hard it was."""

    rejected: Rejected
    peak_m_s2: float


class Pending:
    """What waits, oldest first."""

    def __init__(self) -> None:
        self._knocks: deque[KnockFound] = deque()
        self._downs: deque[LetDown] = deque()
        self._done: list[Rejected] = []
        self._shot_s = -1e9

    def knock(self, found: KnockFound) -> None:
        if found.rejected.reason == "drop":  # what was let go of swings, and leaves the hand with a jerk
            self._drop(found.rejected.time_s - _FALL_S, found.rejected.time_s, _SHAKE_M_S2)
        since = found.rejected.time_s - self._shot_s
        if found.rejected.reason in ("tap", "no_push", "set_down", "draw", "edge", "nock") and 0 <= since < _RECOIL_S:
            return
        self._knocks.append(found)

    def shot(self, release_s: float, departure_s: float) -> None:
        """Clicks just before a shot, and what its recoil brings, belong to it."""
        self._shot_s = departure_s
        self._drop(release_s - _CLICK_S, release_s + 0.02, _CLICK_M_S2)
        self._drop(departure_s, departure_s + _RECOIL_S, float("inf"))
        self._downs = deque(d for d in self._downs if not d.start_s - 0.3 <= departure_s <= d.end_s + 0.3)

    def walk(self, walk: Walk) -> None:
        if walk.steps <= _FEW_STEPS and walk.start_s < self._shot_s + _RECOIL_SWINGS_S and walk.end_s > self._shot_s:
            return
        self._drop(walk.start_s - 0.3, walk.end_s + 0.3, _FOOTFALL_M_S2)
        text = (
            f"walking for {walk.end_s - walk.start_s:.1f} s: {walk.steps} steps, specific force swinging by"
            f" {walk.swing_m_s2 / G0:.2f} g either way"
        )
        self._done.append(Rejected(walk.start_s, "walk", text))

    def let_down(self, down: LetDown) -> None:
        self._drop(down.start_s - 0.3, down.end_s + 0.3, _SHAKE_M_S2)
        self._downs.append(down)

    def _drop(self, start_s: float, end_s: float, below_m_s2: float) -> None:
        self._knocks = deque(
            k
            for k in self._knocks
            if not (
                start_s <= k.rejected.time_s <= end_s
                and k.peak_m_s2 < below_m_s2
                and k.rejected.reason in ("tap", "no_push", "nock", "draw", "edge", "set_down")
            )
        )

    def ready(self, now_s: float, walking_since_s: float | None) -> list[Rejected]:
        """What has waited long enough; footfalls of a walk that is on go with it."""
        if walking_since_s is not None:
            self._drop(walking_since_s - 0.3, now_s, _FOOTFALL_M_S2)
        while self._downs and now_s - self._downs[0].end_s > _SHOT_KNOWN_S:
            self._done.append(_told(self._downs.popleft()))
        out, self._done = self._done, []
        while self._knocks and now_s - self._knocks[0].rejected.time_s > _WAIT_S:
            out.append(self._knocks.popleft().rejected)
        return out

    def flush(self) -> list[Rejected]:
        """All that is left, at the end of a run."""
        out = [*self._done, *(_told(d) for d in self._downs), *(k.rejected for k in self._knocks)]
        self._done, self._knocks, self._downs = [], deque(), deque()
        return sorted(out, key=lambda r: r.time_s)


def _told(down: LetDown) -> Rejected:
    text = f"drawn, held for {down.held_s:.1f} s, let down with a shake and lowered; no shock came"
    return Rejected(down.start_s, "let_down", text)
