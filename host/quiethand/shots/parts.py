"""Where the rotation at departure came from: carried in, struck, pressed. The three add up to the whole.

Carried in is the rate at the release times the time on the string. Struck is what the blow's impulse after the release
(the string hand's pluck, a jump of the grip, over within 4 ms) turns a free bow until departure. Pressed is the rest.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import Axes
from quiethand.shots.model import Parts
from quiethand.shots.window_rate import WindowRate

__all__ = ["LATE_BLOW_RAD_S", "split_rotation"]

# From fingers the blow is fitted about the release. What is left of it comes later, over milliseconds, where a torque
# that lasts turns the bow alike: about the vertical 1 mN m s of a blow may pass for pressing, or pressing for a blow.
LATE_BLOW_RAD_S: Final = np.deg2rad([0.0, 0.0, 0.15])
_LATE_S: Final = 1.5e-3


def split_rotation(
    fit: WindowRate,
    rotation_rad: NDArray[np.float64],
    rotation_sigma_rad: NDArray[np.float64],
    *,
    total_s: float,
    total_sigma_s: float,
    release_sigma_s: float,
    bias_sigma_rad_s: NDArray[np.float64],
    fingers: bool,
) -> Parts:
    """Parts in degrees from the fitted rate and the rotation at departure, both (3,) in rad."""
    before, at_release, after = fit.rows(np.array([-0.5e-3, 0.0, 0.5e-3]))
    rate0 = at_release @ fit.weights
    slope0 = (after - before) @ fit.weights / 1e-3
    carried = rate0 * total_s
    carried_sigma = np.sqrt(
        (fit.sigma(at_release) ** 2 + bias_sigma_rad_s**2 + (slope0 * release_sigma_s) ** 2) * total_s**2
        + (rate0 * total_sigma_s) ** 2
    )
    # integral of S(u) - S(0) over the window: seconds that a rate given after the release turns the bow
    within = fit.u_s >= 0
    gained = fit.blow[within] - at_release[-1]
    step = np.diff(fit.u_s[within])
    lever_s = float(np.sum((gained[1:] + gained[:-1]) / 2 * step))
    blow = fit.weights[-1]
    blow_sigma = np.sqrt(fit.covariance[:, -1, -1])
    struck = blow * lever_s
    # an instant that is off by a little moves the share of the blow that counts
    share_slope = abs(float(after[-1] - before[-1])) / 1e-3
    struck_sigma = np.hypot(blow_sigma * lever_s, blow * share_slope * release_sigma_s * total_s)
    if fingers:
        struck_sigma = np.hypot(struck_sigma, LATE_BLOW_RAD_S * max(total_s - _LATE_S, 0.0))
    pressed = rotation_rad - carried - struck
    pressed_sigma = np.sqrt(carried_sigma**2 + struck_sigma**2 + rotation_sigma_rad**2)
    return Parts(
        Axes.of(np.rad2deg(carried)),
        Axes.of(np.rad2deg(struck)),
        Axes.of(np.rad2deg(pressed)),
        Axes.of(np.rad2deg(carried_sigma)),
        Axes.of(np.rad2deg(struck_sigma)),
        Axes.of(np.rad2deg(pressed_sigma)),
    )
