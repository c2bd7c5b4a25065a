"""Samples of a scene at the device's own pace: which instants, which ticks, which counts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quiethand.emulator.scenario import Scenario
from quiethand.emulator.scene import Scene
from quiethand.emulator.sensor import Sensor
from quiethand.emulator.truth import NuisanceTruth, ShotTruth

__all__ = ["Chunk", "Sampler"]

Floats = NDArray[np.float64]
KEEP_S = 3.0  # of motion behind, so that samples taken ahead can be taken again with other settings
WARM_S = 150.0


@dataclass(frozen=True)
class Chunk:
    """Samples in a row."""

    at_s: Floats  # (n,) true time
    stamp_s: Floats  # (n,) when the device's clock was read for it, a little late
    counts: NDArray[np.int16]  # (n, 6)


class Sampler:
    """The scene as sampled. The scene goes on only while samples are taken: an archer waits for a stopped sensor."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.scene = Scene(scenario)
        self.sensor = Sensor(scenario)
        self.shots: list[ShotTruth] = []  # on the scene's clock
        self.nuisances: list[NuisanceTruth] = []
        self.over_s: float | None = None  # scene time after which only rest follows
        self._rng = np.random.default_rng([scenario.seed, 5])
        self._next_s = 0.0  # true time of the next sample
        self._paused_s = 0.0  # true time less scene time
        self._power_s = 0.0
        self._runs: list[tuple[float, float]] = []  # (scene time, true time) of each beginning

    @property
    def next_s(self) -> float:
        """True time of the next sample."""
        return self._next_s

    def power_up(self, true_s: float) -> None:
        """The sensor is cold again."""
        self._power_s = true_s

    def begin(self, true_s: float) -> None:
        """Sampling starts (again): the first sample comes one period later."""
        scene_s = self._next_s - self._paused_s if self._runs else 0.0
        self._next_s = true_s + 1 / self.scenario.rate_hz
        self._paused_s = self._next_s - scene_s
        self._runs.append((scene_s, self._next_s))

    def rewind(self, true_s: float) -> None:
        """Take the samples from `true_s` on once more; not further back than a chunk."""
        self._next_s = true_s

    def period_s(self, true_s: float) -> float:
        """The sensor's oscillator is off, and drifts as it warms."""
        sensor = self.sensor
        warming = sensor.spec.rate_warming * (1 - math.exp(-(true_s - self._power_s) / WARM_S))
        return 1 / (sensor.settings.rate_hz * (1 + sensor.rate_error + warming))

    def take(self, count: int) -> Chunk:
        """The next `count` samples."""
        period = self.period_s(self._next_s)
        at = self._next_s + period * np.arange(count, dtype=np.float64)
        scene = at - self._paused_s
        on_s = self._next_s - self._power_s
        counts = self.sensor.lie(count, on_s) if self.scenario.still else self._watched(scene, on_s)
        late = self._rng.exponential(self.sensor.spec.stamp_late_s, count)
        self._next_s = float(at[-1]) + period
        return Chunk(at, at + np.minimum(late, 0.5 * period), counts)

    def _watched(self, scene_s: Floats, on_s: float) -> NDArray[np.int16]:
        """The archer goes on as far as samples are wanted."""
        self.sensor.forget_before(scene_s[0] - KEEP_S)
        while self.sensor.seen_until_s <= scene_s[-1]:
            played = self.scene.next()
            if played.over and self.over_s is None:
                self.over_s = played.pieces[0].start_s
            for piece in played.pieces:
                self.sensor.show(piece)
            self.shots += played.shots
            self.nuisances += played.nuisances
        return self.sensor.sample(scene_s, on_s)

    @property
    def scene_s(self) -> float:
        """How far the scene has come."""
        return self._next_s - self._paused_s

    @property
    def first_s(self) -> float:
        """True time of the first sample of all."""
        return self._runs[0][1] if self._runs else 0.0

    def true_s(self, scene_s: float) -> float:
        """True time of a scene time."""
        begun = max((run for run in self._runs if run[0] <= scene_s), default=self._runs[0] if self._runs else (0, 0))
        return begun[1] + scene_s - begun[0]

    def happened(
        self, until_s: float, shots_before: int = 0, nuisances_before: int = 0
    ) -> tuple[list[ShotTruth], list[NuisanceTruth], int, int]:
        """Shots and nuisances past by `until_s`, in true seconds, but for the first ones; and both new totals."""
        shots: list[ShotTruth] = []
        for shot in self.shots[shots_before:]:
            moved = shot.shifted(shot.release_s - self.true_s(shot.release_s), 1.0)
            if moved.departure_s > until_s:
                break
            shots.append(moved)
        nuisances: list[NuisanceTruth] = []
        for nuisance in self.nuisances[nuisances_before:]:
            past = nuisance.shifted(nuisance.time_s - self.true_s(nuisance.time_s), 1.0)
            if past.time_s > until_s:
                break
            nuisances.append(past)
        return shots, nuisances, shots_before + len(shots), nuisances_before + len(nuisances)
