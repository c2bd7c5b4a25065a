"""Archers' habits: how large each fault of the hands usually is, and how far it varies from shot to shot."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Final

from quiethand.emulator.bows import BowKind

__all__ = ["HABITS", "Habit", "habit_of"]


@dataclass(frozen=True)
class Habit:
    """Means and standard deviations from shot to shot; a right-handed archer, signs in the bow frame."""

    name: str
    tremor_deg_s: tuple[float, float, float] = (0.30, 0.22, 0.26)  # root mean square, 8 to 12 Hz
    drift_deg_s: float = 0.20  # root mean square, below 1 Hz
    grip_torque_nm: float = 0.03  # yaw, lasting
    grip_torque_spread_nm: float = 0.06
    cant_torque_nm: float = 0.03  # spread
    pluck_nms: float = 0.0  # yaw, angular impulse in the first milliseconds
    pluck_spread_nms: float = 0.0004
    anticipation_deg_s: float = 0.0  # rate already there at release
    anticipation_spread_deg_s: float = 0.0
    drop_torque_nm: float = 0.0  # pitch, growing from just before release
    drop_spread_nm: float = 0.08
    stiffness_hz: tuple[float, float, float] = (2.6, 2.8, 3.2)  # hand and bow together
    damping_ratio: tuple[float, float, float] = (0.45, 0.42, 0.40)
    arrow_mass_factor: float = 1.0


HABITS: Final = {
    habit.name: habit
    for habit in (
        Habit("quiet"),
        Habit("grip_torque", grip_torque_nm=0.55, grip_torque_spread_nm=0.16, cant_torque_nm=0.06),
        Habit("pluck", pluck_nms=-0.0060, pluck_spread_nms=0.0018),
        Habit("anticipation", anticipation_deg_s=2.4, anticipation_spread_deg_s=0.8),
        Habit("dropping_arm", drop_torque_nm=2.6, drop_spread_nm=0.4),
        Habit(
            "tense",
            tremor_deg_s=(0.62, 0.48, 0.55),
            drift_deg_s=0.35,
            grip_torque_nm=0.22,
            grip_torque_spread_nm=0.20,
            stiffness_hz=(5.0, 5.6, 6.4),
            damping_ratio=(0.28, 0.25, 0.25),
        ),
        Habit("slow_arrow", arrow_mass_factor=1.75),
    )
}


def habit_of(name: str, bow: BowKind, strength: float = 1.0) -> Habit:
    """The habit as it shows with that bow: fingers on the string always pluck it a little.

    Args:
        name: one of HABITS.
        bow: its kind.
        strength: 1 is the habit in full, 0 the quiet archer; between, the way there.
    """
    habit = _between(HABITS["quiet"], HABITS[name], strength)
    if bow == "recurve":
        return replace(habit, pluck_nms=habit.pluck_nms - 0.0008, pluck_spread_nms=max(habit.pluck_spread_nms, 0.0009))
    return habit


def _between(quiet: Habit, full: Habit, strength: float) -> Habit:
    if strength == 1.0:
        return full
    mixed: dict[str, float | tuple[float, ...]] = {}
    for part in fields(Habit):
        a, b = getattr(quiet, part.name), getattr(full, part.name)
        if isinstance(a, tuple):
            mixed[part.name] = tuple(x + (y - x) * strength for x, y in zip(a, b, strict=True))
        elif isinstance(a, float) and part.name != "arrow_mass_factor":  # an arrow is heavy or it is not
            mixed[part.name] = a + (b - a) * strength
    return replace(full, **mixed)  # type: ignore[arg-type]
