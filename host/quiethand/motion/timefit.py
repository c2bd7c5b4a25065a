"""Sample times from a device's clock: a robust fit of ticks against index that may bend, causal and in fixed steps.

Blocks are taken in groups of about 0.25 s. Each group gives one point: the median of its blocks' ticks about the
group's own median slope, so that a block stamped late moves nothing. The time at each group's end is a fit through
the points of the last 10 s, the group itself included: a parabola once there is enough of it, since sensor clocks
drift as they warm. Between group ends time is straight, so it is continuous and rises. What comes later never changes
a time given.

All of it is elementwise or along rows of fixed length, so that many groups at once give the same bits as one by one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["SPAN_S", "Fits", "Points", "fit_windows", "group_points"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SPAN_S: Final = 10.0  # the wire format's own span for the rate of a segment
WINDOW: Final = 48  # groups looked at: 10 s of 0.25 s each and some to spare
BEND_FROM_S: Final = 3.0  # under this a parabola's end is less sure than what it mends
BEND_FROM_POINTS: Final = 8


@dataclass(frozen=True)
class Points:
    """One point for each group; arrays of one length."""

    index: Floats  # mean sample index of the blocks' last samples
    ticks: Floats  # device clock there, ticks since the segment's first block
    weight: Floats  # blocks

    def joined(self, later: Points) -> Points:
        return Points(
            np.concatenate([self.index, later.index]),
            np.concatenate([self.ticks, later.ticks]),
            np.concatenate([self.weight, later.weight]),
        )

    def last(self, n: int) -> Points:
        return Points(self.index[-n:], self.ticks[-n:], self.weight[-n:])


NO_POINTS: Final = Points(np.empty(0), np.empty(0), np.empty(0))


@dataclass(frozen=True)
class Fits:
    ticks: Floats  # at the index asked for
    period: Floats  # ticks per sample there


def group_points(index: Ints, ticks: Ints, starts: Ints, lengths: Ints) -> Points:
    """The point of each group of blocks `starts[i] : starts[i] + lengths[i]`.

    Args:
        index: of each block's last sample, rising.
        ticks: unwrapped, of each block's last sample.
    """
    widest = int(lengths.max())
    column = np.arange(widest)
    inside = column < lengths[:, None]
    at = np.where(inside, starts[:, None] + column, starts[:, None])
    first_index, first_ticks = index[starts], ticks[starts]
    x = (index[at] - first_index[:, None]).astype(np.float64)
    y = (ticks[at] - first_ticks[:, None]).astype(np.float64)
    middle = np.where(inside, index[at] - first_index[:, None], 0).sum(axis=1) / lengths

    slope = np.zeros(len(starts))
    if widest > 1:
        half = lengths // 2
        pairs = column[: widest - widest // 2] < (lengths - half)[:, None]
        pairs &= (lengths > 1)[:, None]
        other = np.minimum(column[: widest - widest // 2] + half[:, None], widest - 1)
        dx = np.take_along_axis(x, other, 1) - x[:, : other.shape[1]]
        dy = np.take_along_axis(y, other, 1) - y[:, : other.shape[1]]
        pairs &= dx > 0
        slope = _row_median(np.divide(dy, dx, out=np.zeros_like(dy), where=pairs), pairs)
    level = _row_median(y - slope[:, None] * (x - middle[:, None]), inside)
    return Points(first_index + middle, first_ticks + level, lengths.astype(np.float64))


def fit_windows(points: Points, new: int, at: Floats, nominal_period: float, tick_hz: float) -> Fits:
    """For each of the last `new` points: the fit through the 10 s that end with it, at the index `at`, (new,)."""
    total = len(points.index)
    of = np.arange(total - new, total)
    columns = of[:, None] - np.arange(WINDOW)  # newest first
    present = columns >= 0
    columns = np.maximum(columns, 0)
    reference_index, reference_ticks = points.index[of], points.ticks[of]
    u = (points.index[columns] - reference_index[:, None]) * (nominal_period / tick_hz)  # s, 0 at the newest
    v = (points.ticks[columns] - reference_ticks[:, None]) / tick_hz - u  # s, what the nominal rate does not explain
    present &= u > -SPAN_S
    w = np.where(present, points.weight[columns], 0.0)
    u, v = np.where(present, u, 0.0), np.where(present, v, 0.0)
    span = -u.min(axis=1)
    bent = (span >= BEND_FROM_S) & (present.sum(axis=1) >= BEND_FROM_POINTS)

    scale = np.maximum(span, 1e-9)
    z = u / scale[:, None]
    wz = w * z
    s0, s1, s2 = w.sum(axis=1), wz.sum(axis=1), (wz * z).sum(axis=1)
    t0, t1 = (w * v).sum(axis=1), (wz * v).sum(axis=1)
    wzz = wz * z
    s3, s4, t2 = (wzz * z).sum(axis=1), (wzz * z * z).sum(axis=1), (wzz * v).sum(axis=1)

    straight = s0 * s2 - s1 * s1
    sound = straight > 1e-12 * s0 * s0
    divisor = np.where(sound, straight, 1.0)
    a = np.where(sound, (t0 * s2 - t1 * s1) / divisor, t0 / s0)
    b = np.where(sound, (s0 * t1 - s1 * t0) / divisor, 0.0)
    c = np.zeros_like(a)
    # Cramer's rule on the 3 x 3 normal equations, elementwise.
    d = s0 * (s2 * s4 - s3 * s3) - s1 * (s1 * s4 - s2 * s3) + s2 * (s1 * s3 - s2 * s2)
    bent &= np.abs(d) > 1e-9 * s0**3
    divisor = np.where(bent, d, 1.0)
    a = np.where(bent, (t0 * (s2 * s4 - s3 * s3) - s1 * (t1 * s4 - s3 * t2) + s2 * (t1 * s3 - s2 * t2)) / divisor, a)
    b = np.where(bent, (s0 * (t1 * s4 - s3 * t2) - t0 * (s1 * s4 - s2 * s3) + s2 * (s1 * t2 - t1 * s2)) / divisor, b)
    c = np.where(bent, (s0 * (s2 * t2 - t1 * s3) - s1 * (s1 * t2 - t1 * s2) + t0 * (s1 * s3 - s2 * s2)) / divisor, c)

    ahead = (at - reference_index) * (nominal_period / tick_hz)
    q = ahead / scale
    ticks = reference_ticks + tick_hz * (ahead + a + q * (b + q * c))
    return Fits(ticks, nominal_period * (1.0 + (b + 2.0 * q * c) / scale))


def _row_median(values: Floats, inside: NDArray[np.bool_]) -> Floats:
    """Median of each row's values that are inside; 0 where a row has none."""
    filled = np.where(inside, values, np.inf)
    filled.sort(axis=1)
    n = inside.sum(axis=1)
    low, high = np.maximum((n - 1) // 2, 0), np.maximum(n // 2, 0)
    rows = np.arange(len(values))
    high = np.minimum(high, filled.shape[1] - 1)
    return np.asarray(np.where(n > 0, 0.5 * (filled[rows, low] + filled[rows, high]), 0.0))
