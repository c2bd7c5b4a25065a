"""One shot measured: from the motion around it to every figure of the contract.

Rotation is integrated from the release to the departure out of clean samples only. The last of the window by motion
time already hold the shock (the sensor shows motion one delay late, and a shock at once): a smooth model fitted to
the clean ones stands in for them. Clipped or lost samples make exactly the figures that need them absent, with a note.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import Axes
from quiethand.bow.model import inertia_array
from quiethand.bow.pointing import pointing_shift_mm
from quiethand.judge.limits import flags_for
from quiethand.motion.rotation import rotation_curve
from quiethand.shots.budget import (
    GRAVITY_M_S2,
    BudgetInputs,
    acceleration_sensitivity,
    budget_rows,
    combined_sigma_deg,
    integrated_noise,
)
from quiethand.shots.felt import FeltState, felt_prior
from quiethand.shots.follow_through import measure_follow_through
from quiethand.shots.gyro_state import GyroState, gyro_state
from quiethand.shots.hold import measure_hold
from quiethand.shots.middle import median
from quiethand.shots.model import AtDeparture, BudgetRow, PointingShift, RotationAt, Shot, Window
from quiethand.shots.parts import split_rotation
from quiethand.shots.timing import Instants, delay_sigma_s, find_instants
from quiethand.shots.torque import window_figures
from quiethand.shots.trace import make_trace
from quiethand.shots.window_rate import WindowRate, fit_window_rate, grid, pluck_course

if TYPE_CHECKING:
    from quiethand.bow.launch import Launch
    from quiethand.bow.model import Setup
    from quiethand.shots.candidate import Candidate, MotionWindow
    from quiethand.shots.still import StillState

__all__ = ["AFTER_RELEASE_MS", "measure", "measure_and_learn"]

AFTER_RELEASE_MS: Final = (5.0, 10.0, 15.0, 20.0, 30.0, 50.0)
# Where the delay is not stated ticks are not known either: the shock may show this much before the departure's motion.
_UNKNOWN_LEAD_S: Final = 0.3e-3
_NEAR_BEFORE_S: Final = 0.15
_NEAR_AFTER_S: Final = 0.35


@dataclass(frozen=True)
class _Clean:
    """The gyro around the window: clean samples, and a whole series with the model where they are not."""

    time_s: NDArray[np.float64]  # (m,) clean, motion times
    rate_rad_s: NDArray[np.float64]  # (m, 3) bias taken off
    whole_to_s: float  # the last clean motion time before the departure
    missing: bool  # samples are lost or clipped between the release and the departure


def measure(
    candidate: Candidate,
    setup: Setup | None,
    launch: Launch | None,
    number: int,
    still: StillState | None,
    felt: FeltState | None = None,
) -> Shot:
    """Every figure of one shot; see `measure_and_learn`."""
    return measure_and_learn(candidate, setup, launch, number, still, felt)[0]


def measure_and_learn(
    candidate: Candidate,
    setup: Setup | None,
    launch: Launch | None,
    number: int,
    still: StillState | None,
    felt: FeltState | None,
    *,
    trace: bool = True,
) -> tuple[Shot, FeltState | None]:
    """Every figure of one shot, and what is known after it of the gyro's answer to acceleration.

    Args:
        candidate: the motion around it and coarse instants.
        setup: what the user stated, None without a set-up: then no torque, no target, wider instants.
        launch: the launch model of that set-up, None where it does not suffice.
        number: the shot's number in the recording, from 1.
        still: what still moments before it told of the gyro.
        felt: what the shots before it, of the same sensor and mount, told of the gyro's answer to acceleration.
        trace: also keep the motion around the shot, as figures draw it: 80 kB and a tenth of the time.
    """
    candidate_whole, candidate = candidate, _near(candidate)
    window = candidate.window
    notes = list(candidate.notes)
    instants = find_instants(candidate, setup, launch)
    notes += instants.notes
    gyro = gyro_state(candidate_whole.window, instants.release_s, still, notes)
    inertia = inertia_array(setup.bow) if setup is not None else None
    clean = _clean_samples(window, instants, gyro)
    fit = None if clean.missing else _fit_rate(window, instants, clean, gyro, felt)
    if clean.missing:
        notes.append(
            "gyro samples are lost or clipped between release and departure: no rotation, rate, parts or torque"
        )
    elif fit is None:
        notes.append("too few samples between release and departure: no rotation, rate, parts or torque")
    after = _after_release(window, instants, clean, fit, gyro, notes)
    at_departure = AtDeparture()
    budget: tuple[BudgetRow, ...] = ()
    figures = Window()
    if fit is not None:
        distance = setup.target.distance_m if setup is not None else None
        at_departure, budget = _at_departure(window, instants, clean, fit, gyro, distance)
        figures = window_figures(
            fit,
            total_s=instants.time_on_string_s,
            total_sigma_s=instants.time_on_string_sigma_s,
            inertia_kg_m2=inertia,
        )
        if distance is None:
            notes.append("no distance to the target stated: no pointing shift")
    hold, hold_notes = measure_hold(candidate_whole, instants.release_s, gyro.bias_rad_s)
    follow, follow_notes = measure_follow_through(window, instants.departure_s, gyro.bias_rad_s, inertia)
    rest_clear = None
    if launch is not None:
        rest_clear = instants.departure_s + launch.rest_clear_s - launch.time_on_string_s
    else:
        notes.append("no launch model: when the arrow cleared the rest is not known")
    shot = Shot(
        number=number,
        segment=window.segment,
        release_s=instants.release_s,
        release_sigma_s=instants.release_sigma_s,
        departure_s=instants.departure_s,
        departure_sigma_s=instants.departure_sigma_s,
        departure_from=instants.departure_from,
        time_on_string_s=instants.time_on_string_s,
        time_on_string_sigma_s=instants.time_on_string_sigma_s,
        rest_clear_s=rest_clear,
        at_departure=at_departure,
        budget=budget,
        after_release=after,
        window=figures,
        hold=hold,
        follow_through=follow,
        flags=(),
        notes=(*notes, *hold_notes, *follow_notes),
        trace=make_trace(window, instants.release_s, gyro.bias_rad_s, inertia) if trace else None,
        push_misfit=instants.misfit,
    )
    return flags_for(shot, setup), felt if fit is None else FeltState.after(fit, felt)


def _near(candidate: Candidate) -> Candidate:
    """The candidate with the motion close to the shot alone: seconds of hold would be carried through every step."""
    w = candidate.window
    low = int(np.searchsorted(w.time_s, candidate.release_s - _NEAR_BEFORE_S))
    high = int(np.searchsorted(w.time_s, candidate.departure_s + _NEAR_AFTER_S))
    part = slice(low, high)
    window = replace(
        w,
        index=w.index[part],
        time_s=w.time_s[part],
        specific_force_m_s2=w.specific_force_m_s2[part],
        rate_rad_s=w.rate_rad_s[part],
        accel_clipped=w.accel_clipped[part],
        gyro_clipped=w.gyro_clipped[part],
    )
    return replace(candidate, window=window)


def _clean_samples(window: MotionWindow, instants: Instants, gyro: GyroState) -> _Clean:
    """Samples before the shock can have touched them, and whether the window's are all there."""
    motion, tick = window.gyro_time_s, window.time_s
    spoiled_from = instants.first_break_s
    if window.gyro_delay_s is None:
        spoiled_from = min(spoiled_from, instants.departure_s) - _UNKNOWN_LEAD_S
    elif window.gyro_delay_s < (window.accel_delay_s or 0.0):
        # a gyro quicker than the accelerometer shows the shock first; not before the departure itself
        spoiled_from = min(spoiled_from, instants.departure_s)
    clean = (tick < spoiled_from) & ~window.gyro_clipped
    times = motion[clean]
    rates = window.rate_rad_s[clean] - gyro.bias_rad_s
    whole_to = float(times[-1]) if len(times) else -np.inf
    # every sample whose motion lies in the window, and one on either side, up to the last that can be clean
    period = window.period_s
    start, end = instants.release_s - 1.5 * period, min(spoiled_from, instants.departure_s)
    inside = (motion > start) & (tick < end)
    index = window.index[inside]
    lost = len(index) < 3 or bool(np.any(np.diff(index) != 1)) or bool(window.gyro_clipped[inside].any())
    # a gap that hides the shock's beginning leaves the end of the window without samples
    delay = window.gyro_delay_s or 0.0
    lost |= whole_to < spoiled_from - delay - 2.2 * period
    lost |= len(index) > 0 and motion[inside][0] > instants.release_s + 0.6 * period
    later = (tick >= spoiled_from - 2.2 * period) & (motion < instants.departure_s + period)
    lost |= bool(np.any(np.diff(window.index[later]) != 1))
    return _Clean(times, rates, whole_to, bool(lost))


def _fit_rate(
    window: MotionWindow, instants: Instants, clean: _Clean, gyro: GyroState, known: FeltState | None
) -> WindowRate | None:
    total = instants.time_on_string_s
    if not 1e-3 < total < 0.06:
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
    t, change = _pushed(window, instants, from_s=-30e-3)
    felt = np.zeros(len(u))
    if len(t) >= 4:
        felt = np.interp(u, t - instants.release_s, change[:, 0])
        # on to the departure along the last millisecond's slope
        last = t > t[-1] - max(1e-3, 2.5 * window.period_s)
        slope, level = np.polyfit(t[last] - t[-1], change[last, 0], 1)
        end = t[-1] - instants.release_s
        felt = np.where(u > end, level + slope * (u - end), felt)
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
        felt_force_m_s2=felt,
        felt_mean=mean,
        felt_sigma=sigma,
        felt_spread=spread,
        u_s=u,
    )


def _series(
    window: MotionWindow, instants: Instants, clean: _Clean, fit: WindowRate | None, gyro: GyroState
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The whole run of rates: clean samples, the model up to the departure, then samples as they come."""
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


def _after_release(
    window: MotionWindow,
    instants: Instants,
    clean: _Clean,
    fit: WindowRate | None,
    gyro: GyroState,
    notes: list[str],
) -> tuple[RotationAt, ...]:
    """Rotation at the stated times; null where samples on the way there are lost or clipped, or the window ends."""
    time, rate = _series(window, instants, clean, fit, gyro)
    start = instants.release_s
    motion = window.gyro_time_s
    bad_at = motion[1:][np.diff(window.index) != 1]
    clipped = motion[window.gyro_clipped]
    spoiled = np.concatenate([bad_at, clipped])
    spoiled = spoiled[spoiled > start - window.period_s]
    first_bad = float(spoiled.min()) - window.period_s if len(spoiled) else np.inf
    if fit is None:
        # without the model only what lies before the shock's first sample can be told
        first_bad = min(first_bad, clean.whole_to_s)
    known = [ms for ms in AFTER_RELEASE_MS if start + ms / 1e3 <= min(first_bad, float(time[-1])) and time[0] <= start]
    turned = (
        dict(zip(known, rotation_curve(time, rate, start, start + np.array(known) / 1e3), strict=True)) if known else {}
    )
    missing = [f"{ms:g}" for ms in AFTER_RELEASE_MS if ms not in turned]
    if missing:
        notes.append(
            f"samples are lost or clipped on the way to {', '.join(missing)} ms after release: no rotation there"
        )
    return tuple(RotationAt(ms, Axes.of(np.rad2deg(turned[ms])) if ms in turned else Axes()) for ms in AFTER_RELEASE_MS)


def _at_departure(
    window: MotionWindow,
    instants: Instants,
    clean: _Clean,
    fit: WindowRate,
    gyro: GyroState,
    distance_m: float | None,
) -> tuple[AtDeparture, tuple[BudgetRow, ...]]:
    total = instants.time_on_string_s
    time, rate = _series(window, instants, clean, fit, gyro)
    turned = rotation_curve(time, rate, instants.release_s, [instants.departure_s])[0]
    end = fit.row(total)
    rate_end, rate_start = end @ fit.weights, fit.row(0.0) @ fit.weights
    modelled_s = max(instants.departure_s - clean.whole_to_s, 0.0)
    tail = fit.sigma(fit.row(total - modelled_s / 2)) * modelled_s
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
            impulse_m_s=_impulse_m_s(window, instants),
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
    )
    pointing = PointingShift()
    if distance_m is not None:
        right_mm, up_mm = pointing_shift_mm(turned, distance_m)
        right_sigma_mm, up_sigma_mm = np.abs(pointing_shift_mm(np.deg2rad(sigma), distance_m)).tolist()
        pointing = PointingShift(right_mm, up_mm, right_sigma_mm, up_sigma_mm)
    steepest = np.abs(fit.rate(np.array([total])) - fit.rate(np.array([total - 1e-3])))[0] / 1e-3
    felt = fit.felt_sigma * _force_change_m_s2(window, instants)
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


def _pushed(
    window: MotionWindow, instants: Instants, from_s: float = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Times and change of specific force from the hold's, from some time after the release and clear of the shock."""
    t = window.accel_time_s
    at = (t > instants.release_s + from_s) & (window.time_s < instants.first_break_s)
    hold = (t > instants.release_s - 50e-3) & (t < instants.release_s - 5e-3)
    force = window.specific_force_m_s2
    level = median(force[hold]) if hold.any() else np.array([0.0, 0.0, GRAVITY_M_S2])
    return t[at], force[at] - level


def _impulse_m_s(window: MotionWindow, instants: Instants) -> float:
    t, change = _pushed(window, instants)
    if len(t) < 2:
        return 20.0 * instants.time_on_string_s  # a usual push
    step = np.diff(t)[:, None]
    return float(np.linalg.norm(np.sum((change[1:] + change[:-1]) / 2 * step, axis=0)))


def _force_change_m_s2(window: MotionWindow, instants: Instants) -> float:
    _, change = _pushed(window, instants)
    return float(np.linalg.norm(change[-1])) if len(change) else 20.0
