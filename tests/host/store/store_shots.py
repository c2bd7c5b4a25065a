"""Invented shots for the tests of the store."""

from __future__ import annotations

from typing import Any

import numpy as np
from quiethand.axes import Axes
from quiethand.shots.contract import shot_object
from quiethand.shots.model import (
    AtDeparture,
    Flag,
    FollowThrough,
    Hold,
    Parts,
    PointingShift,
    Shot,
    Trace,
    Window,
)
from quiethand.store import RecordingFacts, Store

DAY_0_UNIX_S = 1_763_200_000.0


def trace(seed: int, torque: bool = True) -> Trace:
    random = np.random.default_rng(seed)
    many = lambda n: random.normal(size=(n, 3)).astype(np.float32)  # noqa: E731
    return Trace(
        accel_ms=np.arange(-50, 50, 0.5, dtype=np.float32),
        specific_force_m_s2=many(200),
        gyro_ms=np.arange(-40, 60, 0.25, dtype=np.float32),
        rate_deg_s=many(400),
        rotation_deg=many(400),
        torque_nm=many(400) if torque else None,
    )


def shot(number: int, yaw_deg: float = 0.1, *, with_trace: bool = True) -> Shot:
    three = Axes(0.01 * number, None, yaw_deg)
    return Shot(
        number=number,
        segment=0,
        release_s=30.0 * number,
        release_sigma_s=2e-4,
        departure_s=30.0 * number + 0.0148,
        departure_sigma_s=1e-4,
        departure_from="shock",
        time_on_string_s=0.0148,
        time_on_string_sigma_s=2.2e-4,
        rest_clear_s=None,
        at_departure=AtDeparture(three, three, three, three, Parts(three), PointingShift(-1.5, 0.5, 0.2, 0.2)),
        budget=(),
        after_release=(),
        window=Window(mean_torque_nm=three),
        hold=Hold(3.2),
        follow_through=FollowThrough(damping_ratio=three),
        flags=(Flag("pointing_shift_right_mm", -1.5, 20.0, "mm", 0.2, "over", "far right"),),
        notes=("no rest stated",),
        trace=trace(number) if with_trace else None,
    )


def setup(archer: str, bow: str = "Compound", arrow: str = "22 g") -> dict[str, Any]:
    return {"archer": {"name": archer}, "bow": {"name": bow}, "arrow": {"name": arrow}}


def recording(store: Store, identity: str = "id:winter-1") -> int:
    return store.put_recording(RecordingFacts("recordings/one.qhr", identity, DAY_0_UNIX_S, "clock", rate_hz=4000.0))


def add(store: Store, recording_id: int, one: Shot, archer: str = "Lane 4", **names: str) -> int | None:
    return store.add_shot(
        recording_id,
        setup(archer, **names),
        one,
        shot_object(one),
        unix_s=DAY_0_UNIX_S + one.departure_s,
        software="quiethand test",
    )
