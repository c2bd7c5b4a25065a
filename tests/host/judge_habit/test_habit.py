"""Habits over a set: planted parts, stirring before the release, a dropping arm, a change in the course of a day."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.errors import InputError
from quiethand.judge.anticipation import (
    after_departure,
    after_words,
    before_release,
    before_words,
)  # fmt: skip
from quiethand.judge.change_point import change_point, day_drift
from quiethand.judge.habit import mean_interval, parts_of_set, parts_words

MS = np.arange(-100.0, 140.0, 0.5)


def traces(
    rng: np.random.Generator, shots: int, *, from_ms: float = 0.0, yaw: float = 0.0, drop: float = 0.0
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Rates in deg/s: tremor of 10 Hz, a yaw that begins `from_ms` before the release, a pitch after 15 ms."""
    found = []
    for _ in range(shots):
        phase, size = rng.uniform(0, 2 * np.pi, 3), rng.normal(0, 0.4, 3)
        rate = size * np.sin(2 * np.pi * 0.010 * MS[:, None] + phase) + rng.normal(0, 0.05, (len(MS), 3))
        if from_ms:
            rate[:, 2] += yaw * np.clip((MS + from_ms) / from_ms, 0, 1)
        rate[:, 1] += drop * np.clip((MS - 15) / 100, 0, 1)
        found.append((MS, rate))
    return found


def turned(rates: list[tuple[np.ndarray, np.ndarray]]) -> list[tuple[np.ndarray, np.ndarray]]:
    return [(ms, np.cumsum(rate, axis=0) * 0.5e-3) for ms, rate in rates]


def test_planted_parts_are_found() -> None:
    rng = np.random.default_rng(1)
    n = 60
    carried, struck = rng.normal(0.02, 0.01, (n, 3)), rng.normal(0, 0.02, (n, 3))
    pressed = rng.normal(0.1, 0.03, (n, 3))
    yaw = parts_of_set(carried, struck, pressed)[2]
    assert yaw.axis == "yaw"
    assert sum(s.value for s in yaw.scatter_share) == pytest.approx(1)
    assert sum(p.value for p in yaw.parts_deg) == pytest.approx(yaw.whole_deg.value)
    truth = np.array([1, 4, 9]) / 14  # of the variance
    for share, true in zip(yaw.scatter_share, truth, strict=True):
        assert share.low <= true <= share.high
    assert yaw.parts_deg[2].low < 0.1 < yaw.parts_deg[2].high
    said = " ".join(parts_words(yaw))
    assert "pressed" in said
    assert "deg left" in said


def test_axes_that_are_not_known_are_left_out_and_few_are_refused() -> None:
    rng = np.random.default_rng(2)
    parts = rng.normal(size=(3, 12, 3))
    parts[0, 5:, 1] = np.nan
    assert [a.axis for a in parts_of_set(*parts)] == ["cant", "yaw"]
    with pytest.raises(InputError, match="7 shots show the parts"):
        parts_of_set(*parts[:, :7, :])


def test_stirring_before_the_release_is_found_and_not_before_it_begins() -> None:
    rng = np.random.default_rng(3)
    cant, pitch, yaw = before_release(traces(rng, 20, from_ms=60, yaw=2.0))
    assert cant.starts_ms is None
    assert pitch.starts_ms is None
    assert yaw.starts_ms is not None
    assert 25 <= yaw.starts_ms <= 60  # "at least": what is too weak to be told is not claimed
    assert yaw.p_value < 0.01
    assert yaw.change_deg_s.low <= 2.0 * 52.5 / 60 <= yaw.change_deg_s.high
    assert "begins to turn left at least" in before_words((cant, pitch, yaw))[0]


def test_tremor_alone_is_called_anticipation_as_often_as_stated() -> None:
    rng = np.random.default_rng(4)
    sets = 80
    called = sum(any(a.starts_ms for a in before_release(traces(rng, 10))) for _ in range(sets))
    assert called / sets <= 0.05 + 4 * 0.025
    assert "no motion before the release" in before_words(before_release(traces(rng, 10)))[0]


def test_an_arm_that_drops_takes_the_nose_down() -> None:
    rng = np.random.default_rng(5)
    quiet = after_departure(turned(traces(rng, 12)), [15.0] * 12)
    assert "an arm that drops would show" not in after_words(quiet)[0]
    drops = after_departure(turned(traces(rng, 12, drop=12.0)), [15.0] * 12)
    pitch = drops[1]
    assert pitch.by_100_ms.value == pytest.approx(0.6, abs=0.01)  # 12 deg/s reached in 100 ms
    assert pitch.by_100_ms.low <= pitch.by_100_ms.value <= pitch.by_100_ms.high
    assert pitch.by_50_ms.value == pytest.approx(0.15, abs=0.02)
    assert "down on average" in after_words(drops)[0]
    assert "an arm that drops would show" in after_words(drops)[0]


def test_short_traces_are_refused_with_their_number() -> None:
    rng = np.random.default_rng(6)
    short = [(ms[40:], rate[40:]) for ms, rate in traces(rng, 12)]
    with pytest.raises(InputError, match="0 shots show the 95 ms before"):
        before_release(short)
    with pytest.raises(InputError, match="0 shots show the 100 ms after"):
        after_departure(turned(traces(rng, 12)), [60.0] * 12)


def test_a_change_in_the_course_of_a_day() -> None:
    rng = np.random.default_rng(7)
    x = rng.normal(0, 1, 60)
    x[38:] += 1.6
    found = change_point(x)
    assert found.shown
    assert found.low <= 38 <= found.high
    assert found.after - found.before == pytest.approx(1.6, abs=1.0)
    trend = day_drift(rng.normal(0, 1, 40) + 0.05 * np.arange(40))
    assert trend.p_value < 0.05
    assert trend.low <= 0.05 <= trend.high


@pytest.mark.parametrize("alike", [0.0, 0.5])
def test_no_change_is_called_one_about_as_often_as_stated(alike: float) -> None:
    """Likeness to the shot before is taken into account: of 5 in 100, up to 10 (METHOD.md)."""
    rng = np.random.default_rng(8)
    called = 0
    for _ in range(40):
        steps, x = rng.normal(size=40), np.zeros(40)
        for i in range(1, 40):
            x[i] = alike * x[i - 1] + steps[i]
        called += change_point(x).shown
    assert called / 40 <= (0.05 if alike == 0 else 0.10) + 4 * 0.035


def test_too_few_and_all_alike_are_refused() -> None:
    with pytest.raises(InputError, match="11 shots"):
        change_point([*range(11), None, float("nan")])
    with pytest.raises(InputError, match="same value"):
        day_drift([1.0] * 20)
    one = mean_interval([0.5] * 6)
    assert (one.low, one.value, one.high) == (0.5, 0.5, 0.5)
