"""What changed: the span's shots against those before it, or its later days against its earlier ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from quiethand.errors import InputError
from quiethand.judge.at_target import at_target
from quiethand.judge.comparison import LEAST_SHOTS, Comparison, compare_many
from quiethand.judge.comparison_words import figure
from quiethand.judge.control import BASE_POINTS, LEAST_POINTS, ewma, individuals, left_for_good
from quiethand.report.gathered import SHOWN, Row, ShotSet, Shown
from quiethand.report.said import day_words, directed, plural, ranged, way
from quiethand.report.usual_part import values_of

__all__ = ["Change", "Changed", "changed", "lasting"]

_COMPARED: Final = tuple(
    shown for shown in SHOWN if shown.column in (
        "time_on_string_s", "rotation_yaw_deg", "rotation_pitch_deg", "rotation_cant_deg", "tremor_rms_yaw_deg_s",
    )
)  # fmt: skip
_SHORTEST_RUN: Final = 5  # points outside up to the last, below which a run may be chance


@dataclass(frozen=True)
class Change:
    label: str
    before: str
    now: str
    difference: str  # with its 95 % interval
    at_target: str  # what it comes to, where that is known
    could_show: str  # the smallest difference that these shots could show
    shown: bool
    finding: str


@dataclass(frozen=True)
class Changed:
    """Two sets of one bow and arrow, in words, and their comparison."""

    name: str
    before: str
    now: str
    changes: tuple[Change, ...]
    why_not: str  # where nothing could be compared
    briefly: str  # all of it in a sentence or two

    @property
    def found(self) -> tuple[Change, ...]:
        return tuple(change for change in self.changes if change.shown)


def changed(one: ShotSet) -> Changed:
    """Compare, with every p raised for the number of measures looked at."""
    before, now, told_before, told_now = _two(one)
    if min(len(before), len(now)) < LEAST_SHOTS:
        why = (
            f"{len(before)} shots before and {len(now)} now: with fewer than {LEAST_SHOTS} in either chance cannot be "
            "told from a change"
        )
        return Changed(one.name, told_before, told_now, (), why, why)
    distance = one.setup.target.distance_m if one.setup else None
    comparisons, refused = compare_many(
        {s.column: (values_of(before, s).tolist(), values_of(now, s).tolist()) for s in _COMPARED},
        units={s.column: s.unit for s in _COMPARED},
        targets={s.column: at_target(s.column, distance_m=distance) for s in _COMPARED},
    )
    by_column = {shown.column: shown for shown in _COMPARED}
    changes = tuple(_change(by_column[c.measure], c) for c in comparisons)
    why = "" if changes else "; ".join(dict.fromkeys(refused.values()))
    return Changed(one.name, told_before, told_now, changes, why, why or _briefly(changes, told_before))


def _briefly(changes: Sequence[Change], before: str) -> str:
    found = [f"{change.label}, {change.finding} by {change.difference}" for change in changes if change.shown]
    aimed = [
        f"{change.label.split(' (')[0]} {change.could_show.split(', ')[-1]}" for change in changes if change.at_target
    ]
    told = f"against {before}: " + ("; ".join(found) if found else "no change shown")
    return told + (f". Found in 8 of 10 such comparisons would be: {'; '.join(aimed)}" if aimed else "")


def _two(one: ShotSet) -> tuple[Sequence[Row], Sequence[Row], str, str]:
    """Before and now, and what each is in words."""
    if len(one.earlier) >= LEAST_SHOTS:
        first = one.earlier[0]["day"]
        told = f"the {plural(len(one.earlier), 'shot')} before, from {day_words(first)} on"
        return one.earlier, one.rows, told, f"{plural(len(one.rows), 'shot')} of this report"
    days = list(dict.fromkeys(row["day"] for row in one.rows))
    if len(days) < 2:
        return (), one.rows, "no shots before", plural(len(one.rows), "shot")
    # the day at which the two halves are nearest to equal
    counts = [sum(row["day"] < day for row in one.rows) for day in days[1:]]
    cut = days[1 + int(np.argmin([abs(2 * count - len(one.rows)) for count in counts]))]
    before = [row for row in one.rows if row["day"] < cut]
    now = [row for row in one.rows if row["day"] >= cut]
    told = f"the first {plural(len(before), 'shot')} of this report, before {day_words(cut)}"
    return before, now, told, f"the {plural(len(now), 'shot')} from {day_words(cut)} on"


def _change(shown: Shown, c: Comparison) -> Change:
    aimed = c.at_target_mm
    at = ""
    if aimed is not None:
        target = Shown("", "", "mm", axis=c.target.side if c.target else None, digits=1)
        at = f"{directed(target, aimed[0])} ({ranged(target, aimed[1], aimed[2])})"
    could = figure(c.could_show.smallest, c.unit)
    if c.could_show.smallest_mm is not None:
        could += f", {figure(c.could_show.smallest_mm, 'mm')} at the target"
    if c.shown:
        further = way(shown, c.difference) or ("more" if c.difference > 0 else "less")
        finding = f"further {further}" if way(shown, c.difference) else further
    else:
        finding = f"no change shown; up to {figure(c.not_ruled_out, c.unit)} not ruled out"
    return Change(
        shown.label, directed(shown, c.a), directed(shown, c.b),
        f"{_moved(shown, c.difference)} ({_moved_range(shown, c.low, c.high)})", at, could, c.shown, finding,
    )  # fmt: skip


def _moved(shown: Shown, difference: float) -> str:
    if shown.axis is not None or not float(f"{difference:.{shown.digits}f}"):
        return directed(shown, abs(difference) if shown.axis is None else difference)
    return f"{abs(difference):.{shown.digits}f} {shown.unit} {'more' if difference > 0 else 'less'}"


def _moved_range(shown: Shown, low: float, high: float) -> str:
    if shown.axis is not None:
        return ranged(shown, low, high)
    return f"{low:+.{shown.digits}f} to {high:+.{shown.digits}f}"


def lasting(one: ShotSet) -> list[str]:
    """Measures whose running mean has left its control limits and stayed outside up to the last shot, in words."""
    rows = (*one.earlier, *one.rows)
    said = []
    for shown in _COMPARED:
        series = values_of(rows, shown)
        known = np.flatnonzero(np.isfinite(series))
        if len(known) < LEAST_POINTS + _SHORTEST_RUN:
            continue
        values = series[known]
        try:
            ground = individuals(values, base=min(BASE_POINTS, len(values) - _SHORTEST_RUN))
        except (ValueError, InputError):
            continue
        if not ground.sigma > 0:
            continue
        start = left_for_good(ewma(values, start=ground.centre, sigma=ground.sigma).outside)
        if start is None or len(values) - start < _SHORTEST_RUN:
            continue
        since = rows[known[start]]
        further = way(shown, float(np.mean(values[start:]) - ground.centre)) or (
            "higher" if np.mean(values[start:]) > ground.centre else "lower"
        )
        said.append(
            f"{shown.label[0].upper()}{shown.label[1:]}: the running mean has stayed {further} than its first "
            f"{min(BASE_POINTS, len(values) - _SHORTEST_RUN)} shots' limits since {day_words(since['day'])} "
            f"({plural(len(values) - start, 'shot')})."
        )
    return said
