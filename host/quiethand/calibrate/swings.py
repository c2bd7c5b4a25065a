"""Free swings found in a recording, and their period by a fit of a damped sine."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.calibrate.cells import Cells
from quiethand.errors import InputError

__all__ = ["SwingFit", "find_swings", "fit_damped_sine"]

Floats = NDArray[np.float64]

LEAST_SWINGS: Final = 5
MOST_AMPLITUDE_DEG: Final = 15.0
_LEAST_RATE_RAD_S: Final = float(np.deg2rad(1.5))
_PERIODS_S: Final = (0.25, 20.0)
_SAME_PERIOD: Final = 0.06
_MOST_LEFT: Final = 0.08  # of the amplitude; a pendulum's swing on top is what mostly is left
_UPRIGHT_M_S2: Final = 1.0


@dataclass(frozen=True)
class SwingFit:
    """w = c + exp(-decay t) (a cos + b sin) of the rate about the upright axis."""

    period_s: float  # damped, as seen
    period_sigma_s: float
    decay_per_s: float
    swings: float  # whole ones, there and back, in the stretch that was fitted
    amplitude_rad: float  # of the angle, at the start of that stretch
    mean_square_rad2: float  # of the amplitude, each time with the say that it has in the period
    left_over: float  # rms of what the fit leaves, over the rms of the swing
    start_s: float
    end_s: float
    up: Floats  # (3,) unit vector of the upright axis in the axes of the cells

    @property
    def amplitude_deg(self) -> float:
        return float(np.rad2deg(self.amplitude_rad))


def find_swings(cells: Cells) -> SwingFit:
    """The longest run of regular swings in a recording, too large ones at its beginning left out.

    Raises:
        InputError: none, too few, too large, or no clean swing about the upright axis.
    """
    best: tuple[int, int] | None = None
    starts = np.flatnonzero(cells.begins).tolist()
    for first, last in zip(starts, [*starts[1:], len(cells)], strict=True):
        run = _regular_run(_about_upright(cells, slice(first, last)), cells.span_s)
        if run is not None and (best is None or run[1] - run[0] > best[1] - best[0]):
            best = (first + run[0], first + run[1])
    if best is None:
        raise InputError(
            "no swings to be found",
            do="hang the bow from two cords, turn it by some 10 deg about the upright axis, let go, and record 60 s",
        )
    part = slice(*best)
    if cells.clipped[part].any():
        raise InputError("the sensor reads full scale during the swings", do="choose a larger range, or swing less")
    fit = _fitted(cells, part)
    if fit.amplitude_deg > MOST_AMPLITUDE_DEG:
        part = _smaller(cells, part, fit)
        fit = _fitted(cells, part)
    return fit


def _smaller(cells: Cells, part: slice, fit: SwingFit) -> slice:
    """What is left of the run once the swings are small enough."""
    most = np.deg2rad(MOST_AMPLITUDE_DEG)
    wait_s = np.log(fit.amplitude_rad / most) / fit.decay_per_s if fit.decay_per_s > 0 else np.inf
    later = fit.start_s + wait_s + 0.05 * fit.period_s
    if not later < fit.end_s - LEAST_SWINGS * fit.period_s:
        raise InputError(
            f"the swings are too large: {fit.amplitude_deg:.0f} deg to either side where {MOST_AMPLITUDE_DEG:g} is the "
            "most that keeps the period",
            do="turn the bow by some 10 deg and let go, or record until the swings have died down",
        )
    return slice(part.start + int(np.searchsorted(cells.time_s[part], later)), part.stop)


def _fitted(cells: Cells, part: slice) -> SwingFit:
    force = cells.force_m_s2[part]
    mean = force.mean(axis=0)
    if np.linalg.norm(force - mean, axis=1).mean() > _UPRIGHT_M_S2:
        raise InputError(
            "the bow tumbles or bounces on its cords while it swings",
            do="let it hang still first, then turn it about the upright axis alone",
        )
    up = mean / np.linalg.norm(mean)
    time, rate = cells.time_s[part], cells.rate_rad_s[part]
    fit = fit_damped_sine(time, rate @ up, up)
    if fit.swings < LEAST_SWINGS:
        raise InputError(
            f"only {fit.swings:.1f} swings in a row", do=f"let it swing freely {LEAST_SWINGS} times and more, best 20"
        )
    across = rate - np.outer(rate @ up, up)
    stray = float(np.sqrt(np.mean(np.sum((across - across.mean(axis=0)) ** 2, axis=1)) / np.var(rate @ up)))
    if stray > 0.5:
        raise InputError(
            f"the bow turns about level axes too, {100 * stray:.0f} % of the upright one",
            do="hang it level between the cords, and turn it about the upright axis alone",
        )
    if fit.left_over > _MOST_LEFT:
        raise InputError(
            f"the swing is not clean: {100 * fit.left_over:.0f} % of it is no damped sine",
            do="shelter it from draught, let it hang still first, and do not touch it while it swings",
        )
    return fit


def _about_upright(cells: Cells, part: slice) -> Floats:
    up = np.median(cells.force_m_s2[part], axis=0)
    return np.asarray(cells.rate_rad_s[part] @ (up / max(float(np.linalg.norm(up)), 1e-9)))


def _regular_run(rate: Floats, span_s: float) -> tuple[int, int] | None:
    """First and last cell of the longest run of whole periods that are alike, their amplitude not growing.

    Whole periods, from a rise through the middle to the next: a constant bias makes halves unlike, but no wholes.
    """
    width = max(1, round(0.05 / span_s))
    if len(rate) < 4 * width:
        return None
    smooth = np.convolve(rate - np.median(rate), np.ones(width) / width, mode="same")
    # noise near the middle crosses it many times: only what has left it on either side counts
    noise = float(np.median(np.abs(np.diff(rate)))) / 0.6745 / np.sqrt(2 * width)
    clear = np.flatnonzero(np.abs(smooth) > max(4 * noise, 0.4 * _LEAST_RATE_RAD_S))
    if len(clear) < 4:
        return None
    sign = np.sign(smooth[clear])
    rises = np.flatnonzero((sign[1:] > 0) & (sign[:-1] < 0))
    if len(rises) < 3:
        return None
    low, high = clear[rises], clear[rises + 1]
    at = low + (high - low) * -smooth[low] / (smooth[high] - smooth[low])
    period = np.diff(at) * span_s
    size = np.array([np.ptp(smooth[int(a) : int(b) + 1]) / 2 for a, b in pairwise(at)])
    good = (period > _PERIODS_S[0]) & (period < _PERIODS_S[1]) & (size > _LEAST_RATE_RAD_S)
    longest = (0, 0)
    begin = 0
    for i in range(len(period)):
        alike = (
            i > begin
            and abs(period[i] / np.median(period[begin:i]) - 1) < _SAME_PERIOD
            and 0.5 < size[i] / size[i - 1] < 1.08
        )
        if not (good[i] and alike):
            begin = i if good[i] else i + 1
        if i + 1 - begin > longest[1] - longest[0]:
            longest = (begin, i + 1)
    if longest[1] - longest[0] < 2:
        return None
    return int(np.ceil(at[longest[0]])), int(at[longest[1]]) + 1


def fit_damped_sine(time_s: Floats, rate_rad_s: Floats, up: Floats | None = None) -> SwingFit:
    """Least squares of c + exp(-decay t) (a cos W t + b sin W t) by Gauss and Newton, from the spectrum's peak.

    Args:
        time_s: shape (n,), evenly spaced, some periods long.
        rate_rad_s: shape (n,).
        up: noted in the result.
    """
    t = time_s - time_s[0]
    step = float(np.median(np.diff(t)))
    w = rate_rad_s - rate_rad_s.mean()
    n = 1 << (8 * len(w) - 1).bit_length()
    spectrum = np.abs(np.fft.rfft(w * np.hanning(len(w)), n))
    turning = float(2 * np.pi * np.fft.rfftfreq(n, step)[1 + int(np.argmax(spectrum[1:]))])
    half = len(w) // 2
    fall = np.log(max(float(np.std(w[:half])), 1e-12) / max(float(np.std(w[half:])), 1e-12)) / max(t[half], 1e-9)
    decay = max(float(fall), 0.0)
    for _ in range(40):
        grown = np.exp(-decay * t)
        cos, sin = grown * np.cos(turning * t), grown * np.sin(turning * t)
        columns = np.column_stack([np.ones_like(t), cos, sin])
        (c, a, b), *_ = np.linalg.lstsq(columns, rate_rad_s, rcond=None)
        swing = a * cos + b * sin
        slope = np.column_stack([columns, t * (b * cos - a * sin), -t * swing])
        left = rate_rad_s - c - swing
        change, *_ = np.linalg.lstsq(slope, left, rcond=None)
        turning, decay = turning + float(change[3]), decay + float(change[4])
        if abs(change[3]) < 1e-10 * turning and abs(change[4]) < 1e-10 * turning:
            break
    variance = float(np.mean(left**2)) * _shared(left)
    covariance = np.linalg.inv(slope.T @ slope) * variance * len(t) / max(len(t) - 5, 1)
    period = 2 * np.pi / turning
    amplitude = float(np.hypot(a, b)) / turning
    return SwingFit(
        period_s=period,
        period_sigma_s=period / turning * float(np.sqrt(covariance[3, 3])),
        decay_per_s=decay,
        swings=float(t[-1] + step) / period,
        amplitude_rad=amplitude,
        mean_square_rad2=amplitude**2 * _mean_square(t, decay),
        left_over=float(np.sqrt(np.mean(left**2)) / max(float(np.sqrt(np.mean(swing**2))), 1e-12)),
        start_s=float(time_s[0]),
        end_s=float(time_s[-1]),
        up=np.full(3, np.nan) if up is None else up,
    )


def _mean_square(t: Floats, decay: float) -> float:
    """Mean of exp(-2 decay t) as the fitted period sees it.

    The period is the slope of a line through the phase, weighted by energy e. A change of turning at a time moves all
    later phases alike, so its say is the sum of e (t - mean t) over what follows.
    """
    energy = np.exp(-2 * decay * t)
    say = np.cumsum((energy * (t - np.average(t, weights=energy)))[::-1])[::-1]
    return float(np.sum(say * energy) / np.sum(say))


def _shared(left: Floats) -> float:
    """How many neighbours share what is left over: the sum of its autocorrelation up to the first zero, both ways."""
    spectrum = np.abs(np.fft.rfft(left - left.mean(), 2 * len(left))) ** 2
    correlation = np.fft.irfft(spectrum)[: len(left) // 2]
    if correlation[0] <= 0:
        return 1.0
    correlation = correlation / correlation[0]
    below = np.flatnonzero(correlation <= 0)
    until = int(below[0]) if len(below) else len(correlation)
    return float(1 + 2 * np.sum(correlation[1:until]))
