"""What an act is made of: turns, pushes, trembling and knocks, all plain functions of time that add up."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["Act", "Knock", "Mark", "Pulse", "Release", "Tremble", "Turn", "evaluate", "ringing"]

Floats = NDArray[np.float64]
Vector = tuple[float, float, float]


@dataclass(frozen=True)
class Turn:
    """A turn by a rotation vector (rad, body frame) that starts and ends at rest and jerks least."""

    start_s: float
    duration_s: float
    vector_rad: Vector


@dataclass(frozen=True)
class Pulse:
    """Half a sine of acceleration and of rate; `flat` holds the peak, easing at the ends only."""

    start_s: float
    duration_s: float
    accel_m_s2: Vector = (0.0, 0.0, 0.0)
    rate_rad_s: Vector = (0.0, 0.0, 0.0)
    upward_m_s2: float = 0.0  # away from the floor, whatever the bow's attitude
    flat: bool = False


@dataclass(frozen=True)
class Tremble:
    """A sum of sines of rate and acceleration within an envelope, straight between (time, level) points."""

    frequency_hz: Floats  # (m,)
    rate_rad_s: Floats  # (m, 3)
    accel_m_s2: Floats  # (m, 3)
    phase_rad: Floats  # (m, 3)
    envelope: tuple[tuple[float, float], ...] = ((0.0, 1.0),)


@dataclass(frozen=True)
class Knock:
    """A shock of the structure: modes that start at once and ring down."""

    time_s: float
    frequency_hz: Floats  # (m,)
    ratio: Floats  # (m,) damping
    accel_m_s2: Floats  # (m, 3)
    rate_rad_s: Floats  # (m, 3)


@dataclass(frozen=True)
class Release:
    """The string is let go at `time_s`; `arrow` False is a dry fire."""

    time_s: float
    draw_end_s: float
    arrow: bool = True


@dataclass(frozen=True)
class Mark:
    """A nuisance for the record of what happened."""

    time_s: float
    kind: str


@dataclass(frozen=True)
class Act:
    """A stretch of the session; times from its own start."""

    duration_s: float
    turns: tuple[Turn, ...] = ()
    pulses: tuple[Pulse, ...] = ()
    trembles: tuple[Tremble, ...] = ()
    knocks: tuple[Knock, ...] = ()
    marks: tuple[Mark, ...] = ()
    release: Release | None = field(default=None)


def evaluate(act: Act, time_s: Floats) -> tuple[Floats, Floats, Floats]:
    """Rate (n, 3) in rad/s, acceleration along the body's axes (n, 3) and upward (n,) in m/s2. Knocks are left out."""
    rate, body, upward = np.zeros((len(time_s), 3)), np.zeros((len(time_s), 3)), np.zeros(len(time_s))
    for turn in act.turns:
        part, s = _within(time_s, turn.start_s, turn.duration_s)
        if len(s):
            rate[part] += np.outer(30 * (s * (1 - s)) ** 2 / turn.duration_s, turn.vector_rad)
    for pulse in act.pulses:
        part, s = _within(time_s, pulse.start_s, pulse.duration_s)
        if not len(s):
            continue
        shape = np.clip(12 * np.minimum(s, 1 - s), 0, 1) if pulse.flat else np.sin(math.pi * s)
        body[part] += np.outer(shape, pulse.accel_m_s2)
        upward[part] += shape * pulse.upward_m_s2
        if any(pulse.rate_rad_s):
            rate[part] += np.outer(shape, pulse.rate_rad_s)
    for tremble in act.trembles:
        times, levels = zip(*tremble.envelope, strict=True)
        level = np.interp(time_s, times, levels)
        # a complex exponential of each frequency serves both quantities and all axes; einsum, as BLAS would wake
        # its threads for so small a product and cost more than it saves
        waves = level[:, None] * np.exp(2j * math.pi * np.outer(time_s, tremble.frequency_hz))
        turned = np.exp(1j * tremble.phase_rad)
        rate += np.einsum("nf,fa->na", waves, turned * tremble.rate_rad_s).imag
        body += np.einsum("nf,fa->na", waves, turned * tremble.accel_m_s2).real
    return rate, body, upward


def ringing(knock: Knock, time_s: Floats, start_s: float) -> tuple[Floats, Floats]:
    """Acceleration and rate of a knock's ringing at `time_s` when it begins at `start_s`, each (n, 3)."""
    accel, rate = np.zeros((len(time_s), 3)), np.zeros((len(time_s), 3))
    first = int(np.searchsorted(time_s, start_s))
    since = time_s[first:] - start_s
    for f, ratio, a, w in zip(knock.frequency_hz, knock.ratio, knock.accel_m_s2, knock.rate_rad_s, strict=True):
        omega = 2 * math.pi * f
        wave = np.exp(-ratio * omega * since) * np.sin(omega * since)
        accel[first:] += np.outer(wave, a)
        rate[first:] += np.outer(wave, w)
    return accel, rate


def _within(time_s: Floats, start_s: float, duration_s: float) -> tuple[slice, Floats]:
    first, last = np.searchsorted(time_s, (start_s, start_s + duration_s))
    part = slice(int(first), int(last))
    return part, (time_s[part] - start_s) / duration_s
