"""Comparison of two sets against published worked examples and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.judge.comparison import compare
from quiethand.judge.power import holm, power_of, shots_needed, smallest_difference
from quiethand.judge.resampling import bca_interval, bootstrap, centre_and_error, generator_for
from scipy import stats

# R. A. Fisher, The Design of Experiments (1935), section 21: Darwin's maize, crossed less self-fertilised, eighths of
# an inch (from memory; the published t below is met)
DARWIN = np.array([49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48], dtype=float)
# B. Efron's 15 law schools (Efron and Tibshirani 1993, table 3.1; from memory, the published correlation is met)
LSAT = [576, 635, 558, 578, 666, 580, 555, 661, 651, 605, 653, 575, 545, 572, 594]
GPA = [3.39, 3.30, 2.81, 3.03, 3.44, 3.07, 3.00, 3.43, 3.36, 3.13, 3.12, 2.74, 2.76, 2.88, 2.96]
SCHOOLS = np.column_stack([LSAT, GPA])


def correlation(rows: np.ndarray) -> np.ndarray:
    away = rows - rows.mean(axis=-2, keepdims=True)
    x, y = away[..., 0], away[..., 1]
    return np.asarray((x * y).sum(-1) / np.sqrt((x**2).sum(-1) * (y**2).sum(-1)))


def test_darwins_pairs() -> None:
    """863 of the 32768 sign patterns reach the sum 314 either way: two-sided 0.05267334 (Fisher, recomputed)."""
    found = compare(np.zeros(15), DARWIN, paired=True)
    assert found.exact
    assert found.p_value == pytest.approx(2 * 863 / 32768, abs=1e-12)
    centre, squared = centre_and_error(DARWIN, trimmed=False)
    assert centre / np.sqrt(squared) == pytest.approx(2.147987, abs=1e-6)


def test_law_schools_bootstrap_standard_error() -> None:
    """Correlation 0.7764, standard error 0.1335 by the bootstrap (checked to 3 % at 10,000 resamples)."""
    assert correlation(SCHOOLS[None])[0] == pytest.approx(0.7763745, abs=1e-7)
    drawn = bootstrap(correlation, SCHOOLS, rng=generator_for(SCHOOLS), resamples=10_000)
    assert drawn.std(ddof=1) == pytest.approx(0.1335, rel=0.03)


def test_law_schools_bca_interval_is_scipys() -> None:
    ours = bca_interval(correlation, SCHOOLS, resamples=20_000)
    theirs = stats.bootstrap(
        (SCHOOLS[:, 0], SCHOOLS[:, 1]), lambda x, y, axis: stats.pearsonr(x, y, axis=axis).statistic,
        paired=True, method="BCa", n_resamples=20_000, rng=1,
    ).confidence_interval  # fmt: skip
    assert ours == pytest.approx((theirs.low, theirs.high), abs=0.015)


def test_yuens_error_and_welchs_t_are_scipys() -> None:
    """K. K. Yuen, Biometrika 61 (1974), as scipy.stats.ttest_ind(trim=0.2) has it."""
    rng = np.random.default_rng(3)
    a, b = rng.standard_t(2, 17), rng.standard_t(2, 23) * 2
    for trimmed, trim in ((False, 0.0), (True, 0.2)):
        (ca, ea), (cb, eb) = (centre_and_error(x, trimmed=trimmed) for x in (a, b))
        expected = stats.ttest_ind(b, a, equal_var=False, trim=trim).statistic
        assert (cb - ca) / np.sqrt(ea + eb) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("trim", [0.0, 0.2])
def test_permutation_p_is_scipys_exact_one(trim: float) -> None:
    """scipy.stats.permutation_test with Welch's or Yuen's t goes through all 924 deals of 6 and 6."""
    rng = np.random.default_rng(8)
    a, b = rng.normal(0, 1, 6), rng.normal(1.0, 1, 6)

    def t(x: np.ndarray, y: np.ndarray, axis: int) -> np.ndarray:
        return np.asarray(stats.ttest_ind(x, y, equal_var=False, trim=trim, axis=axis).statistic)

    theirs = stats.permutation_test((a, b), t, vectorized=True, n_resamples=np.inf).pvalue
    found = compare(a, b, centre="trimmed" if trim else "mean")
    assert found.exact
    if found.serial.widen == 1:
        assert found.p_value == pytest.approx(theirs, abs=1e-12)
    else:
        assert found.p_value >= theirs


@pytest.mark.parametrize(
    ("difference", "sd", "power", "shots"),
    [(4, 5, 0.8, 25.52463), (0.75, 2.25, 0.9, 190.0991)],
)  # fmt: skip
def test_shots_needed_as_r_prints(difference: float, sd: float, power: float, shots: float) -> None:
    """R's power.t.test as tutorials print it; the second is UVA StatLab's "PASS in R"."""
    assert shots_needed(difference, sd, power=power) == pytest.approx(shots, rel=1e-5)


def test_power_as_r_prints() -> None:
    """power.t.test(n = 20, delta = 4, sd = 5): 0.6933994; R leaves out the 5e-6 of errors in the other direction."""
    assert power_of(4, 5, 20, 20) == pytest.approx(0.6933994, abs=6e-6)
    assert smallest_difference(5, 20, 20, power=0.6933994) == pytest.approx(4, abs=1e-4)
    # J. Cohen (1988), table 2.4.1: d = 0.5 takes 64 in each set for a power of 0.8
    assert np.ceil(shots_needed(0.5, 1.0)) == 64


def test_holm() -> None:
    """A tutorial's example (geeksforgeeks, "Holm-Bonferroni Method"): the fourth and the first are rejected."""
    adjusted = holm([0.01, 0.04, 0.03, 0.005])
    assert adjusted == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert [p < 0.05 for p in adjusted] == [True, False, False, True]
