"""What the page asks of the store. Every answer is bounded, whatever has been stored."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from sqlalchemy import Connection, Engine, RowMapping, Select, case, func, null, select

from quiethand.live_status import LiveStatus, read_live_status
from quiethand.shots.method import METHOD_VERSION
from quiethand.shots.model import Trace
from quiethand.store.engine import reading
from quiethand.store.filtering import EXCLUDED, filtered, joined, where
from quiethand.store.measured import MeasuredRecording
from quiethand.store.measures import MEASURES
from quiethand.store.packing import unpack_trace
from quiethand.store.records import (
    Earlier,
    EarlierFigures,
    RecordingRecord,
    RejectedRecord,
    SeriesPoint,
    Shooter,
    ShotFilter,
    ShotRecord,
)  # fmt: skip
from quiethand.store.remeasured import Change, compare
from quiethand.store.tables import (
    ArcherRow,
    ArrowRow,
    BowRow,
    ChangesRow,
    EarlierFiguresRow,
    RecordingRow,
    RejectedRow,
    SetupRow,
    ShotRow,
    TraceRow,
)  # fmt: skip

__all__ = ["MOST_ROWS", "Reading"]

MOST_ROWS: Final = 5000  # of a table's answer: some 25 years of an archer's competition days, 0.3 s to send
_MOST_SHOTS: Final = 200  # with all their figures
_MOST_TRACES: Final = 64
_MOST_RECORDINGS: Final = 100_000

_MEASURE_COLUMNS: Final = tuple(getattr(ShotRow, name) for name in MEASURES)
_LABELS: Final = (
    ArcherRow.name.label("archer"),
    BowRow.name.label("bow"),
    ArrowRow.name.label("arrow"),
    RecordingRow.path.label("recording"),
)
_KEYS: Final = (
    ShotRow.id, ShotRow.recording_id, ShotRow.setup_id, ShotRow.number, ShotRow.unix_s, ShotRow.day,
    ShotRow.departure_from, ShotRow.flags, ShotRow.notes, ShotRow.software, ShotRow.method,
    ShotRow.flagged, ShotRow.face, ShotRow.distance_m, EXCLUDED.label("excluded"),
)  # fmt: skip


class Reading:
    """The half of `Store` that reads."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    def change_token(self) -> int:
        """Another number after every change; one row read."""
        with reading(self.engine) as connection:
            return int(connection.execute(select(ChangesRow.count)).scalar_one())

    def latest_shots(
        self,
        n: int,
        before: float | None = None,
        *,
        archer: str | None = None,
        bow: str | None = None,
        arrow: str | None = None,
        day: str | None = None,
    ) -> list[ShotRecord]:
        """The last `n` shots (at most 200) that fit, newest first, without traces; `before` is a unix time."""
        wanted = ShotFilter(archer=archer, bow=bow, arrow=arrow, day=day, before_unix_s=before)
        query = filtered(_shots(ShotRow.contract), wanted).limit(min(max(n, 0), _MOST_SHOTS))
        with reading(self.engine) as connection:
            return [_record(row) for row in connection.execute(query).mappings()]

    def shot(self, shot_id: int) -> ShotRecord | None:
        """One shot with its trace; None where there is none of this id."""
        with reading(self.engine) as connection:
            row = connection.execute(_shots(ShotRow.contract).where(ShotRow.id == shot_id)).mappings().first()
            return _record(row, _traces(connection, [shot_id]).get(shot_id)) if row else None

    def traces(self, shot_ids: Sequence[int]) -> dict[int, Trace]:
        """The traces of chosen shots (at most 64 are given) by id; shots that have none are absent."""
        with reading(self.engine) as connection:
            return _traces(connection, list(shot_ids)[:_MOST_TRACES])

    def shot_rows(
        self, wanted: ShotFilter | None = None, *, limit: int = 1000, measures: Sequence[str] | None = None
    ) -> list[dict[str, Any]]:
        """Flat rows for a table, newest first, at most 5000: id, names, time, flags, notes, `excluded` (bool), `method`
        (other than METHOD_VERSION: stale, to be marked) and measures by their names.

        All of a hundred measures take most of the time; `measures` names those that are wanted (None: all).
        """
        columns = _MEASURE_COLUMNS if measures is None else tuple(getattr(ShotRow, MEASURES[m].name) for m in measures)
        query = joined(select(*_KEYS, *_LABELS, *columns))
        query = filtered(query, wanted or ShotFilter()).limit(min(max(limit, 0), MOST_ROWS))
        with reading(self.engine) as connection:
            return [dict(row) for row in connection.execute(query).mappings()]

    def series(self, measure: str, wanted: ShotFilter | None = None, *, limit: int = 1000) -> list[SeriesPoint]:
        """One measure of the last shots that fit, oldest first; shots that lack it are left out.

        Raises:
            KeyError: no such measure.
        """
        sigma = MEASURES[measure].sigma
        value = getattr(ShotRow, measure)
        spread = null() if sigma is None else getattr(ShotRow, sigma)
        keys = (ShotRow.id, ShotRow.unix_s, ShotRow.day, ShotRow.number, ShotRow.setup_id)
        query = select(*keys, value.label("value"), spread.label("sigma")).where(value.is_not(None))
        query = filtered(query, wanted or ShotFilter()).limit(min(max(limit, 0), MOST_ROWS))
        with reading(self.engine) as connection:
            return [SeriesPoint(**row) for row in connection.execute(query).mappings()][::-1]

    def shooters(self, *, limit: int = 200) -> list[Shooter]:
        """Who shot what: every archer with a bow and an arrow, who shot last comes first."""
        last = func.max(ShotRow.unix_s)
        keys = (ShotRow.archer_id, ShotRow.bow_id, ShotRow.arrow_id)
        each = select(*keys, func.count().label("shots"), last.label("last_unix_s")).group_by(*keys).subquery()
        query = (
            select(*_LABELS[:3], each.c.shots, each.c.last_unix_s)
            .select_from(each)
            .join(ArcherRow, ArcherRow.id == each.c.archer_id)
            .join(BowRow, BowRow.id == each.c.bow_id)
            .join(ArrowRow, ArrowRow.id == each.c.arrow_id)
            .order_by(each.c.last_unix_s.desc())
            .limit(min(max(limit, 0), MOST_ROWS))
        )
        with reading(self.engine) as connection:
            return [Shooter(**row) for row in connection.execute(query).mappings()]

    def shot_count(self, wanted: ShotFilter | None = None) -> int:
        """How many shots fit, all of them counted."""
        query = where(select(func.count()).select_from(ShotRow), wanted or ShotFilter())
        with reading(self.engine) as connection:
            return int(connection.execute(query).scalar_one())

    def stale_count(self, wanted: ShotFilter | None = None) -> int:
        """How many of the shots that fit were measured by another method than this program's: `reanalyse` mends it."""
        query = where(select(func.count()).select_from(ShotRow), wanted or ShotFilter())
        with reading(self.engine) as connection:
            return int(connection.execute(query.where(ShotRow.method != METHOD_VERSION)).scalar_one())

    def earlier_figures(self, shot_id: int, *, limit: int = 50) -> list[EarlierFigures]:
        """Figures of a shot that later ones have replaced, the newest first."""
        query = (
            select(*(getattr(EarlierFiguresRow, name) for name in EarlierFigures.__dataclass_fields__))
            .where(EarlierFiguresRow.shot_id == shot_id)
            .order_by(EarlierFiguresRow.id.desc())
            .limit(min(max(limit, 0), _MOST_SHOTS))
        )
        with reading(self.engine) as connection:
            return [EarlierFigures(**row) for row in connection.execute(query).mappings()]

    def what_would_change(self, measured: MeasuredRecording) -> list[Change]:
        """What `put_measured_again` would change, without changing it."""
        with reading(self.engine) as connection:
            return compare(connection, measured)

    def recordings(self, *, limit: int = MOST_ROWS) -> list[RecordingRecord]:
        """Recordings, the newest first, each with its shots counted."""
        stale = func.sum(case((ShotRow.method != METHOD_VERSION, 1), else_=0))
        each = (
            select(ShotRow.recording_id, func.count().label("shots"), stale.label("stale"))
            .group_by(ShotRow.recording_id)
            .subquery()
        )
        names = [name for name in RecordingRecord.__dataclass_fields__ if name not in ("shots", "stale")]
        query = (
            select(
                *(getattr(RecordingRow, name) for name in names),
                func.coalesce(each.c.shots, 0).label("shots"),
                func.coalesce(each.c.stale, 0).label("stale"),
            )
            .outerjoin(each, each.c.recording_id == RecordingRow.id)
            .order_by(RecordingRow.started_unix_s.desc(), RecordingRow.id.desc())
            .limit(min(max(limit, 0), _MOST_RECORDINGS))
        )
        with reading(self.engine) as connection:
            return [RecordingRecord(**row) for row in connection.execute(query).mappings()]

    def setup_document(self, setup_id: int) -> dict[str, Any] | None:
        """The set-up that a shot was measured with, as stated."""
        with reading(self.engine) as connection:
            return connection.execute(select(SetupRow.document).where(SetupRow.id == setup_id)).scalar_one_or_none()

    def archers(self) -> list[str]:
        """Names of archers with at least one shot, in order; "" stands for none stated."""
        return self._names(ArcherRow.name, ArcherRow.id, ShotRow.archer_id)

    def bows(self) -> list[str]:
        return self._names(BowRow.name, BowRow.id, ShotRow.bow_id)

    def arrows(self) -> list[str]:
        return self._names(ArrowRow.name, ArrowRow.id, ShotRow.arrow_id)

    def _names(self, name: Any, key: Any, used: Any) -> list[str]:
        query = select(name).where(select(ShotRow.id).where(used == key).exists()).order_by(name).limit(MOST_ROWS)
        with reading(self.engine) as connection:
            return list(connection.execute(query).scalars())

    def days(self, *, limit: int = 1000) -> list[str]:
        """Days with shots, the latest first."""
        query = select(ShotRow.day).distinct().order_by(ShotRow.day.desc()).limit(min(limit, MOST_ROWS))
        with reading(self.engine) as connection:
            return list(connection.execute(query).scalars())

    def rejected(self, n: int = 50, *, since_unix_s: float | None = None) -> list[RejectedRecord]:
        """The last movements that were no shots, newest first."""
        query = (
            select(RejectedRow, RecordingRow.path.label("recording"))
            .with_only_columns(
                RejectedRow.id, RecordingRow.path.label("recording"), RejectedRow.time_s, RejectedRow.unix_s,
                RejectedRow.reason, RejectedRow.text,
            )
            .join(RecordingRow, RecordingRow.id == RejectedRow.recording_id)
            .order_by(RejectedRow.unix_s.desc(), RejectedRow.id.desc())
            .limit(min(max(n, 0), MOST_ROWS))
        )  # fmt: skip
        if since_unix_s is not None:
            query = query.where(RejectedRow.unix_s >= since_unix_s)
        with reading(self.engine) as connection:
            return [RejectedRecord(**row) for row in connection.execute(query).mappings()]

    def usual_inputs(self, shot_id: int, most: int = 50, *, traces: bool = True) -> list[Earlier]:
        """Shots of the same archer, bow and arrow before this one, the latest first: what its usual is made of.

        Excluded ones are not among them. Their traces are most of the work of it; without `traces` they are left out.
        """
        with reading(self.engine) as connection:
            this = connection.execute(
                select(ShotRow.archer_id, ShotRow.bow_id, ShotRow.arrow_id, ShotRow.unix_s).where(ShotRow.id == shot_id)
            ).first()
            if this is None:
                return []
            query = (
                select(ShotRow.id, ShotRow.unix_s, *_MEASURE_COLUMNS)
                .where(
                    ShotRow.archer_id == this.archer_id,
                    ShotRow.bow_id == this.bow_id,
                    ShotRow.arrow_id == this.arrow_id,
                    ShotRow.unix_s < this.unix_s,
                    ~EXCLUDED,
                )
                .order_by(ShotRow.unix_s.desc())
                .limit(min(max(most, 0), _MOST_SHOTS))
            )
            rows = list(connection.execute(query).mappings())
            found = _traces(connection, [row["id"] for row in rows]) if traces else {}
        return [Earlier(row["id"], row["unix_s"], _measures(row), found.get(row["id"])) for row in rows]

    def recording_by_sha256(self, sha256: str) -> int | None:
        """The id of a whole recording of this content."""
        with reading(self.engine) as connection:
            query = select(RecordingRow.id).where(RecordingRow.sha256 == sha256).limit(1)
            return connection.execute(query).scalar_one_or_none()

    def live_status(self) -> LiveStatus | None:
        """The state of the link on this machine, or None where nothing was ever recorded live."""
        return read_live_status()


def _shots(*more: Any) -> Select[Any]:
    return joined(select(*_KEYS, *_LABELS, *_MEASURE_COLUMNS, *more))


def _measures(row: RowMapping) -> dict[str, float | None]:
    return {name: row[name] for name in MEASURES}


def _record(row: RowMapping, trace: Trace | None = None) -> ShotRecord:
    return ShotRecord(
        **{key: row[key] for key in (
            "id", "recording_id", "recording", "setup_id", "number", "unix_s", "day", "archer", "bow", "arrow",
            "departure_from", "contract", "software", "method", "flagged", "face", "distance_m", "excluded",
        )},
        measures=_measures(row),
        flags=tuple(row["flags"]),
        notes=tuple(row["notes"]),
        trace=trace,
    )  # fmt: skip


def _traces(connection: Connection, shot_ids: list[int]) -> dict[int, Trace]:
    arrays: dict[int, dict[str, RowMapping]] = {}
    query = select(TraceRow.shot_id, TraceRow.name, TraceRow.rows, TraceRow.columns, TraceRow.data)
    for row in connection.execute(query.where(TraceRow.shot_id.in_(shot_ids))).mappings():
        arrays.setdefault(row["shot_id"], {})[row["name"]] = row
    found = {shot_id: unpack_trace(rows) for shot_id, rows in arrays.items()}
    return {shot_id: trace for shot_id, trace in found.items() if trace is not None}
