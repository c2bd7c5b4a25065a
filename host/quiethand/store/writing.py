"""What was measured goes into the store. Every call is one transaction, and doing it twice is doing it once."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from sqlalchemy import Connection, Engine, delete, insert, select, update

from quiethand.shots.model import Rejected, Shot
from quiethand.store.engine import writing
from quiethand.store.events import applied_again
from quiethand.store.measured import MeasuredRecording, MeasuredShot, measured_shot, rejected_rows
from quiethand.store.records import RecordingFacts
from quiethand.store.remeasured import Change, replace_figures
from quiethand.store.rows import added, count_change, ids_of, setup_id_of
from quiethand.store.tables import RecordingRow, RejectedRow, ShotRow, TraceRow
from quiethand.store.typed_tables import TypedRow

__all__ = ["Writing"]


class Writing:
    """The part of `Store` that takes what was measured."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    def put_recording(self, facts: RecordingFacts) -> int:
        """Add a recording, or bring what is known of it up to date (known again by its identity). Returns its id."""
        with writing(self.engine) as connection:
            recording_id = _put_recording(connection, facts)
            count_change(connection)
        return recording_id

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
            software: what computed it.
            face, distance_m: of the target.

        Returns:
            Its id, or None where this recording already has a shot of this number: nothing changes then.
        """
        measured = measured_shot(
            shot, contract, setup_document, unix_s=unix_s, software=software, face=face, distance_m=distance_m
        )
        with writing(self.engine) as connection:
            shot_id = _add_shot(connection, recording_id, measured)
            if shot_id is not None:
                count_change(connection)
        return shot_id

    def add_rejected(self, recording_id: int, rejected: Sequence[Rejected], *, started_unix_s: float) -> int:
        """Add movements that were no shots; those already there are passed over. Returns how many were new."""
        with writing(self.engine) as connection:
            new = _add_rejected(connection, recording_id, rejected_rows(rejected, started_unix_s))
            if new:
                count_change(connection)
        return new

    def put_measured(self, measured: MeasuredRecording) -> int:
        """Add a whole recording with its shots, in one transaction: all of it or nothing. Shots that are there already
        (by number) stay as they are. Returns how many shots were new."""
        with writing(self.engine) as connection:
            recording_id = _put_recording(connection, measured.facts)
            new = _add_shots(connection, recording_id, measured)
            _add_rejected(connection, recording_id, measured.rejected)
            count_change(connection)
        return new

    def put_measured_again(self, measured: MeasuredRecording) -> list[Change]:
        """Put new figures in the place of a recording's old ones, in one transaction. Old figures that change are kept
        (`earlier_figures`); a shot that is not found any more goes, and what was typed about it waits for its return.

        Returns:
            What changed, shot by shot; a shot whose figures stay is not among them.
        """
        with writing(self.engine) as connection:
            recording_id = _put_recording(connection, measured.facts)
            changes, new = replace_figures(connection, recording_id, measured)
            for shot in new:
                _add_shot(connection, recording_id, shot)
            connection.execute(delete(RejectedRow).where(RejectedRow.recording_id == recording_id))
            _add_rejected(connection, recording_id, measured.rejected)
            count_change(connection)
        return changes


def _put_recording(connection: Connection, facts: RecordingFacts) -> int:
    values = asdict(facts)
    found = connection.execute(
        select(RecordingRow.id).where(RecordingRow.identity == facts.identity)
    ).scalar_one_or_none()
    if found is None:
        return added(connection, RecordingRow, values)
    connection.execute(update(RecordingRow).where(RecordingRow.id == found), values)
    return found


def _add_shot(connection: Connection, recording_id: int, shot: MeasuredShot) -> int | None:
    number = shot.values["number"]
    there = select(ShotRow.id).where(ShotRow.recording_id == recording_id, ShotRow.number == number)
    if connection.execute(there).first() is not None:
        return None
    shot_id = added(connection, ShotRow, {"recording_id": recording_id, **ids_of(connection, shot), **shot.values})
    if shot.traces:
        connection.execute(insert(TraceRow), [{"shot_id": shot_id, **row} for row in shot.traces])
    identity = connection.execute(select(RecordingRow.identity).where(RecordingRow.id == recording_id)).scalar_one()
    applied_again(connection, identity, shot.values["departure_s"], shot_id)
    return shot_id


def _add_shots(connection: Connection, recording_id: int, measured: MeasuredRecording) -> int:
    """As `_add_shot`, for many at once. Returns how many were new."""
    there = set(connection.execute(select(ShotRow.number).where(ShotRow.recording_id == recording_id)).scalars())
    new = [shot for shot in measured.shots if shot.values["number"] not in there]
    if not new:
        return 0
    ids: dict[str, dict[str, int]] = {}
    rows = []
    for shot in new:
        key = json.dumps([shot.names, shot.document], sort_keys=True)
        if key not in ids:
            ids[key] = ids_of(connection, shot)
        rows.append({"recording_id": recording_id, **ids[key], **shot.values})
    adding = insert(ShotRow.__table__).returning(ShotRow.__table__.c.id, sort_by_parameter_order=True)  # type: ignore[arg-type]
    shot_ids = list(connection.execute(adding, rows).scalars())
    traces = [{"shot_id": i, **row} for i, shot in zip(shot_ids, new, strict=True) for row in shot.traces]
    if traces:
        connection.execute(insert(TraceRow.__table__), traces)  # type: ignore[arg-type]
    identity = measured.facts.identity
    typed = select(TypedRow.id).where(TypedRow.recording == identity, TypedRow.departure_s.is_not(None)).limit(1)
    if connection.execute(typed).first() is not None:
        for shot_id, shot in zip(shot_ids, new, strict=True):
            applied_again(connection, identity, shot.values["departure_s"], shot_id)
    return len(new)


def _add_rejected(connection: Connection, recording_id: int, rejected: Sequence[Mapping[str, Any]]) -> int:
    query = select(RejectedRow.time_s, RejectedRow.reason).where(RejectedRow.recording_id == recording_id)
    known = {(row.time_s, row.reason) for row in connection.execute(query)} if rejected else set()
    new = []
    for row in rejected:
        if (row["time_s"], row["reason"]) not in known:
            known.add((row["time_s"], row["reason"]))
            new.append({"recording_id": recording_id, **row})
    if new:
        connection.execute(insert(RejectedRow), new)
    return len(new)
