"""Inertia from swings on two cords: the whole equation of motion is integrated elsewhere, and comes back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from command_line import refused, run
from kitchen_table import Hung, Sensor, lying, record, swinging
from quiethand.bow.model import Setup
from quiethand.bow.setup_file import read_setup
from quiethand.calibrate.cells import cells_of
from quiethand.calibrate.inertia import Measurand, inertia_from_swings
from quiethand.calibrate.swings import SwingFit, find_swings, fit_damped_sine
from quiethand.link.files import open_motion

SENSOR = Sensor(rate_hz=100.0)
ARGS = ("--cord-length", "1.50 m", "--spacing", "40 cm", "--mass", "2.60 kg ± 5 g")


def swings(path: Path) -> SwingFit:
    return find_swings(cells_of(open_motion(path, Setup())))


@pytest.mark.parametrize("seed", range(6))
def test_inertia_is_true_within_its_uncertainty(seed: int, tmp_path: Path) -> None:
    """Tape and scale off by what they are said to be good to; amplitude, damping and inertia of all sorts."""
    rng = np.random.default_rng(seed)
    hung = Hung(
        inertia_kg_m2=rng.uniform(0.06, 0.6), angle_deg=rng.uniform(5, 14), damping_nms=rng.uniform(0.001, 0.02),
        up=tuple(rng.standard_normal(3)),
    )  # fmt: skip
    fit = swings(record(tmp_path / "a.qhr", SENSOR, *swinging(SENSOR, hung, 40), seed))
    read = [Measurand(v + s * rng.standard_normal(), s) for v, s in ((2.6, 0.01), (1.5, 0.003), (0.4, 0.001))]
    found = inertia_from_swings(fit, read[0], read[1], read[2])
    assert abs(found.inertia_kg_m2 - hung.inertia_kg_m2) < 3 * found.sigma_kg_m2
    assert found.sigma_kg_m2 < 0.012 * hung.inertia_kg_m2
    assert sum(found.shares.values()) == pytest.approx(1)


@pytest.mark.parametrize("angle", [4, 9, 14, 30])
def test_the_period_itself_is_true(angle: float, tmp_path: Path) -> None:
    """With lengths and mass exact what is left is the period's: within three of its uncertainties, and small."""
    hung = Hung(angle_deg=angle)
    fit = swings(record(tmp_path / "a.qhr", SENSOR, *swinging(SENSOR, hung, 80)))
    found = inertia_from_swings(fit, Measurand(2.6, 0), Measurand(1.5, 0), Measurand(0.4, 0))
    assert fit.amplitude_deg < 15.5
    assert abs(found.inertia_kg_m2 / hung.inertia_kg_m2 - 1) < 1e-3
    assert abs(found.inertia_kg_m2 - hung.inertia_kg_m2) < 3 * found.sigma_kg_m2


def test_the_uncertainty_is_that_of_many_trials() -> None:
    """JCGM 101: draw every input, look at how the result scatters."""
    rng = np.random.default_rng(11)
    t = np.arange(4000) / 100
    fit = fit_damped_sine(t, 0.3 * np.exp(-0.02 * t) * np.cos(2.1 * t) + 1e-4 * rng.standard_normal(4000))
    fit = replace(fit, period_sigma_s=0.01)
    inputs = (Measurand(2.6, 0.02), Measurand(1.5, 0.01), Measurand(0.4, 0.002))
    stated = inertia_from_swings(fit, *inputs)
    trials = []
    for _ in range(4000):
        drawn = [Measurand(m.value + m.sigma * rng.standard_normal(), m.sigma) for m in inputs]
        swung = replace(fit, period_s=fit.period_s + 0.01 * rng.standard_normal())
        trials.append(inertia_from_swings(swung, drawn[0], drawn[1], drawn[2]).inertia_kg_m2)
    assert stated.sigma_kg_m2 == pytest.approx(np.std(trials), rel=0.05)


def test_the_fit_finds_a_damped_sine_and_its_uncertainty() -> None:
    rng = np.random.default_rng(3)
    t = np.arange(3000) / 100
    off = []
    for _ in range(60):
        phase = rng.uniform(0, 6.28)
        w = 0.02 + 0.2 * np.exp(-0.03 * t) * np.sin(2 * np.pi * t / 1.83 + phase) + 0.02 * rng.standard_normal(3000)
        fit = fit_damped_sine(t, w)
        off.append((fit.period_s - 1.83) / fit.period_sigma_s)
        assert fit.decay_per_s == pytest.approx(0.03, abs=0.006)
    assert 0.75 < np.sqrt(np.mean(np.square(off))) < 1.3


def test_into_the_setup_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = record(tmp_path / "hung.qhr", SENSOR, *swinging(SENSOR, Hung(), 50))
    setup = tmp_path / "bow.toml"
    setup.write_text('[bow]\nmass = "2.6 kg"\ninertia = { pitch = "0.38 kg m^2" }  # swung in March\n')
    args = ("--axis", "yaw", "--cord-length", "1.50 m ± 2 mm", "--spacing", "40 cm", "--setup", setup)
    ran = run(capsys, "calibrate", "inertia", path, *args)
    assert ran.status == 0, ran.err
    assert "no mount stated" in ran.out
    inertia = read_setup(setup).bow.inertia_kg_m2
    assert inertia is not None
    assert inertia.yaw == pytest.approx(0.35, rel=0.002)
    assert inertia.pitch == pytest.approx(0.38)
    assert "swung in March; yaw calibrated:" in setup.read_text()


def test_the_axis_that_hangs_is_checked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = record(tmp_path / "hung.qhr", SENSOR, *swinging(SENSOR, Hung(up=(0, 1, 0)), 40))
    setup = tmp_path / "bow.toml"
    setup.write_text("[sensor]\nmount = [0, 0, 0, 1]\n")
    line = refused(run(capsys, "calibrate", "inertia", path, "--axis", "yaw", *ARGS, "--setup", setup))
    assert "the bow hung for pitch, not for yaw" in line
    assert run(capsys, "calibrate", "inertia", path, "--axis", "pitch", *ARGS, "--setup", setup).status == 0


def test_three_moments_that_no_body_has_are_not_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = record(tmp_path / "hung.qhr", SENSOR, *swinging(SENSOR, Hung(), 40))
    setup = tmp_path / "bow.toml"
    text = '[bow]\ninertia = { cant = "0.1 kg m^2", pitch = "0.12 kg m^2" }\n'
    setup.write_text(text)
    line = refused(run(capsys, "calibrate", "inertia", path, "--axis", "yaw", *ARGS, "--setup", setup))
    assert "nothing was written" in line
    assert setup.read_text() == text
    assert [p.name for p in tmp_path.glob("bow.toml*")] == ["bow.toml"]


@pytest.mark.parametrize(
    ("hung", "seconds", "says"),
    [
        (Hung(), 14, "swings in a row"),
        (Hung(angle_deg=50, damping_nms=0.0), 40, "too large"),
        (Hung(angle_deg=0.3), 40, "no swings"),
        (Hung(damping_nms=1.5), 40, "no swings"),
    ],
)
def test_unfit_swings_are_refused(
    hung: Hung, seconds: float, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = record(tmp_path / "hung.qhr", SENSOR, *swinging(SENSOR, hung, seconds))
    line = refused(run(capsys, "calibrate", "inertia", path, "--axis", "yaw", *ARGS, "--dry-run"))
    assert says in line
    assert "hung.qhr" in line


def test_a_sensor_on_the_table_does_not_swing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = record(tmp_path / "lying.qhr", SENSOR, *lying(SENSOR, 30))
    assert "no swings" in refused(run(capsys, "calibrate", "inertia", path, "--axis", "yaw", *ARGS, "--dry-run"))


def test_full_scale_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sensor = replace(SENSOR, gyro_range_deg_s=10.0)
    path = record(tmp_path / "hung.qhr", sensor, *swinging(sensor, Hung(), 40))
    assert "full scale" in refused(run(capsys, "calibrate", "inertia", path, "--axis", "yaw", *ARGS, "--dry-run"))


def test_a_bow_that_rocks_too_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    force, rate = swinging(SENSOR, Hung(), 40)
    t = np.arange(len(rate)) / SENSOR.rate_hz
    rate = rate + np.outer(0.8 * np.abs(rate).max() * np.sin(2 * np.pi * t / 2.4), [1, 0, 0])
    path = record(tmp_path / "hung.qhr", SENSOR, force, rate)
    assert "level axes" in refused(run(capsys, "calibrate", "inertia", path, "--axis", "yaw", *ARGS, "--dry-run"))


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("--cord-length", "1.5", "--spacing", "40 cm", "--mass", "2.6 kg"), "has no unit"),
        (("--cord-length", "1.5 m", "--spacing", "40 kg", "--mass", "2.6 kg"), "not a length"),
        (("--cord-length", "1.5 m ± 1 m", "--spacing", "40 cm", "--mass", "2.6 kg"), "out of range"),
        (("--cord-length", "1.5 m", "--spacing", "40 m", "--mass", "2.6 kg"), "check the units"),
        (("--cord-length", "1.5 m", "--spacing", "40 cm"), "--mass"),
    ],
)
def test_quantities_that_cannot_be(
    args: tuple[str, ...], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = record(tmp_path / "lying.qhr", SENSOR, *lying(SENSOR, 2))
    assert says in refused(run(capsys, "calibrate", "inertia", path, "--axis", "yaw", *args, "--dry-run"))
