"""The cautions, each worded once: page, README and output all take them from here.

A tool that makes people look at heavy and light arrows, let-off and time on the string must say where its figures end
and the maker's limits begin.
"""

from __future__ import annotations

from typing import Final

from quiethand.bow.model import Setup

__all__ = [
    "BEFORE_EVERYTHING", "DRY_FIRE", "LEAST_GRAINS_PER_POUND", "LOOSE_SENSOR", "NEVER_WITHOUT_ARROW", "SHOCK",
    "STANDING", "arrow_grains_per_pound", "cautions_for",
]  # fmt: skip

NEVER_WITHOUT_ARROW: Final = "Never shoot without an arrow on the string."
BEFORE_EVERYTHING: Final = (
    "The limits of the bow's and the arrow's maker, the range's rules and a coach's word come before any figure here."
)
LOOSE_SENSOR: Final = (
    "A sensor that comes loose becomes a missile and spoils the shot: check its screw or tape, and its cable, before "
    "every end."
)
SHOCK: Final = (
    "After a shock to a limb, a cam or the string (a dry fire, a broken nock, a fall) have the bow inspected before it "
    "is drawn again."
)
DRY_FIRE: Final = (
    "This looks like a shot without an arrow: do not draw the bow again until someone who knows its kind has inspected "
    "limbs, cams, cables and string."
)
STANDING: Final = (NEVER_WITHOUT_ARROW, BEFORE_EVERYTHING, LOOSE_SENSOR, SHOCK)

# ASTM F1544-11 rates bows with 5 grains of arrow for each pound of peak weight; many makers allow no lighter one.
LEAST_GRAINS_PER_POUND: Final = 5.0
_GRAIN_KG: Final = 64.79891e-6
_POUND_FORCE_N: Final = 0.45359237 * 9.80665


def arrow_grains_per_pound(arrow_mass_kg: float, peak_weight_n: float) -> float:
    """The arrow's mass in grains for each pound of peak weight."""
    return (arrow_mass_kg / _GRAIN_KG) / (peak_weight_n / _POUND_FORCE_N)


def cautions_for(
    setup: Setup | None,
    *,
    arrow_mass_kg: float | None = None,
    peak_weight_n: float | None = None,
    dry_fire: bool = False,
) -> tuple[str, ...]:
    """The cautions that apply to this bow, arrow and recording, beyond those that always stand (`STANDING`).

    Args:
        setup: arrow and bow as stated.
        arrow_mass_kg: in place of the set-up's.
        peak_weight_n: in place of the set-up's, such as the peak of a measured curve.
        dry_fire: one was found.
    """
    found: list[str] = []
    if dry_fire:
        found.append(DRY_FIRE)
    if setup is not None:
        mass = setup.arrow.mass_kg if arrow_mass_kg is None else arrow_mass_kg
        peak = _peak_n(setup) if peak_weight_n is None else peak_weight_n
        if mass is not None and peak:
            ratio = arrow_grains_per_pound(mass, peak)
            # a millionth of slack: 350 gr on 70 lbf is 5 and must not fail by a rounding
            if ratio < LEAST_GRAINS_PER_POUND * (1 - 1e-6):
                found.append(
                    f"This arrow weighs {ratio:.1f} grains per pound of peak weight; under 5 it can break the bow as a "
                    "shot without an arrow would. Do not shoot it unless the bow's maker allows it."
                )
    return tuple(found)


def _peak_n(setup: Setup) -> float | None:
    if setup.bow.peak_weight_n is not None:
        return setup.bow.peak_weight_n
    curve = setup.bow.draw_force_curve
    return None if curve is None else max(force for _, force in curve)
