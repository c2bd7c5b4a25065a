"""The finder's parts against slow, obvious oracles."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from quiethand.bow.model import SensorSetup
from quiethand.motion.block import CountedBlock, MotionBlock
from quiethand.motion.calibration import Scales, calibration
from quiethand.shots.alarms import contrast
from quiethand.shots.cells import CellTable, cell_length, summarise
from quiethand.shots.finder import ShotFinder
from quiethand.shots.history import History
from quiethand.shots.knock import sharpness
from quiethand.shots.slots import Slotter
from quiethand.shots.still import StillTracker
from quiethand.shots.sway import sway

from .scenes import Director, Sensor, blocks


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 41), st.integers(1, 12), st.integers(0, 2**32 - 1), st.floats(0, 0.6), st.booleans())
def test_cells_are_what_a_loop_says(length: int, count: int, seed: int, lost: float, counted: bool) -> None:
    """Of a sensor turned in its mount, in counts or in SI; the jolt is that along the sensor's own axes."""
    rng = np.random.default_rng(seed)
    first, n = 7, length * count
    keep = rng.random(n) >= lost
    keep[0] = True
    index = np.flatnonzero(keep) + first * length
    numbers = rng.integers(-32768, 32768, (len(index), 6)).astype(np.int16)
    made = calibration(Scales(0.01, 0.002), SensorSetup(mount=(0.1, -0.4, 0.2, 0.8), gyro_bias_rad_s=(0.1, 0.2, 0.3)))
    stated = {"segment": 0, "index": index, "time_s": index / 1000.0, "period_s": 0.001}
    block: MotionBlock = CountedBlock.of(numbers, made, stated)
    force, rate = made.apply(numbers)
    reach = 0.01 * numbers[:, :3].astype(np.float64)
    if not counted:
        reach = force
        clear = np.zeros(len(index), np.bool_)
        block = MotionBlock(0, index, index / 1000.0, force, rate, clear, clear, 0.001, None, None, None, None)
    halves = [block.part(slice(0, len(index) // 2)), block.part(slice(len(index) // 2, None))]
    table = summarise(first, count, length, [half for half in halves if len(half)])
    latest = -1
    for k in range(count):
        rows = []
        for i in range((first + k) * length, (first + k + 1) * length):
            latest = int(np.searchsorted(index, i, side="right")) - 1
            rows.append(latest)
        assert np.isclose(table.jolt_m_s2[k], np.linalg.norm(np.ptp(reach[rows], axis=0)))
        assert np.allclose(table.force_m_s2[k], force[rows].mean(axis=0), atol=1e-9)
        assert np.allclose(table.rate_rad_s[k], rate[rows].mean(axis=0), atol=1e-9)
        assert (table.swing_rad_s[k] >= np.ptp(rate[rows], axis=0) - 1e-9).all()
        assert table.time_s[k] == index[rows[0]] / 1000.0
        assert table.samples[k] == np.sum(index // length == first + k)


@settings(max_examples=15, deadline=None)
@given(st.lists(st.integers(1, 7), min_size=1, max_size=6), st.integers(2, 12))
def test_slots_are_the_same_in_any_pieces_and_their_shake_is_the_sway(pieces: list[int], cells: int) -> None:
    rng = np.random.default_rng(cells)
    n = sum(pieces) * cells
    time_s = np.arange(n) * 0.005
    force, rate = 9.8 + rng.normal(0, 0.1, (n, 3)), rng.normal(size=(n, 3))
    table = CellTable(3, time_s, np.full(n, 20), rng.random(n), force, rate, rng.random((n, 3)))
    whole = Slotter(cells).take(table)
    slotter, at, parts = Slotter(cells), 3, []
    for piece in pieces:
        parts.append(slotter.take(table.between(at, at + piece * cells)))
        at += piece * cells
    for name in ("time_s", "force_m_s2", "shake_m_s2", "turn_rad_s", "rate_square"):
        assert np.array_equal(np.concatenate([getattr(part, name) for part in parts]), getattr(whole, name)), name
    shakes = sway(force, 4 * cells, cells)
    assert np.allclose(whole.shake_m_s2[3:], shakes, rtol=1e-9)
    assert not whole.shake_m_s2[:3].any()


def test_a_rest_tells_bias_and_noise_and_what_ends_it_does_not() -> None:
    """Two seconds of rest between handling; the bias is good to the noise of their mean, and known from then on."""
    rng = np.random.default_rng(5)
    hz, bias, noise = 1000, np.deg2rad([0.5, -0.3, 0.2]), np.deg2rad(0.08)
    tremor = np.deg2rad(5.0) * np.sin(2 * np.pi * 3.0 * np.arange(5 * hz) / hz)[:, None]
    rest, stir = np.zeros((2 * hz, 1)), np.deg2rad(0.4) * np.linspace(0, 1, hz)[:, None]
    rate = bias + np.vstack([tremor, rest, stir, tremor]) + rng.normal(0, noise, (13 * hz, 3))
    force = np.array([0.0, 0.0, 9.80665]) + rng.normal(0, 0.02, (13 * hz, 3))
    clear = np.zeros(len(rate), np.bool_)
    tracker = StillTracker()
    finder = ShotFinder(still=tracker)
    index = np.arange(len(rate))
    block = MotionBlock(0, index, index / hz, force, rate, clear, clear, 1 / hz, None, None, None, None)
    for at in range(0, len(rate), 700):
        finder.feed(block.part(slice(at, at + 700)))
    finder.finish()
    assert tracker.state_at(5.5) is None
    state = tracker.state_at(12.0)
    assert state is not None
    assert 6.0 < state.last_s < 7.3
    assert np.abs(state.bias_rad_s - bias).max() < 3 * noise / np.sqrt(hz) + np.deg2rad(0.003)
    assert state.gyro_noise_rad_s == pytest.approx(noise, rel=0.05)


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
