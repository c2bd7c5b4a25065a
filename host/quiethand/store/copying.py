"""The whole of one store copied into another, whatever database each is."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from typing import Any, Final

from sqlalchemy import Connection, Engine, Table, delete, func, insert, select, text

from quiethand.store import typed_tables  # its tables belong to the same list
from quiethand.store.engine import make_engine, writing
from quiethand.store.schema import bring_up_to_date
from quiethand.store.tables import Base

__all__ = ["copy_store", "counts", "sqlite_copy", "sqlite_over", "tables"]

_AT_ONCE: Final = {"traces": 100, "shots": 200}  # rows held; of others a thousand


def tables() -> list[Table]:
    """Every table, in an order in which rows find what they refer to."""
    assert typed_tables.TypedRow.metadata is Base.metadata
    return list(Base.metadata.sorted_tables)


def counts(connection: Connection) -> dict[str, int]:
    """How many rows each table has."""
    return {
        table.name: int(connection.execute(select(func.count()).select_from(table)).scalar_one()) for table in tables()
    }


def sqlite_copy(engine: Engine, path: str) -> None:
    """A consistent copy of a store as a new SQLite file, while others go on reading and writing."""
    if engine.dialect.name == "sqlite":
        with engine.connect() as connection:
            source: Any = connection.connection.driver_connection
            target = sqlite3.connect(path)
            try:
                source.backup(target)
                target.execute("PRAGMA journal_mode = DELETE")  # one file, without a second that could be left behind
            finally:
                target.close()
        return
    made = make_engine(f"sqlite:///{path}")
    try:
        bring_up_to_date(made)
        one_look = engine.connect().execution_options(isolation_level="REPEATABLE READ")
        with one_look as source_connection, source_connection.begin(), writing(made) as target_connection:
            copy_store(source_connection, target_connection)
        with made.connect() as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    finally:
        made.dispose()


def sqlite_over(source: Engine, target: Engine) -> None:
    """Put one SQLite store in the place of another, which stays open to others: all of it or nothing."""
    with source.connect() as old, target.connect() as new:
        over: Any = old.connection.driver_connection
        over.backup(new.connection.driver_connection)


def copy_store(source: Connection, target: Connection) -> None:
    """Put the rows of one store in the place of all rows of another, both at this program's schema."""
    for table in reversed(tables()):
        target.execute(delete(table))
    for table in tables():
        rows = source.execution_options(yield_per=_AT_ONCE.get(table.name, 1000)).execute(
            select(table).order_by(*table.primary_key)
        )
        for part in rows.mappings().partitions():
            target.execute(insert(table), [_values(row) for row in part])
        if target.dialect.name == "postgresql" and table.autoincrement_column is not None:
            target.execute(  # numbers were given, not taken: the next one has to be told
                text(
                    f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), "
                    f"greatest((SELECT max(id) FROM {table.name}), 1))"
                )
            )


def _values(row: Mapping[Any, Any]) -> dict[str, Any]:
    return {str(name): value for name, value in row.items()}
