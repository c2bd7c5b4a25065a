"""What the charts do with steps, drifts, single strays and bad input."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from quiethand.judge.control import ewma, individuals, left_for_good

RNG = np.random.default_rng(3)
STEADY = RNG.normal(0.0, 1.0, 60)


def chart(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Which points lie outside of either chart, limits from the first twenty."""
    alone = individuals(values, base=20)
    return alone.outside, ewma(values, start=alone.centre, sigma=alone.sigma).outside


def test_a_single_stray_is_seen_by_the_one_and_a_small_step_by_the_other() -> None:
    stray = STEADY.copy()
    stray[40] += 6
    assert list(np.flatnonzero(chart(stray)[0])) == [40]
    step = STEADY + np.where(np.arange(60) >= 30, 1.5, 0.0)
    alone, smoothed = chart(step)
    assert smoothed[-10:].any()
    assert smoothed.sum() > alone.sum()


def test_a_slow_drift_does_not_hide_in_its_own_limits() -> None:
    drift = 0.2 * STEADY + np.linspace(-2, 2, 60)
    assert individuals(drift).sigma < 0.5
    assert np.std(drift) > 1
    assert chart(drift)[1][-1]


@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=40), st.floats(-100, 100), st.floats(0.1, 10))
def test_limits_move_and_stretch_with_the_values(values: list[float], shift: float, factor: float) -> None:
    one, other = individuals(values), individuals(np.array(values) * factor + shift)
    assert other.centre == pytest.approx(one.centre * factor + shift, abs=1e-6)
    assert other.high - other.low == pytest.approx((one.high - one.low) * factor, abs=1e-6)


def test_the_first_limit_is_that_of_one_value() -> None:
    # after one point z differs from the start by weight x sigma: the formula of 6.3.2.4 with t = 1
    assert ewma([0.0], start=0.0, sigma=1.0, weight=0.3).high[0] == pytest.approx(0.9)
    long = ewma(np.zeros(50), start=0.0, sigma=1.0, weight=0.3)
    assert long.high[-1] == pytest.approx(ewma([0.0], start=0.0, sigma=1.0, weight=0.3, steady=True).high[0])


@pytest.mark.parametrize(
    ("outside", "begins"), [([], None), ([True, False], None), ([False, True, True], 1), ([True, True], 0)]
)
def test_where_the_last_run_outside_begins(outside: list[bool], begins: int | None) -> None:
    assert left_for_good(outside) == begins


@pytest.mark.parametrize("values", [[], [1.0], [1.0, np.nan], [[1.0, 2.0]], [1.0, np.inf]])
def test_what_is_no_series_is_refused(values: list[float]) -> None:
    with pytest.raises(ValueError, match="a chart takes"):
        individuals(values)
    with pytest.raises(ValueError, match="weight"):
        ewma([1.0, 2.0], start=0, sigma=1, weight=0)
