"""The same shots seen otherwise: each change of the recording changes the figures exactly as it should, and no other.

Properties follow from the definitions (frames and signs as in the wire format and `quiethand.axes`); no outside source.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations, product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from quiethand.analysis import Report, analyse_path
from quiethand.emulator import Scenario, Truth, write_recording
from scipy.spatial.transform import Rotation

from .altered import (
    WORD,
    analysed,
    blocks_of,
    changed,
    counted_on,
    document_of,
    figures,
    followed,
    mirrored,
    recounted,
    sigmas_moved,
    split,
)

ROUNDING = 2e-7  # the contract's figures are rounded to 1e-7
TURNS = [
    turn
    for order in permutations(range(3))
    for signs in product((1.0, -1.0), repeat=3)
    if np.linalg.det(turn := np.eye(3)[list(order)] * np.array(signs)[:, None]) > 0
]
# Signed about x or z, or to the right: what a mirror turns over. Sizes, uncertainties and what is about y stay.
SIGNED = ("rotation_deg", "rate_deg_s", "carried_in", "struck", "pressed", "torque_nm", "impulse_nms", "drift_deg_s")


class Recording:
    """What was recorded and what was found in it; no dataclass, or a failing property prints every sample."""

    def __init__(self, scenario: Scenario, truth: Truth, data: bytes, plain: Report) -> None:
        self.scenario, self.truth, self.data, self.plain = scenario, truth, data, plain


def made(folder: Path, scenario: Scenario) -> Recording:
    path = folder / "made.qhr"
    truth = write_recording(path, scenario)
    return Recording(scenario, truth, path.read_bytes(), analyse_path(str(path)))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("otherwise")


@pytest.fixture(scope="module", params=["compound", "recurve"])
def recording(request: pytest.FixtureRequest, folder: Path) -> Recording:
    seed = {"compound": 5, "recurve": 6}[request.param]
    scenario = Scenario(seed=seed, bow=request.param, habit="grip_torque", shots=2, rate_hz=1000.0, every_s=9.0)
    found = made(folder, scenario)
    assert len(found.plain.shots) == 2
    return found


def assert_same(before: Report, after: Report, tolerance: float = ROUNDING) -> None:
    assert len(after.shots) == len(before.shots)
    for a, b in zip(before.shots, after.shots, strict=True):
        assert changed(figures(a), figures(b), tolerance) == {}
        assert a.notes == b.notes
    assert [(r.reason, round(r.time_s, 6)) for r in before.rejected] == [
        (r.reason, round(r.time_s, 6)) for r in after.rejected
    ]


@settings(max_examples=6, deadline=None)
@given(index=st.integers(0, WORD - 1), ticks=st.integers(0, WORD - 1))
def test_counters_that_stand_elsewhere_change_nothing(
    recording: Recording, folder: Path, index: int, ticks: int
) -> None:
    data, plain = recording.data, recording.plain
    assert_same(plain, analysed(folder, counted_on(data, index, ticks)))


def test_counters_that_wrap_within_a_shot_change_nothing(recording: Recording, folder: Path) -> None:
    scenario, truth, data, plain = recording.scenario, recording.truth, recording.data, recording.plain
    inside = truth.shots[0].release_s + 0.005
    index, ticks = round(inside * scenario.rate_hz), round(inside * 1e6)
    other = analysed(folder, counted_on(data, WORD - index, WORD - ticks))
    assert other.facts.segments == 1
    assert other.facts.lost_samples == 0
    assert_same(plain, other)


@settings(max_examples=6, deadline=None)
@given(share=st.floats(0.0, 1.0))
def test_two_files_hold_the_shots_of_one(recording: Recording, folder: Path, share: float) -> None:
    """Cut anywhere from the end of a shot's follow-through to 5 s before the next: a hold is part of a shot."""
    scenario, truth, data, plain = recording.scenario, recording.truth, recording.data, recording.plain
    first, last = truth.shots[0].departure_s + 0.6, truth.shots[1].release_s - 5.0
    one, two = split(data, round((first + share * (last - first)) * scenario.rate_hz))
    before, after = analysed(folder, one), analysed(folder, two)
    assert (len(before.shots), len(after.shots)) == (1, 1)
    assert changed(figures(plain.shots[0]), figures(before.shots[0]), ROUNDING) == {}
    true, whole, alone = truth.shots[1], plain.shots[1], after.shots[0]
    assert true.release_s is not None
    assert whole.release_s is not None
    assert alone.release_s is not None
    # the second file's clock begins later; its times are fitted to its own ticks alone
    since = whole.release_s - alone.release_s
    assert abs((whole.departure_s - alone.departure_s) - since) < 1e-6
    moved = sigmas_moved(whole, replace(alone, release_s=whole.release_s, departure_s=alone.departure_s + since))
    # what shots and still moments of the first file told of the gyro the second does not know: no more than that
    assert max(moved.values()) < 1.0
    assert moved["time on string"] < 1e-3
    assert alone.window.peak_rate_deg_s.array() == pytest.approx(whole.window.peak_rate_deg_s.array(), abs=0.1)


@pytest.mark.parametrize("turn", TURNS[::5], ids=lambda turn: str(turn.astype(int).tolist()))
def test_a_sensor_turned_in_its_mount_shows_the_same(
    recording: Recording, folder: Path, turn: NDArray[np.float64]
) -> None:
    """Every fifth of the 24 turns that map counts onto counts; the set-up states mount, bias and offset as they are."""
    scenario, data, plain = recording.scenario, recording.data, recording.plain
    plainly: dict[str, Any] = document_of(scenario)["sensor"]

    def vector(key: str) -> list[str]:
        values = [float(text.split()[0]) for text in plainly[key]]
        return [f"{float(v)!r} {plainly[key][0].split(maxsplit=1)[1]}" for v in turn @ values]

    mount = Rotation.from_quat(plainly["mount"]) * Rotation.from_matrix(turn).inv()
    document = document_of(
        scenario,
        mount=[float(v) for v in mount.as_quat()],
        gyro_bias=vector("gyro_bias"),
        accel_offset=vector("accel_offset"),
    )

    def turned(counts: NDArray[np.int16]) -> NDArray[np.int16]:
        wide = counts.astype(np.float64)
        both = np.hstack((wide[:, :3] @ turn.T, wide[:, 3:] @ turn.T))
        return np.clip(both, -32767, 32767).astype(np.int16)

    assert_same(plain, analysed(folder, recounted(data, turned, document)))


def test_mirrored_for_the_other_hand(recording: Recording, folder: Path) -> None:
    data, plain = recording.data, recording.plain
    setup = plain.setup
    assert setup is not None
    other = replace(setup, archer=replace(setup.archer, handedness="left"))
    blocks = blocks_of(folder, data)
    shots, rejected = followed([mirrored(block, other) for block in blocks])
    assert [r.reason for r in rejected] == [r.reason for r in plain.rejected]
    assert len(shots) == len(plain.shots)
    for before, after in zip(plain.shots, shots, strict=True):
        expected = {
            name: -value
            if name.endswith("shift_mm.right")
            or (name.endswith((".cant", ".yaw")) and "sigma" not in name and any(f"{part}." in name for part in SIGNED))
            else value
            for name, value in figures(before).items()
        }
        found = figures(after)
        for name in ("window.peak_rate_deg_s.cant", "window.peak_rate_deg_s.yaw"):
            expected[name] = abs(expected[name])  # a size
        assert changed(expected, found, ROUNDING) == {}


@settings(max_examples=6, deadline=None)
@given(counts=st.tuples(*[st.integers(-300, 300)] * 3))
def test_a_gyro_bias_that_the_setup_states_changes_nothing(
    recording: Recording, folder: Path, counts: tuple[int, int, int]
) -> None:
    scenario, data, plain = recording.scenario, recording.data, recording.plain
    per_count = float(
        np.degrees(np.float32(np.radians(500.0) / 32768), dtype=np.float64)
    )  # the good sensor's range at power-up
    stated = [float(text.split()[0]) for text in document_of(scenario)["sensor"]["gyro_bias"]]
    bias = [f"{v + n * per_count!r} deg/s" for v, n in zip(stated, counts, strict=True)]
    more = np.array([0, 0, 0, *counts], np.int16)
    other = analysed(folder, recounted(data, lambda c: c + more, document_of(scenario, gyro_bias=bias)))
    assert_same(plain, other)


def test_a_gyro_bias_that_nobody_states_turns_by_bias_times_time(recording: Recording, folder: Path) -> None:
    """It adds bias x time on the string to the rotation, all of it carried in, and leaves instants alone."""
    scenario, data, plain = recording.scenario, recording.data, recording.plain
    more = np.array([0, 0, 0, 20, -13, 30], np.int16)
    per_count = float(np.degrees(np.float32(np.radians(500.0) / 32768), dtype=np.float64))
    mount = Rotation.from_quat(document_of(scenario)["sensor"]["mount"])
    added = mount.apply(more[3:] * per_count)
    other = analysed(folder, recounted(data, lambda c: c + more))
    for before, after in zip(plain.shots, other.shots, strict=True):
        assert before.time_on_string_s is not None
        assert after.time_on_string_s == pytest.approx(before.time_on_string_s, abs=1e-9)
        turn = added * before.time_on_string_s
        moved = after.at_departure.rotation_deg.array() - before.at_departure.rotation_deg.array()
        assert moved == pytest.approx(turn, rel=0.02, abs=2e-5)
        carried = after.at_departure.parts.carried_in_deg.array() - before.at_departure.parts.carried_in_deg.array()
        assert carried == pytest.approx(turn, rel=0.05, abs=1e-4)
        assert after.window.angular_impulse_nms.array() == pytest.approx(
            before.window.angular_impulse_nms.array(), rel=0.02, abs=5e-5
        )
        rows = [
            next(row.deg.array() for row in shot.budget if row.source == "bias" or row.source.startswith("bias"))
            for shot in (before, after)
        ]
        assert rows[1] == pytest.approx(rows[0], rel=1e-6)


@pytest.mark.parametrize("sensor", ["good", "cheap"])
def test_the_same_shots_at_any_rate(sensor: Any, folder: Path) -> None:
    """The emulator's archer shoots the same shots whatever the rate: figures agree within their uncertainties."""
    base = Scenario(seed=21, sensor=sensor, habit="grip_torque", shots=2, every_s=9.0, nuisances="none")
    found = {hz: made(folder, replace(base, rate_hz=hz)) for hz in (1000.0, 2000.0, 4000.0, 8000.0)}
    z = []
    for hz in (1000.0, 4000.0, 8000.0):
        assert len(found[hz].plain.shots) == 2
        for a, b in zip(found[2000.0].plain.shots, found[hz].plain.shots, strict=True):
            at, then = a.at_departure, b.at_departure
            sigma = np.hypot(at.rotation_sigma_deg.array(), then.rotation_sigma_deg.array())
            z += list(np.abs(at.rotation_deg.array() - then.rotation_deg.array()) / sigma)
            assert a.time_on_string_s is not None
            assert b.time_on_string_s is not None
            both = np.hypot(a.time_on_string_sigma_s or np.nan, b.time_on_string_sigma_s or np.nan)
            z.append(abs(a.time_on_string_s - b.time_on_string_s) / both)
    assert np.mean(np.array(z) < 2) > 0.9
    assert max(z) < 4
