"""Small writes that several parts of the store share, each within its caller's transaction."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, insert, select, update

from quiethand.store.measured import MeasuredShot
from quiethand.store.tables import ArcherRow, ArrowRow, BowRow, ChangesRow, SetupRow

__all__ = ["added", "count_change", "ids_of", "setup_id_of"]


def added(connection: Connection, table: Any, values: Mapping[str, Any]) -> int:
    """The id of a new row."""
    # Values beside the statement, not in it: it is compiled once, and a shot has a hundred columns.
    key = connection.execute(insert(table.__table__), dict(values)).inserted_primary_key
    assert key is not None
    return int(key[0])


def count_change(connection: Connection) -> None:
    connection.execute(update(ChangesRow).values(count=ChangesRow.count + 1))


def setup_id_of(connection: Connection, document: Mapping[str, Any]) -> int:
    """The id of the set-up of this content, added if need be."""
    canonical = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    sha256 = hashlib.sha256(canonical.encode()).hexdigest()
    found = connection.execute(select(SetupRow.id).where(SetupRow.sha256 == sha256)).scalar_one_or_none()
    if found is not None:
        return found
    return added(connection, SetupRow, {"sha256": sha256, "document": dict(document)})


def ids_of(connection: Connection, shot: MeasuredShot) -> dict[str, int]:
    """The rows of set-up, archer, bow and arrow that a shot names, added if need be."""
    ids = {"setup_id": setup_id_of(connection, shot.document)}
    tables: dict[str, Any] = {"archer": ArcherRow, "bow": BowRow, "arrow": ArrowRow}
    for kind, table in tables.items():
        name = shot.names[kind]
        found = connection.execute(select(table.id).where(table.name == name)).scalar_one_or_none()
        ids[f"{kind}_id"] = found if found is not None else added(connection, table, {"name": name})
    return ids
