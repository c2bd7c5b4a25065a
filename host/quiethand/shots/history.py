"""The last seconds of motion, sample by sample, for when something has to be looked at closely."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

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


class History:
    """Blocks of one run, the oldest dropped; asked for by sample number."""

    def __init__(self) -> None:
        self._blocks: deque[MotionBlock] = deque()

    def add(self, block: MotionBlock) -> None:
        self._blocks.append(block)

    def clear(self) -> None:
        self._blocks.clear()

    def forget_before(self, index: int) -> None:
        """Drop the blocks that lie wholly before a sample number."""
        while self._blocks and self._blocks[0].index[-1] < index:
            self._blocks.popleft()

    def _pieces(self, start: int, stop: int) -> list[tuple[MotionBlock, slice]]:
        found = []
        for block in self._blocks:
            if block.index[-1] >= start and block.index[0] < stop:
                a, b = np.searchsorted(block.index, [start, stop])
                if b > a:
                    found.append((block, slice(int(a), int(b))))
        return found

    def samples(
        self, start: int, stop: int
    ) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Index, time, force and rate of the samples received whose number is in [start, stop)."""
        pieces = self._pieces(start, stop)
        return (
            np.concatenate([b.index[s] for b, s in pieces]),
            np.concatenate([b.time_s[s] for b, s in pieces]),
            np.concatenate([b.specific_force_m_s2[s] for b, s in pieces]),
            np.concatenate([b.rate_rad_s[s] for b, s in pieces]),
        )

    def grid(self, start: int, stop: int) -> Grid | None:
        """Samples [start, stop) without holes, cut to what was received; None if nothing was."""
        pieces = self._pieces(start, stop)
        if not pieces:
            return None
        index, time_s, force, rate = self.samples(start, stop)
        clipped = np.concatenate([b.accel_clipped[s] for b, s in pieces])
        period = pieces[-1][0].period_s
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

    def accel_delay_s(self, index: int) -> float:
        """The stated delay of the block that holds a sample; 0 where none is stated."""
        home = next((b for b in self._blocks if b.index[-1] >= index), None)
        return (home.accel_delay_s or 0.0) if home else 0.0

    def window(self, start: int, stop: int, shock: int) -> MotionWindow:
        """Samples [start, stop) as received; what a block states is taken from the block that holds sample `shock`."""
        pieces = self._pieces(start, stop)
        home = next((b for b, _ in pieces if b.index[-1] >= shock), pieces[-1][0])
        return MotionWindow(
            segment=home.segment,
            index=np.concatenate([b.index[s] for b, s in pieces]),
            time_s=np.concatenate([b.time_s[s] for b, s in pieces]),
            specific_force_m_s2=np.concatenate([b.specific_force_m_s2[s] for b, s in pieces]),
            rate_rad_s=np.concatenate([b.rate_rad_s[s] for b, s in pieces]),
            accel_clipped=np.concatenate([b.accel_clipped[s] for b, s in pieces]),
            gyro_clipped=np.concatenate([b.gyro_clipped[s] for b, s in pieces]),
            period_s=pieces[-1][0].period_s,
            accel_delay_s=home.accel_delay_s,
            gyro_delay_s=home.gyro_delay_s,
            accel_bandwidth_hz=home.accel_bandwidth_hz,
            gyro_bandwidth_hz=home.gyro_bandwidth_hz,
            accel_scale_m_s2=home.accel_scale_m_s2,
            gyro_scale_rad_s=home.gyro_scale_rad_s,
            bias_stated=home.bias_stated,
            mount_stated=home.mount_stated,
        )
