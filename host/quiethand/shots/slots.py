"""Every fiftieth of a second of cells as one row: what the slow watches (walking, drawing, stillness) work on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.cells import CellTable
from quiethand.shots.sway import SWAY_S

__all__ = ["SLOT_S", "Slots", "Slotter"]

SLOT_S = 0.05
_SWAY_SLOTS = round(SWAY_S / SLOT_S)


@dataclass(frozen=True)
class Slots:
    """Consecutive slots; row k is slot `first` + k of the run."""

    first: int
    time_s: NDArray[np.float64]  # (n,) of the first sample
    end_s: NDArray[np.float64]  # (n,) of the last cell's first sample
    samples: NDArray[np.int64]  # (n,) received
    force_m_s2: NDArray[np.float64]  # (n, 3) mean
    rate_rad_s: NDArray[np.float64]  # (n, 3) mean
    force_square: NDArray[np.float64]  # (n, 3) mean of the squares of cells' means
    rate_square: NDArray[np.float64]  # (n, 3)
    turn_rad_s: NDArray[np.float64]  # (n,) size of the mean rate
    shake_m_s2: NDArray[np.float64]  # (n,) sway over the four slots that end with this one; 0 before there are four
    jolt_m_s2: NDArray[np.float64]  # (n,) the largest
    swing_square: NDArray[np.float64]  # (n, 3) mean over cells of the square of `swing_rad_s`

    def rows(self, rows: slice) -> Slots:
        """Some of them."""
        each = {name: getattr(self, name)[rows] for name in self.__dataclass_fields__ if name != "first"}
        return Slots(self.first + rows.start, **each)

    def after(self, slot: int) -> Slots:
        """Those from a slot of the run on."""
        return self.rows(slice(max(0, slot - self.first), len(self.time_s)))

    def joined(self, later: Slots) -> Slots:
        if not len(self.time_s):
            return later
        names = (name for name in self.__dataclass_fields__ if name != "first")
        return Slots(self.first, **{n: np.concatenate([getattr(self, n), getattr(later, n)]) for n in names})


class Slotter:
    """Makes slots of `cells` cells each as the cells of one run come."""

    def __init__(self, cells: int) -> None:
        self._cells = cells
        self._next = 0
        self._sums = np.empty((0, 3, 3))  # of the last slots: sum, first moment and square sum of force

    def take(self, table: CellTable) -> Slots:
        """The next cells, from the first of a slot on; a last slot that is not full is left out."""
        k = self._cells
        n = len(table) // k
        force = table.force_m_s2[: n * k].reshape(n, k, 3)
        rate = table.rate_rad_s[: n * k].reshape(n, k, 3)
        force_square, rate_square = (force * force).sum(axis=1), (rate * rate).sum(axis=1)
        moment = (force * np.arange(k)[:, None]).sum(axis=1)
        sums = np.stack([force.sum(axis=1), moment, force_square], axis=1)
        before = np.concatenate([self._sums, sums])
        mean_force, mean_rate = sums[:, 0] / k, rate.sum(axis=1) / k
        swing = table.swing_rad_s[: n * k].reshape(n, k, 3)
        slots = Slots(
            self._next,
            table.time_s[: n * k : k],
            table.time_s[k - 1 : n * k : k],
            table.samples[: n * k].reshape(n, k).sum(axis=1),
            mean_force,
            mean_rate,
            force_square / k,
            rate_square / k,
            np.sqrt(np.einsum("ij,ij->i", mean_rate, mean_rate)),
            np.concatenate([np.zeros(n), _sway(before, k)])[-n:] if n else np.empty(0),
            table.jolt_m_s2[: n * k].reshape(n, k).max(axis=1, initial=0.0),
            (swing * swing).sum(axis=1) / k,
        )
        self._next += n
        self._sums = before[-(_SWAY_SLOTS - 1) :]
        return slots


def _sway(sums: NDArray[np.float64], cells: int) -> NDArray[np.float64]:
    """As `sway.sway` in windows of four slots, from each slot's sums, (n, 3, 3): shape (n - 3,), empty if n < 4."""
    n, width = len(sums) - _SWAY_SLOTS + 1, _SWAY_SLOTS * cells
    if n < 1:
        return np.empty(0)
    middle = (width - 1) / 2
    total, moment, square = np.zeros((n, 3)), np.zeros((n, 3)), np.zeros((n, 3))
    for j in range(_SWAY_SLOTS):
        own = sums[j : j + n]
        total += own[:, 0]
        moment += own[:, 1] + (j * cells - middle) * own[:, 0]
        square += own[:, 2]
    spread = width * (width * width - 1) / 12  # sum of squares of -middle ... middle
    left = (square - total * total / width - moment * moment / spread) / width
    return np.asarray(np.sqrt(np.maximum(left, 0.0).sum(axis=1)))
