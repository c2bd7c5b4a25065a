"""What people type about a shot: tags, remarks, their own call, corrections, exclusions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final, Literal

from sqlalchemy import select

from quiethand.errors import InputError
from quiethand.store.engine import reading
from quiethand.store.entering import MOST_SHOTS_AT_ONCE, Typing, refuse_far, words
from quiethand.store.impacts import IMPACT_COLUMNS, impact_of
from quiethand.store.typed_records import Call, Correction, Exclusion, Remark, ShotMarks
from quiethand.store.typed_tables import CallRow, CorrectionRow, ExclusionRow, ImpactRow, RemarkRow, TagRow

__all__ = ["Marks"]

_MOST: Final = 1000  # of a list that hangs on one shot


class Marks(Typing):
    """The part of `Store` that keeps what people say about a shot. Each call is one transaction, once done or not at
    all; an unknown shot or senseless value is an InputError and changes nothing."""

    def add_tag(self, shot_ids: Sequence[int], word: str) -> int:
        """Tag shots (at most 5000) with a word of up to 40 characters. Returns how many did not have it."""
        return sum(self._enter("tag", {"word": words(word, "a tag", 40)}, shot_ids))

    def remove_tag(self, shot_ids: Sequence[int], word: str) -> int:
        """Returns how many had it."""
        return sum(self._enter("untag", {"word": words(word, "a tag", 40)}, shot_ids))

    def tags(self) -> list[str]:
        """Every word in use, in order."""
        with reading(self.engine) as connection:
            return list(connection.execute(select(TagRow.word).distinct().order_by(TagRow.word).limit(_MOST)).scalars())

    def add_remark(self, shot_id: int, text: str) -> int:
        """Up to 2000 characters. Returns the remark's id."""
        return self._enter("remark", {"text": words(text, "a remark", 2000, lines=True)}, [shot_id])[0]

    def remove_remark(self, remark_id: int) -> None:
        """One that is gone already stays gone."""
        with reading(self.engine) as connection:
            query = select(RemarkRow.uid, RemarkRow.shot_id).where(RemarkRow.id == remark_id)
            found = connection.execute(query).first()
        if found is not None:
            self._enter("unremark", {"remark": found.uid}, [found.shot_id])

    def call_shot(
        self, shot_id: int, *, right_mm: float | None = None, up_mm: float | None = None, word: str = ""
    ) -> None:
        """The archer's own call: a place in mm from the face's middle (+ right, + up), a word, or both. It replaces an
        earlier one; without any of them it is withdrawn."""
        if (right_mm is None) != (up_mm is None):
            raise InputError("a call needs both right and up", do="give both in mm, or a word alone")
        if right_mm is not None and up_mm is not None:
            refuse_far(right_mm, up_mm)
        said = words(word, "a call", 40) if word.strip() else ""
        self._enter("call", {"right_mm": right_mm, "up_mm": up_mm, "word": said}, [shot_id])

    def correct(
        self, shot_id: int, measure: Literal["release_s", "departure_s"], value: float | None, *, remark: str = ""
    ) -> int:
        """Set an instant by hand, in seconds on the recording's time line. The computed one stays as it is; the newest
        correction stands beside it, all are kept. None withdraws. Returns the correction's id."""
        if measure not in ("release_s", "departure_s"):
            raise InputError(f'"{measure}" can\'t be corrected', do="release_s and departure_s can")
        if value is not None and not (math.isfinite(value) and 0 <= value < 1e9):
            raise InputError(f"{value} is no instant of a recording", do="give seconds from its first sample")
        said = words(remark, "a remark", 2000, lines=True) if remark.strip() else ""
        return self._enter("correction", {"measure": measure, "value": value, "remark": said}, [shot_id])[0]

    def corrections(self, shot_id: int) -> list[Correction]:
        """All of one shot, withdrawn ones too, the newest first."""
        query = _of(CorrectionRow, Correction).where(CorrectionRow.shot_id == shot_id)
        with reading(self.engine) as connection:
            rows = connection.execute(query.order_by(CorrectionRow.id.desc()).limit(_MOST)).mappings()
            return [Correction(**row) for row in rows]

    def exclude(self, shot_ids: Sequence[int], reason: str) -> int:
        """Leave shots out of usual, comparisons and groups from now on; they stay in the store and on its tables.

        Returns:
            How many were not excluded before.
        """
        done = self._enter("exclusion", {"reason": words(reason, "a reason", 400)}, shot_ids)
        return sum(row > 0 for row in done)

    def include_again(self, shot_ids: Sequence[int]) -> int:
        """Lift exclusions. Returns how many were in force."""
        return sum(self._enter("inclusion", {}, shot_ids))

    def exclusions(self, shot_id: int) -> list[Exclusion]:
        """All of one shot, lifted ones too, the newest first."""
        query = _of(ExclusionRow, Exclusion).where(ExclusionRow.shot_id == shot_id)
        with reading(self.engine) as connection:
            rows = connection.execute(query.order_by(ExclusionRow.id.desc()).limit(_MOST)).mappings()
            return [Exclusion(**row) for row in rows]

    def marks(self, shot_ids: Sequence[int]) -> dict[int, ShotMarks]:
        """All that was typed about each of some shots (at most 5000 are given); a shot without any has empty marks."""
        wanted = list(shot_ids)[:MOST_SHOTS_AT_ONCE]
        with reading(self.engine) as connection:

            def rows(table: Any, columns: Sequence[Any], *order: Any) -> list[Any]:
                query = select(*columns).where(table.shot_id.in_(wanted)).order_by(*order)
                return list(connection.execute(query).mappings())

            tags: dict[int, list[str]] = {}
            for row in rows(TagRow, (TagRow.shot_id, TagRow.word), TagRow.word):
                tags.setdefault(row["shot_id"], []).append(row["word"])
            remarks: dict[int, list[Remark]] = {}
            for row in rows(RemarkRow, _columns(RemarkRow, Remark), RemarkRow.id):
                remarks.setdefault(row["shot_id"], []).append(Remark(**row))
            calls = {row["shot_id"]: Call(**row) for row in rows(CallRow, _columns(CallRow, Call), CallRow.shot_id)}
            corrected: dict[int, dict[str, float | None]] = {}
            for row in rows(CorrectionRow, _columns(CorrectionRow, Correction), CorrectionRow.id):
                corrected.setdefault(row["shot_id"], {})[row["measure"]] = row["value"]
            excluded = {
                row["shot_id"]: Exclusion(**row)
                for row in rows(ExclusionRow, _columns(ExclusionRow, Exclusion), ExclusionRow.id)
                if row["lifted_unix_s"] is None
            }
            impacts = {row["shot_id"]: impact_of(row) for row in rows(ImpactRow, IMPACT_COLUMNS, ImpactRow.id)}
        return {
            i: ShotMarks(
                i,
                tuple(tags.get(i, ())),
                tuple(remarks.get(i, ())),
                calls.get(i),
                excluded.get(i),
                {measure: value for measure, value in corrected.get(i, {}).items() if value is not None},
                impacts.get(i),
            )
            for i in wanted
        }


def _columns(table: Any, record: Any) -> list[Any]:
    return [getattr(table, name) for name in record.__dataclass_fields__]


def _of(table: Any, record: Any) -> Any:
    return select(*_columns(table, record))
