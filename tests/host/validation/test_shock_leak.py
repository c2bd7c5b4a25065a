"""What happens after the departure may not change what is said of the time before it.

The emulator shoots the same shots twice: once as they are, once with the shock at brace ten times as large or its
ringing at other frequencies. How far a figure moves is told in its own stated uncertainty.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from quiethand.analysis import Report, analyse_path
from quiethand.emulator import Scenario, scene, write_recording
from quiethand.emulator.movement import Knock
from quiethand.emulator.shooting import ShotPlan

from .altered import sigmas_moved

SHOCKS: dict[str, Callable[[Knock], Knock]] = {
    "ten times as large": lambda k: replace(k, accel_m_s2=k.accel_m_s2 * 10, rate_rad_s=k.rate_rad_s * 10),
    "ringing 1.4 times as high": lambda k: replace(k, frequency_hz=k.frequency_hz * 1.4),
    "ringing 0.7 times as high": lambda k: replace(k, frequency_hz=k.frequency_hz * 0.7),
}
SCENARIOS = tuple(
    Scenario(seed=31 + n, bow=bow, sensor=sensor, habit="grip_torque", shots=4, rate_hz=2000.0, every_s=9.0)
    for n, (bow, sensor) in enumerate(
        (("compound", "good"), ("compound", "cheap"), ("recurve", "good"), ("recurve", "cheap"))
    )
)
Moved = dict[str, NDArray[np.float64]]  # by figure, all shots and axes


def analysed(folder: Path, scenario: Scenario) -> Report:
    path = folder / "shock.qhr"
    truth = write_recording(path, replace(scenario, nuisances="none"))
    report = analyse_path(str(path))
    assert len(report.shots) == len(truth.shots)
    return report


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> list[Report]:
    return [analysed(tmp_path_factory.mktemp("plain"), scenario) for scenario in SCENARIOS]


@pytest.fixture(scope="module", params=SHOCKS)
def moved(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, plain: list[Report]) -> Moved:
    usual = scene.draw_shot

    def other(*args: Any, **named: Any) -> ShotPlan:
        shot = usual(*args, **named)
        return replace(shot, brace_knock=SHOCKS[request.param](shot.brace_knock))

    by: dict[str, list[float]] = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(scene, "draw_shot", other)
        for scenario, before in zip(SCENARIOS, plain, strict=True):
            after = analysed(tmp_path_factory.mktemp("other"), scenario)
            for a, b in zip(before.shots, after.shots, strict=True):
                for name, value in sigmas_moved(a, b).items():
                    by.setdefault(name.removesuffix(" cant").removesuffix(" pitch").removesuffix(" yaw"), []).append(
                        value
                    )
    return {name: np.array(values) for name, values in by.items()}


def test_every_shot_is_found_and_rotation_hardly_moves(moved: Moved) -> None:
    assert np.median(moved["rotation"]) < 0.2
    assert np.percentile(moved["rotation"], 90) < 1.0
    for name in ("carried in", "struck", "release"):
        assert np.median(moved[name]) < 0.2
    for name in ("pressed", "rate", "impulse", "mean torque"):
        assert np.median(moved[name]) < 0.3


@pytest.mark.xfail(
    strict=True,
    reason="the departure is found by a threshold that grows with the shock, and the window's end goes with it",
)
def test_no_figure_of_the_window_moves_by_a_tenth_of_its_sigma(moved: Moved) -> None:
    assert max(float(values.max()) for values in moved.values()) < 0.1
