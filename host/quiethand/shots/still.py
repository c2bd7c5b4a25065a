"""Still moments: what the gyro shows when nothing moves is its bias, and how it scatters then is its noise.

A record that only looks back: at any shot it holds what was learned before. Between still moments a bias drifts, and
its uncertainty grows with the square root of the time since.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.motion.block import MotionBlock

__all__ = ["StillState", "StillTracker"]

# Rate random walk of a small MEMS gyro, and how well a mean over seconds stands for the bias at all (flicker noise):
# order of magnitude from IEEE Std 952 figures in data sheets of such sensors (from memory).
BIAS_WALK_RAD_S_SQRT_S: Final = np.deg2rad(5e-4)
BIAS_FLOOR_RAD_S: Final = np.deg2rad(3e-3)
_PIECE_S: Final = 0.25
_LEAST_S: Final = 1.0
# A bow in a stand scatters by its sensor's noise alone; a held one trembles by tenths of a degree per second. The ratio
# of slow to quick scatter tells them apart, whatever the sensor's noise.
_SLOW_RATIO: Final = 1.6
_QUIET_RAD_S: Final = np.deg2rad(1.5)
_QUIET_M_S2: Final = 0.5
_TURNED_M_S2: Final = 0.1  # gravity moves by this when the sensor turns by half a degree
_LEAST_SCATTER_RAD_S: Final = np.deg2rad(0.004)
_SLOWEST_RAD_S: Final = np.deg2rad(8.0)  # larger "biases" are a steady turn


@dataclass(frozen=True)
class StillState:
    """What still moments have told so far; the bias is what is left after a stated one was taken off."""

    bias_rad_s: NDArray[np.float64]  # (3,)
    bias_sigma_rad_s: NDArray[np.float64]  # (3,) at the last still moment
    gyro_noise_rad_s: NDArray[np.float64]  # (3,) of one sample
    last_s: float  # when it was last still
    duration_s: float

    def bias_sigma_at(self, time_s: float) -> NDArray[np.float64]:
        """The uncertainty grown since, shape (3,)."""
        walk = BIAS_WALK_RAD_S_SQRT_S * np.sqrt(max(time_s - self.last_s, 0.0))
        return np.asarray(np.sqrt(self.bias_sigma_rad_s**2 + walk**2))


@dataclass
class StillTracker:
    """Fed with blocks in order; `state` is what is known so far, None before the first still second."""

    state: StillState | None = None
    # of each quiet piece: samples, mean rate, square of a sample's noise, mean force
    _run: deque[tuple[float, ...]] = field(default_factory=lambda: deque(maxlen=40))
    _segment: int = -1

    def feed(self, block: MotionBlock) -> None:
        """Takes one block; blocks are some 0.25 s long, cut by the samples alone, so that chunking never matters."""
        if len(block) < 8:
            return
        if block.segment != self._segment:
            self._run.clear()
            self._segment = block.segment
        pieces = max(1, round(len(block) * block.period_s / _PIECE_S))
        for n in range(pieces):
            rows = slice(n * len(block) // pieces, (n + 1) * len(block) // pieces)
            if rows.stop - rows.start >= 8:
                self._piece(block, rows)

    def _piece(self, block: MotionBlock, rows: slice) -> None:
        rate, force = block.rate_rad_s[rows].T, block.specific_force_m_s2[rows].T  # an axis is a row
        mean_rate, rate_scatter = _mean_and_scatter(rate)
        quiet = max(rate_scatter) < _QUIET_RAD_S and max(map(abs, mean_rate)) < _SLOWEST_RAD_S
        if quiet:
            mean_force, force_scatter = _mean_and_scatter(force)
            quiet = max(force_scatter) < _QUIET_M_S2
        if not quiet or block.gyro_clipped[rows].any() or block.accel_clipped[rows].any():
            self._run.clear()
            return
        step = rate[:, 1:] - rate[:, :-1]
        noise = (np.einsum("ij,ij->i", step, step) / (2 * step.shape[1])).tolist()
        self._run.append((rate.shape[1], *mean_rate, *noise, *mean_force))
        table = np.array(self._run)
        counts, means, squares, forces = table[:, 0], table[:, 1:4], table[:, 4:7], table[:, 7:10]
        total = float(counts.sum())
        spans = total * block.period_s
        if spans < _LEAST_S or (forces.max(axis=0) - forces.min(axis=0)).max() > _TURNED_M_S2:
            return
        one = np.sqrt(counts @ squares / total)
        # neighbours share noise below the sensor's bandwidth; the means scatter by at most about this if nothing moves
        shared = max(1.0, 1.0 / (2.2 * block.gyro_bandwidth_hz * block.period_s)) if block.gyro_bandwidth_hz else 2.0
        expected = one * np.sqrt(2.0 * shared * len(counts) / total)
        if np.any(means.std(axis=0) > _SLOW_RATIO * np.maximum(expected, _LEAST_SCATTER_RAD_S)):
            return
        self._learn(float(block.time_s[rows.stop - 1]), counts @ means / total, one, total, shared, spans)

    def _learn(
        self,
        now_s: float,
        bias: NDArray[np.float64],
        noise: NDArray[np.float64],
        count: float,
        shared: float,
        spans_s: float,
    ) -> None:
        sigma = np.sqrt(noise**2 * shared / count + BIAS_FLOOR_RAD_S**2)
        old = self.state
        if old is not None and now_s - old.last_s > 12.0:
            # an earlier rest still counts, by its grown variance
            before = old.bias_sigma_at(now_s) ** 2
            share = before / (before + sigma**2)
            bias = old.bias_rad_s + share * (bias - old.bias_rad_s)
            sigma = np.sqrt(before * sigma**2 / (before + sigma**2))
        self.state = StillState(bias, sigma, noise, now_s, spans_s)


def _mean_and_scatter(values: NDArray[np.float64]) -> tuple[list[float], list[float]]:
    """Mean and standard deviation of each row: a third of the time of numpy's own for a thousand samples."""
    mean = values.sum(axis=1) / values.shape[1]
    off = values - mean[:, None]
    square = np.einsum("ij,ij->i", off, off) / values.shape[1]
    return mean.tolist(), np.sqrt(square).tolist()
