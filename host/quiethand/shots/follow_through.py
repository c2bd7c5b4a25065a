"""After the departure: the hand as a spring and damper, and the ringing of the sensor's mount.

With the torque of the hand -k (angle - rest) - c w and a steady one besides, I dw/dt integrated once from a time t0 is

    w(t) = w(t0) - (c/I) angle(t) - (k/I) integral of angle + a t

which is linear in what is sought and needs no slope of a noisy rate. It is only told where it fits well.
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

__all__ = ["RING_SPAN_S", "SWING_SPAN_S", "measure_follow_through", "mount_mode"]

_SPANS_S: Final = ((0.04, 0.30), (0.03, 0.20))
_LARGEST_CHANGE: Final = 0.15
_LARGEST_RATIO_CHANGE: Final = 0.15
# A hand is no perfect spring, and both stretches may be off together: told stiffnesses of simulated hands were 15 % off
# (median; host/METHOD.md), far more than their fits' own uncertainty.
_MODEL_SHARE: Final = 0.2
_SMOOTH_S: Final = 0.02
# A fit is told where stiffness stands eight of its uncertainties above nothing and the rate is explained to 99.5 %.
_LEAST_RATIO: Final = 8.0
_LEAST_EXPLAINED: Final = 0.995
# What moves the bow besides, tremor and the archer's aim, must be small against the swing itself.
_LEAST_SWING: Final = 8.0
_RING_FROM_S: Final = 3e-3
_RING_TO_S: Final = 0.09
_RING_HZ: Final = (40.0, 1000.0)
# Seconds after departure that the figures rest on, for whoever explains them.
SWING_SPAN_S: Final = (min(start for start, _ in _SPANS_S), max(end for _, end in _SPANS_S))
RING_SPAN_S: Final = (_RING_FROM_S, _RING_TO_S)


def measure_follow_through(
    window: MotionWindow, departure_s: float, bias_rad_s: NDArray[np.float64], inertia_kg_m2: NDArray[np.float64] | None
) -> tuple[FollowThrough, tuple[str, ...]]:
    """Stiffness and damping of the hand and the mount's lowest mode; notes say why a figure is absent."""
    notes: list[str] = []
    mode_hz, mode_damping = mount_mode(window, departure_s)
    stiffness, sigma, damping = np.full(3, np.nan), np.full(3, np.nan), np.full(3, np.nan)
    if inertia_kg_m2 is None:
        notes.append("no measured inertia: no torque and no stiffness of the hand")
    else:
        swings = [_swing(window, departure_s, bias_rad_s, *span) for span in _SPANS_S]
        poor = []
        for k in range(3):
            found = _spring(swings, k)
            if found is None:
                poor.append(AXIS_NAMES[k])
                continue
            stiffness[k] = found[0] * inertia_kg_m2[k]
            sigma[k] = found[1] * inertia_kg_m2[k]
            damping[k] = found[2]
        if poor:
            notes.append(f"the hand's stiffness is not told for {', '.join(poor)}: no one spring and damper fits")
    axes = (Axes.of(stiffness), Axes.of(sigma), Axes.of(damping))
    return FollowThrough(*axes, mode_hz, mode_damping), tuple(notes)


@dataclass(frozen=True)
class _Swing:
    """Rates over one stretch after the departure, smoothed; an axis is a row."""

    time_s: NDArray[np.float64]  # (n,)
    rate_rad_s: NDArray[np.float64]  # (3, n)
    strong: tuple[bool, ...]  # of each axis: it swings by far more than it trembled before the shot
    smoothed_over: int  # samples


def _spring(swings: list[_Swing | None], axis: int) -> tuple[float, float, float] | None:
    """(k/I, its sigma, damping ratio) of one axis; None where the fit is poor or depends on where it is made."""
    fits = []
    for swing in swings:
        fit = None if swing is None else _spring_over(swing, axis)
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


def _swing(
    window: MotionWindow, departure_s: float, bias_rad_s: NDArray[np.float64], from_s: float, to_s: float
) -> _Swing | None:
    """What the fits over one stretch after the departure need; None where it is not there whole."""
    time = window.gyro_time_s - departure_s
    rows = slice(*np.searchsorted(time, (from_s - _SMOOTH_S, to_s + _SMOOTH_S)).tolist())
    t = time[rows]
    if len(t) < 30 or t[-1] < to_s or np.any(np.diff(window.index[rows]) != 1) or window.gyro_clipped[rows].any():
        return None
    earlier = slice(*np.searchsorted(time, (-0.15, -0.03)).tolist())
    w, before = ((window.rate_rad_s[part] - bias_rad_s).T for part in (rows, earlier))
    if before.shape[1] < 8:
        return None
    strong = np.mean(w**2, axis=1) >= _LEAST_SWING**2 * np.mean(before**2, axis=1)
    n = max(3, round(_SMOOTH_S / window.period_s))
    taper = np.hanning(n + 2)[1:-1]
    smooth = np.stack([np.convolve(row, taper / taper.sum(), mode="valid") for row in w])
    t = t[(n - 1) // 2 : (n - 1) // 2 + smooth.shape[1]] + (0.5 * window.period_s if n % 2 == 0 else 0.0)
    return _Swing(t, smooth, tuple(strong.tolist()), n)


def _spring_over(swing: _Swing, axis: int) -> tuple[float, float, float] | None:
    """The fit of one axis over one stretch."""
    if not swing.strong[axis]:
        return None
    t, w = swing.time_s, swing.rate_rad_s[axis]
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
    if per_spring <= 0 or per_spring < _LEAST_RATIO * sigma or explained < _LEAST_EXPLAINED or per_damper < 0:
        return None
    return per_spring, sigma, per_damper / (2 * np.sqrt(per_spring))


def mount_mode(window: MotionWindow, departure_s: float) -> tuple[float | None, float | None]:
    """Frequency and damping ratio of the lowest strong mode in the ringing after brace; None where none stands out."""
    time = window.gyro_time_s - departure_s
    at = np.flatnonzero((time > _RING_FROM_S) & (time < _RING_TO_S))
    if len(at) < 32 or np.any(np.diff(window.index[at]) != 1):
        return None, None
    w = window.rate_rad_s[at]
    x = np.linspace(-1, 1, len(at))
    w = w - np.vander(x, 4) @ np.polyfit(x, w, 3)
    n = 8 * len(at)
    spectrum = np.fft.rfft(w * np.hanning(len(at))[:, None], n=n, axis=0)
    hz = np.fft.rfftfreq(n, window.period_s)
    power = np.sum(np.abs(spectrum) ** 2, axis=1)
    inside = (hz > _RING_HZ[0]) & (hz < min(_RING_HZ[1], 0.4 / window.period_s))
    if not inside.any():
        return None, None
    peak = (power[1:-1] > power[:-2]) & (power[1:-1] > power[2:]) & inside[1:-1]
    strong = np.flatnonzero(peak & (power[1:-1] > 0.2 * power[inside].max())) + 1
    if len(strong) == 0:
        return None, None
    frequency = float(hz[strong[0]])
    axis = int(np.argmax(np.abs(spectrum[strong[0]])))
    # the envelope, by mixing down and averaging over two periods, falls as exp(-2 pi f zeta t)
    mixed = w[:, axis] * np.exp(-2j * np.pi * frequency * time[at])
    span = max(3, round(2 / frequency / window.period_s))
    envelope = np.abs(np.convolve(mixed, np.ones(span) / span, mode="valid"))
    keep = envelope > 0.1 * envelope.max()
    t = time[at][: len(envelope)]
    if keep.sum() < 5:
        return frequency, None
    slope = float(np.polyfit(t[keep], np.log(envelope[keep]), 1)[0])
    damping = -slope / (2 * np.pi * frequency)
    return frequency, damping if 0 < damping < 0.5 else None
