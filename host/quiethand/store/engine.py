"""The connection to the database: SQLite's settings, and one kind of transaction that may write."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError

from quiethand.errors import InputError

__all__ = ["make_engine", "reading", "writing"]

# How long a writer waits for another: longer than any write here takes, shorter than a person's patience.
_BUSY_TIMEOUT_MS: Final = 10_000
_WRITES: Final = "quiethand_writes"


def make_engine(url: str) -> Engine:
    """An engine for any SQLAlchemy URL.

    Raises:
        InputError: not a URL, or its driver is not installed.
    """
    try:
        engine = create_engine(make_url(url))
    except (ArgumentError, NoSuchModuleError, ModuleNotFoundError, ValueError) as error:
        raise InputError(
            f"no store can be opened by this URL ({str(error).splitlines()[0]})",
            where=_without_password(url),
            do="give one such as sqlite:////home/me/shots.sqlite3 or postgresql+psycopg://user@host/name",
        ) from None
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def _without_password(url: str) -> str:
    head, _, tail = url.rpartition("@")
    return f"{head.rpartition(':')[0]}:***@{tail}" if head.count(":") > 1 else url


def _set_up_sqlite(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # the driver's own BEGIN comes too late for what follows; see _begin_sqlite
    for pragma in (
        f"busy_timeout = {_BUSY_TIMEOUT_MS}",  # first: turning on the journal may have to wait
        "journal_mode = WAL",  # readers don't wait for the writer
        "synchronous = NORMAL",  # with WAL a power cut may lose the last commits, never the file
        "foreign_keys = ON",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    # A transaction that reads first and writes later can't wait for another writer (its snapshot would be stale) and
    # fails at once, whatever the timeout. So a writer takes the lock at its start.
    writes = connection.get_execution_options().get(_WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """One consistent look at the database."""
    with _told_in_one_line(engine), engine.connect() as connection, connection.begin():
        yield connection


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """A transaction that may write: all of it or nothing."""
    with (
        _told_in_one_line(engine),
        engine.connect().execution_options(**{_WRITES: True}) as connection,
        connection.begin(),
    ):
        if engine.dialect.name == "postgresql":
            # One writer at a time, as in SQLite: what is looked up before it is written stays true.
            connection.execute(text("SELECT pg_advisory_xact_lock(7174683)"))
        yield connection


@contextmanager
def _told_in_one_line(engine: Engine) -> Iterator[None]:
    try:
        yield
    except SQLAlchemyError as error:
        cause = getattr(error, "orig", None) or error
        raise InputError(
            f"the store can't be used ({str(cause).strip().splitlines()[0]})",
            where=engine.url.render_as_string(hide_password=True),
            do="check that it is there, may be written to, and that the disk is not full",
        ) from error
