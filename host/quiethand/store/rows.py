"""Small writes that several parts of the store share, each within its caller's transaction."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, insert, select, update

from quiethand.store.tables import ChangesRow, SetupRow

__all__ = ["added", "count_change", "setup_id_of"]


def added(connection: Connection, table: Any, values: Mapping[str, Any]) -> int:
    """The id of a new row."""
    key = connection.execute(insert(table).values(values)).inserted_primary_key
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
