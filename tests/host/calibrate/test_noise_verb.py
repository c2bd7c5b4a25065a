"""`noise`: figures read off a still stretch, against what uncertainties assume, and the plot."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from command_line import refused, run
from kitchen_table import Sensor, lying, record, trembling
from quiethand.bow.model import Setup
from quiethand.calibrate.cells import cells_of
from quiethand.calibrate.noise import AXES, SensorNoise, sensor_noise, still_for_noise
from quiethand.commands.noise import against_budget
from quiethand.link.files import open_motion
from quiethand.motion.allan import allan_deviation

SENSOR = Sensor(rate_hz=200.0)


def drifting(seconds: float, walk_deg_s: float, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """Still, with a bias that walks by so much per root second."""
    force, rate = lying(SENSOR, seconds)
    steps = np.random.default_rng(seed).standard_normal(rate.shape) * np.deg2rad(walk_deg_s) / np.sqrt(SENSOR.rate_hz)
    return force, rate + np.cumsum(steps, axis=0)


def noise_of(path: Path) -> SensorNoise:
    cells = cells_of(open_motion(path, Setup()))
    return sensor_noise(cells, still_for_noise(cells), open_motion(path, Setup()))


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return record(tmp_path_factory.mktemp("noise") / "night.qhr", SENSOR, *drifting(600, 0.002))


def test_white_noise_is_the_sensors(night: Path) -> None:
    noise = noise_of(night)
    assert set(noise.axes) == set(AXES)
    for name, axis in noise.axes.items():
        one_sided = SENSOR.accel_density_m_s2 if name.startswith("accel") else np.deg2rad(SENSOR.gyro_density_deg_s)
        # N^2 is two-sided: a data sheet's density is sqrt(2) N (IEEE Std 952, from memory)
        assert axis.figures.white is not None
        assert axis.figures.white * np.sqrt(2) == pytest.approx(one_sided, rel=0.04)


def test_samples_and_cells_join_into_the_one_deviation(night: Path) -> None:
    """Short times from samples, long ones from cells: the same as from all samples at once."""
    noise = noise_of(night)
    blocks = [b for b in open_motion(night, Setup()) if len(b)]
    time = np.concatenate([b.time_s for b in blocks])
    rate = np.concatenate([b.rate_rad_s for b in blocks])
    inside = (time > noise.start_s) & (time < noise.start_s + noise.duration_s)
    found = noise.axes["gyro y"].allan
    assert np.all(np.diff(found.tau_s) > 0)
    sizes = np.rint(found.tau_s / noise.period_s).astype(np.int64)
    whole = allan_deviation(rate[inside, 1], 1 / noise.period_s, sizes)
    k = len(whole.tau_s)
    assert k >= len(found.tau_s) - 1
    assert found.deviation[:k] == pytest.approx(whole.deviation, rel=0.05)


def test_in_plain_words_against_the_budget(night: Path) -> None:
    lines = list(against_budget(noise_of(night)))
    assert "they agree" in lines[0]  # a still sensor's white noise is what the budget reckons with
    assert "the budget says too little, by a factor of" in lines[2]  # it walks 2 mdeg/s per root second
    assert "rest cannot show it" in lines[3]


def test_a_calm_bias_is_on_the_safe_side(tmp_path: Path) -> None:
    noise = noise_of(record(tmp_path / "calm.qhr", SENSOR, *drifting(300, 0.0)))
    lines = list(against_budget(noise))
    assert noise.worst("gyro", "random_walk") is None
    assert "shows no walk" in lines[2]


def test_the_plot_stands_alone(night: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plot = tmp_path / "night.html"
    ran = run(capsys, "noise", night, "--plot", plot)
    assert ran.status == 0, ran.err
    assert ran.out.count("deg/s/sqrt(Hz)") == 3
    text = plot.read_text(encoding="utf-8")
    assert "Allan deviation, night.qhr" in text
    assert 'src="http' not in text
    assert all(axis in text for axis in AXES)
    assert "is there already" in refused(run(capsys, "noise", night, "--plot", plot))
    assert plot.read_text(encoding="utf-8") == text
    assert run(capsys, "noise", night, "--plot", plot, "--force").status == 0


def test_svg_says_what_it_needs(
    night: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from plotly.basedatatypes import BaseFigure

    def without(*_: object, **__: object) -> None:
        raise ValueError("Image export using the kaleido engine requires the kaleido package")

    monkeypatch.setattr(BaseFigure, "write_image", without)
    line = refused(run(capsys, "noise", night, "--plot", tmp_path / "night.svg"))
    assert "kaleido" in line
    assert ".html" in line
    assert importlib.util.find_spec("plotly") is not None


def test_another_ending_is_refused_before_the_work(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line = refused(run(capsys, "noise", tmp_path / "none.qhr", "--plot", "a.pdf"))
    assert ".html, .svg, .png" in line


def test_less_than_a_minute_and_a_hand_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    short = record(tmp_path / "short.qhr", SENSOR, *lying(SENSOR, 40))
    assert "longest still stretch is 39.5 s" in refused(run(capsys, "noise", short))
    held = record(tmp_path / "held.qhr", SENSOR, *trembling(SENSOR, 70, 1))
    assert "moves all the time" in refused(run(capsys, "noise", held))
