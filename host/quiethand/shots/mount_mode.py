"""The lowest mode at which the sensor's seat rings after brace: frequency, damping, and how well one mode explains it.

A sum of damped swings that starts at sample 0 has the spectrum sum of r / (1 - z e^-iw), one pole z for each mode, the
same for all axes. Around a peak the other modes are smooth, a + b e^-iw, so that

    X(w) - z e^-iw X(w) = a' + b' e^-iw

is linear in what is sought: one division gives z (a local pole fit in the frequency domain, after Kumaresan and Tufts'
linear prediction, from memory). A decaying window keeps the shape and makes the end of the record not count; what it
adds to the damping is taken off. A riser rings too, and louder than a mount: so the lowest peak counts that stands out
from what lies beside it, not the loudest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from quiethand.shots.candidate import MotionWindow

__all__ = ["RING_SPAN_S", "MountMode", "mode_note", "mount_mode"]

RING_SPAN_S: Final = (3e-3, 0.25)  # seconds after departure
_SHORTEST_S: Final = 0.06
_BAND_HZ: Final = (16.0, 1000.0)  # below it swings the hand, and trembles the archer
_WINDOW_PER_S: Final = 14.0
_STEP_HZ: Final = 1.0
_TREND: Final = 5  # degree of what the hand does, taken off
# A peak counts that is this share of the loudest, in amplitude, stands that far over the gyro's noise, and is twice
# as high as what lies on either side.
_LEAST_SHARE: Final = 0.03
_OVER_NOISE: Final = 6.0
_PROMINENT: Final = 2.0
_LEAST_FIT: Final = 0.8
_LARGEST_RATIO: Final = 0.25
# Of the turn gained in the window that may not show. Risers with stabilizers ring from some 85 Hz on (emulated ones;
# not measured): a stricter share would warn of every bow.
_MISSING: Final = 0.07


@dataclass(frozen=True)
class MountMode:
    hz: float
    damping_ratio: float
    fit: float  # share of the spectrum around its peak that one mode explains, 0 to 1


def mount_mode(window: MotionWindow, departure_s: float, noise_rad_s: NDArray[np.float64]) -> MountMode | None:
    """The lowest mode that stands out in the gyro's ringing; None where none does.

    Args:
        noise_rad_s: standard deviation of one sample of the gyro, shape (3,).
    """
    time = window.gyro_time_s - departure_s
    rows = slice(*np.searchsorted(time, RING_SPAN_S).tolist())
    broken = np.flatnonzero((np.diff(window.index[rows]) != 1) | window.gyro_clipped[rows][1:])
    if len(broken):
        rows = slice(rows.start, rows.start + int(broken[0]) + 1)
    count = rows.stop - rows.start
    if count * window.period_s < _SHORTEST_S or count < 32:
        return None
    rate = window.rate_rad_s[rows].T  # an axis is a row
    trend = np.linalg.qr(np.vander(np.linspace(-1, 1, count), _TREND + 1))[0]
    fading = np.exp(-_WINDOW_PER_S * window.period_s * np.arange(count))
    n = 1 << int(np.ceil(np.log2(1 / (window.period_s * _STEP_HZ))))
    spectrum = np.fft.rfft((rate - (rate @ trend) @ trend.T) * fading, n=max(n, count), axis=1)
    step_hz = 1 / (window.period_s * max(n, count))
    power = np.sum(spectrum.real**2 + spectrum.imag**2, axis=0)
    top = min(_BAND_HZ[1], 0.4 / window.period_s)
    low, high = int(np.ceil(_BAND_HZ[0] / step_hz)), int(top / step_hz)
    noise = float(np.sum(noise_rad_s**2) * np.sum(fading**2))
    least = max(_OVER_NOISE**2 * noise, _LEAST_SHARE**2 * float(power[low:high].max(initial=0.0)))
    for peak in _peaks(power, low, high):
        if power[peak] < least:
            continue
        mode = _pole(spectrum, peak, step_hz, window.period_s)
        if mode is not None and _BAND_HZ[0] < mode.hz < top:
            return mode
    return None


def _peaks(power: NDArray[np.float64], low: int, high: int) -> list[int]:
    """Bins of the peaks in the band that stand out on either side, the lowest first."""
    inner = power[low:high]
    turns = np.flatnonzero((inner[1:-1] > inner[:-2]) & (inner[1:-1] >= inner[2:])) + 1
    dips = np.minimum.reduceat(inner, np.concatenate([[0], turns]))
    stands_out = inner[turns] > _PROMINENT * np.maximum(dips[:-1], dips[1:])
    return [low + int(turn) for turn in turns[stands_out]]


def _pole(spectrum: NDArray[np.complex128], peak: int, step_hz: float, period_s: float) -> MountMode | None:
    """The pole behind one peak of a spectrum (axes, bins)."""
    reach = max(3, round(max(3.0, 0.06 * peak * step_hz) / step_hz))
    bins = np.arange(max(1, peak - reach), min(spectrum.shape[1], peak + reach + 1))
    turn = np.exp(-2j * np.pi * step_hz * period_s * bins)
    near = spectrum[:, bins]
    smooth = np.linalg.qr(np.stack([np.ones(len(bins)), turn], axis=1))[0]

    def rough(x: NDArray[np.complex128]) -> NDArray[np.complex128]:
        return np.asarray(x - (x @ smooth.conj()) @ smooth.T)

    turned, plain = rough(near * turn), rough(near)
    pole = complex(np.vdot(turned, plain) / np.vdot(turned, turned))
    shape = rough(1 / (1 - pole * turn)[None])[0]
    left = plain - (plain @ shape.conj())[:, None] * shape / np.vdot(shape, shape)
    fit = 1 - float(np.vdot(left, left).real / np.vdot(plain, plain).real)
    swing = np.log(pole) / period_s
    damping, turning = -swing.real - _WINDOW_PER_S, swing.imag
    ratio = damping / float(np.hypot(damping, turning))
    if not (0 < ratio < _LARGEST_RATIO and fit >= _LEAST_FIT):
        return None
    return MountMode(turning / (2 * np.pi), ratio, fit)


def mode_note(mode: MountMode | None, time_on_string_s: float) -> str | None:
    """A warning where the mode is too low for the window to be trusted.

    From rest, a seat of angular frequency w that hardly damps lags behind a steady torque's turn by up to 4 / (w t)^2
    of the angle gained, 2 (1 - cos w t) / (w t)^2 at most.
    """
    if mode is None:
        return None
    needed_hz = 1 / (np.pi * time_on_string_s * np.sqrt(_MISSING))
    if mode.hz >= needed_hz:
        return None
    missing = min(1.0, (1 / (np.pi * mode.hz * time_on_string_s)) ** 2)
    return (
        f"the sensor's seat rings at {mode.hz:.0f} Hz: up to {100 * missing:.0f} % of the turn in the window may not"
        f" show; it can be trusted from {needed_hz:.0f} Hz on, so mount the sensor more stiffly"
    )
