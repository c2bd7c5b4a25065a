"""A cheap summary of motion: one row for every five milliseconds, by sample number, whatever the chunking.

Everything that runs over all samples is here, and it runs over the numbers as the sensor gave them: sums and extremes
of whole numbers are exact, and only each cell's are made motion of. What follows works on these rows, or on the few
samples about a knock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quiethand.motion.block import MotionBlock
from quiethand.motion.calibration import Calibration

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
    jolt_m_s2: NDArray[np.float64]  # (n,) norm of the peak-to-peak specific force of the sensor's three axes
    force_m_s2: NDArray[np.float64]  # (n, 3) mean
    rate_rad_s: NDArray[np.float64]  # (n, 3) mean
    swing_rad_s: NDArray[np.float64]  # (n, 3) no axis' rate changes by more than this within the cell

    def __len__(self) -> int:
        return len(self.time_s)

    @property
    def end(self) -> int:
        """The number of the cell after the last one."""
        return self.first + len(self)

    @classmethod
    def empty(cls, first: int) -> CellTable:
        none, threes = np.empty(0), np.empty((0, 3))
        return cls(first, none, np.empty(0, np.int64), none, threes, threes, threes)

    def joined(self, newer: CellTable) -> CellTable:
        """This table with `newer` behind it."""
        if not len(self):
            return newer
        return CellTable(
            self.first,
            np.concatenate([self.time_s, newer.time_s]),
            np.concatenate([self.samples, newer.samples]),
            np.concatenate([self.jolt_m_s2, newer.jolt_m_s2]),
            np.concatenate([self.force_m_s2, newer.force_m_s2]),
            np.concatenate([self.rate_rad_s, newer.rate_rad_s]),
            np.concatenate([self.swing_rad_s, newer.swing_rad_s]),
        )

    def between(self, start: int, stop: int) -> CellTable:
        """The cells start to stop (cell numbers), as views, clipped to what is kept."""
        rows = self.rows(start, stop)
        return CellTable(
            self.first + rows.start, self.time_s[rows], self.samples[rows], self.jolt_m_s2[rows],
            self.force_m_s2[rows], self.rate_rad_s[rows], self.swing_rad_s[rows],
        )  # fmt: skip

    def rows(self, start: int, stop: int) -> slice:
        """The rows of cells start to stop (cell numbers), clipped to what is kept."""
        return slice(max(0, start - self.first), max(0, stop - self.first))


def cell_length(period_s: float) -> int:
    """Samples in a cell at this period."""
    return max(_MIN_SAMPLES, round(CELL_S / period_s))


def summarise(first: int, count: int, length: int, parts: Sequence[MotionBlock]) -> CellTable:
    """The `count` cells from cell `first` on, of `length` samples each.

    Lost samples are stood in for by the last one received, so that a loss costs no more than what it replaces.

    Args:
        parts: what was received of these samples, in order and with the same calibration, one sample at least; if the
            first was lost, with the one received before it, or what else is to stand in for it.
    """
    start, whole = first * length, count * length
    numbers = parts[0].numbers if len(parts) == 1 else np.concatenate([part.numbers for part in parts])
    index = parts[0].index if len(parts) == 1 else np.concatenate([part.index for part in parts])
    stamp = parts[0].time_s if len(parts) == 1 else np.concatenate([part.time_s for part in parts])
    samples = np.full(count, length, np.int64)
    if len(index) == whole and index[0] == start:
        stamps = stamp[::length].copy()
    else:
        place = index - start
        received = np.bincount(place[place >= 0] // length, minlength=count)
        samples[:] = received[:count]
        at = np.maximum(np.searchsorted(place, np.arange(0, whole, length), side="right") - 1, 0)
        stamps = stamp[at]
        numbers = _filled(numbers, place, whole)
    return _motion_of(first, stamps, samples, numbers, length, parts[0].calibration)


def _filled(numbers: NDArray[Any], place: NDArray[np.int64], whole: int) -> NDArray[Any]:
    """Numbers at their places, each standing in for those lost after it, by stretches: losses are few and short."""
    full = np.empty((whole, numbers.shape[1]), numbers.dtype)
    breaks = (np.flatnonzero(np.diff(place) != 1) + 1).tolist()
    starts, stops = [0, *breaks], [*breaks, len(place)]
    for a, b, after in zip(starts, stops, [*(place[breaks]).tolist(), whole], strict=True):
        from_, to = int(place[a]), int(place[b - 1]) + 1
        if to > 0:
            full[max(from_, 0) : to] = numbers[a + max(-from_, 0) : b]
        full[max(to, 0) : after] = numbers[b - 1]
    if place[0] > 0:
        full[: place[0]] = numbers[0]
    return full


def _motion_of(
    first: int,
    stamps: NDArray[np.float64],
    samples: NDArray[np.int64],
    numbers: NDArray[Any],
    length: int,
    made: Calibration,
) -> CellTable:
    count = len(stamps)
    flat = numbers.reshape(count, -1)
    span = _over_samples(np.maximum, flat, length).astype(np.float64)
    span -= _over_samples(np.minimum, flat, length)
    if numbers.dtype == np.int16:
        # Sums of whole numbers under 2^24 are exact in single precision, in whatever order they are taken.
        ones = np.tile(np.eye(numbers.shape[1], dtype=np.float32), (length, 1))
        sums = (flat.astype(np.float32) @ ones).astype(np.float64)
    else:
        sums = _over_samples(np.add, flat, length)
    force, rate = made.apply(sums / length)
    accel, gyro = np.sqrt((made.accel_matrix**2).sum(axis=0)), np.abs(made.gyro_matrix)
    reach = span[:, :3] * accel
    swing = span[:, 3, None] * gyro[:, 0] + span[:, 4, None] * gyro[:, 1] + span[:, 5, None] * gyro[:, 2]
    return CellTable(first, stamps, samples, np.sqrt(np.einsum("ij,ij->i", reach, reach)), force, rate, swing)


def _over_samples(operation: np.ufunc, flat: NDArray[Any], length: int) -> NDArray[Any]:
    """The sum or extreme of the `length` samples of each row: halves against each other, which runs along memory.

    A seventh of the time of a reduction over an axis, whose innermost loop would be six numbers long.
    """
    axes, odd = flat.shape[1] // length, None
    while length > 1:
        half = length // 2
        if length % 2:
            last = flat[:, 2 * half * axes :]
            odd = last if odd is None else operation(odd, last)
        flat, length = operation(flat[:, : half * axes], flat[:, half * axes : 2 * half * axes]), half
    return flat if odd is None else operation(flat, odd)
