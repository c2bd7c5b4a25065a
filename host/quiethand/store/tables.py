"""The tables. What people state (archers, bows, arrows, set-ups) stands apart from what can be computed again from a
recording (shots, traces, rejected movements). What people type has tables of its own, in `typed_tables`.
"""

from __future__ import annotations

from typing import Any, Final

from sqlalchemy import JSON, Float, ForeignKey, Index, LargeBinary, MetaData, String, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from quiethand.store.measures import MEASURES

__all__ = ["ArcherRow", "ArrowRow", "Base", "BowRow", "ChangesRow", "EarlierFiguresRow", "RecordingRow", "RejectedRow",
           "SetupRow", "ShotRow", "TraceRow"]  # fmt: skip

# Named constraints, so that a later migration can drop one on every database.
_NAMES: Final = {
    "ix": "ix_%(column_0_N_label)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    metadata = MetaData(naming_convention=_NAMES)
    type_annotation_map = {dict[str, Any]: JSON, list[Any]: JSON, float: Float(53)}  # noqa: RUF012


class ChangesRow(Base):
    """One row that counts write transactions: what the page asks twice a second, at the cost of one row read."""

    __tablename__ = "changes"
    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    count: Mapped[int]


class ArcherRow(Base):
    __tablename__ = "archers"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(200), unique=True)  # "" where the set-up states none


class BowRow(Base):
    __tablename__ = "bows"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(200), unique=True)


class ArrowRow(Base):
    __tablename__ = "arrows"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(200), unique=True)


class SetupRow(Base):
    """One version of a set-up: the document as stated, known by the hash of its content."""

    __tablename__ = "setups"
    id: Mapped[int] = mapped_column(primary_key=True)
    sha256: Mapped[str] = mapped_column(String(64), unique=True)
    document: Mapped[dict[str, Any]]


class RecordingRow(Base):
    __tablename__ = "recordings"
    id: Mapped[int] = mapped_column(primary_key=True)
    identity: Mapped[str] = mapped_column(String(80), unique=True)  # see identity.py
    sha256: Mapped[str | None] = mapped_column(String(64), index=True)  # of the whole file; None while it grows
    path: Mapped[str]  # relative to the home where it lies inside
    started_unix_s: Mapped[float]  # when the recording's time was zero
    started_from: Mapped[str] = mapped_column(String(16))  # clock, header, file
    state: Mapped[str] = mapped_column(String(16))  # growing, whole, damaged, empty
    rate_hz: Mapped[float | None]
    sensor_uid: Mapped[str | None] = mapped_column(String(32))  # hexadecimal, as the device states it
    facts: Mapped[dict[str, Any]]  # the contract's `recording` and notes


class _MeasureColumns:
    """A column for every scalar measure; written from the one list of them, so that none is forgotten."""


for _name in MEASURES:
    setattr(_MeasureColumns, _name, mapped_column(Float(53), nullable=True))


class ShotRow(_MeasureColumns, Base):
    __tablename__ = "shots"
    id: Mapped[int] = mapped_column(primary_key=True)
    recording_id: Mapped[int] = mapped_column(ForeignKey("recordings.id", ondelete="CASCADE"))
    number: Mapped[int]
    setup_id: Mapped[int] = mapped_column(ForeignKey("setups.id"), index=True)
    # Whose shot it was is kept by shot, not by set-up, so that it can be corrected without touching the set-up.
    archer_id: Mapped[int] = mapped_column(ForeignKey("archers.id"))
    bow_id: Mapped[int] = mapped_column(ForeignKey("bows.id"), index=True)
    arrow_id: Mapped[int] = mapped_column(ForeignKey("arrows.id"), index=True)
    unix_s: Mapped[float] = mapped_column(index=True)
    day: Mapped[str] = mapped_column(String(10), index=True)  # local date at the host, YYYY-MM-DD
    segment: Mapped[int]
    departure_from: Mapped[str] = mapped_column(String(16))
    flags: Mapped[list[Any]]
    notes: Mapped[list[Any]]
    contract: Mapped[dict[str, Any]]
    software: Mapped[str] = mapped_column(String(80))
    method: Mapped[int] = mapped_column(index=True)  # `shots.method.METHOD_VERSION` of what computed it
    flagged: Mapped[bool]  # a flag is over or unusual; too close to tell is neither that nor passed
    face: Mapped[str] = mapped_column(String(40))  # "" where not stated
    distance_m: Mapped[float | None]

    __table_args__ = (
        UniqueConstraint("recording_id", "number"),
        Index(None, "archer_id", "bow_id", "arrow_id", "unix_s"),
        Index("ix_shots_archer_time", "archer_id", "unix_s"),
    )


class EarlierFiguresRow(Base):
    """Figures of a shot that a later method, or a set-up mended afterwards, has replaced."""

    __tablename__ = "earlier_figures"
    id: Mapped[int] = mapped_column(primary_key=True)
    shot_id: Mapped[int | None] = mapped_column(ForeignKey("shots.id", ondelete="SET NULL"), index=True)
    recording_id: Mapped[int] = mapped_column(ForeignKey("recordings.id", ondelete="CASCADE"), index=True)
    number: Mapped[int]
    replaced_unix_s: Mapped[float]
    software: Mapped[str] = mapped_column(String(80))
    method: Mapped[int]
    setup_id: Mapped[int] = mapped_column(ForeignKey("setups.id"))
    measures: Mapped[dict[str, Any]]  # by the names of `measures.MEASURES`


class TraceRow(Base):
    """One array of a shot's window: zlib of little-endian float32, row by row."""

    __tablename__ = "traces"
    shot_id: Mapped[int] = mapped_column(ForeignKey("shots.id", ondelete="CASCADE"), primary_key=True)
    name: Mapped[str] = mapped_column(String(32), primary_key=True)
    unit: Mapped[str] = mapped_column(String(16))
    rate_hz: Mapped[float | None]
    rows: Mapped[int]
    columns: Mapped[int]  # 1 for a series of times
    data: Mapped[bytes] = mapped_column(LargeBinary)


class RejectedRow(Base):
    __tablename__ = "rejected"
    id: Mapped[int] = mapped_column(primary_key=True)
    recording_id: Mapped[int] = mapped_column(ForeignKey("recordings.id", ondelete="CASCADE"))
    time_s: Mapped[float]
    unix_s: Mapped[float] = mapped_column(index=True)
    reason: Mapped[str] = mapped_column(String(16))
    text: Mapped[str]

    __table_args__ = (UniqueConstraint("recording_id", "time_s", "reason"),)
