"""The archer's acts, one function each: from an attitude and chance to an Act. Every movement here is invented."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.emulator.attitude import compose, from_angles, from_vector, turn_between
from quiethand.emulator.bows import BowKind
from quiethand.emulator.habits import Habit
from quiethand.emulator.movement import Act, Knock, Mark, Pulse, Release, Tremble, Turn, Vector

__all__ = ["EXTRAS", "Archer", "nock", "rest", "shot", "walk"]

Floats = NDArray[np.float64]
G = 9.80665


@dataclass
class Archer:
    """Who acts: habit, hand and chance."""

    habit: Habit
    bow: BowKind
    mirror: float  # -1 for a left-handed archer
    rng: np.random.Generator

    def between(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))


def _at_rest(archer: Archer) -> Floats:
    """Bow held low in front, nose down."""
    return from_angles(archer.between(-8, 8), archer.between(48, 62), archer.mirror * archer.between(5, 20))


def _turn(start: Floats, end: Floats, start_s: float, duration_s: float) -> Turn:
    x, y, z = (float(v) for v in turn_between(start, end))
    return Turn(start_s, duration_s, (x, y, z))


def _tremble(archer: Archer, envelope: tuple[tuple[float, float], ...], size: float = 1.0) -> Tremble:
    """Physiological tremor, 8 to 12 Hz (textbook range), on slow drift below 1 Hz."""
    quick, slow = archer.rng.uniform(8.0, 12.0, 5), archer.rng.uniform(0.15, 0.9, 4)
    rate = np.concatenate(
        (
            np.tile(np.array(archer.habit.tremor_deg_s) * math.sqrt(2 / 5), (5, 1)),
            np.full((4, 3), archer.habit.drift_deg_s * math.sqrt(2 / 4)),
        )
    )
    accel = np.concatenate((np.full((5, 3), 0.04), np.full((4, 3), 0.02)))
    return Tremble(
        frequency_hz=np.concatenate((quick, slow)),
        rate_rad_s=np.radians(rate) * size * archer.rng.uniform(0.7, 1.3, (9, 3)),
        accel_m_s2=accel * size,
        phase_rad=archer.rng.uniform(0, 2 * math.pi, (9, 3)),
        envelope=envelope,
    )


def _knock(
    archer: Archer, time_s: float, accel: Vector, *, low_hz: float, high_hz: float, rate_deg_s: float = 3.0
) -> Knock:
    frequency = archer.rng.uniform(low_hz, high_hz, 4)
    share = archer.rng.uniform(0.2, 0.6, (4, 1)) * archer.rng.choice([-1.0, 1.0], (4, 1))
    spread = archer.rng.uniform(0.4, 1.2, (4, 3))
    rate = np.radians(archer.rng.standard_normal((4, 3)) * rate_deg_s)
    return Knock(time_s, frequency, archer.rng.uniform(0.03, 0.09, 4), share * spread * np.array(accel), rate)


def _held(archer: Archer, *spans: tuple[float, float]) -> tuple[Tremble, ...]:
    """The unrest of a bow held low in a hand, within these spans of time; between them it lies or stands still."""
    envelope = [p for a, b in spans for p in ((a, 0.0), (a + 0.2, 1.5), (b - 0.2, 1.5), (b, 0.0))]
    return (_tremble(archer, tuple(envelope)),)


def rest(archer: Archer, attitude: Floats, duration_s: float) -> Act:
    """Stand with the bow low."""
    fade = min(0.3, duration_s / 3)
    envelope = ((0.0, 0.0), (fade, 1.0), (duration_s - fade, 1.0), (duration_s, 0.0))
    turns = (_turn(attitude, _at_rest(archer), 0.0, min(1.0, duration_s)),) if duration_s > 0.8 else ()
    return Act(duration_s, turns, trembles=(_tremble(archer, envelope, 1.5),))


def nock(archer: Archer, attitude: Floats) -> Act:
    """Set an arrow on the string until it clicks home."""
    at = archer.between(0.7, 1.0)
    knock = _knock(archer, at, (archer.between(18, 40), 8.0, 9.0), low_hz=120, high_hz=600)
    # the arrow is pressed back onto the string until it snaps on
    jolt = Pulse(at - 0.12, 0.12, (-archer.between(1.0, 3.0), 0.0, 0.1), (0.0, 0.05, 0.01))
    envelope = ((0.0, 0.0), (0.3, 2.0), (1.1, 2.0), (1.4, 0.0))
    return Act(1.4, pulses=(jolt,), trembles=(_tremble(archer, envelope, 1.5),), knocks=(knock,), marks=(
        Mark(at, "nock"),
    ))  # fmt: skip


def shot(archer: Archer, attitude: Floats, hold_s: float, *, ending: str = "shot") -> Act:
    """Raise, draw, hold, then shoot ("shot"), shoot without an arrow ("dry_fire") or let down ("let_down")."""
    raised = archer.between(0.9, 1.2)
    drawn = raised + archer.between(1.0, 1.4)
    high = from_angles(archer.between(-3, 3), archer.between(-9, -4), archer.mirror * archer.between(-3, 5))
    aim = from_angles(archer.between(-1, 1), archer.between(-2.5, 0.5), archer.mirror * archer.between(-1.5, 1.5))
    end = drawn + hold_s
    turns = [_turn(attitude, high, 0.0, raised), _turn(high, aim, raised, drawn - raised + 0.3)]
    pulses = [
        # the cams come round, or the shoulders, and the bow gives a little jolt
        Pulse(drawn - 0.05, 0.09, (-archer.between(0.4, 1.0), 0.1, 0.2), (0.0, 0.02, 0.01)),
        Pulse(raised, drawn - raised, (archer.between(0.1, 0.3), 0.0, 0.0)),
    ]
    low = _at_rest(archer)
    if ending == "let_down":
        turns.append(_turn(aim, high, end, 1.1))
        turns.append(_turn(high, low, end + 1.2, 1.2))
        pulses.append(Pulse(end + 0.15, 0.35, (archer.between(0.5, 1.2), 0.2, 0.2), (0.02, 0.05, 0.04)))
        envelope = ((0.0, 0.0), (0.3, 3.0), (drawn, 3.0), (drawn + 0.3, 1.0), (end, 1.2), (end + 0.4, 5.0))
        trembles = (_tremble(archer, (*envelope, (end + 1.2, 2.0), (end + 2.4, 0.0))),)
        return Act(end + 2.4, tuple(turns), tuple(pulses), trembles, marks=(Mark(end + 0.5, "let_down"),))

    tip_at, tip = end + archer.between(0.30, 0.50), from_vector(np.array([0.0, archer.between(0.4, 0.9), 0.0]))
    turns += [_turn(aim, compose(aim, tip), tip_at, 0.6), _turn(compose(aim, tip), low, end + 1.3, 1.1)]
    turns += _anticipated(archer, end)
    knocks, marks = [], []
    if archer.bow == "recurve":
        click = end - archer.between(0.09, 0.20)
        knocks.append(_knock(archer, click, (3.0, 3.0, 2.0), low_hz=500, high_hz=1500, rate_deg_s=0.3))
        marks.append(Mark(click, "clicker"))
    if ending == "dry_fire":
        marks.append(Mark(end + 0.008, "dry_fire"))
    envelope = ((0.0, 0.0), (0.3, 3.0), (drawn, 3.0), (drawn + 0.3, 1.0), (end + 0.2, 1.0), (end + 0.5, 2.0))
    return Act(
        end + 2.4,
        tuple(turns),
        tuple(pulses),
        (_tremble(archer, (*envelope, (end + 2.4, 0.0))),),
        tuple(knocks),
        tuple(marks),
        Release(end, drawn, arrow=ending == "shot"),
    )


def _anticipated(archer: Archer, release_s: float) -> list[Turn]:
    """A turn that begins before release, so that the bow already moves when the string is let go."""
    habit = archer.habit
    size = habit.anticipation_deg_s + habit.anticipation_spread_deg_s * float(archer.rng.standard_normal())
    if size == 0.0:
        return []
    before, lasting = archer.between(0.06, 0.12), archer.between(0.22, 0.30)
    s = before / lasting
    way = math.radians(size) * lasting / (30 * (s * (1 - s)) ** 2)
    along = archer.rng.standard_normal(3) * 0.3 + np.array([0.2, 0.5, 0.8 * archer.mirror])
    x, y, z = (float(v) for v in along / np.linalg.norm(along) * way)
    return [Turn(release_s - before, lasting, (x, y, z))]


def walk(archer: Archer, attitude: Floats, duration_s: float) -> Act:
    """To the target, pull the arrows, and back."""
    pace = archer.between(1.75, 1.95)
    out, back = 0.42 * duration_s, 0.58 * duration_s
    level = ((0.0, 0.0), (0.8, 1.0), (out, 1.0), (0.45 * duration_s, 0.1), (0.55 * duration_s, 0.1), (back, 1.0))
    sway = Tremble(
        frequency_hz=np.array([pace, pace / 2, 2 * pace]),
        rate_rad_s=np.radians([[12, 18, 10], [9, 8, 16], [5, 6, 4]]),
        accel_m_s2=np.array([[0.9, 0.5, 2.0], [0.3, 0.8, 0.2], [0.4, 0.2, 0.7]]),
        phase_rad=archer.rng.uniform(0, 2 * math.pi, (3, 3)),
        envelope=(*level, (duration_s - 0.8, 1.0), (duration_s, 0.0)),
    )
    strikes = [t for t in np.arange(1.0, duration_s - 1.0, 1 / pace) if not 0.43 < t / duration_s < 0.57]
    steps = tuple(
        Pulse(float(t) + archer.between(-0.02, 0.02), 0.035, (0.3, 0.2, 0.0), upward_m_s2=archer.between(2.5, 5.5))
        for t in strikes
    )
    turns = (_turn(attitude, _at_rest(archer), 0.0, 1.0),)
    return Act(duration_s, turns, steps, (sway,), marks=(Mark(duration_s * 0.25, "walk"),))


def tap(archer: Archer, attitude: Floats) -> Act:
    """A finger or an arrow against the bow."""
    size = archer.rng.uniform(12, 50, 3) * archer.rng.choice([-1.0, 1.0], 3)
    knock = _knock(archer, 0.6, (float(size[0]), float(size[1]), float(size[2])), low_hz=150, high_hz=800)
    return Act(1.2, trembles=_held(archer, (0.0, 1.2)), knocks=(knock,), marks=(Mark(0.6, "tap"),))


def set_down(archer: Archer, attitude: Floats) -> Act:
    """Onto the stand, left alone for a while, and taken up again."""
    stood = from_angles(archer.between(-20, 20), archer.between(70, 84), 0.0)
    alone = archer.between(2.0, 4.0)
    knock = _knock(archer, 1.3, (8.0, 6.0, archer.between(18, 40)), low_hz=80, high_hz=400)
    jolt = Pulse(1.3, 0.02, upward_m_s2=archer.between(5, 12))
    turns = (_turn(attitude, stood, 0.0, 1.3), _turn(stood, _at_rest(archer), 1.6 + alone, 1.2))
    held = _held(archer, (0.0, 1.3), (1.55 + alone, 3.0 + alone))
    return Act(3.0 + alone, turns, (jolt,), held, (knock,), (Mark(1.3, "set_down"),))


def drop(archer: Archer, attitude: Floats) -> Act:
    """The bow slips, falls freely, hits the floor, lies there and is taken up."""
    fall = archer.between(0.26, 0.36)
    spin = archer.rng.standard_normal(3) * 0.8
    hit = 0.5 + fall
    knocks = (
        _knock(archer, hit, (220.0, 180.0, 320.0), low_hz=90, high_hz=700, rate_deg_s=250),
        _knock(archer, hit + 0.18, (60.0, 50.0, 90.0), low_hz=90, high_hz=700, rate_deg_s=60),
    )
    pulses = (
        Pulse(0.5, fall, (0, 0, 0), (float(spin[0]), float(spin[1]), float(spin[2])), upward_m_s2=-G, flat=True),
        Pulse(hit, 0.012, upward_m_s2=fall * G / 0.012 * math.pi / 2),
    )
    lying = compose(attitude, from_vector(spin * fall * 0.92))
    turns = (_turn(lying, _at_rest(archer), 2.4, 1.4),)
    held = _held(archer, (0.0, 0.5), (2.3, 4.0))
    return Act(4.0, turns, pulses, held, knocks, (Mark(hit, "drop"),))


def cable(archer: Archer, attitude: Floats) -> Act:
    """Something catches the sensor's cable."""
    side = float(archer.rng.choice([-1.0, 1.0]))
    rate = (side * archer.between(0.2, 0.5), archer.between(-0.3, 0.3), side * archer.between(0.4, 0.9))
    back = (-rate[0] * 0.6, -rate[1] * 0.6, -rate[2] * 0.6)
    pulses = (
        Pulse(0.5, 0.07, (-archer.between(2, 5), side * archer.between(3, 7), -2.0), rate),
        Pulse(0.58, 0.12, (1.0, -side * 2.0, 1.0), back),
    )
    return Act(1.3, pulses=pulses, trembles=_held(archer, (0.0, 1.3)), marks=(Mark(0.53, "cable"),))


EXTRAS: Final[dict[str, Callable[[Archer, Floats], Act]]] = {
    "tap": tap, "set_down": set_down, "drop": drop, "cable": cable,
}  # fmt: skip
