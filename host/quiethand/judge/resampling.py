"""Resampling: how far chance alone could move a figure, by the shots at hand. Deterministic: seeded by the data.

Studentised bootstrap (bootstrap-t) for centres, BCa for other figures (Efron and Tibshirani, An Introduction to the
Bootstrap, 1993, chapters 12 and 14), permutation tests (Fisher 1935, section 21).
"""

from __future__ import annotations

import itertools
import math
import zlib
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "bca_interval", "bootstrap", "centre_and_error", "generator_for", "order_permutation_p", "sign_patterns",
    "split_permutations", "studentised_quantiles",
]  # fmt: skip

Floats = NDArray[np.float64]

TRIM: Final = 0.2  # of either end, as in Yuen (1974) and Wilcox, Introduction to Robust Estimation
_DRAWN: Final = 4_000_000  # numbers drawn at most, so that large sets stay quick
EXACT: Final = 1 << 15  # arrangements up to here are gone through one and all
_RANDOM: Final = 9999  # else so many are drawn: a p of 0.05 is then good to 0.002


def generator_for(*arrays: Floats) -> np.random.Generator:
    """A generator whose seed is the data, so that the same shots always give the same figures."""
    seed = 0
    for array in arrays:
        seed = zlib.crc32(np.ascontiguousarray(array, dtype="<f8").tobytes(), seed)
    return np.random.default_rng(seed)


def centre_and_error(values: Floats, *, trimmed: bool) -> tuple[Floats, Floats]:
    """Centre and its squared standard error along the last axis, shapes (...,).

    Mean and s^2 / n; or the mean without the highest and lowest fifth, and the squared error from the winsorised
    variance, (n - 1) s_w^2 / (h (h - 1)) with h values left (Yuen 1974).
    """
    n = values.shape[-1]
    cut = int(TRIM * n) if trimmed else 0
    if cut == 0:
        return values.mean(axis=-1), values.var(axis=-1, ddof=1) / n
    ordered = np.sort(values, axis=-1)
    left = n - 2 * cut
    centre = ordered[..., cut : n - cut].mean(axis=-1)
    ordered[..., :cut] = ordered[..., cut, None]
    ordered[..., n - cut :] = ordered[..., n - cut - 1, None]
    return centre, (n - 1) * ordered.var(axis=-1, ddof=1) / (left * (left - 1))


def _resamples(n: int) -> int:
    return int(np.clip(_DRAWN // max(n, 1), 999, 3999))


def studentised_quantiles(
    sets: tuple[Floats, ...], *, trimmed: bool, level: float, rng: np.random.Generator
) -> tuple[float, float]:
    """Quantiles of t* = (centre* - centre) / error* for the difference (last less first) of one or two sets.

    The interval is then difference - error x (upper, lower). Resamples that repeat one value alone have no error and
    are left out.
    """
    resamples = _resamples(sum(len(s) for s in sets))
    shift, squared = np.zeros(resamples), np.zeros(resamples)
    for sign, values in zip((1.0,) if len(sets) == 1 else (-1.0, 1.0), sets, strict=True):
        drawn = values[rng.integers(0, len(values), (resamples, len(values)))]
        centre, error2 = centre_and_error(drawn, trimmed=trimmed)
        shift += sign * (centre - centre_and_error(values, trimmed=trimmed)[0])
        squared += error2
    whole = squared > 0
    t = shift[whole] / np.sqrt(squared[whole])
    low, high = np.quantile(t, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def bootstrap(
    statistic: Callable[[Floats], Floats], rows: Floats, *, rng: np.random.Generator, resamples: int | None = None
) -> Floats:
    """The statistic of resamples of the rows, shape (resamples,).

    Args:
        statistic: (r, n, k) to (r,).
        rows: shape (n, k), one shot a row.
    """
    n = len(rows)
    resamples = resamples or _resamples(n)
    step = max(1, _DRAWN // (n * rows.shape[1]))
    parts = [statistic(rows[rng.integers(0, n, (min(step, resamples - at), n))]) for at in range(0, resamples, step)]
    return np.concatenate(parts)


def bca_interval(
    statistic: Callable[[Floats], Floats], rows: Floats, *, level: float = 0.95, resamples: int | None = None
) -> tuple[float, float]:
    """The bias-corrected and accelerated interval (Efron 1987), acceleration by the jackknife.

    Args:
        statistic: (r, n, k) to (r,), for any n.
        rows: shape (n, k).
    """
    from scipy.special import ndtr, ndtri

    n = len(rows)
    drawn = bootstrap(statistic, rows, rng=generator_for(rows), resamples=resamples)
    drawn = drawn[np.isfinite(drawn)]
    estimate = float(statistic(rows[None])[0])
    left_out = rows[np.array([[j for j in range(n) if j != i] for i in range(n)])]
    away = -(left := statistic(left_out)) + left.mean()
    spread = float((away**2).sum())
    acceleration = 0.0 if spread == 0 else float((away**3).sum()) / (6 * spread**1.5)
    below = (np.count_nonzero(drawn < estimate) + np.count_nonzero(drawn == estimate) / 2) / len(drawn)
    bias = float(ndtri(np.clip(below, 0.5 / len(drawn), 1 - 0.5 / len(drawn))))
    z = bias + np.array(ndtri([(1 - level) / 2, (1 + level) / 2]))
    low, high = np.quantile(drawn, ndtr(bias + z / (1 - acceleration * z)))
    return float(low), float(high)


def sign_patterns(n: int, rng: np.random.Generator) -> tuple[Floats, bool]:
    """Signs of n differences, shape (patterns, n), and whether these are all there are."""
    if 2**n <= EXACT:
        bits = (np.arange(2**n)[:, None] >> np.arange(n)) & 1
        return (1 - 2 * bits).astype(np.float64), True
    return (1 - 2 * rng.integers(0, 2, (min(_RANDOM, _DRAWN // n), n))).astype(np.float64), False


def split_permutations(n_a: int, n_b: int, rng: np.random.Generator) -> tuple[NDArray[np.intp], bool]:
    """Ways to deal n_a + n_b shots into two sets, shape (ways, n_a + n_b), the first n_a the first set's."""
    n = n_a + n_b
    if math.comb(n, n_a) <= EXACT:
        chosen = np.array(list(itertools.combinations(range(n), n_a)), dtype=np.intp)
        rest = np.ones((len(chosen), n), dtype=bool)
        rest[np.arange(len(chosen))[:, None], chosen] = False
        return np.concatenate([chosen, np.nonzero(rest)[1].reshape(len(chosen), n_b)], axis=1), True
    ways = int(np.clip(_DRAWN // n, 999, _RANDOM))
    return rng.permuted(np.broadcast_to(np.arange(n), (ways, n)), axis=1), False


def order_permutation_p(
    statistic: Callable[[Floats], Floats], values: Floats, *, rng: np.random.Generator, seen: float | None = None
) -> float:
    """Share of random orders of the values whose statistic is no smaller, the order as it is counted in.

    Args:
        statistic: (r, n) to (r,).
        values: shape (n,), in order.
        seen: the statistic to be held against the others; None: that of the order as it is.
    """
    ways = int(np.clip(_DRAWN // len(values), 999, _RANDOM))
    shuffled = rng.permuted(np.broadcast_to(values, (ways, len(values))), axis=1)
    seen = float(statistic(values[None])[0]) if seen is None else seen
    return (1 + int(np.count_nonzero(statistic(shuffled) >= seen - 1e-12 * abs(seen)))) / (ways + 1)
