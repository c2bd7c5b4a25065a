"""When a caution applies."""

from __future__ import annotations

import pytest
from quiethand.bow.cautions import DRY_FIRE, STANDING, cautions_for
from quiethand.bow.model import Arrow, Bow, Setup

GRAIN_KG = 64.79891e-6
POUND_N = 4.4482216152605


@pytest.mark.parametrize(("grains", "light"), [(350, False), (349.9, True), (200, True), (500, False)])
def test_an_arrow_under_five_grains_per_pound(grains: float, light: bool) -> None:
    setup = Setup(bow=Bow(peak_weight_n=70 * POUND_N), arrow=Arrow(mass_kg=grains * GRAIN_KG))
    found = cautions_for(setup)
    assert bool(found) is light
    if light:
        assert f"{grains / 70:.1f} grains per pound" in found[0]
        assert "maker" in found[0]


def test_the_peak_of_a_measured_curve_and_another_arrow() -> None:
    setup = Setup(bow=Bow(draw_force_curve=((0.2, 0.0), (0.4, 300.0), (0.7, 60.0))), arrow=Arrow(mass_kg=0.03))
    assert cautions_for(setup) == ()
    assert len(cautions_for(setup, arrow_mass_kg=0.015)) == 1
    assert len(cautions_for(setup, peak_weight_n=600.0)) == 1


def test_a_dry_fire_comes_first_and_what_is_unknown_warns_of_nothing() -> None:
    assert cautions_for(None) == ()
    assert cautions_for(Setup()) == ()
    assert cautions_for(None, dry_fire=True) == (DRY_FIRE,)


def test_the_standing_ones_say_what_they_must() -> None:
    told = " ".join(STANDING)
    for word in ("without an arrow", "maker", "coach", "range", "loose", "inspected"):
        assert word in told
