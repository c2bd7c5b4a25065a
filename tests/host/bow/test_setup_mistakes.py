"""Every mistake is one line with the key, the value and what would be right."""

from __future__ import annotations

import math
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st
from quiethand.bow.setup_file import TABLES, setup_from_document
from quiethand.errors import InputError

CURVE = [["7 in", "0 lbf"], ["14 in", "60 lbf"], ["24 in", "60 lbf"], ["28 in", "12 lbf"]]


def bow(**keys: object) -> dict[str, object]:
    return {"bow": keys}


def sensor(**keys: object) -> dict[str, object]:
    return {"sensor": keys}


@pytest.mark.parametrize(
    ("document", "says"),
    [
        # unknown names, with the nearest known one
        ({"bwo": {}}, 'f.toml: unknown table "bwo"; did you mean "bow"?'),
        (bow(let_of=0.8), 'f.toml: bow: unknown key "let_of"; did you mean "let_off"?'),
        (bow(distance="18 m"), 'f.toml: bow: unknown key "distance"; it belongs in [target]'),
        (bow(zzz=1), "known are name, kind, peak_weight"),
        ({"limits": {"rotation_jaw": "1 deg"}}, 'unknown measure "rotation_jaw"; did you mean "rotation_yaw"?'),
        ({"a\nb": {}}, r"unknown table 'a\nb'"),
        ({"bow": 3}, "bow: 3 is not a table; write [bow] on a line of its own"),
        # units and kinds
        (bow(peak_weight="60 lb"), 'bow.peak_weight: "60 lb" is a mass, not a force; write "60 lbf"'),
        (bow(draw_length=28.5), "bow.draw_length: 28.5 has no unit"),
        ({"limits": {"rotation_yaw": "3 mm"}}, 'limits.rotation_yaw: "3 mm" is a length, not an angle'),
        (bow(name=3), "bow.name: 3 is not text"),
        (bow(name="x" * 300), "too long"),
        (bow(kind="Compound"), 'bow.kind: "Compound" is none of its values; write "compound" or "recurve"'),
        ({"target": {"face": "41 cm"}}, '"41 cm" is none of its values; write "122 cm" or "80 cm"'),
        ({"target": {"distance": "-18 m"}}, '"-18 m" must be over 0'),
        # numbers
        (bow(let_off=80), "bow.let_off: 80 is out of range; write 0.80 for 80 %"),
        (bow(let_off="80 %"), "write 0.80 for 80 %"),
        (bow(let_off="0.8"), "write 0.8 without quotes"),
        (bow(let_off=-0.1), "write let-off as a fraction from 0 to 0.99"),
        (bow(let_off=1.0), "let_off: 1.0 is out of range"),
        (bow(let_off=True), "True is not a plain number"),
        (bow(let_off=math.nan), "nan is out of range"),
        (bow(friction=5), "bow.friction: 5 is out of range; write 0.05 for 5 %"),
        (bow(mass="-2.6 kg"), 'bow.mass: "-2.6 kg" must be over 0'),
        (bow(virtual_mass="-6 g"), '"-6 g" must be at least 0'),
        ({"arrow": {"mass": "400 g"}}, 'arrow.mass: "400 g" is out of range'),
        ({"arrow": {"mass": "0 grain"}}, '"0 grain" must be over 0'),
        (sensor(accel_scale=0), "accel_scale: 0 is out of range; write a plain number over 0"),
        (sensor(gyro_delay="2 s"), '"2 s" is out of range'),
        # lengths against each other
        (bow(brace_height="28 in", draw_length="27 in"), "bow.brace_height: 28 in (711.2 mm) is not under"),
        (bow(brace_height="26 in", draw_length="27 in"), "draw length 27 in (685.8 mm) less 1.75 in"),
        (bow(draw_length="4 cm"), "out of range"),
        (bow(brace_height="7 in", rest="-8 in"), "bow.rest: -8 in (-203.2 mm) lies behind the undrawn string"),
        (bow(kind="recurve", let_off=0.5), "bow.let_off: 0.5 for a recurve, which has none"),
        # the curve
        (bow(draw_force_curve="steep"), "is not a list of 3 to 1000 points"),
        (bow(draw_force_curve=CURVE[:2]), "is not a list of 3 to 1000 points"),
        (bow(draw_force_curve=[*CURVE, ["29 in"]]), "draw_force_curve[4]: ['29 in'] is not a length and a force"),
        (bow(draw_force_curve=[*CURVE, [29, "3 lbf"]]), "draw_force_curve[4]: 29 has no unit"),
        (bow(draw_force_curve=[*CURVE, ["28 in", "3 lbf"]]), 'draw_force_curve[4]: "28 in" comes after "28 in"'),
        (bow(draw_force_curve=[*CURVE, ["20 in", "3 lbf"]]), "the lengths must grow from point to point"),
        (bow(draw_force_curve=[*CURVE, ["29 in", "-3 lbf"]]), '"-3 lbf" must be at least 0'),
        (bow(draw_force_curve=[*CURVE, ["29 in", "0 lbf"]]), '"0 lbf" away from brace: a drawn string pulls'),
        (bow(draw_force_curve=[["7 in", "9 lbf"], *CURVE[1:]]), 'the curve starts at "9 lbf", not at 0'),
        (bow(draw_force_curve=CURVE, brace_height="8 in"), "the curve starts at 7 in (177.8 mm), brace height is 8 in"),
        (bow(draw_force_curve=CURVE, draw_length="31 in"), "the curve ends at 28 in (711.2 mm), full draw is 29.25 in"),
        # the sensor's place
        (sensor(lever_arm=["1 mm", "2 mm"]), "is not three quantities"),
        (sensor(lever_arm=["1 mm", "2 mm", "9 m"]), "sensor.lever_arm[2]"),
        (sensor(mount=[0, 0, 0]), "is not four numbers"),
        (sensor(mount=[0, 0, 0, 0.5]), "has length 0.5, not 1"),
        (sensor(mount=[0, 0, 0, "1"]), "sensor.mount[3]"),
        (sensor(accel_matrix=[[1, 0, 0], [0, 1, 0]]), "is not three rows"),
        (sensor(accel_matrix=[[1, 0, 0], [0, 1, 0], [0, 0]]), "accel_matrix[2]"),
        (sensor(accel_matrix=[[1, 0, 0], [1, 0, 0], [0, 0, 1]]), "it flattens space"),
        # inertia
        (bow(inertia="0.3 kg m^2"), "is not a table; write { cant ="),
        (bow(inertia={"roll": "0.3 kg m^2"}), 'unknown axis "roll"'),
        (bow(inertia={"yaw": "-0.3 kg m^2"}), 'bow.inertia.yaw: "-0.3 kg m^2" must be over 0'),
        (bow(inertia={"yaw": "1 kg m^2", "cant": "0.1 kg m^2", "pitch": "0.1 kg m^2"}), "no body is like that"),
    ],
)  # fmt: skip
def test_each_mistake(document: Mapping[str, object], says: str) -> None:
    with pytest.raises(InputError) as refused:
        setup_from_document(document, "f.toml")
    assert says in str(refused.value)
    assert str(refused.value).startswith("f.toml: ")
    assert "\n" not in str(refused.value)
    assert refused.value.do


@pytest.mark.parametrize(
    ("document", "says"),
    [
        (bow(inertia={"yaw": "0.30 kg m^2", "cant": "0.10 kg m^2", "pitch": "0.42 kg m^2"}), "pitch is a little more"),
        (bow(draw_force_curve=CURVE, draw_length="29 in"), "it is used up to full draw"),
        (bow(draw_force_curve=CURVE, peak_weight="70 lbf"), "peaks at 266.9 N, peak_weight says 311.4 N"),
        (bow(draw_force_curve=CURVE, let_off=0.65), "lets off 0.80 of its peak, let_off says 0.65"),
    ],
)
def test_what_is_odd_is_noted(document: Mapping[str, object], says: str) -> None:
    assert any(says in note for note in setup_from_document(document, "f.toml").notes)


@pytest.mark.parametrize(("start", "brace"), [("6.890 in", "6.8898 in"), ("7.2 in", "7 in")])
def test_two_readings_of_one_length_may_differ_a_little(start: str, brace: str) -> None:
    setup = setup_from_document(bow(draw_force_curve=[[start, "0.1 lbf"], *CURVE[1:]], brace_height=brace), "f.toml")
    assert setup.bow.draw_force_curve is not None
    assert setup.bow.draw_force_curve[0][1] == 0.0
    assert setup.notes == ()


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.sampled_from(["3 in", "1 g"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)
KEYS = [(table, key) for table, (_, keys) in TABLES.items() for key in keys]


@given(st.lists(st.tuples(st.sampled_from(KEYS), JSON), max_size=4))
def test_any_value_under_any_key_is_read_or_refused(entries: list[tuple[tuple[str, str], object]]) -> None:
    document: dict[str, dict[str, object]] = {}
    for (table, key), value in entries:
        document.setdefault(table, {})[key] = value
    try:
        setup_from_document(document, "f.toml")
    except InputError as refused:
        told = str(refused)
    else:
        told = "f.toml: "
    assert told.startswith("f.toml: ")
    assert "\n" not in told
