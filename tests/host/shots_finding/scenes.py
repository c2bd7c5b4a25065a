"""Recordings made of simple shapes, to try the finder on: shares no code with it, and knows no product's data.

A director puts acts one after another on a fine time line in the bow frame; `blocks` adds gravity by attitude, filters,
samples, turns everything into the sensor's axes, adds noise and bias and clips.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from quiethand.motion.block import MotionBlock
from scipy.signal import butter, lfilter

G0 = 9.80665
FINE_HZ = 16000.0
Floats = NDArray[np.float64]


@dataclass
class Sensor:
    rate_hz: float = 2000.0
    bandwidth_share: float = 0.4  # of the rate, -3 dB
    noise_m_s2: float = 0.05
    noise_rad_s: float = 0.004
    bias_rad_s: float = 0.02
    offset_m_s2: float = 0.1
    range_m_s2: float = 16 * G0
    mount: Floats = field(default_factory=lambda: np.eye(3))


@dataclass
class Bow:
    recurve: bool = False
    time_on_string_s: float = 0.016
    peak_m_s2: float = 5.5 * G0  # of the push
    shock_m_s2: float = 100 * G0
    ring_hz: tuple[float, ...] = (150.0, 420.0)
    ring_s: float = 0.03
    pluck_m_s2: float = 0.0


@dataclass
class Scene:
    force: Floats  # (n, 3) bow frame, without gravity, at FINE_HZ
    rate: Floats  # (n, 3)
    pitch: Floats  # (n,) nose down, rad; gravity follows it
    falling: NDArray[np.bool_]  # (n,) no support
    shots: list[tuple[float, float]] = field(default_factory=list)  # release, departure
    dry: list[float] = field(default_factory=list)
    acts: list[tuple[float, str]] = field(default_factory=list)
    holes: list[tuple[float, float]] = field(default_factory=list)
    glitches: list[float] = field(default_factory=list)


def smooth(n: int) -> Floats:
    """From 0 to 1 without a jerk, shape (n,)."""
    s = np.linspace(0.0, 1.0, n)
    return s**3 * (10 - 15 * s + 6 * s * s)


def unit(rng: np.random.Generator) -> Floats:
    v = rng.normal(size=3)
    return v / np.linalg.norm(v)


def shape_of_push(s: Floats, recurve: bool) -> Floats:
    """Force on the bow along x over its largest magnitude, s from 0 at release to 1 at departure."""
    if recurve:
        return -0.15 * np.cos(np.pi * s / 1.1) * (1 - s**4) + s**3
    rise = np.clip((s - 0.12) / 0.88, 0, 1)
    return -((1 - np.cos(np.pi * np.minimum(rise / 0.72, 1))) / 2) * np.where(rise < 0.72, 1, np.cos(
        np.pi / 2 * (rise - 0.72) / 0.28)) + 0.08 * s**6  # fmt: skip


def ring(rng: np.random.Generator, n: int, peak: float, hz: tuple[float, ...], tau: float) -> Floats:
    """Modes that start together, each in a direction of its own, the first the strongest, shape (n, 3)."""
    t = np.arange(n) / FINE_HZ
    out = np.zeros((n, 3))
    for k, f in enumerate(hz):
        out += np.outer(np.sin(2 * np.pi * f * t) * np.exp(-t / (tau / (1 + 0.4 * k))), unit(rng)) / (1 + 0.5 * k)
    largest = float(np.linalg.norm(out, axis=1).max())
    return out * (peak / max(largest, 1e-12))


class Director:
    """Puts acts one after another on a time line."""

    def __init__(self, seed: int, seconds: float, carry_rad: float = 0.8) -> None:
        self.rng = np.random.default_rng(seed)
        n = round(seconds * FINE_HZ)
        self.scene = Scene(np.zeros((n, 3)), np.zeros((n, 3)), np.full(n, carry_rad), np.zeros(n, np.bool_))
        self.at = 0
        self.carry_rad = carry_rad
        self._tremor(n)

    def _tremor(self, n: int) -> None:
        t = np.arange(n) / FINE_HZ
        for k in range(3):
            for f, a in ((9.0, 0.006), (1.1, 0.006), (0.37, 0.008)):
                self.scene.rate[:, k] += a * np.sin(2 * np.pi * f * t + self.rng.uniform(0, 6.3))
                self.scene.force[:, k] += 0.004 * G0 * np.sin(2 * np.pi * f * t + self.rng.uniform(0, 6.3))

    @property
    def now(self) -> float:
        return self.at / FINE_HZ

    def wait(self, seconds: float) -> None:
        self.at += round(seconds * FINE_HZ)

    def add(self, force: Floats, after_s: float = 0.0) -> None:
        """Force on top of what is there, from some time after now (before it, if negative)."""
        at = self.at + round(after_s * FINE_HZ)
        end = min(at + len(force), len(self.scene.force))
        self.scene.force[at:end] += force[: end - at]

    def turn(self, to_rad: float, seconds: float) -> None:
        n = min(round(seconds * FINE_HZ), len(self.scene.pitch) - self.at)
        was = self.scene.pitch[self.at]
        path = was + (to_rad - was) * smooth(n)
        self.scene.pitch[self.at : self.at + n] = path
        self.scene.pitch[self.at + n :] = to_rad
        self.scene.rate[self.at : self.at + n, 1] += np.gradient(path) * FINE_HZ
        self.at += n

    def shake(self, seconds: float, size_m_s2: float) -> None:
        n = round(seconds * FINE_HZ)
        b, a = butter(2, 60 / (FINE_HZ / 2))
        noise = lfilter(b, a, self.rng.normal(size=(n, 3)), axis=0)
        noise *= size_m_s2 / noise.std()
        self.add(noise * np.sin(np.pi * np.linspace(0, 1, n))[:, None] ** 0.3)
        self.at += n

    def draw(self, hold_s: float, shake_g: float = 0.12, level_rad: float = 0.0) -> None:
        self.turn(level_rad, self.rng.uniform(0.7, 1.1))
        self.shake(self.rng.uniform(0.8, 1.4), shake_g * G0)
        self.wait(hold_s)

    def lower(self) -> None:
        self.turn(self.carry_rad, self.rng.uniform(0.8, 1.2))

    def release(self, bow: Bow, dry: bool = False, dry_s: float | None = None) -> None:
        time = bow.time_on_string_s
        if dry:  # string and limbs alone, whatever the arrow would have weighed
            time = dry_s or min(
                0.5 * time, self.rng.uniform(0.0045, 0.007) if bow.recurve else self.rng.uniform(0.0055, 0.0085)
            )
        n = round(time * FINE_HZ)
        push = np.zeros((n, 3))
        push[:, 0] = bow.peak_m_s2 * shape_of_push(np.linspace(0, 1, n), bow.recurve)
        push[:, 2] = 0.05 * push[:, 0]
        if bow.pluck_m_s2:
            m = min(n, round(0.0022 * FINE_HZ))
            push[:m, 1] += bow.pluck_m_s2 * np.sin(np.pi * np.linspace(0, 1, m))
        start = self.now
        self.add(push)
        self.at += n
        loud = bow.shock_m_s2 * (1.6 if dry else 1.0)
        self.add(ring(self.rng, round(0.4 * FINE_HZ), loud, bow.ring_hz, bow.ring_s))
        m = round(0.6 * FINE_HZ)
        t = np.arange(m) / FINE_HZ
        recoil = np.zeros((m, 3))
        recoil[:, 0] = self.rng.uniform(-2, 2) * G0 * np.sin(2 * np.pi * 3 * t) * np.exp(-t / 0.12)
        self.add(recoil)
        end = min(self.at + m, len(self.scene.rate))
        kick = self.rng.normal(0, 0.25, 3) * np.ones((m, 1)) * (np.exp(-t / 0.15) * np.sin(2 * np.pi * 4 * t))[:, None]
        self.scene.rate[self.at : end] += kick[: end - self.at]
        (self.scene.dry.append(self.now) if dry else self.scene.shots.append((start, self.now)))
        self.wait(0.7)

    def knock(self, kind: str, peak_m_s2: float, hz: tuple[float, ...], tau: float, swing_rad_s: float = 0.0) -> None:
        self.scene.acts.append((self.now, kind))
        self.add(ring(self.rng, round(0.3 * FINE_HZ), peak_m_s2, hz, tau))
        if swing_rad_s:
            m = round(0.15 * FINE_HZ)
            end = min(self.at + m, len(self.scene.rate))
            self.scene.rate[self.at : end] += np.outer(
                np.sin(np.pi * np.linspace(0, 1, m)), swing_rad_s * unit(self.rng)
            )[: end - self.at]
        self.wait(0.4)

    def set_down(self, peak_m_s2: float) -> None:
        self.scene.acts.append((self.now, "set_down"))
        for k in range(3):
            self.add(ring(self.rng, round(0.3 * FINE_HZ), peak_m_s2 * 0.6**k, (130.0, 300.0), 0.02))
            self.wait(self.rng.uniform(0.07, 0.14))
        self.wait(0.5)

    def let_down(self) -> None:
        self.scene.acts.append((self.now, "let_down"))
        self.shake(self.rng.uniform(0.5, 1.0), self.rng.uniform(0.1, 0.25) * G0)
        self.wait(self.rng.uniform(0.1, 0.8))
        self.lower()

    def drop(self, peak_m_s2: float) -> None:
        n = round(self.rng.uniform(0.2, 0.4) * FINE_HZ)
        self.scene.falling[self.at : self.at + n] = True
        self.scene.rate[self.at : self.at + n] += np.outer(np.sin(np.pi * np.linspace(0, 1, n)), 3.0 * unit(self.rng))
        self.at += n
        self.scene.acts.append((self.now, "drop"))
        for k in range(2):
            self.add(ring(self.rng, round(0.3 * FINE_HZ), peak_m_s2 * 0.5**k, (200.0, 500.0), 0.03))
            self.wait(0.15)
        self.wait(0.5)

    def walk(self, seconds: float) -> None:
        self.scene.acts.append((self.now, "walk"))
        n = round(seconds * FINE_HZ)
        t = np.arange(n) / FINE_HZ
        f, a = self.rng.uniform(1.5, 2.2), self.rng.uniform(0.15, 0.4) * G0
        up = np.array([-np.sin(self.carry_rad), 0.0, np.cos(self.carry_rad)])
        edge = np.minimum(1, np.minimum(t, t[::-1]) / 0.2)
        self.add(np.outer(a * np.sin(2 * np.pi * f * t) * edge, up))
        for beat in np.arange(0.3, seconds, 1 / f):
            self.add(
                ring(self.rng, round(0.1 * FINE_HZ), self.rng.uniform(0.2, 0.9) * G0, (60.0,), 0.01),
                float(beat),
            )
        self.at += n
        self.wait(0.3)

    def tug(self) -> None:
        self.scene.acts.append((self.now, "cable_tug"))
        m = round(0.03 * FINE_HZ)
        self.add(np.outer(np.sin(2 * np.pi * np.linspace(0, 1, m)), 0.5 * G0 * unit(self.rng)))
        self.scene.glitches.append(self.now + 0.02)
        self.scene.holes.append((self.now + 0.026, self.now + 0.026 + self.rng.uniform(0.02, 0.1)))
        self.wait(0.6)


def blocks(scene: Scene, sensor: Sensor, seed: int = 0, cut: int = 500) -> list[MotionBlock]:
    """What the sensor would give of the scene, as blocks of `cut` samples."""
    rng = np.random.default_rng(seed)
    gravity = np.column_stack([-np.sin(scene.pitch), np.zeros(len(scene.pitch)), np.cos(scene.pitch)]) * G0
    gravity[scene.falling] *= 0.05
    force, rate = scene.force + gravity, scene.rate
    b, a = butter(2, min(0.95, sensor.bandwidth_share * sensor.rate_hz / (FINE_HZ / 2)))
    force = lfilter(b, a, force - force[0], axis=0) + force[0]
    rate = lfilter(b, a, rate - rate[0], axis=0) + rate[0]
    pick = np.round(np.arange(0, len(force) - 1, FINE_HZ / sensor.rate_hz)).astype(np.int64)
    force, rate = force[pick] @ sensor.mount.T, rate[pick] @ sensor.mount.T
    n = len(pick)
    force += rng.normal(0, sensor.noise_m_s2, (n, 3)) + sensor.offset_m_s2 * unit(rng)
    rate += rng.normal(0, sensor.noise_rad_s, (n, 3)) + sensor.bias_rad_s * unit(rng)
    time_s = np.arange(n) / sensor.rate_hz
    for at in scene.glitches:
        k = round(at * sensor.rate_hz)
        force[k] += rng.choice([-1, 1], 3) * rng.uniform(8, 15) * G0
        rate[k] += rng.choice([-1, 1], 3) * rng.uniform(10, 30)
    clipped = (np.abs(force) >= sensor.range_m_s2).any(axis=1)
    force = np.clip(force, -sensor.range_m_s2, sensor.range_m_s2)
    keep = np.ones(n, np.bool_)
    for start, stop in scene.holes:
        keep &= ~((time_s >= start) & (time_s < stop))
    index = np.flatnonzero(keep)
    return [
        MotionBlock(
            0, part, time_s[part], force[part], rate[part], clipped[part], np.zeros(len(part), np.bool_),
            1 / sensor.rate_hz, None, None, None, None,
        )
        for part in np.split(index, range(cut, len(index), cut))
    ]  # fmt: skip


def any_mount(rng: np.random.Generator) -> Floats:
    """A turn of the sensor against the bow, any."""
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    return np.asarray(q if np.linalg.det(q) > 0 else -q)


def any_bow(rng: np.random.Generator) -> Bow:
    """25 to 70 lb on 2 to 4 kg, 11 to 25 ms on the string, a shock of 20 to 500 g ringing at 80 Hz to 1 kHz."""
    recurve = bool(rng.random() < 0.45)
    weight = rng.uniform(25, 50) if recurve else rng.uniform(35, 70)
    push = weight * 4.448 * 0.85 / rng.uniform(2.0, 3.8)
    hz = np.exp(rng.uniform(np.log(80), np.log(1000), 3))
    return Bow(
        recurve,
        rng.uniform(0.0115, 0.017) if recurve else rng.uniform(0.0125, 0.025),
        push,
        float(np.exp(rng.uniform(np.log(20), np.log(500)))) * G0,
        tuple(sorted(hz.tolist())),
        rng.uniform(0.012, 0.06),
        rng.uniform(0, 2.5) * G0 if recurve else 0.0,
    )


def any_sensor(rng: np.random.Generator) -> Sensor:
    rate = float(rng.choice([500, 800, 1000, 2000, 4000, 8000]))
    return Sensor(
        rate,
        rng.uniform(0.25, 0.45),
        float(np.exp(rng.uniform(np.log(0.01), np.log(0.15)))),
        float(np.exp(rng.uniform(np.log(0.0005), np.log(0.008)))),
        rng.uniform(0, 0.08),
        rng.uniform(0, 0.4),
        float(rng.choice([4, 8, 16, 32])) * G0,
        any_mount(rng),
    )
