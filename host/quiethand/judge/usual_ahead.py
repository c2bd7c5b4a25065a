"""What the next shot should show by the shots before it, in their order: a slow drift and likeness to the shot before
raise no alarm by themselves.

The plain usual (`usual.py`) takes the earlier shots for a draw from one scatter. Where an archer drifts by a standard
deviation in twenty shots it calls more than twice as many unusual as it says. Here each shot is held against the median
of the twenty before it; what is judged is the error of that expectation, by the median and MAD of the earlier errors. A
steady drift moves all errors alike and falls out; where neighbours are alike the errors show how far the median strays.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.judge.usual import FALSE_ALARM, MAD_TO_SIGMA, Usual, ahead_factor, usual

__all__ = ["LEAST_AHEAD", "MOST_EARLIER", "expected", "usual_ahead"]

Floats = NDArray[np.float64]

WINDOW: Final = 20
_FIRST: Final = 5  # shots before the first one that is expected
LEAST_AHEAD: Final = 20  # below, the plain usual errs less than this one wavers
MOST_EARLIER: Final = 60  # what is usual is of this form of the archer, not of last year's


def expected(earlier: Floats) -> tuple[Floats, Floats]:
    """Errors of the earlier expectations, and what the next shot is expected to show.

    Args:
        earlier: shape (n, k), in order of time, the last 60 of them counting; n >= 6.

    Returns:
        Errors, shape (m, k), m = min(n, 60) - 5; the next shot's expectation, shape (k,).
    """
    x = earlier[-MOST_EARLIER:]
    n = len(x)
    guesses = np.stack([np.median(x[max(0, i - WINDOW) : i], axis=0) for i in range(_FIRST, n + 1)])
    return x[_FIRST:] - guesses[:-1], guesses[-1]


def usual_ahead(
    earlier: Iterable[float | None], *, resolution: float = 0.0, false_alarm: float = FALSE_ALARM
) -> Usual | None:
    """The range in which the next shot is usual, or None with fewer than 10 earlier (`why_no_usual` says it).

    From 10 to 19 earlier shots this is the plain usual range.

    Args:
        earlier: the measure in each earlier shot with this bow and arrow, in order of time; None and NaN are left out.
        resolution: the spread is taken to be no less than this.
        false_alarm: share of ordinary shots that fall outside, 0.002 to 0.1.
    """
    values = np.array([np.nan if v is None else v for v in earlier], dtype=np.float64)
    values = values[np.isfinite(values)]
    if len(values) < LEAST_AHEAD:
        return usual(values, resolution=resolution, false_alarm=false_alarm)
    errors, following = expected(values[:, None])
    middle = float(np.median(errors))
    sigma = max(MAD_TO_SIGMA * float(np.median(np.abs(errors - middle))), resolution)
    if sigma <= 0:
        return None
    reach = ahead_factor(min(len(values), MOST_EARLIER), false_alarm) * sigma
    centre = float(following[0]) + middle
    return Usual(centre, sigma, centre - reach, centre + reach, len(values), false_alarm)
