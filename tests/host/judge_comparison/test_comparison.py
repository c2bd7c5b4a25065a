"""Two sets compared: as sure as stated by simulation, deterministic, and no more said than the shots show."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.axes import Axes
from quiethand.errors import InputError
from quiethand.judge.at_target import at_target
from quiethand.judge.comparison import compare, compare_many, could_show
from quiethand.judge.comparison_words import could_show_words, in_words
from quiethand.judge.serial import serial_correlation


def test_intervals_cover_and_the_test_errs_as_stated() -> None:
    """Short form of tests/bench/long_statistics.py: 12 and 15 skewed values, four standard errors of 150 trials."""
    rng = np.random.default_rng(1)
    trials = [compare(rng.exponential(size=12), 1 + rng.exponential(size=15)) for _ in range(150)]
    assert 0.88 <= np.mean([c.low <= 1 <= c.high for c in trials]) <= 0.99
    nothing = [compare(rng.normal(size=9), rng.normal(size=9), paired=True) for _ in range(150)]
    assert np.mean([c.p_value < 0.05 for c in nothing]) <= 0.05 + 4 * 0.018


def test_the_smallest_difference_is_found_as_often_as_said() -> None:
    rng = np.random.default_rng(2)
    smallest = could_show(rng.normal(size=400), rng.normal(size=400)).sd * 1.2032  # 12 and 12 shots of sd 1, power 0.8
    shift = smallest / could_show(rng.normal(size=400), rng.normal(size=400)).sd
    found = [compare(rng.normal(size=12), rng.normal(shift, 1, 12)).p_value < 0.05 for _ in range(200)]
    assert np.mean(found) == pytest.approx(0.8, abs=4 * 0.028)


def test_the_same_shots_give_the_same_figures_and_turn_about() -> None:
    rng = np.random.default_rng(3)
    a, b = rng.normal(0, 1, 14), rng.normal(1.5, 2, 11)
    once = compare(a, b)
    assert once == compare(list(a), [*b, None, float("nan")]) or once.left_out == 0
    assert compare(a, b) == once
    back = compare(b, a)
    assert back.difference == pytest.approx(-once.difference)
    assert (back.low, back.high) == pytest.approx((-once.high, -once.low), rel=0.1)
    scaled = compare(10 * a + 3, 10 * b + 3)
    assert scaled.high - scaled.low == pytest.approx(10 * (once.high - once.low), rel=0.1)


def test_a_wild_shot_hardly_moves_the_trimmed_centre() -> None:
    rng = np.random.default_rng(4)
    a, b = rng.normal(0, 1, 20), rng.normal(2, 1, 20)
    b[7] = 60
    assert compare(a, b, centre="trimmed").difference == pytest.approx(2, abs=0.7)
    assert compare(a, b).difference > 4
    assert compare(a, b, centre="trimmed").shown


def test_shots_like_the_ones_before_count_for_fewer() -> None:
    rng = np.random.default_rng(5)
    walk = np.convolve(rng.normal(size=60), np.ones(5) / 5, mode="valid")
    serial = serial_correlation([walk])
    assert serial.noticed
    assert serial.widen > 1.5
    assert not serial_correlation([rng.permutation(walk)]).noticed
    found = compare(walk[:28], walk[28:])
    assert any("resemble the ones before" in line for line in in_words(found))


def test_many_measures_raise_p() -> None:
    rng = np.random.default_rng(6)
    sets = {f"m{i}": (rng.normal(size=10), rng.normal(size=10)) for i in range(5)}
    sets["moved"] = (rng.normal(size=10), rng.normal(3, 1, 10))
    sets["few"] = (rng.normal(size=10), rng.normal(size=2))
    found, refused = compare_many(sets)
    assert list(refused) == ["few"]
    by = {c.measure: c for c in found}
    assert by["moved"].shown
    assert by["moved"].p_adjusted == pytest.approx(6 * by["moved"].p_value)
    assert all(c.looked_at == 6 for c in found)


def test_words_claim_no_more_than_the_shots_show() -> None:
    rng = np.random.default_rng(7)
    target = at_target("rotation_yaw_deg", distance_m=18.0)
    assert target is not None
    a, b = rng.normal(0.05, 0.01, 12), rng.normal(0.05, 0.01, 12)
    same = compare(a, b, measure="rotation_yaw_deg", unit="deg", target=target)
    line = in_words(same, axis="yaw")[0]
    assert "no difference is shown; with 12 and 12 shots one of up to" in line
    assert "cannot be ruled out" in line
    assert "mm at the target" in line
    moved = compare(a, b + 0.1, measure="rotation_yaw_deg", unit="deg", target=target)
    first, at = in_words(moved, axis="yaw")[:2]
    assert "further left" in first
    assert "31." in at  # 0.1 deg of yaw at 18 m is 31.4 mm (computed)
    assert "left" in at
    assert "8 of 10" in could_show_words(same.could_show, "deg")
    need = same.shots_for(same.could_show.smallest)
    assert need in (12, 13)


def test_what_a_unit_comes_to_at_the_target() -> None:
    """+0.1 deg of yaw at 18 / 50 / 70 m: right -31.4159 / -87.2665 / -122.1730 mm (computed)."""
    for distance, right in ((18, -31.4159), (50, -87.2665), (70, -122.1730)):
        found = at_target("pressed_yaw_deg", distance_m=distance)
        assert found is not None
        assert found.side == "right"
        assert 0.1 * found.mm_per_unit == pytest.approx(right, abs=1e-4)
    torque = at_target("mean_torque_pitch_nm", distance_m=18, sensitivity_mm_per_nm=Axes(pitch=7.0))
    assert torque is not None
    assert (torque.mm_per_unit, torque.side) == (-7.0, "up")
    assert at_target("rotation_cant_deg", distance_m=18) is None
    assert at_target("rotation_yaw_deg", distance_m=None) is None
    assert at_target("time_on_string_s", distance_m=18) is None


@pytest.mark.parametrize(
    ("a", "b", "paired", "words"),
    [
        ([1, 2, 3, 4], [1, 2, 3, 4, 5, 6], False, "4 and 6 shots"),
        ([1, 2, 3, 4, 5, None], [2, 3, 4, 5, 7, 9], True, "5 pairs"),
        ([1, 2, 3, 4, 5, 6], [1, 2, 3, 4, 5], True, "make no pairs"),
        ([1, 1, 1, 1, 1], [1, 1, 1, 1, 1], False, "same value"),
    ],
)
def test_too_few_are_refused_in_a_line(a: list, b: list, paired: bool, words: str) -> None:
    with pytest.raises(InputError, match=words) as refused:
        compare(a, b, paired=paired)
    assert "\n" not in str(refused.value)
