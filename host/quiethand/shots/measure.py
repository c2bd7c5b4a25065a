"""One shot measured: from the motion around it to every figure of the contract.

Each group of figures has a file of its own; this one puts them together. Clipped or lost samples make exactly the
figures that need them absent, with a note.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from quiethand.bow.model import inertia_array
from quiethand.judge.limits import flags_for
from quiethand.shots.felt import FeltState
from quiethand.shots.follow_through import measure_follow_through
from quiethand.shots.gyro_state import gyro_state
from quiethand.shots.hold import measure_hold
from quiethand.shots.model import AtDeparture, BudgetRow, Shot, Window
from quiethand.shots.mount_mode import mode_note, mount_mode
from quiethand.shots.timing import find_instants
from quiethand.shots.torque import window_figures
from quiethand.shots.trace import make_trace
from quiethand.shots.turning import AFTER_RELEASE_MS, at_departure, rotations, turning

if TYPE_CHECKING:
    from quiethand.bow.launch import Launch
    from quiethand.bow.model import Setup
    from quiethand.shots.candidate import Candidate
    from quiethand.shots.still import StillState

__all__ = ["AFTER_RELEASE_MS", "measure", "measure_and_learn"]

_NEAR_BEFORE_S: Final = 0.15
_NEAR_AFTER_S: Final = 0.35
_POOR_FIT: Final = 3.0  # of the gyro's noise is left over: something is in the window that must not be learned from


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
    seen = turning(window, instants, gyro, felt, notes)
    turned, after = rotations(seen, notes)
    at = AtDeparture()
    budget: tuple[BudgetRow, ...] = ()
    figures = Window()
    if seen.fit is not None and turned is not None:
        distance = setup.target.distance_m if setup is not None else None
        at, budget = at_departure(seen, seen.fit, turned, distance)
        figures = window_figures(
            seen.fit,
            total_s=instants.time_on_string_s,
            total_sigma_s=instants.time_on_string_sigma_s,
            inertia_kg_m2=inertia,
            fingers=bool(instants.fingers),
        )
        if distance is None:
            notes.append("no distance to the target stated: no pointing shift")
    hold, hold_notes = measure_hold(candidate_whole, instants.release_s, gyro.bias_rad_s)
    follow, follow_notes = measure_follow_through(window, instants.departure_s, gyro.bias_rad_s, inertia)
    mode = mount_mode(window, instants.departure_s, gyro.noise_rad_s)
    if mode is not None:
        follow = replace(follow, mount_mode_hz=mode.hz, mount_damping_ratio=mode.damping_ratio, mount_mode_fit=mode.fit)
    soft = mode_note(mode, instants.time_on_string_s)
    if soft is not None:
        notes.append(soft)
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
        at_departure=at,
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
    learned = felt
    if seen.fit is not None and bool(np.all(seen.fit.residual_rad_s < _POOR_FIT * gyro.fit_noise_rad_s)):
        learned = FeltState.after(seen.fit, felt)
    return flags_for(shot, setup), learned


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
