"""A set-up as stated, in SI units; files that cannot be read."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from quiethand.bow.limit_names import LIMIT_MEASURES
from quiethand.bow.model import Limit, Setup
from quiethand.bow.setup_file import read_setup, setup_from_document
from quiethand.errors import InputError

FULL = """
[archer]
name = "Lane 4"
handedness = "left"
[bow]
name = "blue"
kind = "compound"
peak_weight = "60 lbf"
let_off = 0.8
draw_length = "28.5 in"
brace_height = "7 in"
rest = "-0.5 in"
draw_force_curve = [["7 in", "0 lbf"], ["14 in", "60 lbf"], ["23 in", "60 lbf"], ["26.75 in", "12 lbf"]]
virtual_mass = "6 g"
friction = 0.05
mass = "2.6 kg"
inertia = { cant = "0.10 kg m^2", pitch = "0.38 kg m^2", yaw = "0.32 kg m^2" }
[arrow]
name = "slow"
mass = "400 grain"
length = "28 in"
[sensor]
lever_arm = ["260 mm", "0 mm", "-40 mm"]
mount = [0, -0.7071, 0, 0.7071]
gyro_bias = ["0.5 deg/s", "0 deg/s", "-0.5 deg/s"]
accel_offset = ["0.1 m/s^2", "0 m/s^2", "0 m/s^2"]
accel_matrix = [[1.01, 0, 0], [0, 0.99, 0], [0, 0, 1]]
accel_range = "16 g_0"
gyro_range = "2000 deg/s"
accel_delay = "1.2 ms"
gyro_delay = "1.6 ms"
accel_scale = 0.0048
gyro_scale = 0.001
[target]
face = "40cm"
distance = "18 m"
[limits]
pointing_shift = "2 cm"
rotation_yaw = "0.1 deg"
time_on_string = "0.02 s"
"""


def written(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "bow.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_every_key_in_si_units(tmp_path: Path) -> None:
    setup = read_setup(written(tmp_path, FULL))
    assert setup.archer.handedness == "left"
    bow, sensor = setup.bow, setup.sensor
    assert bow.peak_weight_n == pytest.approx(266.893296916)
    assert (bow.let_off, bow.friction, bow.kind) == (0.8, 0.05, "compound")
    assert (bow.draw_length_m, bow.brace_height_m, bow.rest_m) == pytest.approx((0.7239, 0.1778, -0.0127))
    assert bow.draw_force_curve is not None
    assert bow.draw_force_curve[-1] == pytest.approx((0.67945, 53.3786594))
    assert (bow.virtual_mass_kg, bow.mass_kg) == pytest.approx((0.006, 2.6))
    assert bow.inertia_kg_m2 is not None
    assert tuple(bow.inertia_kg_m2) == (0.10, 0.38, 0.32)
    assert (setup.arrow.mass_kg, setup.arrow.length_m) == pytest.approx((0.025919564, 0.7112))
    assert sensor.lever_arm_m == pytest.approx((0.26, 0.0, -0.04))
    assert sensor.mount == pytest.approx((0, -math.sqrt(0.5), 0, math.sqrt(0.5)), abs=1e-15)  # made a unit
    assert sensor.gyro_bias_rad_s == pytest.approx((math.radians(0.5), 0, -math.radians(0.5)))
    assert sensor.accel_offset_m_s2 == (0.1, 0, 0)
    assert sensor.accel_matrix == ((1.01, 0, 0), (0, 0.99, 0), (0, 0, 1))
    assert (sensor.accel_range_m_s2, sensor.gyro_range_rad_s) == pytest.approx((156.9064, 34.906585))
    assert (sensor.accel_delay_s, sensor.gyro_delay_s) == pytest.approx((0.0012, 0.0016))
    assert (sensor.accel_scale, sensor.gyro_scale) == (0.0048, 0.001)
    assert (setup.target.face, setup.target.distance_m) == ("40 cm", 18)
    assert setup.limits == {
        "pointing_shift": Limit(pytest.approx(20.0), "mm"),
        "rotation_yaw": Limit(pytest.approx(0.1), "deg"),
        "time_on_string": Limit(pytest.approx(20.0), "ms"),
    }
    assert setup.notes == ()


def test_a_session_object_reads_as_its_file_does(tmp_path: Path) -> None:
    setup = read_setup(written(tmp_path, FULL))
    session = json.loads(json.dumps(setup.document, allow_nan=False))
    again = setup_from_document(session, setup.source or "")
    assert again == setup


def test_nothing_stated_is_nothing_known(tmp_path: Path) -> None:
    path = written(tmp_path, "")
    assert read_setup(path) == Setup(source=str(path))


def test_a_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    assert read_setup(written(tmp_path, b"\xef\xbb\xbf[target]\ndistance = '18 m'\n")).target.distance_m == 18


def test_a_later_version_s_keys_are_passed_over_in_a_recording_only() -> None:
    document = {"bow": {"kind": "recurve", "colour": "blue"}, "weather": {}, "limits": {"noise": "3 dB"}}
    with pytest.raises(InputError, match="colour"):
        setup_from_document(document, "session")
    setup = setup_from_document(document, "session", later_keys=True)
    assert setup.bow.kind == "recurve"
    assert [note for note in setup.notes if "colour" in note or "weather" in note or "noise" in note] == list(
        setup.notes
    )
    assert len(setup.notes) == 3


@pytest.mark.parametrize("name", list(LIMIT_MEASURES))
def test_every_limit_s_shown_unit_is_a_unit_of_its_dimension(name: str) -> None:
    measure = LIMIT_MEASURES[name]
    setup = setup_from_document({"limits": {name: f"3 {measure.unit}"}}, "x")
    assert setup.limits[name] == Limit(pytest.approx(3.0, rel=1e-15), measure.unit)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"[bow]\nname = blue\n", "is not TOML: Invalid value (at line 2, column 8)"),
        (b"[bow]\nname = '\xff'\n", "is not UTF-8 text (line 2)"),
        (b"\x89PNG\r\n\x1a\n\0\0", "is not UTF-8 text (line 1)"),
        (b"# " + b"x" * 1_000_001, "over 1 MB"),
        (b"a = " + b"[" * 100_000, "is not TOML that can be read"),
        (b"[bow]\nfriction = " + b"9" * 5000, "is not TOML that can be read"),
    ],
)
def test_files_that_are_no_set_up(tmp_path: Path, content: bytes, says: str) -> None:
    path = written(tmp_path, content)
    with pytest.raises(InputError) as refused:
        read_setup(path)
    assert says in str(refused.value)
    assert str(refused.value).startswith(f"{path}: ")


def test_no_such_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no such set-up file; .*quiethand setup"):
        read_setup(tmp_path / "none.toml")
    with pytest.raises(InputError, match="is a folder"):
        read_setup(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        read_setup("a\0b.toml")
