"""Whether shots that follow each other are alike: then they tell less than as many independent ones."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.judge.resampling import generator_for

__all__ = ["Serial", "serial_correlation"]

Floats = NDArray[np.float64]

NOTICED: Final = 0.05
MOST: Final = 0.9  # beyond, a set is a handful of shots in truth, and no factor mends that
_WAYS: Final = 999


@dataclass(frozen=True)
class Serial:
    """Correlation of each shot with the next, within sets."""

    correlation: float  # lag one, with its small-sample bias taken off
    p_value: float  # one-sided, by random order
    noticed: bool
    widen: float  # by which standard errors grow; 1 where the correlation is not over half its own standard error


def serial_correlation(sets: Sequence[Floats]) -> Serial:
    """Lag-one correlation over one or more sets, each about its own mean.

    The mean of n correlated values has a standard error larger by sqrt((1 + r)/(1 - r)) (first-order autoregression,
    long sets; Box, Jenkins and Reinsel, Time Series Analysis, from memory). r of n independent values averages -1/n.

    Args:
        sets: each in order of time, shape (n,).
    """
    centred = [s - s.mean() for s in sets if len(s) >= 3]
    shots = sum(len(s) for s in centred)
    total = sum(float(s @ s) for s in centred)
    if shots < 6 or total <= 0:
        return Serial(0.0, 1.0, False, 1.0)
    raw = sum(float(s[1:] @ s[:-1]) for s in centred) / total
    rng = generator_for(*centred)
    shuffled = np.zeros(_WAYS)
    for s in centred:
        order = rng.permuted(np.broadcast_to(s, (_WAYS, len(s))), axis=1)
        shuffled += np.einsum("ij,ij->i", order[:, 1:], order[:, :-1])
    p = (1 + int(np.count_nonzero(shuffled / total >= raw - 1e-12))) / (_WAYS + 1)
    r = float(np.clip(raw + len(centred) / shots * (1 + 3 * max(raw, 0.0)), -MOST, MOST))
    # Half a standard error is given away, so that independent shots are not widened by chance every other time.
    sure = max(r - 0.5 / math.sqrt(shots), 0.0)
    return Serial(r, p, p < NOTICED, math.sqrt((1 + sure) / (1 - sure)))
