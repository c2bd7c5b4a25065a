"""Bias and noise of a sensor that lies still: true within what is stated, and refused where it cannot be told."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from command_line import refused, run
from kitchen_table import Sensor, lying, record, trembling
from quiethand.bow.model import Setup
from quiethand.bow.setup_file import read_setup
from quiethand.calibrate.bias import BiasResult, still_bias
from quiethand.calibrate.cells import cells_of
from quiethand.link.files import open_motion

EARTH_RAD_S = 7.292115e-5


def found(path: Path) -> BiasResult:
    return still_bias(cells_of(open_motion(path, Setup())))


@pytest.mark.parametrize("density", [0.004, 0.02])
def test_bias_is_true_within_its_uncertainty(tmp_path: Path, density: float) -> None:
    """The Earth's turn about an axis that nobody knows is part of what is shown, and of what is stated."""
    off = []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        sensor = Sensor(gyro_density_deg_s=density, gyro_bias_deg_s=tuple(rng.normal(0, 1, 3)))
        force, rate = lying(sensor, 16)
        way = rng.standard_normal(3)
        result = found(record(tmp_path / "a.qhr", sensor, force, rate + EARTH_RAD_S * way / np.linalg.norm(way), seed))
        off.append((np.rad2deg(result.bias_rad_s) - sensor.gyro_bias_deg_s) / np.rad2deg(result.bias_sigma_rad_s))
    assert np.abs(off).max() < 3.5
    assert 0.4 < np.sqrt(np.mean(np.square(off))) < 1.4


def test_noise_densities_are_those_of_the_sensor(tmp_path: Path) -> None:
    sensor = Sensor(gyro_density_deg_s=0.008, accel_density_m_s2=0.002)
    result = found(record(tmp_path / "a.qhr", sensor, *lying(sensor, 60)))
    assert result.density_share < 0.04
    assert np.rad2deg(result.gyro_density) == pytest.approx([0.008] * 3, rel=4 * result.density_share)
    assert result.accel_density == pytest.approx([0.002] * 3, rel=4 * result.density_share)


def test_only_the_still_stretch_counts(tmp_path: Path) -> None:
    """Carried, laid down, left alone, taken up."""
    sensor = Sensor()
    parts = [trembling(sensor, 5, 1), lying(sensor, 20), trembling(sensor, 5, 2)]
    force, rate = (np.concatenate([p[k] for p in parts]) for k in (0, 1))
    result = found(record(tmp_path / "a.qhr", sensor, force, rate))
    assert result.start_s == pytest.approx(5.3, abs=0.5)
    assert result.duration_s == pytest.approx(19.5, abs=0.8)
    assert np.rad2deg(result.bias_rad_s) == pytest.approx(sensor.gyro_bias_deg_s, abs=0.01)


def test_a_loss_splits_the_stretch(tmp_path: Path) -> None:
    sensor = Sensor()
    path = record(tmp_path / "a.qhr", sensor, *lying(sensor, 30), lose=slice(8000, 8100))
    assert found(path).duration_s == pytest.approx(19.5, abs=0.6)


def test_into_the_setup_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sensor = Sensor()
    path = record(tmp_path / "lying.qhr", sensor, *lying(sensor, 20))
    setup = tmp_path / "bow.toml"
    setup.write_text('# mine\n[sensor]  # glued on\ngyro_bias = ["9 deg/s", "0 deg/s", "0 deg/s"]  # by eye\n')
    ran = run(capsys, "calibrate", "still", path, "--setup", setup)
    assert ran.status == 0
    assert "gyro bias: " in ran.out
    assert np.rad2deg(read_setup(setup).sensor.gyro_bias_rad_s or 0) == pytest.approx(sensor.gyro_bias_deg_s, abs=0.01)
    text = setup.read_text()
    assert text.startswith("# mine\n[sensor]  # glued on\n")
    assert "# by eye; calibrated: lying still" in text
    assert "9 deg/s" in (tmp_path / "bow.toml.before-1").read_text()
    # what is stated already is not taken off first: the same again
    again = run(capsys, "calibrate", "still", path, "--setup", setup)
    assert again.out.splitlines()[:-1] == ran.out.splitlines()[:-1]


def test_dry_run_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sensor = Sensor()
    path = record(tmp_path / "lying.qhr", sensor, *lying(sensor, 15))
    setup = tmp_path / "bow.toml"
    setup.write_text("[sensor]\n")
    ran = run(capsys, "calibrate", "still", path, "--setup", setup, "--dry-run")
    assert ran.status == 0
    assert "would write sensor.gyro_bias" in ran.out
    assert setup.read_text() == "[sensor]\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bow.toml", "lying.qhr"]
    assert run(capsys, "calibrate", "still", path, "--dry-run").status == 0


@pytest.mark.parametrize(("up", "warns"), [((0, 0, 1), False), ((1, 0, 0), True)])
def test_a_gyro_that_lay_another_way_is_pointed_out(
    up: tuple[float, float, float], warns: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sensor = Sensor(rate_hz=100.0)
    path = record(tmp_path / "lying.qhr", sensor, *lying(sensor, 15, up))
    setup = tmp_path / "bow.toml"
    setup.write_text("[sensor]\nmount = [0, 0, 0, 1]\n")
    ran = run(capsys, "calibrate", "still", path, "--setup", setup, "--dry-run")
    assert ran.status == 0
    assert ("off how it sits on a level bow" in ran.out) == warns


def test_csv_and_text_mode_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sensor = Sensor(rate_hz=100.0)
    force, rate = sensor.raw(*lying(sensor, 15), np.random.default_rng(1))
    rows = "".join(
        f"{i * 10_000},{','.join(f'{v:.6f}' for v in (*f, *np.rad2deg(w)))}\n"
        for i, (f, w) in enumerate(zip(force, rate, strict=True))
    )
    as_csv = tmp_path / "a.csv"
    as_csv.write_text("t_us,ax_m_s2,ay_m_s2,az_m_s2,gx_deg_s,gy_deg_s,gz_deg_s\n" + rows)
    as_text = tmp_path / "a.txt"
    as_text.write_text("# accel_unit=m/s2\n# gyro_unit=deg/s\n" + rows)
    said = [run(capsys, "calibrate", "still", p, "--dry-run") for p in (as_csv, as_text)]
    assert [s.status for s in said] == [0, 0]
    assert said[0].out.splitlines()[1:] == said[1].out.splitlines()[1:]
    assert "gyro bias: " in said[0].out


def test_a_hand_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for seed in range(4):
        sensor = Sensor(gyro_density_deg_s=0.003 if seed % 2 else 0.02)
        path = record(tmp_path / "held.qhr", sensor, *trembling(sensor, 20, seed), seed)
        line = refused(run(capsys, "calibrate", "still", path, "--dry-run"))
        assert "held.qhr" in line
        assert "lay it on a table" in line


def test_too_short_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sensor = Sensor()
    path = record(tmp_path / "short.qhr", sensor, *lying(sensor, 6))
    assert "longest still stretch is 5.5 s" in refused(run(capsys, "calibrate", "still", path, "--dry-run"))


def test_full_scale_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sensor = Sensor(accel_range_g=0.9)
    path = record(tmp_path / "full.qhr", sensor, *lying(sensor, 20))
    line = refused(run(capsys, "calibrate", "still", path, "--dry-run"))
    assert "full scale" in line
    assert "larger range" in line


def test_without_a_place_to_write_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sensor = Sensor()
    path = record(tmp_path / "lying.qhr", sensor, *lying(sensor, 15))
    assert "--setup" in refused(run(capsys, "calibrate", "still", path))
    assert "no such set-up file" in refused(run(capsys, "calibrate", "still", path, "--setup", tmp_path / "no.toml"))
    broken = tmp_path / "broken.toml"
    broken.write_text("[sensor\n")
    assert "is not TOML" in refused(run(capsys, "calibrate", "still", path, "--setup", broken))
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(broken.read_text())
