"""What must not change what is found: chunking, time, mount; and what must: a hole, an edge, a rate too slow."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from quiethand.motion.block import MotionBlock
from quiethand.shots.candidate import Candidate
from quiethand.shots.finder import ShotFinder
from quiethand.shots.model import Rejected

from .judging import find, session
from .scenes import G0, Bow, Director, Sensor, any_mount, blocks

ARRAYS = ("index", "time_s", "specific_force_m_s2", "rate_rad_s", "accel_clipped", "gyro_clipped")
SCENE, BOW, _ = session(11)
SENSOR = Sensor(1000.0)


def joined(parts: list[MotionBlock]) -> MotionBlock:
    arrays: dict[str, Any] = {f: np.concatenate([getattr(p, f) for p in parts]) for f in ARRAYS}
    return replace(parts[0], **arrays)


def cut(whole: MotionBlock, at: list[int]) -> list[MotionBlock]:
    edges = [0, *sorted(at), len(whole)]
    return [replace(whole, **{f: getattr(whole, f)[a:b] for f in ARRAYS}) for a, b in pairwise(edges) if b > a]


WHOLE = joined(blocks(SCENE, SENSOR, 11))


def told(parts: list[MotionBlock]) -> list[tuple[object, ...]]:
    finder, out = ShotFinder(), []
    for part in parts:
        out += finder.feed(part)
    out += finder.finish()
    return [
        (
            o.release_s,
            o.departure_s,
            o.draw_end_s,
            o.notes,
            o.window.index[0],
            o.window.index[-1],
            o.window.time_s.sum(),
        )
        if isinstance(o, Candidate)
        else (o.time_s, o.reason, o.text)
        for o in out
    ]


@settings(max_examples=12, deadline=None)
@given(st.lists(st.integers(1, len(WHOLE) - 1), max_size=60, unique=True))
def test_any_chunking_gives_the_same(at: list[int]) -> None:
    want = told([WHOLE])
    assert len(want) >= 5
    assert told(cut(WHOLE, at)) == want


def test_sample_by_sample_about_a_shot_gives_the_same() -> None:
    middle = int(SCENE.shots[0][1] * SENSOR.rate_hz)
    at = list(range(max(1, middle - 400), middle + 900))
    assert told(cut(WHOLE, at)) == told([WHOLE])


def test_a_shift_in_time_moves_every_time_and_nothing_else() -> None:
    shots, rejected = find([WHOLE])
    later, later_rejected = find([replace(WHOLE, time_s=WHOLE.time_s + 1000.0)])
    for a, b in zip(shots, later, strict=True):
        assert b.release_s - a.release_s == pytest.approx(1000.0, abs=1e-6)
        assert b.departure_s - a.departure_s == pytest.approx(1000.0, abs=1e-6)
    assert [r.reason for r in rejected] == [r.reason for r in later_rejected]


@pytest.mark.parametrize("seed", range(4))
def test_any_mount_gives_the_same_shots(seed: int) -> None:
    turn = any_mount(np.random.default_rng(seed))
    turned = replace(WHOLE, specific_force_m_s2=WHOLE.specific_force_m_s2 @ turn, rate_rad_s=WHOLE.rate_rad_s @ turn)
    want, _ = find([WHOLE])
    got, _ = find([turned])
    assert [c.departure_s for c in got] == pytest.approx([c.departure_s for c in want], abs=0.004)


def one_shot(seconds: float = 8.0, hold_s: float = 1.5, seed: int = 0) -> Director:
    d = Director(seed, seconds)
    d.draw(hold_s)
    d.release(Bow())
    return d


@pytest.mark.parametrize("rate_hz", [500.0, 1000.0, 2000.0, 4000.0, 8000.0])
@pytest.mark.parametrize("range_g", [4.0, 16.0])
def test_rates_and_ranges(rate_hz: float, range_g: float) -> None:
    d = one_shot()
    shots, _ = find(blocks(d.scene, Sensor(rate_hz, range_m_s2=range_g * G0)))
    (shot,) = shots
    release, departure = d.scene.shots[0]
    assert shot.departure_s == pytest.approx(departure, abs=max(0.0025, 2 / rate_hz))
    assert shot.release_s == pytest.approx(release, abs=0.008)


def test_the_window_reaches_from_eight_seconds_before_to_after() -> None:
    d = Director(1, 16.0)
    d.wait(5.0)
    d.draw(2.5)
    d.release(Bow())
    (shot,), _ = find(blocks(d.scene, Sensor()))
    assert shot.release_s - shot.window.time_s[0] == pytest.approx(8.0, abs=0.05)
    assert shot.window.time_s[-1] - shot.departure_s >= 0.4
    assert len(shot.window) == shot.window.index[-1] - shot.window.index[0] + 1


def test_the_hold_begins_where_the_draw_ends() -> None:
    d = Director(3, 12.0)
    d.draw(2.0)
    end = d.now - 2.0
    d.release(Bow())
    (shot,), _ = find(blocks(d.scene, Sensor()))
    assert shot.draw_end_s == pytest.approx(end, abs=0.25)


def test_a_shot_soon_after_the_start_and_one_two_seconds_after_another() -> None:
    d = Director(2, 6.0, carry_rad=0.0)
    d.wait(0.15)
    d.release(Bow())
    d.wait(1.2)
    d.release(Bow())
    shots, _ = find(blocks(d.scene, Sensor()))
    assert [c.departure_s for c in shots] == pytest.approx([t for _, t in d.scene.shots], abs=0.003)
    assert shots[0].draw_end_s is None
    assert shots[0].notes


@pytest.mark.parametrize("lost", [(-0.004, 0.006), (0.002, 0.010), (0.008, 0.014), (0.012, 0.020)])
def test_samples_lost_in_the_window_do_not_hide_the_shot(lost: tuple[float, float]) -> None:
    d = one_shot(hold_s=2.0)
    release = d.scene.shots[0][0]
    d.scene.holes.append((release + lost[0], release + lost[1]))
    shots, _ = find(blocks(d.scene, Sensor()))
    assert len(shots) == 1
    assert np.any(np.diff(shots[0].window.index) > 1)


def test_a_tap_right_after_a_hole_is_an_edge_not_a_shot() -> None:
    """The line drawn over a hole would pass for the smoothest push of all."""
    d = Director(4, 8.0)
    d.wait(4.0)
    d.scene.holes.append((d.now - 0.0150, d.now + 0.0005))
    d.knock("tap", 12 * G0, (150.0,), 0.03)
    shots, rejected = find(blocks(d.scene, Sensor()))
    assert shots == []
    assert {r.reason for r in rejected} == {"edge"}


def test_a_shock_at_the_very_start_or_end_is_an_edge() -> None:
    d = Director(5, 4.0)
    d.wait(0.02)
    d.knock("tap", 20 * G0, (150.0,), 0.03)
    d.at = round(3.985 * 16000)
    d.knock("tap", 20 * G0, (150.0,), 0.03)
    shots, rejected = find(blocks(d.scene, Sensor(4000.0)))
    assert shots == []
    assert [r.reason for r in rejected] == ["edge", "edge"]


def test_a_restart_is_not_looked_across() -> None:
    d = one_shot()
    first = joined(blocks(d.scene, Sensor()))
    second = replace(first, segment=1, time_s=first.time_s + 20.0)
    shots, _ = find([first, second])
    assert [c.window.segment for c in shots] == [0, 1]
    assert shots[1].window.time_s[0] >= 20.0


def test_hours_of_nothing_a_hole_of_minutes_and_no_sample_at_all() -> None:
    assert find([]) == ([], [])
    d = one_shot()
    quiet = joined(blocks(Director(6, 5.0).scene, Sensor()))
    shot = joined(blocks(d.scene, Sensor()))
    late = replace(shot, index=shot.index + 400_000, time_s=shot.time_s + 200.0)
    shots, rejected = find([quiet, late])
    assert len(shots) == 1
    assert rejected == []


def test_too_few_samples_a_second_tell_no_shot() -> None:
    d = one_shot()
    shots, rejected = find(blocks(d.scene, Sensor(250.0)))
    assert shots == []
    assert all(isinstance(r, Rejected) for r in rejected)


def test_a_neighbours_shot_and_a_machine_are_not_shots() -> None:
    d = Director(7, 12.0)
    d.wait(1.0)
    d.knock("tap", 0.15 * G0, (40.0,), 0.05)
    n = 16000 * 6
    hum = np.sin(2 * np.pi * 48 * np.arange(n) / 16000)[:, None] * np.array([0.4, 0.2, 0.6]) * G0
    d.add(hum, 1.0)
    shots, rejected = find(blocks(d.scene, Sensor()))
    assert shots == []
    assert len(rejected) <= 1


def test_one_walk_is_one_rejection() -> None:
    d = Director(8, 40.0)
    d.wait(2.0)
    d.walk(30.0)
    shots, rejected = find(blocks(d.scene, Sensor()))
    assert shots == []
    assert [r.reason for r in rejected] == ["walk"]
    assert "steps" in rejected[0].text
