"""The false-alarm rate that is set is the rate that one gets: with drift, with likeness to the shot before, in one axis
and in three together. Short form of tests/bench/long_statistics.py, which holds 5 to 500 shots."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.judge.usual import is_unusual, usual
from quiethand.judge.usual_ahead import MOST_EARLIER, expected, usual_ahead
from quiethand.judge.usual_together import (
    LEAST_TOGETHER,
    flag_together,
    t_squared,
    usual_together,
    why_no_usual_together,
)  # fmt: skip

TRIALS = 1200


def series(rng: np.random.Generator, n: int, *, alike: float = 0.0, per_shot: float = 0.0) -> np.ndarray:
    steps = rng.normal(size=n)
    x = steps.copy()
    for i in range(1, n):
        x[i] = alike * x[i - 1] + np.sqrt(1 - alike**2) * steps[i]
    return x + per_shot * np.arange(n)


@pytest.mark.parametrize(("shots", "alike", "per_shot"), [(15, 0.3, 0.02), (30, 0.0, 0.05), (60, 0.6, 0.0)])
def test_false_alarms_are_as_set(shots: int, alike: float, per_shot: float) -> None:
    """Alike 0.6 costs up to 6.5 in 100 where 5 are set (METHOD.md); four standard errors on top."""
    rng = np.random.default_rng(shots)
    outside = 0
    for _ in range(TRIALS):
        x = series(rng, shots + 1, alike=alike, per_shot=per_shot)
        outside += bool(is_unusual(float(x[-1]), usual_ahead(x[:-1], false_alarm=0.05)))
    assert 0.05 - 4 * 0.0063 <= outside / TRIALS <= 0.065 + 4 * 0.0063


def test_the_plain_usual_alarms_too_often_where_an_archer_drifts() -> None:
    """Why the other was made: a standard deviation in 20 shots, 50 before."""
    rng = np.random.default_rng(1)
    plain = 0
    for _ in range(400):
        x = series(rng, 51, per_shot=0.05)
        plain += bool(is_unusual(float(x[-1]), usual(x[:-1], false_alarm=0.05)))
    assert plain / 400 > 0.08


def test_an_expectation_looks_back_alone() -> None:
    x = np.arange(40.0)[:, None] ** 2
    errors, following = expected(x)
    assert errors.shape == (35, 1)
    assert following[0] == np.median(x[20:40])
    assert errors[-1, 0] == x[39, 0] - np.median(x[19:39])
    again, _ = expected(np.vstack([x[:39], [[9e9]]]))
    assert (again[:-1] == errors[:-1]).all()
    assert expected(np.zeros((300, 1)))[0].shape == (MOST_EARLIER - 5, 1)


def test_a_steady_drift_is_followed_and_a_jump_is_seen() -> None:
    rng = np.random.default_rng(2)
    x = rng.normal(0, 0.01, 60) + 0.01 * np.arange(60)
    found = usual_ahead(x)
    assert found is not None
    assert is_unusual(0.60, found) is False
    assert is_unusual(0.68, found) is True
    few = usual_ahead(x[:9])
    assert few is None


def test_three_axes_together_alarm_as_set() -> None:
    rng = np.random.default_rng(3)
    mix = np.array([[1, 0, 0], [0.9, 0.3, 0], [0.2, -0.4, 0.5]])
    for n in (15, 40):
        outside = 0
        for _ in range(500):
            x = rng.normal(size=(n + 1, 3)) @ mix.T
            usual_three = usual_together(x[:-1], false_alarm=0.05)
            assert usual_three is not None
            outside += (t_squared(x[-1], usual_three) or 0) > usual_three.limit
        assert outside / 500 == pytest.approx(0.055, abs=4 * 0.0105)


def test_axes_that_do_not_go_together_as_they_used_to() -> None:
    rng = np.random.default_rng(4)
    a = rng.normal(0, 1, 30)
    x = np.column_stack([a, a + rng.normal(0, 0.1, 30), rng.normal(0, 1, 30)])
    x[7] = [30, -30, 30]  # one wild shot hides nothing
    usual_three = usual_together(x)
    assert usual_three is not None
    assert usual_three.left_out >= 1
    odd = [1.0, -1.0, 0.0]  # within the range of each axis by itself
    flag = flag_together(odd, usual_three, measure="rotation_together", name="rotation at departure")
    assert flag is not None
    assert flag.verdict == "unusual"
    assert "three axes together: unlike the 30 shots before it" in flag.text
    assert flag_together([1.0, 1.0, 0.0], usual_three, measure="m", name="n") is None
    assert flag_together([np.nan, 1.0, 0.0], usual_three, measure="m", name="n") is None


def test_too_few_together_are_said_so() -> None:
    x = np.random.default_rng(5).normal(size=(LEAST_TOGETHER, 3))
    x[3, 1] = np.nan
    assert usual_together(x) is None
    assert "11 earlier shots" in (why_no_usual_together(11) or "")
    assert why_no_usual_together(LEAST_TOGETHER) is None
