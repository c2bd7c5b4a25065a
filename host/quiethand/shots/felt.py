"""What a recording has told so far of the gyro's answer to acceleration: carried from shot to shot, backward only.

The answer to a push along the arrow, g in rad/s per m/s2 for each axis of the bow frame, is a property of sensor and
mount and the same at every shot. What the bow does at a shot is partly its own each time and partly its habit: the
string pulls off the centre of mass at every shot alike. A habit that looks like the push would pass for g, so that both
are learned as one. With weights b of a shot's own (see `window_rate`) b = c + d, c common to all shots and d new each
time, a shot whose samples say (N, r) of b (normal matrix and right side of least squares) says of c

    (I + N S)^-1 N   and   (I + N S)^-1 r,    S the covariance of d,

which add up over the shots (a mixed model; Laird and Ware 1982, from memory). Only g is taken from it: what an archer
does usually must not shape what is measured of a shot.
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
_OWN: Final = np.array([1.0, 1.0, 1.0, *[1 - _HABIT_SHARE] * 4, 0.0])
# The push along the arrow stands for all that the gyro feels (it pushes sideways and upward too), and what turns the
# bow at every shot in a course that no weight stands for, some hundredths of a deg/s at 5 g, is taken for an answer: no
# number of shots tells it better than to this.
_FLOOR_RAD_S_PER_M_S2: Final = np.deg2rad(5e-3) / 9.80665


@dataclass(frozen=True)
class FeltState:
    """What the shots so far say of the common weights, without any prior; shapes (3, 8, 8) and (3, 8)."""

    information: NDArray[np.float64]
    seen: NDArray[np.float64]
    spread: NDArray[np.float64]  # (3, 8) how far weights differ between bows, archers and sensors
    shots: int

    @staticmethod
    def after(fit: WindowRate, before: FeltState | None) -> FeltState:
        """With one more shot."""
        own = _OWN * fit.spread**2
        inverse = np.linalg.inv(np.eye(8) + fit.information * own[:, None, :])
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
    common[:, 7] = sigma**2
    # the level and drift of the hold have nothing in common: rows and columns of theirs do not count
    keep = np.arange(3, 8)
    normal = state.information[:, keep[:, None], keep] + np.eye(5) / common[:, None, keep]
    covariance = np.linalg.inv(normal)
    mean = np.einsum("kj,kj->k", covariance[:, 4], state.seen[:, keep])
    return mean, np.sqrt(covariance[:, 4, 4] + min(_FLOOR_RAD_S_PER_M_S2, 0.5 * sigma) ** 2)
