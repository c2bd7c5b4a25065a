"""The sketch written in ten minutes: lines of numbers from power-up on, deaf to commands."""

from __future__ import annotations

from collections import deque
from typing import Literal

import numpy as np

from quiethand.emulator.sampling import Chunk, Sampler
from quiethand.emulator.scenario import Scenario
from quiethand.emulator.truth import NuisanceTruth, ShotTruth

__all__ = ["TextDevice", "TextUnits"]

TextUnits = Literal["counts", "si", "deg_g"]
UNITS = {"counts": ("counts", "counts"), "si": ("m/s2", "rad/s"), "deg_g": ("g", "deg/s")}
G = 9.80665
COMMENTS_EVERY_S = 10.0
LINES_AT_ONCE = 20


class TextDevice:
    """Text mode with the same face as `Device`, as far as a device has one that cannot hear.

    Streams from the first step on. `lose` and `corrupt` are chances for each batch of lines.
    """

    def __init__(self, scenario: Scenario, *, units: TextUnits = "counts", checked: bool = False) -> None:
        self.scenario, self.faults = scenario, scenario.faults
        self.sampler = Sampler(scenario)
        self.units, self.checked = units, checked
        self.sent_samples = self.lost_samples = self.spoilt_samples = 0
        self.power_ups = 1
        self.last_sent: tuple[float, int] | None = None
        self.streaming = False
        self._chance = np.random.default_rng([scenario.seed, 8])
        self._power_s = 0.0
        self._comments_s = 0.0
        self._queue: deque[tuple[float, float, int, bytes]] = deque()  # due, first sample, t_us, lines
        self._told = self._told_nuisances = 0

    @property
    def clock_scale(self) -> float:
        """Seconds of the device's clock in a true second."""
        return 1 + self.faults.clock_ppm * 1e-6

    def step(self, now_s: float, data: bytes = b"", *, congested: bool = False) -> bytes:
        """Lines that are due by `now_s`; `data` goes unheard."""
        if not self.streaming:
            self.streaming = True
            self._comments_s = now_s
            self.sampler.begin(now_s)
        out = bytearray()
        while True:
            if not self._queue:
                if self.sampler.next_s > now_s:
                    break
                self._compute()
            due, _, t_us, lines = self._queue[0]
            if due > now_s:
                break
            self._queue.popleft()
            if due >= self._comments_s:
                out += self._comments()
                self._comments_s += COMMENTS_EVERY_S
            count = lines.count(b"\n")
            if congested or (self.faults.lose and self._chance.random() < self.faults.lose):
                self.lost_samples += count
                continue
            if self.faults.corrupt and self._chance.random() < self.faults.corrupt:
                at = int(self._chance.integers(0, len(lines) - 1))
                spoilt = lines[:at] + b"#!"[: 1 + int(self._chance.integers(0, 2))] + lines[at + 1 :]
                out += spoilt
                self.spoilt_samples += 1
                continue
            out += lines
            self.sent_samples += count
            self.last_sent = (due, t_us)
        return bytes(out)

    def power_up(self, now_s: float) -> None:
        """Plugged in again: t_us starts from 0, lines come at once."""
        if self._queue:
            self.sampler.rewind(self._queue[0][1])
            self._queue.clear()
        self._power_s = now_s
        self.power_ups += 1
        self.streaming = False
        self.sampler.power_up(now_s)

    def truth_until(self, now_s: float) -> tuple[list[ShotTruth], list[NuisanceTruth]]:
        """As `Device.truth_until`."""
        shots, nuisances, self._told, self._told_nuisances = self.sampler.happened(
            now_s, self._told, self._told_nuisances
        )
        return shots, nuisances

    def _t_us(self, true_s: float) -> int:
        return round((true_s - self._power_s) * self.clock_scale * 1e6) % 2**32

    def _compute(self) -> None:
        batches = max(1, round(0.5 * self.scenario.rate_hz / LINES_AT_ONCE))
        chunk = self.sampler.take(batches * LINES_AT_ONCE)
        lines = self._lines(chunk)
        for first in range(0, len(lines), LINES_AT_ONCE):
            last = first + LINES_AT_ONCE - 1
            due, t_us = float(chunk.at_s[last]) + 0.001, self._t_us(float(chunk.stamp_s[last]))
            self._queue.append((due, float(chunk.at_s[first]), t_us, b"".join(lines[first : last + 1])))

    def _lines(self, chunk: Chunk) -> list[bytes]:
        stamps = [self._t_us(float(stamp)) for stamp in chunk.stamp_s]
        settings = self.sampler.sensor.settings
        if self.units == "counts":
            plain = [f"{t},{a},{b},{c},{d},{e},{f}" for t, (a, b, c, d, e, f) in zip(
                stamps, chunk.counts.tolist(), strict=True
            )]  # fmt: skip
        else:
            accel, gyro = settings.accel_scale, settings.gyro_scale
            if self.units == "deg_g":
                accel, gyro = accel / G, float(np.degrees(gyro))
            values = chunk.counts * np.array([accel] * 3 + [gyro] * 3)
            plain = ["{},{:.9g},{:.9g},{:.9g},{:.9g},{:.9g},{:.9g}".format(t, *row) for t, row in zip(
                stamps, values.tolist(), strict=True
            )]  # fmt: skip
        return [self._ended(line) for line in plain]

    def _ended(self, line: str) -> bytes:
        data = line.encode("ascii")
        if self.checked:
            data += b"*%02x" % int(np.bitwise_xor.reduce(np.frombuffer(data, dtype=np.uint8)))
        return data + b"\n"

    def _comments(self) -> bytes:
        accel_unit, gyro_unit = UNITS[self.units]
        lines = [f"# accel_unit={accel_unit}", f"# gyro_unit={gyro_unit}"]
        if self.units == "counts":
            settings = self.sampler.sensor.settings
            lines += [f"# accel_scale={settings.accel_scale!r}", f"# gyro_scale={settings.gyro_scale!r}"]
        return b"".join(self._ended(line) for line in lines)
