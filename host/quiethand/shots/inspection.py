"""One event looked at sample by sample: a shot with its window, or a knock with its reason, or nothing worth a line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quiethand.bow.model import Setup
from quiethand.shots.alarms import Event
from quiethand.shots.candidate import Candidate
from quiethand.shots.cells import CellTable
from quiethand.shots.draw_end import draw_end
from quiethand.shots.drawing import DrawWatch
from quiethand.shots.history import Grid, History
from quiethand.shots.knock import G0, Knock, Push, sharpness, shock_about, without_glitches
from quiethand.shots.pending import KnockFound
from quiethand.shots.reasons import Look, reason_of
from quiethand.shots.verdict import (
    before,
    best_push,
    falling,
    is_dry_fire,
    is_lost_shot,
    is_shot,
    least_push_s,
    swinging,
)

__all__ = ["Found", "Inspector"]

Found = Candidate | KnockFound

_LEAD_S, _TRAIL_S = 0.32, 0.12
_WINDOW_BEFORE_S, _WINDOW_AFTER_S = 8.0, 0.5
_VISIBLE = 0.61  # of the time on the string, from a tenth of the push to the shock
_TIME_RANGE_S = (0.009, 0.028)
_SAME_ATTITUDE_COS = np.cos(np.radians(15.0))
_DRY_HZ = 900.0  # slower, and an empty bow's push is three samples: only out of a hold
_SLOWEST_HZ = 400.0  # fewer samples can't tell a push from the rise of a knock


@dataclass(frozen=True)
class _Seen:
    knock: Knock
    push: Push | None
    lost: int
    onset: int


class Inspector:
    """Looks at events of one run."""

    def __init__(self, history: History, length: int, setup: Setup | None, time_on_string_s: float | None) -> None:
        self._history, self._length = history, length
        self._setup, self._time_on_string_s = setup, time_on_string_s
        self.attitude: NDArray[np.float64] | None = None  # of the last shot

    def _least_s(self, push: Push) -> float:
        return least_push_s(self._setup, self._time_on_string_s, push)

    def look(self, event: Event, table: CellTable, draws: DrawWatch, end: int, *, at_end: bool) -> Found | None:
        """What the event was; `end` is the number of the sample after the last one received."""
        cells = event.loudest()
        period = (table.time_s[-1] - table.time_s[0]) / max(1, (len(table) - 1) * self._length)
        grid = self._history.grid(
            event.first * self._length - round(_LEAD_S / period),
            (cells[-1] + 1) * self._length + round(_TRAIL_S / period),
        )
        if grid is None:
            return None
        grid, bad = without_glitches(grid)
        score = sharpness(grid.force_m_s2, grid.period_s)
        seen: list[_Seen] = []
        for cell in cells:
            row = int(np.searchsorted(grid.time_s, table.time_s[cell - table.first]))
            row = min(row + self._length // 2, len(score) - 1)
            knock = shock_about(grid, score, bad, row)
            verdict = best_push(grid, score, knock)
            found = _Seen(knock, verdict.push, verdict.lost, verdict.onset)
            shot = self._shot(grid, found, table, draws, end)
            if shot is not None:
                return shot
            seen.append(found)
        return self._rejected(grid, seen, draws, at_end=at_end)

    def _shot(self, grid: Grid, seen: _Seen, table: CellTable, draws: DrawWatch, end: int) -> Candidate | None:
        push, knock = seen.push, seen.knock
        start = push.start if push else seen.onset
        state = before(grid, start)
        if falling(state) or swinging(state) or 1.0 / grid.period_s < _SLOWEST_HZ or knock.glitch:
            return None
        notes: list[str] = []
        if push and is_shot(push, knock, self._least_s(push), grid.period_s):
            if push.hidden:
                notes.append(f"{seen.lost} samples were lost about the push")
        else:
            alike = self.attitude is not None and float(self.attitude @ state.attitude) > _SAME_ATTITUDE_COS
            at_s = float(grid.time_s[start])
            drawn = draws.drawn(at_s) or draws.drawing(at_s) or alike
            if (push and not push.hidden) or not is_lost_shot(seen.lost * grid.period_s, knock, drawn):
                return None
            notes.append(
                f"{seen.lost} samples were lost where the push should be; it is told by the hold and the shock alone"
            )
        self.attitude = state.attitude
        delay = self._history.accel_delay_s(grid.first + seen.onset)
        departure = float(grid.time_s[seen.onset]) - 0.5 * grid.period_s - delay
        release = departure - self._guess(push)
        first = grid.first + start - round(_WINDOW_BEFORE_S / grid.period_s)
        last = min(end, grid.first + seen.onset + round(_WINDOW_AFTER_S / grid.period_s))
        window = self._history.window(first, last, grid.first + seen.onset)
        began = draw_end(table, release)
        if began is None:
            notes.append("the end of the draw can't be told")
        return Candidate(window, release, departure, began, tuple(notes))

    def _guess(self, push: Push | None) -> float:
        """Time on the string: the launch model's where the push allows it, else from the push's visible part."""
        model = self._time_on_string_s
        if push is None:
            return model or 0.016
        if push.hidden:
            return model or float(np.clip(0.5 * (push.length_s + push.length_low_s) / _VISIBLE, *_TIME_RANGE_S))
        if model is not None and (0.4 * model <= push.length_s <= 1.3 * model):
            return model
        return float(np.clip(push.length_s / _VISIBLE, *_TIME_RANGE_S))

    def _rejected(self, grid: Grid, seen: list[_Seen], draws: DrawWatch, *, at_end: bool) -> KnockFound | None:
        strongest = max(seen, key=lambda s: s.knock.peak_m_s2)
        dry = next(
            (s for s in seen if s.push and is_dry_fire(s.push, s.knock, self._least_s(s.push), grid.period_s)), None
        )
        pushed = next(
            (s for s in seen if s.push and is_shot(s.push, s.knock, self._least_s(s.push), grid.period_s)), None
        )
        fell = next((s for s in seen if falling(before(grid, s.onset)) and s.knock.peak_m_s2 > 2.0 * G0), None)
        of = dry or pushed or fell or strongest
        state = before(grid, of.push.start if of.push else of.onset)
        at_s = float(grid.time_s[of.onset])
        look = Look(
            grid=grid,
            knock=of.knock,
            push=of.push,
            onset=of.onset,
            lost=of.lost,
            before=state,
            onsets=[s.onset for s in seen if s.knock.peak_m_s2 > 0.2 * strongest.knock.peak_m_s2],
            glitch=any(s.knock.glitch for s in seen),
            dry=dry is not None and not falling(state) and (1.0 / grid.period_s >= _DRY_HZ or draws.drawn(at_s)),
            pushed=pushed is not None,
            drawing=draws.drawing(at_s),
            drawn=draws.drawn(at_s),
            at_end=at_end,
            least_s=self._least_s(of.push) if of.push else 0.0,
        )
        delay = self._history.accel_delay_s(grid.first + of.onset)
        rejected = reason_of(look, delay)
        return None if rejected is None else KnockFound(rejected, of.knock.peak_m_s2)
