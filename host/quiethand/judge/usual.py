"""What is usual for this archer with this bow and arrow, from the shots before, and whether a new one stands out.

The centre is the median and the spread 1.4826 x the median distance from it (MAD), so that one bad shot among the
earlier ones moves neither. A new shot is unusual where it lies outside of a prediction interval: centre +- k(n) spread.
As with Student's t, k grows as the shots get fewer, so that a shot like all others is called unusual with a stated
probability whatever their number.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "FALSE_ALARM", "LEAST_SHOTS", "Usual", "UsualBand", "ahead_factor", "is_unusual", "prediction_factor", "usual",
    "usual_band", "why_no_usual",
]  # fmt: skip

Floats = NDArray[np.float64]

# One shot in a hundred like all the others is called unusual, for each measure looked at.
FALSE_ALARM: Final[float] = 0.01
# With fewer the interval is over five spreads wide either way (k(8) = 5.9) and would miss nearly everything.
LEAST_SHOTS: Final = 10
MAD_TO_SIGMA: Final = 1.4826  # 1 / the upper quartile of the normal distribution
# k such that a share of new normal values lies further than k x 1.4826 MAD from the median of n. From 400,000 simulated
# sets each (100,000 for 200), to about 0.5 %; the last is the normal distribution's own quantile. The second table: the
# same of the errors of expectation in `usual_ahead`, by earlier shots, from 160,000 sets each, to about 1 %.
# Both are made again by tests/bench/long_statistics.py.
_SHOTS: Final = np.array([10, 12, 14, 16, 20, 30, 40, 60, 100, 200, np.inf])
_FACTORS: Final[dict[float, Floats]] = {
    0.002: np.array([7.617, 6.393, 5.685, 5.229, 4.684, 4.100, 3.800, 3.526, 3.335, 3.217, 3.090]),
    0.005: np.array([6.007, 5.199, 4.736, 4.412, 4.006, 3.574, 3.351, 3.152, 2.990, 2.915, 2.807]),
    0.01: np.array([4.943, 4.395, 4.071, 3.858, 3.523, 3.157, 3.012, 2.859, 2.755, 2.672, 2.576]),
    0.02: np.array([4.096, 3.694, 3.447, 3.263, 3.061, 2.779, 2.658, 2.539, 2.446, 2.393, 2.326]),
    0.05: np.array([3.029, 2.824, 2.671, 2.565, 2.420, 2.259, 2.178, 2.103, 2.053, 2.005, 1.960]),
    0.1: np.array([2.348, 2.207, 2.116, 2.046, 1.957, 1.844, 1.792, 1.744, 1.701, 1.673, 1.645]),
}
_AHEAD_SHOTS: Final = np.array([20, 22, 26, 30, 36, 44, 60])
_AHEAD: Final[dict[float, Floats]] = {
    0.002: np.array([5.320, 5.019, 4.553, 4.273, 3.977, 3.812, 3.500]),
    0.005: np.array([4.517, 4.207, 3.902, 3.695, 3.483, 3.320, 3.111]),
    0.01: np.array([3.849, 3.665, 3.443, 3.256, 3.102, 2.963, 2.824]),
    0.02: np.array([3.268, 3.141, 2.971, 2.836, 2.710, 2.615, 2.509]),
    0.05: np.array([2.545, 2.476, 2.359, 2.293, 2.208, 2.137, 2.072]),
    0.1: np.array([2.012, 1.973, 1.914, 1.853, 1.809, 1.758, 1.717]),
}


@dataclass(frozen=True)
class Usual:
    """One measure's usual range, in the measure's unit."""

    centre: float
    sigma: float
    low: float
    high: float
    shots: int
    false_alarm: float


@dataclass(frozen=True)
class UsualBand:
    """The usual range of a trace, point by point: each point by itself has the false-alarm share.

    Shapes (g,) or (g, k) as the traces'; NaN where fewer than `LEAST_SHOTS` traces reach.
    """

    ms: Floats  # (g,)
    centre: Floats
    low: Floats
    high: Floats
    shots: int
    false_alarm: float


def usual(
    earlier: Iterable[float | None], *, resolution: float = 0.0, false_alarm: float = FALSE_ALARM
) -> Usual | None:
    """The usual range from the shots before, or None (see `why_no_usual`).

    Args:
        earlier: the measure in each earlier shot with this bow and arrow; None and NaN are left out.
        resolution: the spread is taken to be no less than this, such as the measure's own standard uncertainty.
        false_alarm: share of ordinary shots that fall outside, 0.002 to 0.1.
    """
    values = _known(earlier)
    if why_no_usual(values, resolution=resolution) is not None:
        return None
    centre = float(np.median(values))
    sigma = max(MAD_TO_SIGMA * float(np.median(np.abs(values - centre))), resolution)
    reach = float(prediction_factor(np.array(len(values)), false_alarm)) * sigma
    return Usual(centre, sigma, centre - reach, centre + reach, len(values), false_alarm)


def why_no_usual(earlier: Iterable[float | None], *, resolution: float = 0.0) -> str | None:
    """Why there is no usual range yet, in words; None where there is one."""
    values = _known(earlier)
    if len(values) < LEAST_SHOTS:
        return (
            f"{len(values)} earlier shots show this measure; from fewer than {LEAST_SHOTS} what is usual cannot be "
            "told from chance"
        )
    if resolution <= 0 and not np.median(np.abs(values - np.median(values))) > 0:
        return "over half of the earlier shots show the same value, so their spread is not known"
    return None


def is_unusual(value: float | None, usual_range: Usual | None) -> bool | None:
    """Whether a new shot's value lies outside; None where value or range is not known.

    The range must come from the shots before this one, else it would widen to let it in.
    """
    if value is None or usual_range is None or not np.isfinite(value):
        return None
    return not usual_range.low <= value <= usual_range.high


def usual_band(
    traces: Sequence[tuple[NDArray[np.floating], NDArray[np.floating]]],
    grid_ms: Floats,
    *,
    false_alarm: float = 0.05,
) -> UsualBand | None:
    """The band in which a trace of this archer usually lies, point by point.

    Args:
        traces: (ms from release, rising, shape (m,); values, shape (m,) or (m, k)) of each earlier shot.
        grid_ms: shape (g,), where the band is wanted.
        false_alarm: share of ordinary shots outside, at each point by itself; a whole trace strays more often.

    Returns:
        None with fewer than `LEAST_SHOTS` traces, or where they reach no point of the grid together.
    """
    if len(traces) < LEAST_SHOTS:
        return None
    stack = np.stack([_on_grid(ms, values, grid_ms) for ms, values in traces])  # (shots, g, k)
    known = np.isfinite(stack).all(axis=2).sum(axis=0)  # (g,)
    reached = known >= LEAST_SHOTS
    if not reached.any():
        return None
    centre = np.full(stack.shape[1:], np.nan)
    reach = centre.copy()
    inside = stack[:, reached]
    centre[reached] = np.nanmedian(inside, axis=0)
    spread = MAD_TO_SIGMA * np.nanmedian(np.abs(inside - centre[reached]), axis=0)
    reach[reached] = prediction_factor(known[reached], false_alarm)[:, None] * spread
    shape = (len(grid_ms), *traces[0][1].shape[1:])
    centre, low, high = (a.reshape(shape) for a in (centre, centre - reach, centre + reach))
    return UsualBand(grid_ms, centre, low, high, len(traces), false_alarm)


def prediction_factor(shots: NDArray[np.integer], false_alarm: float = FALSE_ALARM) -> Floats:
    """k(n) for n >= 10 earlier shots, shape as `shots`; straight between the table's entries in 1/n.

    An odd n is taken as the even one below, whose factor is a little larger.

    Raises:
        ValueError: the share is not from 0.002 to 0.1.
    """
    even = np.maximum(2 * (np.asarray(shots) // 2), LEAST_SHOTS)
    return _between(
        false_alarm, {share: np.interp(1 / even, (1 / _SHOTS)[::-1], k[::-1]) for share, k in _FACTORS.items()}
    )


def ahead_factor(shots: int, false_alarm: float = FALSE_ALARM) -> float:
    """The same for errors of expectation (`usual_ahead`), for 20 earlier shots and more; straight in 1/n."""
    at, places = 1 / max(2 * (shots // 2), 20), (1 / _AHEAD_SHOTS)[::-1]
    return float(
        _between(false_alarm, {share: np.asarray(np.interp(at, places, k[::-1])) for share, k in _AHEAD.items()})
    )


def _between(false_alarm: float, factors: dict[float, Floats]) -> Floats:
    """Between the tabled shares: straight against the normal distribution's own quantile, to 1 % of k."""
    shares = sorted(factors)
    if not shares[0] <= false_alarm <= shares[-1]:
        raise ValueError(f"false_alarm is from {shares[0]} to {shares[-1]}, not {false_alarm}")
    if false_alarm in factors:
        return factors[false_alarm]
    above = next(share for share in shares if share > false_alarm)
    below = shares[shares.index(above) - 1]
    low, high, z = (-NormalDist().inv_cdf(share / 2) for share in (above, below, false_alarm))
    part = (z - low) / (high - low)
    return np.asarray((1 - part) * factors[above] + part * factors[below])


def _known(values: Iterable[float | None]) -> Floats:
    array = np.array([np.nan if v is None else v for v in values], dtype=np.float64)
    return array[np.isfinite(array)]


def _on_grid(ms: NDArray[np.floating], values: NDArray[np.floating], grid_ms: Floats) -> Floats:
    """Shape (g, k), NaN beyond the trace's ends."""
    columns = values.reshape(len(values), -1)
    return np.column_stack([np.interp(grid_ms, ms, column, left=np.nan, right=np.nan) for column in columns.T])
