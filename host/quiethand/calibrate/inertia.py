"""Moment of inertia of a bow hung on two equal, parallel cords, from the period of its swing about the upright axis.

    I = m g D^2 T^2 / (16 pi^2 h),   dI/I = dm/m + 2 dT/T + 2 dD/D - dh/h

with D between the cords and h their length: the bifilar pendulum of textbooks. Its standard uncertainty is the root of
the sum of those terms' squares (GUM, JCGM 100, 5.1.6). Large swings and drag bias it (Jardin and Mueller, AIAA
2007-6822): the period is carried to small swings, T (1 - a^2/16) for an amplitude a, and to no damping.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from quiethand.calibrate.swings import SwingFit

__all__ = ["GRAVITY_M_S2", "InertiaResult", "Measurand", "bifilar_inertia", "inertia_from_swings"]

GRAVITY_M_S2: Final = 9.80665
# The correction to small swings leaves out how the cords lift and whatever drag does: a quarter of it is doubted.
_AMPLITUDE_DOUBT: Final = 0.25


@dataclass(frozen=True)
class Measurand:
    """A value and its standard uncertainty in SI units."""

    value: float
    sigma: float


@dataclass(frozen=True)
class InertiaResult:
    inertia_kg_m2: float
    sigma_kg_m2: float
    small_period_s: float  # of small, undamped swings
    small_period_sigma_s: float
    shares: dict[str, float]  # of the variance: mass, period, spacing, length; they add up to 1


def bifilar_inertia(
    mass_kg: float, spacing_m: float, cord_m: float, period_s: float, gravity_m_s2: float = GRAVITY_M_S2
) -> float:
    """I = m g D^2 T^2 / (16 pi^2 h) in kg m2."""
    return mass_kg * gravity_m_s2 * spacing_m**2 * period_s**2 / (16 * np.pi**2 * cord_m)


def inertia_from_swings(swings: SwingFit, mass: Measurand, cord: Measurand, spacing: Measurand) -> InertiaResult:
    """Inertia about the upright axis through the middle between the cords."""
    share = swings.mean_square_rad2 / 16
    undamped = 2 * np.pi / np.hypot(2 * np.pi / swings.period_s, swings.decay_per_s)
    period = undamped * (1 - share)
    period_sigma = float(np.hypot(swings.period_sigma_s, _AMPLITUDE_DOUBT * share * undamped))
    inertia = bifilar_inertia(mass.value, spacing.value, cord.value, period)
    terms = {
        "mass": mass.sigma / mass.value,
        "period": 2 * period_sigma / period,
        "spacing": 2 * spacing.sigma / spacing.value,
        "cord length": cord.sigma / cord.value,
    }
    total = float(np.sqrt(sum(term**2 for term in terms.values())))
    shares = {name: (term / total) ** 2 if total else 0.0 for name, term in terms.items()}
    return InertiaResult(inertia, inertia * total, float(period), period_sigma, shares)
