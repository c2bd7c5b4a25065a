"""Units: the table of the trade's own against pint, and what is refused."""

from __future__ import annotations

import math
import subprocess
import sys

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from quiethand.bow.quantities import (
    ACCELERATION,
    DIMENSIONS,
    FORCE,
    INERTIA,
    LENGTH,
    MASS,
    RATE,
    UNITS,
    Dimension,
    quantity,
)  # fmt: skip
from quiethand.errors import InputError


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry()


@pytest.mark.parametrize("unit", list(UNITS))
def test_the_table_says_what_pint_says(unit: str, registry: pint.UnitRegistry[float]) -> None:
    dimension, factor = UNITS[unit]
    assert registry.Quantity(f"1.0 {unit}").to(dimension.si).magnitude == pytest.approx(factor, rel=4e-16)


def test_the_trade_s_units_load_no_pint() -> None:
    code = (
        "import sys; from quiethand.bow.quantities import *; quantity('28.5 in', LENGTH); print('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("1 furlong", LENGTH, 201.168),
        ("100 rpm", RATE, 100 * math.pi / 30),
        ("1 revolution/s", RATE, 2 * math.pi),
        ("3 °/s", RATE, math.radians(3)),
        ("400 µm", LENGTH, 4e-4),
        ("1 slug", MASS, 14.593903),
        ("2 lbf in s^2", INERTIA, 2 * 4.4482216152605 * 0.0254),
    ],
)
def test_pint_answers_for_every_other_unit(text: str, dimension: Dimension, expected: float) -> None:
    assert quantity(text, dimension) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("text", ["0.35 kg m^2", "0.35 kg*m^2", "0.35 kg m**2", "0.35kg·m²", " 0.35  kg  m ^ 2 "])
def test_ways_to_write_a_product(text: str) -> None:
    assert quantity(text, INERTIA) == 0.35


@pytest.mark.parametrize(
    ("value", "dimension", "says"),
    [
        (28.5, LENGTH, '28.5 has no unit; write a length with its unit, as in "28.5 in"'),
        ("28.5", LENGTH, '"28.5" has no unit'),
        ("in", LENGTH, '"in" is not a number with a unit'),
        ("28 1/2 in", LENGTH, 'written as a fraction; write "28.5 in"'),
        ("1/2 in", LENGTH, 'write "0.5 in"'),
        ("28,5 in", LENGTH, 'a comma in its number; write "28.5 in"'),
        ("60 lb", FORCE, '"60 lb" is a mass, not a force; write "60 lbf" if that was meant'),
        ("60 lbs", FORCE, '"60 lbs" is a mass, not a force; write "60 lbf" if that was meant'),
        ("2 l", MASS, '"2 l" is not a mass'),
        ("60 LBF", FORCE, 'unknown unit "LBF"; did you mean "lbf"?'),
        ("16 g", ACCELERATION, 'write "16 g_0" if that was meant'),
        ("2000 Hz", RATE, '"2000 Hz" is a frequency, not a rate of turn'),
        ("3 parsec", MASS, '"3 parsec" is a length, not a mass'),
        ("20 degC", MASS, "not a mass"),
        ("1e999 in", LENGTH, "out of range"),
        ("nan in", LENGTH, "not a number with a unit"),
        ("", LENGTH, "not a number with a unit"),
        ("9 " + "x" * 100, LENGTH, "too long"),
        (True, LENGTH, "True is not a quantity"),
        (["1 in"], LENGTH, "is not a quantity"),
        (None, LENGTH, "None is not a quantity"),
    ],
)
def test_what_is_refused_says_what_would_be_right(value: object, dimension: Dimension, says: str) -> None:
    with pytest.raises(InputError) as refused:
        quantity(value, dimension, "bow.toml: bow.key")
    assert says in str(refused.value)
    assert str(refused.value).startswith("bow.toml: bow.key: ")


@pytest.mark.parametrize("formula", ["2**9**9**9 m", "9 m^9^9", "1 m**99999999", "1 __import__", "1 m; s", "2 (m)"])
def test_text_from_a_recording_is_never_a_formula(formula: str) -> None:
    with pytest.raises(InputError):
        quantity(formula, LENGTH)


@given(st.text(max_size=40), st.sampled_from(DIMENSIONS))
def test_any_text_is_a_number_or_a_refusal(text: str, dimension: Dimension) -> None:
    try:
        assert math.isfinite(quantity(text, dimension))
    except InputError as refused:
        told = str(refused)
    else:
        told = ""
    assert "\n" not in told


@given(st.floats(-1e6, 1e6), st.sampled_from(list(UNITS)))
def test_any_number_of_a_known_unit_is_read(number: float, unit: str) -> None:
    dimension, factor = UNITS[unit]
    assert quantity(f"{number!r} {unit}", dimension) == number * factor
