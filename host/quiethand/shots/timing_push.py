"""Release by the push of the string: a least-squares fit of the expected shapes with free onset and time-scale.

Gauss-Newton on onset, time on the string and the weights of the shapes, each with its prior. What the model gets wrong
is not white: a misfit lasts a millisecond or two, so samples within that time count as one (their variance is raised by
their number), else the fit would claim microseconds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.push_model import PushModel, PushShape

__all__ = ["PushFit", "best_push", "fit_push"]

# The push model is good to about 6 % of its size and 1 m/s2, over some 1.5 ms (judged by the spread of
# recurve and compound models with other limbs and hands).
_MODEL_SHARE: Final = 0.06
_MODEL_FLOOR_M_S2: Final = 1.0
_MODEL_LASTS_S: Final = 1.5e-3
_MS: Final = 1e-3


@dataclass(frozen=True)
class PushFit:
    """What the push alone says, the prior on the time on the string left in and the shock's instant left out."""

    shape: PushShape
    release_s: float
    time_on_string_s: float
    covariance_s2: NDArray[np.float64]  # (2, 2) of release and time on the string
    misfit: float  # rms of what is left over, as a fraction of the largest push
    cost: float  # chi squared with priors, to compare shapes


def _basis_at(shape: PushShape, u_s: NDArray[np.float64], stretch: float) -> NDArray[np.float64]:
    """The shapes at times u after release on a clock that runs `stretch` times slower, shape (5, n)."""
    step = shape.time_s[1] - shape.time_s[0]
    at = np.clip((u_s / stretch - shape.time_s[0]) / step, 0.0, len(shape.time_s) - 1.000001)
    i = at.astype(np.intp)
    part = at - i
    return np.asarray(shape.basis[:, i] * (1 - part) + shape.basis[:, i + 1] * part)


def fit_push(
    time_s: NDArray[np.float64],
    push_m_s2: NDArray[np.float64],
    noise_m_s2: float,
    period_s: float,
    shape: PushShape,
    *,
    departure_s: float,
    departure_sigma_s: float,
    time_sigma: float,
    time_start_s: float,
) -> PushFit:
    """Fits one shape to the acceleration along the arrow, (n,) with the hold's own level taken off.

    Args:
        time_s: when each took place, seconds; only samples free of the shock.
        departure_s, departure_sigma_s: what the shock says of the departure.
        time_sigma: relative standard uncertainty of the shape's own time on the string.
        time_start_s: time on the string to start from.
    """
    model_s = shape.time_on_string_s
    mean, spread = np.append(shape.weight, [0.0, 0.0]), np.append(shape.weight_sigma, [0.3, 0.3])
    weights = mean.copy()
    k = len(weights)
    onset, total = departure_s - time_start_s, time_start_s
    correlated = max(1.0, _MODEL_LASTS_S / period_s)
    cost, normal = np.inf, np.eye(k + 2)
    model = np.zeros_like(push_m_s2)

    def columns(onset_s: float, total_s: float) -> NDArray[np.float64]:
        u = time_s - onset_s
        level = np.ones_like(u)
        return np.vstack([_basis_at(shape, u, total_s / model_s), level, u * 100.0])

    for _ in range(8):
        cols = columns(onset, total)
        model = weights @ cols
        by_onset = weights @ (columns(onset + 1e-5, total) - columns(onset - 1e-5, total)) / 2e-5
        by_total = weights @ (columns(onset, total + 1e-5) - columns(onset, total - 1e-5)) / 2e-5
        variance = noise_m_s2**2 + correlated * ((_MODEL_SHARE * model) ** 2 + _MODEL_FLOOR_M_S2**2)
        slopes = np.vstack([cols, by_onset * _MS, by_total * _MS]) / np.sqrt(variance)
        rest = (push_m_s2 - model) / np.sqrt(variance)
        normal = slopes @ slopes.T
        right = slopes @ rest
        normal[np.arange(k), np.arange(k)] += 1 / spread**2
        right[:k] += (mean - weights) / spread**2
        time_weight = 1 / (time_sigma * model_s / _MS) ** 2
        normal[k + 1, k + 1] += time_weight
        right[k + 1] += time_weight * (model_s - total) / _MS
        end_weight = 1 / (departure_sigma_s / _MS) ** 2
        normal[k:, k:] += end_weight
        right[k:] += end_weight * (departure_s - onset - total) / _MS
        step = np.linalg.solve(normal, right)
        weights = weights + step[:k]
        onset += float(np.clip(step[k], -1, 1)) * _MS
        total = float(np.clip(total + np.clip(step[k + 1], -1, 1) * _MS, 0.5 * model_s, 2.0 * model_s))
        cost = float(rest @ rest + np.sum(((weights - mean) / spread) ** 2) + np.sum(np.log(variance)))
        cost += time_weight * ((model_s - total) / _MS) ** 2
        if np.all(np.abs(step[k:]) < 2e-3):
            break
    left = push_m_s2 - model
    misfit = float(np.sqrt(np.mean(left**2)) / max(np.abs(push_m_s2).max(), 1e-9))
    covariance = np.asarray(np.linalg.inv(normal)[k:, k:] * _MS**2, dtype=np.float64)
    return PushFit(shape, onset, total, covariance, misfit, cost)


def best_push(
    time_s: NDArray[np.float64],
    push_m_s2: NDArray[np.float64],
    noise_m_s2: float,
    period_s: float,
    model: PushModel,
    *,
    departure_s: float,
    departure_sigma_s: float,
) -> PushFit | None:
    """The fits of all shapes as one: a mean weighted by how well each fits, their disagreement in its spread."""
    if len(time_s) < 8:
        return None
    fits: list[PushFit] = []
    for shape in model.shapes:
        for start in model.starts_s or (shape.time_on_string_s,):
            fit = fit_push(
                time_s,
                push_m_s2,
                noise_m_s2,
                period_s,
                shape,
                departure_s=departure_s,
                departure_sigma_s=departure_sigma_s,
                time_sigma=model.time_sigma,
                time_start_s=start,
            )
            fits.append(fit)
    cost = np.array([f.cost for f in fits])
    good = np.isfinite(cost)
    if not good.any():
        return None
    share = np.where(good, np.exp(-np.clip(cost - cost[good].min(), 0, 200) / 2), 0.0)
    share /= share.sum()
    both = np.array([[f.release_s, f.time_on_string_s] for f in fits])
    mean = share @ both
    off = both - mean
    covariance = np.einsum("i,ijk->jk", share, np.array([f.covariance_s2 for f in fits]))
    covariance += np.einsum("i,ij,ik->jk", share, off, off)
    best = fits[int(np.argmax(share))]
    return PushFit(best.shape, float(mean[0]), float(mean[1]), covariance, best.misfit, best.cost)
