"""The median without numpy's look for NaN: a third of its time for some hundred samples, and fewer imports.

Its masked arrays are 20 ms of a program's start, and one shot asks for a dozen medians.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["median"]


def median(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Along the first axis of one row or more, none of it NaN: shape (n, ...) to (...)."""
    half = len(values) // 2
    if len(values) % 2:
        return np.asarray(np.partition(values, half, axis=0)[half])
    parted = np.partition(values, (half - 1, half), axis=0)
    return np.asarray(0.5 * (parted[half - 1] + parted[half]))
