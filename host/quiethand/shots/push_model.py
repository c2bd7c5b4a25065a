"""What the string does to the riser while it drives the arrow: the shapes that the timing fits to the accelerometer.

Momentum balance along the arrow, positive towards the target. The bow of mass M is held by a hand that goes on pushing
with the holding force F0 and gives like a spring and damper; the string hand's hold fades as h(t) from 1 to 0; string,
arrow and limbs carry the momentum (m + P) v, so

    M a = F0 (1 - h) - d[(m + P) v]/dt - c v_bow - k x_bow

With a_L the launch model's acceleration of the nock and A = (m + K) a_L the force that drives it, the shapes are
`net` (P = K, the hand unmoved), `drive` (more or less momentum per speed than K says), `spread` (P that changes along
the stroke, in v^2), `damper` and `spring` (the hand's give to `net`). Their weights have priors, wide where nobody has
measured.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.curve_family import Stroke, family, stroke_of

if TYPE_CHECKING:
    from quiethand.bow.launch import Launch
    from quiethand.bow.model import Setup

__all__ = ["SHAPES", "PushModel", "PushShape", "push_model"]

SHAPES: Final = ("net", "drive", "spread", "damper", "spring")
_STEP_S: Final = 2.5e-5
# A trigger lets go within a tenth of a millisecond or two; fingers take one to five (common practice, no source).
_TRIGGER_S: Final = 0.2e-3
_FINGERS_S: Final = (1.5e-3, 2.5e-3, 3.5e-3, 4.5e-3)
# Where the set-up does not state the bow's mass: most bows with stabilizers lie within 1.8 to 3.6 kg (common practice).
_USUAL_MASS_KG: Final = 2.7
_HAND_DAMPING_PER_S: Final = 30.0
_HAND_STIFFNESS_PER_S2: Final = 1000.0


@dataclass(frozen=True)
class PushShape:
    """The shapes for one way of letting go; time 0 is the release, the instant half of the hold is gone."""

    fingers: bool
    hold_loss_s: float
    time_s: NDArray[np.float64]  # (n,) even steps, from before the hold fades to the departure
    basis: NDArray[np.float64]  # (5, n) m/s2, in the order of SHAPES
    string_speed: NDArray[np.float64]  # (n,) of the nock over its final speed: the string's impulse so far
    time_on_string_s: float
    weight: NDArray[np.float64]  # (5,) prior means
    weight_sigma: NDArray[np.float64]  # (5,)


@dataclass(frozen=True)
class PushModel:
    """All shapes that this bow may show, and how well the time on the string is known beforehand."""

    shapes: tuple[PushShape, ...]
    time_sigma: float  # standard uncertainty of the time on the string, as a fraction of it
    from_setup: bool
    starts_s: tuple[float, ...] = field(default=())  # times on the string to start from where it is not known


def _shape(
    stroke: Stroke, hold_loss_s: float, *, fingers: bool, force_m_s2: float, mass_known: bool, generic: bool = False
) -> PushShape:
    """Integrates the nock from full draw with a hold that fades as a raised cosine (semi-implicit Euler)."""
    a0 = float(stroke.accel_m_s2[0])
    travel, accel = stroke.travel_m, stroke.accel_m_s2
    n_max = int(0.045 / _STEP_S)
    start = -hold_loss_s / 2
    t = start + _STEP_S * np.arange(n_max)
    hold = np.where(t >= hold_loss_s / 2, 0.0, 0.5 * (1 - np.sin(np.pi * np.clip(t / hold_loss_s, -0.5, 0.5))))
    # A list of floats and numpy's own interpolation by hand: each step costs a microsecond instead of five.
    even = np.linspace(0.0, float(travel[-1]), 512)
    table = [*np.interp(even, travel, accel).tolist(), float(accel[-1])]
    per_m = 511.0 / float(travel[-1])
    x = v = 0.0
    a_out, v_out = [], []
    for h in hold.tolist():
        at = x * per_m
        i = int(at)
        if i >= 511:
            break
        free = table[i] + (at - i) * (table[i + 1] - table[i])
        a = max(0.0, free - h * a0)
        a_out.append(a)
        v_out.append(v)
        v += a * _STEP_S
        x += v * _STEP_S
    n = len(a_out)
    a_arr, v_arr = np.array(a_out), np.array(v_out)
    times: NDArray[np.float64] = np.asarray(t[:n], dtype=np.float64)
    drive = -a_arr / a0 * force_m_s2
    net = drive + (1 - hold[:n]) * force_m_s2
    speed: NDArray[np.float64] = np.cumsum(net) * _STEP_S
    place: NDArray[np.float64] = np.cumsum(speed) * _STEP_S
    v_rel = v_arr / v_arr[-1]
    basis = np.stack([net, drive, v_rel**2 * force_m_s2, -speed * _HAND_DAMPING_PER_S, -place * _HAND_STIFFNESS_PER_S2])
    # `drive` is over K by the limbs' forward momentum; recurve limbs carry more of it and give it up along the stroke.
    weight = np.array([1.0, 0.1, 0.0, 1.0, 1.0])
    sigma = np.array([0.05 if mass_known else 0.6, 0.3, 1.5 if fingers else 0.3, 1.0, 1.0])
    if generic and fingers:
        # limbs only ever give momentum up: without this a recurve's shape could pass for a compound's
        weight[2], sigma[2] = 0.5, 0.5
    return PushShape(fingers, hold_loss_s, times, basis, v_rel, float(times[-1]), weight, sigma)


def _time_sigma(setup: Setup, launch: Launch) -> float:
    """Relative standard uncertainty of the launch model's time on the string.

    Time goes as sqrt((m + K)/F) x length: virtual mass known to 10 % (of a fifth of the moving mass), friction to 0.01,
    the scale that weighed the curve to 1 %, the holding weight to 5 % (it rules the first centimetre), lengths to 3 mm.
    """
    if launch.curve_from != "measured":
        return 0.06
    parts = [0.010 if setup.bow.virtual_mass_kg is not None else 0.03]
    parts += [0.005 if setup.bow.friction is not None else 0.02, 0.005, 0.005, 0.006]
    return float(np.sqrt(np.sum(np.square(parts))))


def _build(launch: Launch | None, setup: Setup | None) -> PushModel:
    kind = setup.bow.kind if setup is not None else None
    ways = {
        "compound": [(False, _TRIGGER_S)],
        "recurve": [(True, w) for w in _FINGERS_S],
        None: [(False, _TRIGGER_S), (True, 3e-3)],
    }[kind]
    mass = setup.bow.mass_kg if setup is not None else None
    shapes: list[PushShape] = []
    if launch is not None and setup is not None:
        stroke = stroke_of(launch)
        force = launch.holding_weight_n / (mass or _USUAL_MASS_KG)
        shapes += [_shape(stroke, w, fingers=f, force_m_s2=force, mass_known=mass is not None) for f, w in ways]
        return PushModel(tuple(shapes), _time_sigma(setup, launch), from_setup=True)
    for member in family(kind):
        for fingers, width in ways:
            if fingers == (member.kind == "recurve"):
                shape = _shape(
                    member.stroke,
                    width,
                    fingers=fingers,
                    force_m_s2=member.holding_m_s2,
                    mass_known=False,
                    generic=True,
                )
                shapes.append(shape)
    return PushModel(tuple(shapes), 0.25, from_setup=False, starts_s=(0.012, 0.015, 0.019))


_kept: list[tuple[Launch | None, Setup | None, PushModel]] = []


def push_model(launch: Launch | None, setup: Setup | None) -> PushModel:
    """The shapes for this bow; the last few are kept, since every shot of a recording asks for the same."""
    for kept_launch, kept_setup, model in _kept:
        if kept_launch is launch and kept_setup is setup:
            return model
    model = _build(launch, setup)
    _kept.append((launch, setup, model))
    del _kept[:-4]
    return model
