"""Departure by the onset of the shock at brace: a change point in all three axes of acceleration.

Before the onset the push is smooth; after it each axis rises, through the sensor's low-pass filter, to a level and a
slope of its own. The onset is where a common instant explains all three axes best. A filter's step response crosses
half of its height about one group delay late (exactly so for a symmetric one), which is what the delay taken off stands
for; its width says how far the first break runs ahead of that.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.middle import median

__all__ = [
    "LEAST_SHOCK_M_S2",
    "ShockOnset",
    "axes_clipped",
    "ramp_response",
    "rise_sigma_s",
    "shock_onset",
    "step_response",
]

# From the string's and cams' stop to a sensor on the stabilizer: a blow takes some 0.1 to 0.2 ms (estimate, no source).
PATH_DELAY_S: Final = 0.15e-3
PATH_DELAY_SIGMA_S: Final = 0.06e-3
LEAST_SHOCK_M_S2: Final = 12.0
_BEND_S: Final = 0.25e-3
_GRID_S: Final = 1e-5
# Struck at its anti-node a structure's acceleration starts at a peak and swings back: at 80 to 500 Hz it has lost half
# within a millisecond, with a spread that covers one that starts from nothing.
_FALL_PER_MS: Final = 0.8
_SLOPE_PER_MS: Final = 0.7
# What such a shape is off, as a fraction of the sampling period: the fewer samples on the rise, the more it rules.
_SHAPE_SIGMA: Final = 0.2
_ERF_X: Final = np.linspace(-4, 4, 801)
_ERF: Final = np.array([0.5 * (1 + erf(x / np.sqrt(2))) for x in _ERF_X])
_RAMP: Final = np.concatenate([[0.0], np.cumsum((_ERF[1:] + _ERF[:-1]) / 2 * np.diff(_ERF_X))])


@dataclass(frozen=True)
class ShockOnset:
    departure_s: float
    sigma_s: float
    first_break_s: float  # tick of the first sample that the shock may have touched
    peak_m_s2: float


def rise_sigma_s(bandwidth_hz: float | None, delay_s: float | None, period_s: float) -> tuple[float, ...]:
    """Widths that the filter's step response may have, as the standard deviation of its slope.

    A low-pass of -3 dB bandwidth B rises from 10 to 90 % in 0.35/B (the usual rule), which is 2.56 standard deviations.
    """
    if bandwidth_hz:
        middle = 0.137 / bandwidth_hz
        return (0.7 * middle, middle, 1.4 * middle)
    guess = max(0.25 * (delay_s or 0.0), 0.25 * period_s)
    return (0.6 * guess, guess, 1.5 * guess)


def step_response(z: NDArray[np.float64]) -> NDArray[np.float64]:
    """A unit step through a symmetric low-pass, time in units of its width."""
    return np.asarray(np.interp(z, _ERF_X, _ERF))


def ramp_response(z: NDArray[np.float64]) -> NDArray[np.float64]:
    """A unit ramp through the same."""
    return np.asarray(np.interp(z, _ERF_X, _RAMP) + np.maximum(z - 4.0, 0.0))


def axes_clipped(force_m_s2: NDArray[np.float64], clipped: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which axes of the samples flagged as clipped are at their limit, (n, 3): those near the largest value seen."""
    if not clipped.any():
        return np.zeros(force_m_s2.shape, bool)
    size = np.abs(force_m_s2)
    return np.asarray(clipped[:, None] & (size > 0.93 * size[clipped].max()))


def _extrapolated(
    u_ms: NDArray[np.float64], values: NDArray[np.float64], before: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """A parabola through each axis's samples before the shock, carried on, (n, 3); NaN where too few are left.

    Args:
        before: which samples of each axis are, (n, 3).
    """
    out = np.full(values.shape, np.nan)
    alike = bool((before == before[:, :1]).all())  # nothing clipped: one fit for all
    for axes in [slice(0, 3)] if alike else [slice(k, k + 1) for k in range(3)]:
        used = before[:, axes.start]
        n = int(used.sum())
        if n < 4:
            continue
        u = u_ms - u_ms[used][-1]
        degree = 2 if n >= 6 else 1
        out[:, axes] = np.vander(u, degree + 1) @ np.polyfit(u[used], values[used, axes], degree)
    return out


def _spread(values: NDArray[np.float64], used: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Largest less smallest of each axis's samples in use, (3,); 0 where there are none."""
    high, low = np.where(used, values, -np.inf).max(axis=0), np.where(used, values, np.inf).min(axis=0)
    return np.asarray(np.where(high >= low, high - low, 0.0))


def _walk_back(
    first: int, t: NDArray[np.float64], f: NDArray[np.float64], full: NDArray[np.bool_], reach_s: float, least: float
) -> int:
    """Earlier samples that already leave the smooth push: a low-pass filter lets a shock begin softly.

    The push itself bends, most of all along the arrow, so that each axis must leave its own parabola by more than a
    quarter of what it did over the last milliseconds.
    """
    strong = t[first]
    while first > 8 and t[first - 1] > strong - reach_s:
        at = first - 1
        before = (np.arange(len(t)) < at) & (t > t[at] - 4.5e-3)
        good = before[:, None] & ~full
        off = np.abs(f[at] - _extrapolated((t - t[at]) / 1e-3, f, good)[at])  # NaN where it can't be told
        moved = _spread(f, good)
        leaves = bool((~full[at] & (off > np.maximum(least, 0.25 * moved))).any())
        if not leaves:
            break
        first = at
    return first


def shock_onset(
    tick_s: NDArray[np.float64],
    force_m_s2: NDArray[np.float64],
    clipped: NDArray[np.bool_],
    *,
    expected_s: float,
    within_s: float,
    delay_s: float,
    period_s: float,
    noise_m_s2: float,
    widths_s: tuple[float, ...],
) -> ShockOnset | None:
    """The departure from (n,) ticks and (n, 3) acceleration around it; None where no shock stands out.

    Args:
        expected_s: coarse departure with the delay taken off; the onset is sought within `within_s` of it.
        delay_s: how late a smooth motion shows, 0 where unknown.
        widths_s: see `rise_sigma_s`.
    """
    near = (tick_s > expected_s + delay_s - within_s - 6e-3) & (tick_s < expected_s + delay_s + within_s + 3e-3)
    at = np.flatnonzero(near)
    if len(at) < 8:
        return None
    t, f = tick_s[at], force_m_s2[at]
    full = axes_clipped(f, clipped[at])
    # what a sample is off the line through the two before it: smooth pushes hardly show, the first break does
    # (over a time that the rise through a slow filter fills: between neighbours at 8 kHz it would hardly show either)
    k = max(1, round(_BEND_S / period_s))
    bend = np.zeros(len(t))
    jump = np.where(full[k:-k] | full[: -2 * k], 0.0, f[2 * k :] - 2 * f[k:-k] + f[: -2 * k])
    bend[2 * k :] = np.linalg.norm(jump, axis=1)
    sought = np.abs(t - expected_s - delay_s) < within_s + 2 * period_s
    sought[: 2 * k] = False
    if not sought.any():
        return None
    least = max(LEAST_SHOCK_M_S2, 12 * noise_m_s2, 0.12 * float(bend[sought].max()))
    over = np.flatnonzero(sought & (bend > least))
    if len(over) == 0:
        return None
    strong = int(over[0])
    first = _walk_back(strong, t, f, full, (k + 0.1) * period_s + 3 * max(widths_s), max(3.0, 10 * noise_m_s2))
    if t[first] - t[first - 1] > 1.5 * period_s:
        # samples are lost right before it: the onset lies anywhere in the gap
        middle, half = (t[first] + t[first - 1]) / 2, (t[first] - t[first - 1]) / 2
        sigma = float(np.hypot(half / np.sqrt(3), PATH_DELAY_SIGMA_S))
        return ShockOnset(float(middle) - PATH_DELAY_S, sigma, float(t[first - 1]), float(bend[first]))
    rise = max(widths_s)
    before = (t < t[first] - 0.6 * period_s) & (t > t[first] - 4.5e-3)
    used = (t > t[first] - 2.5 * period_s - rise) & (t < t[strong] + max(0.5e-3, 1.1 * period_s) + rise)
    if before.sum() < 4 or used.sum() < 3:
        return None
    u = (t - t[first]) / 1e-3
    smooth = _extrapolated(u, f, before[:, None] & ~full)
    tu, free, limited = t[used], ~np.isnan(smooth)[used], full[used]
    if not free.any():
        return None
    rest = np.where(free, f[used] - np.nan_to_num(smooth[used]), 0.0)
    size = float(np.abs(rest).max())
    if size < LEAST_SHOCK_M_S2:
        return None
    onset = np.arange(t[first] - 1.5 * period_s - rise, t[strong] + 1.0 * period_s, _GRID_S)
    log_like = np.empty((len(widths_s), len(onset)))
    # The shape is a rough one: ringing up to 1 kHz bends it. Its error is a tenth of the level reached.
    axis_size = np.maximum(np.abs(rest).max(axis=0), 0.1 * size)
    # The parabola carried on errs by a share of what the push did just before.
    moved = _spread(f, before[:, None] & ~full)
    sigma2 = (3 * noise_m_s2) ** 2 + (0.08 * axis_size) ** 2 + (0.1 * moved) ** 2
    weight = free / np.where(limited, (0.4 * axis_size) ** 2, sigma2)
    weighted = weight * rest
    # level free within twice what was reached
    p_level, p_slope = 1 / (2 * axis_size) ** 2, 1 / (_SLOPE_PER_MS * axis_size) ** 2
    for w, width in enumerate(widths_s):
        z = (tu[None, :] - onset[:, None]) / width
        ramp = ramp_response(z) * width / 1e-3
        step = step_response(z) - _FALL_PER_MS * ramp
        # (grid, 3) each, the axes side by side
        a11 = step**2 @ weight + p_level
        a12 = (step * ramp) @ weight
        a22 = ramp**2 @ weight + p_slope
        b1, b2 = step @ weighted, ramp @ weighted
        det = a11 * a22 - a12**2
        gain = (b1**2 * a22 - 2 * b1 * b2 * a12 + b2**2 * a11) / det
        log_like[w] = 0.5 * (gain - np.log(det)).sum(axis=1)
    share = np.exp(log_like - log_like.max())
    by_onset = share.sum(0)
    by_onset /= by_onset.sum()
    mean = float(by_onset @ onset)
    sigma = float(np.sqrt(by_onset @ (onset - mean) ** 2 + _GRID_S**2))
    total = float(np.sqrt(sigma**2 + PATH_DELAY_SIGMA_S**2 + (_SHAPE_SIGMA * period_s) ** 2))
    first_break = mean - 2.5 * float(median(np.array(widths_s)))
    return ShockOnset(mean - delay_s - PATH_DELAY_S, total, min(first_break, float(t[first])), size)
