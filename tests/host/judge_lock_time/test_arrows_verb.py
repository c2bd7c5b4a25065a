"""`quiethand arrows` as a person runs it, on an invented league."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from command_line import refused, run
from invented_league import EVENING, add, document, league, recording, shot
from quiethand.bow.launch import launch
from quiethand.bow.setup_file import setup_from_document
from quiethand.store import ShotFilter, open_store


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("league") / "league.db"
    store = open_store(f"sqlite:///{path}")
    league(store)
    bare, rng = document(9, "Match arrow", inertia=False), np.random.default_rng(2)
    to = recording(store, 9, "Match arrow", EVENING, bare)
    for number in range(1, 7):
        add(store, to, shot(number, "Match arrow", rng, inertia=False), EVENING, bare)
    store.close()
    return path


@pytest.fixture
def url(kept: Path, tmp_path: Path) -> str:
    return f"sqlite:///{shutil.copy(kept, tmp_path)}"


def test_two_arrows_of_one_archer(capsys: pytest.CaptureFixture[str], url: str) -> None:
    store = open_store(url)
    rows = store.shot_rows(ShotFilter(archer="Lane 4", arrow="Match arrow"), measures=["time_on_string_s"])
    store.exclude([rows[0]["id"]], "the clicker slipped")
    store.close()
    asked = ("arrows", "archer=Lane 4", "--store", url)
    found = json.loads(run(capsys, *asked, "--format", "json").out)
    match, heavy = found["arrows"]
    assert (match["name"], match["shots"]) == ("Match arrow", 26)
    assert (heavy["name"], heavy["shots"]) == ("Heavy practice arrow", 27)
    assert found["excluded"] == 1
    time = match["time_on_string_s"]
    assert time["measured"]["value"] == pytest.approx(np.mean([r["time_on_string_s"] for r in rows[1:]]))
    assert time["one_shot_sigma"] == pytest.approx(0.00019)
    modelled = launch(setup_from_document(document(4, "Match arrow"), "by hand"))
    assert time["modelled"] == pytest.approx(modelled.time_on_string_s)
    # a steady torque turns the bow by torque / inertia x time^2 / 2: 18 m away, 0.09 kg m^2
    on_string = heavy["time_on_string_s"]["measured"]["value"]
    arc = on_string**2 / 2 / 0.09 * 18e3
    assert heavy["sensitivity_mm_per_nm"]["yaw"] == pytest.approx(arc, rel=1e-6)
    yaw = next(part for part in heavy["torque"] if part["axis"] == "yaw")
    assert yaw["at_target_mm"]["value"] == pytest.approx(-arc * yaw["torque_nm"]["value"], rel=1e-6)
    held = found["held_against_the_first"][0]
    assert held["magnified"] == pytest.approx((on_string / time["measured"]["value"]) ** 2)
    ran = run(capsys, *asked)
    assert ran.status == 0, ran.err
    assert '"Heavy practice arrow" shows 1.3' in ran.out
    assert "longer than modelled" in ran.out or "shorter than modelled" in ran.out
    assert "excluded them: 1 shots" in ran.out


def test_without_inertia_the_times_stand_alone(capsys: pytest.CaptureFixture[str], url: str) -> None:
    ran = run(capsys, "arrows", "archer=Lane 9", "--store", url)
    assert ran.status == 0, ran.err
    assert "ms measured" in ran.out
    assert "no torque: " in ran.out
    assert "bow.inertia" in ran.out
    assert "mean torque" not in ran.out
    whole = json.loads(run(capsys, "arrows", "archer=Lane 9", "--store", url, "--format", "json").out)
    assert whole["arrows"][0]["torque"] is None
    assert whole["held_against_the_first"] == []


@pytest.mark.parametrize(
    ("shots", "words"),
    [
        ("arrow=Match arrow", "one archer's hand"),
        ("archer=Lane 12", "known are Lane 4, Lane 7, Lane 9"),
        ("archer=Lane 4 day=2020-01-01", "no shot fits"),
    ],
)
def test_what_is_not_stored_is_refused_in_a_line(
    capsys: pytest.CaptureFixture[str], url: str, shots: str, words: str
) -> None:
    assert words in refused(run(capsys, "arrows", shots, "--store", url))


def test_speeds_tell_the_losses_they_were_made_with(capsys: pytest.CaptureFixture[str], url: str) -> None:
    """Speeds by the launch model, rounded to a millimetre a second, give its virtual mass and friction back."""
    runs = [
        launch(setup_from_document(document(4, arrow), "by hand")) for arrow in ("Match arrow", "Heavy practice arrow")
    ]
    first, second = (run.arrow_speed_m_s for run in runs)
    given = (
        "--speed",
        f"370 grain={first:.3f} m/s +- 0.01",
        "--speed",
        f"520 grain={second / 0.3048:.3f} ft/s ± 0.03 ft/s",
    )
    asked = ("arrows", "archer=Lane 4", "--store", url, *given)
    losses = json.loads(run(capsys, *asked, "--format", "json").out)["losses"]
    assert losses["virtual_mass_kg"]["value"] == pytest.approx(runs[0].virtual_mass_kg, abs=5e-5)
    assert losses["friction"]["value"] == pytest.approx(runs[0].friction, abs=2e-3)
    assert losses["efficiency"][0]["value"] == pytest.approx(runs[0].efficiency, abs=1e-3)
    assert f"virtual mass of {losses['virtual_mass_kg']['value'] * 1e3:.2f} g" in run(capsys, *asked).out


@pytest.mark.parametrize(
    ("speed", "words"),
    [
        ("370 grain at 88 m/s", "is no arrow's speed"),
        ("370 grain=88 kg/s", "is no arrow's speed"),
        ("370 mm=88 m/s", "is a length, not a mass"),
        ("370 grain=88.1 m/s +- 0.3", "does not tell virtual mass and friction apart"),
    ],
)
def test_speeds_that_tell_nothing_are_refused(
    capsys: pytest.CaptureFixture[str], url: str, speed: str, words: str
) -> None:
    assert words in refused(run(capsys, "arrows", "archer=Lane 4", "--store", url, "--speed", speed))


def test_an_empty_store_is_said(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    empty = f"sqlite:///{tmp_path / 'empty.db'}"
    assert "holds no shot" in refused(run(capsys, "arrows", "archer=Lane 4", "--store", empty))
