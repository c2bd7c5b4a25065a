"""Fewer points for a screen, with every peak kept."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

__all__ = ["MOST_POINTS", "keep_peaks", "within"]

# A panel is some 400 to 1,300 pixels wide; two points a pixel show all that can be seen.
MOST_POINTS = 1200


def keep_peaks(values: NDArray[np.floating], most: int = MOST_POINTS) -> NDArray[np.intp]:
    """Which samples to draw: shape (k,), k <= `most`, rising; all of them where there are no more than `most`.

    The samples are cut into equal runs, and of each run its lowest and its highest stay, with the first and the last
    sample of all: what a line through all samples would cover on a screen, this covers too. Every n-th sample would
    lose the peaks.
    """
    count = len(values)
    if count <= most:
        return np.arange(count)
    runs = max((most - 2) // 2, 1)
    edges = np.linspace(0, count, runs + 1).astype(np.intp)
    low = np.where(np.isfinite(values), values, np.inf)
    high = np.where(np.isfinite(values), values, -np.inf)
    kept = [0, count - 1]
    for start, end in itertools.pairwise(edges):
        kept.append(start + int(np.argmin(low[start:end])))
        kept.append(start + int(np.argmax(high[start:end])))
    return np.unique(np.array(kept, dtype=np.intp))


def within(ms: NDArray[np.floating], values: NDArray[np.floating], start: float, end: float) -> tuple[float, float]:
    """The lowest and highest finite value between two instants; (nan, nan) where there is none."""
    inside = values[(ms >= start) & (ms <= end) & np.isfinite(values)]
    return (float(inside.min()), float(inside.max())) if len(inside) else (np.nan, np.nan)
