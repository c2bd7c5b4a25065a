"""Still moments: what the gyro shows when nothing moves is its bias, and how it scatters then is its noise.

A record that only looks back: at any shot it holds what was learned before. Between still moments a bias drifts, and
its uncertainty grows with the square root of the time since.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.knock import G0
from quiethand.shots.slots import Slots

__all__ = ["StillState", "StillTracker"]

Floats = NDArray[np.float64]

# Rate random walk of a small MEMS gyro, and how well a mean over seconds stands for the bias at all (flicker noise):
# order of magnitude from IEEE Std 952 figures in data sheets of such sensors (from memory).
BIAS_WALK_RAD_S_SQRT_S: Final = np.deg2rad(5e-4)
BIAS_FLOOR_RAD_S: Final = np.deg2rad(3e-3)
PIECE_SLOTS: Final = 5  # a quarter of a second
_LEAST_S: Final = 1.0
_MOST_PIECES: Final = 40
# A bow in a stand scatters by its sensor's noise alone; a held one trembles by tenths of a degree per second. The ratio
# of slow to quick scatter tells them apart, whatever the sensor's noise.
_SLOW_RATIO: Final = 1.6
_QUIET_RAD_S: Final = np.deg2rad(1.5)
_QUIET_M_S2: Final = 0.5
_QUIET_JOLT_M_S2: Final = 0.45 * G0  # what is called a knock elsewhere too
_TURNED_M_S2: Final = 0.1  # gravity moves by this when the sensor turns by half a degree
_LEAST_SCATTER_RAD_S: Final = np.deg2rad(0.004)
_SLOWEST_RAD_S: Final = np.deg2rad(8.0)  # larger "biases" are a steady turn
# A sample differs from its neighbour by no more than rates do within a cell, or half as much again across two cells.
_ACROSS: Final = 1.5


@dataclass(frozen=True)
class StillState:
    """What still moments have told so far; the bias is what is left after a stated one was taken off."""

    bias_rad_s: Floats  # (3,)
    bias_sigma_rad_s: Floats  # (3,) at the last still moment
    gyro_noise_rad_s: Floats  # (3,) of one sample
    last_s: float  # when it was last still
    duration_s: float

    def bias_sigma_at(self, time_s: float) -> Floats:
        """The uncertainty grown since, shape (3,)."""
        walk = BIAS_WALK_RAD_S_SQRT_S * np.sqrt(max(time_s - self.last_s, 0.0))
        return np.asarray(np.sqrt(self.bias_sigma_rad_s**2 + walk**2))


@dataclass
class _Piece:
    """A quarter of a second that may be still."""

    slot: int  # its first
    samples: int
    mean_rate: tuple[float, float, float]
    mean_force: tuple[float, float, float]
    swing: tuple[float, float, float]  # mean square of the most that rates change by within a cell
    end_s: float
    noise: Floats | None = None  # square of one sample's, once it was asked for


class StillTracker:
    """Fed with slots of one run in order; what it knew at any time of the last ten seconds and more can be asked for.

    Nearly always cells alone show that nothing is still; only where they leave it open is the noise of samples
    looked at.
    """

    def __init__(self) -> None:
        self._states: deque[StillState] = deque(maxlen=128)
        self._restart()

    def _restart(self) -> None:
        self._run: deque[_Piece] = deque(maxlen=_MOST_PIECES)
        self._sum, self._square, self._swing = [0.0] * 3, [0.0] * 3, [0.0] * 3

    def begin(self, period_s: float) -> None:
        """Another run of samples begins."""
        self._restart()
        self._period_s = period_s

    def state_at(self, time_s: float) -> StillState | None:
        """What was known then; None before the first still second."""
        return next((state for state in reversed(self._states) if state.last_s <= time_s), None)

    def take(self, slots: Slots, bandwidth_hz: float | None, rates: Callable[[int, int], Floats]) -> None:
        """The next slots, whole pieces of them (what is over is left out).

        Args:
            slots: from the first of a piece on.
            bandwidth_hz: the gyro's.
            rates: gives the rates (n, 3) in rad/s that were received in slots [start, stop) of the run.
        """
        n = len(slots.time_s) // PIECE_SLOTS
        rows = slice(0, n * PIECE_SLOTS)

        def mean(values: Floats) -> Floats:
            return np.asarray(values[rows].reshape(n, PIECE_SLOTS, 3).sum(axis=1) / PIECE_SLOTS)

        rate, force = mean(slots.rate_rad_s), mean(slots.force_m_s2)
        rate_scatter, force_scatter = mean(slots.rate_square) - rate**2, mean(slots.force_square) - force**2
        quiet = (
            (rate_scatter.max(axis=1, initial=0.0) < _QUIET_RAD_S**2)
            & (np.abs(rate).max(axis=1, initial=0.0) < _SLOWEST_RAD_S)
            & (force_scatter.max(axis=1, initial=0.0) < _QUIET_M_S2**2)
            & (slots.jolt_m_s2[rows].reshape(n, PIECE_SLOTS).max(axis=1, initial=0.0) < _QUIET_JOLT_M_S2)
        )
        samples = slots.samples[rows].reshape(n, PIECE_SLOTS).sum(axis=1).tolist()
        swing, ends = mean(slots.swing_square), slots.end_s[PIECE_SLOTS - 1 :: PIECE_SLOTS]
        each = zip(quiet.tolist(), samples, rate.tolist(), force.tolist(), swing.tolist(), ends.tolist(), strict=False)
        for at, (still, count, of_rate, of_force, of_swing, end_s) in enumerate(each):
            if not still or count < 8:
                if self._run:
                    self._restart()
                continue
            self._add(_Piece(slots.first + at * PIECE_SLOTS, count, of_rate, of_force, of_swing, end_s))
            if self._may_be_still(bandwidth_hz):
                self._look(bandwidth_hz, rates)

    def _add(self, piece: _Piece) -> None:
        """Running sums over the run: what is taken off again leaves a rounding error of parts in 10^15 behind."""
        old = self._run[0] if len(self._run) == _MOST_PIECES else None
        self._run.append(piece)
        for k in range(3):
            rate = piece.mean_rate[k]
            self._sum[k] += rate
            self._square[k] += rate * rate
            self._swing[k] += piece.swing[k]
            if old is not None:
                gone = old.mean_rate[k]
                self._sum[k] -= gone
                self._square[k] -= gone * gone
                self._swing[k] -= old.swing[k]

    def _shared(self, bandwidth_hz: float | None) -> float:
        """Neighbours share noise below the sensor's bandwidth."""
        return max(1.0, 1.0 / (2.2 * bandwidth_hz * self._period_s)) if bandwidth_hz else 2.0

    def _may_be_still(self, bandwidth_hz: float | None) -> bool:
        """By cells alone: the means scatter no more than the most that the samples' noise can be allows."""
        n = len(self._run)
        samples = self._run[0].samples  # all pieces are about alike
        if n * samples * self._period_s < 0.5 * _LEAST_S:
            return False
        allowed = _SLOW_RATIO**2 * 2.0 * self._shared(bandwidth_hz) / (0.5 * samples)
        for total, square, swing in zip(self._sum, self._square, self._swing, strict=True):
            scatter = square / n - (total / n) ** 2
            if scatter > max(allowed * _ACROSS**2 * swing / (2 * n), _SLOW_RATIO**2 * _LEAST_SCATTER_RAD_S**2):
                return False
        return True

    def _look(self, bandwidth_hz: float | None, rates: Callable[[int, int], Floats]) -> None:
        for piece in self._run:
            if piece.noise is None:
                rate = rates(piece.slot, piece.slot + PIECE_SLOTS).T  # an axis is a row
                step = rate[:, 1:] - rate[:, :-1]
                piece.noise = np.einsum("ij,ij->i", step, step) / (2 * max(step.shape[1], 1))
        counts = np.array([float(piece.samples) for piece in self._run])
        means = np.array([piece.mean_rate for piece in self._run])
        squares = np.array([piece.noise for piece in self._run])
        forces = np.array([piece.mean_force for piece in self._run])
        total = float(counts.sum())
        spans = total * self._period_s
        if spans < _LEAST_S or (forces.max(axis=0) - forces.min(axis=0)).max() > _TURNED_M_S2:
            return
        one = np.sqrt((counts[:, None] * squares).sum(axis=0) / total)
        shared = self._shared(bandwidth_hz)
        # the means scatter by at most about this if nothing moves
        expected = one * np.sqrt(2.0 * shared * len(counts) / total)
        if np.any(means.std(axis=0) > _SLOW_RATIO * np.maximum(expected, _LEAST_SCATTER_RAD_S)):
            return
        # The newest piece may hold the first stir of what ends the rest: it only says that the others were still.
        counts, means, squares = counts[:-1], means[:-1], squares[:-1]
        total = float(counts.sum())
        spans = total * self._period_s
        if spans < _LEAST_S:
            return
        bias = (counts[:, None] * means).sum(axis=0) / total
        one = np.sqrt((counts[:, None] * squares).sum(axis=0) / total)
        self._learn(self._run[-2].end_s, bias, one, total, shared, spans)

    def _learn(self, now_s: float, bias: Floats, noise: Floats, count: float, shared: float, spans_s: float) -> None:
        sigma = np.sqrt(noise**2 * shared / count + BIAS_FLOOR_RAD_S**2)
        old = self._states[-1] if self._states else None
        if old is not None and now_s - old.last_s > 12.0:
            # an earlier rest still counts, by its grown variance
            before = old.bias_sigma_at(now_s) ** 2
            share = before / (before + sigma**2)
            bias = old.bias_rad_s + share * (bias - old.bias_rad_s)
            sigma = np.sqrt(before * sigma**2 / (before + sigma**2))
        self._states.append(StillState(bias, sigma, noise, now_s, spans_s))
