"""How still the bow was held, from the end of the draw to the release."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import Axes
from quiethand.shots.model import Hold

if TYPE_CHECKING:
    from quiethand.shots.candidate import Candidate

__all__ = ["measure_hold"]

TREMOR_HZ: Final = (6.0, 14.0)
_DRIFT_S: Final = 0.5
_LEAST_TREMOR_S: Final = 0.5
_THIN_S: Final = 5e-3
_GUARD_S: Final = 5e-3  # fingers begin to let go before the release


def measure_hold(
    candidate: Candidate, release_s: float, bias_rad_s: NDArray[np.float64]
) -> tuple[Hold, tuple[str, ...]]:
    """Hold figures in deg/s with the gyro's bias taken off, and notes on what is not known."""
    window = candidate.window
    time = window.gyro_time_s
    notes: list[str] = []
    start = candidate.draw_end_s
    duration = None
    if start is None or start >= release_s:
        notes.append("the end of the draw was not seen: length of the hold not known")
        start = max(float(time[0]), release_s - 2.0)
    else:
        duration = release_s - start
    rows = slice(*np.searchsorted(time, (start, release_s - _GUARD_S)).tolist())
    clean = ~window.gyro_clipped[rows]
    time, index, rate = time[rows], window.index[rows], window.rate_rad_s[rows].T  # an axis is a row
    if not clean.all():
        time, index, rate = time[clean], index[clean], rate[:, clean]
    if len(time) < 8:
        return Hold(duration_s=duration), (*notes, "too few samples in the hold")
    rate = np.rad2deg(rate - bias_rad_s[:, None])
    rms = np.sqrt(np.einsum("ij,ij->i", rate, rate) / len(time))
    last = int(np.searchsorted(time, release_s - _DRIFT_S))
    drift = np.full(3, np.nan)
    if last < len(time) and time[0] <= release_s - _DRIFT_S + 0.02:
        drift = rate[:, last:].mean(axis=1)
    if not np.isfinite(drift).all():
        notes.append("the hold was shorter than half a second: no drift")
    whole = _longest_whole(index)
    tremor = np.full(3, np.nan)
    if (whole.stop - whole.start) * window.period_s >= _LEAST_TREMOR_S:
        tremor = _band_rms(*_thinned(rate[:, whole], window.period_s))
    else:
        notes.append("the hold holds no half second without a gap: no tremor")
    return Hold(duration, Axes.of(rms), Axes.of(tremor), Axes.of(drift)), tuple(notes)


def _longest_whole(index: NDArray[np.int64]) -> slice:
    """The longest run of consecutive samples."""
    cuts = np.concatenate([[0], np.flatnonzero(np.diff(index) != 1) + 1, [len(index)]])
    longest = int(np.argmax(np.diff(cuts)))
    return slice(int(cuts[longest]), int(cuts[longest + 1]))


def _thinned(rate: NDArray[np.float64], period_s: float) -> tuple[NDArray[np.float64], float]:
    """Means over pieces of some 5 ms: tremor is slow, and a quarter of the samples of a quick sensor are plenty."""
    n = max(1, int(_THIN_S / period_s))
    count = rate.shape[1] // n
    return rate[:, : count * n].reshape(3, count, n).sum(axis=2) / n, n * period_s


def _band_rms(rate_deg_s: NDArray[np.float64], period_s: float) -> NDArray[np.float64]:
    """Root mean square within the tremor's band, by Parseval's theorem on a Hann-windowed spectrum, (3, n) to (3,)."""
    n = rate_deg_s.shape[1]
    x = np.linspace(-1, 1, n)
    slope = rate_deg_s @ x / (x @ x)
    flat = rate_deg_s - np.outer(slope, x) - rate_deg_s.mean(axis=1, keepdims=True)
    taper = np.hanning(n)
    spectrum = np.fft.rfft(flat * taper)
    hz = np.fft.rfftfreq(n, period_s)
    band = (hz >= TREMOR_HZ[0]) & (hz <= TREMOR_HZ[1])
    power = 2 * np.sum(np.abs(spectrum[:, band]) ** 2, axis=1) / n
    return np.asarray(np.sqrt(power / np.sum(taper**2)))
