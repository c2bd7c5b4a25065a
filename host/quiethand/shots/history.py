"""The last seconds of motion, sample by sample, for when something has to be looked at closely."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quiethand.motion.block import SAMPLED, MotionBlock
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
    """The blocks of one run, the oldest dropped; asked for by sample number.

    They are kept as they come, and motion is made of the stretches that are asked for alone.
    """

    def __init__(self) -> None:
        self._blocks: deque[MotionBlock] = deque()

    def add(self, block: MotionBlock) -> None:
        self._blocks.append(block)

    def clear(self) -> None:
        self._blocks.clear()

    def forget_before(self, index: int) -> None:
        """Drop the blocks all of whose samples come before a number."""
        while self._blocks and int(self._blocks[0].index[-1]) < index:
            self._blocks.popleft()

    def parts(self, start: int, stop: int) -> list[MotionBlock]:
        """What was received of the samples whose number is in [start, stop), as parts of blocks."""
        parts = []
        for block in self._blocks:
            if block.index[-1] >= start and block.index[0] < stop:
                a, b = np.searchsorted(block.index, (start, stop)).tolist()
                if a < b:
                    parts.append(block.part(slice(a, b)))
        return parts

    def last_before(self, index: int) -> MotionBlock | None:
        """The last sample received before a number, as a block of one."""
        for block in reversed(self._blocks):
            if block.index[0] < index:
                at = int(np.searchsorted(block.index, index))
                return block.part(slice(at - 1, at))
        return None

    def _home(self, index: int) -> MotionBlock | None:
        """The block that holds a sample, or the next one if it was lost."""
        return next((block for block in self._blocks if block.index[-1] >= index), None)

    def grid(self, start: int, stop: int) -> Grid | None:
        """Samples [start, stop) without holes, cut to what was received, to be looked at now; None if nothing was."""
        parts = self.parts(start, stop)
        if not parts:
            return None
        index, time_s, force, rate, clipped, _ = _joined(parts).values()
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
        return home.period_at(int(index[-1]))

    def accel_delay_s(self, index: int) -> float:
        """The stated delay of the block that holds a sample; 0 where none is stated."""
        home = self._home(index)
        return (home.accel_delay_s or 0.0) if home else 0.0

    def window(self, start: int, stop: int, shock: int) -> MotionWindow:
        """Samples [start, stop) as received; what a block states is taken from the block that holds sample `shock`."""
        arrays = _joined(self.parts(start, stop))
        home = self._home(shock) or self._blocks[-1]
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


def _joined(parts: list[MotionBlock]) -> dict[str, NDArray[Any]]:
    """The samples of some parts, one array each; each axis lies in memory by itself, as in a block."""
    if len(parts) == 1:
        return {name: getattr(parts[0], name) for name in SAMPLED}
    return {name: np.concatenate([getattr(part, name).T for part in parts], axis=-1).T for name in SAMPLED}
