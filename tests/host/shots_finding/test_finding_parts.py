"""The finder's parts against slow, obvious oracles."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from quiethand.shots.alarms import contrast
from quiethand.shots.cells import cell_length, summarise
from quiethand.shots.history import History
from quiethand.shots.knock import sharpness
from quiethand.shots.sway import sway

from .scenes import Director, Sensor, blocks


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 41), st.integers(1, 12), st.integers(0, 2**32 - 1), st.floats(0, 0.6))
def test_cells_are_what_a_loop_says(length: int, count: int, seed: int, lost: float) -> None:
    rng = np.random.default_rng(seed)
    first, n = 7, length * count
    keep = rng.random(n) >= lost
    keep[0] = True
    index = np.flatnonzero(keep) + first * length
    force, rate = rng.normal(size=(len(index), 3)), rng.normal(size=(len(index), 3))
    table = summarise(first, count, length, index, index / 1000.0, force, rate)
    latest = -1
    for k in range(count):
        rows = []
        for i in range((first + k) * length, (first + k + 1) * length):
            latest = int(np.searchsorted(index, i, side="right")) - 1
            rows.append(latest)
        span = np.ptp(force[rows], axis=0)
        assert np.isclose(table.jolt_m_s2[k], np.linalg.norm(span))
        assert np.allclose(table.force_m_s2[k], force[rows].mean(axis=0))
        assert np.allclose(table.rate_rad_s[k], rate[rows].mean(axis=0))
        assert table.samples[k] == np.sum(index // length == first + k)


def test_a_cell_is_five_milliseconds_and_never_one_sample() -> None:
    assert [cell_length(1 / hz) for hz in (100, 500, 1000, 4000, 8000)] == [2, 2, 5, 20, 40]


def test_sharpness_of_a_step_and_of_a_parabola() -> None:
    """A step is its own second difference; a t^2 / 2 has a tau^2; nothing is seen before it comes."""
    force = np.zeros((400, 3))
    force[200:, 1] = 50.0
    score = sharpness(force, 1 / 4000)
    assert np.all(score[:200] == 0)
    assert np.isclose(score[200], 50.0)
    t = np.arange(400) / 4000
    curve = np.zeros((400, 3))
    curve[:, 0] = 0.5 * 1e5 * t**2
    assert np.allclose(sharpness(curve, 1 / 4000)[10:], 1e5 * 0.00075**2)


def test_sway_against_a_polynomial_fit() -> None:
    rng = np.random.default_rng(1)
    force = rng.normal(size=(200, 3)) + np.outer(np.arange(200), [0.1, -0.3, 0.0])
    got = sway(force, 40, 10)
    x = np.arange(40)
    for k, value in enumerate(got):
        part = force[10 * k : 10 * k + 40]
        off = part - np.column_stack([np.polyval(np.polyfit(x, part[:, j], 1), x) for j in range(3)])
        assert np.isclose(value, np.sqrt((off**2).sum(axis=1).mean()))
    assert sway(force[:30], 40, 10).size == 0


def test_contrast_is_over_the_median_of_the_forty_before() -> None:
    rng = np.random.default_rng(2)
    jolt = rng.random(200)
    rows = np.array([60, 150, 199])
    want = [jolt[r] / np.sort(jolt[r - 40 : r])[20] for r in rows]
    assert np.allclose(contrast(jolt, rows), want)
    assert contrast(np.array([1.0]), np.array([0]))[0] > 1e3  # before a run there was nothing to hear


def test_history_draws_lines_over_holes_and_forgets() -> None:
    scene = Director(0, 2.0).scene
    scene.holes.append((0.5, 0.52))
    history = History()
    parts = blocks(scene, Sensor(1000.0), cut=100)
    for part in parts:
        history.add(part)
    grid = history.grid(450, 600)
    assert grid is not None
    assert (grid.first, len(grid.time_s)) == (450, 150)
    assert np.array_equal(np.flatnonzero(~grid.there), np.arange(50, 70))
    assert np.allclose(np.diff(grid.force_m_s2[49:71], n=2, axis=0), 0, atol=1e-9)
    history.forget_before(1000)
    assert history.grid(0, 800) is None
