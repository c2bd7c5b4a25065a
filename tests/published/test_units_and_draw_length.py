"""Units, draw length and let-off against their definitions.

Units: `scipy.constants`, exact by definition. Draw length and brace height: ASTM F1880-09, 3.2, after the ATA (AMO).
"""

from __future__ import annotations

import math

import pytest
import scipy.constants as si
from quiethand.bow.cautions import arrow_grains_per_pound
from quiethand.bow.consistency import full_draw_m
from quiethand.bow.curve import curve_of, stored_energy_j
from quiethand.bow.launch import launch
from quiethand.bow.quantities import ACCELERATION, FORCE, LENGTH, MASS, RATE, TORQUE, Dimension, quantity
from quiethand.bow.setup_file import setup_from_document


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("1 grain", MASS, si.grain),
        ("1 lb", MASS, si.pound),
        ("1 oz", MASS, si.oz),
        ("1 lbf", FORCE, si.pound_force),
        ("1 kgf", FORCE, si.kilogram_force),
        ("1 in", LENGTH, si.inch),
        ("1 ft", LENGTH, si.foot),
        ("1 yd", LENGTH, si.yard),
        ("1 g_0", ACCELERATION, si.g),
        ("1 deg/s", RATE, si.degree),
        ("1 ft lbf", TORQUE, si.foot * si.pound_force),
    ],
)
def test_units_of_the_trade(text: str, dimension: Dimension, expected: float) -> None:
    assert quantity(text, dimension) == pytest.approx(expected, rel=1e-15)


def test_the_figures_behind_the_units() -> None:
    assert quantity("1 grain", MASS) * 1e6 == pytest.approx(64.79891, rel=1e-15)
    assert quantity("1 lbf", FORCE) == pytest.approx(4.4482216152605, rel=1e-15)
    assert quantity("1 ft lbf", TORQUE) == pytest.approx(1.3558179483314004, rel=1e-15)


def bow(**keys: object) -> dict[str, object]:
    return {"kind": "compound", "peak_weight": "60 lbf", "let_off": 0.8, **keys}


def test_draw_length_is_to_the_pivot_point_and_an_inch_and_three_quarters() -> None:
    full = full_draw_m(setup_from_document({"bow": bow(draw_length="28 in")}, "x").bow)
    assert full is not None
    assert full / si.inch == pytest.approx(26.25, rel=1e-12)


def test_power_stroke() -> None:
    """28.5 in and 7 in give 26.75 in at full draw and a stroke of 19.75 in, 0.50165 m."""
    curve = curve_of(setup_from_document({"bow": bow(draw_length="28.5 in", brace_height="7 in")}, "x").bow)
    assert curve.full_draw_m / si.inch == pytest.approx(26.75, rel=1e-12)
    assert curve.full_draw_m - curve.brace_m == pytest.approx(0.50165, rel=1e-12)


def test_let_off_and_holding_weight() -> None:
    """Let-off % = 100 (peak - holding) / peak (from memory): 60 lbf at 80 % holds 53.3786594 N."""
    document = {"bow": bow(draw_length="28.5 in", brace_height="7 in"), "arrow": {"mass": "350 grain"}}
    assert launch(setup_from_document(document, "x")).holding_weight_n == pytest.approx(53.3786594, abs=5e-8)
    # common practice, no source: 70 lbf at 90 % holds 7 lbf
    document["bow"] = bow(draw_length="28.5 in", brace_height="7 in", peak_weight="70 lbf", let_off=0.9)
    assert launch(setup_from_document(document, "x")).holding_weight_n / si.pound_force == pytest.approx(7, rel=1e-12)


def test_stored_energy_is_the_area_under_the_curve_from_brace_to_full_draw() -> None:
    """ASTM F1832. A straight rise and a plateau have a plain area; what lies beyond full draw does not count."""
    points = [["7 in", "0 lbf"], ["14 in", "60 lbf"], ["26.75 in", "60 lbf"], ["30 in", "90 lbf"]]
    measured = setup_from_document({"bow": {"draw_length": "28.5 in", "draw_force_curve": points}}, "x")
    area = (7 / 2 + 12.75) * 60 * si.inch * si.pound_force
    assert stored_energy_j(curve_of(measured.bow)) == pytest.approx(area, rel=1e-12)


def test_five_grains_per_pound() -> None:
    """ASTM F1544-11: 5 gr for each pound of peak, no more than 70 lbf: 350 gr."""
    ratio = arrow_grains_per_pound(quantity("350 grain", MASS), quantity("70 lbf", FORCE))
    assert ratio == pytest.approx(5.0, rel=1e-12)
    assert math.isclose(quantity("350 gr", MASS), 0.0226796185, rel_tol=1e-12)
