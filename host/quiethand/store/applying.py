"""What each kind of typed entry does to the tables.

Every function takes the connection, the entry, its shot (None where it is about none, or that shot is not here) and
whether it is done again for a shot that has come back. It gives the id of the row that it made, 0 where it made none.
Doing one twice is doing it once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, delete, insert, select, update

from quiethand.store.rows import added, setup_id_of
from quiethand.store.typed_tables import (
    CalibrationRow,
    CallRow,
    CorrectionRow,
    ExclusionRow,
    ImpactRow,
    LimitRow,
    RemarkRow,
    SensorRow,
    SetupVersionRow,
    StatedSetupRow,
    TagRow,
)  # fmt: skip

if TYPE_CHECKING:
    from quiethand.store.events import Event

__all__ = ["APPLIED"]


def _once(connection: Connection, table: Any, event: Event, values: Mapping[str, Any]) -> int:
    if connection.execute(select(table.id).where(table.uid == event.uid)).first() is not None:
        return 0
    return added(connection, table, {"uid": event.uid, "unix_s": event.unix_s, **event.payload, **values})


def _tag(connection: Connection, event: Event, shot_id: int | None, _again: bool) -> int:
    word = event.payload["word"]
    there = select(TagRow.word).where(TagRow.shot_id == shot_id, TagRow.word == word)
    if shot_id is None or connection.execute(there).first() is not None:
        return 0
    connection.execute(insert(TagRow).values(shot_id=shot_id, word=word))
    return 1


def _untag(connection: Connection, event: Event, shot_id: int | None, _again: bool) -> int:
    word = event.payload["word"]
    return connection.execute(delete(TagRow).where(TagRow.shot_id == shot_id, TagRow.word == word)).rowcount


def _remark(connection: Connection, event: Event, shot_id: int | None, _again: bool) -> int:
    return 0 if shot_id is None else _once(connection, RemarkRow, event, {"shot_id": shot_id})


def _unremark(connection: Connection, event: Event, _shot_id: int | None, _again: bool) -> int:
    return connection.execute(delete(RemarkRow).where(RemarkRow.uid == event.payload["remark"])).rowcount


def _call(connection: Connection, event: Event, shot_id: int | None, _again: bool) -> int:
    """The newest stands; one that says nothing is its withdrawal."""
    if shot_id is None:
        return 0
    connection.execute(delete(CallRow).where(CallRow.shot_id == shot_id))
    values = event.payload
    if values["right_mm"] is None and values["up_mm"] is None and not values["word"]:
        return 0
    connection.execute(insert(CallRow).values(shot_id=shot_id, unix_s=event.unix_s, **values))
    return 1


def _correction(connection: Connection, event: Event, shot_id: int | None, _again: bool) -> int:
    return 0 if shot_id is None else _once(connection, CorrectionRow, event, {"shot_id": shot_id})


def _exclusion(connection: Connection, event: Event, shot_id: int | None, _again: bool) -> int:
    in_force = select(ExclusionRow.id).where(ExclusionRow.shot_id == shot_id, ExclusionRow.lifted_unix_s.is_(None))
    if shot_id is None or connection.execute(in_force).first() is not None:
        return 0
    return _once(connection, ExclusionRow, event, {"shot_id": shot_id})


def _inclusion(connection: Connection, event: Event, shot_id: int | None, _again: bool) -> int:
    lifted = (
        update(ExclusionRow)
        .where(
            ExclusionRow.shot_id == shot_id,
            ExclusionRow.lifted_unix_s.is_(None),
            ExclusionRow.unix_s <= event.unix_s,
        )
        .values(lifted_unix_s=event.unix_s)
    )
    return connection.execute(lifted).rowcount


def _impact(connection: Connection, event: Event, shot_id: int | None, again: bool) -> int:
    if again:
        return _join(connection, event.uid, event, shot_id, again)
    if _impact_of(connection, shot_id) is not None:
        shot_id = None  # two at once said where it went: the first stands, the second stays free
    values = {"shot_id": shot_id, "joined_by": event.uid, "day": _day(event.payload["unix_s"])}
    return _once(connection, ImpactRow, event, values)


def _impact_joined(connection: Connection, event: Event, shot_id: int | None, again: bool) -> int:
    return _join(connection, event.payload["impact"], event, shot_id, again)


def _join(connection: Connection, impact: str, event: Event, shot_id: int | None, again: bool) -> int:
    """What was typed last about where an impact belongs stands, whichever shot comes back."""
    which = update(ImpactRow).where(ImpactRow.uid == impact)
    if again:
        which = which.where(ImpactRow.joined_by == event.uid)
    if _impact_of(connection, shot_id) not in (None, impact):
        shot_id = None
    return connection.execute(which.values(shot_id=shot_id, joined_by=event.uid)).rowcount


def _impact_of(connection: Connection, shot_id: int | None) -> str | None:
    if shot_id is None:
        return None
    return connection.execute(select(ImpactRow.uid).where(ImpactRow.shot_id == shot_id)).scalar_one_or_none()


def _impact_removed(connection: Connection, event: Event, _shot_id: int | None, _again: bool) -> int:
    return connection.execute(delete(ImpactRow).where(ImpactRow.uid == event.payload["impact"])).rowcount


def _limit(connection: Connection, event: Event, _shot_id: int | None, _again: bool) -> int:
    return _once(connection, LimitRow, event, {})


def _setup_version(connection: Connection, event: Event, _shot_id: int | None, _again: bool) -> int:
    values = {**event.payload, "setup_id": setup_id_of(connection, event.payload["document"])}
    del values["document"]
    there = select(SetupVersionRow.id).where(SetupVersionRow.uid == event.uid)
    if connection.execute(there).first() is not None:
        return 0
    return added(connection, SetupVersionRow, {"uid": event.uid, "unix_s": event.unix_s, **values})


def _stated_setup(connection: Connection, event: Event, _shot_id: int | None, _again: bool) -> int:
    connection.execute(delete(StatedSetupRow).where(StatedSetupRow.recording == event.recording))
    document = event.payload["document"]
    if document is not None:
        values = {"recording": event.recording, "setup_id": setup_id_of(connection, document)}
        connection.execute(insert(StatedSetupRow).values(values))
    return 1


def _sensor(connection: Connection, event: Event, _shot_id: int | None, _again: bool) -> int:
    values = {"unix_s": event.unix_s, **event.payload}
    connection.execute(delete(SensorRow).where(SensorRow.sensor_uid == values["sensor_uid"]))
    return added(connection, SensorRow, values)


def _calibration(connection: Connection, event: Event, _shot_id: int | None, _again: bool) -> int:
    return _once(connection, CalibrationRow, event, {})


def _recording(_connection: Connection, _event: Event, _shot_id: int | None, _again: bool) -> int:
    return 0  # that it was imported, and from where: for whoever builds the store again


def _day(unix_s: float) -> str:
    return datetime.fromtimestamp(unix_s).date().isoformat()


APPLIED: Final[Mapping[str, Callable[[Connection, Any, int | None, bool], int]]] = {
    "tag": _tag,
    "untag": _untag,
    "remark": _remark,
    "unremark": _unremark,
    "call": _call,
    "correction": _correction,
    "exclusion": _exclusion,
    "inclusion": _inclusion,
    "impact": _impact,
    "impact_joined": _impact_joined,
    "impact_removed": _impact_removed,
    "limit": _limit,
    "setup_version": _setup_version,
    "stated_setup": _stated_setup,
    "sensor": _sensor,
    "calibration": _calibration,
    "recording": _recording,
}
