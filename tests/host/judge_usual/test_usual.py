"""An archer's usual: false alarms as stated, robust to a bad shot, silent when there is too little."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.judge.usual import (
    FALSE_ALARM,
    LEAST_SHOTS,
    is_unusual,
    prediction_factor,
    usual,
    usual_band,
    why_no_usual,
)  # fmt: skip


@pytest.mark.parametrize("shots", [10, 11, 13, 18, 25, 50, 150])
@pytest.mark.parametrize("share", [0.01, 0.03, 0.05])
def test_ordinary_shots_are_called_unusual_as_often_as_stated(shots: int, share: float) -> None:
    """Simulated: 40,000 sets each; the standard error of the share is 5 % of 0.01."""
    rng = np.random.default_rng(shots)
    earlier, new = rng.standard_normal((40_000, shots)), rng.standard_normal(40_000)
    centre = np.median(earlier, axis=1)
    sigma = 1.4826 * np.median(np.abs(earlier - centre[:, None]), axis=1)
    found = np.mean(np.abs(new - centre) > float(prediction_factor(np.array(shots), share)) * sigma)
    # an odd number is taken as the even one below, which errs towards fewer alarms
    assert found == pytest.approx(share, rel=0.17 if shots % 2 == 0 else 0.30)
    assert shots % 2 == 0 or found <= share * 1.05


def test_the_range_is_the_documented_one() -> None:
    rng = np.random.default_rng(1)
    earlier = rng.normal(3.0, 0.5, 20)
    found = usual(earlier)
    assert found is not None
    sigma = 1.4826 * np.median(np.abs(earlier - np.median(earlier)))
    assert (found.centre, found.sigma) == pytest.approx((np.median(earlier), sigma))
    assert found.high - found.centre == pytest.approx(3.523 * sigma)
    assert found.centre - found.low == pytest.approx(3.523 * sigma)
    assert (found.shots, found.false_alarm) == (20, FALSE_ALARM)


def test_one_wild_shot_among_the_earlier_hides_no_other() -> None:
    rng = np.random.default_rng(2)
    earlier = [*rng.normal(0.0, 0.01, 19), 5.0]
    assert is_unusual(0.1, usual(earlier)) is True
    assert is_unusual(0.005, usual(earlier)) is False
    # with mean and standard deviation 0.1 would have passed: 5.0 alone makes the spread over 1
    assert abs(0.1 - np.mean(earlier)) < 3 * np.std(earlier)


def test_too_few_shots_and_no_spread_are_said_so() -> None:
    few = [0.1, 0.2, None, float("nan")] * 4
    assert usual(few) is None
    assert "8 earlier shots" in (why_no_usual(few) or "")
    assert str(LEAST_SHOTS) in (why_no_usual(few) or "")
    same = [0.5] * 30
    assert usual(same) is None
    assert "same value" in (why_no_usual(same) or "")
    found = usual(same, resolution=0.01)
    assert found is not None
    assert found.sigma == 0.01
    assert why_no_usual(np.arange(10.0)) is None


def test_what_is_not_known_is_not_judged() -> None:
    known = usual(np.arange(12.0))
    assert is_unusual(None, known) is None
    assert is_unusual(float("nan"), known) is None
    assert is_unusual(3.0, None) is None


def test_shares_beyond_the_tables_are_refused() -> None:
    for share in (0.001, 0.2):
        with pytest.raises(ValueError, match=r"from 0\.002 to 0\.1"):
            usual(np.arange(12.0), false_alarm=share)


def test_factors_fall_to_the_normal_distribution_s() -> None:
    """1.960 and 2.576: the normal distribution's 97.5 and 99.5 % points."""
    many = np.array([10, 20, 50, 100, 1000, 100_000])
    for share, last in ((0.01, 2.576), (0.05, 1.960)):
        factors = prediction_factor(many, share)
        assert (np.diff(factors) < 0).all()
        assert factors[-1] == pytest.approx(last, abs=0.002)


def test_a_band_over_traces_of_unequal_length_and_rate() -> None:
    rng = np.random.default_rng(5)
    grid = np.linspace(-10, 40, 101)
    traces = []
    for i in range(16):
        ms = np.arange(-12, 45 if i % 2 else 22, 0.5 if i % 3 else 0.25)
        traces.append((ms, np.column_stack([0.01 * ms + rng.normal(0, 0.1), 0 * ms + rng.normal(1, 0.2)])))
    band = usual_band(traces, grid)
    assert band is not None
    assert band.centre.shape == (101, 2)
    reached = grid <= 21.5
    assert np.isfinite(band.low[reached]).all()
    assert np.isnan(band.centre[grid > 22]).all()  # only eight go on
    slope = np.polyfit(grid[reached], band.centre[reached, 0], 1)[0]
    assert slope == pytest.approx(0.01, rel=0.01)
    # by itself each point is the range of the single measure
    at_10 = usual([np.interp(10.0, ms, v[:, 1]) for ms, v in traces], false_alarm=0.05)
    assert at_10 is not None
    i = int(np.argmin(np.abs(grid - 10.0)))
    assert (band.low[i, 1], band.high[i, 1]) == pytest.approx((at_10.low, at_10.high))


def test_no_band_from_few_traces_or_traces_elsewhere() -> None:
    trace = (np.arange(10.0), np.arange(10.0))
    assert usual_band([trace] * (LEAST_SHOTS - 1), np.arange(5.0)) is None
    assert usual_band([trace] * LEAST_SHOTS, np.arange(50.0, 60.0)) is None
    band = usual_band([trace] * LEAST_SHOTS, np.arange(5.0))
    assert band is not None
    assert band.centre.tolist() == [0, 1, 2, 3, 4]
