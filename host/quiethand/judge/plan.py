"""A practice plan: what the figures point to, each with its evidence, and nothing more.

Only what chance does not explain is put in, the largest at the target first. Nothing here says how to practise: that is
the coach's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from quiethand.axes import AXIS_NAMES
from quiethand.judge.anticipation import AfterDeparture, BeforeRelease, after_words, before_words
from quiethand.judge.change_point import ChangePoint
from quiethand.judge.comparison_words import figure
from quiethand.judge.explained import Explained, explained_words
from quiethand.judge.habit import PARTS, AxisParts
from quiethand.judge.slow_arrow import HeldAgainst, held_words
from quiethand.words import axis_words, shift_words

__all__ = ["Evidence", "PlanItem", "plan", "plan_words"]

_SIDE = {"yaw": "right", "pitch": "up"}
_POINTS = {
    "carried in": "the bow is already turning at the release",
    "struck": "a blow at the release turns the bow",
    "pressed": "the bow hand presses while the arrow is on the string",
}
SMALL_MM = 1.0  # what turns the point by less than a millimetre is not worth a line


@dataclass(frozen=True)
class PlanItem:
    point: str  # what the figures point to
    evidence: tuple[str, ...]
    at_target_mm: float | None  # its size there, where it is known


@dataclass(frozen=True)
class Evidence:
    """What has been worked out of a set of shots; what is not known is left out."""

    parts: Sequence[AxisParts] = ()
    before: Sequence[BeforeRelease] = ()
    after: Sequence[AfterDeparture] = ()
    changes: Mapping[str, ChangePoint] | None = None  # by measure, over a day
    held: HeldAgainst | None = None
    group: Explained | None = None
    distance_m: float | None = None


def plan(known: Evidence) -> tuple[PlanItem, ...]:
    """The list, the largest at the target first, then what has no size there."""
    items = [*_habits(known), *_scatter(known), *_before(known), *_after(known), *_changes(known), *_arrows(known)]
    if known.group is not None and known.group.shown:
        point = "the bow's motion goes together with where the arrows fall"
        items.append(PlanItem(point, explained_words(known.group), None))
    return tuple(sorted(items, key=lambda item: -(item.at_target_mm or 0.0)))


def plan_words(items: Sequence[PlanItem]) -> tuple[str, ...]:
    if not items:
        return ("Nothing in these shots stands out from chance; more shots would show smaller things.",)
    lines = []
    for number, item in enumerate(items, 1):
        lines.append(f"{number}. {item.point[0].upper()}{item.point[1:]}.")
        lines += [f"   {line}" for line in item.evidence]
    return tuple(lines)


def _mm(known: Evidence, axis: str, degrees: float) -> float | None:
    if known.distance_m is None or axis not in _SIDE:
        return None
    return -degrees * 3.141592653589793 / 180 * known.distance_m * 1e3


def _habits(known: Evidence) -> list[PlanItem]:
    """A part whose mean differs from none. Every bow pitches as the string leaves, so pitch pressed is no habit."""
    found = []
    for axis in known.parts:
        for name, part in zip(PARTS, axis.parts_deg, strict=True):
            if part.low <= 0 <= part.high or (axis.axis == "pitch" and name == "pressed"):
                continue
            mm = _mm(known, axis.axis, part.value)
            if mm is not None and abs(mm) < SMALL_MM:
                continue
            low, high = axis_words(axis.axis, part.low), axis_words(axis.axis, part.high)
            at = "" if mm is None else f"; at the target that alone is {shift_words(_SIDE[axis.axis], mm)}"
            evidence = (
                f"{axis.axis}, {name}: {axis_words(axis.axis, part.value)} on average over {axis.shots} shots "
                f"({low} to {high}){at}."
            )
            found.append(PlanItem(f"{_POINTS[name]} ({axis.axis}), shot after shot", (evidence,), mm and abs(mm)))
    return found


def _scatter(known: Evidence) -> list[PlanItem]:
    """The part that surely makes up over half of the scatter in yaw or pitch."""
    found = []
    for axis in known.parts:
        mm = _mm(known, axis.axis, axis.scatter_deg)
        if mm is None or abs(mm) < SMALL_MM:
            continue
        for name, share in zip(PARTS, axis.scatter_share, strict=True):
            if share.low > 0.5:
                low, high = 100 * share.low, 100 * share.high
                evidence = (
                    f"{axis.axis} scatters by {figure(axis.scatter_deg, 'deg')} from shot to shot, "
                    f"{figure(abs(mm), 'mm')} at the target; {100 * share.value:.0f} % of it ({low:.0f} to {high:.0f}) "
                    f"is {name}."
                )
                found.append(PlanItem(f"{_POINTS[name]} ({axis.axis}), now more, now less", (evidence,), abs(mm)))
    return found


def _before(known: Evidence) -> list[PlanItem]:
    stirring = [one for one in known.before if one.starts_ms is not None]
    return [PlanItem("the bow stirs before the release", before_words(stirring), None)] if stirring else []


def _after(known: Evidence) -> list[PlanItem]:
    pitch = next((one for one in known.after if one.axis == "pitch"), None)
    if pitch is None or pitch.by_100_ms.low <= 0:
        return []
    return [PlanItem("the arm may drop once the arrow has left", after_words(known.after), None)]


def _changes(known: Evidence) -> list[PlanItem]:
    found = []
    for measure, change in (known.changes or {}).items():
        if change.shown:
            axis = next((a for a in AXIS_NAMES if f"_{a}" in measure), None)
            before, after = (axis_words(axis, v) if axis else f"{v:.3g}" for v in (change.before, change.after))
            evidence = (
                f"{measure}: {before} before shot {change.index + 1} of {change.shots} (between {change.low + 1} and "
                f"{change.high + 1}), {after} after; p {change.p_value:.3f}."
            )
            found.append(PlanItem("something changed in the course of the day", (evidence,), None))
    return found


def _arrows(known: Evidence) -> list[PlanItem]:
    if known.held is None or not any(c.shown for c in known.held.torque):
        return []
    return [PlanItem("the hand does not do the same with both arrows", held_words(known.held), None)]
