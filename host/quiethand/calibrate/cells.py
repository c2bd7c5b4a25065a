"""Motion thinned to means over a hundredth of a second: small enough to keep for hours, quick enough for any swing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.errors import InputError
from quiethand.motion.block import MotionBlock

__all__ = ["CELL_S", "Cells", "cells_of"]

CELL_S: Final = 0.01


@dataclass(frozen=True)
class Cells:
    """k cells of equally many consecutive samples, in the axes of the blocks they came from."""

    time_s: NDArray[np.float64]  # (k,) the middle of each
    force_m_s2: NDArray[np.float64]  # (k, 3)
    rate_rad_s: NDArray[np.float64]  # (k, 3)
    clipped: NDArray[np.bool_]  # (k,) any sample at full scale
    begins: NDArray[np.bool_]  # (k,) the first after the start, a gap or a loss
    span_s: float  # of one cell
    samples_per_cell: int
    gyro_bandwidth_hz: float | None
    accel_bandwidth_hz: float | None

    def __len__(self) -> int:
        return len(self.time_s)

    @property
    def duration_s(self) -> float:
        """Time that the cells cover together."""
        return len(self.time_s) * self.span_s


def cells_of(blocks: Iterable[MotionBlock]) -> Cells:
    """Cut motion into cells; a cell never reaches across a loss, and samples left over before one are let go.

    Raises:
        InputError: there is no motion, or its rate changes by more than a tenth on the way.
    """
    parts: list[tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.bool_]]] = []
    held = _Held()
    last: MotionBlock | None = None
    size, period = 0, 0.0
    for block in blocks:
        if last is None:
            size, period = max(1, round(CELL_S / block.period_s)), block.period_s
        elif abs(block.period_s / period - 1) > 0.1:
            raise InputError(
                f"the sample rate changes from {1 / period:.0f} to {1 / block.period_s:.0f} Hz",
                do="record it again at one rate",
            )
        parts += held.cut(block, size)
        last = block
    if last is None or not parts:
        raise InputError("holds no motion", do="record again, with the sensor streaming")
    means = np.concatenate([part[0] for part in parts])
    return Cells(
        time_s=means[:, 0],
        force_m_s2=means[:, 1:4],
        rate_rad_s=means[:, 4:],
        clipped=np.concatenate([part[1] for part in parts]),
        begins=np.concatenate([part[2] for part in parts]),
        span_s=size * period,
        samples_per_cell=size,
        gyro_bandwidth_hz=last.gyro_bandwidth_hz,
        accel_bandwidth_hz=last.accel_bandwidth_hz,
    )


class _Held:
    """Samples at the end of a block that do not fill a cell wait for the next block."""

    def __init__(self) -> None:
        self._rows = np.empty((0, 8))  # time, force, rate, clipped
        self._next: tuple[int, int] | None = None  # segment and index that would go on without a loss
        self._fresh = True

    def cut(
        self, block: MotionBlock, size: int
    ) -> list[tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.bool_]]]:
        clipped = (block.accel_clipped | block.gyro_clipped).astype(np.float64)
        rows = np.column_stack([block.time_s, block.specific_force_m_s2, block.rate_rad_s, clipped])
        found: list[tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.bool_]]] = []
        starts = np.flatnonzero(np.diff(block.index) != 1) + 1
        for piece in np.split(np.arange(len(block)), starts):
            if not len(piece):
                continue
            if self._next != (block.segment, int(block.index[piece[0]])):
                self._rows, self._fresh = np.empty((0, 8)), True
            self._next = (block.segment, int(block.index[piece[-1]]) + 1)
            run = np.concatenate([self._rows, rows[piece]])
            whole = len(run) // size
            self._rows = run[whole * size :]
            if whole:
                cells = run[: whole * size].reshape(whole, size, 8)
                begins = np.zeros(whole, dtype=bool)
                begins[0], self._fresh = self._fresh, False
                found.append((cells[..., :7].mean(axis=1), cells[..., 7].max(axis=1) > 0, begins))
        return found
