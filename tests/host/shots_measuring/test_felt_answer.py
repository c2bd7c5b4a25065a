"""The gyro's answer to acceleration, learned from shot to shot: shots of other bows, but of one sensor."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from quiethand import analysis
from quiethand.bow.launch import launch
from quiethand.emulator import Scenario, bows, sensor, write_recording
from quiethand.emulator.bows import BowKind
from quiethand.shots.felt import FeltState, felt_prior
from quiethand.shots.measure import measure, measure_and_learn
from quiethand.shots.model import Shot

from .shot_simulator import CHEAP, G0, Scene, simulate

TRUE_DEG_G = (0.11, -0.09, 0.06)
SHOTS = 8
Run = list[tuple[Scene, Shot, FeltState]]


@pytest.fixture(scope="module")
def run() -> Run:
    done: Run = []
    felt = None
    for seed in range(900, 900 + SHOTS):
        scene = simulate(seed, "compound", 2000.0, CHEAP, felt_deg_g=TRUE_DEG_G)
        shot, felt = measure_and_learn(scene.candidate, scene.setup, launch(scene.setup), 1, scene.still, felt)
        assert felt is not None
        done.append((scene, shot, felt))
    return done


def row(shot: Shot) -> NDArray[np.float64]:
    (found,) = [b for b in shot.budget if b.source == "acceleration"]
    return found.deg.array()


def test_the_answer_is_learned(run: Run) -> None:
    spread = np.deg2rad(0.1) / G0
    true = np.deg2rad(TRUE_DEG_G) / G0
    mean, sigma = felt_prior(run[-1][2], float(spread))
    assert run[-1][2].shots == SHOTS
    assert (np.abs(mean - true) < 2.5 * sigma).all()
    assert (sigma < 0.6 * spread).all()


def test_the_row_of_the_budget_shrinks_and_the_error_with_it(run: Run) -> None:
    shots = [shot for _, shot, _ in run]
    assert (row(shots[-1]) < 0.8 * row(shots[0])).all()
    late = run[SHOTS // 2 :]
    off: tuple[list[NDArray[np.float64]], list[NDArray[np.float64]]] = ([], [])
    for scene, shot, _ in late:
        alone = measure(scene.candidate, scene.setup, launch(scene.setup), 1, scene.still)
        for kept, one in zip(off, (shot, alone), strict=True):
            kept.append(one.at_departure.rotation_deg.array() - scene.told.rotation_deg)
    learned, fresh = (float(np.sqrt(np.mean(np.square(kept)))) for kept in off)
    assert learned < 0.8 * fresh


def test_the_first_shot_knows_nothing_and_later_ones_only_what_was_before(run: Run) -> None:
    scene, first, _ = run[0]
    alone = measure(scene.candidate, scene.setup, launch(scene.setup), 1, scene.still)
    assert alone.at_departure == first.at_departure
    scene, fifth, _ = run[4]
    again = measure(scene.candidate, scene.setup, launch(scene.setup), 1, scene.still, run[3][2])
    assert again.at_departure == fifth.at_departure


def test_nothing_is_learned_from_a_shot_without_its_window() -> None:
    scene = simulate(901, "compound", 2000.0, CHEAP)
    _, known = measure_and_learn(scene.candidate, scene.setup, launch(scene.setup), 1, scene.still, None)
    window = scene.candidate.window
    window.gyro_clipped[(window.time_s > 0.004) & (window.time_s < 0.008)] = True
    shot, after = measure_and_learn(scene.candidate, scene.setup, launch(scene.setup), 2, scene.still, known)
    assert shot.at_departure.rotation_deg.yaw is None
    assert after is known


@pytest.mark.parametrize(
    ("bow", "above_m", "per_g_deg_s"),
    [("compound", 0.0, 0.0), ("compound", 0.03, 0.0), ("compound", 0.03, 0.04), ("recurve", 0.02, 0.0)],
)
def test_what_is_learned_makes_no_good_sensor_worse(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, bow: BowKind, above_m: float, per_g_deg_s: float
) -> None:
    """A string that pulls far above the centre of mass turns the bow as the push goes: no answer of the gyro."""
    plan = replace(bows.bow_plan(bow), string_above_m=above_m)
    monkeypatch.setitem(bows._PLANS, bow, lambda: plan)
    monkeypatch.setitem(sensor.SENSORS, "good", replace(sensor.SENSORS["good"], gyro_per_g_deg_s=per_g_deg_s))
    path = tmp_path / "felt.qhr"
    truth = write_recording(path, Scenario(seed=77, bow=bow, shots=5, every_s=9.0, nuisances="none", rate_hz=2000.0))

    def off() -> float:
        shots = analysis.analyse_path(str(path)).shots
        errors = [
            shot.at_departure.rotation_deg.array() - true.rotation_deg.array()
            for shot, true in zip(shots, truth.shots, strict=True)
        ]
        return float(np.sqrt(np.mean(np.square(errors))) * 1e3)

    learned = off()
    monkeypatch.setattr(analysis, "measure_and_learn", lambda *a, **k: (measure_and_learn(*a, **k)[0], None))
    fresh = off()
    assert learned < max(1.1 * fresh, fresh + 0.1)  # mdeg
    if per_g_deg_s:
        assert learned < fresh
