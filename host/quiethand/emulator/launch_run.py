"""One launch: the string from the letting-go to brace height, and what it does to the bow meanwhile."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quiethand.emulator.bows import BowPlan

__all__ = ["LaunchRun", "run_launch"]

Floats = NDArray[np.float64]
LOSS_STEPS = 160
TRAVEL_STEPS = 1200


@dataclass(frozen=True)
class LaunchRun:
    """Times are from release, in s. `push_n` is the force on the bow along x, + towards the target, until departure."""

    time_s: Floats
    travel_m: Floats
    speed_m_s: Floats
    push_n: Floats
    momentum_rate_n: Floats  # d/dt of the forward momentum of arrow, string and limbs
    loss_s: float
    departure_s: float
    rest_clear_s: float
    arrow_speed_m_s: float
    caught_ns: float  # forward momentum of string and limbs that the bow has to catch at brace height


def run_launch(plan: BowPlan, loss_s: float, *, arrow_mass_kg: float | None = None) -> LaunchRun:
    """Integrate the launch.

    While the string hand lets go, in small steps of time (its pull falls from the holding weight to nothing, half of
    it gone at time 0); from there by energy: (m + K) v^2 / 2 grows by the integral of the force over the travel, and
    each stretch of the travel takes 2 dx / (v0 + v1), exact where the force is constant over it.
    """
    arrow = plan.arrow_mass_kg if arrow_mass_kg is None else arrow_mass_kg
    back = 1 - plan.friction
    holding = back * float(plan.force_n(0.0))
    early_mass = arrow + float(plan.virtual_mass_kg(0.0))
    slope = back * (float(plan.force_n(1e-3)) - float(plan.force_n(0.0))) / 1e-3
    step = loss_s / LOSS_STEPS
    early_time = -loss_s / 2 + step * np.arange(LOSS_STEPS + 1)
    early_travel, early_speed = np.zeros(LOSS_STEPS + 1), np.zeros(LOSS_STEPS + 1)
    travel = speed = 0.0
    for n in range(LOSS_STEPS):
        middle = travel + speed * step / 2
        gone = 0.5 - 0.5 * math.cos(math.pi * (n + 0.5) / LOSS_STEPS)
        rate = (holding * gone + slope * middle) / early_mass
        travel += speed * step + rate * step * step / 2
        speed += rate * step
        early_travel[n + 1], early_speed[n + 1] = travel, speed

    grid = travel + (plan.stroke_m - travel) * np.linspace(0.0, 1.0, TRAVEL_STEPS + 1) ** 2
    force = back * plan.force_n(grid)
    moving = arrow + plan.virtual_mass_kg(grid)
    work = np.concatenate(([0.0], np.cumsum((force[1:] + force[:-1]) / 2 * np.diff(grid))))
    speeds = np.sqrt((moving[0] * speed**2 + 2 * work) / moving)
    later = loss_s / 2 + np.concatenate(([0.0], np.cumsum(2 * np.diff(grid) / (speeds[1:] + speeds[:-1]))))

    time = np.concatenate((early_time[:-1], later))
    way = np.concatenate((early_travel[:-1], grid))
    velocity = np.concatenate((early_speed[:-1], speeds))
    momentum_rate = np.gradient((arrow + plan.momentum_mass_kg(way)) * velocity, time)
    held = np.clip((time + loss_s / 2) / loss_s, 0.0, 1.0)
    string_hand = plan.force_n(0.0) * (0.5 + 0.5 * np.cos(math.pi * held))
    departure = float(time[-1])
    clear = departure + (plan.brace_height_m + plan.rest_m) / float(velocity[-1])
    return LaunchRun(
        time_s=time,
        travel_m=way,
        speed_m_s=velocity,
        push_n=plan.force_n(0.0) - string_hand - momentum_rate,
        momentum_rate_n=momentum_rate,
        loss_s=loss_s,
        departure_s=departure,
        rest_clear_s=clear,
        arrow_speed_m_s=float(velocity[-1]),
        caught_ns=float(plan.momentum_mass_kg(plan.stroke_m)) * float(velocity[-1]),
    )
