"""Impacts from a CSV into the store, each joined to its shot: by its id, its number, its time, or the order of time.

All of a file or nothing of it: what could belong to more than one shot is refused, never guessed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from quiethand.commands.impact_file import ImpactLine, ImpactTable, read_impacts
from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.store import Store

__all__ = ["import_impacts", "joined"]

# Clocks of a range and of a sensor's host differ by seconds; shots of one archer are rarely nearer than that.
_NEAR_S: Final = 10.0
_CLEARLY: Final = 3.0  # the nearest shot must be so many times nearer than the next
_MOST: Final = 5000  # the store takes at once

Shots = Sequence[dict[str, Any]]  # id, number, unix_s, day, archer, bow, arrow, recording
ShotsOf = Callable[[str, str], Shots]


def import_impacts(store: Store, path: Path) -> tuple[int, str]:
    """Read a CSV of impacts and store them, all or none. Those that are there already stay as they are.

    Returns:
        How many the file holds, and a line that says what was done.

    Raises:
        InputError: a row cannot be read or joined, by its line and column.
    """
    from quiethand.store import NewImpact

    table = read_impacts(path)
    if len(table.lines) > _MOST:
        raise InputError(f"{len(table.lines)} impacts", where=table.where, do=f"split it: at most {_MOST} at once")
    joins = joined(table, _asking(store), _by_ids(store, table))
    held = {impact.shot_id: impact for impact in _impacts_of(store, [s["id"] for s in joins if s is not None])}
    free = _free_already(store, table, joins)
    new = []
    for line, shot in zip(table.lines, joins, strict=True):
        there = None if shot is None else held.get(shot["id"])
        if there is not None and (there.right_mm, there.up_mm) != (line.right_mm, line.up_mm):
            raise InputError(
                f"{_named(shot)} has another impact already ({there.right_mm:g} mm right, {there.up_mm:g} mm up)",
                where=f"{table.where}: line {line.line}", do="remove that one first, or leave the line out",
            )  # fmt: skip
        if there is not None or (shot is None and _free_key(line) in free):
            continue
        new.append(
            NewImpact(
                line.right_mm, line.up_mm, shot_id=None if shot is None else shot["id"],
                archer=(line.archer or "") if shot is None else "", unix_s=_moment(line) if shot is None else None,
                face=line.face or "", distance_m=line.distance_m, diameter_mm=line.diameter_mm, source="imported",
                remark=line.remark or "",
            )
        )  # fmt: skip
    if new:
        store.add_impacts(new)
    return len(table.lines), _told(table, joins, len(new))


def _told(table: ImpactTable, joins: Sequence[object], new: int) -> str:
    loose = sum(shot is None for shot in joins)
    told = f"{new} impacts added" if new else "already there"
    told += f", {len(joins) - loose} of {len(joins)} joined to their shots" if loose else ", each joined to its shot"
    if new and new < len(joins):
        told += f", {len(joins) - new} were there already"
    if table.passed_over:
        told += f"; columns passed over: {', '.join(table.passed_over)}"
    return told


def _impacts_of(store: Store, shot_ids: list[int]) -> list[Any]:
    return [marks.impact for marks in store.marks(shot_ids).values() if marks.impact is not None]


def _free_key(line: ImpactLine) -> tuple[Any, ...]:
    return line.archer or "", _moment(line), line.right_mm, line.up_mm


def _free_already(store: Store, table: ImpactTable, joins: Sequence[object]) -> set[tuple[Any, ...]]:
    """What the store holds of impacts without a shot at the times of this file's."""
    from quiethand.store import ShotFilter

    times = [_moment(line) for line, shot in zip(table.lines, joins, strict=True) if shot is None]
    if not times:
        return set()
    wanted = ShotFilter(since_unix_s=min(times) - 1, before_unix_s=max(times) + 1)
    held = store.impacts(wanted, free=True, limit=_MOST)
    return {(impact.archer, impact.unix_s, impact.right_mm, impact.up_mm) for impact in held}


def _moment(line: ImpactLine) -> float:
    """When an impact without a shot was made: its time, or noon of its day."""
    from datetime import datetime

    if line.unix_s is not None:
        return line.unix_s
    return datetime.fromisoformat(f"{line.day}T12:00").timestamp()


def _asking(store: Store) -> ShotsOf:
    """Asks the store for an archer's shots of a day, in the order of time, once each."""
    from quiethand.store import ShotFilter

    asked: dict[tuple[str, str], Shots] = {}

    def shots(archer: str, day: str) -> Shots:
        if (archer, day) not in asked:
            found = store.shot_rows(ShotFilter(archer=archer, day=day), limit=_MOST, measures=[])
            asked[archer, day] = found[::-1]
        return asked[archer, day]

    return shots


def _by_ids(store: Store, table: ImpactTable) -> dict[int, dict[str, Any]]:
    """The shots that lines name by their ids; those that there are."""
    found = (store.shot(line.shot_id) for line in table.lines if line.shot_id is not None)
    return {s.id: {"id": s.id, "number": s.number, "recording": s.recording} for s in found if s is not None}


def joined(table: ImpactTable, shots_of: ShotsOf, by_id: Mapping[int, dict[str, Any]]) -> list[dict[str, Any] | None]:
    """The shot of each line; None for one that its line leaves without.

    Args:
        table: as read.
        shots_of: an archer's shots of a local day, in the order of time.
        by_id: the shots that lines name by their ids.

    Raises:
        InputError: a line fits no shot, or more than one.
    """
    timed = table.columns & {"time", "time_utc"}
    if "shot_id" in table.columns:
        found = [_by_id(table, line, by_id) for line in table.lines]
    else:
        _refuse_without(table, "archer")
        if "number" in table.columns or not timed:
            _refuse_without(table, "day")
        if "number" in table.columns:
            found = [_by_number(table, line, shots_of) for line in table.lines]
        elif timed:
            found = [_by_time(table, line, shots_of) for line in table.lines]
        else:
            found = _by_order(table, shots_of)
    _refuse_twice(table, found)
    return found


def _refuse_without(table: ImpactTable, name: str) -> None:
    for line in table.lines:
        if getattr(line, name) is None:
            raise InputError(
                f"no {name} is stated", where=f"{table.where}: line {line.line}",
                do=f"fill in the column {name}, or name each shot in a column shot_id (as 'quiethand export' gives it)",
            )  # fmt: skip


def _by_id(table: ImpactTable, line: ImpactLine, known: Mapping[int, dict[str, Any]]) -> dict[str, Any] | None:
    if line.shot_id is None:
        if line.archer is None or (line.day is None and line.unix_s is None):
            raise InputError(
                "without a shot_id it needs an archer and a day", where=f"{table.where}: line {line.line}",
                do="fill in one or the other",
            )  # fmt: skip
        return None
    if line.shot_id not in known:
        where = f"{table.where}: line {line.line}, shot_id"
        raise InputError(f"the store holds no shot {line.shot_id}", where=where, do="take it from 'quiethand export'")
    return known[line.shot_id]


def _candidates(line: ImpactLine, day: str, shots_of: ShotsOf) -> list[dict[str, Any]]:
    """The archer's shots of that day with the bow, arrow and recording that the line states."""
    assert line.archer is not None
    return [
        shot
        for shot in shots_of(line.archer, day)
        if all(getattr(line, name) in (None, shot[name]) for name in ("bow", "arrow"))
        and (line.recording is None or Path(shot["recording"]).name == Path(line.recording).name)
    ]


def _by_number(table: ImpactTable, line: ImpactLine, shots_of: ShotsOf) -> dict[str, Any] | None:
    if line.number is None:
        return None
    assert line.day is not None
    day = _candidates(line, line.day, shots_of)
    found = [shot for shot in day if shot["number"] == line.number]
    if len(found) == 1:
        return found[0]
    where = f"{table.where}: line {line.line}, number"
    if not found:
        said = f"{line.archer} has no shot {line.number} on {line.day}"
        numbers = ", ".join(str(shot["number"]) for shot in day[:30]) or "none"
        raise InputError(
            said, where=where, do=f"there are: {numbers}; leave it empty to keep the impact without a shot"
        )
    recordings = ", ".join(dict.fromkeys(Path(shot["recording"]).name for shot in found[:6]))
    raise InputError(
        f"{len(found)} shots of {line.archer} are number {line.number} on {line.day} (of {recordings})",
        where=where, do="add a column recording, or shot_id as 'quiethand export' gives it",
    )  # fmt: skip


def _by_time(table: ImpactTable, line: ImpactLine, shots_of: ShotsOf) -> dict[str, Any]:
    from datetime import datetime

    where = f"{table.where}: line {line.line}, time"
    if line.unix_s is None:
        raise InputError("is empty", where=where, do="fill it in, or leave the whole column out to go by the order")
    # midnight may lie between the two clocks
    days = {datetime.fromtimestamp(line.unix_s + off).date().isoformat() for off in (-_NEAR_S, _NEAR_S)}
    near = sorted(
        (abs(shot["unix_s"] - line.unix_s), shot["id"], shot)
        for day in days
        for shot in _candidates(line, day, shots_of)
        if abs(shot["unix_s"] - line.unix_s) <= _NEAR_S
    )
    if not near:
        raise InputError(
            f"no shot of {line.archer} lies within {_NEAR_S:g} s of it", where=where,
            do="mend the time, or use a column number and leave it empty to keep the impact without a shot",
        )  # fmt: skip
    if len(near) > 1 and near[1][0] < _CLEARLY * max(near[0][0], 0.5):
        raise InputError(
            f"{_named(near[0][2])} and {_named(near[1][2])} lie {near[0][0]:.1f} and {near[1][0]:.1f} s from it",
            where=where, do="use a column shot_id, as 'quiethand export' gives it",
        )  # fmt: skip
    return near[0][2]


def _by_order(table: ImpactTable, shots_of: ShotsOf) -> list[dict[str, Any] | None]:
    """Every shot of a day has its impact, in the order of the lines; any other number of them is refused."""
    groups: dict[tuple[Any, ...], list[int]] = {}
    for place, line in enumerate(table.lines):
        groups.setdefault((line.archer, line.day, line.bow, line.arrow, line.recording), []).append(place)
    found: list[dict[str, Any] | None] = [None] * len(table.lines)
    for places in groups.values():
        first = table.lines[places[0]]
        assert first.day is not None
        shots = _candidates(first, first.day, shots_of)
        if len(shots) != len(places):
            raise InputError(
                f"{len(places)} impacts of {first.archer} on {first.day}, and {len(shots)} shots",
                where=f"{table.where}: line {first.line}",
                do="say which is which in a column number (empty: no shot), time, or shot_id",
            )  # fmt: skip
        for place, shot in zip(places, shots, strict=True):
            found[place] = shot
    return found


def _refuse_twice(table: ImpactTable, found: Sequence[dict[str, Any] | None]) -> None:
    taken: dict[int, int] = {}
    for line, shot in zip(table.lines, found, strict=True):
        if shot is None:
            continue
        if shot["id"] in taken:
            raise InputError(
                f"{_named(shot)} is taken by line {taken[shot['id']]} already",
                where=f"{table.where}: line {line.line}", do="one shot has one impact: mend one of the two",
            )  # fmt: skip
        taken[shot["id"]] = line.line


def _named(shot: Any) -> str:
    return f"shot {shot['number']} of {Path(shot['recording']).name}"
