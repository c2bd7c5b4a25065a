"""What a recording has told so far of the gyro's answer to acceleration: carried from shot to shot, backward only.

The answer to a push along the arrow, g in rad/s per m/s2 for each axis of the bow frame, is a property of sensor and
mount and the same at every shot. What the bow does at a shot is partly its own each time and partly its habit: the
string pulls off the centre of mass at every shot alike. A habit that looks like the push would pass for g, so that both
are learned as one. With weights b of a shot's own (see `window_rate`) b = c + d, c common to all shots and d new each
time, a shot whose samples say (N, r) of b (normal matrix and right side of least squares) says of c

    (I + N S)^-1 N   and   (I + N S)^-1 r,    S the covariance of d,

which add up over the shots (a mixed model; Laird and Ware 1982, from memory). Only g is taken from it: what an archer
does usually must not shape what is measured of a shot.

How much a gyro feels differs tenfold between kinds, and its noise tells that only roughly. So the spread s that its
three answers come from is learned too: each s is weighed by how likely it makes what was seen of the three axes. A gyro
that feels little is then not given an answer that merely fits noise and the bow's own motion, and one that feels much
is not held back.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from quiethand.shots.window_rate import WindowRate

__all__ = ["FeltState", "felt_prior"]

# Of the variance that bows and archers differ by, this share is common to all shots of one bow and archer. The hold's
# own level and drift are new each time, the answer to acceleration never.
_HABIT_SHARE: Final = 0.8
_OWN: Final = np.array([1.0, 1.0, 1.0, *[1 - _HABIT_SHARE] * 5, 0.0])
# Sensors of one noise differ by more than this factor either way: 0.015 deg/s per g is the limit of a compensated one
# of 0.011 deg/s/sqrt(Hz), 0.1 that of a small one of 0.014 (data sheets; the latter from memory). Log-normal.
_FACTOR: Final = 1.65
_STEPS: Final = np.linspace(-3.0, 3.0, 13)
_SPREADS: Final = _FACTOR**_STEPS  # over the one expected
_WEIGHTS: Final = np.exp(-(_STEPS**2) / 2)


@dataclass(frozen=True)
class FeltState:
    """What the shots so far say of the common weights, without any prior; shapes (3, 9, 9) and (3, 9)."""

    information: NDArray[np.float64]
    seen: NDArray[np.float64]
    spread: NDArray[np.float64]  # (3, 9) how far weights differ between bows, archers and sensors
    shots: int

    @staticmethod
    def after(fit: WindowRate, before: FeltState | None) -> FeltState:
        """With one more shot."""
        own = _OWN * fit.spread**2
        inverse = np.linalg.inv(np.eye(9) + fit.information * own[:, None, :])
        information, seen = inverse @ fit.information, np.einsum("kij,kj->ki", inverse, fit.seen)
        if before is None:
            return FeltState(information, seen, fit.spread, 1)
        return FeltState(before.information + information, before.seen + seen, fit.spread, before.shots + 1)


def felt_prior(state: FeltState | None, sigma: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean and standard uncertainty of g before a shot, each (3,).

    Args:
        sigma: how far the answer differs between sensors of this kind, rad/s per m/s2.
    """
    if state is None:
        return np.zeros(3), np.full(3, sigma)
    common = (1 - _OWN) * state.spread**2
    # the level and drift of the hold have nothing in common: rows and columns of theirs do not count
    keep = np.arange(3, 9)
    pull = np.zeros((3, 6))
    pull[:, :5] = 1 / common[:, keep[:5]]
    pull[:, 5] = (1e-3 / sigma) ** 2  # next to nothing is known of g here
    covariance = np.linalg.inv(state.information[:, keep[:, None], keep] + np.eye(6) * pull[:, None, :])
    said = np.einsum("kj,kj->k", covariance[:, 5], state.seen[:, keep])
    variance = covariance[:, 5, 5]
    spread = (sigma * _SPREADS[:, None]) ** 2  # against axes
    likely = -0.5 * np.sum(np.log(spread + variance) + said**2 / (spread + variance), axis=1)
    share = _WEIGHTS * np.exp(likely - likely.max())
    share = (share / share.sum())[:, None]
    kept = spread / (spread + variance)
    mean = np.sum(share * kept * said, axis=0)
    return mean, np.sqrt(np.sum(share * (kept * variance + (kept * said - mean) ** 2), axis=0))
