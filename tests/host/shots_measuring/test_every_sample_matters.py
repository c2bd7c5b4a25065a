"""Absent, not guessed: each sample around a window clipped or lost in turn, and what is null then and what is not."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from quiethand.bow.launch import Launch, launch
from quiethand.shots.candidate import Candidate
from quiethand.shots.measure import measure
from quiethand.shots.model import Shot

from .shot_simulator import CHEAP, GOOD, Scene, simulate

Kind = Literal["lost", "gyro clipped", "accelerometer clipped"]


@pytest.fixture(scope="module", params=["compound", "recurve"])
def told(request: pytest.FixtureRequest) -> tuple[Scene, Launch, Shot]:
    scene = (
        simulate(52, "compound", 1000.0, GOOD)
        if request.param == "compound"
        else simulate(51, "recurve", 1000.0, CHEAP)
    )
    made = launch(scene.setup)
    return scene, made, measure(scene.candidate, scene.setup, made, 1, scene.still)


def spoiled(candidate: Candidate, row: int, kind: Kind) -> Candidate:
    w = candidate.window
    if kind == "lost":
        keep = np.arange(len(w.index)) != row
        fields = ("index", "time_s", "specific_force_m_s2", "rate_rad_s", "accel_clipped", "gyro_clipped")
        return replace(candidate, window=replace(w, **{name: getattr(w, name)[keep] for name in fields}))
    name = "gyro_clipped" if kind == "gyro clipped" else "accel_clipped"
    clipped = getattr(w, name).copy()
    clipped[row] = True
    return replace(candidate, window=replace(w, **{name: clipped}))


def needs_the_window(shot: Shot) -> list[float | None]:
    at, window = shot.at_departure, shot.window
    return [
        *at.rotation_deg, *at.rotation_sigma_deg, *at.rate_deg_s, *at.parts.struck_deg, *at.parts.pressed_deg,
        at.pointing.right_mm, at.pointing.up_mm, *window.peak_rate_deg_s, *window.mean_torque_nm,
        *window.peak_torque_nm, *window.angular_impulse_nms,
    ]  # fmt: skip


@pytest.mark.parametrize("kind", ["lost", "gyro clipped", "accelerometer clipped"])
def test_each_sample_in_turn(told: tuple[Scene, Launch, Shot], kind: Kind) -> None:
    scene, made, plain = told
    window = scene.candidate.window
    period, motion = window.period_s, window.gyro_time_s
    assert plain.release_s is not None
    assert None not in needs_the_window(plain)
    spoils = plain.departure_s + (window.gyro_delay_s or 0.0)  # ticks from here on hold the shock and are not used
    seen = set()
    for row in np.flatnonzero((motion > plain.release_s - 0.012) & (motion < plain.departure_s + 0.015)):
        shot = measure(spoiled(scene.candidate, int(row), kind), scene.setup, made, 1, scene.still)
        at, tick = float(motion[row]), float(window.time_s[row])
        values = needs_the_window(shot)
        absent = all(value is None for value in values)
        assert absent or None not in values  # all of them or none
        # an instant may move by a little, so that a sample right at an end may be needed or not
        inside = plain.release_s < at and tick < min(plain.departure_s, spoils) - period
        outside = at < plain.release_s - 2 * period or at > plain.departure_s + 2 * period
        if kind != "accelerometer clipped" and inside:
            assert absent, (row, at)
        if kind == "accelerometer clipped" or outside:
            assert not absent, (row, at)
            # one sample of the hold or the push more or less moves it by less than its uncertainty
            moved = np.abs(shot.at_departure.rotation_deg.array() - plain.at_departure.rotation_deg.array())
            assert (moved < shot.at_departure.rotation_sigma_deg.array()).all(), (row, at)
        if absent:
            assert shot.budget == ()
            assert any("no rotation" in note for note in shot.notes)
        seen.add(absent)
        # rotations on the way are told up to the gap, and none beyond it
        for then in shot.after_release:
            until = plain.release_s + then.ms / 1e3
            if kind != "accelerometer clipped" and plain.release_s < at < until - period:
                assert list(then.rotation_deg) == [None] * 3, (row, at, then.ms)
            if until < min(at - 3 * period, plain.departure_s - 3 * period):
                assert None not in list(then.rotation_deg), (row, at, then.ms)
        # the hold was before it and the instants have a wider word, never none
        assert None not in list(shot.hold.rate_rms_deg_s)
        assert shot.release_s is not None
        assert shot.release_sigma_s is not None
    assert seen == ({False} if kind == "accelerometer clipped" else {True, False})
