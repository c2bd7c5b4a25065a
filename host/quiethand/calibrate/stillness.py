"""Still stretches of a recording: lying on a table, or held as still as a hand can.

A thing that lies scatters by its sensor's noise alone, and noise has no memory: the spread of neighbours' differences
is that of the cells themselves (von Neumann's ratio, Annals of Mathematical Statistics 12, 1941). A hand's tremor at 8
to 12 Hz makes neighbours alike, and is told by that from any sensor's noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.calibrate.cells import Cells

__all__ = ["IN_HAND", "ON_TABLE", "Gate", "Still", "refusal_hint", "still_stretches"]

PIECE_S: Final = 0.25
# One piece is 25 cells, whose ratio scatters by a tenth; in a stretch of a second and more it scatters by a twentieth.
_TREMOR_RATIO: Final = 1.8
_TREMOR_RATIO_OF_ALL: Final = 1.25
_RECENT: Final = 8  # pieces that the next one is held against, so that a slow drift of the bias does not end a stretch


@dataclass(frozen=True)
class Gate:
    """What still means. Spreads within a piece of a quarter of a second, steps from piece to piece, drift in all."""

    rate_rad_s: float
    force_m_s2: float
    step_rad_s: float
    step_m_s2: float
    drift_m_s2: float
    tremor_rad_s: float | None  # spreads over this are looked at for tremor; None: a hand is welcome
    tremor_m_s2: float = 0.0


# A table with a washing machine beside it passes; a hand does not. Below the tremor figures a low-pass at a few tens
# of hertz makes noise alike too, and nothing that small is a hand.
ON_TABLE: Final = Gate(
    rate_rad_s=float(np.deg2rad(1.5)),
    force_m_s2=0.5,
    step_rad_s=float(np.deg2rad(0.08)),
    step_m_s2=0.06,
    drift_m_s2=0.12,
    tremor_rad_s=float(np.deg2rad(0.06)),
    tremor_m_s2=0.03,
)
# A bow held level or nose down: a degree of wandering is 0.17 m/s2.
IN_HAND: Final = Gate(
    rate_rad_s=float(np.deg2rad(3.0)),
    force_m_s2=0.6,
    step_rad_s=float(np.deg2rad(3.0)),
    step_m_s2=0.35,
    drift_m_s2=0.6,
    tremor_rad_s=None,
)


@dataclass(frozen=True)
class Still:
    """One still stretch; `cells` is its slice, a piece off at either end where the sensor was let go and taken."""

    cells: slice
    start_s: float
    end_s: float
    force_m_s2: NDArray[np.float64]  # (3,) mean
    rate_rad_s: NDArray[np.float64]  # (3,) mean
    force_sigma_m_s2: NDArray[np.float64]  # (3,) standard uncertainty of the mean, from how quarter seconds scatter

    @property
    def duration_s(self) -> float:
        return self.end_s - self.start_s


def still_stretches(cells: Cells, gate: Gate, least_s: float) -> list[Still]:
    """Stretches of at least `least_s`, in the order of time."""
    per_piece = max(8, round(PIECE_S / cells.span_s))
    found: list[Still] = []
    starts = np.flatnonzero(cells.begins).tolist()
    for first, last in zip(starts, [*starts[1:], len(cells)], strict=True):
        found += _within(cells, first, last, per_piece, gate)
    return [still for still in found if still.duration_s >= least_s - 0.5 * cells.span_s]


def _within(cells: Cells, first: int, last: int, per_piece: int, gate: Gate) -> list[Still]:
    count = (last - first) // per_piece
    if not count:
        return []
    part = slice(first, first + count * per_piece)
    force = cells.force_m_s2[part].reshape(count, per_piece, 3)
    rate = cells.rate_rad_s[part].reshape(count, per_piece, 3)
    quiet = ~cells.clipped[part].reshape(count, per_piece).any(axis=1)
    quiet &= _quiet(rate, gate.rate_rad_s, gate.tremor_rad_s)
    quiet &= _quiet(force, gate.force_m_s2, None if gate.tremor_rad_s is None else gate.tremor_m_s2)
    mean_force, mean_rate = force.mean(axis=1), rate.mean(axis=1)
    trembles = _Tremor(rate, force, gate)
    step_m_s2 = gate.step_m_s2 + 4 * _neighbours(force) / np.sqrt(per_piece)
    step_rad_s = gate.step_rad_s + 4 * _neighbours(rate) / np.sqrt(per_piece)
    found: list[Still] = []
    run: list[int] = []
    low = high = mean_force[0]
    for i in range(count + 1):
        if i < count and quiet[i]:
            if not run:
                run, low, high = [i], mean_force[i], mean_force[i]
                continue
            recent = run[-_RECENT:]
            lower, higher = np.minimum(low, mean_force[i]), np.maximum(high, mean_force[i])
            goes_on = (
                bool(np.all(np.abs(mean_force[i] - mean_force[recent].mean(axis=0)) < step_m_s2[i]))
                and bool(np.all(np.abs(mean_rate[i] - mean_rate[recent].mean(axis=0)) < step_rad_s[i]))
                and bool(np.all(higher - lower < gate.drift_m_s2 + step_m_s2[i]))
            )
            if goes_on:
                run.append(i)
                low, high = lower, higher
                continue
        if run and not trembles.during(run):
            found.append(_still(cells, first, per_piece, run, mean_force))
        run = [i] if i < count and quiet[i] else []
        if run:
            low = high = mean_force[i]
    return found


def _still(cells: Cells, first: int, per_piece: int, run: list[int], mean_force: NDArray[np.float64]) -> Still:
    if len(run) > 4:
        run = run[1:-1]
    part = slice(first + run[0] * per_piece, first + (run[-1] + 1) * per_piece)
    spread = mean_force[run].std(axis=0, ddof=1) / np.sqrt(len(run)) if len(run) > 2 else np.full(3, 0.02)
    return Still(
        cells=part,
        start_s=float(cells.time_s[part][0] - cells.span_s / 2),
        end_s=float(cells.time_s[part][-1] + cells.span_s / 2),
        force_m_s2=cells.force_m_s2[part].mean(axis=0),
        rate_rad_s=cells.rate_rad_s[part].mean(axis=0),
        force_sigma_m_s2=spread,
    )


def _neighbours(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Standard deviation of a cell by the differences of neighbours, (pieces, cells, 3) to (pieces, 3)."""
    return np.asarray(np.sqrt(np.mean(np.diff(values, axis=1) ** 2, axis=1) / 2))


class _Tremor:
    """Tells tremor in a whole stretch, where a single piece is too short to tell it from noise of its own size."""

    def __init__(self, rate: NDArray[np.float64], force: NDArray[np.float64], gate: Gate) -> None:
        floors = (gate.tremor_rad_s, None if gate.tremor_rad_s is None else gate.tremor_m_s2)
        self._looked_at = [
            (values.var(axis=1), _neighbours(values) ** 2, floor)
            for values, floor in zip((rate, force), floors, strict=True)
            if floor is not None
        ]

    def during(self, run: list[int]) -> bool:
        if len(run) < 4:
            return False
        for spread, noise, floor in self._looked_at:
            all_spread, all_noise = np.sqrt(spread[run].mean(axis=0)), np.sqrt(noise[run].mean(axis=0))
            if np.any((all_spread > floor) & (all_spread > _TREMOR_RATIO_OF_ALL * all_noise)):
                return True
        return False


def _quiet(values: NDArray[np.float64], most: float, tremor: float | None) -> NDArray[np.bool_]:
    spread = values.std(axis=1)
    still = spread < most
    if tremor is not None:
        still &= (spread < tremor) | (spread < _TREMOR_RATIO * _neighbours(values))
    return np.asarray(still.all(axis=1))


def refusal_hint(cells: Cells, gate: Gate) -> str:
    """Why no stretch is still: what a person would want to know."""
    if cells.clipped.mean() > 0.2:
        return "the sensor reads full scale most of the time"
    longest = max((s.duration_s for s in still_stretches(cells, gate, 0.0)), default=0.0)
    if longest < PIECE_S:
        return "it moves all the time"
    return f"its longest still stretch is {longest:.1f} s"
