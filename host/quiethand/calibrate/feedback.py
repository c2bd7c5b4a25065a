"""How a calibration goes while it is being recorded: still? which poses? enough swings? By the very functions that will
judge the recording, so that what is told to be enough is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from quiethand.axes import AXIS_NAMES
from quiethand.calibrate.bias import LEAST_STILL_S
from quiethand.calibrate.cells import Cells
from quiethand.calibrate.faces import FACES, faces_shown, fit_faces
from quiethand.calibrate.mounting import LEAST_POSE_S, mount_from_recording, poses_held
from quiethand.calibrate.stillness import IN_HAND, ON_TABLE, Gate, still_stretches
from quiethand.calibrate.swings import LEAST_SWINGS, MOST_AMPLITUDE_DEG, find_swings
from quiethand.errors import InputError
from quiethand.motion.rotation import matrix_from_quaternion

__all__ = ["BEST_STILL_S", "BEST_SWINGS", "Feedback", "Step", "feedback"]

BEST_STILL_S: Final = 30.0
BEST_SWINGS: Final = 20
POSE_S: Final = 1.0
# A stretch that reaches so far to the end of what came still lasts; pieces are a quarter of a second.
_LASTS_S: Final = 0.8
_ATTITUDE_S: Final = 1.0
_NOW_S: Final = 40.0  # of the end of a recording, looked at for stillness now


@dataclass(frozen=True)
class Step:
    """One thing to be done, in words, and whether it is."""

    text: str
    done: bool


@dataclass(frozen=True)
class Feedback:
    """What a person is told meanwhile.

    Attributes:
        still_s: for how long it has been still now; 0: it moves.
        steps: in the order in which they are done.
        words: a sentence on what to do next.
        enough: the recording as it stands tells what it should.
    """

    still_s: float
    steps: tuple[Step, ...]
    words: str
    enough: bool


def feedback(kind: str, cells: Cells, mount: tuple[float, float, float, float] | None = None) -> Feedback:
    """Of a recording as far as it has come.

    Args:
        kind: "still", "six-face", "mount" or "inertia".
        cells: in sensor axes, as `quiethand calibrate` reads them.
        mount: quaternion x y z w, sensor to bow frame, where a set-up states it: then it is told how level it lies
            or which axis it hangs for.
    """
    tell = {"still": _still, "six-face": _faces, "mount": _mount, "inertia": _swings}[kind]
    told = tell(cells)
    if mount is None or kind not in ("still", "inertia") or not told.still_s:
        return told
    return replace(told, words=f"{told.words} {_attitude(kind, cells, mount)}")


def _attitude(kind: str, cells: Cells, mount: tuple[float, float, float, float]) -> str:
    force = cells.force_m_s2[-max(1, round(_ATTITUDE_S / cells.span_s)) :].mean(axis=0)
    up = matrix_from_quaternion(mount) @ force / max(float(np.linalg.norm(force)), 1e-9)
    off = np.rad2deg(np.arccos(np.clip(np.abs(up) if kind == "inertia" else up, -1.0, 1.0)))
    if kind == "still":
        return f"It lies {off[2]:.0f} deg off how it sits on a level bow."
    axis = int(np.argmin(off))
    return f"It hangs for {AXIS_NAMES[axis]}, {off[axis]:.0f} deg off upright."


def _still_now_s(cells: Cells, gate: Gate) -> float:
    end_s = float(cells.time_s[-1])
    found = still_stretches(_tail(cells, _NOW_S), gate, 0.0)
    lasting = [still for still in found if end_s - still.end_s < _LASTS_S]
    return lasting[-1].duration_s if lasting else 0.0


def _tail(cells: Cells, seconds: float) -> Cells:
    first = max(0, len(cells) - round(seconds / cells.span_s))
    begins = cells.begins[first:].copy()
    begins[0] = True
    return Cells(
        cells.time_s[first:], cells.force_m_s2[first:], cells.rate_rad_s[first:], cells.clipped[first:], begins,
        cells.span_s, cells.samples_per_cell, cells.gyro_bandwidth_hz, cells.accel_bandwidth_hz,
    )  # fmt: skip


def _still(cells: Cells) -> Feedback:
    now = _still_now_s(cells, ON_TABLE)
    longest = max((s.duration_s for s in still_stretches(cells, ON_TABLE, 0.0)), default=0.0)
    enough = longest >= LEAST_STILL_S
    steps = (
        Step(f"still for {LEAST_STILL_S:g} s", enough),
        Step(f"still for {BEST_STILL_S:g} s, which is better", longest >= BEST_STILL_S),
    )
    if longest >= BEST_STILL_S:
        words = f"Still for {longest:.0f} s: enough."
    elif now:
        words = f"Still for {now:.0f} s. Keep your hands off, and off the table."
    else:
        words = "It moves. Let go of it, and do not touch the table."
    return Feedback(now, steps, words, enough)


def _faces(cells: Cells) -> Feedback:
    now = _still_now_s(cells, ON_TABLE)
    poses = still_stretches(cells, ON_TABLE, POSE_S)
    force = np.array([pose.force_m_s2 for pose in poses]).reshape(-1, 3)
    shown = faces_shown(force) if len(force) else dict.fromkeys(FACES, 0)
    steps = tuple(Step(f"{face[1]} axis {'up' if face[0] == '+' else 'down'}", shown[face] > 0) for face in FACES)
    if not all(step.done for step in steps):
        left = [step.text for step in steps if not step.done]
        words = (
            f"{'Still: wait 3 s, then turn it' if now else 'Let go of it for 3 s. Then turn it'} to a face that is "
            f"missing: {', '.join(left)}."
        )
        return Feedback(now, steps, words, False)
    try:
        result = fit_faces(force, np.array([float(np.linalg.norm(pose.force_sigma_m_s2)) for pose in poses]))
    except InputError as wrong:
        return Feedback(now, steps, _sentence(wrong), False)
    words = f"{len(poses)} still poses: enough."
    if not result.cross_told:
        words += " Leaning it on six of its edges too would tell the cross-axis as well."
    return Feedback(now, steps, words, True)


def _mount(cells: Cells) -> Feedback:
    now = _still_now_s(cells, IN_HAND)
    poses = poses_held(cells)
    steps = (
        Step(f"level and upright, held for {LEAST_POSE_S:g} s", len(poses) > 0),
        Step(f"nose straight down, held for {LEAST_POSE_S:g} s", len(poses) > 1),
    )
    if len(poses) < 2:
        pose = "level and upright" if not poses else "nose straight down"
        words = f"Held for {now:.1f} s." if now else f"Hold or prop the bow {pose}, and keep it there for 5 s."
        if poses and now:
            words += " Then point its nose straight down and keep it there for 5 s."
        return Feedback(now, steps, words, False)
    try:
        found = mount_from_recording(cells)
    except InputError as wrong:
        return Feedback(now, steps, _sentence(wrong), False)
    return Feedback(now, steps, f"Two poses at {90 + found.residual_deg:.1f} deg to each other: enough.", True)


def _swings(cells: Cells) -> Feedback:
    now = _still_now_s(cells, ON_TABLE)
    try:
        swings = find_swings(cells)
    except InputError as wrong:
        steps = tuple(Step(f"{n} swings", False) for n in (LEAST_SWINGS, BEST_SWINGS))
        return Feedback(now, steps, _sentence(wrong), False)
    steps = (
        Step(f"swings of under {MOST_AMPLITUDE_DEG:g} deg to either side", True),
        Step(f"{LEAST_SWINGS} swings", swings.swings >= LEAST_SWINGS),
        Step(f"{BEST_SWINGS} swings, which is better", swings.swings >= BEST_SWINGS),
    )
    words = f"{swings.swings:.0f} swings of {swings.amplitude_deg:.1f} deg, {swings.period_s:.2f} s each."
    words += " Enough." if swings.swings >= BEST_SWINGS else " Let it swing on by itself."
    return Feedback(now, steps, words, swings.swings >= LEAST_SWINGS)


def _sentence(wrong: InputError) -> str:
    what = f"{wrong.what[:1].upper()}{wrong.what[1:]}"
    return f"{what}: {wrong.do}." if wrong.do else f"{what}."
