"""The bow from release on: a rigid body turned by string and hands, on the hand's spring, and what its seat shows."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quiethand.axes import Axes
from quiethand.emulator.attitude import compose, from_vector, running, to_vector
from quiethand.emulator.bows import BowPlan
from quiethand.emulator.habits import Habit
from quiethand.emulator.launch_run import LaunchRun, run_launch
from quiethand.emulator.movement import Knock, ringing
from quiethand.emulator.resonance import respond
from quiethand.emulator.truth import ShotTruth

__all__ = ["FINE_S", "ShotMotion", "ShotPlan", "draw_shot", "shoot", "truth_of"]

Floats = NDArray[np.float64]
FINE_S = 5e-5  # a pluck of 3 ms is 60 steps; the truth's rotation is then exact to some 1e-7 deg
TAPER_S = 0.10  # what the hand's spring still does at the end of a shot's fine part fades over this time
IDENTITY = np.array([0.0, 0.0, 0.0, 1.0])
AFTER_MS = (5, 10, 15, 20, 30, 50)


@dataclass(frozen=True)
class ShotPlan:
    """What the hands and the bow do at one release."""

    launch: LaunchRun
    grip_nm: Floats  # (3,) lasting from release
    pluck_nms: float
    pluck_s: float
    drop_nm: float  # growing from 10 ms before release
    stiffness_nm_rad: Floats  # (3,)
    ratio: Floats  # (3,)
    brace_nms: Floats  # (3,) angular impulse of the string's stop
    brace_knock: Knock
    release_knock: Knock
    shock_path_s: float  # through the structure to the seat


@dataclass(frozen=True)
class ShotMotion:
    """Motion on a fine grid around release (time 0); rates in rad/s, body frame, each (n, 3) but times."""

    time_s: Floats
    rigid_rate: Floats
    torque_nm: Floats
    seat_rate: Floats
    accel_m_s2: Floats  # of the centre of mass
    seat_accel_m_s2: Floats  # ringing of the structure on top


def draw_shot(
    plan: BowPlan, habit: Habit, rng: np.random.Generator, *, arrow: bool = True, mirror: float = 1.0
) -> ShotPlan:
    """Chance decides what this shot is like; `mirror` is -1 for a left-handed archer."""
    drawn = replace(plan, stroke_m=plan.stroke_m + 0.0012 * float(rng.standard_normal()))  # nobody draws quite alike
    launch = run_launch(drawn, float(rng.uniform(*plan.loss_s)), arrow_mass_kg=None if arrow else 0.0)
    inertia = np.array(plan.inertia_kg_m2)
    natural = 2 * math.pi * np.array(habit.stiffness_hz) * rng.uniform(0.92, 1.08, 3)
    grip = np.array([0.0, 0.0, habit.grip_torque_nm]) * mirror
    grip += rng.standard_normal(3) * (habit.cant_torque_nm, 0.04, habit.grip_torque_spread_nm)
    hard = (1.0 if arrow else 2.5) * launch.arrow_speed_m_s / 75.0
    modes = np.sort(rng.uniform((85, 140, 210, 330, 480, 700), (120, 190, 290, 430, 640, 960)))
    size = rng.standard_normal((6, 3)) * np.array([70.0, 45.0, 55.0]) * hard * np.array([[0.5, 0.7, 1, 1, 0.8, 0.6]]).T
    turn = np.radians(rng.standard_normal((6, 3)) * [30.0, 22.0, 18.0]) * hard / np.array([[2, 1.5, 1, 1, 1.5, 2]]).T
    click = rng.standard_normal((2, 3)) * [2.0, 1.2, 1.2] * (1.0 if plan.kind == "compound" else 0.5)
    return ShotPlan(
        launch=launch,
        grip_nm=grip,
        pluck_nms=mirror * (habit.pluck_nms + habit.pluck_spread_nms * float(rng.standard_normal())),
        pluck_s=float(rng.uniform(0.0022, 0.0038)),
        drop_nm=habit.drop_torque_nm + habit.drop_spread_nm * float(rng.standard_normal()),
        stiffness_nm_rad=inertia * natural**2,
        ratio=np.array(habit.damping_ratio) * rng.uniform(0.9, 1.1, 3),
        brace_nms=rng.standard_normal(3) * [0.004, 0.012, 0.006] * hard + np.array([0.0, 0.02, 0.0]),
        brace_knock=Knock(0.0, modes, rng.uniform(0.012, 0.05, 6), size, turn),
        release_knock=Knock(0.0, rng.uniform([380, 650], [600, 950]), np.array([0.06, 0.05]), click, np.zeros((2, 3))),
        shock_path_s=float(rng.uniform(0.0001, 0.0002)),
    )


def shoot(plan: BowPlan, shot: ShotPlan, time_s: Floats, held_rate: Floats, mount_hz: float) -> ShotMotion:
    """The motion on the even grid `time_s` (release at 0), on top of what the archer's body goes on doing.

    Args:
        held_rate: (n, 3) tremor, drift and whatever had begun before release.
        mount_hz: lowest mode of the sensor's seat.
    """
    inertia = np.array(plan.inertia_kg_m2)
    torque = _torques(plan, shot, time_s)
    taper = 0.5 + 0.5 * np.cos(math.pi * np.clip((time_s - time_s[-1] + TAPER_S) / TAPER_S, 0.0, 1.0))
    own = np.empty_like(held_rate)
    for axis in range(3):
        natural = math.sqrt(shot.stiffness_nm_rad[axis] / inertia[axis])
        own[:, axis] = respond(torque[:, axis] / inertia[axis], FINE_S, natural, shot.ratio[axis])[1] * taper
    rate = held_rate + own
    slope = np.gradient(rate, FINE_S, axis=0)
    # Euler's equations; the hand's own answer is part of the torque, as it is for whoever measures it
    spin = np.cross(rate, rate * inertia)
    flexed = np.empty_like(rate)
    for axis in range(3):
        flexed[:, axis] = respond(-slope[:, axis], FINE_S, 2 * math.pi * mount_hz, 0.03)[1]
    seat = rate + flexed * taper[:, None]
    ring_accel, ring_rate = ringing(shot.brace_knock, time_s, shot.launch.departure_s + shot.shock_path_s)
    click_accel, _ = ringing(shot.release_knock, time_s, -shot.launch.loss_s / 2)
    return ShotMotion(
        time_s=time_s,
        rigid_rate=rate,
        torque_nm=inertia * slope + spin,
        seat_rate=seat + ring_rate,
        accel_m_s2=_travel(plan, shot, time_s) * taper[:, None],
        seat_accel_m_s2=ring_accel + click_accel,
    )


def _torques(plan: BowPlan, shot: ShotPlan, time_s: Floats) -> Floats:
    """Torque about the centre of mass beyond what held the bow still before release, (n, 3)."""
    run = shot.launch
    gone = 0.5 - 0.5 * np.cos(math.pi * np.clip((time_s + run.loss_s / 2) / run.loss_s, 0.0, 1.0))
    torque = gone[:, None] * shot.grip_nm
    # the string pulls above the centre of mass: its surplus over the hold tips the bow back, on every shot
    surplus = np.interp(time_s, run.time_s, run.momentum_rate_n, left=0.0, right=0.0)
    torque[:, 1] -= plan.string_above_m * surplus
    torque[:, 2] += _bump(time_s, 0.0, shot.pluck_s) * shot.pluck_nms
    torque[:, 1] += shot.drop_nm * np.clip((time_s + 0.01) / 0.04, 0.0, 1.0) * np.clip((0.3 - time_s) / 0.15, 0.0, 1.0)
    torque += _bump(time_s, run.departure_s, 0.002)[:, None] * shot.brace_nms
    # the pressing hand gives way after the arrow has gone
    easing = np.clip((0.35 - time_s) / 0.2, 0.0, 1.0)
    torque *= np.where(time_s > 0.15, easing, 1.0)[:, None]
    return torque


def _travel(plan: BowPlan, shot: ShotPlan, time_s: Floats) -> Floats:
    """Acceleration of the centre of mass, (n, 3): string and limbs push, the arm is a spring behind it."""
    run = shot.launch
    push = np.interp(time_s, run.time_s, run.push_n, left=0.0, right=0.0)
    since = time_s - run.departure_s
    holding = float(plan.force_n(0.0))
    # the arm still presses; as the bow jumps forward it loses contact
    push += np.where(since >= 0, holding * (0.5 + 0.5 * np.cos(math.pi * np.clip(since / 0.03, 0.0, 1.0))), 0.0)
    push += run.caught_ns * _bump(time_s, run.departure_s, 0.0022)
    natural = 2 * math.pi * 2.4
    drive = push / plan.mass_kg
    place, speed = respond(drive, FINE_S, natural, 0.6)
    along = drive - 2 * 0.6 * natural * speed - natural**2 * place
    return np.stack((along, 0.02 * along, 0.06 * along), axis=1)


def _bump(time_s: Floats, start_s: float, duration_s: float) -> Floats:
    """A raised cosine of unit area, in 1/s."""
    s = np.clip((time_s - start_s) / duration_s, 0.0, 1.0)
    result: Floats = (1 - np.cos(2 * math.pi * s)) / duration_s
    return result


def truth_of(
    plan: BowPlan, shot: ShotPlan, motion: ShotMotion, habit: Habit, number: int, release_s: float, draw_end_s: float
) -> ShotTruth:
    """Integrate the rigid motion finely from release and say what there is to know, on the scene's own clock."""
    start = int(np.searchsorted(motion.time_s, -FINE_S / 2))
    time, rate = motion.time_s[start:] - motion.time_s[start], motion.rigid_rate[start:]
    departure = shot.launch.departure_s
    chain = _chain(time, rate, AFTER_MS[-1] / 1000)
    turned = {ms: _rotation(chain, time, rate, ms / 1000) for ms in AFTER_MS}
    whole = _rotation(chain, time, rate, departure)
    inside = time <= departure
    torque = motion.torque_nm[start:]
    inertia = np.array(plan.inertia_kg_m2)
    steps = np.linspace(0.0, departure, 2001)
    push = _bump(steps, 0.0, shot.pluck_s) * shot.pluck_nms / inertia[2]
    plucked_rate = np.concatenate(([0.0], np.cumsum((push[1:] + push[:-1]) / 2 * np.diff(steps))))
    struck = np.array([0.0, 0.0, math.degrees(float(np.trapezoid(plucked_rate, steps)))])
    carried = np.degrees(rate[0]) * departure
    impulse = np.array([np.trapezoid(torque[inside, axis], time[inside]) for axis in range(3)])
    return ShotTruth(
        number=number,
        kind=plan.kind,
        release_s=release_s,
        hold_loss_s=(release_s - shot.launch.loss_s / 2, release_s + shot.launch.loss_s / 2),
        departure_s=release_s + departure,
        time_on_string_s=departure,
        rest_clear_s=release_s + shot.launch.rest_clear_s,
        draw_end_s=draw_end_s,
        arrow_speed_m_s=shot.launch.arrow_speed_m_s,
        rotation_deg=Axes.of(whole),
        rate_at_release_deg_s=Axes.of(np.degrees(rate[0])),
        rate_deg_s=Axes.of([math.degrees(np.interp(departure, time, rate[:, axis])) for axis in range(3)]),
        peak_rate_deg_s=Axes.of(np.degrees(np.abs(rate[inside]).max(axis=0))),
        carried_in_deg=Axes.of(carried),
        struck_deg=Axes.of(struck),
        pressed_deg=Axes.of(whole - carried - struck),
        after_release_deg={ms: Axes.of(turned[ms]) for ms in AFTER_MS},
        mean_torque_nm=Axes.of(impulse / departure),
        peak_torque_nm=Axes.of(np.abs(torque[inside]).max(axis=0)),
        angular_impulse_nms=Axes.of(impulse),
        hand_stiffness_nm_rad=Axes.of(shot.stiffness_nm_rad),
        damping_ratio=Axes.of(shot.ratio),
        habit=habit.name,
    )


def _chain(time: Floats, rate: Floats, end_s: float) -> Floats:
    """Attitudes from the one at time 0, by the mean rate of each fine step, until past `end_s`; shape (n, 4)."""
    last = int(np.searchsorted(time, end_s, side="right"))
    return running(IDENTITY, (rate[:last] + rate[1 : last + 1]) / 2 * FINE_S)


def _rotation(chain: Floats, time: Floats, rate: Floats, end_s: float) -> Floats:
    """Rotation vector in degrees from time 0 to `end_s`, which may lie between steps, shape (3,)."""
    whole = int(np.searchsorted(time, end_s, side="right")) - 1
    left = end_s - time[whole]
    last = rate[whole] + (rate[whole + 1] - rate[whole]) * (left / FINE_S) / 2
    result: Floats = np.degrees(to_vector(compose(chain[whole], from_vector(last * left))))
    return result
