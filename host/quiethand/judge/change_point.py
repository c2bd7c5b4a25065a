"""Whether a measure changed in the course of a day, and when: fatigue shows as a drift or a step."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quiethand.errors import InputError
from quiethand.judge.resampling import bca_interval, generator_for, order_permutation_p
from quiethand.judge.serial import Serial, serial_correlation

__all__ = ["LEAST_SHOTS", "ChangePoint", "Drift", "change_point", "day_drift"]

Floats = NDArray[np.float64]

LEAST_SHOTS: Final = 12  # with fewer a change of two standard deviations in the middle is found less than half the time
_BOOT: Final = 999


@dataclass(frozen=True)
class ChangePoint:
    """At most one lasting change; `index` is the first shot after it."""

    shots: int
    index: int
    low: int  # 95 % interval of the index
    high: int
    before: float  # means, in the measure's unit
    after: float
    p_value: float
    serial: Serial  # of what is left once the step is taken off

    @property
    def shown(self) -> bool:
        return self.p_value < 0.05


@dataclass(frozen=True)
class Drift:
    """A straight trend."""

    shots: int
    per_unit: float  # change for each unit of time (or shot)
    low: float
    high: float
    p_value: float


def change_point(values: Iterable[float | None]) -> ChangePoint:
    """The place of one lasting change of the mean, and how likely chance makes one as large.

    The cumulated sum of the distances from the mean; its range against that of random orders, and its furthest point as
    the place (W. A. Taylor, Change-Point Analysis, 2000). Shots that resemble the one before them reach further by
    themselves: the range is taken down by as much as serial correlation widens a mean's error. The place's interval by
    resampling either side.

    Args:
        values: in order of time, 12 or more; None and NaN are left out.

    Raises:
        InputError: too few, or all alike.
    """
    x = _series(values)
    n = len(x)

    def reach(rows: Floats) -> Floats:
        s = np.cumsum(rows - rows.mean(axis=-1, keepdims=True), axis=-1)
        return np.asarray(np.maximum(s.max(axis=-1), 0.0) - np.minimum(s.min(axis=-1), 0.0))

    rng = generator_for(x)
    index = _place(x[None])[0]
    left, right = x[:index], x[index:]
    serial = serial_correlation([left, right])
    p = order_permutation_p(reach, x, rng=rng, seen=float(reach(x[None])[0]) / serial.widen)
    again = np.concatenate([
        left[rng.integers(0, len(left), (_BOOT, len(left)))], right[rng.integers(0, len(right), (_BOOT, len(right)))],
    ], axis=1)  # fmt: skip
    low, high = np.quantile(_place(again), [0.025, 0.975], method="nearest")
    return ChangePoint(n, int(index), int(low), int(high), float(left.mean()), float(right.mean()), p, serial)


def day_drift(values: Iterable[float | None], times: ArrayLike | None = None) -> Drift:
    """A straight trend through a day: least squares, BCa interval, permutation test.

    Args:
        values: in order of time, 12 or more; None and NaN are left out.
        times: of each, in hours or the like; None: by shot.

    Raises:
        InputError: too few, or all alike.
    """
    raw = np.array([np.nan if v is None else v for v in values], dtype=np.float64)
    t = np.arange(len(raw), dtype=np.float64) if times is None else np.asarray(times, dtype=np.float64)
    known = np.isfinite(raw)
    x, t = _series(raw), t[known]
    away = t - t.mean()
    if not away.any():
        raise InputError("all shots bear one time", do="give the time of each")

    def slope(rows: Floats) -> Floats:
        d = rows - rows.mean(axis=-2, keepdims=True)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray((d[..., 0] * d[..., 1]).sum(-1) / (d[..., 0] ** 2).sum(-1))

    rows = np.column_stack([t, x])
    low, high = bca_interval(slope, rows, resamples=1999)
    p = order_permutation_p(lambda r: np.abs(r @ away), x - x.mean(), rng=generator_for(x))
    return Drift(len(x), float(slope(rows[None])[0]), low, high, p)


def _series(values: Iterable[float | None]) -> Floats:
    x = np.array([np.nan if v is None else v for v in values], dtype=np.float64)
    x = x[np.isfinite(x)]
    if len(x) < LEAST_SHOTS:
        raise InputError(
            f"{len(x)} shots show this measure; from fewer than {LEAST_SHOTS} a change cannot be told from chance",
            do="choose a longer span",
        )
    if not np.ptp(x) > 0:
        raise InputError("every shot shows the same value", do="chance cannot be judged from that")
    return x


def _place(rows: Floats) -> NDArray[np.intp]:
    """First index after the change in each row: where the cumulated sum is furthest from 0."""
    s = np.cumsum(rows - rows.mean(axis=-1, keepdims=True), axis=-1)[:, :-1]
    return np.asarray(np.argmax(np.abs(s), axis=-1) + 1)
