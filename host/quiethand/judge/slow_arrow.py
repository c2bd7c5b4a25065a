"""Whether it holds with the slow arrow: an archer's torque and impulse with each arrow (or let-off), each as it shows.

A slow arrow magnifies a fault, so it is what one trains with; whether the hand does the same with both is another
matter. Hence the torques are compared, and each is carried to the target with its own and with the other's sensitivity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from quiethand.axes import AXIS_NAMES, Axes
from quiethand.errors import InputError
from quiethand.judge.comparison import LEAST_SHOTS, Comparison, compare
from quiethand.judge.comparison_words import figure, in_words
from quiethand.judge.group import Interval
from quiethand.judge.habit import mean_interval
from quiethand.words import axis_words, shift_words

__all__ = ["AxisTorque", "HeldAgainst", "TorqueSet", "held_against", "held_words", "torque_set"]


@dataclass(frozen=True)
class AxisTorque:
    """One axis with one arrow. What it shows at the target is the mean's, and the scatter's standard deviation."""

    axis: str
    shots: int
    torque_nm: Interval  # mean over the time on the string, then over the shots
    scatter_nm: float
    impulse_nms: Interval | None
    at_target_mm: Interval | None  # + right of yaw, + up of pitch
    scatter_at_target_mm: float | None


@dataclass(frozen=True)
class TorqueSet:
    name: str  # of the arrow, or let-off
    time_on_string_s: float
    sensitivity_mm_per_nm: Axes
    axes: tuple[AxisTorque, ...]
    torque_nm: tuple[tuple[float, ...], ...]  # of each axis in AXIS_NAMES' order, by shot in order of time


@dataclass(frozen=True)
class HeldAgainst:
    """The second set against the first."""

    first: TorqueSet
    second: TorqueSet
    torque: tuple[Comparison, ...]  # second less first, by axis
    axes: tuple[str, ...]
    magnified: float | None  # sensitivity of the second over that of the first, yaw


def torque_set(
    name: str,
    torque_nm: ArrayLike,
    impulse_nms: ArrayLike | None,
    *,
    time_on_string_s: float,
    sensitivity_mm_per_nm: Axes,
) -> TorqueSet:
    """One arrow's torques.

    Args:
        torque_nm: shape (n, 3), each shot's mean torque, in order of time; what is not known is NaN.
        impulse_nms: shape (n, 3), or None.
        time_on_string_s: mean, measured or else modelled.
        sensitivity_mm_per_nm: for that time.

    Raises:
        InputError: no axis is known in 5 shots.
    """
    torque = np.asarray(torque_nm, dtype=np.float64)
    impulse = None if impulse_nms is None else np.asarray(impulse_nms, dtype=np.float64)
    axes, kept = [], []
    for k, axis in enumerate(AXIS_NAMES):
        x = torque[:, k][np.isfinite(torque[:, k])]
        kept.append(tuple(x.tolist()))
        if len(x) < LEAST_SHOTS:
            continue
        mean, per_nm = mean_interval(x), getattr(sensitivity_mm_per_nm, axis)
        shown = spread = None
        if per_nm is not None:
            shown = Interval(-per_nm * mean.value, -per_nm * mean.high, -per_nm * mean.low)
            spread = per_nm * float(x.std(ddof=1))
        turned = None
        if impulse is not None:
            j = impulse[:, k][np.isfinite(impulse[:, k])]
            turned = mean_interval(j) if len(j) >= LEAST_SHOTS else None
        axes.append(AxisTorque(axis, len(x), mean, float(x.std(ddof=1)), turned, shown, spread))
    if not axes:
        raise InputError(
            f'"{name}": fewer than {LEAST_SHOTS} shots show a torque',
            do="torque needs bow.inertia; measure it and import again",
        )
    return TorqueSet(name, time_on_string_s, sensitivity_mm_per_nm, tuple(axes), tuple(kept))


def held_against(first: TorqueSet, second: TorqueSet) -> HeldAgainst:
    """Compare two arrows' torques, axis by axis; each p raised for their number."""
    from dataclasses import replace

    from quiethand.judge.power import holm

    both = [
        axis for k, axis in enumerate(AXIS_NAMES)
        if min(len(first.torque_nm[k]), len(second.torque_nm[k])) >= LEAST_SHOTS
    ]  # fmt: skip
    if not both:
        raise InputError(f'"{first.name}" and "{second.name}" show no axis in common', do="choose other arrows")
    rows = [AXIS_NAMES.index(axis) for axis in both]
    found = [
        compare(first.torque_nm[k], second.torque_nm[k], measure=f"mean_torque_{AXIS_NAMES[k]}_nm", unit="N m")
        for k in rows
    ]
    raised = holm([c.p_value for c in found])
    found = [replace(c, p_adjusted=p, looked_at=len(found)) for c, p in zip(found, raised, strict=True)]
    a, b = first.sensitivity_mm_per_nm.yaw, second.sensitivity_mm_per_nm.yaw
    return HeldAgainst(first, second, tuple(found), tuple(both), b / a if a and b else None)


def held_words(found: HeldAgainst) -> tuple[str, ...]:
    """What it says, a sentence each."""
    said = []
    if found.magnified is not None:
        said.append(
            f'"{found.second.name}" shows {found.magnified:.2f} times as much of the same torque at the target as '
            f'"{found.first.name}" ({found.second.time_on_string_s * 1e3:.1f} against '
            f"{found.first.time_on_string_s * 1e3:.1f} ms on the string)."
        )
    for comparison, axis in zip(found.torque, found.axes, strict=True):
        said += in_words(comparison, name=f"mean torque, {axis}", axis=axis)[:1]
    side = {"yaw": "right", "pitch": "up"}
    for one, other in ((found.first, found.second), (found.second, found.first)):
        for part in one.axes:
            elsewhere = getattr(other.sensitivity_mm_per_nm, part.axis)
            if part.at_target_mm is None or part.scatter_at_target_mm is None or elsewhere is None:
                continue
            mean = shift_words(side[part.axis], part.at_target_mm.value)
            swapped = shift_words(side[part.axis], -elsewhere * part.torque_nm.value)
            said.append(
                f'With "{one.name}" the torque of {axis_words(part.axis, part.torque_nm.value, "N m")} shows as {mean} '
                f'(from shot to shot {figure(part.scatter_at_target_mm, "mm")}); the same hand with "{other.name}": '
                f"{swapped}."
            )
    return tuple(said)
