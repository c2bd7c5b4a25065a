"""A backup put in a store's place, all of it or nothing. What was typed after it was made is typed again."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, Engine, case, func, select, update

from quiethand.errors import InputError
from quiethand.home import place_in_home
from quiethand.store.copying import copy_store, sqlite_copy, sqlite_over
from quiethand.store.engine import make_engine, reading, writing
from quiethand.store.events import Event, events_of, replay
from quiethand.store.schema import bring_up_to_date
from quiethand.store.store import Store
from quiethand.store.tables import ChangesRow, RecordingRow, ShotRow
from quiethand.store.typed_tables import TypedRow

__all__ = ["restore_database", "set_paths"]


def restore_database(database: Path, store: Store, *, force: bool) -> str | None:
    """Put the rows of a checked SQLite store in the place of another's.

    Args:
        database: a file of its own, which is migrated if need be.
        store: open; it may be used by others meanwhile.
        force: also where the store holds something already. It is copied aside first.

    Returns:
        Where the old one was copied to, None where it was empty.

    Raises:
        InputError: the store holds something and `force` is not set; or the backup is a later program's.
    """
    source = make_engine(f"sqlite:///{database}")
    try:
        bring_up_to_date(source)
        aside = None
        if not _is_empty(store.engine):
            if not force:
                raise InputError(
                    "the store holds shots or what people typed",
                    where=store.engine.url.render_as_string(hide_password=True),
                    do="--force puts the backup in its place and keeps a copy of it",
                )
            aside = _copied_aside(store.engine)
        with reading(store.engine) as connection:
            since, token = events_of(connection), store.change_token()
        if store.engine.dialect.name == "sqlite":
            sqlite_over(source, store.engine)
            # Killed here, the next to open it has what was typed since from the journal.
            with writing(store.engine) as connection:
                _go_on_from(connection, since, token)
        else:
            with reading(source) as old, writing(store.engine) as connection:
                copy_store(old, connection)
                _go_on_from(connection, since, token)
    finally:
        source.dispose()
    if store.journal is not None:
        store.journal.bring_together(store.engine)
    return aside


def _go_on_from(connection: Connection, since: list[Event], token: int) -> None:
    """Type again what the backup does not know; and let nobody take its state for the one before."""
    replay(connection, since)
    larger = case((ChangesRow.count > token, ChangesRow.count), else_=token)
    connection.execute(update(ChangesRow).values(count=larger + 1))


def _is_empty(engine: Engine) -> bool:
    with reading(engine) as connection:
        return not any(
            connection.execute(select(func.count()).select_from(table)).scalar_one() for table in (ShotRow, TypedRow)
        )


def _copied_aside(engine: Engine) -> str:
    """Beside an SQLite store; of a server in the data folder."""
    name = f"shots.before-restore-{datetime.now():%Y-%m-%d_%H-%M-%S}.sqlite3"
    stored = engine.url.database
    place = Path(stored).parent / name if engine.dialect.name == "sqlite" and stored else place_in_home(name)
    sqlite_copy(engine, str(place))
    return str(place)


def set_paths(store: Store, moved: dict[str, str]) -> None:
    """Recordings that lie elsewhere now, by the paths stored."""
    if moved:
        with writing(store.engine) as connection:
            for old, new in moved.items():
                connection.execute(update(RecordingRow).where(RecordingRow.path == old).values(path=new))
