"""A session of shooting, act after act, as motion of the sensor's seat in the bow frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quiethand.emulator import acts
from quiethand.emulator.attitude import from_angles, gravity_in_body, running
from quiethand.emulator.bows import BowPlan, bow_plan
from quiethand.emulator.habits import habit_of
from quiethand.emulator.movement import Act, evaluate, ringing
from quiethand.emulator.scenario import Scenario
from quiethand.emulator.shooting import FINE_S, draw_shot, shoot, truth_of
from quiethand.emulator.truth import NuisanceTruth, ShotTruth

__all__ = ["Piece", "Played", "Scene"]

Floats = NDArray[np.float64]
G = 9.80665
CALM_S = 0.002  # tremor up to 12 Hz needs no finer grid
BEFORE_RELEASE_S, AFTER_RELEASE_S = 0.04, 0.55
AROUND_KNOCK_S = (0.01, 0.12)
SEAT_HZ = {"good": 340.0, "cheap": 210.0}
OFTEN = {"let_down": 0.06, "tap": 0.12, "set_down": 0.08, "cable": 0.02, "drop": 0.01}


@dataclass(frozen=True)
class Piece:
    """Motion on an even grid; the last point is the next piece's first. Bow frame, the sensor's place."""

    start_s: float
    step_s: float
    force_m_s2: Floats  # (n, 3) specific force
    rate_rad_s: Floats  # (n, 3)

    @property
    def end_s(self) -> float:
        return self.start_s + self.step_s * (len(self.force_m_s2) - 1)


@dataclass(frozen=True)
class Played:
    """One act: its motion, and what it will be remembered for."""

    pieces: tuple[Piece, ...]
    shots: tuple[ShotTruth, ...]
    nuisances: tuple[NuisanceTruth, ...]
    over: bool  # all shots are shot; what follows is rest


class Scene:
    """Plays acts one by one; the same scenario's seed gives the same acts."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.habit = habit_of(scenario.habit, scenario.bow, scenario.strength)
        self.plan: BowPlan = bow_plan(scenario.bow, arrow_mass_factor=self.habit.arrow_mass_factor)
        self.mount_hz = scenario.mount_hz or SEAT_HZ[scenario.sensor]
        self.mirror = -1.0 if scenario.handedness == "left" else 1.0
        rng = np.random.default_rng([scenario.seed, 1])
        self._archer = acts.Archer(self.habit, scenario.bow, self.mirror, rng)
        self._shot_rng = np.random.default_rng([scenario.seed, 2])
        self.attitude = from_angles(0.0, 55.0, self.mirror * 10.0)
        self._now_s = 0.0
        self._number = 0
        self._waiting: list[str] = []
        self._shown: set[str] = set()

    def next(self) -> Played:
        """The next act."""
        act, over = self._choose()
        return self.play(act, over)

    def _choose(self) -> tuple[Act, bool]:
        """The order of things: now and then a nuisance, nock, shoot; after each end walk to the target and back."""
        scenario, archer = self.scenario, self._archer
        if not self._waiting:
            if scenario.shots is not None and self._number >= scenario.shots:
                return acts.rest(archer, self.attitude, 2.0), True
            self._waiting = self._cycle()
        name = self._waiting.pop(0)
        hold = archer.between(2.2, 3.6) if scenario.bow == "compound" else archer.between(1.6, 2.6)
        if name == "rest":
            return acts.rest(archer, self.attitude, self._rest_s()), False
        if name == "nock":
            return acts.nock(archer, self.attitude), False
        if name == "walk":
            return acts.walk(archer, self.attitude, scenario.walk_s), False
        if name in acts.EXTRAS:
            return acts.EXTRAS[name](archer, self.attitude), False
        if scenario.every_s < 9.0:
            hold *= 0.6
        return acts.shot(archer, self.attitude, hold, ending=name), False

    def _cycle(self) -> list[str]:
        scenario = self.scenario
        chance = self._archer.rng.uniform(size=len(OFTEN))
        extras: list[str] = []
        if scenario.nuisances == "usual":
            extras = [name for name, c in zip(OFTEN, chance, strict=True) if c < OFTEN[name]]
        elif scenario.nuisances == "all":
            unseen = [name for name in (*OFTEN, "dry_fire") if name not in self._shown]
            extras = unseen[:2]
            self._shown.update(extras)
        walked = ["walk"] if self._number and self._number % scenario.arrows_per_end == 0 else []
        if scenario.nuisances == "none":
            return ["rest", "shot"]
        return [*walked, *extras, "rest", "nock", "shot"]

    def _rest_s(self) -> float:
        """So long that releases come `every_s` apart, as far as what lies between leaves room."""
        usual = 6.1 if self.scenario.bow == "compound" else 5.3
        return max(0.3, self.scenario.every_s - 2.4 - usual + self._archer.between(-0.3, 0.3))

    def play(self, act: Act, over: bool = False) -> Played:
        """Play one act from where the last one ended; `next` chooses them, a test may bring its own."""
        pieces: list[Piece] = []
        shots: list[ShotTruth] = []
        for begin, end, fine in _stretches(act):
            step = FINE_S if fine else (end - begin) / max(1, round((end - begin) / CALM_S))
            time = begin + step * np.arange(round((end - begin) / step) + 1, dtype=np.float64)
            rate, body, upward = evaluate(act, time)
            seat_rate, extra = rate, np.zeros_like(body)
            if fine:
                for knock in act.knocks:
                    accel, turned = ringing(knock, time, knock.time_s)
                    extra, seat_rate = extra + accel, seat_rate + turned
                if act.release is not None and begin < act.release.time_s < end:
                    release = act.release
                    shot = draw_shot(self.plan, self.habit, self._shot_rng, arrow=release.arrow, mirror=self.mirror)
                    motion = shoot(self.plan, shot, time - release.time_s, rate, self.mount_hz)
                    seat_rate = seat_rate - rate + motion.seat_rate
                    rate, body, extra = motion.rigid_rate, body + motion.accel_m_s2, extra + motion.seat_accel_m_s2
                    if release.arrow:
                        self._number += 1
                        at, drawn = self._now_s + release.time_s, self._now_s + release.draw_end_s
                        shots.append(truth_of(self.plan, shot, motion, self.habit, self._number, at, drawn))
            force, self.attitude = self._specific_force(rate, body, upward, step, 20 if fine else 4)
            pieces.append(Piece(self._now_s + begin, step, force + extra, seat_rate))
        marks = tuple(NuisanceTruth(self._now_s + mark.time_s, mark.kind) for mark in act.marks)
        self._now_s += act.duration_s
        return Played(tuple(pieces), tuple(shots), marks, over)

    def _specific_force(
        self, rate: Floats, body: Floats, upward: Floats, step: float, every: int
    ) -> tuple[Floats, Floats]:
        """At the sensor: the centre of mass's acceleration, turning about it, and the floor's push against gravity.

        The attitude is followed at every `every`-th point: gravity turns slowly.
        """
        knots = np.append(np.arange(0, len(rate) - 1, every), len(rate) - 1)
        turned = np.concatenate((np.zeros((1, 3)), np.cumsum((rate[1:] + rate[:-1]) * (step / 2), axis=0)))
        attitudes = running(self.attitude, np.diff(turned[knots], axis=0))
        ups = gravity_in_body(attitudes)
        everywhere = np.arange(len(rate))
        up = np.stack([np.interp(everywhere, knots, ups[:, axis]) for axis in range(3)], axis=1)
        arm = np.array(self.plan.lever_arm_m)
        slope = np.gradient(rate, step, axis=0)
        swing = np.cross(slope, arm) + np.cross(rate, np.cross(rate, arm))
        return body + swing + up * (G + upward)[:, None], attitudes[-1]


def _stretches(act: Act) -> list[tuple[float, float, bool]]:
    """Cut an act into stretches (begin, end, fine): fine around shocks and release, on a grid that has the release."""
    spans = [(k.time_s - AROUND_KNOCK_S[0], k.time_s + AROUND_KNOCK_S[1]) for k in act.knocks]
    anchor = act.release.time_s if act.release is not None else None
    if anchor is not None:
        spans.append((anchor - BEFORE_RELEASE_S, anchor + AFTER_RELEASE_S))
    merged: list[tuple[float, float]] = []
    for begin, end in sorted(spans):
        if merged and begin <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((begin, end))
    stretches: list[tuple[float, float, bool]] = []
    now = 0.0
    for begin, end in merged:
        fixed = anchor if anchor is not None and begin < anchor < end else end
        begin = fixed - FINE_S * round((fixed - begin) / FINE_S)
        end = begin + FINE_S * round((end - begin) / FINE_S)
        stretches += [(now, begin, False), (begin, end, True)]
        now = end
    stretches.append((now, act.duration_s, False))
    return stretches
