"""The launch model: what bow and arrow do from the release until the arrow has cleared the rest.

One degree of freedom, the string's travel x from full draw: (m + K) x'' = (1 - friction) F(x), with the arrow's mass m,
Klopsteg's virtual mass K (what of string, limbs and cams moves, as if it moved with the arrow) and the draw-force curve
F. Hence speed^2 = 2 E (1 - friction) / (m + K) at brace, and after it the arrow flies on at that speed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import Axes
from quiethand.bow.curve import DrawForceCurve, coefficients, curve_of, work_at_points_j
from quiethand.bow.model import Bow, Setup
from quiethand.errors import InputError

__all__ = ["Launch", "launch", "motion_along", "sensitivity_mm_per_nm"]

Floats = NDArray[np.float64]

CELLS: Final = 240  # steps of the output; each is integrated by Gauss's rule with six points
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)

# Where the set-up states no virtual mass. Recurve: K = 5.7697 g + 0.0583 m, fitted to a published test of a 35 lb bow
# whose losses are all in K. Compound: with the arrow at 350 gr this K makes the speed 13 % less than without losses, as
# Peters (2000) measured on one compound: 0.87^2 = m / (m + K).
RECURVE_VIRTUAL_MASS_KG: Final = 5.7697e-3
RECURVE_VIRTUAL_SHARE: Final = 0.0583
COMPOUND_VIRTUAL_MASS_KG: Final = 350 * 64.79891e-6 * (1 / 0.87**2 - 1)
# Below this an arrow is no arrow: the lightest complete ones weigh some 10 g.
LEAST_ARROW_KG: Final = 1e-3


@dataclass(frozen=True)
class Launch:
    """One launch. Arrays run from the release to departure, shape (n,), closest together at the start."""

    time_on_string_s: float
    rest_clear_s: float  # from the release until the nock has passed the rest
    arrow_speed_m_s: float
    stored_energy_j: float  # area under the draw-force curve
    kinetic_energy_j: float  # the arrow's
    efficiency: float  # kinetic over stored energy
    holding_weight_n: float
    sensitivity_mm_per_nm: Axes  # at the target, for each N m of steady torque; cant does not move the point
    curve_from: Literal["measured", "assumed"]
    curve: DrawForceCurve
    time_s: Floats
    travel_m: Floats  # of the string, from full draw
    speed_m_s: Floats
    force_n: Floats  # drawing force at that place; the string gives (1 - friction) of it
    arrow_mass_kg: float
    virtual_mass_kg: float
    friction: float
    notes: tuple[str, ...]


def launch(setup: Setup, *, arrow_mass_kg: float | None = None, let_off: float | None = None) -> Launch:
    """The launch model of a set-up.

    Args:
        setup: needs the arrow's mass and a draw-force curve or what makes a generic one.
        arrow_mass_kg: in place of the set-up's.
        let_off: fraction of peak weight in place of the set-up's.

    Raises:
        InputError: the set-up does not suffice, or a value is out of range.
    """
    bow = setup.bow
    where = setup.source or "set-up"
    mass = setup.arrow.mass_kg if arrow_mass_kg is None else arrow_mass_kg
    if mass is None:
        raise InputError("the launch model needs arrow.mass", where=where, do='state it, as in mass = "350 grain"')
    if not LEAST_ARROW_KG <= mass <= 1.0:
        do = "never shoot without an arrow: give its whole mass, 5 grains per pound of peak weight or more"
        raise InputError(f"an arrow of {mass * 1000:g} g is no arrow", where="arrow mass", do=do)
    if let_off is not None and not 0 <= let_off < 1:
        do = (
            f"write {let_off / 100:.2f} for {let_off:g} %"
            if 1 < let_off < 100
            else "write a fraction from 0 to below 1"
        )
        raise InputError(f"{let_off:g} is out of range", where="let-off", do=do)
    curve = curve_of(bow, let_off)
    virtual, friction, notes = _losses(bow, curve, mass)
    time, travel, speed, force = motion_along(curve, (mass + virtual) / (1 - friction))
    stored = float(work_at_points_j(curve)[-1])
    kinetic = mass * speed[-1] ** 2 / 2
    to_rest_m = max(curve.brace_m + bow.rest_m, 0.0)
    return Launch(
        time_on_string_s=float(time[-1]),
        rest_clear_s=float(time[-1] + to_rest_m / speed[-1]),
        arrow_speed_m_s=float(speed[-1]),
        stored_energy_j=stored,
        kinetic_energy_j=float(kinetic),
        efficiency=float(kinetic / stored),
        holding_weight_n=curve.holding_n,
        sensitivity_mm_per_nm=sensitivity_mm_per_nm(setup, float(time[-1])),
        curve_from=curve.curve_from,
        curve=curve,
        time_s=time,
        travel_m=travel,
        speed_m_s=speed,
        force_n=force,
        arrow_mass_kg=mass,
        virtual_mass_kg=virtual,
        friction=friction,
        notes=(*curve.notes, *notes),
    )


def motion_along(curve: DrawForceCurve, moving_mass_kg: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Time, travel, speed and force from full draw to brace, from rest, each of shape (n,).

    The time is the integral of dx / v with v^2 = 2 W(x) / M, where the work W is exact for the cubic pieces. From rest
    1 / v has a pole at x = 0; with x = u^2 there is none, so Gauss's rule in u is good to 1e-9 of the time.

    Raises:
        InputError: the curve holds nothing at full draw, so that the string would never start.
    """
    if curve.holding_n <= 1e-4 * curve.peak_n:
        do = "a string that is not held back by the bow does not start: check the curve and let-off"
        raise InputError(f"the bow holds {curve.holding_n:.3g} N at full draw", where="draw-force curve", do=do)
    # the same curve with travel from full draw in place of distance from the pivot point
    turned = DrawForceCurve(
        curve.full_draw_m - curve.position_m[::-1],
        curve.force_n[::-1],
        -curve.slope_n_m[::-1, ::-1],
        curve.curve_from,
    )
    knots, start, c = turned.position_m, work_at_points_j(turned), coefficients(turned)
    # not numpy's union, which imports masked arrays: 20 ms of a program's start
    edges = np.sort(np.concatenate([np.linspace(0.0, np.sqrt(knots[-1]), CELLS + 1), np.sqrt(knots)]))
    edges = edges[np.concatenate([[True], np.diff(edges) > 1e-9 * edges[-1]])]
    half, middle = np.diff(edges) / 2, (edges[1:] + edges[:-1]) / 2
    u = middle[:, None] + half[:, None] * _NODES

    def work_and_force(x: Floats) -> tuple[Floats, Floats]:
        piece = np.clip(np.searchsorted(knots, x, side="right") - 1, 0, len(c) - 1)
        r, (c0, c1, c2, c3) = x - knots[piece], np.moveaxis(c[piece], -1, 0)
        return start[piece] + r * (c0 + r * (c1 / 2 + r * (c2 / 3 + r * c3 / 4))), c0 + r * (c1 + r * (c2 + r * c3))

    work, _ = work_and_force(u * u)
    steps = half * ((2 * u / np.sqrt(2 * work / moving_mass_kg)) @ _WEIGHTS)
    travel = edges * edges
    travel[-1] = knots[-1]
    work, force = work_and_force(travel)
    return np.concatenate([[0.0], np.cumsum(steps)]), travel, np.sqrt(2 * work / moving_mass_kg), force


def sensitivity_mm_per_nm(setup: Setup, time_on_string_s: float) -> Axes:
    """Millimetres at the target for each N m of steady torque, distance x time^2 / (2 x inertia); None: not known."""
    inertia, distance_m = setup.bow.inertia_kg_m2, setup.target.distance_m
    if inertia is None or distance_m is None:
        return Axes()

    def of(moment: float | None) -> float | None:
        return None if moment is None else 1000 * distance_m * time_on_string_s**2 / (2 * moment)

    return Axes(pitch=of(inertia.pitch), yaw=of(inertia.yaw))


def _losses(bow: Bow, curve: DrawForceCurve, arrow_mass_kg: float) -> tuple[float, float, tuple[str, ...]]:
    """Virtual mass, friction, and what was assumed of them."""
    friction = bow.friction or 0.0
    if bow.virtual_mass_kg is not None:
        if bow.friction is None:
            return bow.virtual_mass_kg, 0.0, ("friction is not stated and taken as 0",)
        return bow.virtual_mass_kg, friction, ()
    # a curve that lets off tells the kind where it is not stated
    if bow.kind == "recurve" or (bow.kind is None and curve.holding_n > 0.9 * curve.peak_n):
        virtual = RECURVE_VIRTUAL_MASS_KG + RECURVE_VIRTUAL_SHARE * arrow_mass_kg
    else:
        virtual = COMPOUND_VIRTUAL_MASS_KG
    note = f"virtual mass is not stated; {virtual * 1000:.2f} g assumed, as of a published bow of its kind"
    return virtual, friction, (note,)
