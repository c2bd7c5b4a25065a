"""What goes into the store. Every call is one transaction, and doing it twice is doing it once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Engine, insert, select, update

from quiethand.shots.method import METHOD_VERSION
from quiethand.shots.model import Rejected, Shot
from quiethand.store.engine import writing
from quiethand.store.events import applied_again
from quiethand.store.measures import measures_of
from quiethand.store.packing import pack_trace
from quiethand.store.records import RecordingFacts
from quiethand.store.rows import added, count_change, setup_id_of
from quiethand.store.tables import (
    ArcherRow,
    ArrowRow,
    BowRow,
    RecordingRow,
    RejectedRow,
    ShotRow,
    TraceRow,
)  # fmt: skip

__all__ = ["Writing"]

_NAMED = {"archer": ArcherRow, "bow": BowRow, "arrow": ArrowRow}


class Writing:
    """The half of `Store` that writes."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    def put_recording(self, facts: RecordingFacts) -> int:
        """Add a recording, or bring what is known of it up to date (known again by its identity). Returns its id."""
        values = {
            "path": facts.path,
            "started_unix_s": facts.started_unix_s,
            "started_from": facts.started_from,
            "state": facts.state,
            "sha256": facts.sha256,
            "rate_hz": facts.rate_hz,
            "sensor_uid": facts.sensor_uid,
            "facts": dict(facts.facts),
        }
        with writing(self.engine) as connection:
            found = connection.execute(
                select(RecordingRow.id).where(RecordingRow.identity == facts.identity)
            ).scalar_one_or_none()
            if found is not None:
                connection.execute(update(RecordingRow).where(RecordingRow.id == found).values(values))
                count_change(connection)
                return found
            count_change(connection)
            return added(connection, RecordingRow, {"identity": facts.identity, **values})

    def put_setup(self, document: Mapping[str, Any]) -> int:
        """Add a version of a set-up unless there is one of the same content. Returns its id."""
        with writing(self.engine) as connection:
            return setup_id_of(connection, document)

    def add_shot(
        self,
        recording_id: int,
        setup_document: Mapping[str, Any],
        shot: Shot,
        contract: Mapping[str, Any],
        *,
        unix_s: float,
        software: str,
        face: str | None = None,
        distance_m: float | None = None,
    ) -> int | None:
        """Add a shot with its trace.

        Args:
            recording_id: from `put_recording`.
            setup_document: the set-up in force (the SESSION object); archer, bow and arrow are those it names.
            shot: with its trace, if it has one.
            contract: the shot as `analyse` prints it.
            unix_s: when it was shot.
            face, distance_m: of the target.

        Returns:
            Its id, or None where this recording already has a shot of this number: nothing changes then.
        """
        with writing(self.engine) as connection:
            there = select(ShotRow.id).where(ShotRow.recording_id == recording_id, ShotRow.number == shot.number)
            if connection.execute(there).first() is not None:
                return None
            shot_id = added(
                connection,
                ShotRow,
                {
                    "recording_id": recording_id,
                    "number": shot.number,
                    "setup_id": setup_id_of(connection, setup_document),
                    **{f"{kind}_id": _named_id(connection, kind, setup_document) for kind in _NAMED},
                    "unix_s": unix_s,
                    "day": datetime.fromtimestamp(unix_s).date().isoformat(),
                    "segment": shot.segment,
                    "departure_from": shot.departure_from,
                    "flags": list(contract.get("flags", [])),
                    "notes": list(shot.notes),
                    "contract": dict(contract),
                    "software": software,
                    "method": METHOD_VERSION,
                    "flagged": any(flag.verdict != "too_close_to_tell" for flag in shot.flags),
                    "face": face or "",
                    "distance_m": distance_m,
                    **measures_of(shot),
                },
            )
            if shot.trace is not None:
                rows = [{"shot_id": shot_id, **row} for row in pack_trace(shot.trace)]
                connection.execute(insert(TraceRow), rows)
            identity = connection.execute(
                select(RecordingRow.identity).where(RecordingRow.id == recording_id)
            ).scalar_one()
            applied_again(connection, identity, shot.departure_s, shot_id)
            count_change(connection)
            return shot_id

    def add_rejected(self, recording_id: int, rejected: Sequence[Rejected], *, started_unix_s: float) -> int:
        """Add movements that were no shots; those already there are passed over. Returns how many were new."""
        new = 0
        with writing(self.engine) as connection:
            for movement in rejected:
                there = select(RejectedRow.id).where(
                    RejectedRow.recording_id == recording_id,
                    RejectedRow.time_s == movement.time_s,
                    RejectedRow.reason == movement.reason,
                )
                if connection.execute(there).first() is not None:
                    continue
                added(
                    connection,
                    RejectedRow,
                    {
                        "recording_id": recording_id,
                        "time_s": movement.time_s,
                        "unix_s": started_unix_s + movement.time_s,
                        "reason": movement.reason,
                        "text": movement.text,
                    },
                )
                new += 1
            if new:
                count_change(connection)
        return new


def _named_id(connection: Connection, kind: str, document: Mapping[str, Any]) -> int:
    part = document.get(kind)
    stated = part.get("name") if isinstance(part, Mapping) else None
    name = stated if isinstance(stated, str) else ""
    table: Any = _NAMED[kind]
    found = connection.execute(select(table.id).where(table.name == name)).scalar_one_or_none()
    return found if found is not None else added(connection, table, {"name": name})
