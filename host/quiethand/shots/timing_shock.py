"""Departure by the onset of the shock at brace: a change point in all three axes of acceleration.

Before the onset a smooth push, after it a shock of unknown size and course on top (`timing_ringing.py`), which either
leaps or starts from nothing. For every instant of a grid the course is integrated out, and so is the size, over a
range as wide as shocks are; what is left is the probability of the instant. Nothing in it is a share of how large the
shock becomes: a harder one has the same onset.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.timing_ringing import COURSES, course

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
_ERF_X: Final = np.linspace(-4, 4, 801)
_ERF: Final = np.array([0.5 * (1 + erf(x / np.sqrt(2))) for x in _ERF_X])
_RAMP: Final = np.concatenate([[0.0], np.cumsum((_ERF[1:] + _ERF[:-1]) / 2 * np.diff(_ERF_X))])

# -- where a shock may begin: the second difference over half a millisecond
_BEND_S: Final = 0.5e-3
_AHEAD_S: Final = 1.2e-3  # a first break is at least so strong a share of what follows so soon
_AHEAD_SHARE: Final = 0.2
_PUSH_BENDS: Final = 0.3  # of its change within 4 ms, per ms^2: cams that come round
_PUSH_S: Final = 4e-3

# -- the fit
_BEFORE_S: Final = 5e-3  # of push, or six samples
_AFTER_S: Final = 0.8e-3  # of shock, or one and a half
_EARLIER_S: Final = 0.4e-3  # a soft start may show so much later than it is
_AT_ONCE: Final = 36  # instants; the likely part of them is gone over again, finer
_UNLIKELY: Final = 18.0  # by so much in logarithm behind the best: not worth going over
_FINE_S: Final = 1e-5
_SIZES_M_S2: Final = np.geomspace(4.0, 4000.0, 14)
_SIZES2: Final = np.square(_SIZES_M_S2)
# A shock's course is no sum of these few exactly, the more so the larger it is.
_COURSE_SHARE: Final = 0.02
# A push follows the cubic to some hundredths of its change (a parabola, where samples are few, less well), and bends
# towards its end in ways that no cubic does: the string straightens, cams reach their stops.
_PUSH_SHARE: Final = 0.05
_PUSH_SHARE_PER_MS2: Final = 0.2  # of the sampling period
_LATE_BENDS: Final = ((0.3e-3, 2.0), (1.0e-3, 2.0))  # growing as exp(t / this), by so many of that deviation
_LEAST_M_S2: Final = 0.1
_LEAPS = 0.7
_LOG_PRIOR = np.log([_LEAPS if leaps else 1 - _LEAPS for leaps, _ in COURSES])
_SHAPE_SIGMA: Final = 0.1  # of a sampling period: the fewer samples on the rise, the more the prior rules


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


def _first_break(
    f: NDArray[np.float64],
    full: NDArray[np.bool_],
    sought: NDArray[np.bool_],
    period_s: float,
    rise_s: float,
    noise_m_s2: float,
) -> tuple[int, float] | None:
    """Row of the first sample that bends off the push as a shock does, and the sharpest bend soon after it."""
    k = max(1, round(_BEND_S / period_s))
    if len(f) <= 2 * k:
        return None
    bend = np.zeros(len(f))
    jump = np.where(full[k:-k] | full[: -2 * k], 0.0, f[2 * k :] - 2 * f[k:-k] + f[: -2 * k])
    bend[2 * k :] = np.sqrt(np.einsum("ij,ij->i", jump, jump))
    ahead = max(1, round((_AHEAD_S + rise_s) / period_s))
    sharpest = np.lib.stride_tricks.sliding_window_view(np.append(bend, np.zeros(ahead)), ahead + 1).max(axis=1)
    n = max(3, round(_PUSH_S / period_s))
    padded = np.concatenate([np.repeat(f[:1], n, axis=0), f])[: len(f) + n - k]
    span = np.lib.stride_tricks.sliding_window_view(padded, n - k + 1, axis=0)
    pushed = np.ptp(span, axis=2)[: len(f)]
    own = _PUSH_BENDS * (k * period_s * 1e3) ** 2 * np.sqrt(np.einsum("ij,ij->i", pushed, pushed))
    least = np.maximum(max(LEAST_SHOCK_M_S2, 12 * noise_m_s2), np.maximum(_AHEAD_SHARE * sharpest, own))
    over = np.flatnonzero(sought & (bend > least))
    return (int(over[0]), float(sharpest[over[0]])) if len(over) else None


@dataclass(frozen=True)
class _Samples:
    """What one set of axes shows, the push's own course already taken off: see `_prepared`."""

    shock: NDArray[np.float64]  # (p, p) upper factor: rows of the samples that a shock may touch
    seen: NDArray[np.float64]  # (p, axes)
    rest: NDArray[np.float64]  # (axes,) squares of what the push leaves
    degrees: int
    sigma: NDArray[np.float64]  # (axes,) one sample's
    since_s: NDArray[np.float64]  # (p,) times of those samples


def _prepared(
    u: NDArray[np.float64], values: NDArray[np.float64], sigma: NDArray[np.float64], degree: int, touched_s: float
) -> _Samples:
    """Samples of axes that are whole alike, with any cubic and the push's late bends projected out.

    Args:
        u: (n,) times.
        values: (n, axes).
        sigma: (axes,) standard deviation of a sample about the push, in which the late bends are told.
        touched_s: samples before it are free of any shock.
    """
    spread = np.eye(len(u))
    for decay, size in _LATE_BENDS:
        late = size * np.exp(np.minimum(u, 0.0) / decay)
        spread += np.outer(late, late)
    inverse = np.linalg.inv(spread)
    cubic = np.vander(u / _BEFORE_S, degree + 1)
    held = inverse @ cubic
    left = inverse - held @ np.linalg.solve(cubic.T @ held, held.T)
    at = np.flatnonzero(u > touched_s)
    own = left[np.ix_(at, at)]
    factor = np.linalg.cholesky(own + 1e-9 * np.trace(own) / len(at) * np.eye(len(at))).T
    told = left @ values
    return _Samples(factor, told[at], np.einsum("ij,ij->j", values, told), len(u) - degree - 1, sigma, u[at])


def _evidence(samples: _Samples, onset: NDArray[np.float64], width_us: int) -> NDArray[np.float64]:
    """Logarithm of the probability of what was seen for each kind of shock and onset, (kinds, g)."""
    since = samples.since_s - onset[:, None]
    phi = np.stack([course(leaps, symmetric, width_us).at(since) for leaps, symmetric in COURSES])  # (c, g, p, m)
    low = samples.shock @ phi
    few = low.shape[-2] < low.shape[-1]
    turned = low.swapaxes(-1, -2)
    power, axes = np.linalg.eigh(low @ turned if few else turned @ low)
    if few:  # from the samples' side: the courses' own axes are reached through the samples
        axes = turned @ axes / np.sqrt(np.maximum(power, 1e-12))[..., None, :]
    power = np.maximum(power, 0.0)
    along = axes.swapaxes(-1, -2) @ (phi.swapaxes(-1, -2) @ samples.seen)  # (c, g, k, axes)
    along **= 2
    power = np.moveaxis(power, -1, 0)[..., None]  # (k, c, g, 1)
    total = np.zeros(phi.shape[:2])
    for axis, sigma in enumerate(samples.sigma):
        noise = sigma**2 + _COURSE_SHARE**2 * _SIZES2
        ratio = _SIZES2 / noise
        told = np.zeros((*phi.shape[:2], len(noise)))
        grown = np.ones_like(told)
        for k, p in enumerate(power):
            own = 1 + ratio * p
            told += along[:, :, k, axis, None] / own
            grown *= own
        each = told * (ratio / noise) - np.log(grown) - (samples.rest[axis] / noise + samples.degrees * np.log(noise))
        total += _logsum(np.moveaxis(0.5 * each, -1, 0))
    return total


def _logsum(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Logarithm of the sum of exponentials down the first axis."""
    most = values.max(axis=0)
    return np.asarray(most + np.log(np.exp(values - most).sum(axis=0)))


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
    near = (tick_s > expected_s + delay_s - within_s - 7e-3) & (tick_s < expected_s + delay_s + within_s + 3e-3)
    at = np.flatnonzero(near)
    if len(at) < 8:
        return None
    t, f = tick_s[at], force_m_s2[at]
    full = axes_clipped(f, clipped[at])
    width = widths_s[len(widths_s) // 2]
    sought = np.abs(t - expected_s - delay_s) < within_s + 2 * period_s
    found = _first_break(f, full, sought, period_s, 1.4 * width, noise_m_s2)
    if found is None:
        return None
    first, peak = found
    if t[first] - t[first - 1] > 1.5 * period_s:
        # samples are lost right before it: the onset lies anywhere in the gap
        middle, half = (t[first] + t[first - 1]) / 2, (t[first] - t[first - 1]) / 2
        sigma = float(np.hypot(half / np.sqrt(3), PATH_DELAY_SIGMA_S))
        return ShockOnset(float(middle) - delay_s - PATH_DELAY_S, sigma, float(t[first - 1]), peak)
    sets = _sets(t - t[first], f, full, period_s, width, noise_m_s2)
    if not sets:
        return None
    width_us = max(1, round(width * 1e6))
    earliest, latest = -1.5 * period_s - 4.2 * width - _EARLIER_S, 1.2 * period_s
    low, high = earliest, latest
    while True:
        # instants at whole steps from the first break, steps by factors of two: a nanosecond more moves no grid
        step = _FINE_S * 2.0 ** np.ceil(np.log2(max((high - low) / (_AT_ONCE * _FINE_S), 1.0)))
        onset = step * np.arange(np.ceil(max(low, earliest) / step), np.floor(min(high, latest) / step) + 1)
        by_onset = _logsum(sum(_evidence(s, onset, width_us) for s in sets) + _LOG_PRIOR[:, None])
        likely = onset[by_onset > by_onset.max() - _UNLIKELY]
        low, high, before = likely[0] - step, likely[-1] + step, high - low
        if step <= _FINE_S or high - low > 0.6 * before:
            break
    share = np.exp(by_onset - by_onset.max())
    share /= share.sum()
    mean = float(share @ onset)
    spread = float(np.sqrt(share @ (onset - mean) ** 2))
    sigma = float(np.sqrt(spread**2 + _FINE_S**2 + PATH_DELAY_SIGMA_S**2 + (_SHAPE_SIGMA * period_s) ** 2))
    mean += float(t[first])
    return ShockOnset(mean - delay_s - PATH_DELAY_S, sigma, min(mean - 2.5 * width, float(t[first])), peak)


def _sets(
    u: NDArray[np.float64],
    f: NDArray[np.float64],
    full: NDArray[np.bool_],
    period_s: float,
    width_s: float,
    noise_m_s2: float,
) -> list[_Samples]:
    """The samples about the first break (time 0), axes that clip alike together; empty where too few."""
    foot = -0.6 * period_s - 1.6 * width_s
    used = (u > -max(_BEFORE_S, 5.5 * period_s + 1.6 * width_s)) & (u < _AFTER_S + 1.5 * period_s + 2.8 * width_s)
    u, f, full = u[used], f[used], full[used]
    before = u < foot
    if before.sum() < 4:
        return []
    pushed = np.ptp(f[before], axis=0)
    share = _PUSH_SHARE + _PUSH_SHARE_PER_MS2 * (period_s * 1e3) ** 2
    sigma = np.sqrt((2 * noise_m_s2) ** 2 + (share * pushed) ** 2 + _LEAST_M_S2**2)
    degree = 3 if before.sum() >= 9 else 2
    # of an axis at its limit the first sample counts, as it is, and none after it
    ends = [int(np.flatnonzero(full[:, k])[0]) + 1 if full[:, k].any() else len(u) for k in range(3)]
    touched = -1.5 * period_s - 4.2 * width_s - _EARLIER_S - 8 * width_s
    made = []
    for end in sorted(set(ends)):
        axes = [k for k in range(3) if ends[k] == end]
        if end > degree + 3 and (u[:end] > foot).sum() >= 2:
            made.append(_prepared(u[:end], f[:end, axes], sigma[axes], degree, touched))
    return made
