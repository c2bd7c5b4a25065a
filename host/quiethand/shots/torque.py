"""Torque on the bow about its centre of mass, I dw/dt + w x I w, from measured inertia and the fitted rate.

The angular impulse over the window is the robust figure: it needs the rates at both ends alone. Peak torque is the
fragile one: it is the steepest slope of a model fitted to noisy rates.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import Axes
from quiethand.shots.model import Window
from quiethand.shots.parts import LATE_BLOW_RAD_S
from quiethand.shots.window_rate import WindowRate

__all__ = ["torque_nm", "window_figures"]

_COURSE_SHARE: Final = 0.06  # of its size, by which the string's push is off its model (as in `timing_push`)
_BLOW_LASTS_S: Final = 3e-3  # a blow's mean torque is its angular impulse over this


def torque_nm(
    rate_rad_s: NDArray[np.float64], acceleration_rad_s2: NDArray[np.float64], inertia_kg_m2: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Euler's equation in principal axes: rates and angular accelerations (n, 3), inertia (3,); torque (n, 3)."""
    return acceleration_rad_s2 * inertia_kg_m2 + np.cross(rate_rad_s, rate_rad_s * inertia_kg_m2)


def window_figures(
    fit: WindowRate,
    *,
    total_s: float,
    total_sigma_s: float,
    inertia_kg_m2: NDArray[np.float64] | None,
    fingers: bool,
) -> Window:
    """Peak rate, and torque where the inertia is known."""
    u = np.linspace(0.0, total_s, 61)
    rate = fit.rate(u)
    peak_rate = Axes.of(np.rad2deg(np.abs(rate).max(axis=0)))
    if inertia_kg_m2 is None:
        return Window(peak_rate_deg_s=peak_rate)
    rows = fit.rows(u)
    slope_rows = np.gradient(rows, u, axis=0)
    acceleration = slope_rows @ fit.weights
    torque = torque_nm(rate, acceleration, inertia_kg_m2)
    at = np.abs(torque).argmax(axis=0)
    axis = np.arange(3)
    peak_sigma = np.array([fit.sigma(slope_rows[i])[k] for k, i in enumerate(at)]) * inertia_kg_m2
    # where the torque changes fast, an instant that is off shows another; and the push's course is a model's
    moved = np.abs(np.gradient(torque, u, axis=0))[at, axis] * total_sigma_s
    peak_sigma = np.sqrt(peak_sigma**2 + moved**2 + (_COURSE_SHARE * torque[at, axis]) ** 2)
    if fingers:
        peak_sigma = np.hypot(peak_sigma, LATE_BLOW_RAD_S / _BLOW_LASTS_S * inertia_kg_m2)
    change = rows[-1] - rows[0]
    # momentum I w seen from the bow's own turning axes: the gyroscopic term is integrated along
    turning = np.cross(rate, rate * inertia_kg_m2)
    impulse = (change @ fit.weights) * inertia_kg_m2 + np.sum((turning[1:] + turning[:-1]) / 2, axis=0) * (u[1] - u[0])
    impulse_sigma = fit.sigma(change) * inertia_kg_m2
    mean = impulse / total_s
    mean_sigma = np.hypot(impulse_sigma / total_s, mean * total_sigma_s / total_s)
    return Window(
        peak_rate_deg_s=peak_rate,
        mean_torque_nm=Axes.of(mean),
        mean_torque_sigma_nm=Axes.of(mean_sigma),
        peak_torque_nm=Axes.of(torque[at, axis]),
        peak_torque_sigma_nm=Axes.of(peak_sigma),
        angular_impulse_nms=Axes.of(impulse),
        angular_impulse_sigma_nms=Axes.of(impulse_sigma),
    )
