"""The curve between its points: shape kept, area exact, let-off changed, cut at full draw."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from quiethand.bow.curve import curve_of, force_at, from_points, stored_energy_j, with_let_off
from quiethand.bow.model import Bow
from quiethand.errors import InputError
from scipy.interpolate import PchipInterpolator

INCH_M = 0.0254


def smooth_compound() -> tuple[np.ndarray, np.ndarray]:
    """An invented compound read every inch from 7 to 27 in."""
    y = np.linspace(0, 1, 21)
    rise, fall = 1 - (1 - np.clip(y / 0.4, 0, 1)) ** 2, np.clip((y - 0.6) / 0.4, 0, 1)
    return (7 + 20 * y) * INCH_M, 260 * rise * (1 - 0.8 * fall**2 * (3 - 2 * fall))


heights = st.lists(st.floats(1.0, 300.0), min_size=2, max_size=20)


@given(heights, st.floats(0.2, 2.4))
def test_no_bump_or_dip_between_points(forces: list[float], spacing_in: float) -> None:
    force = np.array([0.0, *forces])
    position = 0.18 + spacing_in * INCH_M * np.arange(len(force))
    curve = from_points(position, force)
    for i in range(len(force) - 1):
        between = force_at(curve, np.linspace(position[i], position[i + 1], 33))
        low, high = sorted((force[i], force[i + 1]))
        assert between.min() >= low - 1e-9 * high
        assert between.max() <= high + 1e-9 * high
        steps = np.diff(between) * np.sign(force[i + 1] - force[i])
        assert (steps >= -1e-9 * high).all()


@given(heights)
def test_it_is_the_well_known_interpolant(forces: list[float]) -> None:
    """Against scipy's, which follows the same paper."""
    force = np.array([0.0, *forces])
    position = 0.18 + INCH_M * np.arange(len(force)) + 0.004 * np.sin(np.arange(len(force)))
    curve = from_points(position, force)
    at = np.linspace(position[0], position[-1], 200)
    scipys = PchipInterpolator(position, force)
    assert force_at(curve, at) == pytest.approx(scipys(at), rel=1e-9, abs=1e-9 * force.max())
    assert stored_energy_j(curve) == pytest.approx(float(scipys.integrate(position[0], position[-1])), rel=1e-11)


def test_points_far_apart_are_joined_by_straight_lines_and_said_so() -> None:
    curve = from_points(np.array([0.18, 0.36, 0.37, 0.38]), np.array([0.0, 200.0, 205.0, 207.0]))
    assert force_at(curve, np.array([0.27])) == pytest.approx(100.0)
    assert "2.5 in apart" in curve.notes[0]


def test_cut_at_full_draw() -> None:
    position, force = smooth_compound()
    points = tuple(zip(position.tolist(), force.tolist(), strict=True))
    whole = curve_of(Bow(draw_force_curve=points))
    cut = curve_of(Bow(draw_force_curve=points, draw_length_m=26.4 * INCH_M + 1.75 * INCH_M))
    at = np.linspace(position[0], 26.4 * INCH_M, 300)
    assert cut.full_draw_m == pytest.approx(26.4 * INCH_M, rel=1e-12)
    assert force_at(cut, at) == pytest.approx(force_at(whole, at), rel=1e-9, abs=1e-9)


def test_another_let_off_keeps_the_rise_and_stretches_the_valley() -> None:
    position, force = smooth_compound()
    curve = from_points(position, force)
    changed = with_let_off(curve, 0.65)
    assert changed.holding_n == pytest.approx(0.35 * curve.peak_n, rel=1e-12)
    assert changed.peak_n == curve.peak_n
    rise = position[: int(np.argmax(force)) + 1]
    assert force_at(changed, rise) == pytest.approx(force_at(curve, rise), rel=1e-12)
    at = np.linspace(position[int(np.argmax(force))], position[-1], 50)
    assert (force_at(changed, at) >= force_at(curve, at) - 1e-9).all()
    assert "stretched from 80.0 to 65.0 % let-off" in changed.notes[-1]
    assert with_let_off(curve, 0.8).force_n == pytest.approx(curve.force_n, rel=1e-12)


def test_a_curve_that_does_not_let_off_cannot_be_given_another_let_off() -> None:
    curve = from_points(np.array([0.2, 0.3, 0.4]), np.array([0.0, 100.0, 150.0]))
    with pytest.raises(InputError, match="does not let off"):
        with_let_off(curve, 0.65)
    assert with_let_off(curve, 0.0) is curve


@pytest.mark.parametrize(
    ("bow", "says"),
    [
        (Bow(), "needs bow.kind, bow.peak_weight, bow.draw_length, bow.brace_height, bow.let_off"),
        (Bow(kind="recurve", peak_weight_n=180), "needs bow.draw_length, bow.brace_height;"),
        (Bow(kind="compound", peak_weight_n=180, draw_length_m=0.7, brace_height_m=0.2), "needs bow.let_off"),
    ],
)
def test_what_is_missing_is_named_at_once(bow: Bow, says: str) -> None:
    with pytest.raises(InputError, match=says):
        curve_of(bow)


def test_let_off_alone_tells_a_compound() -> None:
    bow = Bow(peak_weight_n=200, let_off=0.7, draw_length_m=0.7, brace_height_m=0.18)
    assert curve_of(bow).holding_n == pytest.approx(60)
    assert curve_of(bow, 0.5).holding_n == pytest.approx(100)
