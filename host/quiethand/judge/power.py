"""How many shots a difference takes, and which difference so many shots could show. By the noncentral t distribution.

Power is that of Student's test on normal values: J. Cohen, Statistical Power Analysis for the Behavioral Sciences
(1988), chapter 2. A permutation test of the means has nearly the same.
"""

from __future__ import annotations

import math
from typing import Final

__all__ = ["ALPHA", "POWER", "holm", "power_of", "shots_needed", "smallest_difference"]

ALPHA: Final = 0.05  # how often chance alone is taken for a difference
POWER: Final = 0.8  # how often a difference of the stated size is found
MOST_SHOTS: Final = 1_000_000


def power_of(difference: float, sd: float, n_a: float, n_b: float | None = None, *, alpha: float = ALPHA) -> float:
    """The chance that a two-sided test of these shots finds a true difference.

    Args:
        difference, sd: in one unit; sd of a single shot, or of a single pair's difference.
        n_a, n_b: shots in either set; n_b None: n_a pairs.
    """
    from scipy.special import nctdtr, stdtrit

    share = 1 / n_a if n_b is None else 1 / n_a + 1 / n_b
    freedom = n_a - 1 if n_b is None else n_a + n_b - 2
    if freedom < 1:
        return 0.0
    reach = float(stdtrit(freedom, 1 - alpha / 2))
    moved = abs(difference) / (sd * math.sqrt(share))
    if moved > 35:  # beyond which the series for the distribution gives out; power is 1 to 300 digits
        return 1.0
    return float(1 - nctdtr(freedom, moved, reach) + nctdtr(freedom, moved, -reach))


def smallest_difference(
    sd: float, n_a: float, n_b: float | None = None, *, alpha: float = ALPHA, power: float = POWER
) -> float:
    """The true difference that these shots would find with the stated chance, in the unit of `sd`."""
    if sd <= 0:
        return 0.0
    low, high = 0.0, 1.0
    while power_of(high, 1.0, n_a, n_b, alpha=alpha) < power:
        low, high = high, 2 * high
        if high > 1e6:
            return math.inf
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if power_of(middle, 1.0, n_a, n_b, alpha=alpha) < power else (low, middle)
    return sd * high


def shots_needed(
    difference: float, sd: float, *, paired: bool = False, alpha: float = ALPHA, power: float = POWER
) -> float:
    """Shots in each set (or pairs) that a true difference takes, not yet rounded up; inf for no difference.

    Raises:
        ValueError: sd is not over 0.
    """
    if not sd > 0:
        raise ValueError(f"a spread is over 0, not {sd}")

    def enough(n: float) -> bool:
        return power_of(difference, sd, n, None if paired else n, alpha=alpha) >= power

    low, high = 2.0, 4.0
    while not enough(high):
        low, high = high, 2 * high
        if high > MOST_SHOTS:
            return math.inf
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def holm(p_values: list[float]) -> list[float]:
    """The p of each among many, raised for their number (S. Holm, Scand. J. Statist. 6, 1979); in the given order."""
    order = sorted(range(len(p_values)), key=p_values.__getitem__)
    adjusted, least = [0.0] * len(p_values), 0.0
    for rank, i in enumerate(order):
        least = max(least, min(1.0, (len(p_values) - rank) * p_values[i]))
        adjusted[i] = least
    return adjusted
