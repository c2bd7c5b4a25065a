"""The last seconds of motion, sample by sample, for when something has to be looked at closely."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.motion.block import MotionBlock
from quiethand.shots.candidate import MotionWindow

__all__ = ["Grid", "History"]


@dataclass(frozen=True)
class Grid:
    """Every sample number of a stretch, with straight lines drawn over those that were lost."""

    time_s: NDArray[np.float64]  # (n,)
    force_m_s2: NDArray[np.float64]  # (n, 3)
    rate_rad_s: NDArray[np.float64]  # (n, 3)
    clipped: NDArray[np.bool_]  # (n,) of the accelerometer
    there: NDArray[np.bool_]  # (n,) False where the sample was lost
    first: int  # sample number of row 0
    period_s: float


_FIELDS: Final = ("index", "time_s", "specific_force_m_s2", "rate_rad_s", "accel_clipped", "gyro_clipped")
_ROOM: Final = 4096  # samples to begin with


def _room(rows: int, like: NDArray[Any]) -> NDArray[Any]:
    """Uninitialised, each axis by itself in memory, as blocks come: copies over threes take twice as long."""
    return np.empty((rows, *like.shape[1:]), like.dtype, order="F")


class History:
    """The samples of one run, the oldest dropped; asked for by sample number.

    They lie in one row of memory, so that a stretch is a view and not a joining of blocks: half the time of a step.
    What is dropped is overwritten once the row is full, so whoever keeps a stretch takes a copy.
    """

    def __init__(self) -> None:
        self._blocks: deque[tuple[int, MotionBlock]] = deque()  # what each states, and the number of its last sample
        self._kept: dict[str, NDArray[Any]] = {}  # each with the same number of rows, of which `_rows` are in use
        self._rows = slice(0, 0)

    def add(self, block: MotionBlock) -> None:
        if not self._kept:
            self._kept = {f: _room(_ROOM, getattr(block, f)) for f in _FIELDS}
        if self._rows.stop + len(block) > len(self._kept["index"]):
            self._make_room(len(block))
        start = self._rows.stop
        self._rows = slice(self._rows.start, start + len(block))
        for name, kept in self._kept.items():
            kept[start : self._rows.stop] = getattr(block, name)
        self._blocks.append((int(block.index[-1]), block))

    def _make_room(self, more: int) -> None:
        """Move what is kept to the front of a row that is at least half empty, so that this is seldom."""
        size = self._rows.stop - self._rows.start
        grow = len(self._kept["index"]) < 2 * (size + more)
        for name, kept in self._kept.items():
            room = _room(2 * (size + more), kept) if grow else kept
            room[:size] = kept[self._rows]
            self._kept[name] = room
        self._rows = slice(0, size)

    def clear(self) -> None:
        self._blocks.clear()
        self._rows = slice(0, 0)

    def forget_before(self, index: int) -> None:
        """Drop the samples before a number."""
        self._rows = self._between(index, self._blocks[-1][0] + 1) if self._blocks else self._rows
        while self._blocks and self._blocks[0][0] < index:
            self._blocks.popleft()

    def _between(self, start: int, stop: int) -> slice:
        """The rows of samples [start, stop)."""
        a, b = np.searchsorted(self._kept["index"][self._rows], (start, stop)).tolist()
        return slice(self._rows.start + a, self._rows.start + b)

    def _home(self, index: int) -> MotionBlock | None:
        """The block that holds a sample, or the next one if it was lost."""
        return next((block for last, block in self._blocks if last >= index), None)

    def samples(
        self, start: int, stop: int
    ) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Index, time, force and rate of the samples received whose number is in [start, stop), as views."""
        rows, kept = self._between(start, stop), self._kept
        return kept["index"][rows], kept["time_s"][rows], kept["specific_force_m_s2"][rows], kept["rate_rad_s"][rows]

    def grid(self, start: int, stop: int) -> Grid | None:
        """Samples [start, stop) without holes, cut to what was received, to be looked at now; None if nothing was."""
        index, time_s, force, rate = self.samples(start, stop)
        if not len(index):
            return None
        clipped = self._kept["accel_clipped"][self._between(start, stop)]
        period = self._period_s(index)
        first = int(index[0])
        # a source that counts no losses (text, CSV) shows them in its times alone
        by_time = first + np.rint((time_s - time_s[0]) / period).astype(np.int64)
        if np.all(np.diff(by_time) > 0):
            index = by_time
        n = int(index[-1] - first) + 1
        if len(index) == n:
            return Grid(time_s, force, rate, clipped, np.ones(n, np.bool_), first, period)
        at = np.arange(n) + first
        there = np.zeros(n, np.bool_)
        there[index - first] = True
        full = np.zeros(n, np.bool_)
        full[index - first] = clipped

        def fill(values: NDArray[np.float64]) -> NDArray[np.float64]:
            return np.column_stack([np.interp(at, index, values[:, k]) for k in range(3)])

        return Grid(np.interp(at, index, time_s), fill(force), fill(rate), full, there, first, period)

    def _period_s(self, index: NDArray[np.int64]) -> float:
        """That of the block which holds the last of some samples."""
        home = self._home(int(index[-1]))
        assert home is not None
        return home.period_s

    def accel_delay_s(self, index: int) -> float:
        """The stated delay of the block that holds a sample; 0 where none is stated."""
        home = self._home(index)
        return (home.accel_delay_s or 0.0) if home else 0.0

    def window(self, start: int, stop: int, shock: int) -> MotionWindow:
        """Samples [start, stop) as received; what a block states is taken from the block that holds sample `shock`."""
        rows = self._between(start, stop)
        arrays = {name: kept[rows].copy(order="K") for name, kept in self._kept.items()}
        home = self._home(shock) or self._blocks[-1][1]
        return MotionWindow(
            **arrays,
            segment=home.segment,
            period_s=self._period_s(arrays["index"]),
            accel_delay_s=home.accel_delay_s,
            gyro_delay_s=home.gyro_delay_s,
            accel_bandwidth_hz=home.accel_bandwidth_hz,
            gyro_bandwidth_hz=home.gyro_bandwidth_hz,
            accel_scale_m_s2=home.accel_scale_m_s2,
            gyro_scale_rad_s=home.gyro_scale_rad_s,
            bias_stated=home.bias_stated,
            mount_stated=home.mount_stated,
        )
