"""Groups of impacts against the circular normal's closed forms and the widest distance of n shots."""

from __future__ import annotations

import math

import numpy as np
import pytest
from quiethand.bow.faces import FACES
from quiethand.judge.group import group, scores
from quiethand.judge.radial import mean_radius, radius_holding, share_within, widest_distance
from scipy import stats


def test_circular_normal() -> None:
    """Rayleigh: CEP 1.177410 s, mean 1.253314 s, 90 % 2.145966 s, 95 % 2.447747 s; 39.3469 % lie within s."""
    assert radius_holding(0.5, 1, 1) == pytest.approx(1.177410, abs=1e-6)
    assert radius_holding(0.9, 1, 1) == pytest.approx(2.145966, abs=1e-6)
    assert radius_holding(0.95, 2, 2) == pytest.approx(2 * 2.447747, abs=2e-6)
    assert mean_radius(3, 3) == pytest.approx(3 * 1.253314, abs=3e-6)
    assert share_within(1, 1, 1) == pytest.approx(0.393469, abs=1e-6)


def test_a_line_is_the_half_normal() -> None:
    """Half of a one-dimensional normal lies within 0.674490 s, and its mean distance is 0.797885 s (textbook)."""
    assert radius_holding(0.5, 1, 0.0) == pytest.approx(0.674490, abs=1e-3)
    assert mean_radius(1, 0) == pytest.approx(0.797885, abs=1e-6)


@pytest.mark.parametrize("ratio", [1.0, 1.7, 4.0])
def test_share_within_is_scipys_integral(ratio: float) -> None:
    """The squared radius is a weighted sum of two chi-squared values; integrated by scipy along the minor axis."""
    from scipy.integrate import quad

    r = 1.3
    across, _ = quad(lambda v: stats.norm.pdf(v) * (2 * stats.norm.cdf(math.sqrt(r * r - v * v) / ratio) - 1), -r, r)
    assert share_within(r, ratio, 1.0) == pytest.approx(across, abs=1e-8)


@pytest.mark.parametrize(
    ("n", "mean", "sd"),
    [(2, 1.772454, 0.926503), (3, 2.4085, 0.892), (5, 3.0656, 0.827), (10, 3.8121, 0.742), (12, 3.9888, 0.721)],
)
def test_widest_distance(n: int, mean: float, sd: float) -> None:
    """Two shots in closed form, sqrt(pi) and sqrt(4 - pi); the others from 1.2e7 simulated groups (0.1 %)."""
    groups = np.random.default_rng(n).normal(size=(6000, n, 2))
    found = np.array([widest_distance(g) for g in groups])
    assert found.mean() == pytest.approx(mean, abs=4 * sd / np.sqrt(6000))
    assert found.std() == pytest.approx(sd, rel=0.05)


def test_spread_is_unbiased_and_the_mean_radius_is_put_right() -> None:
    """s^2 = sum r^2 / (2 (n - 1)) is unbiased; about the own centre the mean radius shrinks by sqrt((n - 1)/n)."""
    rng = np.random.default_rng(3)
    found = [group(*rng.normal(0, 10, (2, 6))) for _ in range(300)]
    s2 = [(g.covariance_mm2[0][0] + g.covariance_mm2[1][1]) / 2 for g in found]
    assert np.mean(s2) == pytest.approx(100, abs=4 * 100 * math.sqrt(1 / 5) / math.sqrt(300))
    assert np.mean([g.mean_radius_mm.value for g in found]) == pytest.approx(12.53314, abs=4 * 3.0 / math.sqrt(300))


def test_intervals_cover_as_stated() -> None:
    """90 to 97 of 100, here with 4 standard errors of 250 groups of 8; the long form is in tests/bench."""
    rng = np.random.default_rng(5)
    truth = {"cep": 10 * radius_holding(0.5, 2, 1), "mean": 10 * mean_radius(2, 1), "major": 20.0, "minor": 10.0}
    inside = dict.fromkeys([*truth, "centre", "sd"], 0)
    turn = math.radians(30)
    axes = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    sd_right = math.hypot(20 * math.cos(turn), 10 * math.sin(turn))
    for _ in range(250):
        g = group(*((rng.normal(size=(8, 2)) * [20, 10]) @ axes).T)
        for name, interval in (("cep", g.cep_mm), ("mean", g.mean_radius_mm), ("major", g.ellipse.major_sd_mm),
                               ("minor", g.ellipse.minor_sd_mm)):  # fmt: skip
            inside[name] += interval.low <= truth[name] <= interval.high
        inside["centre"] += g.centre_right_mm.low <= 0 <= g.centre_right_mm.high
        inside["sd"] += g.sd_right_mm.low <= sd_right <= g.sd_right_mm.high
    assert all(0.90 - 0.055 <= count / 250 <= 0.97 + 0.03 for count in inside.values()), inside


def test_scores_are_the_faces() -> None:
    """40 cm face: the ten ends at 20 mm, rings are 20 mm wide; a touching shaft scores the higher value (memory)."""
    found = scores(FACES["40 cm"], [0, 22.0, -45.0, 0, 300.0], [5.0, 0, 0, 60.2, 0], shaft_mm=5.5)
    assert found.points == (10, 10, 8, 8, 0)
    assert (found.total, found.tens, found.inner_tens) == (36, 2, 1)
    # edges at 2.25, 19.25, 42.25, 57.45, 297.25 mm: only the second lies within a millimetre of a line (20 mm)
    assert found.close_calls == (1,)
