"""What is lost, clipped or not stated is absent with a note, and what does not need it stays."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from quiethand.bow.launch import launch
from quiethand.bow.model import Bow, Limit, Setup
from quiethand.judge.limits import words_for
from quiethand.shots.candidate import Candidate
from quiethand.shots.measure import measure
from quiethand.shots.timing import Instants, find_instants

from .shot_simulator import Scene, simulate


def _without(candidate: Candidate, gone: NDArray[np.bool_]) -> Candidate:
    w, keep = candidate.window, ~gone
    window = replace(
        w,
        index=w.index[keep],
        time_s=w.time_s[keep],
        specific_force_m_s2=w.specific_force_m_s2[keep],
        rate_rad_s=w.rate_rad_s[keep],
        accel_clipped=w.accel_clipped[keep],
        gyro_clipped=w.gyro_clipped[keep],
    )
    return replace(candidate, window=window)


@pytest.fixture(scope="module")
def scene() -> Scene:
    return simulate(40, "compound", 2000.0)


@pytest.mark.parametrize(("start_ms", "end_ms"), [(-1, 2), (4, 9), (10, 25), (16, 30)])
def test_lost_samples_in_the_window_make_rotation_absent(scene: Scene, start_ms: float, end_ms: float) -> None:
    t = scene.candidate.window.time_s
    lost = _without(scene.candidate, (t > start_ms / 1e3) & (t < end_ms / 1e3))
    shot = measure(lost, scene.setup, launch(scene.setup), 1, scene.still)
    assert list(shot.at_departure.rotation_deg) == [None] * 3
    assert shot.budget == ()
    assert list(shot.window.mean_torque_nm) == [None] * 3
    assert shot.at_departure.pointing.right_mm is None
    assert any("lost or clipped" in note for note in shot.notes)
    # the hold was before it, and an instant is still told, wider if need be
    assert None not in list(shot.hold.rate_rms_deg_s)
    assert shot.release_s is not None
    assert abs(shot.release_s) < 3 * (shot.release_sigma_s or 0) + 0.3e-3


def test_a_loss_after_the_departure_spoils_only_what_comes_later(scene: Scene) -> None:
    t = scene.candidate.window.time_s
    lost = _without(scene.candidate, (t > 0.034) & (t < 0.040))
    shot = measure(lost, scene.setup, launch(scene.setup), 1, scene.still)
    assert None not in list(shot.at_departure.rotation_deg)
    by_ms = {at.ms: list(at.rotation_deg) for at in shot.after_release}
    assert None not in by_ms[10.0]
    assert by_ms[50.0] == [None] * 3


def test_a_clipped_push_keeps_the_rotation_and_is_noted(scene: Scene) -> None:
    w = scene.candidate.window
    limit = 25.0
    clipped: NDArray[np.bool_] = np.any(np.abs(w.specific_force_m_s2) > limit, axis=1)
    force = np.clip(w.specific_force_m_s2, -limit, limit)
    candidate = replace(scene.candidate, window=replace(w, specific_force_m_s2=force, accel_clipped=clipped))
    shot = measure(candidate, scene.setup, launch(scene.setup), 1, scene.still)
    assert any("accelerometer clipped" in note for note in shot.notes)
    assert None not in list(shot.at_departure.rotation_deg)
    assert abs(shot.departure_s - scene.told.departure_s) < 3 * (shot.departure_sigma_s or 0)


@pytest.mark.parametrize("late", [0.0, 1.0, 2.0])
def test_a_shock_told_some_samples_late_is_not_taken_for_motion(
    scene: Scene, monkeypatch: pytest.MonkeyPatch, late: float
) -> None:
    made = launch(scene.setup)
    plain = measure(scene.candidate, scene.setup, made, 1, scene.still)

    def told_late(*args: Any) -> Instants:
        found = find_instants(*args)
        # at least a millisecond into the shock
        begun = scene.told.departure_s + 0.7e-3 + late * scene.candidate.window.period_s
        return replace(found, first_break_s=max(found.first_break_s, begun))

    monkeypatch.setattr("quiethand.shots.measure.find_instants", told_late)
    shot = measure(scene.candidate, scene.setup, made, 1, scene.still)
    moved = np.abs(shot.at_departure.rotation_deg.array() - plain.at_departure.rotation_deg.array())
    assert (moved < plain.at_departure.rotation_sigma_deg.array()).all()


def test_without_a_set_up_there_are_times_and_rotation_but_no_torque(scene: Scene) -> None:
    shot = measure(scene.candidate, None, None, 7, scene.still)
    assert shot.number == 7
    assert None not in list(shot.at_departure.rotation_deg)
    assert shot.rest_clear_s is None
    assert list(shot.window.mean_torque_nm) == [None] * 3
    assert shot.at_departure.pointing.right_mm is None
    assert abs(shot.departure_s - scene.told.departure_s) < 0.5e-3
    assert any("inertia" in note for note in shot.notes)


def test_unknown_delays_widen_the_instants(scene: Scene) -> None:
    w = scene.candidate.window
    # the same motion with its delays already taken off the time column, and nothing stated
    window = replace(w, time_s=w.time_s - (w.accel_delay_s or 0.0), accel_delay_s=None, gyro_delay_s=None)
    unknown = measure(replace(scene.candidate, window=window), scene.setup, launch(scene.setup), 1, scene.still)
    known = measure(scene.candidate, scene.setup, launch(scene.setup), 1, scene.still)
    assert (unknown.release_sigma_s or 0) > 1.3 * (known.release_sigma_s or 1)
    row = {r.source: r.deg.array() for r in unknown.budget}["gyro delay"]
    assert np.all(row > {r.source: r.deg.array() for r in known.budget}["gyro delay"])


def test_a_constant_bias_and_a_shift_in_time_change_nothing_else(scene: Scene) -> None:
    plain = measure(scene.candidate, scene.setup, launch(scene.setup), 1, scene.still)
    w = scene.candidate.window
    bias = np.deg2rad([1.0, -2.0, 0.5])
    still = replace(scene.still, bias_rad_s=scene.still.bias_rad_s + bias, last_s=scene.still.last_s + 1000.0)
    moved = replace(
        scene.candidate,
        window=replace(w, time_s=w.time_s + 1000.0, rate_rad_s=w.rate_rad_s + bias),
        release_s=scene.candidate.release_s + 1000.0,
        departure_s=scene.candidate.departure_s + 1000.0,
        draw_end_s=(scene.candidate.draw_end_s or 0.0) + 1000.0,
    )
    other = measure(moved, scene.setup, launch(scene.setup), 1, still)
    assert other.departure_s - 1000.0 == pytest.approx(plain.departure_s, abs=2e-7)
    assert other.at_departure.rotation_deg.array() == pytest.approx(plain.at_departure.rotation_deg.array(), abs=1e-6)


def test_limits_flag_over_and_too_close_and_say_which_way(scene: Scene) -> None:
    made = launch(scene.setup)
    plain = measure(scene.candidate, scene.setup, made, 1, scene.still)
    right, sigma = plain.at_departure.pointing.right_mm, plain.at_departure.pointing.right_sigma_mm
    assert right is not None
    assert sigma is not None
    for limit, verdict in ((abs(right) - 3 * sigma, "over"), (abs(right) + sigma, "too_close_to_tell")):
        setup = replace(scene.setup, limits={"pointing_shift_right": Limit(limit, "mm")})
        (flag,) = measure(scene.candidate, setup, made, 1, scene.still).flags
        assert flag.verdict == verdict
        assert ("left" if right < 0 else "right") in flag.text
        assert f"{limit:g} mm" in flag.text
    setup = replace(scene.setup, limits={"pointing_shift_right": Limit(abs(right) + 3 * sigma, "mm")})
    assert measure(scene.candidate, setup, made, 1, scene.still).flags == ()


def test_signs_in_words() -> None:
    assert words_for("rotation_yaw", 1.0) == "left"
    assert words_for("rotation_pitch", 1.0) == "down"
    assert words_for("rotation_cant", -1.0) == "top limb left"
    assert words_for("pointing_shift_up", -2.0) == "low"
    assert words_for("peak_rate_yaw", 2.0) == ""


def test_a_set_up_without_bow_is_no_obstacle(scene: Scene) -> None:
    shot = measure(scene.candidate, Setup(bow=Bow()), None, 1, None)
    assert shot.time_on_string_s is not None
    assert any("bias" in note for note in shot.notes)
