"""Arrows and the time on the string: measured against modelled, and which losses of the bow fit what was measured.

With the draw-force curve's energy E and moving mass M = (m + K)/(1 - friction): speed^2 = 2 E / M (Klopsteg) and time =
tau sqrt(M), tau from the curve alone. So 2 E / speed^2 and (time / tau)^2 are both straight lines in the arrow's mass
m, of slope 1/(1 - friction) and intercept K/(1 - friction): weighted least squares.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import Axes
from quiethand.bow.curve import curve_of, stored_energy_j
from quiethand.bow.launch import Launch, launch, motion_along
from quiethand.errors import InputError
from quiethand.judge.group import Interval
from quiethand.judge.habit import mean_interval

if TYPE_CHECKING:
    from quiethand.bow.model import Setup

__all__ = ["ArrowTime", "Losses", "Observed", "Variant", "arrow_time", "fit_losses", "losses_of", "variants"]

Floats = NDArray[np.float64]

LEAST_SHOTS: Final = 5
VALLEY_M: Final = 0.0254  # the first inch of the string's way, where let-off costs most


@dataclass(frozen=True)
class ArrowTime:
    """One arrow's time on the string. `measured_s` is the mean with its interval; None with fewer than 5 shots."""

    arrow: str
    mass_kg: float
    shots: int
    measured_s: Interval | None
    scatter_s: float | None  # from shot to shot
    modelled_s: float
    modelled: Launch

    @property
    def difference_s(self) -> float | None:
        """Measured less modelled."""
        return None if self.measured_s is None else self.measured_s.value - self.modelled_s


@dataclass(frozen=True)
class Observed:
    """A mean speed or a mean time on the string of one arrow, with its standard uncertainty."""

    arrow_mass_kg: float
    speed_m_s: float | None = None
    time_on_string_s: float | None = None
    sigma: float | None = None  # of that mean, in its unit; None: as the others scatter


@dataclass(frozen=True)
class Losses:
    """What fits the measurements. Intervals are 95 %."""

    virtual_mass_kg: Interval
    friction: Interval  # fraction of the drawing force missing on the way back; no width where it was stated
    efficiency: tuple[Interval, ...]  # of each observation's arrow: its energy over the stored energy
    residuals: tuple[float, ...]  # measured less fitted, in each observation's unit (m/s or s)
    observations: tuple[Observed, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Variant:
    """What another arrow or let-off would do, by the launch model."""

    arrow_mass_kg: float
    let_off: float
    time_on_string_s: float
    rest_clear_s: float
    valley_s: float  # until the string has gone its first inch
    arrow_speed_m_s: float
    efficiency: float
    holding_weight_n: float
    sensitivity_mm_per_nm: Axes


def arrow_time(
    setup: Setup, times_s: Sequence[float | None], *, arrow: str = "", arrow_mass_kg: float | None = None
) -> ArrowTime:
    """Measured against modelled time on the string of one arrow.

    Args:
        setup: of the bow; its arrow is meant where no mass is given.
        times_s: measured, a shot each; None and NaN are left out.

    Raises:
        InputError: the set-up does not suffice for the launch model.
    """
    modelled = launch(setup, arrow_mass_kg=arrow_mass_kg)
    times = np.array([np.nan if t is None else t for t in times_s], dtype=np.float64)
    times = times[np.isfinite(times)]
    known = len(times) >= LEAST_SHOTS
    return ArrowTime(
        arrow or setup.arrow.name or "", modelled.arrow_mass_kg, len(times), mean_interval(times) if known else None,
        float(times.std(ddof=1)) if known else None, modelled.time_on_string_s, modelled,
    )  # fmt: skip


def losses_of(setup: Setup, observed: Sequence[Observed]) -> Losses:
    """Virtual mass and friction of a set-up's bow from measured speeds or times.

    Raises:
        InputError: no curve, or measurements that do not determine them.
    """
    curve = curve_of(setup.bow)
    tau = float(motion_along(curve, 1.0)[0][-1])
    notes: tuple[str, ...] = ()
    if curve.curve_from == "assumed":
        notes = ("the draw-force curve is assumed: what is wrong with it shows up as losses",)
    if setup.bow.kind == "recurve" and any(one.time_on_string_s is not None for one in observed):
        notes += ("a recurve's virtual mass is larger at the start than at brace: times make it larger than speeds do",)
    found = fit_losses(observed, stored_energy_j(curve), tau, friction=setup.bow.friction)
    return Losses(
        found.virtual_mass_kg, found.friction, found.efficiency, found.residuals, found.observations,
        (*notes, *found.notes),
    )  # fmt: skip


def fit_losses(
    observed: Sequence[Observed], stored_j: float, time_of_1_kg_s: float, *, friction: float | None = None
) -> Losses:
    """Least squares of the moving mass on the arrow's mass.

    Standard errors are the stated sigmas', or larger where the scatter is (Birge 1932); intervals by Student's t, and
    to first order for what is computed from slope and intercept.

    Args:
        observed: one arrow's mean each; at least two arrows that differ, or one where friction is known.
        stored_j: area under the draw-force curve.
        time_of_1_kg_s: time on the string with a moving mass of 1 kg.
        friction: where it is known; None: fitted too.

    Raises:
        InputError: the measurements do not determine the losses, or contradict the curve.
    """
    if not observed:
        raise InputError("no speed and no time is given", where="losses", do="measure at least one arrow")
    m = np.array([one.arrow_mass_kg for one in observed])
    moving, relative = _moving_masses(observed, stored_j, time_of_1_kg_s)
    sigma = 2 * moving * relative
    slope_known = friction is not None
    free = len(m) - (1 if slope_known else 2)
    distinct = len(np.unique(np.round(m, 6)))
    if not slope_known and distinct < 2:
        raise InputError(
            f"one arrow of {m[0] * 1e3:.1f} g does not tell virtual mass and friction apart", where="losses",
            do="measure a second one that is a third heavier, or state bow.friction",
        )  # fmt: skip
    if not np.isfinite(sigma).all():
        if free < 1:
            raise InputError(
                f"{len(m)} measurements without their uncertainty leave nothing to judge them by", where="losses",
                do="give each its sigma, or measure a third arrow",
            )  # fmt: skip
        sigma = np.ones_like(m)
        stated = False
    else:
        stated = True
    design = np.ones((len(m), 1)) if slope_known else np.column_stack([m, np.ones_like(m)])
    target = moving - m / (1 - friction) if friction is not None else moving
    a = design / sigma[:, None]
    covariance: Floats = np.asarray(np.linalg.inv(a.T @ a), dtype=np.float64)
    found = covariance @ (a.T @ (target / sigma))
    left = (target - design @ found) / sigma
    scale = float(left @ left) / free if free > 0 else 1.0
    covariance = covariance * (max(scale, 1.0) if stated else scale)
    if friction is not None:
        slope, intercept = 1 / (1 - friction), float(found[0])
        covariance = np.array([[0.0, 0.0], [0.0, covariance[0, 0]]])
    else:
        slope, intercept = float(found[0]), float(found[1])
    k = _student(free if free > 0 else math.inf)
    virtual = _interval(intercept / slope, np.array([-intercept / slope**2, 1 / slope]), covariance, k)
    lost = _interval(1 - 1 / slope, np.array([1 / slope**2, 0.0]), covariance, k)
    _refuse(virtual, lost, m)
    total = slope * m + intercept
    efficiency = tuple(
        _interval(mass / t, np.array([-(mass**2), -mass]) / t**2, covariance, k)
        for mass, t in zip(m, total, strict=True)
    )
    residuals = tuple(
        one.speed_m_s - math.sqrt(2 * stored_j / t) if one.speed_m_s is not None
        else (one.time_on_string_s or 0.0) - time_of_1_kg_s * math.sqrt(t)
        for one, t in zip(observed, total, strict=True)
    )  # fmt: skip
    notes: tuple[str, ...] = ()
    if free > 0 and stated and scale > 4:
        notes = (f"the measurements scatter {math.sqrt(scale):.1f} times as far as their uncertainties say",)
    return Losses(virtual, lost, efficiency, residuals, tuple(observed), notes)


def variants(setup: Setup, arrow_masses_kg: Sequence[float], let_offs: Sequence[float | None]) -> tuple[Variant, ...]:
    """Each arrow with each let-off, by the launch model; a let-off of None is the bow's own.

    Raises:
        InputError: the set-up does not suffice, or a value is out of range.
    """
    found = []
    for let_off in let_offs:
        for mass in arrow_masses_kg:
            run = launch(setup, arrow_mass_kg=mass, let_off=let_off)
            found.append(
                Variant(
                    mass, 1 - run.holding_weight_n / run.curve.peak_n, run.time_on_string_s, run.rest_clear_s,
                    float(np.interp(VALLEY_M, run.travel_m, run.time_s)), run.arrow_speed_m_s, run.efficiency,
                    run.holding_weight_n, run.sensitivity_mm_per_nm,
                )
            )  # fmt: skip
    return tuple(found)


def _moving_masses(observed: Sequence[Observed], stored_j: float, tau_s: float) -> tuple[Floats, Floats]:
    """Moving masses in kg and the relative uncertainty of what was measured (NaN: not stated)."""
    moving, relative = [], []
    for one in observed:
        value = one.speed_m_s if one.speed_m_s is not None else one.time_on_string_s
        if value is None or not value > 0 or not one.arrow_mass_kg > 0 or (one.sigma is not None and not one.sigma > 0):
            raise InputError(
                "a measurement needs an arrow's mass, and a speed or time, and an uncertainty, each over 0",
                where="losses",
            )
        moving.append(2 * stored_j / value**2 if one.speed_m_s is not None else (value / tau_s) ** 2)
        relative.append(math.nan if one.sigma is None else one.sigma / value)
    return np.array(moving), np.array(relative)


def _refuse(virtual: Interval, lost: Interval, m: Floats) -> None:
    reach = (virtual.high - virtual.low) / 2
    if reach > m.min():
        raise InputError(
            f"arrows of {m.min() * 1e3:.1f} to {m.max() * 1e3:.1f} g, so measured, would tell the virtual mass to plus "
            f"or minus {reach * 1e3:.0f} g only",
            where="losses",
            do="measure arrows that differ by a third or more, or more exactly",
        )
    if lost.high < 0 or virtual.high < 0:
        raise InputError(
            "the arrows leave with more than the draw-force curve stores",
            where="losses",
            do="check the curve, its units, and the arrows' masses",
        )


def _interval(value: float, gradient: Floats, covariance: Floats, k: float) -> Interval:
    reach = k * math.sqrt(max(float(gradient @ covariance @ gradient), 0.0))
    return Interval(float(value), float(value) - reach, float(value) + reach)


def _student(freedom: float) -> float:
    from scipy.special import ndtri, stdtrit

    return float(ndtri(0.975)) if math.isinf(freedom) else float(stdtrit(freedom, 0.975))
