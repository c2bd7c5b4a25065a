"""Allan deviation of a sensor at rest, and what is read off it: white noise, bias instability, rate random walk.

D. W. Allan, Proc. IEEE 54, 1966; overlapping estimate and worked examples in NIST SP 1065 (W. J. Riley, 2008); names
and factors for gyros after IEEE Std 952 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["AllanDeviation", "NoiseFigures", "allan_deviation", "read_noise"]

Floats = NDArray[np.float64]

# The lowest point of flicker noise lies at sqrt(2 ln 2 / pi) times its coefficient.
FLICKER_FLOOR: Final = float(np.sqrt(2 * np.log(2) / np.pi))
# A deviation from fewer than this many independent differences is uncertain by over a fifth and is not read.
LEAST_DIFFERENCES: Final = 10


@dataclass(frozen=True)
class AllanDeviation:
    """Shapes: k averaging times."""

    tau_s: Floats  # (k,)
    deviation: Floats  # (k,) in the data's unit
    relative_sigma: Floats  # (k,) about 1 / sqrt(2 (N / m - 1)), the usual estimate for N samples in clusters of m


@dataclass(frozen=True)
class NoiseFigures:
    """What one axis is like at rest, in the data's unit u; None where the record does not show it."""

    white: float | None  # u s^1/2 (= u/sqrt(Hz), two-sided density): N, read at 1 s on the line of slope -1/2
    bias_instability: float | None  # u: the lowest point / 0.664
    bias_instability_tau_s: float | None
    random_walk: float | None  # u s^-1/2: K, from the line of slope +1/2
    notes: tuple[str, ...]


def allan_deviation(
    data: Floats, rate_hz: float, cluster_sizes: NDArray[np.int64] | None = None, *, overlapping: bool = True
) -> AllanDeviation:
    """Allan deviation of evenly spaced samples of a rate or acceleration.

    sigma^2(m) = mean of (Y[i + m] - Y[i])^2 / 2, with Y the mean of m samples and i stepping by 1 (overlapping) or m.

    Args:
        data: shape (n,), n >= 2, no sample missing (average over a stretch without losses).
        rate_hz: samples a second.
        cluster_sizes: m; default some 12 to the decade, up to n / 2.
        overlapping: use every start; False is the textbook's first form.

    Returns:
        One value for each m with at least one difference.

    Raises:
        ValueError: too short, not finite, or not one axis.
    """
    data = np.asarray(data, dtype=np.float64)
    if data.ndim != 1 or len(data) < 2 or not np.isfinite(data).all():
        raise ValueError("needs one axis of two or more finite samples")
    n = len(data)
    if cluster_sizes is None:
        cluster_sizes = np.unique(np.geomspace(1, n // 2, 1 + int(12 * np.log10(max(n // 2, 1)))).astype(np.int64))
    m = cluster_sizes[(cluster_sizes >= 1) & (2 * cluster_sizes <= n)]
    # sums from the mean, so that a large bias costs no digits
    total = np.concatenate([[0.0], np.cumsum(data - data.mean())])
    deviation = np.empty(len(m))
    for i, size in enumerate(m.tolist()):
        step = 1 if overlapping else size
        means = (total[size:] - total[:-size])[::step] / size
        differences = means[size // step :] - means[: len(means) - size // step]
        deviation[i] = np.sqrt(np.mean(differences**2) / 2)
    sigma = 1 / np.sqrt(2 * np.maximum(n / m - 1, 1.0))
    return AllanDeviation(m / rate_hz, deviation, sigma)


def read_noise(allan: AllanDeviation) -> NoiseFigures:
    """White noise, bias instability and random walk from an Allan deviation.

    White noise is the median of deviation x sqrt(tau) over the longest run of points whose local slope is within 0.15
    of -1/2; random walk likewise from +1/2, deviation / sqrt(tau / 3).
    """
    notes: list[str] = []
    use = allan.relative_sigma <= 1 / np.sqrt(2 * LEAST_DIFFERENCES)
    tau, dev = allan.tau_s[use], allan.deviation[use]
    if len(tau) < 4 or not (dev > 0).all():
        return NoiseFigures(None, None, None, None, ("the record is too short, or does not change",))
    slope = np.gradient(np.log(dev), np.log(tau))
    white = _level(slope, -0.5, dev * np.sqrt(tau))
    if white is None:
        notes.append("no stretch of slope -1/2: filtered or coloured noise, no white noise read")
    walk = _level(slope, 0.5, dev / np.sqrt(tau / 3))
    lowest = int(np.argmin(dev))
    if lowest >= len(dev) - 2:
        notes.append("the deviation still falls at the longest time: record for longer to see the bias instability")
        return NoiseFigures(white, None, None, walk, tuple(notes))
    return NoiseFigures(white, float(dev[lowest]) / FLICKER_FLOOR, float(tau[lowest]), walk, tuple(notes))


def _level(slope: Floats, wanted: float, levels: Floats) -> float | None:
    """The median of `levels` over the longest run of at least three points whose slope is near `wanted`."""
    near = np.concatenate([[False], np.abs(slope - wanted) < 0.15, [False]])
    edges = np.flatnonzero(np.diff(near.astype(np.int8)))
    starts, stops = edges[::2], edges[1::2]
    if len(starts) == 0:
        return None
    longest = int(np.argmax(stops - starts))
    if stops[longest] - starts[longest] < 3:
        return None
    return float(np.median(levels[starts[longest] : stops[longest]]))
