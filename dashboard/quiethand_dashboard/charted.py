"""A measure over time, judged and in plain words: what the control charts show, and no more. Pure."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from quiethand.axes import AXIS_NAMES
from quiethand.judge.control import (
    BASE_POINTS,
    LEAST_POINTS,
    Ewma,
    Individuals,
    ewma,
    individuals,
    left_for_good,
)
from quiethand.words import axis_direction

from quiethand_dashboard.telling import day_in_words

if TYPE_CHECKING:
    from quiethand.store.records import SeriesPoint

MOST_TOLD: Final = 4  # of the changes of a set-up, in a line
LASTS: Final = 3  # points: fewer at the end of a smoothed line may be one stray and what it leaves behind

__all__ = ["MEASURES_SHOWN", "By", "Charted", "Point", "Shown", "chart", "points_of", "setup_changes", "words"]

By = Literal["shot", "day"]


@dataclass(frozen=True)
class Shown:
    """A measure as the page shows it: the store's column, its name in words, its unit, what + and - mean."""

    column: str
    words: str
    unit: str
    factor: float = 1.0
    axis: str | None = None  # whose colour it has
    plus: str = ""
    minus: str = ""

    def said(self, value: float) -> str:
        """A value in the unit shown, its sign as a word where it has a direction."""
        digits = 3 if self.unit == "deg" else 2 if self.unit in ("ms", "N m", "deg/s", "s") else 1
        if not self.plus:
            return f"{value:.{digits}f} {self.unit}"
        return f"{abs(value):.{digits}f} {self.unit} {self.plus if value >= 0 else self.minus}"


def _by_axis(column: str, name: str, unit: str, axes: Iterable[str] = ("yaw", "pitch", "cant")) -> Iterable[Shown]:
    for axis in axes:
        words = (axis_direction(axis, 1.0), axis_direction(axis, -1.0))
        yield Shown(column.format(axis), f"{name}, {axis}", unit, 1.0, axis, *words)


MEASURES_SHOWN: Final[Mapping[str, Shown]] = {
    shown.column: shown
    for shown in (
        Shown("pointing_right_mm", "Sideways at the target", "mm", 1.0, "yaw", "right", "left"),
        Shown("pointing_up_mm", "Height at the target", "mm", 1.0, "pitch", "high", "low"),
        Shown("time_on_string_s", "Time on the string", "ms", 1e3),
        *_by_axis("rotation_{}_deg", "Rotation at departure", "deg"),
        *_by_axis("carried_in_{}_deg", "Carried in", "deg"),
        *_by_axis("struck_{}_deg", "Struck", "deg"),
        *_by_axis("pressed_{}_deg", "Pressed", "deg"),
        *_by_axis("mean_torque_{}_nm", "Mean torque", "N m"),
        Shown("hold_duration_s", "Length of the hold", "s"),
        *(Shown(f"tremor_rms_{a}_deg_s", f"Tremor in the hold, {a}", "deg/s", 1.0, a) for a in AXIS_NAMES[::-1]),
        *(
            Shown(f"hand_stiffness_{a}_nm_rad", f"Stiffness of the hand, {a}", "N m/rad", 1.0, a)
            for a in AXIS_NAMES[::-1]
        ),
    )
}


@dataclass(frozen=True)
class Point:
    """A shot, or a day's mean, in the unit shown."""

    unix_s: float
    day: str
    label: str  # "shot 3", "6 shots"
    value: float
    setup_id: int
    shots: int = 1


@dataclass(frozen=True)
class Charted:
    """The points with their charts; None where there are too few for limits."""

    shown: Shown
    by: By
    points: Sequence[Point]
    alone: Individuals | None
    smoothed: Ewma | None
    base: int  # so many first points the limits come from
    changes: Sequence[int] = field(default_factory=tuple)  # points whose set-up is another than the one before


def points_of(series: Sequence[SeriesPoint], shown: Shown, by: By) -> list[Point]:
    """The series as points, oldest first; by day, the mean of each day's shots."""
    if by == "shot":
        return [Point(s.unix_s, s.day, f"shot {s.number}", s.value * shown.factor, s.setup_id) for s in series]
    found = []
    for day, shots in itertools.groupby(series, key=lambda s: s.day):
        of_day = list(shots)
        mean = float(np.mean([s.value for s in of_day])) * shown.factor
        count = f"{len(of_day)} shots" if len(of_day) > 1 else "1 shot"
        found.append(Point(of_day[0].unix_s, day, count, mean, of_day[-1].setup_id, len(of_day)))
    return found


def chart(points: Sequence[Point], shown: Shown, by: By) -> Charted:
    """Both charts, with limits from the first twenty points where there are more."""
    changes = tuple(i for i in range(1, len(points)) if points[i].setup_id != points[i - 1].setup_id)
    if len(points) < LEAST_POINTS:
        return Charted(shown, by, points, None, None, 0, changes)
    values = np.array([p.value for p in points])
    base = min(BASE_POINTS, len(points))
    alone = individuals(values, base=base)
    return Charted(shown, by, points, alone, ewma(values, start=alone.centre, sigma=alone.sigma), base, changes)


def words(charted: Charted) -> list[str]:
    """What the charts show, in sentences; what they cannot show is not said."""
    points, shown, each = charted.points, charted.shown, charted.by
    if not points:
        return ["No shot of these has this measure; the notes of a shot say why."]
    if charted.alone is None or charted.smoothed is None:
        return [
            f"{len(points)} {each}{'s' if len(points) > 1 else ''} so far. Limits are drawn from {LEAST_POINTS} on: "
            "with fewer, chance would decide where they lie."
        ]
    alone, smoothed = charted.alone, charted.smoothed
    told = [
        f"The first {charted.base} {each}s, on average {shown.said(alone.centre)}, scatter so that one {each} in some "
        f"370 would lie outside {shown.said(alone.low)} to {shown.said(alone.high)} if nothing changed."
    ]
    out = np.flatnonzero(alone.outside)
    named = ", ".join(_name(points[i], each) for i in out[-3:])
    last = "the last of them " if len(out) > 3 else ""
    told.append(
        f"{len(out)} of {len(points)} {each}s {'lies' if len(out) == 1 else 'lie'} outside: {last}{named}."
        if len(out)
        else f"None of the {len(points)} {each}s lies outside."
    )
    told.append(_lasting(charted, smoothed, alone))
    return told


def _lasting(charted: Charted, smoothed: Ewma, alone: Individuals) -> str:
    points, each, shown = charted.points, charted.by, charted.shown
    begins = left_for_good(smoothed.outside)
    if begins is not None and len(points) - begins < LASTS:
        return f"The smoothed line is outside its limits at the end; the next {each}s will tell whether that lasts."
    if begins is not None:
        ways = (shown.plus, shown.minus) if shown.plus else ("higher", "lower")
        way = ways[0] if smoothed.z[-1] > alone.centre else ways[1]
        further = f"further {way}" if shown.plus else way
        return (
            f"The smoothed line has been outside its limits since {_name(points[begins], each)}: the level is "
            f"{further} than in the first {charted.base} {each}s by more than their scatter explains. Why, the chart "
            "can't say."
        )
    if smoothed.outside.any():
        back = int(np.flatnonzero(smoothed.outside)[-1])
        return (
            f"The smoothed line was outside its limits, last at {_name(points[back], each)}, and is back within: what "
            "changed did not last."
        )
    return (
        "The smoothed line stays within its limits: no lasting change shows. A change smaller than this scatter can "
        "tell may still be there."
    )


def _name(point: Point, each: By) -> str:
    day = day_in_words(point.day)
    return f"{point.label} of {day}" if each == "shot" else day


def setup_changes(before: Mapping[str, Any] | None, after: Mapping[str, Any] | None) -> list[str]:
    """What differs between two set-ups: "arrow mass 24 g, before 23.6 g"; a sensor's many numbers are told as one."""
    if before is None or after is None:
        return ["what changed is not known: a set-up is no longer stored"]
    old, new = dict(_flat(before)), dict(_flat(after))
    names = [name for name in {**old, **new} if old.get(name) != new.get(name)]
    told = [
        f"{name} {new.get(name, 'not stated')}, before {old.get(name, 'not stated')}"
        for name in sorted(names, key=_weight)
        if not name.startswith("sensor")
    ]
    more = [f"and {len(told) - MOST_TOLD} more figures"] if len(told) > MOST_TOLD else []
    sensor = ["the sensor's calibration or place"] if any(name.startswith("sensor") for name in names) else []
    return [*told[:MOST_TOLD], *more, *sensor]


def _weight(name: str) -> int:
    """What changes a shot most comes first."""
    first = ("arrow mass", "bow peak weight", "bow let off", "bow draw length", "bow brace height", "bow mass")
    return first.index(name) if name in first else len(first)


def _flat(part: Mapping[str, Any], above: str = "") -> Iterable[tuple[str, str]]:
    for key, value in part.items():
        name = f"{above} {key}".strip().replace("_", " ")
        if isinstance(value, Mapping):
            yield from _flat(value, name)
        else:
            text = str(value)
            yield name, text if len(text) <= 40 else f"{text[:38]}…"
