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

__all__ = ["PushFit", "best_push"]

# The push model is good to about 6 % of its size and 1 m/s2, over some 1.5 ms (judged by the spread of
# recurve and compound models with other limbs and hands).
_MODEL_SHARE: Final = 0.06
_MODEL_FLOOR_M_S2: Final = 1.0
_MODEL_LASTS_S: Final = 1.5e-3
_LEVEL_SIGMA: Final = 0.3  # m/s2 by which the hold's level may be off, and per 10 ms drift
_TURNS: Final = 9
_SETTLED_MS: Final = 4e-3
_HOPELESS: Final = 30.0  # chi squared behind the best after three turns: weight below 1e-6, not worth going on with
_MS: Final = 1e-3


@dataclass(frozen=True)
class PushFit:
    """What the push alone says, the prior on the time on the string left in and the shock's instant left out."""

    shape: PushShape
    impulse: NDArray[np.float64]  # (n,) of the string on the bow so far over its last, at the shape's times
    release_s: float
    time_on_string_s: float
    covariance_s2: NDArray[np.float64]  # (2, 2) of release and time on the string
    misfit: float  # rms of what is left over, as a fraction of the largest push
    cost: float  # chi squared with priors, to compare shapes


@dataclass(frozen=True)
class _Tables:
    """All shapes of a model on one grid of their own time over their time on the string, so that they fit as one."""

    from_part: float  # grid begins here, even steps to 1
    values: NDArray[np.float64]  # (g, s, k)
    slopes: NDArray[np.float64]  # (g, s, k) per unit of the grid's variable
    model_s: NDArray[np.float64]  # (s,) times on the string


_GRID: Final = 1024
_tables_of: list[tuple[PushModel, _Tables]] = []


def _tables(model: PushModel) -> _Tables:
    for kept, tables in _tables_of:
        if kept is model:
            return tables
    model_s = np.array([s.time_on_string_s for s in model.shapes])
    first = min(float(s.time_s[0]) / s.time_on_string_s for s in model.shapes) - 2 / _GRID
    part = np.linspace(first, 1.0, _GRID)
    values = np.array([[np.interp(part * s.time_on_string_s, s.time_s, b) for b in s.basis] for s in model.shapes])
    values = np.ascontiguousarray(values.transpose(2, 0, 1))
    made = _Tables(first, values, np.gradient(values, part, axis=0), model_s)
    _tables_of.append((model, made))
    del _tables_of[:-4]
    return made


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
    """Fits every shape to the acceleration along the arrow, and takes them as one.

    The result is the median of all, weighted by how well each fits: few shapes that fit a little worse far away should
    not pull the instants to where no shape has them. Their disagreement is in its spread.

    Args:
        time_s: when each sample took place, (n,) seconds; only samples free of the shock.
        push_m_s2: (n,) with the hold's own level taken off.
        departure_s, departure_sigma_s: what the shock says of the departure.
    """
    if len(time_s) < 8:
        return None
    tables = _tables(model)
    times = model.starts_s
    which = np.tile(np.arange(len(model.shapes)), max(1, len(times)))
    model_s = tables.model_s[which]
    total = np.repeat(np.array(times), len(model.shapes)) if times else model_s.copy()
    onset = departure_s - total
    shapes = [model.shapes[i] for i in which]
    level = ([0.0, 0.0], [_LEVEL_SIGMA, _LEVEL_SIGMA])
    mean = np.array([[*s.weight, *level[0]] for s in shapes])
    pull = np.array([[*s.weight_sigma, *level[1]] for s in shapes]) ** -2.0
    k = mean.shape[1]
    weights = mean.copy()
    correlated = max(1.0, _MODEL_LASTS_S / period_s)
    time_weight = (_MS / (model.time_sigma * model_s)) ** 2
    end_weight = (_MS / departure_sigma_s) ** 2
    n, last = len(time_s), _GRID - 1.000001
    per_part = (_GRID - 1) / (1 - tables.from_part)
    moved = np.zeros((len(which), n, k))  # along each shape, the derivative of its columns by the grid's variable
    cols = np.empty_like(moved)
    cols[:, :, k - 2] = 1.0
    diagonal = np.arange(k)
    for turn in range(_TURNS):
        u = time_s - onset[:, None]
        raw = (u / total[:, None] - tables.from_part) * per_part
        at = np.clip(raw, 0.0, last)
        i = at.astype(np.intp)
        part = (at - i)[:, :, None]
        rows = which[:, None]
        cols[:, :, : k - 2] = tables.values[i, rows] * (1 - part) + tables.values[i + 1, rows] * part
        moved[:, :, : k - 2] = tables.slopes[i, rows]
        cols[:, :, k - 1] = u * 100.0
        fitted = np.einsum("snk,sk->sn", cols, weights)
        slope = np.einsum("snk,sk->sn", moved, weights) * ((raw > 0) & (raw < last)) / total[:, None]
        variance = noise_m_s2**2 + correlated * ((_MODEL_SHARE * fitted) ** 2 + _MODEL_FLOOR_M_S2**2)
        scale = 1 / np.sqrt(variance)
        rest = (push_m_s2 - fitted) * scale
        by_total = -slope * u / total[:, None] * _MS
        by_onset = (-slope - 100.0 * weights[:, k - 1 :]) * _MS
        slopes = np.concatenate([cols, by_onset[:, :, None], by_total[:, :, None]], axis=2) * scale[:, :, None]
        turned = slopes.transpose(0, 2, 1)
        normal = turned @ slopes
        right = (turned @ rest[:, :, None])[:, :, 0]
        normal[:, diagonal, diagonal] += pull
        right[:, :k] += (mean - weights) * pull
        normal[:, k + 1, k + 1] += time_weight
        right[:, k + 1] += time_weight * (model_s - total) / _MS
        normal[:, k:, k:] += end_weight
        right[:, k:] += (end_weight * (departure_s - onset - total) / _MS)[:, None]
        cost = np.einsum("sn,sn->s", rest, rest) + np.log(variance).sum(axis=1)
        cost += np.sum((mean - weights) ** 2 * pull, axis=1) + time_weight * ((model_s - total) / _MS) ** 2
        cost += end_weight * ((departure_s - onset - total) / _MS) ** 2
        step = np.linalg.solve(normal, right[:, :, None])[:, :, 0]
        if turn == _TURNS - 1 or bool(np.all(np.abs(step[:, k:]) < _SETTLED_MS)):
            break
        weights = weights + step[:, :k]
        onset = onset + np.clip(step[:, k], -1, 1) * _MS
        total = np.clip(total + np.clip(step[:, k + 1], -1, 1) * _MS, 0.5 * model_s, 2.0 * model_s)
        hopeful = cost < np.nanmin(cost) + _HOPELESS if turn >= 2 else cost < np.inf
        if hopeful.any() and not hopeful.all():
            which, model_s, time_weight = which[hopeful], model_s[hopeful], time_weight[hopeful]
            mean, pull, weights = mean[hopeful], pull[hopeful], weights[hopeful]
            onset, total, cols, moved = onset[hopeful], total[hopeful], cols[hopeful], moved[hopeful]
    covariance = np.linalg.inv(normal)[:, k:, k:] * _MS**2
    left = push_m_s2 - fitted
    misfit = np.sqrt(np.mean(left**2, axis=1)) / max(float(np.abs(push_m_s2).max()), 1e-9)
    shapes = [model.shapes[i] for i in which]
    return _as_one(shapes, weights, onset, total, covariance, misfit, cost)


def _as_one(
    shapes: list[PushShape],
    weights: NDArray[np.float64],
    onset_s: NDArray[np.float64],
    total_s: NDArray[np.float64],
    covariance_s2: NDArray[np.float64],
    misfit: NDArray[np.float64],
    cost: NDArray[np.float64],
) -> PushFit | None:
    good = np.isfinite(cost)
    if not good.any():
        return None
    share = np.where(good, np.exp(-np.clip(cost - cost[good].min(), 0, 200) / 2), 0.0)
    share /= share.sum()
    both = np.stack([onset_s, total_s], axis=1)
    centre = np.array([_median(both[:, i], np.sqrt(covariance_s2[:, i, i]), share) for i in range(2)])
    off = both - centre
    covariance = np.einsum("i,ijk->jk", share, covariance_s2) + np.einsum("i,ij,ik->jk", share, off, off)
    best = int(np.argmax(share))
    return PushFit(
        shapes[best],
        shapes[best].impulse(weights[best]),
        float(centre[0]),
        float(centre[1]),
        covariance,
        float(misfit[best]),
        float(cost[best]),
    )


def _median(mean: NDArray[np.float64], sigma: NDArray[np.float64], share: NDArray[np.float64]) -> float:
    """Of a mixture of bell curves (logistic ones, close enough), by halving."""
    low, high = float((mean - 4 * sigma).min()), float((mean + 4 * sigma).max())
    for _ in range(30):
        middle = (low + high) / 2
        below = share @ (1 / (1 + np.exp(np.clip(1.702 * (mean - middle) / sigma, -50, 50))))
        low, high = (middle, high) if below < 0.5 else (low, middle)
    return (low + high) / 2
