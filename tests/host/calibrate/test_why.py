"""`why`: each figure of a shot explains itself, and the last line says what would halve its uncertainty."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from command_line import refused, run
from quiethand.analysis import Report, analyse_path
from quiethand.commands.why import as_text
from quiethand.emulator import Scenario, write_recording
from quiethand.link.files import open_motion
from quiethand.motion.block import MotionBlock
from quiethand.shots.budget import BudgetInputs, budget_rows
from quiethand.shots.explanation import COMMON, OWN, Share, explain, halving
from quiethand.shots.measures_table import measure_named, short_names

RATE_HZ = 1000.0


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("why") / "evening.qhr"
    write_recording(path, Scenario(seed=8, habit="grip_torque", shots=2, every_s=7.0, rate_hz=RATE_HZ))
    return path


@pytest.fixture(scope="module")
def motion(evening: Path) -> list[MotionBlock]:
    return list(open_motion(evening))


@pytest.fixture(scope="module")
def report(evening: Path) -> Report:
    return analyse_path(str(evening))


@pytest.mark.parametrize("name", list(short_names()))
def test_every_figure_explains_itself(name: str, report: Report, motion: list[MotionBlock]) -> None:
    measure, axis = measure_named(name)
    lines = list(as_text(explain(report.shots[0], measure, axis, motion), report))
    for head in ("  is ", "  method ", "  samples ", "  filter ", "  software quiethand "):
        assert any(line.startswith(head) for line in lines), head
    assert lines[-1].endswith(".")


def test_the_rotation_in_full(evening: Path, report: Report, capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(run(capsys, "why", evening, 2, "rotation_yaw", "--format", "json").out)
    shot = report.shots[1]
    at = shot.at_departure
    assert found["value"] == pytest.approx(at.rotation_deg.yaw)
    assert found["sigma"] == pytest.approx(at.rotation_sigma_deg.yaw)
    assert found["unit"] == "deg"
    assert sum(row["percent"] for row in found["budget"]) == pytest.approx(100)
    assert [row["percent"] for row in found["budget"]] == sorted((r["percent"] for r in found["budget"]), reverse=True)
    together = sum(np.sign(r["sigma"]) * r["sigma"] ** 2 if "correlation" in r["source"] else r["sigma"] ** 2
                   for r in found["budget"])  # fmt: skip
    assert np.sqrt(together) == pytest.approx(found["sigma"], rel=0.05)
    (used,) = found["samples"]
    assert used["sensor"] == "gyro"
    assert shot.time_on_string_s is not None
    assert used["count"] == pytest.approx(shot.time_on_string_s * RATE_HZ, abs=1.5)
    assert used["missing"] == used["clipped"] == 0
    assert used["rate_hz"] == pytest.approx(RATE_HZ, rel=0.01)
    assert used["delay_s"] > 0
    assert found["notes"] == list(shot.notes)
    assert found["verdict"].lower().startswith(found["budget"][0]["source"])


def test_the_pointing_shift_has_the_rotations_shares(evening: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = [
        json.loads(run(capsys, "why", evening, 1, name, "--format", "json").out)
        for name in ("rotation_pitch", "pointing_up_mm")
    ]
    shares = [{row["source"]: row["percent"] for row in one["budget"]} for one in found]
    assert shares[0] == pytest.approx(shares[1])
    together = np.sqrt(sum(np.sign(r["sigma"]) * r["sigma"] ** 2 if "correlation" in r["source"] else r["sigma"] ** 2
                           for r in found[1]["budget"]))  # fmt: skip
    assert together == pytest.approx(found[1]["sigma"], rel=0.05)


@pytest.mark.parametrize("name", ["release", "departure", "time_on_string"])
def test_an_instants_budget_adds_up(name: str, evening: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(run(capsys, "why", evening, 1, name, "--format", "json").out)
    together = sum(np.sign(r["sigma"]) * r["sigma"] ** 2 if "correlation" in r["source"] else r["sigma"] ** 2
                   for r in found["budget"])  # fmt: skip
    assert np.sqrt(together) == pytest.approx(found["sigma"], rel=1e-6)
    # an interval knows nothing of a delay that both its ends share
    assert any(row["common"] for row in found["budget"]) == (name != "time_on_string")


def test_what_is_not_known_says_why(evening: Path, report: Report, capsys: pytest.CaptureFixture[str]) -> None:
    assert report.shots[0].follow_through.hand_stiffness_nm_rad.cant is None
    out = run(capsys, "why", evening, 1, "hand_stiffness_cant").out
    assert out.splitlines()[0] == "stiffness of the hand, cant: not known"
    assert "Not known: it needs" in out.splitlines()[-1]


def test_a_setup_can_be_given(evening: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    setup = tmp_path / "bare.toml"
    setup.write_text('[limits]\nrotation_yaw = "0.001 deg"\n')
    out = run(capsys, "why", evening, 1, "rotation_yaw", "--setup", setup).out
    assert f"set-up: {setup}" in out
    assert "mount: not stated" in out
    assert "limit rotation_yaw: 0.001 deg" in out
    assert "flag: " in out
    out = run(capsys, "why", evening, 1, "release", "--setup", setup).out
    assert "a set-up with the bow's measured draw-force curve" in out.splitlines()[-1]


@pytest.mark.parametrize("number", [0, 3, -1])
def test_a_shot_that_is_not_there(number: int, evening: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line = refused(run(capsys, "why", evening, *(["--"] if number < 0 else []), number, "release"))
    assert "its shots are 1 to 2" in line


def test_names_files_and_pipes_that_cannot_be(
    evening: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert 'did you mean "rotation_yaw"' in refused(run(capsys, "why", evening, 1, "rotation_jaw"))
    assert "no such file" in refused(run(capsys, "why", tmp_path / "no.qhr", 1, "release"))
    assert "name a file" in refused(run(capsys, "why", "-", 1, "release"))
    quiet = tmp_path / "quiet.qhr"
    write_recording(quiet, Scenario(seed=1, shots=0, rate_hz=500.0))
    assert "holds no shot" in refused(run(capsys, "why", quiet, 1, "release"))


def test_every_source_is_common_or_the_shots_own() -> None:
    one = np.ones(3)
    rows = budget_rows(
        BudgetInputs(
            rotation_rad=one, noise_rad=one, noise_kind_a=True, bias_sigma_rad_s=one, bias_kind_a=True,
            rate_release_rad_s=one, rate_departure_rad_s=one, instants_covariance_s2=np.eye(2), total_s=0.015,
            mount_stated=True, impulse_m_s=1.0, sensitivity_rad_s_per_m_s2=one, gyro_delay_sigma_s=1e-4,
        )
    )  # fmt: skip
    assert not COMMON & OWN
    assert {row.source for row in rows} <= COMMON | OWN


@pytest.mark.parametrize("seed", range(20))
def test_halving_halves(seed: int) -> None:
    """Shrink the named sources by the named factor: the whole is half. With one source fewer it cannot be."""
    rng = np.random.default_rng(seed)
    sizes = np.sort(rng.exponential(1.0, rng.integers(1, 8)))[::-1]
    total = float(np.sum(sizes**2))
    shares = [Share(f"s{i}", "B", float(x), 100 * float(x) ** 2 / total, False) for i, x in enumerate(sizes)]
    found = halving(shares)
    assert found is not None
    sources, factor = found
    n = len(sources)
    assert factor**2 * np.sum(sizes[:n] ** 2) + np.sum(sizes[n:] ** 2) == pytest.approx(total / 4)
    assert np.sum(sizes[n - 1 :] ** 2) > total / 4 or n == 1


def test_nothing_to_halve() -> None:
    assert halving([]) is None
