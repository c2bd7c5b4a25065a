"""Least squares against NIST's certified values, and what is explained by nothing."""

from __future__ import annotations

import numpy as np
import pytest
from quiethand.judge.regression import least_squares, share_interval

# NIST StRD, Norris: y, x (https://www.itl.nist.gov/div898/strd/lls/data/LINKS/DATA/Norris.dat, as numerical libraries'
# own tests quote it)
NORRIS = np.array([
    (0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1), (228.1, 226.5), (668.5, 666.3),
    (998.5, 996.3), (449.1, 448.6), (778.9, 777.0), (559.2, 558.2), (0.3, 0.4), (0.1, 0.6), (778.1, 775.5),
    (668.8, 666.9), (339.3, 338.0), (448.9, 447.5), (10.8, 11.6), (557.7, 556.0), (228.3, 228.1), (998.0, 995.8),
    (888.8, 887.6), (119.6, 120.2), (0.3, 0.3), (0.6, 0.3), (557.6, 556.8), (339.3, 339.1), (888.0, 887.2),
    (998.5, 999.0), (778.9, 779.0), (10.2, 11.1), (117.6, 118.3), (228.9, 229.2), (668.4, 669.1), (449.2, 448.9),
    (0.2, 0.5),
])  # fmt: skip
# NIST StRD, Longley: y and six predictors that nearly depend on one another
LONGLEY = np.array([
    (60323, 83.0, 234289, 2356, 1590, 107608, 1947), (61122, 88.5, 259426, 2325, 1456, 108632, 1948),
    (60171, 88.2, 258054, 3682, 1616, 109773, 1949), (61187, 89.5, 284599, 3351, 1650, 110929, 1950),
    (63221, 96.2, 328975, 2099, 3099, 112075, 1951), (63639, 98.1, 346999, 1932, 3594, 113270, 1952),
    (64989, 99.0, 365385, 1870, 3547, 115094, 1953), (63761, 100.0, 363112, 3578, 3350, 116219, 1954),
    (66019, 101.2, 397469, 2904, 3048, 117388, 1955), (67857, 104.6, 419180, 2822, 2857, 118734, 1956),
    (68169, 108.4, 442769, 2936, 2798, 120445, 1957), (66513, 110.8, 444546, 4681, 2637, 121950, 1958),
    (68655, 112.6, 482704, 3813, 2552, 123366, 1959), (69564, 114.2, 502601, 3931, 2514, 125368, 1960),
    (69331, 115.7, 518173, 4806, 2572, 127852, 1961), (70551, 116.9, 554894, 4007, 2827, 130081, 1962),
])  # fmt: skip


def test_norris() -> None:
    fit = least_squares(NORRIS[:, 1:], NORRIS[:, 0])
    assert fit.coefficients == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-9)
    assert fit.errors == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-9)
    assert fit.residual_sd == pytest.approx(0.884796396144373, rel=1e-9)
    assert fit.share == pytest.approx(0.999993745883712, rel=1e-9)


def test_longley() -> None:
    fit = least_squares(LONGLEY[:, 1:], LONGLEY[:, 0])
    assert fit.coefficients == pytest.approx(
        [-3482258.63459582, 15.0618722713733, -0.0358191792925910, -2.02022980381683, -1.03322686717359,
         -0.0511041056535807, 1829.15146461355], rel=1e-7,
    )  # fmt: skip
    assert fit.errors == pytest.approx(
        [890420.383607373, 84.9149257747669, 0.0334910077722432, 0.488399681651699, 0.214274163161675,
         0.226073200069370, 455.478499142212], rel=1e-7,
    )  # fmt: skip
    assert fit.residual_sd == pytest.approx(304.854073561965, rel=1e-7)
    assert fit.share == pytest.approx(0.995479004577296, rel=1e-9)
    assert fit.f == pytest.approx(330.285339234588, rel=1e-7)


def test_explained_by_nothing() -> None:
    """R2 of 2 unrelated predictors and 30 shots is 2/29 = 0.0690 on average (closed form, Gaussian noise)."""
    rng = np.random.default_rng(4)
    fits = [least_squares(rng.normal(size=(30, 2)), rng.normal(size=30)) for _ in range(1500)]
    assert np.mean([f.share for f in fits]) == pytest.approx(2 / 29, abs=4 * 0.065 / np.sqrt(1500))
    assert np.mean([f.adjusted for f in fits]) == pytest.approx(0, abs=4 * 0.07 / np.sqrt(1500))
    assert np.mean([f.cross_validated for f in fits]) < 0
    assert np.mean([f.p_value < 0.05 for f in fits]) == pytest.approx(0.05, abs=4 * 0.0057)


def test_one_predictor_s_interval_is_near_fisher_s_z() -> None:
    """R. A. Fisher (1921): atanh r is nearly normal with standard deviation 1/sqrt(n - 3); here far from 0 and 1."""
    r, n = 0.7, 60
    low, high = share_interval(r**2, n, 1)
    z, reach = np.arctanh(r), 1.959964 / np.sqrt(n - 3)
    assert (low, high) == pytest.approx((np.tanh(z - reach) ** 2, np.tanh(z + reach) ** 2), abs=0.012)


def test_leverage_and_residuals_are_those_of_leaving_each_row_out() -> None:
    """By definition (Belsley, Kuh and Welsch 1980, chapter 2), with numpy's own least squares."""
    rng = np.random.default_rng(6)
    x, y = rng.normal(size=(12, 2)), rng.normal(size=12)
    fit = least_squares(x, y)
    design = np.column_stack([np.ones(12), x])
    hat = design @ np.linalg.pinv(design)
    assert fit.leverage == pytest.approx(np.diag(hat))
    unseen, mean_of_others = [], []
    for i in range(12):
        rest = np.arange(12) != i
        found, *_ = np.linalg.lstsq(design[rest], y[rest], rcond=None)
        unseen.append(y[i] - design[i] @ found)
        mean_of_others.append(y[i] - y[rest].mean())
        s2 = ((y[rest] - design[rest] @ found) ** 2).sum() / (11 - 3)
        assert fit.studentised[i] == pytest.approx(fit.residuals[i] / np.sqrt(s2 * (1 - hat[i, i])))
    assert fit.cross_validated == pytest.approx(1 - np.sum(np.square(unseen)) / np.sum(np.square(mean_of_others)))
