"""A close look at one knock: what came in the hundredths of a second before it, as figures without a verdict.

A shot is a push and then a shock. The shock is told from the push by its sharpness, the second difference of specific
force over some 0.75 ms: a push of 8 g that grows over 8 ms has a sharpness of 0.3 g or so, a shock's is as large as the
shock itself, whatever its direction, the mount or the hand. The push is told from a knock's own ringing by keeping
one direction for milliseconds on end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.history import Grid
from quiethand.shots.middle import median

__all__ = [
    "G0",
    "Knock",
    "Push",
    "Quiet",
    "onset_rows",
    "push_before",
    "quiet_before",
    "sharpness",
    "shock_about",
    "without_glitches",
]

G0 = 9.80665  # m/s2
_STEP_S = 0.00075  # of the second difference: a quarter of the quickest ringing (1 kHz), a tenth of a push
_BEFORE_S, _AFTER_S = 0.010, 0.045  # a push may set the alarm off up to 25 ms before its shock
_LEAP_M_S2, _LEAP_RAD_S = 3.0 * G0, 4.0  # 230 deg/s in one sample: no bow with a hand on it
_ONSETS = (0.01, 0.03, 0.06, 0.12, 0.25, 0.5)  # of the largest sharpness
_LEAST_BREAK = 0.5 * G0  # below it a break is noise or the curve of the push itself
_BASE_S = (0.150, 0.045)  # before the onset: the hold that the push is measured against
_REACH_S = 0.045  # no push is longer
_QUIET_S = 0.0015  # so long below the threshold ends the push, seen backward
_TAIL_S = 0.003  # a compound's push passes through nothing just before the brace
_LEAST_BASE_S = 0.012
_NOISE = 4.0  # standard deviations
_FLOOR_M_S2 = 0.15 * G0  # tremor and a shaking arm stay below it within 45 ms
_SHARE = 0.10  # of the push's peak, where it is said to begin
_SHARE_CLIPPED = 0.20  # of what was left of its peak
_BRIDGE_S = 0.0025
_NEAR_S = 0.012  # before the shock the push is at its highest
_UNREST_S = 0.020
_END_S = 0.0007
_DOUBT_S = 0.003  # a hole that ends so shortly before a push may have hidden more of it


@dataclass(frozen=True)
class Knock:
    """The shock itself."""

    row: int  # of the grid: where the alarm went off
    largest_m_s2: float  # sharpness, about the alarm
    peak_m_s2: float  # specific force against that before, largest within 45 ms
    clipped: bool
    glitch: bool  # values that leapt and came back at once, rotation too: electrical, nothing with mass does that


@dataclass(frozen=True)
class Push:
    """What was seen between the quiet before and the onset of the shock."""

    onset: int  # row of the grid: first sample of the shock
    start: int  # row where the push begins (a tenth of its peak)
    length_s: float
    visible_s: float  # from the first stir that leads up to it, whatever its direction, to the shock
    length_low_s: float  # less what samples lost at its start leave open
    peak_m_s2: float
    impulse_m_s: float  # change of speed, summed without regard to direction
    coherence: float  # 1: one direction throughout its second half
    sharpness: float  # largest second difference of its second half, as a fraction of its peak
    end: float  # what was left of it right before the shock, as a fraction of its peak
    unrest: float  # mean size of the fiftieth of a second before it, as a fraction of its peak
    seen: int  # samples received over the level
    reaches_back: bool  # no quiet within 45 ms before the onset
    hidden: bool  # samples lost in it
    clipped: bool  # the sensor could not follow it
    based: bool  # there was enough before it to measure against


def sharpness(force: NDArray[np.float64], period_s: float) -> NDArray[np.float64]:
    """Norm of the second difference over some 0.75 ms, m/s2, shape (n,); it answers to a step at once, not before."""
    k = max(1, round(_STEP_S / period_s))
    out = np.zeros(len(force))
    if len(force) > 2 * k:
        d = force[2 * k :] - 2.0 * force[k:-k] + force[: -2 * k]
        out[2 * k :] = np.sqrt(np.einsum("ij,ij->i", d, d))
    return out


def _glitches(grid: Grid) -> NDArray[np.bool_]:
    """Samples where force and rate both leap and are back within 2 ms, with no ringing after."""
    bad = np.zeros(len(grid.time_s), np.bool_)
    f, w = grid.force_m_s2, grid.rate_rad_s
    leaps = np.flatnonzero(
        (np.abs(np.diff(f, axis=0)).max(axis=1) > _LEAP_M_S2) & (np.abs(np.diff(w, axis=0)).max(axis=1) > _LEAP_RAD_S)
    )
    longest, after = max(1, round(0.002 / grid.period_s)), max(2, round(0.006 / grid.period_s))
    for row in leaps.tolist():
        if bad[row + 1] or bad[row]:
            continue
        off_f = np.abs(f[row + 1 : row + 1 + longest + after] - f[row]).max(axis=1)
        off_w = np.abs(w[row + 1 : row + 1 + longest + after] - w[row]).max(axis=1)
        still = (off_f < 0.2 * off_f.max()) & (off_w < 0.2 * off_w.max())
        moving = np.flatnonzero(~still)
        if len(still) > longest and moving[-1] < longest:
            bad[row + 1 : row + 2 + moving[-1]] = True
    return bad


def without_glitches(grid: Grid) -> tuple[Grid, NDArray[np.bool_]]:
    """The grid with straight lines over its electrical glitches, and where they were."""
    bad = _glitches(grid)
    if not bad.any():
        return grid, bad
    good, at = np.flatnonzero(~bad), np.arange(len(bad))

    def fill(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack([np.interp(at, good, values[good, k]) for k in range(3)])

    force, rate = fill(grid.force_m_s2), fill(grid.rate_rad_s)
    return Grid(grid.time_s, force, rate, grid.clipped, grid.there, grid.first, grid.period_s), bad


def _about(row: int, rows: int, period_s: float) -> tuple[int, int]:
    return max(0, row - round(_BEFORE_S / period_s)), min(rows, row + round(_AFTER_S / period_s) + 1)


def shock_about(grid: Grid, score: NDArray[np.float64], bad: NDArray[np.bool_], row: int) -> Knock:
    """The shock about a row; `score` is the grid's sharpness, `bad` its glitches."""
    a, b = _about(row, len(score), grid.period_s)
    before = grid.force_m_s2[max(0, a - round(0.1 / grid.period_s)) : max(a, 1)].mean(axis=0)
    apart = grid.force_m_s2[a:b] - before
    return Knock(
        row,
        float(score[a:b].max()),
        float(np.sqrt(np.einsum("ij,ij->i", apart, apart).max())),
        bool(grid.clipped[a:b].any()),
        bool(bad[a:b].any()),
    )


def onset_rows(grid: Grid, score: NDArray[np.float64], knock: Knock) -> list[int]:
    """Rows where the shock may have begun, the earliest first: where its sharpness first passes a share of the whole.

    The lowest share sees the first break of a shock that builds up; a burst of vibration at the release can pass it
    too early, and then a higher one finds the shock itself.
    """
    a, b = _about(knock.row, len(score), grid.period_s)
    rows: list[int] = []
    for share in _ONSETS:
        over = np.flatnonzero(score[a:b] >= max(share * knock.largest_m_s2, min(_LEAST_BREAK, knock.largest_m_s2)))
        if over.size and a + int(over[0]) not in rows:
            rows.append(a + int(over[0]))
    return rows


@dataclass(frozen=True)
class Quiet:
    """The bow before a knock, which a push is measured against; None if too little of it was received."""

    force_m_s2: NDArray[np.float64]  # (3,)
    noise_m_s2: float
    end: int  # row of the grid after it


def quiet_before(grid: Grid, onset: int) -> Quiet | None:
    """The tenth of a second that ends 45 ms before row `onset`, or what there is at the start of a recording."""
    dt = grid.period_s
    rows = [round(s / dt) for s in _BASE_S]
    a, b = max(0, onset - rows[0]), max(0, onset - rows[1])
    if b - a < round(_LEAST_BASE_S / dt):
        a, b = 0, max(0, min(onset - round(0.012 / dt), round(_LEAST_BASE_S / dt)))
    real = grid.there[a:b]
    if int(real.sum()) < max(3, round(0.5 * _LEAST_BASE_S / dt)):
        return None
    quiet = grid.force_m_s2[a:b][real]
    base = median(quiet)
    apart = quiet - base
    return Quiet(base, float(np.sqrt(np.einsum("ij,ij->", apart, apart) / len(quiet))), b)


def push_before(grid: Grid, score: NDArray[np.float64], quiet: Quiet | None, onset: int) -> Push:
    """The push that ends at row `onset`, measured against the quiet before it."""
    dt = grid.period_s
    lost = not grid.there[max(0, onset - round(0.03 / dt)) : onset].all()
    if quiet is None:
        return Push(onset, onset, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0, False, lost, False, False)
    lo = max(quiet.end, onset - round(_REACH_S / dt))
    apart = grid.force_m_s2[lo:onset] - quiet.force_m_s2
    size = np.sqrt(np.einsum("ij,ij->i", apart, apart))
    near = max(0, len(size) - round(_NEAR_S / dt))
    peak = float(size[near:].max(initial=0.0))
    cut = bool(grid.clipped[lo + near : onset].any())
    level = max((_SHARE_CLIPPED if cut else _SHARE) * peak, _FLOOR_M_S2, _NOISE * quiet.noise_m_s2)
    # along the way that it pushed last: what went another way, a pluck or a recurve's first pull, is not counted
    strong = near + np.flatnonzero(size[near:] >= 0.5 * peak)
    way = apart[strong].sum(axis=0)
    along = apart @ (way / max(float(np.linalg.norm(way)), 1e-9))
    over = along >= level
    tail = max(1, round(_TAIL_S / dt))
    recently = np.flatnonzero(over[max(0, len(over) - tail) :])
    if not recently.size:
        return Push(onset, onset, 0.0, 0.0, 0.0, peak, 0.0, 0.0, 0.0, 0.0, 0.0, 0, False, lost, cut, True)
    last = max(0, len(over) - tail) + int(recently[-1])
    run = max(1, round(_QUIET_S / dt))
    start, calm = 0, 0
    for k in range(last, -1, -1):
        calm = 0 if over[k] else calm + 1
        if calm >= run:
            start = k + calm
            break
    reaches = calm < run
    there = grid.there[lo:onset]
    # what was lost just before the first sample over the level may or may not have been push
    sure = start
    while sure < last and not there[sure]:
        sure += 1
    end_s = grid.time_s[onset] - 0.5 * dt  # the shock began since the sample before
    half = max(start, min(last + 1 - max(2, round(0.004 / dt)), (start + last) // 2))
    restless = max(0, start - round(_UNREST_S / dt)), max(0, start - 1)
    # only samples received are evidence: a line over a hole would pass for the smoothest push of all
    late, turn = slice(half, last + 1), score[lo + half : lo + last + 1]
    seen = there[late]
    summed = float(size[late][seen].sum())
    whole = there[late] & grid.there[max(0, lo + half - 1) : max(0, lo + half - 1) + len(seen)]
    return Push(
        onset=onset,
        start=lo + start,
        length_s=float(end_s - _crossing(grid.time_s[lo:onset], along, start, level)),
        visible_s=float(end_s - grid.time_s[lo + _stir(size, start, quiet, dt)]),
        length_low_s=float(end_s - grid.time_s[lo + sure]),
        peak_m_s2=peak,
        impulse_m_s=float(size[start : last + 1].sum() * dt),
        coherence=float(np.linalg.norm(apart[late][seen].sum(axis=0)) / summed) if summed > 0 else 0.0,
        sharpness=float(turn[whole].max() / peak) if peak > 0 and whole.any() else 0.0,
        end=float(along[-min(len(along), max(1, round(_END_S / dt)))] / peak) if peak > 0 else 0.0,
        unrest=float(size[slice(*restless)].mean() / peak) if restless[1] > restless[0] and peak > 0 else 0.0,
        seen=int((over & there)[start : last + 1].sum()),
        reaches_back=reaches,
        hidden=not there[max(0, start - round(_DOUBT_S / dt)) :].all(),
        clipped=cut,
        based=True,
    )


def _stir(size: NDArray[np.float64], start: int, quiet: Quiet, dt: float) -> int:
    """The first row of the stir that leads up to row `start`, bridging the instant at which a push changes sign."""
    over = np.flatnonzero(size[:start] >= max(_FLOOR_M_S2, _NOISE * quiet.noise_m_s2))
    first, bridge = start, max(2, round(_BRIDGE_S / dt))
    for row in over[::-1].tolist():
        if first - row > bridge:
            break
        first = row
    return first


def _crossing(time_s: NDArray[np.float64], size: NDArray[np.float64], row: int, level: float) -> float:
    """When the size passed the level on its way to `row`, by a straight line between the two samples about it."""
    if row == 0 or size[row] <= size[row - 1] or size[row - 1] >= level:
        return float(time_s[row])
    share = (size[row] - level) / (size[row] - size[row - 1])
    return float(time_s[row] - min(1.0, max(0.0, share)) * (time_s[row] - time_s[row - 1]))
