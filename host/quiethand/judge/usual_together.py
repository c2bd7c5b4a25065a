"""Whether a shot is unusual in its three axes taken together: each within its own range, yet not as they go together.

Hotelling's T squared of a future observation, limit p (m + 1)(m - 1)/(m^2 - m p) F(1 - alpha; p, m - p) from m earlier
ones (NIST/SEMATECH e-Handbook, 6.5.4.3.4). Earlier shots that lie far out in an axis are left out, so that a wild one
does not hide the next.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quiethand.judge.usual import FALSE_ALARM, MAD_TO_SIGMA, prediction_factor
from quiethand.judge.usual_ahead import LEAST_AHEAD, MOST_EARLIER, expected
from quiethand.shots.model import Flag

__all__ = [
    "LEAST_TOGETHER", "UsualTogether", "flag_together", "mean_differs", "t_squared", "usual_together",
    "why_no_usual_together",
]  # fmt: skip

Floats = NDArray[np.float64]

# With 12 the limit lies 5.3 standard deviations out; with 10 over 6, and it would miss nearly everything.
LEAST_TOGETHER: Final = 12
_WILD: Final = 0.002


@dataclass(frozen=True)
class UsualTogether:
    """Centre and covariance of p measures, in their units."""

    centre: Floats  # (p,) what the next shot is expected to show
    covariance: Floats  # (p, p)
    limit: float  # of T squared
    shots: int
    left_out: int  # earlier shots that lie so far out that they were not counted
    false_alarm: float


def why_no_usual_together(shots: int) -> str | None:
    """Why so few earlier shots do not tell, in words; None where they do."""
    if shots >= LEAST_TOGETHER:
        return None
    return (
        f"{shots} earlier shots show all axes; from fewer than {LEAST_TOGETHER} how they go together cannot be told "
        "from chance"
    )


def usual_together(earlier: ArrayLike, *, false_alarm: float = FALSE_ALARM) -> UsualTogether | None:
    """What is usual of several measures together, from the shots before; None with too few or no scatter.

    Args:
        earlier: shape (n, p), in order of time; rows that lack a value are left out.
        false_alarm: share of ordinary shots whose T squared lies over the limit.
    """
    from scipy.special import fdtri

    x = np.asarray(earlier, dtype=np.float64)
    x = x[np.isfinite(x).all(axis=1)]
    if len(x) < LEAST_TOGETHER:
        return None
    n, p = x.shape
    following = np.zeros(p)
    if n >= LEAST_AHEAD:
        x, following = expected(x)
    middle = np.median(x, axis=0)
    sigma = MAD_TO_SIGMA * np.median(np.abs(x - middle), axis=0)
    wild = (np.abs(x - middle) > float(prediction_factor(np.array(max(len(x), 10)), _WILD)) * sigma).any(axis=1)
    kept = x[~wild]
    m = len(kept)
    if m < p + 3 or not (sigma > 0).all():
        return None
    covariance = np.atleast_2d(np.cov(kept, rowvar=False))
    limit = p * (m + 1) * (m - 1) / (m * m - m * p) * float(fdtri(p, m - p, 1 - false_alarm))
    return UsualTogether(following + kept.mean(axis=0), covariance, limit, n, int(wild.sum()), false_alarm)


def t_squared(value: ArrayLike, usual: UsualTogether) -> float | None:
    """(x - centre)' S^-1 (x - centre) of a new shot, shape (p,); None where a value is not known."""
    away = np.asarray(value, dtype=np.float64) - usual.centre
    return float(away @ np.linalg.solve(usual.covariance, away)) if np.isfinite(away).all() else None


def flag_together(value: ArrayLike, usual: UsualTogether | None, *, measure: str, name: str) -> Flag | None:
    """A flag where the axes together are unusual; None where they are not, or it is not known.

    Args:
        value: shape (p,), the new shot.
        measure: as the flag names it, "rotation_together".
        name: in words, "rotation at departure".
    """
    found = None if usual is None else t_squared(value, usual)
    if usual is None or found is None or found <= usual.limit:
        return None
    of = min(usual.shots, MOST_EARLIER)
    text = (
        f"{name}, three axes together: unlike the {of} shots before it; of shots like those "
        f"{100 * usual.false_alarm:g} in 100 are called so"
    )
    return Flag(measure, math.sqrt(found), math.sqrt(usual.limit), "", None, "unusual", text)


def mean_differs(rows: ArrayLike, mean: ArrayLike) -> tuple[float, float, float]:
    """Whether the mean of n shots differs from a stated one: T squared, F and p (Johnson and Wichern, 5.2).

    Args:
        rows: shape (n, p), n > p.
        mean: shape (p,).
    """
    from scipy.special import fdtrc

    x = np.asarray(rows, dtype=np.float64)
    n, p = x.shape
    away = x.mean(axis=0) - np.asarray(mean, dtype=np.float64)
    found = float(n * away @ np.linalg.solve(np.atleast_2d(np.cov(x, rowvar=False)), away))
    f = found * (n - p) / (p * (n - 1))
    return found, f, float(fdtrc(p, n - p, f))
