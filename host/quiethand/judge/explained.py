"""How much of a group the bow's motion explains: impacts against pointing shift and rate of turn at departure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.errors import InputError
from quiethand.judge.regression import Fit, least_squares, outlier_bound, share_interval
from quiethand.judge.resampling import generator_for

__all__ = ["LEAST_SHOTS", "UNEXPLAINED", "Direction", "Explained", "explained", "explained_words", "why_not_explained"]

Floats = NDArray[np.float64]

# Two predictors that have nothing to do with the impacts explain 2/(n - 1) of them on average: of 20 shots a tenth,
# and the 95 % interval of a share of a half runs from 0.1 to 0.75 still.
LEAST_SHOTS: Final = 20
PREDICTORS: Final = 2
_WAYS: Final = 1999
UNEXPLAINED: Final = "the string hand, the sight, the arrows, the aim, the wind, and what this sensor measures wrongly"


@dataclass(frozen=True)
class Direction:
    """One direction at the target. Slope of the shift: 1 where impacts move as the bow's turn alone would move them."""

    fit: Fit  # constant in mm; mm per mm of pointing shift; mm per deg/s of rate
    low: float  # 95 % interval of the share explained, over all such shots
    high: float


@dataclass(frozen=True)
class Explained:
    shots: int
    right: Direction
    up: Direction
    share: float  # of both directions' scatter together
    adjusted: float
    cross_validated: float
    low: float
    high: float
    p_value: float  # by dealing the impacts to the shots at random
    by_chance: float  # the share that as many unrelated predictors would explain on average
    high_leverage: tuple[int, ...]  # index of shots that pull the fit towards themselves
    outliers: tuple[int, ...]  # index of shots whose impact lies off the fit by more than chance explains

    @property
    def shown(self) -> bool:
        return self.p_value < 0.05


def why_not_explained(shots: int) -> str | None:
    """Why so few shots cannot tell, in words; None where they can."""
    if shots >= LEAST_SHOTS:
        return None
    chance = f"{100 * PREDICTORS / (shots - 1):.0f} %" if shots > PREDICTORS + 1 else "all"
    return (
        f"{shots} shots with impact and motion; two figures that have nothing to do with the impacts would seem to "
        f"explain {chance} of so few, so this is not told from fewer than {LEAST_SHOTS}"
    )


def explained(
    impacts_mm: Sequence[Sequence[float]] | Floats,
    pointing_mm: Sequence[Sequence[float]] | Floats,
    rate_deg_s: Sequence[Sequence[float]] | Floats,
) -> Explained:
    """Least squares of each direction on the pointing shift and the rate at departure that belong to it.

    Args:
        impacts_mm: shape (n, 2), right and up.
        pointing_mm: shape (n, 2), the pointing shift right and up.
        rate_deg_s: shape (n, 2), the rate at departure of yaw (for right) and of pitch (for up).

    Raises:
        InputError: too few shots, or a figure that is the same in all of them.
    """
    impacts, pointing, rate = (np.asarray(a, dtype=np.float64) for a in (impacts_mm, pointing_mm, rate_deg_s))
    n = len(impacts)
    why = why_not_explained(n)
    if why is not None:
        raise InputError(why, do="enter more impacts")
    predictors = [np.column_stack([pointing[:, side], rate[:, side]]) for side in (0, 1)]
    try:
        fits = [least_squares(predictors[side], impacts[:, side]) for side in (0, 1)]
    except ValueError as wrong:
        raise InputError(str(wrong), where="impacts and motion", do="choose other shots") from wrong
    sides = [Direction(fit, *share_interval(fit.share, n, PREDICTORS)) for fit in fits]
    away = impacts - impacts.mean(axis=0)
    weight = (away**2).sum(axis=0)
    shares = np.array([[fit.share, fit.adjusted, fit.cross_validated] for fit in fits])
    share, adjusted, unseen = (float(v) for v in weight @ shares / weight.sum())
    # two directions count as one to two sets of shots, by how equal their scatter is (Satterthwaite 1946)
    both = float(weight.sum() ** 2 / (weight**2).sum())
    low, high = share_interval(share, (n - 1) * both + 1, PREDICTORS * both)
    bound = outlier_bound(n, PREDICTORS, alpha=0.025)  # two directions
    off = np.any([np.abs(fit.studentised) > bound for fit in fits], axis=0)
    # twice its mean: the usual mark (Belsley, Kuh and Welsch 1980, 2.1)
    pulls = np.any([fit.leverage > 2 * (PREDICTORS + 1) / n for fit in fits], axis=0)
    return Explained(
        n, sides[0], sides[1], share, adjusted, unseen, low, high, _dealt_p(predictors, away, share),
        PREDICTORS / (n - 1), tuple(np.flatnonzero(pulls).tolist()), tuple(np.flatnonzero(off).tolist()),
    )  # fmt: skip


def _dealt_p(predictors: list[Floats], away: Floats, share: float) -> float:
    rng = generator_for(away, *predictors)
    order = rng.permuted(np.broadcast_to(np.arange(len(away)), (_WAYS, len(away))), axis=1)
    held = np.zeros(_WAYS)
    for side, x in enumerate(predictors):
        basis = np.linalg.qr(x - x.mean(axis=0))[0]
        held += ((away[:, side][order] @ basis) ** 2).sum(axis=1)
    return (1 + int(np.count_nonzero(held / (away**2).sum() >= share - 1e-12))) / (_WAYS + 1)


def explained_words(found: Explained) -> tuple[str, ...]:
    """What it says in plain words, a sentence each."""
    part = f"{100 * max(found.adjusted, 0):.0f} % (95 % interval {100 * found.low:.0f} to {100 * found.high:.0f} %)"
    unseen = f"{100 * max(found.cross_validated, 0):.0f} %"
    said = []
    if found.shown:
        said.append(
            f"Pointing shift and rate at departure go together with {part} of the scatter of {found.shots} impacts; of "
            f"shots that the fit has not seen they foretell {unseen}."
        )
    else:
        said.append(
            f"{found.shots} impacts do not show that the bow's motion explains any of their scatter (p "
            f"{found.p_value:.2f}); up to {100 * found.high:.0f} % cannot be ruled out."
        )
    said.append(f"What remains is unexplained: {UNEXPLAINED}.")
    return tuple(said)
