"""A recording measured again: which shot is which, what moved and by how much, new figures in old ones' place."""

from __future__ import annotations

import math
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from sqlalchemy import Connection, delete, insert, select, update

from quiethand.store.events import SAME_SHOT_S
from quiethand.store.measured import MeasuredRecording, MeasuredShot
from quiethand.store.measures import MEASURES
from quiethand.store.rows import added, ids_of
from quiethand.store.tables import EarlierFiguresRow, RecordingRow, ShotRow, TraceRow

__all__ = ["Change", "Moved", "compare", "moved_figures", "replace_figures"]

_SAME: Final = 1e-9  # relative: what another processor's arithmetic may differ by in the end
_MEASURES: Final = tuple(getattr(ShotRow, name) for name in MEASURES)


@dataclass(frozen=True)
class Moved:
    """One figure of a shot that is not what it was."""

    measure: str
    old: float | None
    new: float | None
    sigmas: float | None  # the difference over the old standard uncertainty; None where none was stated


@dataclass(frozen=True)
class Change:
    """What a new measurement does to one shot."""

    kind: Literal["moved", "new", "gone"]
    recording: str  # its path as stored
    number: int  # the old one; of a new shot the new one
    moved: tuple[Moved, ...] = ()


@dataclass(frozen=True)
class _Old:
    id: int
    number: int
    software: str
    method: int
    setup_id: int
    departure_s: float
    measures: Mapping[str, float | None]


def moved_figures(old: Mapping[str, float | None], new: Mapping[str, Any]) -> tuple[Moved, ...]:
    return tuple(_moved(old, new))


def _moved(old: Mapping[str, float | None], new: Mapping[str, Any]) -> Iterator[Moved]:
    for name, measure in MEASURES.items():
        before, after = old.get(name), new[name]
        if before == after:
            continue
        sigmas = None
        if before is not None and after is not None:
            if math.isclose(before, after, rel_tol=_SAME, abs_tol=1e-15):
                continue
            sigma = (old.get(measure.sigma) or new.get(measure.sigma)) if measure.sigma else None
            sigmas = abs(after - before) / sigma if sigma else None
        yield Moved(name, before, after, sigmas)


def compare(connection: Connection, measured: MeasuredRecording) -> list[Change]:
    """What `replace_figures` would change."""
    row = connection.execute(
        select(RecordingRow.id, RecordingRow.path).where(RecordingRow.identity == measured.facts.identity)
    ).first()
    pairs, new, gone = _matched(_old_shots(connection, row.id) if row else [], measured.shots)
    return _changes(row.path if row else measured.facts.path, pairs, new, gone)


def _changes(
    path: str, pairs: Sequence[tuple[_Old, MeasuredShot]], new: Sequence[MeasuredShot], gone: Sequence[_Old]
) -> list[Change]:
    moved = ((old, moved_figures(old.measures, shot.values)) for old, shot in pairs)
    return [
        *(Change("moved", path, old.number, figures) for old, figures in moved if figures),
        *(Change("new", path, shot.values["number"]) for shot in new),
        *(Change("gone", path, old.number) for old in gone),
    ]


def replace_figures(
    connection: Connection, recording_id: int, measured: MeasuredRecording
) -> tuple[list[Change], list[MeasuredShot]]:
    """Bring a recording's stored shots to new figures, within the caller's transaction.

    Returns:
        What changed, and the shots that were not there: to be added by the caller.
    """
    pairs, new, gone = _matched(_old_shots(connection, recording_id), measured.shots)
    for old in gone:
        _keep(connection, recording_id, old)
        connection.execute(delete(ShotRow).where(ShotRow.id == old.id))
    if any(old.number != shot.values["number"] for old, shot in pairs):
        # Numbers are unique: out of each other's way first.
        connection.execute(
            update(ShotRow).where(ShotRow.recording_id == recording_id).values(number=-ShotRow.number - 1)
        )
    for old, shot in pairs:
        if moved_figures(old.measures, shot.values):
            _keep(connection, recording_id, old)
        values = {**shot.values, **ids_of(connection, shot)}
        connection.execute(update(ShotRow.__table__).where(ShotRow.id == old.id), values)  # type: ignore[arg-type]
        connection.execute(delete(TraceRow).where(TraceRow.shot_id == old.id))
        if shot.traces:
            connection.execute(insert(TraceRow), [{"shot_id": old.id, **row} for row in shot.traces])
    return _changes(measured.facts.path, pairs, new, gone), new


def _keep(connection: Connection, recording_id: int, old: _Old) -> None:
    values = {
        "shot_id": old.id,
        "recording_id": recording_id,
        "number": old.number,
        "replaced_unix_s": time.time(),
        "software": old.software,
        "method": old.method,
        "setup_id": old.setup_id,
        "measures": {name: value for name, value in old.measures.items() if value is not None},
    }
    added(connection, EarlierFiguresRow, values)


def _old_shots(connection: Connection, recording_id: int) -> list[_Old]:
    columns = (ShotRow.id, ShotRow.number, ShotRow.software, ShotRow.method, ShotRow.setup_id)
    rows = connection.execute(select(*columns, *_MEASURES).where(ShotRow.recording_id == recording_id)).mappings()
    return [
        _Old(
            row["id"],
            row["number"],
            row["software"],
            row["method"],
            row["setup_id"],
            row["departure_s"],
            {name: row[name] for name in MEASURES},
        )
        for row in rows
    ]


def _matched(
    old: Sequence[_Old], shots: Sequence[MeasuredShot]
) -> tuple[list[tuple[_Old, MeasuredShot]], list[MeasuredShot], list[_Old]]:
    """Which is which by time, the nearest first."""
    near = sorted(
        (abs(one.departure_s - shot.values["departure_s"]), i, k)
        for i, one in enumerate(old)
        for k, shot in enumerate(shots)
        if abs(one.departure_s - shot.values["departure_s"]) <= SAME_SHOT_S
    )
    of_old: dict[int, int] = {}
    taken: set[int] = set()
    for _, i, k in near:
        if i not in of_old and k not in taken:
            of_old[i] = k
            taken.add(k)
    pairs = [(old[i], shots[k]) for i, k in sorted(of_old.items())]
    return (
        pairs,
        [shot for k, shot in enumerate(shots) if k not in taken],
        [one for i, one in enumerate(old) if i not in of_old],
    )
