"""How a sensor shows the first millisecond of a shock: a family of courses, told by a few numbers each.

A structure that is struck rings in many modes at once, 80 Hz to 1 kHz, each with a size and sign of its own. Struck by
a stop, acceleration leaps (cosines); struck through something that gives, it starts from nothing (sines). Of many such
sums with independent sizes the few courses are kept that make up nearly all of them (principal components), each
scaled to the size it has in a shock of unit size, so that a shock is a vector of independent numbers of one variance.

Two filters stand for those that sensors have: one that answers before and after alike, and a second-order Butterworth,
which is quick to start and slow to settle. Either is placed by its own delay for slow motion.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["COURSES", "Course", "course"]

_STEP_S: Final = 1e-5
_LASTS_S: Final = 2.2e-3  # what the courses are made to tell
_FREQUENCIES_HZ: Final = np.geomspace(80.0, 1100.0, 24)
_DAMPING: Final = 0.04
_MOST: Final = 6
# A low-pass of -3 dB bandwidth B has this over B as the standard deviation of its answer's slope (see `rise_sigma_s`).
_WIDTH_HZ: Final = 0.137
COURSES: Final = tuple((leaps, symmetric) for leaps in (False, True) for symmetric in (True, False))


class Course:
    """The courses of one kind of shock through one filter.

    Attributes:
        start_s: first time of the table, after the onset less the filter's delay (so mostly negative).
        table: (g, m), even steps of `step_s`.
    """

    step_s: float = _STEP_S

    def __init__(self, start_s: float, table: NDArray[np.float64]) -> None:
        self.start_s, self.table = start_s, table

    def at(self, since_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """The courses at times after the onset, delay taken off, any shape (...,) to (..., m)."""
        place = np.clip((since_s - self.start_s) / _STEP_S, 0.0, len(self.table) - 1.001)
        low = place.astype(np.intp)
        part = (place - low)[..., None]
        found: NDArray[np.float64] = self.table[low] * (1 - part) + self.table[low + 1] * part
        return found


def _answer(symmetric: bool, width_s: float) -> tuple[int, NDArray[np.float64]]:
    """A filter's answer to an impulse on steps of `_STEP_S` and the step it begins at, its mean at 0."""
    n = int(8 * width_s / _STEP_S) + 2
    t = np.arange(-n, n + 1) * _STEP_S
    if symmetric:
        answer = np.exp(-0.5 * (t / width_s) ** 2)
    else:
        omega = 2 * np.pi * _WIDTH_HZ / width_s
        since = t + np.sqrt(2) / omega
        x = np.maximum(since, 0.0) * omega / np.sqrt(2)
        answer = np.exp(-x) * np.sin(x)
    return -n, answer / answer.sum()


@lru_cache(maxsize=32)
def course(leaps: bool, symmetric: bool, width_us: int) -> Course:
    """The courses of a shock that leaps or starts from nothing, through a filter of that width."""
    begin, answer = _answer(symmetric, width_us * 1e-6)
    t = np.arange(int((_LASTS_S + 2e-3) / _STEP_S) - begin) * _STEP_S
    omega = 2 * np.pi * _FREQUENCIES_HZ
    wave = (np.cos if leaps else np.sin)(np.outer(t, omega)) * np.exp(-_DAMPING * np.outer(t, omega))
    size = 1 << int(np.ceil(np.log2(len(t) + len(answer))))
    spectrum = np.fft.rfft(wave, size, axis=0) * np.fft.rfft(answer, size)[:, None]
    shown = np.fft.irfft(spectrum, size, axis=0)[: len(t)] * np.sqrt(2 / len(omega))
    start_s = begin * _STEP_S
    used = start_s + np.arange(len(shown)) * _STEP_S < _LASTS_S
    _, axes = np.linalg.eigh(shown[used].T @ shown[used])
    table = shown @ axes[:, ::-1][:, :_MOST]
    table[0] = 0.0  # before the onset nothing, also where a table is read at its edge
    return Course(start_s, np.ascontiguousarray(table))
