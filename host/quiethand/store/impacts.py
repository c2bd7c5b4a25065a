"""Where arrows hit: typed, tapped on a picture of the face, or imported; joined to a shot, or free."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import partial
from operator import eq, ge, le, lt
from typing import Any, Final

from sqlalchemy import Connection, RowMapping, select

from quiethand.errors import InputError
from quiethand.store.engine import reading
from quiethand.store.entering import MOST_SHOTS_AT_ONCE, Typing, refuse_far, words
from quiethand.store.filtering import where
from quiethand.store.records import ShotFilter
from quiethand.store.tables import ArcherRow, ShotRow
from quiethand.store.typed_records import Impact, NewImpact
from quiethand.store.typed_tables import ImpactRow

__all__ = ["IMPACT_COLUMNS", "Impacts", "impact_of"]

IMPACT_COLUMNS: Final = tuple(getattr(ImpactRow, name) for name in Impact.__dataclass_fields__)


def impact_of(row: RowMapping) -> Impact:
    return Impact(**row)


class Impacts(Typing):
    """The part of `Store` that keeps impacts. Each call is one transaction."""

    def add_impact(self, impact: NewImpact) -> int:
        """Returns its id; see `add_impacts`."""
        return self.add_impacts([impact])[0]

    def add_impacts(self, impacts: Sequence[NewImpact]) -> list[int]:
        """Add impacts (at most 5000), all or none. Returns their ids in the same order.

        Raises:
            InputError: no such shot, a shot that has an impact already, or no place on a target.
        """
        taken = [i.shot_id for i in impacts if i.shot_id is not None]
        shots = self._shots_of(taken)
        entries = [("impact", _payload(i, shots.get(i.shot_id)), [i.shot_id]) for i in impacts]
        return self._enter_all(entries, check=partial(_refuse_taken, taken))

    def join_impact(self, impact_id: int, shot_id: int | None) -> None:
        """Say which shot an impact belongs to; None sets it free.

        Raises:
            InputError: no such impact or shot, or the shot has another impact.
        """
        uid = self._uid(impact_id)
        joined: list[tuple[str, Mapping[str, Any], Sequence[int | None]]] = [
            ("impact_joined", {"impact": uid}, [shot_id])
        ]
        self._enter_all(joined, check=partial(_refuse_taken, [] if shot_id is None else [shot_id], but=uid))

    def remove_impact(self, impact_id: int) -> None:
        """Raises: InputError: no such impact."""
        self._enter("impact_removed", {"impact": self._uid(impact_id)})

    def impacts(self, wanted: ShotFilter | None = None, *, free: bool | None = None, limit: int = 1000) -> list[Impact]:
        """Impacts that fit, the newest first, at most 5000.

        Args:
            wanted: archer, day, day_from, day_to, since and before are the impact's own; all else is asked of its shot,
                so that free impacts fall out where bow, arrow, a tag, ... is asked for.
            free: True: only those without a shot; False: only those with one.
        """
        query = select(*IMPACT_COLUMNS).order_by(ImpactRow.unix_s.desc(), ImpactRow.id.desc())
        fit = wanted or ShotFilter()
        if free is not None:
            query = query.where(ImpactRow.shot_id.is_(None) if free else ImpactRow.shot_id.is_not(None))
        for value, holds, column in (
            (fit.archer, eq, ImpactRow.archer),
            (fit.day, eq, ImpactRow.day),
            (fit.day_from, ge, ImpactRow.day),
            (fit.day_to, le, ImpactRow.day),
            (fit.since_unix_s, ge, ImpactRow.unix_s),
            (fit.before_unix_s, lt, ImpactRow.unix_s),
        ):
            if value is not None:
                query = query.where(holds(column, value))
        of_shot = fit.of_shot_alone()
        if of_shot != ShotFilter():
            query = where(query.join(ShotRow, ShotRow.id == ImpactRow.shot_id), of_shot)
        with reading(self.engine) as connection:
            rows = connection.execute(query.limit(min(max(limit, 0), MOST_SHOTS_AT_ONCE))).mappings()
            return [impact_of(row) for row in rows]

    def _uid(self, impact_id: int) -> str:
        with reading(self.engine) as connection:
            query = select(ImpactRow.uid).where(ImpactRow.id == impact_id)
            uid = connection.execute(query).scalar_one_or_none()
        if uid is None:
            raise InputError(f"the store holds no impact {impact_id}", do="look at the page again: it may have gone")
        return uid

    def _shots_of(self, shot_ids: Sequence[int]) -> dict[int | None, RowMapping]:
        query = (
            select(ShotRow.id, ShotRow.unix_s, ShotRow.face, ShotRow.distance_m, ArcherRow.name.label("archer"))
            .join(ArcherRow, ArcherRow.id == ShotRow.archer_id)
            .where(ShotRow.id.in_(shot_ids))
        )
        with reading(self.engine) as connection:
            return {row["id"]: row for row in connection.execute(query).mappings()}


def _refuse_taken(shot_ids: Sequence[int], connection: Connection, *, but: str | None = None) -> None:
    """Within the transaction that joins them, so that of two at once the second is told."""
    query = select(ImpactRow.shot_id).where(ImpactRow.shot_id.in_(shot_ids)).limit(1)
    if but is not None:
        query = query.where(ImpactRow.uid != but)
    taken = connection.execute(query).scalar_one_or_none()
    if taken is None and len(set(shot_ids)) < len(shot_ids):
        taken = next(i for i in shot_ids if shot_ids.count(i) > 1)
    if taken is not None:
        raise InputError(f"shot {taken} has an impact already", do="remove that one, or set it free, first")


def _payload(impact: NewImpact, shot: RowMapping | None) -> dict[str, Any]:
    refuse_far(impact.right_mm, impact.up_mm)
    for name, value in (("distance_m", impact.distance_m), ("diameter_mm", impact.diameter_mm)):
        if value is not None and not (math.isfinite(value) and value > 0):
            raise InputError(f"{name} of an impact is {value}", do="give a length above zero, or leave it out")
    if impact.source not in ("typed", "tapped", "imported"):
        raise InputError(f'an impact from "{impact.source}"', do="typed, tapped and imported are known")
    unix_s = impact.unix_s
    if unix_s is None:
        unix_s = float(shot["unix_s"]) if shot else time.time()
    try:
        datetime.fromtimestamp(unix_s)
    except (ValueError, OverflowError, OSError):
        raise InputError(f"{unix_s} is no time of an impact", do="give seconds since 1970") from None
    archer, face, distance_m = (shot["archer"], shot["face"], shot["distance_m"]) if shot else ("", "", None)
    return {
        "archer": impact.archer.strip()[:200] or archer,
        "unix_s": unix_s,
        "right_mm": float(impact.right_mm),
        "up_mm": float(impact.up_mm),
        "face": impact.face.strip()[:40] or face,
        "distance_m": distance_m if impact.distance_m is None else float(impact.distance_m),
        "diameter_mm": None if impact.diameter_mm is None else float(impact.diameter_mm),
        "source": impact.source,
        "remark": words(impact.remark, "a remark", 2000, lines=True) if impact.remark.strip() else "",
    }
