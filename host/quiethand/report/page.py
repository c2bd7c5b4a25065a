"""The report as one HTML page. The template engine escapes every text; our own figures alone are marked as safe."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any, Final

from quiethand.bow.cautions import STANDING, cautions_for
from quiethand.report.changed import Changed, changed, lasting
from quiethand.report.charts import impacts_chart, parts_chart, strip
from quiethand.report.gathered import SHOWN, Gathered, ShotSet
from quiethand.report.group_part import GroupPart, group_part
from quiethand.report.limits_part import limit_words
from quiethand.report.said import directed, plural, span_words
from quiethand.report.usual_part import parts, unusual_shots, usual_rows, values_of

__all__ = ["render"]

_SETS: Final = 3  # bows and arrows with columns of their own: more have no room on a page
_STRIPS: Final = tuple(shown for shown in SHOWN if shown.axis in ("yaw", "pitch") and shown.unit == "deg")
_LONGEST_NAME: Final = 60
_BY: Final = {shown.column: shown for shown in SHOWN}
_WHYS: Final = {
    "carried in": "the bow was turning already at the release",
    "struck": "a knock at the release set it off",
    "pressed": "a push that lasted, of the bow hand, did it",
}


@dataclass(frozen=True)
class _Strip:
    title: str
    svg: str


def render(gathered: Gathered, *, made: str, software: str) -> str:
    """The whole page.

    Args:
        gathered: what the store holds.
        made: the day on which it is made, in words.
        software: what makes it.
    """
    from jinja2 import Environment, StrictUndefined

    text = resources.files("quiethand.report").joinpath("page.html").read_text(encoding="utf-8")
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return environment.from_string(text).render(_content(gathered), made=made, software=software)


def _content(gathered: Gathered) -> Mapping[str, Any]:
    shown_sets = gathered.sets[:_SETS]
    main = gathered.sets[0]
    found = group_part(gathered)
    changes = [changed(one) for one in shown_sets[:2]]
    whence = parts(main)
    return {
        "title": _short(gathered.archer) or "An archer without a name",
        "span": span_words(gathered.first_day, gathered.last_day),
        "summary": _summary(gathered, changes, found),
        "sets": [(_short(one.name), _short(one.bow), plural(len(one.rows), "shot")) for one in shown_sets],
        "more_sets": [f"{_short(one.name)} ({plural(len(one.rows), 'shot')})" for one in gathered.sets[_SETS:][:6]],
        "rows": usual_rows(shown_sets),
        "strips": [_Strip(shown.label, strip(main, shown)) for shown in _STRIPS],
        "strips_of": _short(main.name),
        "parts": parts_chart(whence),
        "changes": changes,
        "lasting": lasting(main)[:3],
        "limits": limit_words(main, gathered.limits)[:4],
        "unusual": _unusual(main),
        "group": found,
        "impacts": impacts_chart(found) if found is not None else ("", 0.0),
        "cautions": (*cautions_for(main.setup), *STANDING),
        "remarks": _remarks(gathered),
    }


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST_NAME else name[: _LONGEST_NAME - 1].rstrip() + "…"


def _summary(gathered: Gathered, changes: list[Changed], found: GroupPart | None) -> list[str]:
    main = gathered.sets[0]
    bows = list(dict.fromkeys(_short(one.bow) for one in gathered.sets if one.bow))
    with_bow = f" with {' and '.join(bows[:2])}" if bows else ""
    said = [f"{plural(gathered.shots, 'shot')} on {plural(len(gathered.days), 'day')}{with_bow}."]
    if len(gathered.sets) > 1:
        said[0] += f" What follows is of the {len(main.rows)} with {_short(main.name)}, where nothing else is said."
    said += [sentence for sentence in (_turn(main), _whence(main)) if sentence]
    if changes[0].found:
        told = "; ".join(f"{change.label} {change.finding}, {change.difference}" for change in changes[0].found[:2])
        said.append(f"Against {changes[0].before}: {told}.")
    elif changes[0].changes:
        said.append(f"Against {changes[0].before} no change is shown.")
    if found is not None and found.group is not None:
        said.append(f"Where the arrows hit: {found.words[1][0].lower()}{found.words[1][1:]}")
    return said


def _turn(main: ShotSet) -> str:
    """Which way the bow usually turned, and what that alone comes to at the target."""
    import numpy as np

    middle = {name: values_of(main.rows, _BY[name]) for name in _BY}
    known = {name: float(np.nanmedian(v)) for name, v in middle.items() if np.isfinite(v).any()}
    if not {"rotation_yaw_deg", "rotation_pitch_deg"} <= set(known):
        return "How far the bow turned is not known; each shot's notes say why."
    turns = [directed(_BY[name], known[name]) for name in ("rotation_yaw_deg", "rotation_pitch_deg")]
    told = f"While the arrow was on the string the bow usually turned {turns[0]} and {turns[1]}"
    if {"pointing_right_mm", "pointing_up_mm"} <= set(known):
        shifts = [directed(_BY[name], known[name]) for name in ("pointing_right_mm", "pointing_up_mm")]
        told += f"; carried to the target that alone is {shifts[0]} and {shifts[1]}"
    return told + ". A sight can be set for what is usual; what differs from shot to shot it cannot take out."


def _whence(main: ShotSet) -> str:
    """Where most of the turn sideways came from, where one part rules it."""
    yaw = [part for part in parts(main) if part.axis == "yaw"]
    whole = sum(part.middle for part in yaw)
    if not whole:
        return ""
    largest = max(yaw, key=lambda part: part.middle / whole)
    if largest.middle / whole < 0.6:
        return "The turn sideways came from more than one source."
    return f"Most of the turn sideways was {largest.name}: {_WHYS[largest.name]}."


def _unusual(main: ShotSet) -> str:
    counts = [(shown.axis, *unusual_shots(main, shown)) for shown in _STRIPS]
    told = max(told for _, _, told in counts)
    if not told:
        return "Which shots were unusual is not told yet: each is held against at least ten before it."
    outside = ", ".join(f"{count} in {axis}" for axis, count, _ in counts)
    return (
        f"Of {plural(told, 'shot')}, each held against up to 50 before it, these lay outside of what was usual: "
        f"{outside}. By chance alone one in a hundred does, in each."
    )


def _remarks(gathered: Gathered) -> list[str]:
    said = []
    if gathered.excluded:
        said.append(f"{plural(gathered.excluded, 'shot')} left out because someone excluded them.")
    if gathered.stale:
        said.append(
            f"{plural(gathered.stale, 'shot')} measured by an earlier method than today's; 'quiethand reanalyse' "
            "measures them again."
        )
    if gathered.left_out:
        said.append(
            f"{plural(gathered.left_out, 'earlier shot')} of these days are not in it: it takes the last 5,000."
        )
    if gathered.free_impacts:
        said.append(f"{plural(gathered.free_impacts, 'impact')} belong to no shot and are left out of the group.")
    return said
