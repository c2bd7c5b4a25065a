"""What is usual: of each measure the middle, the scatter from shot to shot, and how surely one shot is measured."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from quiethand.judge.usual import LEAST_SHOTS, is_unusual, usual
from quiethand.report.gathered import PARTS, SHOWN, Row, ShotSet, Shown
from quiethand.report.said import directed, ranged
from quiethand.shots.measure_columns import MEASURES

__all__ = ["Cell", "Part", "UsualRow", "parts", "unusual_shots", "usual_rows", "values_of"]

_EARLIER: Final = 50  # shots that a shot is held against, as on the page
_MOST: Final = 500  # of the span's shots, the last; each is held against those before it


@dataclass(frozen=True)
class Cell:
    """One measure of one set, in words."""

    middle: str
    usual: str  # where 99 of 100 such shots lie, or why that is not told
    sure: str  # standard uncertainty of one shot


@dataclass(frozen=True)
class UsualRow:
    label: str
    axis: str | None
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Part:
    """Where the turn about one axis came from: the middle of a set's shots and its middle half, degrees."""

    axis: str
    name: str
    middle: float
    low: float
    high: float


def values_of(rows: Iterable[Row], shown: Shown) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """In the unit shown, shape (n,); NaN where it is not known."""
    return np.array([np.nan if row[shown.column] is None else row[shown.column] for row in rows]) * shown.factor


def usual_rows(sets: Sequence[ShotSet]) -> list[UsualRow]:
    """A row a measure that any set has, a cell a set."""
    found = []
    for shown in SHOWN:
        values = [values_of(one.rows, shown) for one in sets]
        if any(np.isfinite(v).any() for v in values):
            cells = tuple(_cell(shown, v, one.rows) for v, one in zip(values, sets, strict=True))
            found.append(UsualRow(shown.label, shown.axis, cells))
    return found


def _cell(shown: Shown, values: np.ndarray[tuple[int], np.dtype[np.float64]], rows: Sequence[Row]) -> Cell:
    known = values[np.isfinite(values)]
    if not len(known):
        return Cell("not known", "", "")
    sigma_s = _sigma(shown, rows)
    found = usual(known.tolist(), resolution=sigma_s or 0.0)
    if found is not None:
        told = ranged(shown, found.low, found.high)
    elif len(known) < LEAST_SHOTS:
        told = f"{len(known)} shots, too few to say what is usual"
    else:
        told = "scatter not known"
    sure = "" if sigma_s is None else f"± {sigma_s:.{shown.digits}f}"
    return Cell(directed(shown, float(np.median(known))), told, sure)


def _sigma(shown: Shown, rows: Sequence[Row]) -> float | None:
    """The middle of the shots' standard uncertainties, in the unit shown."""
    column = MEASURES[shown.column].sigma
    known = [row[column] for row in rows if row[column] is not None] if column else []
    return float(np.median(known)) * shown.factor if known else None


def unusual_shots(one: ShotSet, shown: Shown) -> tuple[int, int]:
    """How many of the last 500 shots lie outside what was usual before them, and of how many that can be told."""
    series = np.concatenate([values_of(one.earlier, shown), values_of(one.rows, shown)])
    outside = told = 0
    for place in range(max(len(one.earlier), len(series) - _MOST), len(series)):
        verdict = is_unusual(
            float(series[place]), usual(series[max(0, place - _EARLIER) : place].tolist(), resolution=1e-9)
        )
        told += verdict is not None
        outside += bool(verdict)
    return outside, told


def parts(one: ShotSet) -> list[Part]:
    """Of yaw and pitch; empty where no shot has them."""
    found = []
    for column in PARTS:
        name, axis = column.removesuffix("_deg").rsplit("_", 1)
        known = np.array([row[column] for row in one.rows if row[column] is not None])
        if len(known) and axis != "cant":
            low, middle, high = (float(v) for v in np.percentile(known, [25, 50, 75]))
            found.append(Part(axis, name.replace("_", " "), middle, low, high))
    return sorted(found, key=lambda part: part.axis, reverse=True)
