"""The tables of what people type. `typed` is the truth, a list that only grows; the others are what it comes to, and
can be made again from it. All that hangs on a shot goes with it, and comes back with it.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import ForeignKey, Index, String
from sqlalchemy.orm import Mapped, mapped_column

from quiethand.store.tables import Base

__all__ = ["CalibrationRow", "CallRow", "CorrectionRow", "ExclusionRow", "ImpactRow", "LimitRow", "RemarkRow",
           "SensorRow", "SetupVersionRow", "StatedSetupRow", "TagRow", "TypedRow"]  # fmt: skip


class TypedRow(Base):
    """One thing typed. The shot is named by its recording and time, which outlive this database."""

    __tablename__ = "typed"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(32), unique=True)
    unix_s: Mapped[float]  # when it was typed
    kind: Mapped[str] = mapped_column(String(24))
    recording: Mapped[str | None] = mapped_column(String(80), index=True)  # its identity; None: about no shot
    departure_s: Mapped[float | None]  # the shot's, on the recording's time line
    payload: Mapped[dict[str, Any]]


def _of_shot() -> Any:
    return mapped_column(ForeignKey("shots.id", ondelete="CASCADE"), index=True)


class TagRow(Base):
    __tablename__ = "tags"
    shot_id: Mapped[int] = mapped_column(ForeignKey("shots.id", ondelete="CASCADE"), primary_key=True)
    word: Mapped[str] = mapped_column(String(40), primary_key=True, index=True)


class RemarkRow(Base):
    __tablename__ = "remarks"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(32), unique=True)
    shot_id: Mapped[int] = _of_shot()
    unix_s: Mapped[float]
    text: Mapped[str]


class CallRow(Base):
    """Where the archer says that the shot went, before looking."""

    __tablename__ = "calls"
    shot_id: Mapped[int] = mapped_column(ForeignKey("shots.id", ondelete="CASCADE"), primary_key=True)
    unix_s: Mapped[float]
    right_mm: Mapped[float | None]
    up_mm: Mapped[float | None]
    word: Mapped[str] = mapped_column(String(40))


class CorrectionRow(Base):
    __tablename__ = "corrections"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(32), unique=True)
    shot_id: Mapped[int] = _of_shot()
    measure: Mapped[str] = mapped_column(String(24))
    value: Mapped[float | None]  # None: withdrawn
    unix_s: Mapped[float]
    remark: Mapped[str]


class ExclusionRow(Base):
    __tablename__ = "exclusions"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(32), unique=True)
    shot_id: Mapped[int] = _of_shot()
    reason: Mapped[str]
    unix_s: Mapped[float]
    lifted_unix_s: Mapped[float | None]  # None: in force


class ImpactRow(Base):
    __tablename__ = "impacts"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(32), unique=True)
    shot_id: Mapped[int | None] = mapped_column(ForeignKey("shots.id", ondelete="SET NULL"), unique=True)
    archer: Mapped[str] = mapped_column(String(200))
    unix_s: Mapped[float] = mapped_column(index=True)
    day: Mapped[str] = mapped_column(String(10), index=True)
    right_mm: Mapped[float]
    up_mm: Mapped[float]
    face: Mapped[str] = mapped_column(String(40))
    distance_m: Mapped[float | None]
    diameter_mm: Mapped[float | None]
    source: Mapped[str] = mapped_column(String(16))
    remark: Mapped[str]
    joined_by: Mapped[str] = mapped_column(String(32))  # the entry that said which shot it belongs to


class LimitRow(Base):
    __tablename__ = "limits"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(32), unique=True)
    archer: Mapped[str] = mapped_column(String(200))
    bow: Mapped[str] = mapped_column(String(200))
    measure: Mapped[str] = mapped_column(String(40))
    value: Mapped[float | None]  # None: no limit from that day on
    unit: Mapped[str] = mapped_column(String(16))
    from_day: Mapped[str] = mapped_column(String(10))
    unix_s: Mapped[float]

    __table_args__ = (Index("ix_limits_in_force", "archer", "bow", "from_day"),)


class SetupVersionRow(Base):
    __tablename__ = "setup_versions"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(32), unique=True)
    archer: Mapped[str] = mapped_column(String(200))
    bow: Mapped[str] = mapped_column(String(200))
    from_day: Mapped[str] = mapped_column(String(10))
    setup_id: Mapped[int] = mapped_column(ForeignKey("setups.id"))
    unix_s: Mapped[float]
    remark: Mapped[str]

    __table_args__ = (Index("ix_setup_versions_in_force", "archer", "bow", "from_day"),)


class StatedSetupRow(Base):
    """The set-up that was given with a recording when it was imported; it wins over the recording's own."""

    __tablename__ = "stated_setups"
    recording: Mapped[str] = mapped_column(String(80), primary_key=True)
    setup_id: Mapped[int] = mapped_column(ForeignKey("setups.id"))


class SensorRow(Base):
    __tablename__ = "sensors"
    id: Mapped[int] = mapped_column(primary_key=True)
    sensor_uid: Mapped[str] = mapped_column(String(32), unique=True)  # the device's own, in hexadecimal
    name: Mapped[str] = mapped_column(String(200))
    remark: Mapped[str]
    unix_s: Mapped[float]


class CalibrationRow(Base):
    __tablename__ = "calibrations"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(String(32), unique=True)
    sensor_uid: Mapped[str] = mapped_column(String(32))
    kind: Mapped[str] = mapped_column(String(24))
    from_day: Mapped[str] = mapped_column(String(10))
    document: Mapped[dict[str, Any]]
    unix_s: Mapped[float]

    __table_args__ = (Index("ix_calibrations_in_force", "sensor_uid", "kind", "from_day"),)
