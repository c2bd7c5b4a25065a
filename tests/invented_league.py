"""An invented indoor winter league for the page's tests: shots by lane, with simple motion, in a store of its own."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from quiethand.axes import Axes
from quiethand.shots.contract import shot_object
from quiethand.shots.model import (
    AtDeparture,
    BudgetRow,
    Flag,
    FollowThrough,
    Hold,
    Parts,
    PointingShift,
    Rejected,
    RotationAt,
    Shot,
    Trace,
    Window,
)
from quiethand.store.records import RecordingFacts
from quiethand.store.store import Store

INERTIA = np.array([0.12, 0.16, 0.09])
WINDOW_S = {"Heavy practice arrow": 0.0172, "Match arrow": 0.0146}
MASS = {"Heavy practice arrow": "520 grain", "Match arrow": "370 grain"}
LIMIT_MM = 20.0  # the ten ring's radius of the 40 cm face
DISTANCE_M = 18.0
EVENING = 1_796_148_000.0  # 1 December 2026, 18:00 UTC


def document(lane: int, arrow: str, *, inertia: bool = True, bow: str = "Winter bow") -> dict[str, Any]:
    """A set-up as its file has it."""
    about = {"inertia": {"cant": "0.12 kg m^2", "pitch": "0.16 kg m^2", "yaw": "0.09 kg m^2"}} if inertia else {}
    return {
        "archer": {"name": f"Lane {lane}", "handedness": "right"},
        "bow": {
            "name": bow,
            "kind": "compound",
            "peak_weight": "50 lbf",
            "let_off": 0.75,
            "draw_length": "28.5 in",
            "brace_height": "7 in",
            "mass": "2.6 kg",
            **about,
        },
        "arrow": {"name": arrow, "mass": MASS[arrow]},
        "target": {"face": "40 cm", "distance": "18 m"},
    }


def trace(
    torque: np.ndarray, window_s: float, rng: np.random.Generator, rate_hz: float = 2000.0, *, inertia: bool = True
) -> Trace:
    """A steady torque from release on, held by spring and damper after the arrow has left; tremor before."""
    ms = np.arange(-150.0, 250.0, 1e3 / rate_hz)
    t = ms / 1e3
    tremor = rng.normal(0, 0.35, 3)[:, None] * np.sin(2 * np.pi * 9.5 * t + rng.uniform(0, 6, 3)[:, None])
    accelerating = np.where((t >= 0) & (t <= window_s), 1.0, 0.0) * np.degrees(torque / INERTIA)[:, None]
    after = np.clip(t - window_s, 0, None)
    at_departure = np.degrees(torque / INERTIA) * window_s
    swing = at_departure[:, None] * np.exp(-after * 14) * np.cos(2 * np.pi * 5.5 * after)
    driven = np.where(t <= window_s, np.cumsum(accelerating, axis=1) / rate_hz, swing)
    ringing = np.where(t > window_s, np.exp(-after * 60) * np.sin(2 * np.pi * 210 * after), 0.0)
    rate = driven + tremor + 18 * np.array([1.0, 1.6, 0.7])[:, None] * ringing + rng.normal(0, 0.05, driven.shape)
    rotation = np.cumsum(rate, axis=1) / rate_hz
    rotation -= rotation[:, [int(np.searchsorted(t, 0.0))]]
    push = np.where((t >= 0) & (t <= window_s), -70 * np.clip(t / window_s, 0, 1) ** 1.5, 0.0)
    shock = np.where(t > window_s, 900 * np.exp(-after * 90) * np.cos(2 * np.pi * 180 * after), 0.0)
    force = np.stack([push + shock, 0.3 * shock, 9.8 + 0.5 * shock]) + rng.normal(0, 0.4, (3, len(t)))
    turning = accelerating * np.radians(INERTIA)[:, None] + rng.normal(0, 0.01, rate.shape)
    turning = np.where(t > window_s, np.gradient(np.radians(rate), t, axis=1) * INERTIA[:, None], turning)
    f4 = np.float32
    return Trace(
        ms.astype(f4),
        force.T.astype(f4),
        ms.astype(f4),
        rate.T.astype(f4),
        rotation.T.astype(f4),
        turning.T.astype(f4) if inertia else None,
    )


def shot(number: int, arrow: str, rng: np.random.Generator, *, fault: float = 0.0, inertia: bool = True) -> Shot:
    """One shot; `fault` is a torque in N m that presses the nose to the left besides this archer's usual."""
    torque = np.array([0.02, -0.22, 0.05 + fault]) + rng.normal(0, [0.02, 0.03, 0.02])
    window = WINDOW_S[arrow] + rng.normal(0, 0.0001)
    drawn = trace(torque, window, rng, inertia=inertia)
    at = int(np.searchsorted(drawn.gyro_ms, window * 1e3))
    rotation, rate = drawn.rotation_deg[at].astype(float), drawn.rate_deg_s[at].astype(float)
    start = int(np.searchsorted(drawn.gyro_ms, 0.0))
    carried = drawn.rate_deg_s[start].astype(float) * window
    pressed = np.degrees(torque / INERTIA) * window**2 / 2
    sigma = np.array([0.004, 0.005, 0.003])
    right, up = (-math.radians(rotation[axis]) * DISTANCE_M * 1e3 for axis in (2, 1))
    spread = tuple(math.radians(sigma[axis]) * DISTANCE_M * 1e3 for axis in (2, 1))
    return Shot(
        number=number,
        segment=0,
        release_s=10.0 + 40 * number,
        release_sigma_s=0.00015,
        departure_s=10.0 + 40 * number + window,
        departure_sigma_s=0.00012,
        departure_from="shock",
        time_on_string_s=window,
        time_on_string_sigma_s=0.00019,
        rest_clear_s=10.0 + 40 * number + window + 0.0021,
        at_departure=AtDeparture(
            Axes.of(rotation),
            Axes.of(sigma),
            Axes.of(rate),
            Axes.of([0.1, 0.1, 0.1]),
            Parts(
                Axes.of(carried),
                Axes.of(rotation - carried - pressed),
                Axes.of(pressed),
                Axes.of(sigma * 0.4),
                Axes.of(sigma * 1.2),
                Axes.of(sigma),
            ),
            PointingShift(right, up, *spread),
        ),
        budget=tuple(
            BudgetRow(name, kind, Axes.of(sigma * share))
            for name, kind, share in (
                ("noise", "A", 0.2),
                ("bias", "A", 0.3),
                ("timing", "B", 0.85),
                ("acceleration", "B", 0.38),
            )
        ),
        after_release=tuple(
            RotationAt(m, Axes.of(drawn.rotation_deg[int(np.searchsorted(drawn.gyro_ms, m))]))
            for m in (5, 10, 15, 20, 30, 50)
        ),
        window=Window(
            peak_rate_deg_s=Axes.of(np.abs(rate)),
            mean_torque_nm=Axes.of(torque) if inertia else Axes(),
            mean_torque_sigma_nm=Axes.of([0.01, 0.01, 0.01]) if inertia else Axes(),
        ),
        hold=Hold(
            float(rng.uniform(3, 6)), Axes.of([0.4, 0.5, 0.3]), Axes.of([0.3, 0.3, 0.2]), Axes.of([0.1, 0.1, 0.0])
        ),
        follow_through=FollowThrough(),
        flags=_flags(right, up, spread),
        notes=() if inertia else ("no torque: the set-up states no inertia",),
        trace=drawn,
    )


def _flags(right: float, up: float, spread: tuple[float, float]) -> tuple[Flag, ...]:
    found = []
    for side, value, sigma in (("right", right, spread[0]), ("up", up, spread[1])):
        beyond = abs(value) - LIMIT_MM
        if beyond > 2 * sigma or abs(beyond) <= 2 * sigma:
            over = beyond > 2 * sigma
            words = {"right": ("right", "left"), "up": ("high", "low")}[side][0 if value > 0 else 1]
            near = "over" if over else "so near that it could be on either side of"
            text = f"{abs(value):.1f} mm {words}, {near} the limit of {LIMIT_MM:.0f} mm"
            found.append(
                Flag(
                    f"pointing_shift_{side}",
                    value,
                    LIMIT_MM,
                    "mm",
                    sigma,
                    "over" if over else "too_close_to_tell",
                    text,
                )
            )
    return tuple(found)


def recording(store: Store, lane: int, arrow: str, started: float, doc: Mapping[str, Any]) -> int:
    """A recording of one lane's session."""
    name = f"recordings/lane-{lane}-{int(started)}.qhr"
    store.put_setup(doc)
    return store.put_recording(
        RecordingFacts(name, f"id-{lane}-{arrow}-{started}", started, "clock", "whole", None, 2000.0)
    )


def add(store: Store, recording_id: int, one: Shot, started: float, doc: Mapping[str, Any]) -> int | None:
    return store.add_shot(
        recording_id, doc, one, shot_object(one), unix_s=started + (one.release_s or 0.0), software="test"
    )


def league(store: Store, *, evenings: int = 3, shots: int = 9, seed: int = 4) -> list[int]:
    """Some evenings of lanes 4 and 7, each with a match arrow and a heavy practice arrow. Gives the shots' ids."""
    rng = np.random.default_rng(seed)
    ids = []
    for evening in range(evenings):
        for lane in (7, 4):
            for arrow in ("Match arrow", "Heavy practice arrow"):
                late = 3600.0 if lane == 4 else 0.0
                started = EVENING - (evenings - 1 - evening) * 7 * 86400 + late + (1200 if arrow[0] == "H" else 0)
                doc = document(lane, arrow)
                to = recording(store, lane, arrow, started, doc)
                for number in range(1, shots + 1):
                    fault = 0.14 if number == 5 else 0.0
                    ids.append(add(store, to, shot(number, arrow, rng, fault=fault), started, doc))
                store.add_rejected(
                    to,
                    [
                        Rejected(30.0, "let_down", "drawn and let down over 1.4 s, no push"),
                        Rejected(300.0, "set_down", "a knock without a draw before it"),
                    ],
                    started_unix_s=started,
                )
    return [i for i in ids if i is not None]
