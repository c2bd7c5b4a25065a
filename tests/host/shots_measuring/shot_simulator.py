"""Shots made up from first principles, to hold the measuring to account. It shares no code with the analysis.

String and arrow are stepped through a draw-force curve of invented shape; the bow recoils against a hand that gives; a
grip torque, the string's pull off the centre and a pluck turn it; a damped ring of five modes follows brace. The sensor
is a second-order Butterworth low-pass with a latency, white noise, a bias and an answer to acceleration. What a user
would state about the bow is the truth with a careful user's errors.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from quiethand.axes import Axes
from quiethand.bow.model import Arrow, Bow, SensorSetup, Setup, Target
from quiethand.shots.candidate import Candidate, MotionWindow
from quiethand.shots.still import StillState
from scipy.signal import butter, lfilter

G0 = 9.80665
DT = 2e-5
BEFORE_S, AFTER_S = 1.2, 0.42
INERTIA = np.array([0.10, 0.38, 0.33])
Kind = Literal["compound", "recurve"]


@dataclass(frozen=True)
class Told:
    """The truth of one shot."""

    release_s: float
    departure_s: float
    rotation_deg: NDArray[np.float64]
    rate_release_deg_s: NDArray[np.float64]
    rate_departure_deg_s: NDArray[np.float64]
    impulse_nms: NDArray[np.float64]


@dataclass(frozen=True)
class Scene:
    candidate: Candidate
    setup: Setup
    still: StillState
    told: Told


@dataclass(frozen=True)
class SensorKind:
    gyro_density_deg: float  # deg/s/sqrt(Hz)
    felt_deg_g: float  # standard deviation of its answer to acceleration, deg/s per g
    accel_density: float  # m/s2/sqrt(Hz)
    range_m_s2: float


GOOD = SensorKind(0.0035, 0.012, 0.0012, 32 * G0)
CHEAP = SensorKind(0.0142, 0.047, 0.003, 16 * G0)


def draw_force(kind: Kind, rng: np.random.Generator) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Position of the string from the pivot point and force, rising positions. Shapes are invented."""
    brace = rng.uniform(0.165, 0.19) if kind == "compound" else rng.uniform(0.21, 0.235)
    full = brace + (rng.uniform(0.46, 0.53) if kind == "compound" else rng.uniform(0.40, 0.46))
    x = np.linspace(brace, full, 41)
    s = (x - brace) / (full - brace)
    if kind == "compound":
        let_off, peak = rng.uniform(0.65, 0.85), rng.uniform(200, 300)
        up = np.tanh(s / rng.uniform(0.14, 0.2))
        down = 1 - let_off / (1 + np.exp(-(s - rng.uniform(0.82, 0.87)) / rng.uniform(0.028, 0.04)))
        return x, peak * up * down / np.max(up * down)
    peak = rng.uniform(150, 200)
    return x, peak * (1.18 * s - 0.35 * s**2 + 0.17 * s**3 + 0.12 * np.tanh(s / 0.06)) / 1.12


def simulate(
    seed: int,
    kind: Kind = "compound",
    rate_hz: float = 2000.0,
    sensor: SensorKind = GOOD,
    *,
    shock: float = 1.0,
    ring_scale: float = 1.0,
    extra_bias_deg_s: tuple[float, float, float] = (0.0, 0.0, 0.0),
    limbs_kg: float = 0.0,
    felt_deg_g: tuple[float, float, float] | None = None,
) -> Scene:
    """One shot; the same seed with another `shock` or `ring_scale` differs in nothing before the departure.

    `limbs_kg` is what the limbs add to the moving mass at full draw; it fades along the stroke, by a power of what is
    left of it that differs from shot to shot, and the set-up does not state it.
    """
    rng = np.random.default_rng(seed)
    x_curve, f_curve = draw_force(kind, rng)
    arrow, virtual, friction = rng.uniform(0.018, 0.027), rng.uniform(0.004, 0.007), rng.uniform(0.04, 0.08)
    bow_kg = rng.uniform(2.0, 3.2)
    t = np.arange(-BEFORE_S, AFTER_S, DT) + rng.uniform(0, 1 / rate_hz)
    zero = int(np.searchsorted(t, 0.0))
    fade = rng.uniform(1e-3, 3.5e-3) if kind == "recurve" else 2e-4
    hold = np.clip(0.5 - t / fade, 0.0, 1.0)
    # the nock: symplectic Euler from where the hold begins to fade
    n_step = int(0.03 / DT)
    start = zero - int(fade / DT)
    moving = arrow + virtual
    away, held = x_curve[-1] - x_curve[::-1], f_curve[::-1]
    fine = np.linspace(0, away[-1], 2000)
    table = np.interp(fine, away, held) * (1 - friction)
    pos = vel = 0.0
    fading = 1.0 + 0.4 * np.random.default_rng([seed, 1]).uniform()
    accel, speed = np.zeros(len(t)), np.zeros(len(t))
    place = np.zeros(len(t))
    end = start
    for i in range(start, start + n_step):
        at = pos / away[-1] * 1999
        if at >= 1999:
            end = i
            break
        j = int(at)
        force = table[j] + (at - j) * (table[min(j + 1, 1999)] - table[j])
        # Lagrange: d[(m + K) v]/dt = F + K' v^2 / 2, so that (m + K) v' = F - K' v^2 / 2
        left = 1 - at / 1999
        falls = -limbs_kg * fading * left ** (fading - 1) / away[-1]
        free = force - hold[i] * table[0] - falls * vel * vel / 2
        a = max(0.0, free / (moving + limbs_kg * left**fading))
        accel[i], speed[i], place[i] = a, vel, pos
        vel += a * DT
        pos += vel * DT
    total_s = t[end]
    in_flight = (t >= t[start]) & (t < total_s)
    # momentum that limbs carry: more than K at first for a recurve, fading along the stroke
    part = place / away[-1]
    carried = virtual * (1.4 + (1.2 if kind == "recurve" else 0.1) * (1 - part) ** 2)
    # the tips' forward speed falls more slowly than their energy
    carried = carried + limbs_kg * 1.5 * np.clip(1 - part, 0, 1) ** (0.6 * fading)
    momentum = np.where(
        in_flight, (arrow + carried) * speed, (arrow + carried[end - 1]) * speed[end - 1] * (t >= total_s)
    )
    drive = np.where(in_flight, held[0] * (1 - hold), 0.0) - np.gradient(momentum, DT) * in_flight
    stiff, damp = rng.uniform(600, 2500), rng.uniform(20, 60)
    bow_a, bow_v, bow_x = np.zeros(len(t)), 0.0, 0.0
    for i in range(start, end):
        bow_a[i] = drive[i] / bow_kg - stiff / bow_kg * bow_x - damp / bow_kg * bow_v
        bow_v += bow_a[i] * DT
        bow_x += bow_v * DT
    # turning: tremor, a grip torque that steps in at release, the string's offset, a pluck
    rate = np.zeros((len(t), 3))
    for k in range(3):
        for hz in rng.uniform([0.4, 7.5, 9.0], [1.0, 9.0, 11.5]):
            rate[:, k] += np.deg2rad(rng.normal(0, 0.35)) * np.sin(2 * np.pi * hz * t + rng.uniform(0, 6.28))
    after = np.clip(t, 0, total_s)
    string = np.concatenate([[0.0], np.cumsum(np.where(in_flight, accel * moving, 0.0))[:-1] * DT])
    torque_step = rng.normal(0, [0.05, 0.3, 0.3])
    offset = rng.normal(0, [0.0004, 0.003, 0.0006])
    turned = (
        torque_step * after[:, None] + 2 * torque_step * after[:, None] ** 2 / 0.02 + offset * string[:, None]
    ) / INERTIA
    rate += turned
    sideways = np.zeros(len(t))
    if kind == "recurve":
        centre, width = rng.uniform(-1e-3, 0.0), rng.uniform(0.5e-3, 0.9e-3)
        pulse = np.exp(-0.5 * ((t - centre) / width) ** 2)
        jump = np.deg2rad(rng.normal(0, 2.5))
        rate[:, 2] += jump * np.cumsum(pulse) / pulse.sum()
        sideways = pulse * rng.uniform(5, 20) * np.sign(jump)
    elif rng.random() < 0.5:
        since = np.maximum(t, 0)
        bow_a = bow_a + rng.uniform(0.5, 2) * (t > 0) * np.exp(-since / 1e-3) * np.sin(2 * np.pi * 700 * since)
    at_release, at_departure = rate[zero], rate[end]
    turn = np.sum(rate[zero:end], axis=0) * DT
    told_impulse = INERTIA * (at_departure - at_release)
    force = np.zeros((len(t), 3))
    force[:, 0], force[:, 1], force[:, 2] = bow_a, sideways, G0
    felt_force = force[:, 0].copy()
    shown = rate.copy()
    path = rng.uniform(1e-4, 2e-4)
    since = t - total_s - path
    on = since > 0
    ring = np.clip(since, 0, None)
    for k in range(3):
        for hz in rng.uniform([80, 150, 250, 400, 600], [140, 250, 400, 600, 900]):
            wave = (
                on
                * np.exp(-ring * 2 * np.pi * hz * 0.035)
                * np.cos(2 * np.pi * hz * ring_scale * ring + rng.uniform(-0.9, 0.9))
            )
            force[:, k] += shock * rng.uniform(40, 140) * rng.choice([-1, 1]) * wave
            if hz < 260:
                shown[:, k] += (
                    on
                    * shock
                    * np.deg2rad(rng.normal(0, 14))
                    * np.exp(-ring * 30)
                    * np.sin(2 * np.pi * hz * ring_scale * ring)
                )
    drawn = rng.normal(0, sensor.felt_deg_g, 3)
    felt = np.deg2rad(drawn if felt_deg_g is None else felt_deg_g) / G0
    shown += np.outer(felt_force, felt)
    bias_error = np.deg2rad(rng.normal(0, 0.004, 3))
    return _sampled(
        rng, t, force, shown + bias_error, rate_hz, sensor, np.deg2rad(extra_bias_deg_s),
        Told(0.0, float(total_s), np.rad2deg(turn), np.rad2deg(at_release), np.rad2deg(at_departure), told_impulse),
        _stated(rng, kind, x_curve, f_curve, arrow, virtual, friction, bow_kg),
    )  # fmt: skip


def _sampled(
    rng: np.random.Generator,
    t: NDArray[np.float64],
    force: NDArray[np.float64],
    shown: NDArray[np.float64],
    rate_hz: float,
    sensor: SensorKind,
    bias: NDArray[np.float64],
    told: Told,
    setup: Setup,
) -> Scene:
    band_a, band_g = 0.40 * rate_hz, 0.32 * rate_hz
    latency = 0.4 / rate_hz
    delay_a = np.sqrt(2) / (2 * np.pi * band_a) + latency
    delay_g = np.sqrt(2) / (2 * np.pi * band_g) + latency
    out = []
    for values, band, density in (
        (force, band_a, sensor.accel_density),
        (shown, band_g, np.deg2rad(sensor.gyro_density_deg)),
    ):
        noisy = values + rng.standard_normal(values.shape) * density * np.sqrt(0.5 / DT)
        b, a = butter(2, band, fs=1 / DT)
        first = noisy[:2000].mean(axis=0)
        out.append(lfilter(b, a, noisy - first, axis=0) + first)
    step = round(1 / rate_hz / DT)
    lag = round(latency / DT)
    picks = np.arange(400 + lag, len(t), step)
    tick = t[picks]
    f, w = out[0][picks - lag], out[1][picks - lag] + bias
    clipped = (np.abs(f) >= sensor.range_m_s2).any(axis=1)
    f = np.clip(f, -sensor.range_m_s2, sensor.range_m_s2)
    n = len(tick)
    window = MotionWindow(
        segment=0, index=np.arange(n), time_s=tick, specific_force_m_s2=f, rate_rad_s=w, accel_clipped=clipped,
        gyro_clipped=np.zeros(n, bool), period_s=step * DT, accel_delay_s=float(delay_a), gyro_delay_s=float(delay_g),
        accel_bandwidth_hz=band_a, gyro_bandwidth_hz=band_g, mount_stated=True,
    )  # fmt: skip
    candidate = Candidate(
        window, told.release_s + rng.uniform(-3e-3, 3e-3), told.departure_s + rng.uniform(-1e-3, 1.5e-3), -1.0
    )
    noise = np.full(3, float(np.std(w[:50] - w[:50].mean(axis=0))))
    still = StillState(bias, np.full(3, np.deg2rad(0.004)), noise, -2.0, 2.0)
    noise_sample = np.deg2rad(sensor.gyro_density_deg) * np.sqrt(1.11 * band_g)
    return Scene(candidate, setup, replace(still, gyro_noise_rad_s=np.full(3, noise_sample)), told)


def _stated(
    rng: np.random.Generator,
    kind: Kind,
    x: NDArray[np.float64],
    f: NDArray[np.float64],
    arrow: float,
    virtual: float,
    friction: float,
    bow_kg: float,
) -> Setup:
    """What a careful user writes down: the scale off by 1 %, each reading by 0.7 %, K by 8 %, friction by 0.01."""
    scale = 1 + rng.normal(0, 0.007)
    force = f * scale * (1 + rng.normal(0, 0.007, len(f)))
    force[0] = 0.0
    curve = tuple((float(a), float(b)) for a, b in zip(x[::2], np.maximum(force[::2], 0.0), strict=True))
    bow = Bow(
        kind=kind,
        peak_weight_n=float(force.max()),
        draw_length_m=float(x[-1]) + 0.04445,
        brace_height_m=float(x[0]),
        draw_force_curve=curve,
        virtual_mass_kg=virtual * (1 + rng.normal(0, 0.08)),
        friction=float(np.clip(friction + rng.normal(0, 0.01), 0, 0.2)),
        mass_kg=bow_kg * (1 + rng.normal(0, 0.01)),
        inertia_kg_m2=Axes(*INERTIA),
    )
    return Setup(
        bow=bow,
        arrow=Arrow(mass_kg=arrow),
        sensor=SensorSetup(mount=(0.0, 0.0, 0.0, 1.0)),
        target=Target(face="40 cm", distance_m=18.0),
    )
