"""The push on the riser while the string drives the arrow, by momentum balance along the arrow.

With the bow hand pushing on as it did at full draw, riser and what moves exchange momentum only with each other:

    push = hand - d[(m + P) v]/dt

m is the arrow's mass, v its speed, and P v the momentum of string, limbs and cams (K v^2 / 2 their energy). P is at
least K, as what moves slower than the nock carries more momentum for its energy.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.bow.launch import Launch
from quiethand.bow.model import Bow

__all__ = ["RiserPush", "riser_push"]

# P over K, taken as steady along the stroke. Recurve: rigid limbs after Hickman start about 1.5 g backward for 178 N, a
# 20 g arrow and a riser of 2.7 kg, which this gives. Compound: the push is taken to grow from nothing. Both are models.
MOMENTUM_SHARE: Final = {"recurve": 1.9, "compound": 1.0}


@dataclass(frozen=True)
class RiserPush:
    """From release to departure, shape (n,); + is towards the target, so the push starts at 0 or negative."""

    time_s: NDArray[np.float64]
    push_n: NDArray[np.float64]
    acceleration_m_s2: NDArray[np.float64] | None  # of the bow, None without its mass


def riser_push(launch: Launch, bow: Bow) -> RiserPush:
    """The push along the launch model's times.

    A held string gives back (1 - friction) of the drawing force, and that is what the bow hand pushes with.
    """
    lets_off = launch.holding_weight_n < 0.9 * launch.curve.peak_n
    share = MOMENTUM_SHARE[bow.kind or ("compound" if lets_off else "recurve")]
    m, k = launch.arrow_mass_kg, launch.virtual_mass_kg
    given_n = (1 - launch.friction) * launch.force_n  # = (m + K) dv/dt
    push = given_n[0] - given_n * (m + share * k) / (m + k)
    return RiserPush(launch.time_s, push, None if bow.mass_kg is None else push / bow.mass_kg)
