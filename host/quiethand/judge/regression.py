"""Least squares and what it takes to trust it: errors, leverage, cross-validation, an interval of R squared."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["Fit", "least_squares", "outlier_bound", "share_interval"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEVEL: Final = 0.95


@dataclass(frozen=True)
class Fit:
    """n shots, p predictors, an intercept first."""

    coefficients: Floats  # (p + 1,)
    errors: Floats  # (p + 1,) standard errors
    residuals: Floats  # (n,)
    residual_sd: float
    share: float  # R squared
    adjusted: float  # 1 - (1 - R2)(n - 1)/(n - p - 1)
    cross_validated: float  # of shots that the fit has not seen (leave one out); below 0: worse than the mean
    f: float
    p_value: float  # of F
    leverage: Floats  # (n,) 1 at most; mean (p + 1)/n
    studentised: Floats  # (n,) each residual by its own error from the other shots, Student's t with n - p - 2


def least_squares(predictors: Floats, y: Floats) -> Fit:
    """y on the predictors and a constant, by QR of the centred and scaled columns.

    Leverage and externally studentised residuals: Belsley, Kuh and Welsch, Regression Diagnostics (1980), chapter 2;
    leave-one-out residuals are e / (1 - h) (Allen 1974, PRESS), held against each row's distance from the mean of the
    others.

    Args:
        predictors: shape (n, p), n >= p + 3.
        y: shape (n,).

    Raises:
        ValueError: too few rows, or predictors that depend on one another.
    """
    n, p = predictors.shape
    if n < p + 3:
        raise ValueError(f"{p} predictors take {p + 3} rows or more, not {n}")
    means = predictors.mean(axis=0)
    x = predictors - means
    scale = np.sqrt((x**2).sum(axis=0))
    if not (scale > 0).all():
        raise ValueError("a predictor is the same in every row")
    q, r = np.linalg.qr(x / scale)
    if np.abs(np.diag(r)).min() < 1e-10:
        raise ValueError("predictors depend on one another")
    away = y - y.mean()
    inverse = np.linalg.inv(r)
    slopes = inverse @ (q.T @ away)
    residuals = away - q @ (q.T @ away)
    residuals -= q @ (q.T @ residuals)
    rest, total = float(residuals @ residuals), float(away @ away)
    freedom = n - p - 1
    variance = rest / freedom
    spread = inverse @ inverse.T
    at_mean = means / scale
    errors = np.sqrt(variance * np.append(1 / n + at_mean @ spread @ at_mean, np.diag(spread) / scale**2))
    leverage = 1 / n + (q**2).sum(axis=1)
    left = np.clip(1 - leverage, 1e-12, None)
    others = np.clip((rest - residuals**2 / left) / (freedom - 1), 0, None)
    with np.errstate(divide="ignore", invalid="ignore"):
        studentised = np.where(others > 0, residuals / np.sqrt(others * left), 0.0)
    share = 1 - rest / total if total > 0 else 0.0
    unseen = float(((residuals / left) ** 2).sum()) / float(((away * n / (n - 1)) ** 2).sum()) if total > 0 else 1.0
    f = (total - rest) / p / variance if variance > 0 else math.inf
    from scipy.special import fdtrc

    coefficients = np.append(y.mean() - slopes @ at_mean, slopes / scale)
    return Fit(
        coefficients, errors, residuals, math.sqrt(variance), share, 1 - (1 - share) * (n - 1) / freedom, 1 - unseen,
        f, float(fdtrc(p, freedom, f)) if math.isfinite(f) else 0.0, leverage, studentised,
    )  # fmt: skip


def share_interval(share: float, rows: float, predictors: float) -> tuple[float, float]:
    """The 95 % interval of the share that the predictors explain among all such shots, from R squared of these.

    R. A. Fisher's distribution of the multiple correlation (1928) for predictors that are drawn, not set: a mixture of
    beta distributions with negative binomial weights, inverted at both ends. `rows` and `predictors` may be fractions.
    """

    def end(tail: float) -> float:
        if _cdf(share, 0.0, rows, predictors) <= tail:
            return 0.0
        low, high = 0.0, 1 - 1e-9
        for _ in range(50):
            middle = (low + high) / 2
            low, high = (middle, high) if _cdf(share, middle, rows, predictors) > tail else (low, middle)
        return high

    return end((1 + LEVEL) / 2), end((1 - LEVEL) / 2)


def _cdf(share: float, truth: float, rows: float, predictors: float) -> float:
    """Chance of an R squared of at most `share` where the truth is `truth`."""
    from scipy.special import betainc, gammaln

    a, half = (rows - 1) / 2, (rows - predictors - 1) / 2
    if truth <= 0:
        return float(betainc(predictors / 2, half, share))
    middle, wide = a * truth / (1 - truth), math.sqrt(a * truth) / (1 - truth)
    k = np.arange(max(0.0, math.floor(middle - 12 * wide - 30)), math.ceil(middle + 12 * wide + 60))
    if len(k) > 20_000:
        k = np.linspace(k[0], k[-1], 20_000)
    weight = np.exp(gammaln(a + k) - gammaln(k + 1) - gammaln(a) + k * math.log(truth) + a * math.log1p(-truth))
    return float((weight * betainc(predictors / 2 + k, half, share)).sum() / weight.sum())


def outlier_bound(rows: int, predictors: int, *, alpha: float = 0.05) -> float:
    """The size of studentised residual that one row in so many exceeds by chance with `alpha` in all (Bonferroni)."""
    from scipy.special import stdtrit

    return float(stdtrit(rows - predictors - 2, 1 - alpha / (2 * rows)))
