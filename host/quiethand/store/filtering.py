"""Which shots: a filter as conditions of a query."""

from __future__ import annotations

from datetime import datetime
from operator import eq, ge, le, lt
from typing import Any, Final

from sqlalchemy import Select, select

from quiethand.errors import InputError
from quiethand.store.records import ShotFilter
from quiethand.store.tables import ArcherRow, ArrowRow, BowRow, RecordingRow, ShotRow
from quiethand.store.typed_tables import CallRow, ExclusionRow, ImpactRow, TagRow

__all__ = ["EXCLUDED", "filtered", "joined", "where"]

_A_DAY_S: Final = 86400.0

EXCLUDED = (
    select(ExclusionRow.id)
    .where(ExclusionRow.shot_id == ShotRow.id, ExclusionRow.lifted_unix_s.is_(None))
    .correlate(ShotRow)
    .exists()
)
_CALLED = select(CallRow.shot_id).where(CallRow.shot_id == ShotRow.id).correlate(ShotRow).exists()
_HIT = select(ImpactRow.id).where(ImpactRow.shot_id == ShotRow.id).correlate(ShotRow).exists()


def joined(query: Select[Any]) -> Select[Any]:
    return (
        query.select_from(ShotRow)
        .join(ArcherRow, ArcherRow.id == ShotRow.archer_id)
        .join(BowRow, BowRow.id == ShotRow.bow_id)
        .join(ArrowRow, ArrowRow.id == ShotRow.arrow_id)
        .join(RecordingRow, RecordingRow.id == ShotRow.recording_id)
    )


def where(query: Select[Any], wanted: ShotFilter) -> Select[Any]:
    # A name is looked up first, so that the rest is one walk along an index of shots.
    for name, table, column in (
        (wanted.archer, ArcherRow, ShotRow.archer_id),
        (wanted.bow, BowRow, ShotRow.bow_id),
        (wanted.arrow, ArrowRow, ShotRow.arrow_id),
    ):
        if name is not None:
            key: Any = table
            query = query.where(column == select(key.id).where(key.name == name).scalar_subquery())
    for value, holds, its in (
        (wanted.day, eq, ShotRow.day),
        (wanted.day_from, ge, ShotRow.day),
        (wanted.day_to, le, ShotRow.day),
        (wanted.recording_id, eq, ShotRow.recording_id),
        (wanted.before_unix_s, lt, ShotRow.unix_s),
        (wanted.since_unix_s, ge, ShotRow.unix_s),
        (wanted.flagged, eq, ShotRow.flagged),
        (wanted.face, eq, ShotRow.face),
        (wanted.distance_m, eq, ShotRow.distance_m),
    ):
        if value is not None:
            query = query.where(holds(its, value))
    # A day is local time; with a day to spare it is also a stretch of the index of times.
    if (first := wanted.day or wanted.day_from) is not None:
        query = query.where(ShotRow.unix_s >= _midnight(first) - _A_DAY_S)
    if (last := wanted.day or wanted.day_to) is not None:
        query = query.where(ShotRow.unix_s <= _midnight(last) + 2 * _A_DAY_S)
    for asked, there in ((wanted.excluded, EXCLUDED), (wanted.called, _CALLED), (wanted.hit, _HIT)):
        if asked is not None:
            query = query.where(there if asked else ~there)
    if wanted.tag is not None:
        query = query.where(ShotRow.id.in_(select(TagRow.shot_id).where(TagRow.word == wanted.tag)))
    return query


def _midnight(day: str) -> float:
    try:
        return datetime.fromisoformat(day).timestamp()
    except (ValueError, OverflowError, OSError):
        raise InputError(f'"{day}" is no day', do="write it as 2026-12-01") from None


def filtered(query: Select[Any], wanted: ShotFilter) -> Select[Any]:
    """The newest first."""
    return where(query, wanted).order_by(ShotRow.unix_s.desc(), ShotRow.id.desc())
