"""The push as the accelerometer shows it: its change from the hold's, its impulse, and its course along the arrow."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.shots.budget import GRAVITY_M_S2
from quiethand.shots.middle import median

if TYPE_CHECKING:
    from quiethand.shots.candidate import MotionWindow
    from quiethand.shots.timing import Instants

__all__ = ["along_the_arrow", "impulse_and_change", "pushed"]

_USUAL_PUSH_M_S2: Final = 20.0


def pushed(
    window: MotionWindow, instants: Instants, from_s: float = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Times and change of specific force from the hold's, from some time after the release and clear of the shock."""
    t = window.accel_time_s
    at = (t > instants.release_s + from_s) & (window.time_s < instants.first_break_s)
    hold = (t > instants.release_s - 50e-3) & (t < instants.release_s - 5e-3)
    force = window.specific_force_m_s2
    level = median(force[hold]) if hold.any() else np.array([0.0, 0.0, GRAVITY_M_S2])
    return t[at], force[at] - level


def impulse_and_change(window: MotionWindow, instants: Instants) -> tuple[float, float]:
    """Sizes of the impulse over the window, m/s, and of the last change seen, m/s2; usual ones where nothing is."""
    t, change = pushed(window, instants)
    last = float(np.linalg.norm(change[-1])) if len(t) else _USUAL_PUSH_M_S2
    if len(t) < 2:
        return _USUAL_PUSH_M_S2 * instants.time_on_string_s, last
    step = np.diff(t)[:, None]
    return float(np.linalg.norm(np.sum((change[1:] + change[:-1]) / 2 * step, axis=0))), last


def along_the_arrow(window: MotionWindow, instants: Instants, u_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Change of specific force along the arrow at times since the release (n,), on to the departure as it was going."""
    t, change = pushed(window, instants, from_s=-30e-3)
    if len(t) < 4:
        return np.zeros(len(u_s))
    seen = np.interp(u_s, t - instants.release_s, change[:, 0])
    last = t > t[-1] - max(1e-3, 2.5 * window.period_s)
    slope, level = np.polyfit(t[last] - t[-1], change[last, 0], 1)
    end = t[-1] - instants.release_s
    return np.asarray(np.where(u_s > end, level + slope * (u_s - end), seen))
