"""How the bow turned from the release on: the fitted rate, rotation at given times and at departure, and its budget.

Rotation is integrated out of clean samples only. The last of the window by motion time already hold the shock (the
sensor shows motion one delay late, and a shock at once): a smooth model fitted to the clean ones stands in for them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import Axes
from quiethand.bow.pointing import pointing_shift_mm
from quiethand.motion.rotation import rotation_curve
from quiethand.shots.budget import (
    BudgetInputs,
    acceleration_sensitivity,
    budget_rows,
    combined_sigma_deg,
    integrated_noise,
)
from quiethand.shots.clean_rate import clean_rate
from quiethand.shots.felt import FeltState, felt_prior
from quiethand.shots.model import AtDeparture, BudgetRow, PointingShift, RotationAt
from quiethand.shots.parts import split_rotation
from quiethand.shots.push_seen import along_the_arrow, impulse_and_change
from quiethand.shots.timing import delay_sigma_s
from quiethand.shots.window_rate import fit_window_rate, grid, pluck_course

if TYPE_CHECKING:
    from quiethand.shots.candidate import MotionWindow
    from quiethand.shots.clean_rate import CleanRate
    from quiethand.shots.gyro_state import GyroState
    from quiethand.shots.timing import Instants
    from quiethand.shots.window_rate import WindowRate

__all__ = ["AFTER_RELEASE_MS", "Turning", "at_departure", "rotations", "turning"]

AFTER_RELEASE_MS: Final = (5.0, 10.0, 15.0, 20.0, 30.0, 50.0)
_SHORTEST_S, _LONGEST_S = 1e-3, 0.06  # times on the string that can be meant


@dataclass(frozen=True)
class Turning:
    """What the figures of one window rest on."""

    window: MotionWindow
    instants: Instants
    gyro: GyroState
    clean: CleanRate
    fit: WindowRate | None  # None where the window is not whole


def turning(
    window: MotionWindow, instants: Instants, gyro: GyroState, known: FeltState | None, notes: list[str]
) -> Turning:
    """The fit, or a note why there is none; `known` is what earlier shots told of the gyro's answer to acceleration."""
    clean = clean_rate(window, instants, gyro)
    fit = None if clean.missing else _fit(window, instants, gyro, clean, known)
    if clean.missing:
        notes.append(
            "gyro samples are lost or clipped between release and departure: no rotation, rate, parts or torque"
        )
    elif fit is None:
        notes.append("too few samples between release and departure: no rotation, rate, parts or torque")
    return Turning(window, instants, gyro, clean, fit)


def _fit(
    window: MotionWindow, instants: Instants, gyro: GyroState, clean: CleanRate, known: FeltState | None
) -> WindowRate | None:
    total = instants.time_on_string_s
    if not _SHORTEST_S < total < _LONGEST_S:
        return None
    u = grid(total)
    fingers = bool(instants.fingers)
    course = pluck_course(
        window.accel_time_s,
        window.specific_force_m_s2[:, 1],
        float(instants.noise_m_s2[1]),
        release_s=instants.release_s,
        fingers=fingers,
        u_s=u,
    )
    spread = acceleration_sensitivity(gyro.noise_rad_s, window.period_s, window.gyro_bandwidth_hz)
    mean, sigma = felt_prior(known, spread)
    return fit_window_rate(
        clean.time_s,
        clean.rate_rad_s,
        gyro.fit_noise_rad_s,
        release_s=instants.release_s,
        departure_s=instants.departure_s,
        string_impulse=instants.string_impulse,
        blow=course,
        fingers=fingers,
        felt_force_m_s2=along_the_arrow(window, instants, u),
        felt_mean=mean,
        felt_sigma=sigma,
        felt_spread=spread,
        u_s=u,
    )


def _series(x: Turning) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The whole run of rates: clean samples, the model up to the departure, then samples as they come."""
    window, instants, clean, fit, gyro = x.window, x.instants, x.clean, x.fit, x.gyro
    motion = window.gyro_time_s
    if fit is None:
        return motion, window.rate_rad_s - gyro.bias_rad_s
    before = clean.time_s < instants.departure_s
    filled = motion[(motion > clean.whole_to_s) & (motion < instants.departure_s)]
    modelled = np.append(filled, instants.departure_s)
    late = motion > instants.departure_s
    time = np.concatenate([clean.time_s[before], modelled, motion[late]])
    rate = np.concatenate(
        [
            clean.rate_rad_s[before] - fit.felt_rate(clean.time_s[before] - instants.release_s),
            fit.rate(modelled - instants.release_s),
            window.rate_rad_s[late] - gyro.bias_rad_s,
        ]
    )
    return time, rate


def rotations(x: Turning, notes: list[str]) -> tuple[NDArray[np.float64] | None, tuple[RotationAt, ...]]:
    """Rotation at departure (3,) in rad, None without the fit, and at the stated times after the release.

    The latter are null where samples on the way there are lost or clipped, or the window ends.
    """
    window = x.window
    time, rate = _series(x)
    start = x.instants.release_s
    motion = window.gyro_time_s
    spoiled = np.concatenate([motion[1:][np.diff(window.index) != 1], motion[window.gyro_clipped]])
    spoiled = spoiled[spoiled > start - window.period_s]
    first_bad = float(spoiled.min()) - window.period_s if len(spoiled) else np.inf
    if x.fit is None:
        # without the model only what lies before the shock's first sample can be told
        first_bad = min(first_bad, x.clean.whole_to_s)
    end = min(first_bad, float(time[-1]))
    known = [ms for ms in AFTER_RELEASE_MS if start + ms / 1e3 <= end and time[0] <= start]
    by_ms: dict[float, NDArray[np.float64]] = {}
    turned = None
    if x.fit is not None:
        # by themselves: the shock just after the departure would bend the last step before it
        end = x.instants.departure_s
        early = [ms for ms in known if start + ms / 1e3 <= end]
        *before, turned = rotation_curve(time, rate, start, [*(start + ms / 1e3 for ms in early), end])
        by_ms = dict(zip(early, before, strict=True))
    later = [ms for ms in known if ms not in by_ms]
    if later:
        by_ms |= dict(zip(later, rotation_curve(time, rate, start, start + np.array(later) / 1e3), strict=True))
    missing = [f"{ms:g}" for ms in AFTER_RELEASE_MS if ms not in known]
    if missing:
        notes.append(
            f"samples are lost or clipped on the way to {', '.join(missing)} ms after release: no rotation there"
        )
    after = tuple(RotationAt(ms, Axes.of(np.rad2deg(by_ms[ms])) if ms in by_ms else Axes()) for ms in AFTER_RELEASE_MS)
    return turned, after


def at_departure(
    x: Turning, fit: WindowRate, turned: NDArray[np.float64], distance_m: float | None
) -> tuple[AtDeparture, tuple[BudgetRow, ...]]:
    """Rotation `turned` (3,) in rad and the rate at departure, parts and pointing, each with its uncertainty."""
    window, instants, gyro = x.window, x.instants, x.gyro
    total = instants.time_on_string_s
    impulse, change = impulse_and_change(window, instants)
    modelled_s = max(instants.departure_s - x.clean.whole_to_s, 0.0)
    start, tail_middle, late, end = fit.rows(np.array([0.0, total - modelled_s / 2, total - 1e-3, total]))
    rate_end, rate_start = end @ fit.weights, start @ fit.weights
    tail = fit.sigma(tail_middle) * modelled_s
    noise = integrated_noise(gyro.noise_rad_s, total - modelled_s, window.period_s, window.gyro_bandwidth_hz)
    rows = budget_rows(
        BudgetInputs(
            rotation_rad=turned,
            noise_rad=np.hypot(noise, tail),
            noise_kind_a=True,
            bias_sigma_rad_s=gyro.bias_sigma_rad_s,
            bias_kind_a=gyro.bias_from_still,
            rate_release_rad_s=rate_start,
            rate_departure_rad_s=rate_end,
            instants_covariance_s2=instants.covariance_s2,
            total_s=total,
            mount_stated=window.mount_stated,
            impulse_m_s=impulse,
            sensitivity_rad_s_per_m_s2=fit.felt_sigma,
            gyro_delay_sigma_s=delay_sigma_s(window.gyro_delay_s),
        )
    )
    sigma = combined_sigma_deg(rows)
    parts = split_rotation(
        fit,
        turned,
        np.deg2rad(sigma),
        total_s=total,
        total_sigma_s=instants.time_on_string_sigma_s,
        release_sigma_s=instants.release_sigma_s,
        bias_sigma_rad_s=gyro.bias_sigma_rad_s,
        fingers=bool(instants.fingers),
    )
    pointing = PointingShift()
    if distance_m is not None:
        right_mm, up_mm = pointing_shift_mm(turned, distance_m)
        right_sigma_mm, up_sigma_mm = np.abs(pointing_shift_mm(np.deg2rad(sigma), distance_m)).tolist()
        pointing = PointingShift(right_mm, up_mm, right_sigma_mm, up_sigma_mm)
    steepest = np.abs((end - late) @ fit.weights) / 1e-3
    felt = fit.felt_sigma * change
    rate_sigma = np.sqrt(
        fit.sigma(end) ** 2 + gyro.bias_sigma_rad_s**2 + (steepest * instants.departure_sigma_s) ** 2 + felt**2
    )
    at = AtDeparture(
        rotation_deg=Axes.of(np.rad2deg(turned)),
        rotation_sigma_deg=Axes.of(sigma),
        rate_deg_s=Axes.of(np.rad2deg(rate_end)),
        rate_sigma_deg_s=Axes.of(np.rad2deg(rate_sigma)),
        parts=parts,
        pointing=pointing,
    )
    return at, rows
