"""After the departure: the hand as a spring and damper.

With the torque of the hand -k (angle - rest) - c w and a steady one besides, I dw/dt integrated once from a time t0 is

    w(t) = w(t0) - (c/I) angle(t) - (k/I) integral of angle + a t

which is linear in what is sought and needs no slope of a noisy rate. It is told where it fits well, and that is seldom:
what the hand goes on pressing meanwhile is not known, and a fit takes it for a spring without a damper.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import AXIS_NAMES, Axes
from quiethand.shots.model import FollowThrough

if TYPE_CHECKING:
    from quiethand.shots.candidate import MotionWindow

__all__ = ["SWING_SPAN_S", "measure_follow_through"]

_SPANS_S: Final = ((0.04, 0.30), (0.03, 0.20))
_LARGEST_CHANGE: Final = 0.08
_LARGEST_RATIO_CHANGE: Final = 0.05
# A hand is no perfect spring, and both stretches may be off together: told stiffnesses of simulated hands were 15 % off
# (median; host/METHOD.md), far more than their fits' own uncertainty.
_MODEL_SHARE: Final = 0.2
# Arms and wrists damp their swing by a tenth to all of the critical (physiology, from memory). Less is a torque that
# went on, taken for a spring: all such fits to simulated shots (host/METHOD.md).
_LEAST_DAMPING_RATIO: Final = 0.1
_SMOOTH_S: Final = 0.02
_THIN_S: Final = 2e-3
# A fit is told where stiffness stands eight of its uncertainties above nothing and the rate is explained to 99.5 %.
_LEAST_RATIO: Final = 8.0
_LEAST_EXPLAINED: Final = 0.995
# What moves the bow besides, tremor and the archer's aim, must be small against the swing itself.
_LEAST_SWING: Final = 8.0
# Seconds after departure that the figures rest on, for whoever explains them.
SWING_SPAN_S: Final = (min(start for start, _ in _SPANS_S), max(end for _, end in _SPANS_S))


def measure_follow_through(
    window: MotionWindow, departure_s: float, bias_rad_s: NDArray[np.float64], inertia_kg_m2: NDArray[np.float64] | None
) -> tuple[FollowThrough, tuple[str, ...]]:
    """Stiffness and damping of the hand; notes say why a figure is absent."""
    if inertia_kg_m2 is None:
        return FollowThrough(), ("no measured inertia: no torque and no stiffness of the hand",)
    stiffness, sigma, damping = np.full(3, np.nan), np.full(3, np.nan), np.full(3, np.nan)
    swing = _swing(window, departure_s, bias_rad_s)
    poor = []
    for k in range(3):
        found = None if swing is None else _spring(swing, k)
        if found is None:
            poor.append(AXIS_NAMES[k])
            continue
        stiffness[k] = found[0] * inertia_kg_m2[k]
        sigma[k] = found[1] * inertia_kg_m2[k]
        damping[k] = found[2]
    notes = (f"the hand's stiffness is not told for {', '.join(poor)}: no one spring and damper fits",) if poor else ()
    return FollowThrough(Axes.of(stiffness), Axes.of(sigma), Axes.of(damping)), notes


@dataclass(frozen=True)
class _Swing:
    """Rates after the departure, smoothed; an axis is a row."""

    time_s: NDArray[np.float64]  # (n,)
    rate_rad_s: NDArray[np.float64]  # (3, n)
    strong: tuple[bool, ...]  # of each axis: it swings by far more than it trembled before the shot
    smoothed_over: int  # steps


def _spring(swing: _Swing, axis: int) -> tuple[float, float, float] | None:
    """(k/I, its sigma, damping ratio) of one axis; None where the fit is poor or depends on where it is made."""
    if not swing.strong[axis]:
        return None
    fits = []
    for span in _SPANS_S:
        fit = _spring_over(swing, axis, *span)
        if fit is None:
            return None
        fits.append(fit)
    (whole, sigma, ratio), (early, early_sigma, early_ratio) = fits
    # One spring is the same early and late. A hand that stiffens or lets go is no spring: nothing is told of it.
    apart = abs(whole - early)
    if apart > _LARGEST_CHANGE * whole or abs(ratio - early_ratio) > _LARGEST_RATIO_CHANGE:
        return None
    weight = early_sigma**2 / (sigma**2 + early_sigma**2)
    both = weight * whole + (1 - weight) * early
    spread = float(np.sqrt(sigma**2 + (apart / 2) ** 2 + (_MODEL_SHARE * both) ** 2))
    return both, spread, weight * ratio + (1 - weight) * early_ratio


def _swing(window: MotionWindow, departure_s: float, bias_rad_s: NDArray[np.float64]) -> _Swing | None:
    """What the fits after the departure need; None where it is not there whole."""
    time = window.gyro_time_s - departure_s
    rows = slice(*np.searchsorted(time, (SWING_SPAN_S[0] - _SMOOTH_S, SWING_SPAN_S[1] + _SMOOTH_S)).tolist())
    t = time[rows]
    if len(t) < 30 or t[-1] < SWING_SPAN_S[1]:
        return None
    if np.any(np.diff(window.index[rows]) != 1) or window.gyro_clipped[rows].any():
        return None
    earlier = slice(*np.searchsorted(time, (-0.15, -0.03)).tolist())
    w, before = ((window.rate_rad_s[part] - bias_rad_s).T for part in (rows, earlier))
    if before.shape[1] < 8:
        return None
    strong = np.mean(w**2, axis=1) >= _LEAST_SWING**2 * np.mean(before**2, axis=1)
    # means over 2 ms do not see what would pass for something slower, and are few
    n = max(1, round(_THIN_S / window.period_s))
    count = len(t) // n
    w = w[:, : count * n].reshape(3, count, n).mean(axis=2)
    t = t[: count * n].reshape(count, n).mean(axis=1)
    over = max(3, round(_SMOOTH_S / (n * window.period_s))) | 1
    taper = np.hanning(over + 2)[1:-1]
    smooth = np.stack([np.convolve(row, taper / taper.sum(), mode="valid") for row in w])
    return _Swing(t[over // 2 : over // 2 + smooth.shape[1]], smooth, tuple(strong.tolist()), over)


def _spring_over(swing: _Swing, axis: int, from_s: float, to_s: float) -> tuple[float, float, float] | None:
    """The fit of one axis over one stretch: (k/I, its sigma, damping ratio), None where it is poor."""
    rows = slice(*np.searchsorted(swing.time_s, (from_s, to_s)).tolist())
    t, w = swing.time_s[rows], swing.rate_rad_s[axis, rows]
    step = np.diff(t)
    angle = np.concatenate([[0.0], np.cumsum((w[1:] + w[:-1]) / 2 * step)])
    twice = np.concatenate([[0.0], np.cumsum((angle[1:] + angle[:-1]) / 2 * step)])
    columns = np.stack([np.ones_like(t), -angle, -twice, t - t[0]], axis=1)
    solution, *_ = np.linalg.lstsq(columns, w, rcond=None)
    left = w - columns @ solution
    explained = 1 - float(np.var(left)) / max(float(np.var(w)), 1e-30)
    per_spring, per_damper = float(solution[2]), float(solution[1])
    # what is left over is slow: smoothing made neighbours alike
    variance = float(np.mean(left**2)) * swing.smoothed_over
    sigma = float(np.sqrt(variance * np.linalg.pinv(columns.T @ columns)[2, 2]))
    if per_spring <= 0 or per_spring < _LEAST_RATIO * sigma or explained < _LEAST_EXPLAINED:
        return None
    ratio = per_damper / (2 * float(np.sqrt(per_spring)))
    return (per_spring, sigma, ratio) if ratio >= _LEAST_DAMPING_RATIO else None
