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
from quiethand.motion.block import MotionBlock
from quiethand.shots.model import Shot

from .altered import blocks_of, followed, sigmas_moved

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


def louder_later(folder: Path, scenario: Scenario, after_s: float, factor: float) -> tuple[list[Shot], list[Shot]]:
    """The shots as they are, and with every sample from `after_s` after each departure on as many times as large."""
    path = folder / "later.qhr"
    truth = write_recording(path, replace(scenario, nuisances="none"))
    blocks = blocks_of(folder, path.read_bytes())

    def louder(block: MotionBlock) -> MotionBlock:
        size = np.ones(len(block))
        for shot in truth.shots:
            since = block.time_s - shot.departure_s
            size[(since > after_s) & (since < 0.12)] = factor
        return replace(block, specific_force_m_s2=block.specific_force_m_s2 * size[:, None])

    return followed(blocks)[0], followed([louder(block) for block in blocks])[0]


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda s: f"{s.bow} {s.sensor}")
def test_what_rattles_twice_as_loud_later_changes_nothing(scenario: Scenario, tmp_path: Path) -> None:
    before, after = louder_later(tmp_path, scenario, 0.010, 2.0)
    assert len(after) == len(before) == 4
    for a, b in zip(before, after, strict=True):
        assert max(sigmas_moved(a, b).values()) < 0.1


@pytest.mark.xfail(
    strict=True, reason="the first break is sought as a share of the loudest, so that it takes its place"
)
def test_what_rattles_five_times_as_loud_later_hides_no_shot(tmp_path: Path) -> None:
    found = [louder_later(tmp_path, scenario, 0.016, 5.0) for scenario in SCENARIOS]
    assert [len(after) for _, after in found] == [len(before) for before, _ in found]
