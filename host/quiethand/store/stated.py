"""What holds from a day on: limits, set-ups, sensors and their calibrations. Nothing is overwritten, so that an old
shot keeps what was in force on its day."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from datetime import date
from typing import Any, Final

from sqlalchemy import Select, select

from quiethand.errors import InputError
from quiethand.store.engine import reading
from quiethand.store.entering import Typing, words
from quiethand.store.tables import SetupRow
from quiethand.store.typed_records import Calibration, Limit, Sensor, SetupVersion
from quiethand.store.typed_tables import CalibrationRow, LimitRow, SensorRow, SetupVersionRow, StatedSetupRow, TypedRow

__all__ = ["Stated"]

_MOST: Final = 1000
_DOCUMENT_LIMIT: Final = 1 << 20  # bytes; a set-up has some thousand


class Stated(Typing):
    """The part of `Store` for what people state of archers, bows and sensors. Days are YYYY-MM-DD, local; None is
    today. Senseless values are an InputError and change nothing."""

    def set_limit(
        self,
        measure: str,
        value: float | None,
        *,
        archer: str = "",
        bow: str = "",
        from_day: str | None = None,
    ) -> int:
        """Bound a measure (a name of the set-up's [limits], in the unit that it is shown in) for an archer and bow from
        a day on; "" is every archer or bow; None lifts it from that day on. Returns its id."""
        from quiethand.bow.limit_names import LIMIT_MEASURES

        if measure not in LIMIT_MEASURES:
            raise InputError(f'no limit on "{measure}"', do=f"there are {', '.join(LIMIT_MEASURES)}")
        if value is not None and not (math.isfinite(value) and value > 0):
            raise InputError(f"a limit of {value}", do="give a number above zero")
        limit = {
            "measure": measure,
            "value": value,
            "unit": LIMIT_MEASURES[measure].unit,
            "archer": archer[:200],
            "bow": bow[:200],
            "from_day": _day(from_day),
        }
        return self._enter("limit", limit)[0]

    def limits(self, archer: str, bow: str, day: str | None = None) -> dict[str, Limit]:
        """Those in force for an archer and bow on a day, by measure: one for this archer and bow goes before one for
        the archer, that before one for the bow, that before one for all; among alike the latest day, then what was
        typed last. A set-up's own [limits] are not among them."""
        query = (
            _of(LimitRow, Limit)
            .where(LimitRow.archer.in_(["", archer]), LimitRow.bow.in_(["", bow]), LimitRow.from_day <= _day(day))
            .order_by(LimitRow.from_day, LimitRow.id)
        )
        with reading(self.engine) as connection:
            rows = [Limit(**row) for row in connection.execute(query).mappings()]
        found: dict[tuple[bool, bool, str], Limit] = {}
        for limit in rows:
            found[(limit.archer != "", limit.bow != "", limit.measure)] = limit
        by_measure: dict[str, Limit] = {}
        for (_archer, _bow, measure), limit in sorted(found.items(), key=lambda item: item[0][:2]):
            by_measure[measure] = limit
        return {measure: limit for measure, limit in by_measure.items() if limit.value is not None}

    def limit_history(self, *, limit: int = 200) -> list[Limit]:
        """Every limit that was ever set or lifted, what was typed last comes first."""
        query = _of(LimitRow, Limit).order_by(LimitRow.id.desc()).limit(min(max(limit, 0), _MOST))
        with reading(self.engine) as connection:
            return [Limit(**row) for row in connection.execute(query).mappings()]

    def add_setup_version(
        self, archer: str, bow: str, document: Mapping[str, Any], *, from_day: str | None = None, remark: str = ""
    ) -> int:
        """Keep a set-up (its file's tables) for an archer and bow from a day on. Shots that are measured already keep
        theirs. The document is kept as given: check it first (`quiethand.bow.setup_file.setup_from_document`).
        Returns the version's id."""
        version = {
            "archer": archer[:200],
            "bow": bow[:200],
            "document": _document(document),
            "from_day": _day(from_day),
            "remark": words(remark, "a remark", 2000, lines=True) if remark.strip() else "",
        }
        return self._enter("setup_version", version)[0]

    def setup_in_force(self, archer: str, bow: str, day: str | None = None) -> SetupVersion | None:
        """The one with the latest day not after `day`; of one day what was typed last."""
        query = _versions(archer, bow).where(SetupVersionRow.from_day <= _day(day)).limit(1)
        with reading(self.engine) as connection:
            row = connection.execute(query).mappings().first()
            return None if row is None else SetupVersion(**row)

    def setup_versions(
        self, archer: str | None = None, bow: str | None = None, *, limit: int = 200
    ) -> list[SetupVersion]:
        """Every version that fits, the latest day first."""
        with reading(self.engine) as connection:
            rows = connection.execute(_versions(archer, bow).limit(min(max(limit, 0), _MOST))).mappings()
            return [SetupVersion(**row) for row in rows]

    def state_setup(self, recording: str, document: Mapping[str, Any] | None) -> None:
        """Say that a recording (by its identity) is to be measured with this set-up instead of its own; None: its own
        again. It counts when the recording is imported or measured again. The same twice changes nothing."""
        stated = None if document is None else _document(document)
        if self.stated_setup(recording) != stated:
            self._enter("stated_setup", {"document": stated}, recording=recording)

    def stated_setup(self, recording: str) -> dict[str, Any] | None:
        """What `state_setup` was told last."""
        query = select(SetupRow.document).join(StatedSetupRow, StatedSetupRow.setup_id == SetupRow.id)
        with reading(self.engine) as connection:
            return connection.execute(query.where(StatedSetupRow.recording == recording)).scalar_one_or_none()

    def remember_recording(self, recording: str, path: str, sha256: str | None, began_unix_s: float) -> None:
        """Note that a recording was imported, from where, and when it was begun, for whoever builds the store again.
        What is noted already is not noted twice."""
        payload = {"path": path, "sha256": sha256, "began_unix_s": began_unix_s}
        known = [one for one in self._remembered(recording) if (one["path"], one["sha256"]) == (path, sha256)]
        if not known:
            self._enter("recording", payload, recording=recording)

    def remembered_paths(self) -> list[str]:
        """Where imported recordings lay, as stored (relative to the home where inside), each once, the oldest first."""
        return list(dict.fromkeys(payload["path"] for payload in self._remembered()))

    def remembered_begin(self, recording: str) -> float | None:
        """When a recording was begun, as was known when it was first imported."""
        known = self._remembered(recording)
        return float(known[0]["began_unix_s"]) if known else None

    def _remembered(self, recording: str | None = None) -> list[dict[str, Any]]:
        query = select(TypedRow.payload).where(TypedRow.kind == "recording").order_by(TypedRow.id)
        if recording is not None:
            query = query.where(TypedRow.recording == recording)
        with reading(self.engine) as connection:
            return list(connection.execute(query).scalars())

    def name_sensor(self, sensor_uid: str, name: str, *, remark: str = "") -> None:
        """Give a sensor (by the device's own identity, in hexadecimal) a name, in place of an earlier one."""
        sensor = {
            "sensor_uid": words(sensor_uid, "a sensor's identity", 32).lower(),
            "name": words(name, "a name", 200),
            "remark": words(remark, "a remark", 2000, lines=True) if remark.strip() else "",
        }
        self._enter("sensor", sensor)

    def sensors(self) -> list[Sensor]:
        """Those with a name, in its order."""
        with reading(self.engine) as connection:
            rows = connection.execute(_of(SensorRow, Sensor).order_by(SensorRow.name).limit(_MOST)).mappings()
            return [Sensor(**row) for row in rows]

    def add_calibration(
        self, kind: str, document: Mapping[str, Any], *, sensor_uid: str = "", from_day: str | None = None
    ) -> int:
        """Keep what a calibration found.

        Args:
            kind: still, six-face, mount, inertia, noise (a verb of `quiethand calibrate`, or noise).
            document: the set-up's tables with the figures found and whatever belongs to them, JSON-able.
            sensor_uid: of the device; "" where not known.
        """
        calibration = {
            "sensor_uid": sensor_uid.strip().lower()[:32],
            "kind": words(kind, "a kind of calibration", 24),
            "from_day": _day(from_day),
            "document": _document(document),
        }
        return self._enter("calibration", calibration)[0]

    def calibrations(
        self, *, sensor_uid: str | None = None, kind: str | None = None, day: str | None = None, limit: int = 200
    ) -> list[Calibration]:
        """Those that fit, the latest day first, so that the first is in force; `day`: none of later days."""
        query = _of(CalibrationRow, Calibration).order_by(CalibrationRow.from_day.desc(), CalibrationRow.id.desc())
        if sensor_uid is not None:
            query = query.where(CalibrationRow.sensor_uid == sensor_uid.strip().lower())
        if kind is not None:
            query = query.where(CalibrationRow.kind == kind)
        if day is not None:
            query = query.where(CalibrationRow.from_day <= _day(day))
        with reading(self.engine) as connection:
            rows = connection.execute(query.limit(min(max(limit, 0), _MOST))).mappings()
            return [Calibration(**row) for row in rows]


def _of(table: Any, record: Any) -> Select[Any]:
    return select(*(getattr(table, name) for name in record.__dataclass_fields__))


def _versions(archer: str | None, bow: str | None) -> Select[Any]:
    names = [name for name in SetupVersion.__dataclass_fields__ if name != "document"]
    query = (
        select(*(getattr(SetupVersionRow, name) for name in names), SetupRow.document)
        .join(SetupRow, SetupRow.id == SetupVersionRow.setup_id)
        .order_by(SetupVersionRow.from_day.desc(), SetupVersionRow.id.desc())
    )
    if archer is not None:
        query = query.where(SetupVersionRow.archer == archer)
    return query if bow is None else query.where(SetupVersionRow.bow == bow)


def _day(text: str | None) -> str:
    if text is None:
        return date.today().isoformat()
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise InputError(f'"{text}" is no day', do="write it as 2026-12-01") from None


def _document(document: Mapping[str, Any]) -> dict[str, Any]:
    """As it will come back, so that equal ones are known to be equal."""
    try:
        text = json.dumps(document, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise InputError(
            f"what should be kept is not plain data ({error})", do="give tables, texts and numbers"
        ) from None
    if len(text) > _DOCUMENT_LIMIT:
        raise InputError(f"a document of {len(text)} bytes", do=f"keep it within {_DOCUMENT_LIMIT}")
    kept: dict[str, Any] = json.loads(text)
    return kept
