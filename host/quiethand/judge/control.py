"""Control charts: whether a measure goes on as it did, by its own scatter. Pure; a series in, lines and verdicts out.

NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals and moving range) and 6.3.2.4 (EWMA). A limit says
what scatter alone would seldom reach; it is no goal, and what lies within is not thereby good.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["BASE_POINTS", "D2", "LEAST_POINTS", "Ewma", "Individuals", "ewma", "individuals", "left_for_good"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

D2: Final = 1.128  # mean range of two normal values of standard deviation 1 (6.3.2.2; exactly 2 / sqrt(pi))
SIGMAS: Final = 3.0  # some 1 in 370 ordinary points lies further out, if they are normal and independent (6.3.2.2)
WEIGHT: Final = 0.3  # of the newest value; between 0.2 and 0.3 is usual (6.3.2.4)
# Nine moving ranges tell the spread to about a quarter of itself; with fewer, chance decides where the limits lie.
LEAST_POINTS: Final = 10
BASE_POINTS: Final = 20  # tell it to about a fifth, and leave the rest to be judged


@dataclass(frozen=True)
class Individuals:
    """Each point by itself against the middle of all, in the measure's unit."""

    centre: float
    mean_range: float
    sigma: float  # from the ranges between neighbours, so that a slow drift does not widen the limits
    low: float
    high: float
    outside: Bools  # (n,)


@dataclass(frozen=True)
class Ewma:
    """The exponentially weighted mean after each point: slow to stray, quick to tell a small lasting shift."""

    z: Floats  # (n,)
    low: Floats  # (n,)
    high: Floats  # (n,)
    outside: Bools  # (n,)


def individuals(values: ArrayLike, *, base: int | None = None, sigmas: float = SIGMAS) -> Individuals:
    """The chart of individual values: mean +- sigmas x mean moving range / d2 (6.3.2.2).

    Args:
        values: shape (n,), finite, in order of time, n >= 2.
        base: middle and limits come from the first so many values (2 or more) and all are held against them, so that
            a lasting change does not move the middle towards itself; None: from all, as the handbook's example.

    Raises:
        ValueError: fewer than two values, or one that is not finite.
    """
    x = _series(values, least=2)
    ground = _series(x[:base], least=2)
    centre, mean_range = float(ground.mean()), float(np.abs(np.diff(ground)).mean())
    sigma = mean_range / D2
    low, high = centre - sigmas * sigma, centre + sigmas * sigma
    return Individuals(centre, mean_range, sigma, low, high, (x < low) | (x > high))


def ewma(
    values: ArrayLike, *, start: float, sigma: float, weight: float = WEIGHT, sigmas: float = SIGMAS,
    steady: bool = False,
) -> Ewma:  # fmt: skip
    """z_t = weight x_t + (1 - weight) z_{t-1} (6.3.2.4).

    Args:
        values: shape (n,), finite, in order of time, n >= 1.
        start: z before the first value, such as the middle of the individuals.
        sigma: the standard deviation of a single value.
        weight: 0 < weight <= 1.
        steady: the limits of a long series from the first point on, as the handbook draws them; else those that hold
            after t points, sigma sqrt(weight / (2 - weight) (1 - (1 - weight)^(2 t))), which start narrower.

    Raises:
        ValueError: no value, one that is not finite, or a weight out of its range.
    """
    x = _series(values, least=1)
    if not 0 < weight <= 1:
        raise ValueError(f"weight is over 0 and at most 1, not {weight}")
    z = np.empty(len(x))
    last = start
    for i, value in enumerate(x):
        last = weight * value + (1 - weight) * last
        z[i] = last
    share = np.ones(len(x)) if steady else 1 - (1 - weight) ** (2 * np.arange(1, len(x) + 1))
    reach = sigmas * sigma * np.sqrt(weight / (2 - weight) * share)
    return Ewma(z, start - reach, start + reach, np.abs(z - start) > reach)


def left_for_good(outside: Sequence[bool] | Bools) -> int | None:
    """Where the last unbroken run outside begins, if it lasts to the end; None where the series ends inside."""
    flags = np.asarray(outside, dtype=bool)
    if len(flags) == 0 or not flags[-1]:
        return None
    inside = np.flatnonzero(~flags)
    return int(inside[-1]) + 1 if len(inside) else 0


def _series(values: ArrayLike, *, least: int) -> Floats:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or len(x) < least:
        raise ValueError(f"a chart takes a series of {least} values or more, not shape {x.shape}")
    if not np.isfinite(x).all():
        raise ValueError("a chart takes finite values; leave out what is not known")
    return x
