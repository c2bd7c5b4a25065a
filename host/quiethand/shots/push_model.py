"""What the string does to the riser while it drives the arrow: the shapes that the timing fits to the accelerometer.

Two laws, with the string's travel x from full draw. Energy: string, arrow and limbs move as one mass m + K(x) at the
string's speed. Momentum along the arrow, positive towards the target: the bow of mass M is held by a hand that goes on
pushing with the holding force F0 and gives like a spring and damper; the string hand's hold fades as h(t) from 1 to 0;
string, arrow and limbs carry (m + P(x)) v, so

    M a = F0 (1 - h) - d[(m + P) v]/dt - c v_bow - k x_bow

K is measured from an arrow's speed, which tells its value at brace alone. With straight, rigid limbs (Hickman) a limb
tip moves by q per metre of string, where q falls to nothing as the string straightens: tips of mass m_t add 2 m_t q^2
to K. So K(x) = K_brace + D k(x), with D not stated by anyone: shapes are made for several D, and the push tells which
it is. D changes the time on the string by a fifth, and the speed at brace not at all.

The shapes are `net` (P = K, the hand unmoved), `even`, `changing` and `middle` (P - K the same throughout, changing
along the stroke, and largest in its middle), `damper` and `spring` (the hand's give to `net`). Their weights have
priors, wide where nobody has measured. Cams keep their limbs slow: there D is 0, and one shape in v^2 is enough for
what P changes.
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

SHAPES: Final = ("net", "even", "changing", "middle", "damper", "spring")
_STEP_S: Final = 2.5e-5
# A trigger lets go within a tenth of a millisecond or two; fingers take one to five (common practice, no source).
_TRIGGER_S: Final = 0.2e-3
_FINGERS_S: Final = (1.5e-3, 2.5e-3, 3.5e-3, 4.5e-3)
# Tips of 10 to 30 g each that move by 0.45 to 0.7 per metre of string at full draw.
_LIMBS_KG: Final = (0.0, 0.006, 0.012, 0.018, 0.024, 0.030)
# Where the set-up does not state the bow's mass: most bows with stabilizers lie within 1.8 to 3.6 kg (common practice).
_USUAL_MASS_KG: Final = 2.7
_HAND_DAMPING_PER_S: Final = 30.0
_HAND_STIFFNESS_PER_S2: Final = 1000.0


@dataclass(frozen=True)
class PushShape:
    """The shapes for one way of letting go; time 0 is the release, the instant half of the hold is gone."""

    fingers: bool
    hold_loss_s: float
    limbs_kg: float  # D
    time_s: NDArray[np.float64]  # (n,) even steps, from before the hold fades to the departure
    basis: NDArray[np.float64]  # (6, n) m/s2, in the order of SHAPES
    momentum: NDArray[np.float64]  # (4, n) forward momentum under the first four shapes, over m + K at brace, m/s
    time_on_string_s: float
    weight: NDArray[np.float64]  # (6,) prior means
    weight_sigma: NDArray[np.float64]  # (6,)

    def impulse(self, weights: NDArray[np.float64]) -> NDArray[np.float64]:
        """Of the string on the bow so far over its last, (n,): the momentum gone forward, by (6,) weights."""
        gone = self.momentum[0] + weights[1:4] @ self.momentum[1:] / max(float(weights[0]), 0.2)
        return np.asarray(gone / gone[-1] if gone[-1] > 0 else self.momentum[0] / self.momentum[0, -1])


@dataclass(frozen=True)
class PushModel:
    """All shapes that this bow may show, and how well the time on the string is known beforehand."""

    shapes: tuple[PushShape, ...]
    time_sigma: float  # standard uncertainty of each shape's time on the string, as a fraction of it
    from_setup: bool
    starts_s: tuple[float, ...] = field(default=())  # times on the string to start from where it is not known

    def time_on_string_s(self) -> tuple[float, float]:
        """What is known of it before any push was seen: mean and standard uncertainty."""
        times = np.array([s.time_on_string_s for s in self.shapes])
        return float(times.mean()), float(np.hypot(times.std(), self.time_sigma * times.mean()))


def _shape(
    stroke: Stroke,
    hold_loss_s: float,
    *,
    fingers: bool,
    force_m_s2: float,
    mass_known: bool,
    moving_kg: float,
    limbs_kg: float = 0.0,
) -> PushShape:
    """Integrates the nock from full draw with a hold that fades as a raised cosine (semi-implicit Euler)."""
    a0 = float(stroke.accel_m_s2[0])
    travel, accel = stroke.travel_m, stroke.accel_m_s2
    length = float(travel[-1])
    n_max = int(0.045 / _STEP_S)
    t = -hold_loss_s / 2 + _STEP_S * np.arange(n_max)
    hold = np.where(t >= hold_loss_s / 2, 0.0, 0.5 * (1 - np.sin(np.pi * np.clip(t / hold_loss_s, -0.5, 0.5))))
    # A list of floats and numpy's own interpolation by hand: each step costs a microsecond instead of five.
    even = np.linspace(0.0, length, 512)
    table = [*np.interp(even, travel, accel).tolist(), float(accel[-1])]
    per_m = 511.0 / length
    share = limbs_kg / moving_kg
    # k(x) of rigid limbs falls nearly evenly (within 5 % of full, for limbs of 0.40 to 0.52 m)
    slope = -share / (2 * length)
    x = v = g = 0.0  # g is momentum over m + K at brace
    x_out, v_out, g_out = [], [], []
    for h in hold.tolist():
        at = x * per_m
        i = int(at)
        if i >= 511:
            break
        x_out.append(x)
        v_out.append(v)
        g_out.append(g)
        free = table[i] + (at - i) * (table[i + 1] - table[i]) - h * a0
        g = max(0.0, g + (free + slope * v * v) * _STEP_S)
        v = g / (1 + share * (1 - x / length))
        x += v * _STEP_S
    n = len(x_out)
    way, speed_v = np.array(x_out) / length, np.array(v_out)
    times: NDArray[np.float64] = np.asarray(t[:n], dtype=np.float64)

    def pushed(momentum: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(-np.gradient(momentum, _STEP_S) / a0 * force_m_s2)

    # fingers: P - K falls with x, and bulges; a trigger's bow: P grows a little along the stroke
    changing = pushed(speed_v * (1 - way)) if fingers else (speed_v / speed_v[-1]) ** 2 * force_m_s2
    middle = pushed(speed_v * 4 * way * (1 - way)) if fingers else np.zeros(n)
    net = pushed(np.array(g_out)) + (1 - hold[:n]) * force_m_s2
    speed: NDArray[np.float64] = np.cumsum(net) * _STEP_S
    place: NDArray[np.float64] = np.cumsum(speed) * _STEP_S
    basis = np.stack(
        [net, pushed(speed_v), changing, middle, -speed * _HAND_DAMPING_PER_S, -place * _HAND_STIFFNESS_PER_S2]
    )
    weight, sigma = _priors(fingers=fingers, mass_known=mass_known, limbs_share=share)
    momentum = np.vstack([g_out, np.cumsum(basis[1:4], axis=1) * (-_STEP_S * a0 / force_m_s2)])
    return PushShape(fingers, hold_loss_s, limbs_kg, times, basis, momentum, float(times[-1]), weight, sigma)


def _priors(*, fingers: bool, mass_known: bool, limbs_share: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    weight = np.array([1.0, 0.1, 0.0, 0.0, 1.0, 1.0])
    sigma = np.array([0.05 if mass_known else 0.6, 0.3, 0.3, 0.15, 1.0, 1.0])
    if fingers:
        # the tips go forward faster than their share of the energy says (geometry of rigid limbs)
        weight[1:4] = [0.1, 0.1 + 0.55 * limbs_share, 0.1 + 0.5 * limbs_share]
        sigma[1:4] = [0.3, 0.4, 0.3]
    return weight, sigma


def _time_sigma(setup: Setup, launch: Launch) -> float:
    """Relative standard uncertainty of the time on the string, the limbs' share of the moving mass given.

    Time goes as sqrt((m + K)/F) x length: virtual mass known to 10 % (of a fifth of the moving mass), friction to 0.01,
    the scale that weighed the curve to 1 %, the holding weight to 5 % (it rules the first centimetre), lengths to 3 mm.
    """
    if launch.curve_from != "measured":
        return 0.06
    parts = [0.010 if setup.bow.virtual_mass_kg is not None else 0.03]
    parts += [0.005 if setup.bow.friction is not None else 0.02, 0.005, 0.005, 0.006]
    return float(np.sqrt(np.sum(np.square(parts))))


def _ways(kind: str | None) -> list[tuple[bool, float, float]]:
    """Fingers or not, how long the hold takes to go, and D."""
    fingers = [(True, w, d) for d in _LIMBS_KG for w in (_FINGERS_S if kind == "recurve" else (3e-3,))]
    trigger = [(False, _TRIGGER_S, 0.0)]
    return {"compound": trigger, "recurve": fingers}.get(kind or "", trigger + fingers)


def _build(launch: Launch | None, setup: Setup | None) -> PushModel:
    kind = setup.bow.kind if setup is not None else None
    mass = setup.bow.mass_kg if setup is not None else None
    shapes: list[PushShape] = []
    if launch is not None and setup is not None:
        stroke = stroke_of(launch)
        force = launch.holding_weight_n / (mass or _USUAL_MASS_KG)
        moving = launch.arrow_mass_kg + launch.virtual_mass_kg
        for fingers, width, limbs in _ways(kind):
            shapes.append(
                _shape(
                    stroke,
                    width,
                    fingers=fingers,
                    force_m_s2=force,
                    mass_known=mass is not None,
                    moving_kg=moving,
                    limbs_kg=limbs,
                )
            )
        return PushModel(tuple(shapes), _time_sigma(setup, launch), from_setup=True)
    for member in family(kind):
        for fingers, width, limbs in _ways(kind):
            if fingers == (member.kind == "recurve"):
                shape = _shape(
                    member.stroke,
                    width,
                    fingers=fingers,
                    force_m_s2=member.holding_m_s2,
                    mass_known=False,
                    moving_kg=member.moving_kg,
                    limbs_kg=limbs,
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
