"""Groups and what explains them: refusals, shape, words; a planted share is found and its interval holds it."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.errors import InputError
from quiethand.judge.explained import UNEXPLAINED, explained, explained_words
from quiethand.judge.group import Interval, group
from quiethand.judge.group_words import group_words


def shots(rng: np.random.Generator, n: int, share: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Impacts of which the pointing shift explains a share; the rate says nothing."""
    pointing, rest = rng.normal(0, 5, (n, 2)), rng.normal(0, 5, (n, 2))
    scale = np.sqrt((1 - share) / share) if share else 1.0
    return (pointing if share else 0) + scale * rest, pointing, rng.normal(0, 20, (n, 2))


def test_a_planted_share_is_found() -> None:
    rng = np.random.default_rng(1)
    found = [explained(*shots(rng, 40, 0.5)) for _ in range(60)]
    assert np.mean([f.adjusted for f in found]) == pytest.approx(0.5, abs=0.06)
    assert np.mean([f.low <= 0.5 <= f.high for f in found]) >= 0.95 - 4 * 0.028
    assert np.mean([f.cross_validated for f in found]) < np.mean([f.adjusted for f in found])
    nothing = [explained(*shots(rng, 25, 0.0)) for _ in range(60)]
    assert np.mean([f.shown for f in nothing]) <= 0.05 + 4 * 0.028
    assert np.mean([f.share for f in nothing]) == pytest.approx(2 / 24, abs=0.04)
    assert nothing[0].by_chance == pytest.approx(2 / 24)


def test_outlier_and_leverage_are_named() -> None:
    rng = np.random.default_rng(2)
    impacts, pointing, rate = shots(rng, 30, 0.8)
    impacts[4] += [80, 0]
    pointing[9] = [40, 0]
    impacts[9] = [40, 0]
    found = explained(impacts, pointing, rate)
    assert found.outliers == (4,)
    assert 9 in found.high_leverage
    assert 9 not in found.outliers


def test_words_name_what_remains() -> None:
    rng = np.random.default_rng(3)
    said = explained_words(explained(*shots(rng, 40, 0.7)))
    assert "shots that the fit has not seen" in said[0]
    assert UNEXPLAINED in said[-1]
    said = explained_words(explained(*shots(rng, 40, 0.0)))
    assert "do not show" in said[0]
    assert "cannot be ruled out" in said[0]


def test_too_few_are_refused_with_the_reason() -> None:
    rng = np.random.default_rng(4)
    with pytest.raises(InputError, match=r"12 shots .* explain 18 % of so few, .* fewer than 20"):
        explained(*shots(rng, 12, 0.5))
    with pytest.raises(InputError, match=r"4 impacts; from fewer than 5"):
        group([1, 2, 3, 4], [1, 3, 2, 4])
    with pytest.raises(InputError, match="one line"):
        group(range(6), range(6))


def test_shape_is_told_only_where_it_shows() -> None:
    rng = np.random.default_rng(5)
    along = rng.normal(0, 40, 30)
    across = rng.normal(0, 8, 30)
    turn = np.radians(60)
    right = 12 + along * np.cos(turn) - across * np.sin(turn)
    up = along * np.sin(turn) + across * np.cos(turn)
    found = group(right, up)
    assert found.ellipse.long
    assert found.ellipse.angle_deg == pytest.approx(60, abs=4 * found.ellipse.angle_sigma_deg)
    assert found.ellipse.major_sd_mm.value == pytest.approx(40, rel=0.35)
    said = " ".join(group_words(found))
    assert "deg from level, up to the right" in said
    round_ = group(*rng.normal(0, 10, (2, 12)))
    assert "cannot be told from round" in " ".join(group_words(round_))
    assert round_.cep_mm.low < round_.cep_mm.value < round_.cep_mm.high


def test_moving_and_scaling_the_group() -> None:
    rng = np.random.default_rng(6)
    right, up = rng.normal(0, 10, (2, 15))
    once, moved = group(right, up), group(3 * right + 100, 3 * up - 7)
    assert moved.centre_right_mm.value == pytest.approx(3 * once.centre_right_mm.value + 100)
    for name in ("cep_mm", "mean_radius_mm", "sd_right_mm"):
        a, b = getattr(once, name), getattr(moved, name)
        assert isinstance(a, Interval)
        assert (b.value, b.low, b.high) == pytest.approx((3 * a.value, 3 * a.low, 3 * a.high))
    assert moved.widest_mm == pytest.approx(3 * once.widest_mm)
