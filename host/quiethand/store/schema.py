"""Brings a store to the schema of this program, by Alembic, and refuses one that a later program has written."""

from __future__ import annotations

from typing import Final

from sqlalchemy import Connection, Engine, inspect, text

from quiethand.errors import InputError
from quiethand.store.engine import reading, writing

__all__ = ["HEAD", "bring_up_to_date"]

HEAD: Final = (
    "0004"  # the newest migration's revision; known here so that an open store needs no import of alembic (0.6 s)
)


def bring_up_to_date(engine: Engine) -> None:
    """Make the tables of a new store, or migrate an older one; quick where there is nothing to do.

    Raises:
        InputError: the store was written by a later version of this program, or is some other database.
    """
    with reading(engine) as connection:
        if _version(connection) == HEAD:
            return
    with writing(engine) as connection:
        version = _version(connection)
        if version == HEAD:  # another process was quicker
            return
        _refuse_what_is_not_ours(connection, engine, version)
        _migrate(connection)


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def _refuse_what_is_not_ours(connection: Connection, engine: Engine, version: str | None) -> None:
    where = engine.url.render_as_string(hide_password=True)
    if version is None and inspect(connection).get_table_names():
        raise InputError("this database holds tables that are not ours", where=where, do="name another database")
    if version is not None and version > HEAD:
        raise InputError(
            f"the store has schema {version}, this program knows up to {HEAD}",
            where=where,
            do="update quiethand; a store is never downgraded",
        )


def _migrate(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "quiethand.store:migrations")
    config.attributes["connection"] = connection
    command.upgrade(config, HEAD)
