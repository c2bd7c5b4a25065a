"""The emulator's bows: what they weigh, how they pull, and how their parts share the string's speed. All invented."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["BowKind", "BowPlan", "bow_plan"]

Floats = NDArray[np.float64]
BowKind = Literal["compound", "recurve"]
INCH = 0.0254
POUND_FORCE = 4.4482216152605
GRAIN = 64.79891e-6


@dataclass(frozen=True)
class BowPlan:
    """A bow, its arrow and where the sensor sits, as they truly are; SI units, bow frame."""

    kind: BowKind
    peak_weight_n: float
    let_off: float
    brace_height_m: float  # string to pivot point
    stroke_m: float  # string's way from full draw to brace height
    rest_m: float  # pivot point to rest, + towards the target
    arrow_mass_kg: float
    arrow_length_m: float
    string_mass_kg: float
    tip_mass_kg: float  # of each limb, as if at its tip, cam included
    friction: float  # share of the drawing force missing on the way back
    mass_kg: float
    inertia_kg_m2: tuple[float, float, float]
    string_above_m: float  # the arrow's line above the centre of mass
    lever_arm_m: tuple[float, float, float]
    loss_s: tuple[float, float]  # shortest and longest letting-go of the string hand

    @property
    def holding_weight_n(self) -> float:
        return self.peak_weight_n * (1 - self.let_off)

    @property
    def draw_length_m(self) -> float:
        """After the ATA: string to pivot point at full draw plus 1.75 in."""
        return self.brace_height_m + self.stroke_m + 1.75 * INCH

    def force_n(self, travel_m: Floats | float) -> Floats:
        """Drawing force with the string `travel_m` forward of full draw."""
        way = np.clip(np.asarray(travel_m, dtype=np.float64) / self.stroke_m, 0.0, 1.0)
        if self.kind == "recurve":
            drawn = 1 - way
            return self.peak_weight_n * drawn * (1.48 - 0.48 * drawn)
        rising = _smooth(way / 0.34)
        falling = np.clip((1 - way) / 0.46, 0.0, 1.0)
        return (
            (self.holding_weight_n + (self.peak_weight_n - self.holding_weight_n) * rising) * falling * (2.0 - falling)
        )

    def tip_share(self, travel_m: Floats | float) -> tuple[Floats, Floats]:
        """How fast the limb tips go: their forward speed, and their speed squared, over the string's (squared)."""
        way = np.clip(np.asarray(travel_m, dtype=np.float64) / self.stroke_m, 0.0, 1.0)
        if self.kind == "recurve":  # the straightening string brings the tips nearly to rest
            return 0.70 - 0.48 * way**1.4, 0.50 * (1 - way) ** 1.3 + 0.03
        # cams keep the tips slow until late
        return 0.06 + 0.02 * way, 0.022 + 0.004 * way

    def virtual_mass_kg(self, travel_m: Floats | float) -> Floats:
        """Kinetic energy of all that moves but the arrow, as a mass at the string's speed; string a third (Hickman)."""
        return self.string_mass_kg / 3 + 2 * self.tip_mass_kg * self.tip_share(travel_m)[1]

    def momentum_mass_kg(self, travel_m: Floats | float) -> Floats:
        """Forward momentum of all that moves but the arrow, over the string's speed."""
        return self.string_mass_kg / 2 + 2 * self.tip_mass_kg * self.tip_share(travel_m)[0]


def _smooth(x: Floats) -> Floats:
    s = np.clip(x, 0.0, 1.0)
    result: Floats = s * s * (3 - 2 * s)
    return result


def _compound() -> BowPlan:
    return BowPlan(
        kind="compound",
        peak_weight_n=58.0 * POUND_FORCE,
        let_off=0.80,
        brace_height_m=7.1 * INCH,
        stroke_m=19.4 * INCH,
        rest_m=0.050,
        arrow_mass_kg=365 * GRAIN,
        arrow_length_m=28.0 * INCH,
        string_mass_kg=0.0085,
        tip_mass_kg=0.060,
        friction=0.05,
        mass_kg=2.65,
        inertia_kg_m2=(0.105, 0.360, 0.300),
        string_above_m=0.016,
        lever_arm_m=(0.240, 0.0, -0.035),
        loss_s=(0.00015, 0.00030),
    )


def _recurve() -> BowPlan:
    return BowPlan(
        kind="recurve",
        peak_weight_n=39.0 * POUND_FORCE,
        let_off=0.0,
        brace_height_m=8.7 * INCH,
        stroke_m=18.4 * INCH,
        rest_m=0.010,
        arrow_mass_kg=310 * GRAIN,
        arrow_length_m=28.5 * INCH,
        string_mass_kg=0.0070,
        tip_mass_kg=0.025,
        friction=0.07,
        mass_kg=2.75,
        inertia_kg_m2=(0.085, 0.420, 0.370),
        string_above_m=0.008,
        lever_arm_m=(0.300, 0.0, -0.020),
        loss_s=(0.0026, 0.0040),
    )


_PLANS: dict[str, Callable[[], BowPlan]] = {"compound": _compound, "recurve": _recurve}


def bow_plan(kind: BowKind, *, arrow_mass_factor: float = 1.0) -> BowPlan:
    """The bow of that kind with its arrow, made heavier by a factor for training with a slow arrow."""
    plan = _PLANS[kind]()
    return replace(plan, arrow_mass_kg=plan.arrow_mass_kg * arrow_mass_factor)
