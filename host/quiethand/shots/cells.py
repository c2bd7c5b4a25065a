"""A cheap summary of motion: one row for every five milliseconds, by sample number, whatever the chunking.

Everything that runs over all samples is here; what follows works on these rows, or on the few samples about a knock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["CELL_S", "CellTable", "cell_length", "summarise"]

CELL_S = 0.005  # short against a push (8 to 25 ms), and still four samples at 800 Hz
_MIN_SAMPLES = 2  # a peak-to-peak needs two


@dataclass
class CellTable:
    """Consecutive cells of one run, the oldest first; the cell number of row k is `first` + k.

    A cell without a sample of its own carries the last values on, and its `samples` is 0.
    """

    first: int
    time_s: NDArray[np.float64]  # (n,) of the cell's first sample
    samples: NDArray[np.int64]  # (n,) received
    jolt_m_s2: NDArray[np.float64]  # (n,) norm of the peak-to-peak specific force of the three axes
    force_m_s2: NDArray[np.float64]  # (n, 3) mean
    rate_rad_s: NDArray[np.float64]  # (n, 3) mean

    def __len__(self) -> int:
        return len(self.time_s)

    @property
    def end(self) -> int:
        """The number of the cell after the last one."""
        return self.first + len(self)

    @classmethod
    def empty(cls, first: int) -> CellTable:
        none = np.empty(0)
        return cls(first, none, np.empty(0, np.int64), none, np.empty((0, 3)), np.empty((0, 3)))

    def joined(self, newer: CellTable, keep: int) -> CellTable:
        """This table with `newer` behind it, the oldest rows dropped so that at most `keep` are left."""
        drop = max(0, len(self) + len(newer) - keep)
        old = min(drop, len(self))

        def join(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
            return np.concatenate([a[old:], b])

        return CellTable(
            self.first + old,
            join(self.time_s, newer.time_s),
            np.concatenate([self.samples[old:], newer.samples]),
            join(self.jolt_m_s2, newer.jolt_m_s2),
            join(self.force_m_s2, newer.force_m_s2),
            join(self.rate_rad_s, newer.rate_rad_s),
        )

    def rows(self, start: int, stop: int) -> slice:
        """The rows of cells start to stop (cell numbers), clipped to what is kept."""
        return slice(max(0, start - self.first), max(0, stop - self.first))


def cell_length(period_s: float) -> int:
    """Samples in a cell at this period."""
    return max(_MIN_SAMPLES, round(CELL_S / period_s))


def summarise(
    first: int,
    count: int,
    length: int,
    index: NDArray[np.int64],
    time_s: NDArray[np.float64],
    force: NDArray[np.float64],
    rate: NDArray[np.float64],
) -> CellTable:
    """The `count` cells from cell `first` on, of `length` samples each, from samples whose `index` lies in them.

    Lost samples are stood in for by the last one received, so that a loss costs no more than what it replaces.
    """
    place = index - first * length
    whole = count * length
    lost = len(place) != whole
    if lost:
        source = np.zeros(whole, np.int64)
        source[place] = np.arange(len(place))
        np.maximum.accumulate(source, out=source)
        force, rate, stamp = force.take(source, axis=0), rate.take(source, axis=0), time_s.take(source)
        there = np.zeros(whole, np.int64)
        there[place] = 1
        samples = there.reshape(count, length).sum(axis=1)
    else:
        stamp = time_s
        samples = np.full(count, length, np.int64)
    f, w = _stacked(force, count, length), _stacked(rate, count, length)
    span = (f.max(axis=0) - f.min(axis=0)).reshape(3, count)
    return CellTable(
        first,
        stamp[::length].copy(),
        samples,
        np.sqrt(np.einsum("ij,ij->j", span, span)),
        (f.sum(axis=0) / length).reshape(3, count).T,
        (w.sum(axis=0) / length).reshape(3, count).T,
    )


def _stacked(values: NDArray[np.float64], count: int, length: int) -> NDArray[np.float64]:
    """The samples of each cell below each other, shape (length, 3 count), all cells of an axis side by side.

    Sums and extremes over long rows take a fifth of the time of those over threes, and the copy takes the least of it.
    """
    cells = values.T.reshape(3, count, length)
    return np.ascontiguousarray(cells.transpose(2, 0, 1)).reshape(length, 3 * count)
