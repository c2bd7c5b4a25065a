"""One list of all that people typed, and what each entry does to the tables. The list is the truth: whoever replays it
gets the same tables. A shot is named in it by its recording and its time there, so that it outlives the store.
"""

from __future__ import annotations

import time
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

from sqlalchemy import Connection, insert, select

from quiethand.errors import InputError
from quiethand.store.applying import APPLIED
from quiethand.store.tables import RecordingRow, ShotRow
from quiethand.store.typed_tables import TypedRow

__all__ = ["SAME_SHOT_S", "Event", "applied_again", "enter", "events_of", "replay"]

_DEPARTURE: Final[Any] = getattr(ShotRow, "departure_s")  # noqa: B009  # a measure: its column is made from the list
# Two shots are seconds apart, and no change of method moves one by so much.
SAME_SHOT_S: Final = 0.5


@dataclass(frozen=True)
class Event:
    uid: str
    unix_s: float
    kind: str
    recording: str | None  # its identity; None: about no shot
    departure_s: float | None
    payload: Mapping[str, Any]


def events_of(connection: Connection, after_id: int = 0) -> list[Event]:
    """What was entered after a row of `typed`, in order."""
    columns = [getattr(TypedRow, name) for name in Event.__dataclass_fields__]
    query = select(*columns).where(TypedRow.id > after_id).order_by(TypedRow.id)
    return [Event(**row) for row in connection.execute(query).mappings()]


def enter(
    connection: Connection,
    kind: str,
    payload: Mapping[str, Any],
    shot_ids: Sequence[int | None] = (None,),
    *,
    recording: str | None = None,
) -> list[int]:
    """Enter the same thing about each of some shots (None: about none) and do it.

    Returns:
        For each, what its kind gives: mostly the id of a new row, 0 where nothing was new.

    Raises:
        InputError: there is no such shot.
    """
    places = _places(connection, [i for i in shot_ids if i is not None])
    done = []
    for shot_id in shot_ids:
        identity, departure_s = (recording, None) if shot_id is None else places[shot_id]
        event = Event(uuid.uuid4().hex, time.time(), kind, identity, departure_s, dict(payload))
        connection.execute(insert(TypedRow).values(asdict(event)))
        done.append(APPLIED[kind](connection, event, shot_id, False))
    return done


def _places(connection: Connection, shot_ids: Sequence[int]) -> dict[int, tuple[str, float]]:
    """Each shot's recording and departure."""
    query = (
        select(ShotRow.id, RecordingRow.identity, _DEPARTURE)
        .join(RecordingRow, RecordingRow.id == ShotRow.recording_id)
        .where(ShotRow.id.in_(shot_ids))
    )
    found = {row.id: (row.identity, float(row.departure_s)) for row in connection.execute(query)}
    for shot_id in shot_ids:
        if shot_id not in found:
            raise InputError(f"the store holds no shot {shot_id}", do="look at the page again: it may have gone")
    return found


def replay(connection: Connection, events: Iterable[Event]) -> int:
    """Enter and do what this store does not know yet. About a shot that is not here it is done when the shot comes.

    Returns:
        How many were new.
    """
    known = set(connection.execute(select(TypedRow.uid)).scalars())
    new = 0
    for event in events:
        if event.uid in known or event.kind not in APPLIED:
            continue
        known.add(event.uid)
        connection.execute(insert(TypedRow).values(asdict(event)))
        APPLIED[event.kind](connection, event, _shot_at(connection, event), False)
        new += 1
    return new


def _shot_at(connection: Connection, event: Event) -> int | None:
    if event.recording is None or event.departure_s is None:
        return None
    query = (
        select(ShotRow.id, _DEPARTURE)
        .join(RecordingRow, RecordingRow.id == ShotRow.recording_id)
        .where(RecordingRow.identity == event.recording)
        .where(_DEPARTURE.between(event.departure_s - SAME_SHOT_S, event.departure_s + SAME_SHOT_S))
    )
    near = [(abs(row.departure_s - event.departure_s), row.id) for row in connection.execute(query)]
    return min(near)[1] if near else None


def applied_again(connection: Connection, recording: str, departure_s: float, shot_id: int) -> None:
    """A shot has come (back): do what was typed about it."""
    columns = [getattr(TypedRow, name) for name in Event.__dataclass_fields__]
    query = (
        select(*columns)
        .where(TypedRow.recording == recording)
        .where(TypedRow.departure_s.between(departure_s - SAME_SHOT_S, departure_s + SAME_SHOT_S))
        .order_by(TypedRow.id)
    )
    for row in connection.execute(query).mappings().all():
        event = Event(**row)
        APPLIED[event.kind](connection, event, shot_id, True)
