"""How much the bow is shaken, apart from how it is turned: what is left of specific force over a fifth of a second."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["SWAY_S", "sway"]

SWAY_S = 0.2  # two cycles of tremor; a bow raised at 80 deg/s bends away from a straight line by 0.01 g in it


def sway(force_m_s2: NDArray[np.float64], width: int, stride: int) -> NDArray[np.float64]:
    """Root mean square of specific force about its straight line in windows of `width` rows every `stride` rows.

    Args:
        force_m_s2: shape (n, 3), evenly spaced.
        width: rows in a window, 3 or more.
        stride: rows from one window's start to the next.

    Returns:
        m/s2, all three axes together, shape ((n - width) // stride + 1,); empty if n < width.
    """
    if len(force_m_s2) < width:
        return np.empty(0)
    windows = np.lib.stride_tricks.sliding_window_view(force_m_s2, width, axis=0)[::stride]  # (k, 3, width)
    rows = windows.reshape(-1, width)  # a copy: what overlaps is read three times, quicker from rows of its own
    x = np.arange(width) - (width - 1) / 2
    mean, slope = (rows @ np.column_stack([np.full(width, 1 / width), x / (x @ x)])).T
    square = np.einsum("ij,ij->i", rows, rows) / width - mean**2 - slope**2 * (x @ x) / width
    return np.asarray(np.sqrt(np.maximum(square, 0.0).reshape(-1, 3).sum(axis=1)))
