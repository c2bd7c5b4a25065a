"""The bow frame's three axes of rotation, by the names that the trade uses.

Right-handed, x towards the target along the arrow, y to the archer's left, z up. Cant turns about x (+ top limb to
the archer's right), pitch about y (+ nose down), yaw about z (+ nose left).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["AXIS_NAMES", "Axes"]

AXIS_NAMES: Final = ("cant", "pitch", "yaw")


@dataclass(frozen=True, slots=True)
class Axes:
    """One figure for each axis, in the unit that the field's name states; None where it is not known."""

    cant: float | None = None
    pitch: float | None = None
    yaw: float | None = None

    def __iter__(self) -> Iterator[float | None]:
        yield self.cant
        yield self.pitch
        yield self.yaw

    @classmethod
    def of(cls, values: Sequence[float] | NDArray[np.floating]) -> Axes:
        """From three numbers, shape (3,); what is not finite becomes None."""
        cant, pitch, yaw = (v if math.isfinite(v) else None for v in map(float, values))
        return cls(cant, pitch, yaw)

    def array(self) -> NDArray[np.float64]:
        """Shape (3,), NaN where a figure is not known."""
        return np.array([np.nan if v is None else v for v in self], dtype=np.float64)
